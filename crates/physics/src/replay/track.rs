//! One vehicle's samples as knots: the instants between which speed is taken as linear.

use std::ops::Range;

use arrow::array::{Array, BooleanArray, Float64Array, RecordBatch, StringArray};
use backwatt_schema::{BatchView, number_at, tables::SAMPLES, text_at};

use super::between::Between;
use super::soc_steps;
use super::weather::{self, Air, FromTable, Weather};
use super::{PhysicsError, ReplaySettings};
use crate::kernels::height::{Point, Profile, profiles};

/// What the height of a stretch rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GradeBasis {
    Logged,
    /// Terrain under the positions, from elevation tiles.
    Tiles,
    Altitude,
    None,
}

impl GradeBasis {
    pub fn as_str(self) -> &'static str {
        match self {
            GradeBasis::Logged => "logged",
            GradeBasis::Tiles => "tiles",
            GradeBasis::Altitude => "altitude",
            GradeBasis::None => "none",
        }
    }
}

/// A stretch of continuous log.
#[derive(Debug, Clone, PartialEq)]
pub struct Span {
    pub knots: Range<usize>,
    pub grade: GradeBasis,
    /// Of a grade from altitude: its standard deviation, mean over the span, and the passes averaged.
    pub grade_error: Option<f64>,
    pub passes: Option<f64>,
    /// Seconds between this span and the one before, and how much of them was a frozen bus.
    pub gap_before_s: f64,
    pub frozen_before_s: f64,
}

#[derive(Debug, Clone, Default)]
pub struct Track {
    pub time_ns: Vec<i64>,
    pub relative: Vec<bool>,
    /// As logged or interpolated, small negatives included.
    pub speed_logged: Vec<f64>,
    /// 0 or more; smoothed unless the settings take it as logged.
    pub speed: Vec<f64>,
    /// Standard deviation of the mean acceleration to the next knot; 0 as logged. [m/s²]
    pub accel_sd: Vec<f64>,
    /// What the smoother took as the sensor's error; `None` as logged.
    pub speed_error: Option<f64>,
    pub speed_interpolated: Vec<bool>,
    pub odometer: Vec<Option<f64>>,
    /// Positions as logged, none carried forward.
    pub fixes: Vec<Option<(f64, f64)>>,
    pub position: Vec<Option<(f64, f64)>>,
    /// Height gained from each knot to the next within its span; 0 where it is unknown.
    pub rise: Vec<f64>,
    pub altitude: Vec<Option<f64>>,
    pub power: Vec<Option<f64>>,
    pub aux: Vec<Option<f64>>,
    pub cab: Vec<Option<f64>>,
    pub battery_thermal: Vec<Option<f64>>,
    pub refrigeration: Vec<Option<f64>>,
    /// Base load inferred from battery power at stops; filled once the stops are known.
    pub aux_standing: Vec<Option<f64>>,
    pub wheel_force: Vec<Option<f64>>,
    pub soc: Vec<Option<f64>>,
    /// Where the battery's own count was set anew: the step to this knot is no energy.
    pub soc_anchored: Vec<bool>,
    /// See [`soc_steps::steps`].
    pub soc_step_wait_s: Vec<Option<f64>>,
    pub ambient: Vec<Option<f64>>,
    pub battery: Vec<Option<f64>>,
    pub payload: Vec<Option<f64>>,
    /// Whether the payload is a manifest's.
    pub manifest: Vec<bool>,
    pub gross: Vec<Option<f64>>,
    pub air: Air,
    pub engine_on: Vec<bool>,
    pub plugged: Vec<bool>,
    /// Where the log denies a plug.
    pub unplugged: Vec<bool>,
    pub overhead: Vec<bool>,
    pub has_overhead: bool,
    pub pedal: Vec<Option<bool>>,
    /// Position of the accelerator. 0 to 1
    pub accelerator: Vec<Option<f64>>,
    pub level: Vec<Option<u16>>,
    pub driver: Vec<Option<u16>>,
    pub route: Vec<Option<u16>>,
    /// Of each trip, whether its route is from the map and not from the log; empty without a map.
    pub route_matched: Vec<bool>,
    pub names: Vec<String>,
    pub spans: Vec<Span>,
    pub interval_s: f64,
    /// What stands in for the speed between slow samples; `None` where the line between them does.
    pub between: Option<Between>,
}

