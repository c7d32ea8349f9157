//! What to log next: the interval the main answers would have with one signal more, out of the design of the log.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};
use backwatt_stats::nested::{Fit, spread_at};

use crate::errors::Errors;
use crate::learned::{Learned, OfDay};
use crate::statistics::Statistics;

/// A log whose sampling leaves less of its braking energy open lacks no faster speed.
const SPEED_TELLS: f64 = 0.02;

/// A signal that could be added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Addition {
    Nothing,
    /// Pack voltage and current once a second.
    PackCurrent,
    /// State of charge without steps.
    FineCharge,
    Payload,
    /// Speed once a second.
    Speed,
    /// Heights from elevation tiles.
    Heights,
    Level,
    /// Charges metered at the plug.
    Sessions,
}

impl Addition {
    const ALL: [Addition; 8] = [
        Addition::Nothing,
        Addition::PackCurrent,
        Addition::FineCharge,
        Addition::Payload,
        Addition::Speed,
        Addition::Heights,
        Addition::Level,
        Addition::Sessions,
    ];

    fn name(self) -> &'static str {
        match self {
            Addition::Nothing => "as it is",
            Addition::PackCurrent => "pack voltage and current at 1 Hz",
            Addition::FineCharge => "finer state of charge",
            Addition::Payload => "payload",
            Addition::Speed => "speed at 1 Hz",
            Addition::Heights => "elevation tiles",
            Addition::Level => "regen level",
            Addition::Sessions => "metered charge sessions",
        }
    }

    fn how(self) -> &'static str {
        match self {
            Addition::Nothing => "the log as it stands",
            Addition::PackCurrent => {
                "rows of measured energy for every day; what came back is then the sensor's"
            }
            Addition::FineCharge => "ends of windows timed without error",
            Addition::Payload => "mass of the load known by day",
            Addition::Speed => "no braking energy between samples left open",
            Addition::Heights => "no error of height over a window",
            Addition::Level => "levels that nobody names as sure as those that are named",
            Addition::Sessions => "capacity known to the charger's efficiency",
        }
    }

    fn lacking(self, of: &Statistics, learned: &Learned) -> bool {
        match self {
            Addition::Nothing => false,
            Addition::PackCurrent => !of.is_measured(),
            Addition::FineCharge => of.has_windows(),
            Addition::Payload => !of.payload_known(),
            Addition::Speed => of.hidden_frac() > SPEED_TELLS,
            Addition::Heights => of.has_windows() && of.heights_unsure_h > 0.5 * of.moving_h,
            Addition::Level => learned.takes_unknown_level(of),
            Addition::Sessions => of.capacity.is_none() && of.has_windows(),
        }
    }
}

struct Row {
    vehicle_type: String,
    addition: Addition,
    lacking: u64,
    recovered: (f64, f64),
    net: (f64, f64),
}

/// Expected widths for each type with each addition in turn.
///
/// The posterior's spread where the unknowns stand, with the rows or priors that the addition would bring: it depends on
/// what was driven and not on what would be read.
/// Source   expected posterior variance of a linear design: Chaloner and Verdinelli (1995), Statistical Science 10, 273
pub fn signal_value<'l>(
    types: impl Iterator<Item = (&'l Learned, &'l [Statistics])>,
) -> Result<RecordBatch, BatchError> {
    let mut rows = Vec::new();
    for (learned, statistics) in types {
        let mut of_type: Vec<Row> =
            Addition::ALL.into_iter().filter_map(|addition| row(learned, statistics, addition)).collect();
        // Stable, so that equals keep the order of the list, whatever the log's order.
        of_type.sort_by(|a, b| a.recovered.1.total_cmp(&b.recovered.1));
        rows.extend(of_type);
    }
    build(&rows)
}

fn row(learned: &Learned, statistics: &[Statistics], addition: Addition) -> Option<Row> {
    let lacking = statistics.iter().filter(|of| addition.lacking(of, learned)).count() as u64;
    if lacking == 0 && addition != Addition::Nothing {
        return None;
    }
    let design = learned.design(statistics, addition);
    let fit = spread_at(learned.law(), &design.trunk, &design.branches(), learned.after())?;
    let (recovered, net) = widths(learned, statistics, &fit, addition);
    Some(Row { vehicle_type: learned.sheet().name.clone(), addition, lacking, recovered, net })
}

