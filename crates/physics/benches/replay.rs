//! Samples per second of the whole replay, and of the two kernels it spends its time in.
//!
//! Beside them, as what one would otherwise write: the popular "central-difference acceleration times speed at the
//! sample" sum. Criterion prints elements per second for each; the ratio between two lines of one run is what counts.

use std::hint::black_box;

use arrow::array::RecordBatch;
use backwatt_physics::kernels::cascade::{self, LevelChoice, Moment};
use backwatt_physics::kernels::losses::Coefficients;
use backwatt_physics::kernels::road_load::{self, Conditions, Interval};
use backwatt_physics::{
    Acceptance, Blending, Level, LiftOff, Losses, PowerBoundary, ReplaySettings, Sheet, Truck, replay,
};
use backwatt_schema::{BatchBuilder, Kind, tables::SAMPLES};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

const SAMPLES_COUNT: usize = 100_000;

/// Stop and go between 0 and 15 m/s at 1 Hz, with a stop of 5 s a minute.
fn speeds() -> Vec<f64> {
    (0..SAMPLES_COUNT)
        .map(|i| match i % 60 {
            phase @ 0..20 => 0.75 * phase as f64,
            phase @ 20..40 => 15.0 + (phase as f64 * 0.9).sin(),
            phase @ 40..55 => (15.0 - (phase - 40) as f64).max(0.0),
            _ => 0.0,
        })
        .collect()
}

fn batch(speeds: &[f64]) -> RecordBatch {
    let rows = speeds.len();
    SAMPLES
        .columns
        .iter()
        .fold(BatchBuilder::new(&SAMPLES), |builder, column| match (column.name, column.kind) {
            ("speed_m_s", _) => builder.number("speed_m_s", speeds.iter().copied()),
            ("time_ns", _) => builder.time("time_ns", (0..rows as i64).map(|i| i * 1_000_000_000)),
            (name, Kind::F64) => builder.number(name, vec![None; rows]),
            (name, Kind::Bool) if column.nullable() => builder.flag(name, vec![None; rows]),
            (name, Kind::Bool) => builder.flag(name, vec![false; rows]),
            (name, Kind::U64) => builder.count(name, vec![1; rows]),
            (name, _) if column.nullable() => builder.text(name, vec![None; rows]),
            (name, _) => builder.text(name, vec![Some("T1"); rows]),
        })
        .finish()
        .expect("every column is filled")
}

fn truck() -> Truck {
    let level = |name: &str, m_s2| Level {
        name: name.to_owned(),
        lift_off: LiftOff::Deceleration { m_s2, includes_road_load: false },
        fade_start_m_s: 1.0,
        fade_end_m_s: 3.0,
    };
    Truck {
        mass_empty_kg: 6600.0,
        payload_kg: 0.0,
        rotating_mass_kg: 330.0,
        drag_area_m2: 5.0,
        rolling_resistance: 0.0077,
        losses: Losses::Constant { efficiency: 0.86 },
        rolling_temperature: None,
        axle_limit_m_s2: 1.9,
        motor_force_max_n: 12e3,
        motor_power_max_w: 120e3,
        acceptance: Acceptance {
            power_max_w: 100e3,
            taper_start_soc: 0.9,
            cold_full_k: 283.15,
            cold_none_k: 253.15,
        },
        battery_warmth: 0.5,
        aux_power_w: 800.0,
        climate: None,
        blending: Blending::FrictionOnly,
        levels: vec![level("low", 0.4), level("medium", 0.8), level("high", 1.3)],
        default_level: Some(1),
    }
}

fn conditions() -> Conditions {
    Conditions {
        mass_kg: 6600.0,
        rotating_mass_kg: 330.0,
        rolling_resistance: 0.0077,
        drag_area_m2: 5.0,
        air_density_kg_m3: 1.2,
        gravity_m_s2: 9.80665,
        headwind_m_s: 0.0,
    }
}

fn intervals(speeds: &[f64]) -> Vec<Interval> {
    let interval = |pair: &[f64]| Interval {
        duration_s: 1.0,
        speed_start_m_s: pair[0],
        speed_end_m_s: pair[1],
        rise_m: 0.0,
    };
    speeds.windows(2).map(interval).collect()
}

/// What one would otherwise write; it loses 2 to 3 % of the braking energy.
fn at_the_samples(speeds: &[f64], conditions: &Conditions) -> f64 {
    let power = |w: &[f64]| {
        let force = conditions.effective_mass_kg() * (w[2] - w[0]) / 2.0
            + road_load::steady_force(conditions, w[1], 0.0);
        (-force * w[1]).max(0.0)
    };
    speeds.windows(3).map(power).sum()
}

fn benches(criterion: &mut Criterion) {
    let speeds = speeds();
    let samples = batch(&speeds);
    let truck = truck();
    let sheet = Sheet {
        nominal: truck.clone(),
        low: truck.clone(),
        high: truck.clone(),
        power_boundary: PowerBoundary::Pack,
    };
    let intervals = intervals(&speeds);
    let conditions = conditions();
    let mut group = criterion.benchmark_group("samples");
    group.throughput(Throughput::Elements(SAMPLES_COUNT as u64)).sample_size(20);
    group.bench_function("replay, all tables and bounds", |b| {
        let settings = ReplaySettings::default();
        b.iter(|| replay("T1", black_box(&samples), &sheet, &settings, &|_| "2026-01-01".to_owned()));
    });
    group.bench_function("replay, losses by coefficients", |b| {
        let losses = Losses::Coefficients(Coefficients {
            gear_efficiency: 0.955,
            idle_w: 300.0,
            per_speed_n: 40.0,
            per_speed_squared_kg_s: 1.0,
            load_squared_w_per_n2: 3e-5,
        });
        let truck = Truck { losses, ..truck.clone() };
        let sheet = Sheet { nominal: truck.clone(), low: truck.clone(), high: truck, ..sheet.clone() };
        let settings = ReplaySettings::default();
        b.iter(|| replay("T1", black_box(&samples), &sheet, &settings, &|_| "2026-01-01".to_owned()));
    });
    group.bench_function("road load, exact", |b| {
        b.iter(|| {
            intervals.iter().map(|i| road_load::integrate(&conditions, black_box(i)).braking_j).sum::<f64>()
        });
    });
    group.bench_function("road load, at the samples", |b| {
        b.iter(|| at_the_samples(black_box(&speeds), &conditions));
    });
    group.bench_function("cascade of the braking intervals", |b| {
        let moment =
            Moment { level: LevelChoice::Set(1), pedal_used: true, aux_power_w: 800.0, acceptance_w: 100e3 };
        let braking: Vec<(Interval, (f64, f64))> = intervals
            .iter()
            .filter_map(|i| Some((*i, road_load::integrate(&conditions, i).braking_part?)))
            .collect();
        let one = |(interval, part): &(Interval, (f64, f64))| {
            cascade::integrate(&truck, &conditions, interval, *part, &moment).recoverable_j
        };
        b.iter(|| black_box(&braking).iter().map(one).sum::<f64>());
    });
    group.finish();
}

criterion_group!(replay_benches, benches);
criterion_main!(replay_benches);
