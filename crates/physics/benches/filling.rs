//! Gaps drawn and fitted each second, from 60 h of a library, by their length.

use std::hint::black_box;

use backwatt_physics::kernels::filling::{Gap, Travelled, draw, fit};
use backwatt_physics::{Library, Origin};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};

/// A drive of rises, cruises, stops and standstills by a fixed recipe. [m/s]
fn made_drive(seconds: usize) -> Vec<f64> {
    let mut state = 1_u64;
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let (mut speed, mut wanted, mut left, mut speeds) = (0.0_f64, 0.0, 0, Vec::with_capacity(seconds));
    for _ in 0..seconds {
        if left == 0 {
            wanted = if next() < 0.3 { 0.0 } else { 25.0 * next() };
            left = 5 + (40.0 * next()) as usize;
        }
        left -= 1;
        speeds.push(speed);
        speed = (speed + (wanted - speed).clamp(-1.8, 1.1) + 0.1 * (next() - 0.5)).max(0.0);
    }
    speeds
}

fn gaps(bench: &mut Criterion) {
    let drive = made_drive(60 * 3600);
    let library = Library::new("made".to_owned(), Origin::OwnFleet, &[drive.clone().into()]);
    let mut group = bench.benchmark_group("gaps");
    for seconds in [2, 5, 10, 30, 60] {
        for known in [false, true] {
            let gaps: Vec<Gap> = (0..1000)
                .map(|at| 61 + at * 211)
                .filter(|at| drive[*at] > 0.3 || drive[at + seconds] > 0.3)
                .map(|at| Gap {
                    duration_s: seconds as f64,
                    start_m_s: drive[at] + 0.01,
                    end_m_s: drive[at + seconds] + 0.01,
                    before_m_s: Some(drive[at - seconds]),
                    after_m_s: Some(drive[at + 2 * seconds]),
                    travelled: known
                        .then(|| Travelled { distance_m: drive[at..at + seconds].iter().sum(), sd_m: 4.0 }),
                    lift_off_m_s2: None,
                })
                .collect();
            // Builds the windows of this length outside the clock.
            black_box(draw(&library, &gaps[0], "T1", 0));
            group.throughput(Throughput::Elements(gaps.len() as u64));
            let name = format!("{seconds} s, {}", if known { "distance known" } else { "ends only" });
            group.bench_function(name, |bench| {
                bench.iter(|| {
                    for (at, gap) in gaps.iter().enumerate() {
                        let Some(drawn) = draw(&library, gap, "T1", at as i64) else { continue };
                        for (half, number) in drawn.windows.iter().enumerate() {
                            let way_m = drawn.ways_m.map(|ways_m| ways_m[half / 4]);
                            black_box(fit(&library, *number, gap, way_m));
                        }
                    }
                });
            });
        }
    }
    group.finish();
}

criterion_group!(benches, gaps);
criterion_main!(benches);
