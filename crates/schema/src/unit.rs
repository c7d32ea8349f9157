//! The units table: UCUM codes and the trade's own spellings, each with its dimension and its way to SI.

use std::fmt;

/// What a quantity is of. Two units convert only within one dimension.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    Acceleration,
    Angle,
    Area,
    Charge,
    Current,
    Energy,
    EnergyPerLength,
    Force,
    Length,
    Mass,
    Power,
    Pressure,
    /// Plain numbers and shares.
    Ratio,
    Rotation,
    Speed,
    Temperature,
    Time,
    Torque,
    Voltage,
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self {
            Dimension::Acceleration => "acceleration",
            Dimension::Angle => "angle",
            Dimension::Area => "area",
            Dimension::Charge => "electric charge",
            Dimension::Current => "electric current",
            Dimension::Energy => "energy",
            Dimension::EnergyPerLength => "energy per distance",
            Dimension::Force => "force",
            Dimension::Length => "length",
            Dimension::Mass => "mass",
            Dimension::Power => "power",
            Dimension::Pressure => "pressure",
            Dimension::Ratio => "plain number or share",
            Dimension::Rotation => "rotational speed",
            Dimension::Speed => "speed",
            Dimension::Temperature => "temperature",
            Dimension::Time => "time",
            Dimension::Torque => "torque",
            Dimension::Voltage => "voltage",
        };
        f.write_str(text)
    }
}

/// A unit: `SI value = (value + offset) * numerator / denominator`.
///
/// Kept as a fraction so that km/h is exactly `* 1000 / 3600`: multiplying by a rounded reciprocal lands on the
/// other side of round thresholds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    pub dimension: Dimension,
    pub numerator: f64,
    pub denominator: f64,
    pub offset: f64,
}

impl Unit {
    pub fn to_si(&self, value: f64) -> f64 {
        (value + self.offset) * self.numerator / self.denominator
    }

    pub fn from_si(&self, value: f64) -> f64 {
        value * self.denominator / self.numerator - self.offset
    }

    /// The unit a spelling stands for. Exact spelling first (UCUM is case-sensitive: `mW` is not `MW`), then
    /// without regard to case where that is not ambiguous.
    pub fn parse(spelling: &str) -> Option<Unit> {
        let wanted = spelling.trim();
        let exact = UNITS.iter().find(|row| row.spellings.contains(&wanted));
        let loose = || {
            let mut hits =
                UNITS.iter().filter(|row| row.spellings.iter().any(|s| s.eq_ignore_ascii_case(wanted)));
            let first = hits.next()?;
            hits.next().is_none().then_some(first)
        };
        exact.or_else(loose).map(|row| row.unit)
    }
}

/// A quantity written as "number unit", brought to SI.
pub fn parse_quantity(text: &str) -> Result<(f64, Dimension), QuantityError> {
    let text = text.trim();
    let split = text
        .char_indices()
        .find(|&(i, c)| {
            !(c.is_ascii_digit()
                || matches!(c, '.' | '+' | '-' | '_')
                || (matches!(c, 'e' | 'E')
                    && text[i + 1..].starts_with(|n: char| n.is_ascii_digit() || n == '-')))
        })
        .map_or(text.len(), |(i, _)| i);
    let number = text[..split].replace('_', "");
    let value: f64 = number.trim().parse().map_err(|_| QuantityError::NotANumber)?;
    if !value.is_finite() {
        return Err(QuantityError::NotANumber);
    }
    let spelling = text[split..].trim();
    if spelling.is_empty() {
        return Err(QuantityError::NoUnit);
    }
    let unit = Unit::parse(spelling).ok_or_else(|| QuantityError::UnknownUnit(spelling.to_owned()))?;
    let si = unit.to_si(value);
    if si.is_finite() { Ok((si, unit.dimension)) } else { Err(QuantityError::NotANumber) }
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    #[error("does not begin with a number")]
    NotANumber,
    #[error("has no unit")]
    NoUnit,
    #[error("has a unit \"{0}\" that is not in the units table")]
    UnknownUnit(String),
}

/// All spellings of one dimension, for messages.
pub fn spellings(dimension: Dimension) -> Vec<&'static str> {
    UNITS
        .iter()
        .filter(|row| row.unit.dimension == dimension)
        .filter_map(|row| row.spellings.first().copied())
        .collect()
}

