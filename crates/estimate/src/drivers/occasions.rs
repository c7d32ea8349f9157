//! Single stops and braking events, each booked to one habit.

use std::collections::HashMap;

use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};

use super::driver_days::{DriverTables, Key, Trips};

/// What a driver does that costs energy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Habit {
    /// Avoidable loss of stops that went into the friction brakes.
    TookFriction,
    /// Avoidable loss of the other stops.
    BegunLate,
    /// Slowing down, to no stop, with more than the motor takes.
    BeyondMotor,
    LowLevel,
    Speed,
    Standing,
}

impl Habit {
    pub const ALL: [Habit; 6] = [
        Habit::TookFriction,
        Habit::BegunLate,
        Habit::BeyondMotor,
        Habit::LowLevel,
        Habit::Speed,
        Habit::Standing,
    ];

    pub fn place(self) -> usize {
        self as usize
    }

    pub fn name(self) -> &'static str {
        match self {
            Habit::TookFriction => "stops that took friction",
            Habit::BegunLate => "stops begun late",
            Habit::BeyondMotor => "slowing beyond the motor",
            Habit::LowLevel => "regen level set low",
            Habit::Speed => "speed",
            Habit::Standing => "standing with auxiliaries on",
        }
    }

    /// What its energy is against; `None` for a habit that only compares with others.
    pub fn reference(self) -> Option<&'static str> {
        match self {
            Habit::TookFriction | Habit::BegunLate => Some(
                "a gentle stop (the reference of avoidable loss): even slowing over the length of the gentlest tenth of stops at the place",
            ),
            Habit::BeyondMotor => Some("a motor without a limit of torque or power"),
            Habit::LowLevel => Some("at each instant the level that gives most, at the same speeds"),
            Habit::Standing => {
                Some("no auxiliaries while standing within trips; what a delivery needs is in it")
            }
            Habit::Speed => None,
        }
    }

    pub fn caution(self) -> &'static str {
        match self {
            Habit::TookFriction => {
                "Safe stopping comes first: never brake later or less than traffic asks, and use the brake pedal whenever in doubt."
            }
            Habit::BegunLate => "Keep the distance to the vehicle ahead; traffic decides part of it.",
            Habit::BeyondMotor => "Nothing is said against braking hard where it is needed.",
            Habit::LowLevel => {
                "On ice, snow or wet leaves follow the manufacturer's instruction, often a lower level. Coasting costs less than \
                 regenerating and pulling again; this figure keeps the speeds as they were."
            }
            Habit::Speed => {
                "Drag alone; where the road allows more speed than elsewhere, route stands for it only in part."
            }
            Habit::Standing => {
                "Heating and cooling a cab is not waste; where auxiliaries are not logged it is time times a setting."
            }
        }
    }
}

/// One braking event and what it cost.
#[derive(Debug, Clone, PartialEq)]
pub struct Example {
    pub kwh: f64,
    pub event: String,
}

pub(super) struct Occasion {
    pub habit: Habit,
    pub key: Key,
    pub kwh: f64,
    pub event: Option<String>,
    /// False for an example of what is summed over segments.
    pub counts: bool,
}

impl Occasion {
    /// Part of the avoidable loss.
    pub fn is_stop(&self) -> bool {
        matches!(self.habit, Habit::TookFriction | Habit::BegunLate)
    }
}

/// A stop belongs to the event that ends within this of it. [ns]
const SAME_INSTANT_NS: i64 = 3_000_000_000;
/// Share of an event's braking energy beyond axle, level, torque, power and acceptance from which it went into friction. No
/// published bound: a fifth is well above what the ledger books by its own errors, well below a hard stop's.
const FRICTION_SHARE: f64 = 0.2;
/// An event that ends faster than this ends in no stop. [m/s]
const NO_STOP_M_S: f64 = 1.0;

/// Stops and events of trips that may be judged, of drivers and days that are known.
pub(super) fn occasions(of: &DriverTables<'_>, trips: &Trips<'_>) -> Result<Vec<Occasion>, BatchError> {
    let events = Events::read(of)?;
    let mut found = events.slowing(trips)?;
    found.extend(stops(of, trips, &events)?);
    Ok(found)
}

