//! Who drives which truck on which route on which day.
//!
//! People keep mostly to a home truck and trucks mostly to a home route, with enough swaps that drivers,
//! trucks and routes hang together: unbalanced, but connected.

use jiff::ToSpan;
use jiff::civil::Date;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::drivers::{DRIVERS, FIRST};
use super::trucks::{Truck, fleet};
use crate::Size;
use crate::place::routes;

/// How many weeks, trucks and drivers a pilot has, and whether half of it goes out on some Saturdays.
#[derive(Clone, Copy)]
struct Extent {
    weeks: usize,
    trucks: usize,
    drivers: usize,
    has_saturdays: bool,
}

const FULL: Extent = Extent { weeks: 8, trucks: 6, drivers: FIRST, has_saturdays: true };
const LARGE: Extent = Extent { weeks: 12, trucks: 20, drivers: DRIVERS.len(), has_saturdays: false };
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
        Size::Full => every_day(&FULL, &fleet(size), seed),
        Size::Large => every_day(&LARGE, &fleet(size), seed),
    };
    (0..fleet(size).len())
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

fn every_day(of: &Extent, fleet: &[Truck], seed: u64) -> Vec<Shift> {
    let days = (0..of.weeks * 7).filter(|&day| is_working_day(of, day));
    days.flat_map(|day| crew_of(of, fleet, seed, day)).collect()
}

fn is_working_day(of: &Extent, day: usize) -> bool {
    let (week, weekday) = (day / 7, day % 7);
    weekday < 5 || (of.has_saturdays && weekday == 5 && SATURDAYS.contains(&week))
}

/// Deals drivers and routes out to the trucks of one day.
fn crew_of(of: &Extent, fleet: &[Truck], seed: u64, day: usize) -> Vec<Shift> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(0x526f_0000 + day as u64);
    let mut drivers: Vec<usize> = (0..of.drivers).collect();
    // Every route as often as there are trucks for it.
    let mut routes: Vec<usize> =
        (0..routes::COUNT * of.trucks.div_ceil(routes::COUNT)).map(|at| at % routes::COUNT).collect();
    let is_saturday = day % 7 == 5;
    (0..of.trucks)
        .filter(|truck| !is_saturday || truck % 2 == (day / 7) % 2)
        .map(|truck| {
            let driver = draw(&mut rng, &mut drivers, |driver| match driver {
                _ if driver % of.trucks == truck => 8.0,
                _ if (driver + 1) % of.trucks == truck => 3.0,
                _ => 0.7,
            });
            let route = draw(&mut rng, &mut routes, |route| route_weight(fleet, truck, route));
            Shift { day, truck, driver, route }
        })
        .collect()
}

/// A truck's fondness for a route. The long coast road rarely goes to the small packs.
fn route_weight(fleet: &[Truck], truck: usize, route: usize) -> f64 {
    let home = match truck % routes::COUNT {
        0 => 0,
        1 => 1,
        2 => 5,
        3 => 2,
        4 => 3,
        _ => 4,
    };
    let is_coast_for_light = route == 5 && fleet[truck].kind.packs < 4.0;
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
        for (driver, person) in DRIVERS.iter().take(FIRST).enumerate() {
            let own: Vec<_> = shifts.iter().filter(|shift| shift.driver == driver).collect();
            let trucks: HashSet<_> = own.iter().map(|shift| shift.truck).collect();
            let routes: HashSet<_> = own.iter().map(|shift| shift.route).collect();
            assert!(own.len() >= 10, "{} drove {} days", person.name, own.len());
            assert!(trucks.len() >= 3 && routes.len() >= 4);
        }
        assert!((240..270).contains(&shifts.len()), "{}", shifts.len());
    }

    #[test]
    fn the_large_pilot_has_twenty_trucks_on_sixty_days() {
        let own = shifts_by_truck(Size::Large, 1);
        assert!(own.len() == 20 && own.iter().all(|shifts| shifts.len() == 60));
        let of_day: HashSet<_> =
            own.iter().filter_map(|shifts| shifts.first()).map(|shift| shift.driver).collect();
        assert_eq!(of_day.len(), 20, "nobody drives two trucks at once");
    }

    #[test]
    fn the_small_pilot_keeps_three_drivers_and_two_routes() {
        let shifts: Vec<Shift> = shifts_by_truck(Size::Small, 1).concat();
        let drivers: HashSet<_> = shifts.iter().map(|shift| shift.driver).collect();
        let routes: HashSet<_> = shifts.iter().map(|shift| shift.route).collect();
        assert!(drivers.len() >= 3 && routes.len() == 2 && shifts.len() == 6);
    }
}
