//! Trolleybus: braking and tractive energy of the ledger against the motors' own force at the wheels.
//!
//! Looked at are braking events without pressure on the friction lines, so that what braked was road load, hill and
//! motors. Once without height and once with it: Zurich is hilly, and the log's height is raw satellite height.

use std::sync::LazyLock;

use backwatt_testkit::{Table, close, evidence, within};

use crate::fit::{Fit, Pair};
use crate::set::{KWH_J, Set};
use crate::trolleybus_motor::{DATA, HEAVY, LIGHT, Motor, VEHICLE, run};

const FLAT: (&str, &str) = ("altitude = {", "# altitude = {");

/// The whole mission, replayed by the sheet and by its two ends.
pub struct Mission {
    pub set: Set,
    pub trace: Table,
    events: Vec<Event>,
}

/// A braking event of the ledger. [kWh]
pub struct Event {
    pub from_ns: i64,
    pub to_ns: i64,
    ledger: f64,
    pub light: f64,
    pub heavy: f64,
    pub motor: f64,
    /// No pressure on the friction lines.
    released: bool,
    speed_start_m_s: f64,
}

static HILLY: LazyLock<Option<Mission>> = LazyLock::new(|| Mission::run(&[]));
static LEVEL: LazyLock<Option<Mission>> = LazyLock::new(|| Mission::run(&[FLAT]));

impl Mission {
    fn run(changes: &[(&str, &str)]) -> Option<Self> {
        let nominal = run(changes)?;
        let [light, heavy] = [LIGHT, HEAVY].map(|ends| run(&[changes, &ends].concat()));
        let (light, heavy) = (Braking::of(&light?), Braking::of(&heavy?));
        let motor = Motor::of(&nominal);
        let trace = nominal.power_trace(VEHICLE);
        let table = &nominal.events;
        let (starts, ends) = (table.times("time_start_ns"), table.times("time_end_ns"));
        let (energy, speed) = (table.numbers("energy_braking_kwh"), table.numbers("speed_start_m_s"));
        let one = |row: usize| {
            let (from, to) = (starts[row], ends[row]);
            Event {
                from_ns: from,
                to_ns: to,
                ledger: energy[row].expect("an event has its energy"),
                light: light.between(from, to),
                heavy: heavy.between(from, to),
                motor: motor.braking_kwh(from, to),
                released: motor.is_released(from, to),
                speed_start_m_s: speed[row].expect("an event has its speed"),
            }
        };
        let events = (0..table.rows()).map(one).collect();
        Some(Self { set: nominal, trace, events })
    }

    pub fn released(&self) -> impl Iterator<Item = &Event> {
        self.events.iter().filter(|event| event.released)
    }
}

/// Braking energy of a power trace. [kWh]
struct Braking {
    starts_ns: Vec<i64>,
    kwh: Vec<f64>,
}

impl Braking {
    fn of(set: &Set) -> Self {
        let trace = set.power_trace(VEHICLE);
        let (starts_ns, ends) = (trace.times("time_start_ns"), trace.times("time_end_ns"));
        let watts = trace.numbers("power_braking_w");
        let kwh = (0..trace.rows())
            .map(|row| watts[row].expect("known") * (ends[row] - starts_ns[row]) as f64 * 1e-9 / KWH_J)
            .collect();
        Self { starts_ns, kwh }
    }

    fn between(&self, from_ns: i64, to_ns: i64) -> f64 {
        let row = |time: i64| self.starts_ns.partition_point(|start| *start < time);
        self.kwh[row(from_ns)..row(to_ns)].iter().sum()
    }
}

/// Over the events without pressure: sums, correlation, spread, and how many lie within the band of the mass.
struct Agreement {
    events: usize,
    ledger_kwh: f64,
    motor_kwh: f64,
    ratio: f64,
    r_squared: f64,
    residual_rms_kwh: f64,
    within_band_share: f64,
}

impl Agreement {
    fn of(mission: &Mission) -> Self {
        let sum = |pick: fn(&Event) -> f64| mission.released().map(pick).sum::<f64>();
        let pairs: Vec<Pair> = mission
            .released()
            .map(|event| Pair { weight: 1.0, modelled: event.ledger, measured: event.motor })
            .collect();
        let within = mission.released().filter(|event| (event.light..=event.heavy).contains(&event.motor));
        let fit = Fit::of(&pairs);
        let (ledger_kwh, motor_kwh) = (sum(|event| event.ledger), sum(|event| event.motor));
        Self {
            events: pairs.len(),
            ledger_kwh,
            motor_kwh,
            ratio: ledger_kwh / motor_kwh,
            r_squared: fit.r_squared,
            residual_rms_kwh: fit.rmse,
            within_band_share: within.count() as f64 / pairs.len() as f64,
        }
    }
}

/// What may not be exceeded, found and rounded up: flat 1.328 and 0.0506 kWh, with height 1.385 and 0.0552 kWh. Both fall
/// when height and road load get better (`trolleybus_steps`).
struct Most {
    ratio: f64,
    residual_rms_kwh: f64,
}
const MOST_FLAT: Most = Most { ratio: 1.37, residual_rms_kwh: 0.053 };
const MOST_WITH_HEIGHT: Most = Most { ratio: 1.42, residual_rms_kwh: 0.058 };

pub fn both(test: &str) -> Option<[(&'static str, &'static Mission); 2]> {
    let (Some(level), Some(hilly)) = (&*LEVEL, &*HILLY) else {
        backwatt_testkit::skipped(test, &format!("data/{DATA}"));
        return None;
    };
    Some([("flat", level), ("height", hilly)])
}