/// Values are carried forward this long: position, level, driver and route change slowly, and rows of other
/// signals lie between.
const HOLD_S: f64 = 300.0;
/// A pedal up to this is released, an engine up to this stands. Common practice, no source, as are the seconds each signal is
/// held below.
const PEDAL: f64 = 0.01;
const ENGINE_RAD_S: f64 = 1.0;
/// Friction brake lines below this are taken as released. [Pa] 0.1 bar, common practice, no source.
const BRAKE_LINE_PA: f64 = 1e4;
/// A pedal's position is carried forward this long: a foot moves faster than anything else that is logged. Common
/// practice, no source.
pub const PEDAL_HOLD_S: f64 = 1.5;

impl Track {
    pub fn seconds(&self, from: usize, to: usize) -> f64 {
        (self.time_ns[to] - self.time_ns[from]) as f64 * 1e-9
    }

    /// State of charge of whatever ends at a knot: a count set anew there belongs to what begins.
    pub fn soc_at_end(&self, knot: usize) -> Option<f64> {
        let before = (self.soc_anchored[knot] && knot > 0).then(|| self.soc[knot - 1]).flatten();
        before.or(self.soc[knot])
    }

    pub fn name(&self, number: Option<u16>) -> Option<&str> {
        self.names.get(usize::from(number?)).map(String::as_str)
    }

    pub fn read(vehicle: &str, samples: &RecordBatch, settings: &ReplaySettings) -> Result<Self, PhysicsError> {
        let view = BatchView::new(&SAMPLES, samples);
        let (mut track, rows, limit_s) = Self::read_speed(vehicle, &view, settings)?;
        track.fill_signals(&view, &rows, limit_s)?;
        track.fill_air(&view, &rows, settings.weather)?;
        track.fill_heights(&view, &rows)?;
        track.air.density = (0..rows.len()).map(|k| Air::density_at(&track, k)).collect();
        Ok(track)
    }

    /// Median time between speed values. [s]
    pub fn interval_of(view: &BatchView<'_>) -> Result<f64, PhysicsError> {
        Ok(median_step_s(view.times("time_ns")?.values(), &Self::with_speed(view)?).unwrap_or(1.0))
    }

    fn with_speed(view: &BatchView<'_>) -> Result<Vec<usize>, PhysicsError> {
        let (frozen, speed) = (view.flags("mask_frozen")?, view.numbers("speed_m_s")?);
        Ok((0..view.rows()).filter(|&i| !frozen.value(i) && speed.is_valid(i)).collect())
    }

    /// Times and speeds alone, with the rows they came from and the longest gap. [s]
    pub fn read_speed(
        vehicle: &str,
        view: &BatchView<'_>,
        settings: &ReplaySettings,
    ) -> Result<(Self, Vec<usize>, f64), PhysicsError> {
        let times = view.times("time_ns")?.values();
        if let Some(row) = times.windows(2).position(|w| w[1] <= w[0]) {
            return Err(PhysicsError::NotSorted { vehicle: vehicle.to_owned(), row: row + 1 });
        }
        let (frozen, speed) = (view.flags("mask_frozen")?, view.numbers("speed_m_s")?);
        let with_speed = Self::with_speed(view)?;
        let interval_s = median_step_s(times, &with_speed).unwrap_or(1.0);
        let limit_s =
            (settings.gap_intervals * interval_s).max(settings.gap_least_s).min(settings.trip_ends_after_s);
        let mut track = Track { interval_s, ..Track::default() };
        let mut rows = Vec::new();
        for span in continuous(times, &with_speed, frozen, limit_s) {
            let start = rows.len();
            rows.extend((span.rows.0..=span.rows.1).filter(|i| !frozen.value(*i)));
            track.spans.push(Span {
                knots: start..rows.len(),
                grade: GradeBasis::None,
                grade_error: None,
                passes: None,
                gap_before_s: span.gap_s,
                frozen_before_s: span.frozen_s,
            });
        }
        track.time_ns = rows.iter().map(|&i| times[i]).collect();
        track.fill_speed(speed, &rows);
        track.smooth_speed(settings);
        Ok((track, rows, limit_s))
    }

