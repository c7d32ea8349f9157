//! Trolleybus: what height and road load explain of the residual of the braking events.

use backwatt_testkit::{evidence, within};

use crate::fit::{Fit, Pair};
use crate::set::KWH_J;
use crate::trolleybus_braking::{Event, both};
use crate::trolleybus_motor::Motor;
use crate::trolleybus_road::{Road, grade_error};

/// Share of an event's way whose slope other passes must know. [1]
const KNOWN: f64 = 0.7;
/// Steeper than this is a hill, up or down. [rise over run]
const HILL: f64 = 0.01;

/// A braking event's energy as the ledger has it, by the motors' slope, by their road load too, and as they braked. [kWh]
struct Steps {
    ledger: f64,
    by_slope: f64,
    by_road: f64,
    motor: f64,
    /// Half the width of the band of the mass.
    half_band: f64,
    /// m g times the way times the spread the height kernel states of its grade.
    height_error: f64,
    /// Mean slope of the ledger.
    slope: f64,
}

impl Steps {
    fn of(event: &Event, road: &Road, lacking: f64, grade_error: f64) -> Option<Self> {
        let seconds = road.within(event.from_ns, event.to_ns);
        let slopes: Vec<Option<f64>> = seconds.iter().map(|second| road.slope(second, lacking)).collect();
        let way = |of: &dyn Fn(usize) -> f64| -> f64 {
            (0..seconds.len()).map(|at| of(at) * seconds[at].per_slope_w * seconds[at].seconds()).sum::<f64>()
        };
        let whole = way(&|_| 1.0);
        if way(&|at| f64::from(slopes[at].is_some())) < KNOWN * whole {
            return None;
        }
        let braking = |slope: &dyn Fn(usize) -> f64, rolling: f64| -> f64 {
            let one = |at: usize| -seconds[at].wheel_w(slope(at), rolling).min(0.0) * seconds[at].seconds();
            (0..seconds.len()).map(one).sum::<f64>() / KWH_J
        };
        let logged = |at: usize| seconds[at].hill_w / seconds[at].per_slope_w.max(1.0);
        let felt = |at: usize| slopes[at].unwrap_or_else(|| logged(at));
        Some(Self {
            ledger: braking(&logged, 0.0),
            by_slope: braking(&felt, 0.0),
            by_road: braking(&felt, lacking),
            motor: event.motor,
            half_band: (event.heavy - event.light) / 2.0,
            height_error: grade_error * whole / KWH_J,
            slope: way(&logged) / whole,
        })
    }
}

/// What height and road load explain of the residual, event by event; nothing of it goes back into a sheet.
#[test]
fn braking_events_step_by_step() {
    let Some([(_, level), (_, hilly)]) = both("trolleybus_steps") else { return };
    let road = Road::of(level, hilly);
    let (lacking, ..) = road.lacking();
    let said = grade_error(hilly);
    let steps: Vec<Steps> =
        hilly.released().filter_map(|event| Steps::of(event, &road, lacking, said)).collect();
    println!(
        "trolleybus: {} of {} events on ground that other passes know",
        steps.len(),
        hilly.released().count()
    );
    assert!(steps.len() > 100);
    let picks: [(&str, fn(&Steps) -> f64); 3] =
        [("ledger", |s| s.ledger), ("slope of motors", |s| s.by_slope), ("road load of motors", |s| s.by_road)];
    let fits = picks.map(|(name, pick)| {
        let pair = |s: &Steps| Pair { weight: 1.0, modelled: pick(s), measured: s.motor };
        let fit = Fit::of(&steps.iter().map(pair).collect::<Vec<_>>());
        let ratio = 1.0 + fit.bias / fit.measured;
        let inside = steps.iter().filter(|s| (pick(s) - s.motor).abs() <= s.half_band).count();
        println!(
            "{name}: ratio {ratio:.3}, r squared {:.3}, RMS {:.4} kWh, {inside} in band",
            fit.r_squared, fit.rmse
        );
        (fit, ratio)
    });
    let off = |of: &dyn Fn(&Steps) -> f64| {
        (steps.iter().map(|s| of(s).powi(2)).sum::<f64>() / steps.len() as f64).sqrt()
    };
    println!(
        "height part {:.4} kWh RMS, the kernel says {:.4}",
        off(&|s| s.ledger - s.by_slope),
        off(&|s| s.height_error)
    );
    let rows: Vec<String> = steps
        .iter()
        .map(|s| {
            let Steps { ledger, by_slope, by_road, motor, half_band, height_error, slope } = s;
            format!(
                "{ledger:.5},{by_slope:.5},{by_road:.5},{motor:.5},{half_band:.5},{height_error:.5},{slope:.4}"
            )
        })
        .collect();
    for group in ["down", "level", "up"] {
        let of: Vec<&Steps> = steps.iter().filter(|s| group_of(s.slope) == group).collect();
        let sum = |pick: &dyn Fn(&Steps) -> f64| of.iter().map(|s| pick(s)).sum::<f64>();
        println!(
            "{group}: {} events, off {:.2} kWh = height {:.2} + road load {:.2} + left {:.2}; mass band {:.2}, motors {:.2}",
            of.len(),
            sum(&|s| s.ledger - s.motor),
            sum(&|s| s.ledger - s.by_slope),
            sum(&|s| s.by_slope - s.by_road),
            sum(&|s| s.by_road - s.motor),
            sum(&|s| s.half_band),
            sum(&|s| s.motor)
        );
    }
    evidence::write(
        "trolleybus-steps.csv",
        "ledger_kwh,by_slope_kwh,by_road_kwh,motor_kwh,half_band_kwh,height_error_kwh,slope",
        &rows,
    );
    let [ledger, slope, road] = fits;
    assert!(slope.0.rmse < ledger.0.rmse && road.0.rmse < slope.0.rmse, "each step explains some");
}

fn group_of(slope: f64) -> &'static str {
    match slope {
        s if s < -HILL => "down",
        s if s > HILL => "up",
        _ => "level",
    }
}

/// The net of the mission, in which hills and kinetic energy cancel, is road load: with what the sheet lacks it closes.
#[test]
fn net_work_closes_with_the_road_load_of_the_motors() {
    let Some([(_, level), (_, hilly)]) = both("trolleybus_net") else { return };
    let road = Road::of(level, hilly);
    let (lacking, ..) = road.lacking();
    let of = |column| hilly.set.segments.sum(column);
    let net = of("energy_tractive_kwh") - of("energy_braking_kwh");
    let added = lacking * road.seconds.iter().map(|s| s.per_slope_w * s.seconds()).sum::<f64>() / KWH_J;
    let motor = Motor::of(&hilly.set);
    let (first, last) = (motor.times_ns[0], motor.times_ns[motor.times_ns.len() - 1]);
    let motors = motor.work(first, last, -1.0) - motor.work(first, last, 1.0);
    println!("trolleybus: net {net:.2} kWh, lacking {added:.2}, motors {motors:.2}");
    within("net work with what the sheet lacks", net + added, motors, 0.03);
}