fn stops(of: &DriverTables<'_>, trips: &Trips<'_>, events: &Events<'_>) -> Result<Vec<Occasion>, BatchError> {
    let view = BatchView::new(&tables::AVOIDABLE_LOSSES, of.losses);
    let (vehicles, trip_ids) = (view.texts("vehicle_id")?, view.texts("trip_id")?);
    let (drivers, routes) = (view.texts("driver_id")?, view.texts("route_id")?);
    let (times, avoidable) = (view.times("time_stop_ns")?, view.numbers("energy_avoidable_kwh")?);
    let stop = |row: usize| {
        let trip = trip_ids.value(row);
        let (driver, day) = (text_at(drivers, row)?, trips.day(trip)?);
        let kwh = number_at(avoidable, row).filter(|_| trips.is_judged(trip))?;
        let event = events.ending_at(trip, times.value(row));
        let is_hard = event.is_some_and(|event| events.friction_share(event) >= FRICTION_SHARE);
        Some(Occasion {
            habit: if is_hard { Habit::TookFriction } else { Habit::BegunLate },
            key: Key {
                driver: driver.to_owned(),
                vehicle: vehicles.value(row).to_owned(),
                route: text_at(routes, row).unwrap_or_default().to_owned(),
                day: day.to_owned(),
            },
            kwh,
            event: event.map(|event| events.id(event)),
            counts: true,
        })
    };
    Ok((0..view.rows()).filter_map(stop).collect())
}

struct Events<'a> {
    view: BatchView<'a>,
    /// Rows of each trip, in the order of time.
    of_trip: HashMap<&'a str, Vec<usize>>,
}

impl<'a> Events<'a> {
    fn read(of: &DriverTables<'a>) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::BRAKING_EVENTS, of.events);
        let ids = view.texts("trip_id")?;
        let mut of_trip: HashMap<&str, Vec<usize>> = HashMap::new();
        (0..view.rows()).for_each(|row| of_trip.entry(ids.value(row)).or_default().push(row));
        Ok(Self { view, of_trip })
    }

    fn number(&self, name: &str, row: usize) -> f64 {
        self.view.numbers(name).ok().and_then(|array| number_at(array, row)).unwrap_or(0.0)
    }

    fn ending_at(&self, trip: &str, time_ns: i64) -> Option<usize> {
        let ends = self.view.times("time_end_ns").ok()?;
        let apart = |row: &usize| (ends.value(*row) - time_ns).abs();
        self.of_trip.get(trip)?.iter().copied().min_by_key(apart).filter(|row| apart(row) <= SAME_INSTANT_NS)
    }

    fn friction_share(&self, row: usize) -> f64 {
        let beyond = ["axle", "level", "torque", "power", "acceptance"];
        let friction: f64 =
            beyond.iter().map(|limit| self.number(&format!("braking_beyond_{limit}_kwh"), row)).sum();
        friction / self.number("energy_braking_kwh", row).max(f64::MIN_POSITIVE)
    }

    fn id(&self, row: usize) -> String {
        let trip = self.view.texts("trip_id").ok().and_then(|array| text_at(array, row)).unwrap_or_default();
        let order = self.view.orders("event_order").map_or(0, |array| array.value(row));
        format!("{trip}#{order}")
    }

    /// What the motor's limits cost events that end in no stop, and what the level cost any.
    fn slowing(&self, trips: &Trips<'_>) -> Result<Vec<Occasion>, BatchError> {
        let view = self.view;
        let (vehicles, trip_ids) = (view.texts("vehicle_id")?, view.texts("trip_id")?);
        let (drivers, routes) = (view.texts("driver_id")?, view.texts("route_id")?);
        let mut found = Vec::new();
        for row in 0..view.rows() {
            let trip = trip_ids.value(row);
            let (Some(driver), Some(day)) = (text_at(drivers, row), trips.day(trip)) else { continue };
            if !trips.is_judged(trip) {
                continue;
            }
            let key = Key {
                driver: driver.to_owned(),
                vehicle: vehicles.value(row).to_owned(),
                route: text_at(routes, row).unwrap_or_default().to_owned(),
                day: day.to_owned(),
            };
            let beyond =
                self.number("gain_without_torque_kwh", row) + self.number("gain_without_power_kwh", row);
            if self.number("speed_end_m_s", row) > NO_STOP_M_S && beyond > 0.0 {
                let (key, event) = (key.clone(), Some(self.id(row)));
                found.push(Occasion { habit: Habit::BeyondMotor, key, kwh: beyond, event, counts: true });
            }
            let below = self.number("energy_attainable_kwh", row) - self.number("energy_recoverable_kwh", row);
            if below > 0.0 {
                let event = Some(self.id(row));
                found.push(Occasion { habit: Habit::LowLevel, key, kwh: below, event, counts: false });
            }
        }
        Ok(found)
    }
}
