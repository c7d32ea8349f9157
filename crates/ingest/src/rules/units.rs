//! Wrong unit suspected: signals that contradict each other by just the factor of another unit.
//!
//! Nothing is changed: the suspicion is told with its figures and with what to write into the pilot file.

use std::collections::BTreeMap;

use backwatt_schema::Problem;
use backwatt_schema::unit::Unit;

use super::distance::{Run, SPEED_MOST_M_S, between_m, fixes};
use super::seconds;
use crate::frame::{Frame, mask};
use crate::settings::{CellUnit, Mapping, Source};
use crate::signal::{
    AMBIENT, BATTERY_TEMPERATURE, CURRENT, NUMBERS, ODOMETER, POWER, SIGNALS, SOC, SPEED, VOLTAGE,
};

/// A factor within this of another unit's is taken for it: chords between fixes are a few percent short of the road,
/// tyres and dials some percent off. Common practice, no source. [1]
const FITS: f64 = 1.09;
/// Closer to what is stated than this nothing is suspected. [1]
const DIFFERS: f64 = 1.3;
/// The way needed to say anything. [m]
const WAY_LEAST_M: f64 = 2000.0;
/// Fixes and odometer readings further apart say little of the road between. [s]
const FIX_STEP_MOST_S: f64 = 15.0;
const ODOMETER_STEP_MOST_S: f64 = 600.0;
/// Beyond the fastest vehicle by this much, a step is a jump. [m]
const JUMP_M: f64 = 150.0;
/// Standing fixes wander. [m/s]
const MOVING_M_S: f64 = 3.0;
/// Readings needed of a signal that is judged by its values alone.
const READINGS_LEAST: u64 = 600;
/// Half of all air above this: no climate has it (the highest air temperature on record is 56.7 degC: WMO archive of weather
/// extremes, Furnace Creek 1913), and 118 degF are 48 degC. [K]
const AIR_MOST_K: f64 = 273.15 + 48.0;
/// Half of all readings of a battery above this: packs are held below it. Common practice, no source. [K]
const BATTERY_MOST_K: f64 = 273.15 + 58.0;
const COLDEST_K: f64 = 203.0;
const BINS: usize = 200;

/// Knots are too close to miles an hour to be told from them where receivers cut corners, but fit where they are meant.
const SPEED_UNITS: [&str; 4] = ["km/h", "mph", "m/s", "kn"];

/// Sums over one source of a vehicle, window after window.
#[derive(Debug, Clone)]
pub struct Witness {
    /// Way by the fixes, and by the speed between them. [m]
    fixes_m: (f64, f64),
    /// Way by the odometer, and by the speed between its readings. [m]
    odometer_m: (f64, f64),
    /// Power as logged, and voltage times current, added up without sign. [W]
    power_w: (f64, f64),
    power_pairs: u64,
    soc_most: f64,
    soc_values: u64,
    soc_moves: bool,
    /// Readings by kelvin from the coldest on.
    air: [u64; BINS],
    battery: [u64; BINS],
}

impl Default for Witness {
    fn default() -> Self {
        Self {
            fixes_m: (0.0, 0.0),
            odometer_m: (0.0, 0.0),
            power_w: (0.0, 0.0),
            power_pairs: 0,
            soc_most: f64::NEG_INFINITY,
            soc_values: 0,
            soc_moves: false,
            air: [0; BINS],
            battery: [0; BINS],
        }
    }
}

/// A signal that seems to be in another unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspicion {
    pub signal: usize,
    pub text: String,
    pub hint: String,
}

impl Suspicion {
    pub fn problem(&self, source: &Source, vehicle: &str) -> Problem {
        let name = SIGNALS[self.signal].name;
        Problem::warning("ingest-unit-suspected", format!("{} (vehicle {vehicle})", self.text))
            .named(format!("sources.{}.columns.{name}.unit", source.name))
            .hint(format!("{}; nothing was changed", self.hint))
    }
}