struct Row {
    spellings: &'static [&'static str],
    unit: Unit,
}

const fn row(
    dimension: Dimension,
    numerator: f64,
    denominator: f64,
    spellings: &'static [&'static str],
) -> Row {
    Row { spellings, unit: Unit { dimension, numerator, denominator, offset: 0.0 } }
}

const fn shifted(offset: f64, numerator: f64, denominator: f64, spellings: &'static [&'static str]) -> Row {
    Row { spellings, unit: Unit { dimension: Dimension::Temperature, numerator, denominator, offset } }
}

/// Exact factors: the international yard and pound agreement of 1959 (0.3048 m, 0.453 592 37 kg), the nautical
/// mile of 1852 m, standard gravity 9.806 65 m/s2, the SI brochure for the rest.
static UNITS: &[Row] = {
    use Dimension::*;
    &[
        row(Speed, 1.0, 1.0, &["m/s", "m.s-1", "mps", "m s-1", "m/sec", "metres/second", "meters/second"]),
        row(Speed, 1000.0, 3600.0, &["km/h", "kph", "kmh", "km.h-1", "kmph", "km/hr", "kmhr", "km/hour"]),
        row(Speed, 1609.344, 3600.0, &["mph", "mi/h", "[mi_i]/h", "mile/h", "miles/h", "mi/hr", "miles/hour"]),
        row(Speed, 1852.0, 3600.0, &["kn", "[kn_i]", "kt", "kts", "knot", "knots"]),
        row(Speed, 0.3048, 1.0, &["ft/s", "[ft_i]/s", "fps", "ft/sec"]),
        row(Length, 1.0, 1.0, &["m", "metre", "meter", "metres", "meters", "mtr"]),
        row(Length, 1000.0, 1.0, &["km", "kms", "kilometre", "kilometer", "kilometres", "kilometers"]),
        row(Length, 1.0, 100.0, &["cm"]),
        row(Length, 1.0, 1000.0, &["mm"]),
        row(Length, 1609.344, 1.0, &["mi", "[mi_i]", "mile", "miles"]),
        row(Length, 0.3048, 1.0, &["ft", "[ft_i]", "feet", "foot"]),
        row(Length, 0.9144, 1.0, &["yd", "[yd_i]", "yard", "yards"]),
        row(Length, 0.0254, 1.0, &["in", "[in_i]", "inch", "inches"]),
        row(Area, 1.0, 1.0, &["m2", "m^2", "m²"]),
        row(Area, 0.092_903_04, 1.0, &["ft2", "[ft_i]2", "[sft_i]"]),
        row(Angle, std::f64::consts::PI, 180.0, &["deg", "°", "degree", "degrees"]),
        row(Angle, 1.0, 1.0, &["rad", "radian", "radians"]),
        row(Angle, std::f64::consts::PI, 10_800.0, &["'", "arcmin"]),
        row(Angle, std::f64::consts::PI, 648_000.0, &["''", "arcsec"]),
        row(Time, 1.0, 1.0, &["s", "sec", "secs", "second", "seconds"]),
        row(Time, 1.0, 1000.0, &["ms", "msec", "millis", "millisecond", "milliseconds"]),
        row(Time, 1.0, 1e6, &["us", "µs", "usec", "micros", "microsecond", "microseconds"]),
        row(Time, 1.0, 1e9, &["ns", "nsec", "nanos", "nanosecond", "nanoseconds"]),
        row(Time, 60.0, 1.0, &["min", "mins", "minute", "minutes"]),
        row(Time, 3600.0, 1.0, &["h", "hr", "hrs", "hour", "hours"]),
        row(Time, 86400.0, 1.0, &["d", "day", "days"]),
        row(Mass, 1.0, 1.0, &["kg", "kgs", "kilogram", "kilograms"]),
        row(Mass, 1.0, 1000.0, &["g", "gram", "grams"]),
        row(Mass, 1000.0, 1.0, &["t", "tonne", "tonnes", "metric ton"]),
        row(Mass, 0.453_592_37, 1.0, &["lb", "[lb_av]", "lbs", "lbm", "pound", "pounds"]),
        row(Mass, 453.592_37, 1.0, &["klb", "klbs"]),
        row(Mass, 907.184_74, 1.0, &["short ton", "[ston_av]", "short tons"]),
        row(Mass, 1_016.046_908_8, 1.0, &["long ton", "[lton_av]"]),
        row(Power, 1.0, 1.0, &["W", "watt", "watts"]),
        row(Power, 1000.0, 1.0, &["kW", "kilowatt", "kilowatts"]),
        row(Power, 1e6, 1.0, &["MW"]),
        row(Power, 1.0, 1000.0, &["mW"]),
        row(Power, 745.699_871_582_270_2, 1.0, &["hp", "[HP]", "bhp"]),
        row(Power, 735.498_75, 1.0, &["PS", "metric horsepower"]),
        row(Energy, 1.0, 1.0, &["J", "joule", "joules"]),
        row(Energy, 1000.0, 1.0, &["kJ"]),
        row(Energy, 1e6, 1.0, &["MJ"]),
        row(Energy, 3600.0, 1.0, &["W.h", "Wh"]),
        row(Energy, 3.6e6, 1.0, &["kW.h", "kWh", "kilowatt-hour", "kilowatt-hours"]),
        row(Energy, 3.6e9, 1.0, &["MW.h", "MWh"]),
        row(EnergyPerLength, 3.6e6, 1609.344, &["kW.h/mi", "kWh/mi", "kW.h/[mi_i]", "kWh/mile"]),
        row(EnergyPerLength, 3600.0, 1.0, &["kW.h/km", "kWh/km"]),
        row(EnergyPerLength, 36.0, 1.0, &["kW.h/100km", "kWh/100km"]),
        row(EnergyPerLength, 3600.0, 1609.344, &["W.h/mi", "Wh/mi"]),
        row(EnergyPerLength, 3.6, 1.0, &["W.h/km", "Wh/km"]),
        row(Voltage, 1.0, 1.0, &["V", "volt", "volts"]),
        row(Voltage, 1.0, 1000.0, &["mV", "millivolt", "millivolts"]),
        row(Voltage, 1000.0, 1.0, &["kV"]),
        row(Current, 1.0, 1.0, &["A", "amp", "amps", "ampere", "amperes"]),
        row(Current, 1.0, 1000.0, &["mA"]),
        row(Charge, 3600.0, 1.0, &["A.h", "Ah"]),
        row(Charge, 1.0, 1.0, &["C"]),
        shifted(0.0, 1.0, 1.0, &["K", "kelvin", "degK"]),
        shifted(273.15, 1.0, 1.0, &["degC", "Cel", "°C", "celsius", "deg C", "℃", "ºC"]),
        shifted(459.67, 5.0, 9.0, &["degF", "[degF]", "°F", "fahrenheit", "deg F", "℉", "ºF"]),
        row(Force, 1.0, 1.0, &["N", "newton"]),
        row(Force, 1000.0, 1.0, &["kN"]),
        row(Force, 4.448_221_615_260_5, 1.0, &["lbf", "[lbf_av]"]),
        row(Pressure, 1.0, 1.0, &["Pa"]),
        row(Pressure, 1000.0, 1.0, &["kPa"]),
        row(Pressure, 100.0, 1.0, &["hPa", "mbar"]),
        row(Pressure, 1e6, 1.0, &["MPa"]),
        row(Pressure, 1e5, 1.0, &["bar"]),
        row(Pressure, 101_325.0, 1.0, &["atm", "[atm]"]),
        // 13,595.1 kg/m3 of mercury under standard gravity: the conventional values that UCUM has, too.
        row(Pressure, 133.322_387_415, 1.0, &["mmHg", "mm[Hg]"]),
        row(Pressure, 3_386.388_640_341, 1.0, &["inHg", "[in_i'Hg]"]),
        row(Pressure, 6_894.757_293_168_361, 1.0, &["psi", "[psi]"]),
        row(Torque, 1.0, 1.0, &["N.m", "Nm", "N·m", "N m"]),
        row(Torque, 1.355_817_948_331_400_4, 1.0, &["lbf.ft", "ft.lbf", "lb.ft"]),
        row(
            Rotation,
            std::f64::consts::TAU,
            60.0,
            &["rpm", "/min", "1/min", "{rev}/min", "min-1", "rev/min", "r/min", "U/min"],
        ),
        row(Rotation, std::f64::consts::TAU, 1.0, &["rev/s", "{rev}/s"]),
        row(Rotation, 1.0, 1.0, &["rad/s"]),
        row(Acceleration, 1.0, 1.0, &["m/s2", "m/s^2", "m/s²", "m.s-2"]),
        row(Acceleration, 9.806_65, 1.0, &["g0", "[g]", "gee"]),
        row(Acceleration, 0.3048, 1.0, &["ft/s2"]),
        row(Ratio, 1.0, 1.0, &["1", "frac", "fraction", "ratio"]),
        row(Ratio, 1.0, 100.0, &["%", "percent", "pct", "prc", "perc"]),
        row(Ratio, 1.0, 1000.0, &["‰", "[ppth]", "permille"]),
        row(Ratio, 1.0, 1e6, &["1e-4 %", "[ppm]", "ppm"]),
    ]
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_spelling_stands_for_two_units() {
        let mut seen = std::collections::HashSet::new();
        for row in UNITS {
            for spelling in row.spellings {
                assert!(seen.insert(spelling), "{spelling} stands twice in the units table");
            }
        }
    }

    #[test]
    fn there_and_back() {
        for row in UNITS {
            let back = row.unit.from_si(row.unit.to_si(12.5));
            assert!((back - 12.5).abs() < 1e-9, "{:?}", row.spellings);
        }
    }

    #[test]
    fn known_conversions() {
        // Exact by definition of the units (international yard and pound agreement, 1959).
        assert_eq!(parse_quantity("30 mph").unwrap().0, 13.4112);
        assert_eq!(parse_quantity("36 km/h").unwrap().0, 10.0);
        assert_eq!(parse_quantity("1e-4 %").unwrap().0, 1e-6);
        assert!((parse_quantity("32 degF").unwrap().0 - 273.15).abs() < 1e-9);
        assert_eq!(parse_quantity("20 kW.h").unwrap(), (7.2e7, Dimension::Energy));
        // 1 kWh/mile is 621.371 Wh/km.
        let (per_m, _) = parse_quantity("1.0 kW.h/mi").unwrap();
        assert!((per_m - parse_quantity("621.371192 W.h/km").unwrap().0).abs() < 1e-5 * per_m);
        assert_eq!(parse_quantity("60 kW.h/100km").unwrap(), (2160.0, Dimension::EnergyPerLength));
        // Exact by definition: a yard of three feet, a long ton of 2240 lb, 75 kgf.m/s, 1013.25 hPa.
        assert_eq!(parse_quantity("3 ft").unwrap().0, 3.0 * 0.3048);
        assert!((parse_quantity("1 yd").unwrap().0 - parse_quantity("3 ft").unwrap().0).abs() < 1e-12);
        let pounds = parse_quantity("2240 lb").unwrap().0;
        assert!((parse_quantity("1 long ton").unwrap().0 - pounds).abs() < 1e-9);
        assert!((parse_quantity("1 PS").unwrap().0 - 75.0 * 9.806_65).abs() < 1e-9);
        assert!((parse_quantity("1013.25 hPa").unwrap().0 - parse_quantity("1 atm").unwrap().0).abs() < 1e-9);
        // 760 mm of mercury are an atmosphere to 0.15 millionths; an inch of it is 25.4 mm.
        assert!((parse_quantity("760 mmHg").unwrap().0 / 101_325.0 - 1.0).abs() < 2e-7);
        let inch = parse_quantity("25.4 mmHg").unwrap().0;
        assert!((parse_quantity("1 inHg").unwrap().0 - inch).abs() < 1e-6 * inch);
        assert!((parse_quantity("60 arcmin").unwrap().0 - parse_quantity("1 deg").unwrap().0).abs() < 1e-15);
    }

    #[test]
    fn case_matters_only_where_it_must() {
        assert_eq!(Unit::parse("KM/H").unwrap().to_si(36.0), 10.0);
        assert!(Unit::parse("mw").is_none(), "mW or MW: refuse to guess");
    }

    #[test]
    fn a_quantity_needs_number_and_unit() {
        assert_eq!(parse_quantity("12"), Err(QuantityError::NoUnit));
        assert_eq!(parse_quantity("kg"), Err(QuantityError::NotANumber));
        assert!(matches!(parse_quantity("3 furlong"), Err(QuantityError::UnknownUnit(_))));
    }
}
