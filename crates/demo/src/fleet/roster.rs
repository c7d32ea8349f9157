//! Who drives which truck on which route on which day.
//!
//! People keep mostly to a home truck and trucks mostly to a home route, with enough swaps that drivers,
//! trucks and routes hang together: unbalanced, but connected.

use jiff::ToSpan;
use jiff::civil::Date;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::drivers::DRIVERS;
use super::trucks::{TRUCKS, Truck};
use crate::Size;
use crate::place::routes;

const WEEKS: usize = 8;
/// First day of week six: the day of the firmware update.
const UPDATE_DAY: usize = 35;
/// Saturdays on which half of the fleet goes out.
const SATURDAYS: [usize; 3] = [1, 4, 6];
/// Indices of the trucks of the small pilot: one of each format, the second without battery current.
const SMALL_TRUCKS: [usize; 2] = [1, 4];
/// Its days: the last of the cold spell, then two with the new firmware.
const SMALL_DAYS: [usize; 3] = [32, 35, 36];

/// One truck on one day.
#[derive(Clone, Copy)]
pub struct Shift {
    /// Days since the first Monday.
    pub day: usize,
    /// Its place in the fleet.
    pub truck: usize,
    pub driver: usize,
    pub route: usize,
}

impl Shift {
    pub fn date(&self) -> Date {
        date_of(self.day)
    }

    pub fn is_updated(&self, truck: &Truck) -> bool {
        truck.has_firmware_update && self.day >= UPDATE_DAY
    }
}

/// The calendar date of a day; day 0 is Monday 2 February 2026.
pub fn date_of(day: usize) -> Date {
    jiff::civil::date(2026, 2, 2).saturating_add((day as i64).days())
}

/// All shifts of one truck together, trucks in order, days in order.
pub fn shifts_by_truck(size: Size, seed: u64) -> Vec<Vec<Shift>> {
    let all: Vec<Shift> = match size {
        Size::Small => small(),
        Size::Full => full(seed),
    };
    (0..TRUCKS.len())
        .map(|truck| all.iter().copied().filter(|shift| shift.truck == truck).collect::<Vec<_>>())
        .filter(|shifts| !shifts.is_empty())
        .collect()
}

/// Six shifts, four drivers, two routes.
fn small() -> Vec<Shift> {
    let crews = [[(0, 0), (1, 1)], [(1, 1), (2, 0)], [(3, 0), (0, 1)]];
    SMALL_DAYS
        .iter()
        .zip(crews)
        .flat_map(|(&day, crew)| {
            SMALL_TRUCKS.into_iter().zip(crew).map(move |(truck, (driver, route))| Shift {
                day,
                truck,
                driver,
                route,
            })
        })
        .collect()
}

fn full(seed: u64) -> Vec<Shift> {
    (0..WEEKS * 7).filter(|&day| is_working_day(day)).flat_map(|day| crew_of(seed, day)).collect()
}

fn is_working_day(day: usize) -> bool {
    let (week, weekday) = (day / 7, day % 7);
    weekday < 5 || (weekday == 5 && SATURDAYS.contains(&week))
}

/// Deals drivers and routes out to the trucks of one day.
fn crew_of(seed: u64, day: usize) -> Vec<Shift> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(0x526f_0000 + day as u64);
    let mut drivers: Vec<usize> = (0..DRIVERS.len()).collect();
    let mut routes: Vec<usize> = (0..routes::COUNT).collect();
    let is_saturday = day % 7 == 5;
    (0..TRUCKS.len())
        .filter(|truck| !is_saturday || truck % 2 == (day / 7) % 2)
        .map(|truck| {
            let driver = draw(&mut rng, &mut drivers, |driver| match driver {
                _ if driver % TRUCKS.len() == truck => 8.0,
                _ if (driver + 1) % TRUCKS.len() == truck => 3.0,
                _ => 0.7,
            });
            let route = draw(&mut rng, &mut routes, |route| route_weight(truck, route));
            Shift { day, truck, driver, route }
        })
        .collect()
}

/// A truck's fondness for a route. The long coast road rarely goes to the small packs.
fn route_weight(truck: usize, route: usize) -> f64 {
    let home = match truck {
        0 => 0,
        1 => 1,
        2 => 5,
        3 => 2,
        4 => 3,
        _ => 4,
    };
    let is_coast_for_light = route == 5 && TRUCKS[truck].kind.packs < 4.0;
    match () {
        () if route == home => 5.0,
        () if is_coast_for_light => 0.3,
        () => 1.2,
    }
}

/// Takes one item out of the pool, by weight.
fn draw(rng: &mut ChaCha8Rng, pool: &mut Vec<usize>, weight: impl Fn(usize) -> f64) -> usize {
    let total: f64 = pool.iter().map(|&item| weight(item)).sum();
    let mut left = rng.random_range(0.0..total);
    let mut place = 0;
    while place + 1 < pool.len() && left > weight(pool[place]) {
        left -= weight(pool[place]);
        place += 1;
    }
    pool.remove(place)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn the_roster_is_connected_but_not_balanced() {
        let shifts: Vec<Shift> = shifts_by_truck(Size::Full, 1).concat();
        for (driver, person) in DRIVERS.iter().enumerate() {
            let own: Vec<_> = shifts.iter().filter(|shift| shift.driver == driver).collect();
            let trucks: HashSet<_> = own.iter().map(|shift| shift.truck).collect();
            let routes: HashSet<_> = own.iter().map(|shift| shift.route).collect();
            assert!(own.len() >= 10, "{} drove {} days", person.name, own.len());
            assert!(trucks.len() >= 3 && routes.len() >= 4);
        }
        assert!((240..270).contains(&shifts.len()), "{}", shifts.len());
    }

    #[test]
    fn the_small_pilot_keeps_three_drivers_and_two_routes() {
        let shifts: Vec<Shift> = shifts_by_truck(Size::Small, 1).concat();
        let drivers: HashSet<_> = shifts.iter().map(|shift| shift.driver).collect();
        let routes: HashSet<_> = shifts.iter().map(|shift| shift.route).collect();
        assert!(drivers.len() >= 3 && routes.len() == 2 && shifts.len() == 6);
    }
}
