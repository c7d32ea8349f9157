//! Trolleybus: what height and road load explain of the residual of the braking events.

use backwatt_testkit::{close, evidence, within};

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

fn all() -> Option<Vec<Steps>> {
    let [(_, level), (_, hilly)] = both("trolleybus_steps")?;
    let road = Road::of(level, hilly);
    let ((lacking, ..), said) = (road.lacking(), grade_error(hilly));
    let steps: Vec<Steps> =
        hilly.released().filter_map(|event| Steps::of(event, &road, lacking, said)).collect();
    println!(
        "trolleybus: {} of {} events on ground that other passes know",
        steps.len(),
        hilly.released().count()
    );
    assert!(steps.len() > 150);
    Some(steps)
}

/// What height and road load explain of the residual, event by event; nothing of it goes back into a sheet.
#[test]
fn braking_events_step_by_step() {
    let Some(steps) = all() else { return };
    let fit = |name: &str, pick: fn(&Steps) -> f64| {
        let pair = |s: &Steps| Pair { weight: 1.0, modelled: pick(s), measured: s.motor };
        let fit = Fit::of(&steps.iter().map(pair).collect::<Vec<_>>());
        println!(
            "{name}: ratio {:.3}, r squared {:.3}, RMS {:.4} kWh",
            1.0 + fit.bias / fit.measured,
            fit.r_squared,
            fit.rmse
        );
        fit
    };
    let ledger = fit("ledger", |s| s.ledger);
    let slope = fit("slope of the motors", |s| s.by_slope);
    let road = fit("and their road load", |s| s.by_road);
    assert!(slope.rmse < 0.5 * ledger.rmse && road.rmse < 0.5 * slope.rmse, "each step explains some");
    assert!(slope.r_squared > 0.98 && road.r_squared > 0.99);
    close("ratio with the slope of the motors", 1.0 + slope.bias / slope.measured, 1.20, 0.03);
    let root =
        |of: fn(&Steps) -> f64| (steps.iter().map(|s| of(s).powi(2)).sum::<f64>() / steps.len() as f64).sqrt();
    let (height, said) = (root(|s| s.ledger - s.by_slope), root(|s| s.height_error));
    println!("height explains {height:.4} kWh RMS, the kernel says {said:.4}");
    assert!((0.5..1.5).contains(&(height / said)));
}

/// With height and road load explained, what is left lies within the band of the mass: downhill, on the level and uphill.
#[test]
fn what_is_left_lies_within_the_band_of_the_mass() {
    let Some(steps) = all() else { return };
    for (group, from, to) in [("down", -1.0, -HILL), ("level", -HILL, HILL), ("up", HILL, 1.0)] {
        let of = || steps.iter().filter(|s| (from..to).contains(&s.slope));
        let sum = |pick: fn(&Steps) -> f64| of().map(pick).sum::<f64>();
        let (left, band) = (sum(|s| s.by_road - s.motor), sum(|s| s.half_band));
        println!(
            "{group}: {} events, off {:.2} kWh = height {:.2} + road load {:.2} + left {left:.2}; band {band:.2}, motors {:.2}",
            of().count(),
            sum(|s| s.ledger - s.motor),
            sum(|s| s.ledger - s.by_slope),
            sum(|s| s.by_slope - s.by_road),
            sum(|s| s.motor)
        );
        assert!(of().count() > 30 && left.abs() < band, "{group}: {left} kWh beside {band} kWh");
    }
    let row = |s: &Steps| {
        let Steps { ledger, by_slope, by_road, motor, half_band, height_error, slope } = s;
        format!("{ledger:.5},{by_slope:.5},{by_road:.5},{motor:.5},{half_band:.5},{height_error:.5},{slope:.4}")
    };
    evidence::write(
        "trolleybus-steps.csv",
        "ledger_kwh,by_slope_kwh,by_road_kwh,motor_kwh,half_band_kwh,height_error_kwh,slope",
        &steps.iter().map(row).collect::<Vec<_>>(),
    );
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