impl Witness {
    /// Adds the rows that `belongs` picks.
    pub fn add(&mut self, frame: &Frame, belongs: impl Fn(usize) -> bool) {
        let driven = Run::driven(frame);
        let fixes: Vec<usize> = fixes(frame).into_iter().filter(|row| belongs(*row)).collect();
        for pair in fixes.windows(2) {
            let step = (pair[0], pair[1], FIX_STEP_MOST_S);
            add_way(frame, &driven, step, between_m(frame, pair[0], pair[1]), &mut self.fixes_m);
        }
        let odometer = &frame.numbers[ODOMETER];
        let readings: Vec<usize> = changes(odometer).filter(|row| belongs(*row)).collect();
        for pair in readings.windows(2) {
            let step = (pair[0], pair[1], ODOMETER_STEP_MOST_S);
            add_way(frame, &driven, step, odometer[pair[1]] - odometer[pair[0]], &mut self.odometer_m);
        }
        for row in (0..frame.len()).filter(|row| belongs(*row)) {
            self.add_row(frame, row);
        }
    }

    fn add_row(&mut self, frame: &Frame, row: usize) {
        let [power, volts, amps, soc, air, battery] =
            [POWER, VOLTAGE, CURRENT, SOC, AMBIENT, BATTERY_TEMPERATURE]
                .map(|signal| frame.numbers[signal][row]);
        let product = volts * amps;
        if !power.is_nan() && !product.is_nan() {
            self.power_w.0 += power.abs();
            self.power_w.1 += product.abs();
            self.power_pairs += 1;
        }
        if !soc.is_nan() {
            self.soc_moves |= self.soc_values > 0 && soc != self.soc_most;
            self.soc_most = self.soc_most.max(soc);
            self.soc_values += 1;
        }
        for (value, bins) in [(air, &mut self.air), (battery, &mut self.battery)] {
            if !value.is_nan() && frame.mask[row] & mask::WEATHER_TEMPERATURE == 0 {
                bins[((value - COLDEST_K).max(0.0) as usize).min(BINS - 1)] += 1;
            }
        }
    }

    /// What the sums speak against.
    pub fn suspicions(&self, source: &Source) -> Vec<Suspicion> {
        let found = [
            self.speed(source),
            self.odometer(source),
            self.power(source),
            self.state_of_charge(),
            warm(source, AMBIENT, &self.air, AIR_MOST_K),
            warm(source, BATTERY_TEMPERATURE, &self.battery, BATTERY_MOST_K),
        ];
        found.into_iter().flatten().collect()
    }

    /// The positions are the better witness of the speed; the odometer speaks where they are silent.
    fn speed(&self, source: &Source) -> Option<Suspicion> {
        let by_fixes = self.fixes_ratio();
        let (ratio, witness) = match (by_fixes, self.odometer_ratio()) {
            (Some(ratio), _) => (ratio, "positions"),
            (None, Some(ratio)) => (ratio, "odometer"),
            (None, None) => return None,
        };
        suspect(source, SPEED, ratio, &SPEED_UNITS, witness)
    }

    /// The odometer, where the speed agrees with the positions.
    fn odometer(&self, source: &Source) -> Option<Suspicion> {
        let by_fixes = self.fixes_ratio()?;
        let ratio = self.odometer_ratio()?;
        (by_fixes < DIFFERS && by_fixes > 1.0 / DIFFERS)
            .then(|| suspect(source, ODOMETER, 1.0 / ratio, &["km", "mi", "m", "ft"], "speed"))
            .flatten()
    }

    fn power(&self, source: &Source) -> Option<Suspicion> {
        let (power, product) = self.power_w;
        let told = self.power_pairs >= READINGS_LEAST && power > 0.0 && product > 0.0;
        told.then(|| suspect(source, POWER, product / power, &["W", "kW", "MW"], "voltage times current"))
            .flatten()
    }

    fn state_of_charge(&self) -> Option<Suspicion> {
        let tiny = self.soc_most <= 0.0101 && self.soc_most > 0.0 && self.soc_moves;
        if !tiny || self.soc_values < READINGS_LEAST {
            return None;
        }
        Some(Suspicion {
            signal: SOC,
            text: format!(
                "state_of_charge never exceeds {:.2} % in {} readings",
                self.soc_most * 100.0,
                self.soc_values
            ),
            hint: format!("if it counts from 0 to 1, set {} = \"1\"", key(SOC)),
        })
    }