/// Recovered and net energy over all vehicles, each with its half-width.
fn widths(
    learned: &Learned,
    statistics: &[Statistics],
    fit: &Fit,
    addition: Addition,
) -> ((f64, f64), (f64, f64)) {
    let mut sums = [(0.0, Errors::default()), (0.0, Errors::default())];
    for of in statistics {
        let Some(posterior) = learned.of_vehicle(&of.vehicle_id) else { continue };
        let measured = of.is_measured() || addition == Addition::PackCurrent;
        for (name, day) in &of.days {
            let now = posterior.on_day(name);
            let OfDay { recovered, net, hidden_inflow, false_net, .. } = posterior.with(fit, name);
            let errors = if measured { [&hidden_inflow, &false_net] } else { [&recovered, &net] };
            // Only measured vehicles have logged time of inflow; elsewhere the time braked stands in.
            let x = if of.is_measured() { day.totals.clone() } else { day.totals_with_braked_time() };
            for ((sum, errors), figure) in sums.iter_mut().zip(errors).zip([&now.recovered, &now.net]) {
                sum.0 += figure.figure(&day.totals).value;
                let own_day = format!("{} {name}", of.vehicle_id);
                sum.1.add(&Errors::of(&errors.figure(&x), &learned.sheet().name, &of.vehicle_id, &own_day));
            }
        }
    }
    let [recovered, net] = sums;
    ((recovered.0, recovered.1.half_width()), (net.0, net.1.half_width()))
}

fn build(rows: &[Row]) -> Result<RecordBatch, BatchError> {
    let over = |(value, half): (f64, f64)| (value > 0.0).then(|| half / value);
    let as_it_is = |row: &Row| {
        let same = |other: &&Row| other.vehicle_type == row.vehicle_type && other.addition == Addition::Nothing;
        rows.iter().find(same).and_then(|row| over(row.recovered))
    };
    let narrowing = |row: &Row| Some((1.0 - over(row.recovered)? / as_it_is(row)?).max(0.0));
    BatchBuilder::new(&tables::SIGNAL_VALUE)
        .text("vehicle_type", rows.iter().map(|r| Some(r.vehicle_type.as_str())))
        .text("signal", rows.iter().map(|r| Some(r.addition.name())))
        .count("vehicles_lacking", rows.iter().map(|r| r.lacking))
        .number("energy_recovered_kwh", rows.iter().map(|r| r.recovered.0))
        .number("half_width_recovered_frac", rows.iter().map(|r| over(r.recovered)))
        .number("narrowing_recovered_frac", rows.iter().map(narrowing))
        .number("energy_net_kwh", rows.iter().map(|r| r.net.0))
        .number("half_width_net_frac", rows.iter().map(|r| over(r.net)))
        .text("how", rows.iter().map(|r| Some(r.addition.how())))
        .finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::features::{AUX_MOVING, CONVERTED, HOURS, INERTIA, LOAD, LOSS, TAKEN, count, of_level};
    use crate::learn;
    use crate::sheet::{LevelSheet, Reach, TypeSheet};

    fn sheet() -> TypeSheet {
        let level = LevelSheet { name: "one".to_owned(), holds_deceleration: false };
        let reach = Reach {
            mass_empty_frac: 0.03,
            payload_frac: 0.2,
            payload_beyond_frac: 0.0,
            load_frac: 0.0,
            rolling_frac: 0.2,
            drag_frac: 0.15,
            losses_frac: 0.3,
            capacity_frac: 0.05,
        };
        TypeSheet { name: "t".to_owned(), battery: None, levels: vec![level], default_level: Some(0), reach }
    }

    fn driven(vehicle: &str, days: [&str; 2]) -> Statistics {
        let sheet = sheet();
        let mut statistics = Statistics::new(vehicle, &sheet);
        for day in days {
            let mut x = vec![0.0; count(&sheet)];
            for (at, value) in [(INERTIA, 10.0), (LOSS, 1.5), (LOAD, 40.0), (AUX_MOVING, 1.0), (HOURS, 2.0)] {
                x[at] = value;
            }
            (x[of_level(0, TAKEN)], x[of_level(0, CONVERTED)]) = (8.0, 1.0);
            statistics.add_stretch(day, &x, 2.0);
        }
        statistics
    }

    /// What one vehicle's day errs by is no other vehicle's, though the date be the same.
    #[test]
    fn days_of_different_vehicles_err_apart() {
        let half = |second: [&str; 2]| {
            let both = [driven("a", ["monday", "tuesday"]), driven("b", second)];
            let learned = learn(&sheet(), &both).unwrap();
            row(&learned, &both, Addition::Nothing).unwrap().net.1
        };
        assert!((half(["monday", "tuesday"]) - half(["wednesday", "thursday"])).abs() < 1e-9);
    }
}