    fn fill_speed(&mut self, speed: &Float64Array, rows: &[usize]) {
        let values: Vec<Option<f64>> = rows.iter().map(|&i| number_at(speed, i)).collect();
        self.speed_interpolated = values.iter().map(Option::is_none).collect();
        // Every span begins and ends with a logged speed, so that each blank lies between two.
        self.speed_logged =
            interpolated(&self.time_ns, &values, f64::INFINITY).into_iter().map(|v| v.unwrap_or(0.0)).collect();
        self.speed = self.speed_logged.iter().map(|v| v.max(0.0)).collect();
        self.accel_sd = vec![0.0; rows.len()];
    }

    fn fill_signals(&mut self, view: &BatchView<'_>, rows: &[usize], limit_s: f64) -> Result<(), PhysicsError> {
        let pick = |name| -> Result<Vec<Option<f64>>, PhysicsError> {
            let array = view.numbers(name)?;
            Ok(rows.iter().map(|&i| number_at(array, i)).collect())
        };
        let times = self.time_ns.clone();
        let held = |values: &[Option<f64>], for_s| held(&times, values, for_s);
        self.relative = flags(view.flags("clock_relative")?, rows).iter().map(|f| *f == Some(true)).collect();
        self.odometer = pick("odometer_m")?;
        self.fixes = fixes(view, rows)?;
        self.position = held_any(&times, &self.fixes, 30.0);
        self.power = interpolated(&times, &pick("pack_power_w")?, limit_s);
        self.aux = held(&pick("aux_power_w")?, 60.0);
        self.cab = held(&pick("cab_climate_power_w")?, 60.0);
        self.battery_thermal = held(&pick("battery_thermal_power_w")?, 60.0);
        self.refrigeration = held(&pick("refrigeration_power_w")?, 60.0);
        self.wheel_force = interpolated(&times, &pick("wheel_force_n")?, limit_s);
        let soc = pick("soc_frac")?;
        self.soc_anchored =
            flags(view.flags("mask_soc_reanchored")?, rows).iter().map(|f| *f == Some(true)).collect();
        self.soc_step_wait_s = soc_steps::steps(&times, &soc, &self.soc_anchored);
        self.soc = held(&soc, f64::INFINITY);
        self.ambient = held(&pick("temperature_ambient_k")?, f64::INFINITY);
        self.battery = held(&pick("temperature_battery_k")?, 3600.0);
        self.manifest = flags(view.flags("mask_manifest")?, rows).iter().map(|f| *f == Some(true)).collect();
        // A manifest says when a load ends; a log says when another begins.
        let payload_held_s = if self.manifest.contains(&true) { 0.0 } else { f64::INFINITY };
        self.payload = held(&pick("payload_kg")?, payload_held_s);
        self.gross = held(&pick("mass_gross_kg")?, f64::INFINITY);
        let engine = held(&pick("engine_speed_rad_s")?, 10.0);
        self.engine_on = engine.iter().map(|speed| speed.is_some_and(|s| s > ENGINE_RAD_S)).collect();
        let on =
            |array| held_any(&times, &flags(array, rows), HOLD_S).iter().map(|f| *f == Some(true)).collect();
        let plug = held_any(&times, &flags(view.flags("plugged_in")?, rows), HOLD_S);
        self.plugged = plug.iter().map(|flag| *flag == Some(true)).collect();
        self.unplugged = plug.iter().map(|flag| *flag == Some(false)).collect();
        let overhead = view.flags("overhead_line")?;
        self.has_overhead = overhead.null_count() < overhead.len();
        self.overhead = on(overhead);
        let (pedal, pressure) = (pick("brake_pedal_frac")?, pick("brake_pressure_pa")?);
        self.pedal = pedal
            .iter()
            .zip(&pressure)
            .map(|(pedal, pressure)| match (pedal, pressure) {
                (None, None) => None,
                (pedal, pressure) => {
                    Some(pedal.is_some_and(|p| p > PEDAL) || pressure.is_some_and(|p| p > BRAKE_LINE_PA))
                }
            })
            .collect();
        self.accelerator = held(&pick("accelerator_pedal_frac")?, PEDAL_HOLD_S);
        self.fill_levels(view, rows)?;
        self.driver = self.texts(view.texts("driver_id")?, rows);
        self.route = self.texts(view.texts("route_id")?, rows);
        Ok(())
    }