    /// The unit of the speed by the way between the fixes, where that is long enough and fits one.
    pub fn speed_unit(&self, stated: &Unit) -> Option<&'static str> {
        fitting(stated, self.fixes_ratio()?, &SPEED_UNITS)
    }

    fn fixes_ratio(&self) -> Option<f64> {
        ratio(self.fixes_m)
    }

    fn odometer_ratio(&self) -> Option<f64> {
        ratio(self.odometer_m)
    }
}

fn ratio((witness_m, driven_m): (f64, f64)) -> Option<f64> {
    (witness_m.max(driven_m) >= WAY_LEAST_M && witness_m > 0.0 && driven_m > 0.0).then(|| witness_m / driven_m)
}

fn add_way(
    frame: &Frame,
    driven: &Run,
    (from, to, most_s): (usize, usize, f64),
    way_m: f64,
    sums: &mut (f64, f64),
) {
    let span_s = seconds(frame, from, to);
    let Some(own_m) = driven.between_m(from, to).filter(|own_m| *own_m > 0.0) else { return };
    // A jump of the position or of the counter is no way.
    let possible = way_m > 0.0 && way_m <= SPEED_MOST_M_S * span_s + JUMP_M;
    if span_s > 0.0 && span_s <= most_s && possible && way_m.max(own_m) / span_s >= MOVING_M_S {
        sums.0 += way_m;
        sums.1 += own_m;
    }
}

/// Rows at which a counter stands higher or lower than before.
fn changes(values: &[f64]) -> impl Iterator<Item = usize> {
    let mut last = f64::NAN;
    values.iter().enumerate().filter_map(move |(row, value)| {
        let changed = !value.is_nan() && *value != last;
        last = if value.is_nan() { last } else { *value };
        changed.then_some(row)
    })
}

/// The unit whose factor explains that the witness says `ratio` times what the signal says.
fn suspect(source: &Source, signal: usize, ratio: f64, units: &[&str], witness: &str) -> Option<Suspicion> {
    if ratio < DIFFERS && ratio > 1.0 / DIFFERS {
        return None;
    }
    let (mapping, stated) = stated(source, signal)?;
    let name = SIGNALS[signal].name;
    let told = format!("{name} is {:.3} times what follows from the {witness}", 1.0 / ratio);
    let best = fitting(&stated, ratio, units);
    let scaled = if mapping.scale == 1.0 { "" } else { " (its scale counts too)" };
    Some(match best {
        Some(text) => Suspicion {
            signal,
            text: format!("{told}: it reads like {text}"),
            hint: format!("if so, set {} = \"{text}\"{scaled}", key(signal)),
        },
        None => Suspicion {
            signal,
            text: format!("{told}, which no usual unit explains"),
            hint: format!("check unit and scale of {}", key(signal)),
        },
    })
}

/// The unit in which a signal stated in another would agree with a witness that says `ratio` times as much.
fn fitting<'u>(stated: &Unit, ratio: f64, units: &[&'u str]) -> Option<&'u str> {
    let off = |unit: &Unit| {
        let explained = unit.to_si(1.0) / stated.to_si(1.0);
        (ratio / explained).max(explained / ratio)
    };
    let known = units.iter().filter_map(|text| Some((*text, Unit::parse(text)?)));
    let best = known.min_by(|a, b| off(&a.1).total_cmp(&off(&b.1)));
    best.filter(|(_, unit)| off(unit) <= FITS).map(|(text, _)| text)
}

fn stated(source: &Source, signal: usize) -> Option<(&Mapping, Unit)> {
    let mapping = source.columns.iter().find(|mapping| mapping.signal == signal)?;
    match mapping.unit {
        CellUnit::Plain(unit) => Some((mapping, unit)),
        _ => None,
    }
}

fn key(signal: usize) -> String {
    format!("columns.{}.unit", SIGNALS[signal].name)
}

