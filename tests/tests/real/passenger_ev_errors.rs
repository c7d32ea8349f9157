//! Passenger EV: where modelled and measured pack power part, and when.

use std::collections::BTreeMap;

use backwatt_testkit::close;

use crate::fit::{Fit, Pair};
use crate::passenger_ev_power::{DAMAGED, DATA, SHORT, WITH_HEATER, over_steps, seconds};
use crate::set::{Set, present, shared_file};

/// 80 km/h. [m/s]
const FAST_M_S: f64 = 22.2;

fn by_file(trips: Vec<(String, Vec<Pair>)>) -> BTreeMap<String, Vec<Pair>> {
    trips.into_iter().filter(|(file, _)| file != DAMAGED).collect()
}

fn errors(pairs: &[Pair]) -> Vec<f64> {
    pairs.iter().map(|pair| pair.modelled - pair.measured).collect()
}

/// Share of the squared error, and of the seconds, that `holds` picks.
fn share(pairs: &[Pair], holds: &dyn Fn(usize) -> bool) -> (f64, f64) {
    let squared = errors(pairs).into_iter().map(|error| error * error).enumerate();
    let (picked, all) = squared.fold((0.0, 0.0), |(picked, all), (at, square)| {
        (picked + if holds(at) { square } else { 0.0 }, all + square)
    });
    let seconds = (0..pairs.len()).filter(|at| holds(*at)).count();
    (picked / all, seconds as f64 / pairs.len() as f64)
}

fn correlation(one: &[f64], other: &[f64]) -> f64 {
    let mean = |series: &[f64]| series.iter().sum::<f64>() / series.len() as f64;
    let (a, b) = (mean(one), mean(other));
    let (mut aa, mut bb, mut ab) = (0.0, 0.0, 0.0);
    for (x, y) in one.iter().zip(other) {
        (aa, bb, ab) = (aa + (x - a).powi(2), bb + (y - b).powi(2), ab + (x - a) * (y - b));
    }
    ab / (aa * bb).sqrt()
}

#[test]
fn whole_errs_at_speed_and_where_height_is_missing() {
    let Some(set) = present(&WITH_HEATER, "passenger_ev_errors", DATA) else { return };
    let power = by_file(seconds(set, &|terms| terms.modelled_w));
    let speed = by_file(seconds(set, &|terms| terms.speed_m_s));
    let fast = |file: &str| share(&power[file], &|at| speed[file][at].modelled > FAST_M_S);
    let (squares, time) = fast("TripA32.csv");
    println!("TripA32: {squares:.2} of the squared error above 80 km/h, {time:.2} of the time");
    assert!(squares > 0.8 && time < 0.65, "{squares} {time}");
    let short = &power[SHORT];
    let charging = |at: usize| short[at].measured < 0.0;
    let (squares, time) = share(short, &charging);
    let mean = |pick: fn(&Pair) -> f64| {
        let picked: Vec<f64> = (0..short.len()).filter(|at| charging(*at)).map(|at| pick(&short[at])).collect();
        picked.iter().sum::<f64>() / picked.len() as f64
    };
    let (modelled, measured) = (mean(|pair| pair.modelled), mean(|pair| pair.measured));
    println!(
        "{SHORT}: {squares:.2} of the squared error in the {time:.2} of the time it charges, modelled {modelled:.0} W, \
         measured {measured:.0} W"
    );
    assert!(squares > 0.5 && measured < 2.0 * modelled, "{squares}, {modelled} W, {measured} W");
    let heights = || set.samples["EV1"].numbers("altitude_m").into_iter().zip(files(set));
    let of_short = || heights().filter(|(_, file)| file == SHORT).filter_map(|(height, _)| height);
    let range = of_short().fold(f64::MIN, f64::max) - of_short().fold(f64::MAX, f64::min);
    close("range of its elevation, m", range, 1.0, 0.05);
}

fn files(set: &Set) -> Vec<String> {
    set.samples["EV1"].texts("source_file").into_iter().map(|file| file.expect("a name")).collect()
}

/// Slow errors of wind, hill and cabin, not noise; and no shift in time.
#[test]
fn whole_errs_slowly_and_in_step() {
    let Some(set) = present(&WITH_HEATER, "passenger_ev_errors", DATA) else { return };
    let power = by_file(seconds(set, &|terms| terms.modelled_w));
    for file in ["TripA15.csv", "TripA16.csv", "TripA32.csv"] {
        let error = errors(&power[file]);
        let after = |steps: usize| correlation(&error[..error.len() - steps], &error[steps..]);
        println!("{file}: error against that 1 s on {:.2}, 10 s on {:.2}", after(1), after(10));
        assert!(after(1) > 0.85, "{file}: {}", after(1));
        assert!((0.25..0.70).contains(&after(10)), "{file}: {}", after(10));
    }
    for (file, pairs) in &power {
        let modelled: Vec<f64> = pairs.iter().map(|pair| pair.modelled).collect();
        let measured: Vec<f64> = pairs.iter().map(|pair| pair.measured).collect();
        let last = pairs.len() - 1;
        let in_step = correlation(&modelled, &measured);
        for (a, b) in [(&modelled[1..], &measured[..last]), (&modelled[..last], &measured[1..])] {
            assert!(correlation(a, b) < in_step, "{file} fits better a second apart");
        }
    }
}

/// Within a second the steps of the logged speed make acceleration of their own.
#[test]
fn whole_follows_less_well_at_ten_hertz() {
    let Some(set) = present(&WITH_HEATER, "passenger_ev_ten_hertz", DATA) else { return };
    let fits = |trips| by_file(trips).into_iter().map(|(file, pairs)| (file, Fit::of(&pairs).r_squared));
    let of_a_second: BTreeMap<String, f64> = fits(seconds(set, &|terms| terms.modelled_w)).collect();
    // A step shorter than the sampling interval leaves every sample on its own.
    let raw = fits(over_steps(set, 0.01, &|terms| terms.modelled_w));
    let lost: Vec<f64> = raw.map(|(file, r_squared)| of_a_second[&file] - r_squared).collect();
    let (least, most) = (lost.iter().copied().fold(1.0, f64::min), lost.iter().copied().fold(0.0, f64::max));
    println!("passenger EV: r squared at 10 Hz lower by {least:.3} to {most:.3}");
    assert!(least > 0.0 && most < 0.04, "{least} {most}");
}

/// The air conditioner stands in a column the pilot file does not map.
#[test]
fn whole_was_cooled_on_a_trip_with_too_little_modelled() {
    let Some(_) = present(&WITH_HEATER, "passenger_ev_cooling", DATA) else { return };
    let bytes = std::fs::read(shared_file(DATA, "TripA01.csv")).expect("the trip is there");
    let text = String::from_utf8_lossy(&bytes);
    let mut lines = text.lines().map(|line| line.split(';').collect::<Vec<_>>());
    let header = lines.next().expect("a header");
    let at = header.iter().position(|name| *name == "AirCon Power [kW]").expect("the column is there");
    let watts: Vec<f64> = lines.filter_map(|cells| cells.get(at)?.parse().ok()).collect();
    let mean = watts.iter().sum::<f64>() / watts.len() as f64;
    println!("TripA01: air conditioner {mean:.2} kW");
    close("mean of the air conditioner, kW", mean, 1.61, 0.01);
}