    pub fn fill_levels(&mut self, view: &BatchView<'_>, rows: &[usize]) -> Result<(), PhysicsError> {
        self.level = self.texts(view.texts("regen_level")?, rows);
        Ok(())
    }

    /// Weather is logged by the hour at best; headings follow the road.
    fn fill_air(&mut self, view: &BatchView<'_>, rows: &[usize], stated: Weather) -> Result<(), PhysicsError> {
        let times = &self.time_ns;
        let pick = |name, for_s| -> Result<Vec<Option<f64>>, PhysicsError> {
            let array = view.numbers(name)?;
            let values: Vec<Option<f64>> = rows.iter().map(|&i| number_at(array, i)).collect();
            Ok(held(times, &values, for_s))
        };
        let heading = weather::headings(times, &pick("heading_deg", 30.0)?, &fixes(view, rows)?);
        let (speed, from) = (pick("wind_speed_m_s", 3600.0)?, pick("wind_from_deg", 3600.0)?);
        let (headwind, wind_logged) = weather::headwinds(&speed, &from, &heading, stated.wind);
        let (pressure, humidity) = (pick("air_pressure_pa", 3600.0)?, pick("humidity_frac", 3600.0)?);
        let marked = |name| -> Result<Vec<bool>, PhysicsError> {
            Ok(flags(view.flags(name)?, rows).iter().map(|flag| *flag == Some(true)).collect())
        };
        let from_table = FromTable {
            temperature: marked("mask_weather_temperature")?,
            pressure: marked("mask_weather_pressure")?,
            humidity: marked("mask_weather_humidity")?,
            wind: marked("mask_weather_wind")?,
        };
        self.air = Air { pressure, humidity, headwind, wind_logged, from_table, density: Vec::new(), stated };
        Ok(())
    }

    fn texts(&mut self, array: &StringArray, rows: &[usize]) -> Vec<Option<u16>> {
        let mut numbers = Vec::with_capacity(rows.len());
        let mut last: Option<(&str, u16)> = None;
        for &row in rows {
            numbers.push(text_at(array, row).map(|text| match last {
                Some((known, number)) if known == text => number,
                _ => {
                    let number = self.number_of(text);
                    last = Some((text, number));
                    number
                }
            }));
        }
        held_any(&self.time_ns, &numbers, HOLD_S)
    }

    /// Names beyond 65,535 share the last number; no fleet has so many drivers, but a hostile log may.
    pub fn number_of(&mut self, text: &str) -> u16 {
        let at = self.names.iter().position(|name| name == text).unwrap_or_else(|| {
            if self.names.len() < usize::from(u16::MAX) {
                self.names.push(text.to_owned());
            }
            self.names.len() - 1
        });
        u16::try_from(at).unwrap_or(u16::MAX)
    }