/// A temperature whose median is too warm for what it is of, where the column is stated in degrees Celsius.
fn warm(source: &Source, signal: usize, bins: &[u64; BINS], most_k: f64) -> Option<Suspicion> {
    let readings: u64 = bins.iter().sum();
    let (_, unit) = stated(source, signal)?;
    if readings < READINGS_LEAST || (unit.to_si(1.0) - 274.15).abs() > 1e-9 {
        return None;
    }
    let mut below = 0;
    let median = bins.iter().position(|n| {
        below += n;
        below * 2 >= readings
    })?;
    let median_k = COLDEST_K + median as f64;
    (median_k > most_k).then(|| Suspicion {
        signal,
        text: format!(
            "half of {readings} readings of {} are above {:.0} degC",
            SIGNALS[signal].name,
            median_k - 273.15
        ),
        hint: format!("if it counts in Fahrenheit, set {} = \"degF\"", key(signal)),
    })
}

/// What was refused of one column because it lies out of range: where that is much of it, the unit is in doubt.
#[derive(Debug, Clone, Default)]
pub struct RangeTally {
    pub accepted: u64,
    pub refused: u64,
    /// As written, least and most.
    span: Option<(f64, f64)>,
}

impl RangeTally {
    pub fn refuse(&mut self, written: f64) {
        self.refused += 1;
        let (least, most) = self.span.unwrap_or((written, written));
        self.span = Some((least.min(written), most.max(written)));
    }

    /// The suspicion, with a unit of the same dimension in which all that was refused would be accepted.
    pub fn suspicion(&self, mapping: &Mapping, (least, most): (f64, f64)) -> Option<Suspicion> {
        let all = self.accepted + self.refused;
        let (low, high) = self.span?;
        if self.refused * 5 < all || self.refused < 50 {
            return None;
        }
        let CellUnit::Plain(stated) = mapping.unit else { return None };
        let name = SIGNALS[mapping.signal].name;
        let degrees = SIGNALS[mapping.signal].column.ends_with("_deg");
        let si = |unit: &Unit, value: f64| {
            let value = unit.to_si(value * mapping.scale);
            if degrees { value.to_degrees() } else { value }
        };
        let room =
            |unit: &Unit| (least..=most).contains(&si(unit, low)) && (least..=most).contains(&si(unit, high));
        // The largest that fits: percent before a thousandth of it.
        let fits = backwatt_schema::unit::spellings(stated.dimension)
            .into_iter()
            .filter_map(|text| Some((text, Unit::parse(text)?)))
            .filter(|(_, unit)| room(unit))
            .max_by(|a, b| a.1.to_si(1.0).total_cmp(&b.1.to_si(1.0)));
        let hint = match fits {
            Some((text, _)) => format!("if it is in {text}, set {} = \"{text}\"", key(mapping.signal)),
            None => format!("check unit and scale of {}", key(mapping.signal)),
        };
        let text = format!(
            "{} of {all} cells of {name} are out of range as stated, from {low} to {high}",
            self.refused
        );
        Some(Suspicion { signal: mapping.signal, text, hint })
    }
}

