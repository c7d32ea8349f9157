//! How a log is replayed: the thresholds, which a pilot may not move yet, and what is taken as the speed.

use backwatt_physics::replay::Node;
use backwatt_physics::{ReplaySettings, SpeedReading};
use backwatt_schema::unit::Dimension;

use crate::document::Section;
use crate::weather;

pub fn read(root: &Section<'_, '_>) -> ReplaySettings {
    let section = root.section("replay");
    let settings = ReplaySettings {
        speed: speed(root, section.as_ref()),
        weather: weather::read(root),
        nodes: nodes(root),
        ..ReplaySettings::default()
    };
    // They move numbers, so they are listed.
    for (key, value) in [
        ("replay.moving_above", "2.0 km/h"),
        ("replay.standing_below", "1.0 km/h"),
        ("replay.stop_after", "3 s"),
        ("replay.trip_ends_after", "300 s of standing or gap"),
        ("replay.segment_length", "1 km"),
        ("replay.braking_event", "1 s and 0.005 kWh"),
        ("replay.gap", "3 s or 3 median intervals, whichever is longer"),
        ("replay.service_day_cut", "03:00 local"),
    ] {
        root.default(key, value, "the product's rule");
    }
    if let Some(section) = section {
        section.finish();
    }
    settings
}

/// `[nodes.NAME]`: places the routes pass.
fn nodes(root: &Section<'_, '_>) -> Vec<Node> {
    let mut nodes = Vec::new();
    for (name, section) in root.named_sections("nodes") {
        let degrees = |key: &str, most: f64| {
            let at = section.quantity(key, Dimension::Angle);
            if at.is_none() && !section.has(key) {
                let hint = "lat = \"47.37 deg\", lon = \"8.54 deg\", radius = \"50 m\"".to_owned();
                section.fault("pilot-node-unplaced", key, format!("the node has no {key}"), hint);
            }
            let degrees = at?.value;
            if degrees.abs() <= most {
                return Some(degrees);
            }
            let message = format!("{degrees} is no {key}itude");
            section.fault("pilot-out-of-range", key, message, format!("between -{most} and {most} deg"));
            None
        };
        let (lat, lon) = (degrees("lat", 90.0), degrees("lon", 180.0));
        let radius = section.quantity("radius", Dimension::Length).map(|at| at.value);
        if radius.is_none() && !section.has("radius") {
            section.default(
                "radius",
                "50 m",
                "twice a satellite position's error in a street; common practice, no source",
            );
        }
        let radius_m = radius.unwrap_or(50.0);
        if !(1.0..=10_000.0).contains(&radius_m) {
            let hint = "between 1 m and 10 km".to_owned();
            section.fault("pilot-out-of-range", "radius", format!("{radius_m} m is no place on a route"), hint);
        }
        if let (Some(lat_deg), Some(lon_deg)) = (lat, lon) {
            nodes.push(Node { name, lat_deg, lon_deg, radius_m });
        }
        section.finish();
    }
    nodes
}

fn speed(root: &Section<'_, '_>, section: Option<&Section<'_, '_>>) -> SpeedReading {
    let found = "found from each log";
    let smoothing = "noise of the speed only adds to braking energy (notebooks-docs/method/smoothing.md), and slow samples \
                     hide it (notebooks-docs/method/sparse-logs.md)";
    let Some(section) = section else {
        root.default("replay.speed", "smoothed", smoothing);
        root.default("replay.speed_error", found, smoothing);
        return SpeedReading::Smoothed { error_m_s: None };
    };
    let error = section.quantity("speed_error", Dimension::Speed);
    if let Some(error) = error.as_ref().filter(|error| !(error.value > 0.0 && error.value <= 1.0)) {
        let message = format!("a speed that is off by {} m/s says nothing of braking", error.value);
        let hint = "the standard deviation of one value, above 0 and at most 1 m/s; or leave it out".to_owned();
        section.fault("pilot-out-of-range", "speed_error", message, hint);
    }
    match section.text("speed").map(|at| at.value).as_deref() {
        Some("as logged") => return SpeedReading::AsLogged,
        Some("smoothed") => {}
        None => {
            if !section.has("speed") {
                root.default("replay.speed", "smoothed", smoothing);
            }
        }
        Some(other) => {
            let hint = "one of smoothed, as logged".to_owned();
            section.fault("pilot-unknown-speed", "speed", format!("\"{other}\" is no reading of speed"), hint);
        }
    }
    if error.is_none() && !section.has("speed_error") {
        root.default("replay.speed_error", found, smoothing);
    }
    SpeedReading::Smoothed { error_m_s: error.map(|at| at.value) }
}