    fn fill_heights(&mut self, view: &BatchView<'_>, rows: &[usize]) -> Result<(), PhysicsError> {
        let (grade, altitude) = (view.numbers("grade_frac")?, view.numbers("altitude_m")?);
        let terrain = view.numbers("terrain_height_m")?;
        let (place_held, height_held) = (view.flags("mask_position_held")?, view.flags("mask_altitude_held")?);
        // A grade column that never leaves zero was not measured: unknown, not flat.
        let grade_known = grade.iter().flatten().any(|g| g != 0.0);
        self.rise = vec![0.0; rows.len()];
        self.altitude = vec![None; rows.len()];
        let mut spans = std::mem::take(&mut self.spans);
        let known = |array: &Float64Array, knots: &Range<usize>| {
            knots.clone().filter(|&k| array.is_valid(rows[k])).count() as f64 / knots.len() as f64
        };
        // Tiles do not drift; where they cover a span they are its height.
        let tiled: Vec<bool> = spans.iter().map(|span| known(terrain, &span.knots) > 0.5).collect();
        let way = |(span, tiled): (&Span, &bool)| {
            let (heights, held) = if *tiled { (terrain, place_held) } else { (altitude, height_held) };
            self.way(heights, held, rows, &span.knots, !tiled)
        };
        let ways: Vec<Vec<Point>> = spans.iter().zip(&tiled).map(way).collect();
        for ((span, profile), tiled) in spans.iter_mut().zip(profiles(&ways)).zip(tiled) {
            let knots = span.knots.clone();
            // Altitude, where there is one, serves the air density even where the grade is logged.
            if let Some(profile) = &profile {
                self.rise_from_profile(profile, &knots);
            }
            if grade_known && known(grade, &knots) > 0.5 {
                span.grade = GradeBasis::Logged;
                self.rise_from_grade(grade, rows, &knots);
            } else if let Some(profile) = profile {
                span.grade = if tiled { GradeBasis::Tiles } else { GradeBasis::Altitude };
                (span.grade_error, span.passes) = (Some(profile.grade_error_frac), Some(profile.passes));
            }
        }
        self.spans = spans;
        Ok(())
    }

    fn rise_from_grade(&mut self, grade: &Float64Array, rows: &[usize], knots: &Range<usize>) {
        let mut last = 0.0;
        for (k, &row) in knots.clone().zip(&rows[knots.clone()]).take(knots.len() - 1) {
            last = number_at(grade, row).unwrap_or(last);
            let distance = f64::midpoint(self.speed[k], self.speed[k + 1]) * self.seconds(k, k + 1);
            self.rise[k] = distance * last.atan().sin();
        }
    }

    /// Distance along a span at each of its knots.
    pub fn distances(&self, knots: &Range<usize>) -> impl Iterator<Item = f64> {
        let mut sum = 0.0;
        knots.clone().map(move |k| {
            let here = sum;
            if k + 1 < knots.end {
                sum += f64::midpoint(self.speed[k], self.speed[k + 1]) * self.seconds(k, k + 1);
            }
            here
        })
    }

    /// The altitudes of a span along its distance, each where it was taken: a height that is held over while the vehicle
    /// goes on would make steps of a slope. Passes over the same tile share its error and average nothing away.
    fn way(
        &self,
        altitude: &Float64Array,
        held: &BooleanArray,
        rows: &[usize],
        knots: &Range<usize>,
        passes: bool,
    ) -> Vec<Point> {
        let point = |(k, distance_m): (usize, f64)| {
            let altitude_m = number_at(altitude, rows[k]).filter(|_| !held.value(rows[k]))?;
            let place = self.position[k].filter(|_| passes);
            Some(Point { distance_m, altitude_m, place })
        };
        knots.clone().zip(self.distances(knots)).filter_map(point).collect()
    }

    fn rise_from_profile(&mut self, profile: &Profile, knots: &Range<usize>) {
        let heights: Vec<f64> = self.distances(knots).map(|distance| profile.at(distance)).collect();
        for (at, k) in knots.clone().enumerate() {
            self.altitude[k] = Some(heights[at]);
            if let Some(next) = heights.get(at + 1) {
                self.rise[k] = next - heights[at];
            }
        }
    }
}

struct Stretch {
    rows: (usize, usize),
    gap_s: f64,
    frozen_s: f64,
}