/// Marks the rows that hold a suspected signal.
pub fn mark(
    frame: &mut Frame,
    suspected: &BTreeMap<usize, Vec<usize>>,
    source_of: impl Fn(usize) -> Option<usize>,
) {
    for row in 0..frame.len() {
        let signals = source_of(row).and_then(|source| suspected.get(&source)).map_or(&[][..], Vec::as_slice);
        if signals.iter().any(|signal| *signal < NUMBERS && !frame.numbers[*signal][row].is_nan()) {
            frame.mask[row] |= mask::UNIT_SUSPECTED;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Row;
    use crate::settings::Positive;
    use crate::signal::{LATITUDE, LONGITUDE};

    fn source(columns: &[(usize, &str)]) -> Source {
        let mapping = |(signal, unit): &(usize, &str)| Mapping {
            signal: *signal,
            names: vec![SIGNALS[*signal].name.to_owned()],
            unit: CellUnit::Plain(Unit::parse(unit).unwrap()),
            scale: 1.0,
            fill_forward: false,
            least: None,
            most: None,
            positive: Positive::Prove,
        };
        Source { name: "s".to_owned(), columns: columns.iter().map(mapping).collect(), ..Source::unmapped() }
    }

    /// A quarter of an hour north at 20 m/s by the fixes, with the speed and the odometer read so many times too high.
    fn drive(speed: f64, odometer: f64) -> Witness {
        let mut frame = Frame::default();
        for second in 0..900_i64 {
            let mut row = Row { time_ns: second * 1_000_000_000, ..Row::default() };
            let way_m = second as f64 * 20.0;
            row.numbers[SPEED] = 20.0 * speed;
            row.numbers[ODOMETER] = (way_m * odometer / 100.0).floor() * 100.0;
            row.numbers[LATITUDE] = 1.0 + way_m / 111_195.0;
            row.numbers[LONGITUDE] = 30.0;
            frame.push(&row);
        }
        let mut witness = Witness::default();
        witness.add(&frame, |_| true);
        witness
    }

    fn told(witness: &Witness, source: &Source) -> Vec<(usize, String)> {
        witness.suspicions(source).into_iter().map(|s| (s.signal, s.hint)).collect()
    }

    #[test]
    fn a_speed_in_another_unit_is_told_with_the_unit_that_fits() {
        let agreed = source(&[(SPEED, "km/h"), (ODOMETER, "km")]);
        assert_eq!(told(&drive(1.0, 1.0), &agreed), []);
        assert_eq!(told(&drive(1.04, 0.97), &agreed), [], "a tyre");
        // Written in km/h, stated as mph: 1.609 times too fast.
        let found = told(&drive(1.609_344, 1.0), &source(&[(SPEED, "mph"), (ODOMETER, "km")]));
        assert_eq!(found, [(SPEED, "if so, set columns.speed.unit = \"km/h\"".to_owned())]);
        let found = told(&drive(1.0 / 3.6, 1.0), &source(&[(SPEED, "km/h")]));
        assert_eq!(found, [(SPEED, "if so, set columns.speed.unit = \"m/s\"".to_owned())]);
    }

    #[test]
    fn an_odometer_in_miles_is_told_where_speed_and_positions_agree() {
        let found = told(&drive(1.0, 1.0 / 1.609_344), &source(&[(SPEED, "km/h"), (ODOMETER, "km")]));
        assert_eq!(found, [(ODOMETER, "if so, set columns.odometer.unit = \"mi\"".to_owned())]);
    }

    #[test]
    fn a_share_called_percent_and_fahrenheit_called_celsius() {
        let mut frame = Frame::default();
        for row in 0..700 {
            let mut values = Row { time_ns: row * 1_000_000_000, ..Row::default() };
            values.numbers[SOC] = (0.9 - row as f64 * 1e-4) / 100.0;
            values.numbers[AMBIENT] = 273.15 + 68.0;
            frame.push(&values);
        }
        let mut witness = Witness::default();
        witness.add(&frame, |_| true);
        let found = witness.suspicions(&source(&[(SOC, "%"), (AMBIENT, "degC")]));
        let signals: Vec<usize> = found.iter().map(|suspicion| suspicion.signal).collect();
        assert_eq!(signals, [SOC, AMBIENT]);
        assert!(found[0].hint.ends_with("= \"1\"") && found[1].hint.ends_with("= \"degF\""), "{found:?}");
    }

    #[test]
    fn a_column_mostly_out_of_range_names_a_unit_that_fits() {
        let source = source(&[(SOC, "1")]);
        let mut tally = RangeTally { accepted: 10, ..RangeTally::default() };
        (0..90).for_each(|at| tally.refuse(10.0 + f64::from(at)));
        let found = tally.suspicion(&source.columns[0], (0.0, 1.0)).unwrap();
        assert!(found.hint.contains("= \"%\""), "{found:?}");
        let mut few = RangeTally { accepted: 1000, ..RangeTally::default() };
        (0..60).for_each(|at| few.refuse(f64::from(at)));
        assert_eq!(few.suspicion(&source.columns[0], (0.0, 1.0)), None);
    }
}