#[test]
fn braking_events_against_the_motors() {
    let Some(missions) = both("trolleybus_braking") else { return };
    let mut rows = Vec::new();
    for (name, mission) in missions {
        let found = Agreement::of(mission);
        println!(
            "trolleybus, {name}: {} of {} events without pressure, ledger {:.2}, motors {:.2} kWh, ratio {:.3}, r squared \
             {:.3}, residual {:.4} kWh RMS, {:.3} within the band",
            found.events,
            mission.events.len(),
            found.ledger_kwh,
            found.motor_kwh,
            found.ratio,
            found.r_squared,
            found.residual_rms_kwh,
            found.within_band_share
        );
        let most = if name == "flat" { MOST_FLAT } else { MOST_WITH_HEIGHT };
        assert!(found.events > 150, "{name}: {} events", found.events);
        let least = if name == "flat" { 0.60 } else { 0.74 };
        assert!(found.r_squared > least, "{name}: r squared {}", found.r_squared);
        assert!((0.9..most.ratio).contains(&found.ratio), "{name}: ratio {}", found.ratio);
        assert!(found.residual_rms_kwh < most.residual_rms_kwh, "{name}: {} kWh", found.residual_rms_kwh);
        rows.extend(mission.events.iter().map(|event| {
            let Event { ledger, light, heavy, motor, released, speed_start_m_s, .. } = event;
            format!("{name},{ledger:.5},{light:.5},{heavy:.5},{motor:.5},{released},{speed_start_m_s:.2}")
        }));
    }
    evidence::write(
        "trolleybus-events.csv",
        "height,ledger_kwh,light_kwh,heavy_kwh,motor_kwh,released,speed_start_m_s",
        &rows,
    );
}

/// Known disagreement. Were mass all that is uncertain, the motors' work would lie between the light and the heavy vehicle.
/// Hills and the sheet's road load decide instead (`trolleybus_steps`): a bus that coasts to a stop uphill brakes nothing,
/// and the flat ledger sees a stop. When this fails because most events lie within the band, ask for that.
#[test]
fn known_disagreement_few_events_lie_within_the_band_of_the_mass() {
    let Some(missions) = both("trolleybus_band") else { return };
    for (name, mission) in missions {
        let share = Agreement::of(mission).within_band_share;
        println!("trolleybus, {name}: {share:.3} of the events within the band");
        assert!(share > 0.0 && share < 0.1, "{name}: {share}");
        let ordered = |event: &&Event| event.light < event.ledger && event.ledger < event.heavy;
        assert_eq!(
            mission.events.iter().filter(ordered).count(),
            mission.events.len(),
            "{name}: a band has two ends"
        );
    }
}

/// The events' energy is that of the trace over their time: the band is that of the same seconds.
#[test]
fn events_hold_the_energy_of_the_trace() {
    let Some(missions) = both("trolleybus_braking_trace") else { return };
    for (name, mission) in missions {
        let trace = Braking::of(&mission.set);
        let (starts, ends) =
            (mission.set.events.times("time_start_ns"), mission.set.events.times("time_end_ns"));
        assert!(mission.events.len() > 100, "{name}");
        for (row, event) in mission.events.iter().enumerate() {
            let of_trace = trace.between(starts[row], ends[row]);
            within(&format!("{name} event {row}"), of_trace, event.ledger, 1e-9);
        }
    }
}

/// The same on the side of traction, over the whole mission.
#[test]
fn tractive_energy_against_the_motors() {
    let Some(missions) = both("trolleybus_traction") else { return };
    let mut net = Vec::new();
    for (name, mission) in missions {
        let motor = Motor::of(&mission.set);
        let (first, last) = (motor.times_ns[0], motor.times_ns[motor.times_ns.len() - 1]);
        let (drive, brake) = (motor.work(first, last, -1.0), motor.work(first, last, 1.0));
        let of = |column| mission.set.segments.sum(column);
        let (tractive, braking) = (of("energy_tractive_kwh"), of("energy_braking_kwh"));
        let (starts, wheel) = (mission.trace.times("time_start_ns"), mission.trace.numbers("power_wheel_w"));
        let ends = mission.trace.times("time_end_ns");
        let pairs: Vec<Pair> = (0..mission.trace.rows())
            .filter_map(|row| {
                let rows = motor.rows(starts[row], ends[row]);
                let measured = f64::midpoint(motor.watts[*rows.start()]?, motor.watts[*rows.end()]?);
                let weight = (ends[row] - starts[row]) as f64 * 1e-9;
                Some(Pair { weight, modelled: wheel[row]?, measured })
            })
            .collect();
        let fit = Fit::of(&pairs);
        println!(
            "trolleybus, {name}: tractive {tractive:.2}, motors {drive:.2} kWh; braking {braking:.2}, motors \
             {brake:.2} kWh; net {:.2}, motors {:.2} kWh; wheel power {fit:?}",
            tractive - braking,
            drive - brake
        );
        let (least_r, least, most) = if name == "flat" { (0.63, 0.79, 0.85) } else { (0.86, 0.89, 0.96) };
        assert!(fit.r_squared > least_r, "{name}: r squared {}", fit.r_squared);
        assert!((least..most).contains(&(tractive / drive)), "{name}: tractive {}", tractive / drive);
        net.push((tractive - braking) / (drive - brake));
    }
    // Known disagreement: what is neither hill nor kinetic, rolling and air, is two thirds of what the motors spent on it
    // (12 kWh on 48 km): what the sheet's rolling resistance lacks (`trolleybus_road`). Height cancels in it.
    for ratio in net {
        close("net work, ledger over motors", ratio, 0.64, 0.02);
    }
}