/// Cuts the rows with a speed into stretches without a gap and without a frozen row in between.
fn continuous(times: &[i64], with_speed: &[usize], frozen: &BooleanArray, limit_s: f64) -> Vec<Stretch> {
    let mut stretches: Vec<Stretch> = Vec::new();
    for &row in with_speed {
        let joined = stretches.last().is_some_and(|stretch| {
            let gap = (times[row] - times[stretch.rows.1]) as f64 * 1e-9;
            gap <= limit_s && !(stretch.rows.1 + 1..row).any(|i| frozen.value(i))
        });
        match stretches.last_mut() {
            Some(stretch) if joined => stretch.rows.1 = row,
            last => {
                let (gap_s, frozen_s) = last.map_or((0.0, 0.0), |stretch| {
                    let before = stretch.rows.1;
                    let gap = (times[row] - times[before]) as f64 * 1e-9;
                    let frozen_rows = (before + 1..row).filter(|i| frozen.value(*i));
                    let frozen_s: f64 = frozen_rows.map(|i| (times[i] - times[i - 1]) as f64 * 1e-9).sum();
                    (gap, frozen_s)
                });
                stretches.push(Stretch { rows: (row, row), gap_s, frozen_s });
            }
        }
    }
    stretches
}

fn median_step_s(times: &[i64], rows: &[usize]) -> Option<f64> {
    let mut steps: Vec<f64> =
        rows.windows(2).map(|w| (times[w[1]] - times[w[0]]) as f64 * 1e-9).filter(|dt| *dt > 0.0).collect();
    if steps.is_empty() {
        return None;
    }
    let middle = steps.len() / 2;
    Some(*steps.select_nth_unstable_by(middle, f64::total_cmp).1)
}

fn flags(array: &BooleanArray, rows: &[usize]) -> Vec<Option<bool>> {
    rows.iter().map(|&i| array.is_valid(i).then(|| array.value(i))).collect()
}

/// Positions where they were taken; one that is repeated until the next fix says nothing new.
fn fixes(view: &BatchView<'_>, rows: &[usize]) -> Result<Vec<Option<(f64, f64)>>, PhysicsError> {
    let (lat, lon) = (view.numbers("lat_deg")?, view.numbers("lon_deg")?);
    let held = view.flags("mask_position_held")?;
    let fix = |&row: &usize| number_at(lat, row).zip(number_at(lon, row)).filter(|_| !held.value(row));
    Ok(rows.iter().map(fix).collect())
}

/// Blanks between two values not further apart than `limit_s` lie on the line between them.
fn interpolated(times: &[i64], values: &[Option<f64>], limit_s: f64) -> Vec<Option<f64>> {
    let mut out = values.to_vec();
    let mut last: Option<usize> = None;
    for at in 0..values.len() {
        let Some(value) = values[at] else { continue };
        if let Some(before) = last.filter(|b| *b + 1 < at) {
            let span = (times[at] - times[before]) as f64;
            if span > 0.0 && span * 1e-9 <= limit_s {
                let start = values[before].unwrap_or(value);
                for between in before + 1..at {
                    let share = (times[between] - times[before]) as f64 / span;
                    out[between] = Some(start + (value - start) * share);
                }
            }
        }
        last = Some(at);
    }
    out
}

fn held(times: &[i64], values: &[Option<f64>], for_s: f64) -> Vec<Option<f64>> {
    held_any(times, values, for_s)
}

/// Blanks take the last value seen, as long as it is not older than `for_s`.
pub fn held_any<T: Copy>(times: &[i64], values: &[Option<T>], for_s: f64) -> Vec<Option<T>> {
    let mut last: Option<(i64, T)> = None;
    values
        .iter()
        .zip(times)
        .map(|(value, time)| {
            if let Some(value) = value {
                last = Some((*time, *value));
            }
            last.filter(|(since, _)| (time - since) as f64 * 1e-9 <= for_s).map(|(_, value)| value)
        })
        .collect()
}
