//! Samples per second of the whole replay, of its two halves, and of the two kernels it spends its time in.
//!
//! Beside them, as what one would otherwise write: the popular "central-difference acceleration times speed at the
//! sample" sum, array by array as in numpy. Criterion prints elements per second for each; what counts is the ratio within
//! one run, printed last.

use std::hint::black_box;
use std::time::Instant;

use arrow::array::RecordBatch;
use backwatt_physics::kernels::cascade::{self, LevelChoice, Moment};
use backwatt_physics::kernels::losses::Coefficients;
use backwatt_physics::kernels::road_load::{self, Conditions, Interval};
use backwatt_physics::replay::Reconstruction;
use backwatt_physics::{
    Acceptance, Blending, Level, LiftOff, Losses, Open, PowerBoundary, ReplaySettings, Sheet, Truck, replay,
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

/// Hills of 20 m over a kilometre and a half, as a satellite receiver steps through them. [m]
fn heights(speeds: &[f64]) -> Vec<Option<f64>> {
    let mut way = 0.0;
    let one = |speed: &f64| {
        way += speed;
        Some((400.0 + 20.0 * (way / 240.0_f64).sin()).round())
    };
    speeds.iter().map(one).collect()
}

/// The log of those speeds, with heights or without.
fn batch(speeds: &[f64], heights: Option<&[Option<f64>]>) -> RecordBatch {
    let rows = speeds.len();
    SAMPLES
        .columns
        .iter()
        .fold(BatchBuilder::new(&SAMPLES), |builder, column| match (column.name, column.kind) {
            ("speed_m_s", _) => builder.number("speed_m_s", speeds.iter().copied()),
            ("altitude_m", _) => {
                builder.number("altitude_m", heights.map_or_else(|| vec![None; rows], <[_]>::to_vec))
            }
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

/// Nothing moves between low and high, which costs what it costs; eight values have ends of their own, as a usual sheet has.
fn sheet(truck: &Truck) -> Sheet {
    let end = |factor: f64| -> [Truck; 8] {
        let mut trucks: [Truck; 8] = std::array::from_fn(|_| truck.clone());
        trucks[0].mass_empty_kg *= factor;
        trucks[1].drag_area_m2 /= factor;
        trucks[2].rolling_resistance /= factor;
        trucks[3].axle_limit_m_s2 *= factor;
        trucks[4].motor_power_max_w *= factor;
        trucks[5].aux_power_w /= factor;
        for level in &mut trucks[6].levels {
            level.fade_end_m_s /= factor;
        }
        trucks[7].battery_warmth = factor - 0.5;
        trucks
    };
    Sheet {
        nominal: truck.clone(),
        low: truck.clone(),
        high: truck.clone(),
        open: end(0.8)
            .into_iter()
            .zip(end(1.2))
            .map(|ends| Open { name: "value", ends: ends.into() })
            .collect(),
        power_boundary: PowerBoundary::Pack,
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

/// What one would otherwise write, one array at a time.
fn at_the_samples(speeds: &[f64], conditions: &Conditions) -> f64 {
    let accelerations: Vec<f64> = speeds.windows(3).map(|w| (w[2] - w[0]) / 2.0).collect();
    let inner = &speeds[1..speeds.len() - 1];
    let inertia: Vec<f64> = accelerations.iter().map(|a| conditions.effective_mass_kg() * a).collect();
    let load: Vec<f64> = inner.iter().map(|v| road_load::steady_force(conditions, *v, 0.0)).collect();
    let forces: Vec<f64> = inertia.iter().zip(&load).map(|(inertia, load)| inertia + load).collect();
    let powers: Vec<f64> = forces.iter().zip(inner).map(|(force, v)| force * v).collect();
    powers.iter().map(|power| (-power).max(0.0)).sum()
}

fn exactly(intervals: &[Interval], conditions: &Conditions) -> f64 {
    intervals.iter().map(|i| road_load::integrate(conditions, i).braking_j).sum()
}

/// Everything a line below needs, built outside the clock.
struct Input {
    speeds: Vec<f64>,
    samples: RecordBatch,
    hilly: RecordBatch,
    intervals: Vec<Interval>,
    sheet: Sheet,
    conditions: Conditions,
    settings: ReplaySettings,
}

impl Input {
    fn new() -> Self {
        let speeds = speeds();
        let truck = truck();
        Self {
            samples: batch(&speeds, None),
            hilly: batch(&speeds, Some(&heights(&speeds))),
            intervals: intervals(&speeds),
            sheet: sheet(&truck),
            conditions: conditions(),
            settings: ReplaySettings::default(),
            speeds,
        }
    }

    fn reconstructed(&self, samples: &RecordBatch) -> Reconstruction {
        Reconstruction::new("T1", samples, &self.sheet, &self.settings).expect("the log is sorted")
    }
}

fn benches(criterion: &mut Criterion) {
    let input = Input::new();
    let Input { settings, sheet, conditions, .. } = &input;
    let mut group = criterion.benchmark_group("samples");
    group.throughput(Throughput::Elements(SAMPLES_COUNT as u64)).sample_size(20);
    group.bench_function("replay, all tables and bounds", |b| {
        b.iter(|| replay("T1", black_box(&input.samples), sheet, settings, &|_| "2026-01-01".to_owned()));
    });
    group.bench_function("reconstruction", |b| b.iter(|| input.reconstructed(black_box(&input.samples))));
    group.bench_function("reconstruction, with height", |b| {
        b.iter(|| input.reconstructed(black_box(&input.hilly)));
    });
    group.bench_function("ledger", |b| {
        let drive = input.reconstructed(&input.samples);
        b.iter(|| black_box(&drive).book(sheet, settings));
    });
    group.bench_function("replay, losses by coefficients", |b| {
        let losses = Losses::Coefficients(Coefficients {
            gear_efficiency: 0.955,
            idle_w: 300.0,
            per_speed_n: 40.0,
            per_speed_squared_kg_s: 1.0,
            load_squared_w_per_n2: 3e-5,
        });
        let truck = Truck { losses, ..sheet.nominal.clone() };
        let sheet = self::sheet(&truck);
        b.iter(|| replay("T1", black_box(&input.samples), &sheet, settings, &|_| "2026-01-01".to_owned()));
    });
    group.bench_function("road load, exact", |b| {
        b.iter(|| exactly(black_box(&input.intervals), conditions));
    });
    group.bench_function("road load, at the samples", |b| {
        b.iter(|| at_the_samples(black_box(&input.speeds), conditions));
    });
    group.bench_function("cascade of the braking intervals", |b| {
        let moment =
            Moment { level: LevelChoice::Set(1), pedal_used: true, aux_power_w: 800.0, acceptance_w: 100e3 };
        let braking: Vec<(Interval, (f64, f64))> = input
            .intervals
            .iter()
            .filter_map(|i| Some((*i, road_load::integrate(conditions, i).braking_part?)))
            .collect();
        let one = |(interval, part): &(Interval, (f64, f64))| {
            cascade::integrate(&sheet.nominal, conditions, interval, *part, &moment).recoverable_j
        };
        b.iter(|| black_box(&braking).iter().map(one).sum::<f64>());
    });
    group.finish();
    print_ratios(&input);
}

/// Each half over the sum at the samples, turn by turn in one run, so that a busy machine slows all alike.
fn print_ratios(input: &Input) {
    let drive = input.reconstructed(&input.samples);
    let rounds: [(&str, &dyn Fn()); 4] = [
        ("at the samples", &|| {
            black_box(at_the_samples(black_box(&input.speeds), &input.conditions));
        }),
        ("road load, exact", &|| {
            black_box(exactly(black_box(&input.intervals), &input.conditions));
        }),
        ("reconstruction", &|| {
            black_box(input.reconstructed(black_box(&input.samples)));
        }),
        ("ledger", &|| {
            black_box(black_box(&drive).book(&input.sheet, &input.settings));
        }),
    ];
    let mut seconds = [const { Vec::new() }; 4];
    for _ in 0..15 {
        for (taken, (_, round)) in seconds.iter_mut().zip(&rounds) {
            let start = Instant::now();
            round();
            taken.push(start.elapsed().as_secs_f64());
        }
    }
    let medians = seconds.map(|mut taken| {
        taken.sort_by(f64::total_cmp);
        taken[taken.len() / 2]
    });
    for ((name, _), median) in rounds.iter().zip(medians) {
        let per_second = SAMPLES_COUNT as f64 / median / 1e6;
        println!(
            "{name}: {per_second:.2} M samples/s on one core, {:.1} times the time at the samples",
            median / medians[0]
        );
    }
    let (exact, popular) =
        (exactly(&input.intervals, &input.conditions), at_the_samples(&input.speeds, &input.conditions));
    println!("braking energy at the samples over the exact one: {:.4}", popular / exact);
}

criterion_group!(replay_benches, benches);
criterion_main!(replay_benches);
