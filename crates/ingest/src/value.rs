//! Cells to values: numbers, flags, degrees and minutes.

use crate::settings::CellUnit;

/// Texts that mean "no value" in any log.
const USUAL_MISSING: [&str; 11] = ["", "nan", "null", "none", "na", "n/a", "-", "--", "nil", "#n/a", "?"];

/// True for a cell that says there is no value here.
pub fn is_missing(cell: &str, further: &[String]) -> bool {
    USUAL_MISSING.iter().any(|text| cell.eq_ignore_ascii_case(text)) || further.iter().any(|text| text == cell)
}

pub fn is_number(cell: &str, decimal_comma: bool) -> bool {
    parse_number(cell, decimal_comma).is_some()
}

/// A finite decimal number; infinities, hexadecimal and words are not numbers here.
pub fn parse_number(cell: &str, decimal_comma: bool) -> Option<f64> {
    let plain = |text: &str| {
        let first = text.trim_start_matches(['+', '-']).as_bytes().first().copied()?;
        if !(first.is_ascii_digit() || first == b'.') {
            return None;
        }
        text.parse::<f64>().ok().filter(|value| value.is_finite())
    };
    if decimal_comma {
        if cell.len() > 64 || !cell.contains([',', '.']) {
            return if cell.len() > 64 { None } else { plain(cell) };
        }
        let whole = cell.split(',').next().unwrap_or(cell);
        if !is_grouped(whole) || cell.matches(',').count() > 1 {
            return None;
        }
        plain(&cell.replace('.', "").replace(',', "."))
    } else {
        plain(cell)
    }
}

/// With a decimal comma a point can only mark thousands: groups of three digits after the first. "12.5" is no number
/// then, and taking it for 125 would be worse than refusing it.
fn is_grouped(whole: &str) -> bool {
    let mut groups = whole.trim_start_matches(['+', '-']).split('.');
    let first = groups.next().unwrap_or_default();
    let mut rest = groups.peekable();
    rest.peek().is_none() || ((1..=3).contains(&first.len()) && rest.all(|group| group.len() == 3))
}

/// A cell in SI. Latitude, longitude and directions stay in degrees, as the field has them.
pub fn parse_cell(cell: &str, unit: CellUnit, scale: f64, decimal_comma: bool, degrees: bool) -> Option<f64> {
    match unit {
        CellUnit::Plain(unit) => {
            let value = unit.to_si(parse_number(cell, decimal_comma)? * scale);
            Some(if degrees { value.to_degrees() } else { value })
        }
        CellUnit::DegreesMinutes => parse_degrees_minutes(cell, decimal_comma),
        CellUnit::None => None,
    }
}

/// "-117 25.75793" is 117 degrees 25.75793 minutes west: the sign on the degrees covers the minutes.
fn parse_degrees_minutes(cell: &str, decimal_comma: bool) -> Option<f64> {
    let (degrees, minutes) = cell.trim().split_once(' ')?;
    let whole = parse_number(degrees, decimal_comma)?;
    let minutes = parse_number(minutes.trim(), decimal_comma).filter(|m| (0.0..60.0).contains(m))?;
    let sign = if degrees.starts_with('-') { -1.0 } else { 1.0 };
    Some(whole + sign * minutes / 60.0)
}

pub fn parse_flag(cell: &str) -> Option<bool> {
    match cell.to_ascii_lowercase().as_str() {
        "1" | "true" | "yes" | "on" | "y" | "t" => Some(true),
        "0" | "false" | "no" | "off" | "n" | "f" => Some(false),
        other => parse_number(other, false).map(|value| value > 0.5),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_what_is_not_one() {
        assert_eq!(parse_number("-0.5e1", false), Some(-5.0));
        assert_eq!(parse_number("1.234,5", true), Some(1234.5));
        assert_eq!(parse_number("12,5", true), Some(12.5));
        for not in ["12.5", "1.2.3", "1,2,3", "1.23,4", "1234.567,8"] {
            assert_eq!(parse_number(not, true), None, "{not}");
        }
        for not in ["inf", "NaN", "0x10", "", "-", "1,5", "#ERR", "12 km"] {
            assert_eq!(parse_number(not, false), None, "{not}");
        }
    }

    #[test]
    fn degrees_and_minutes() {
        // 34 deg 11.28809 min and 117 deg 25.75793 min west, divided out by hand.
        let lat = parse_cell("34 11.28809", CellUnit::DegreesMinutes, 1.0, false, true).unwrap();
        let lon = parse_cell("-117 25.75793", CellUnit::DegreesMinutes, 1.0, false, true).unwrap();
        assert!((lat - 34.188_134_833).abs() < 1e-9 && (lon + 117.429_298_833).abs() < 1e-9);
        assert_eq!(parse_cell("34 61.0", CellUnit::DegreesMinutes, 1.0, false, true), None);
    }
}
