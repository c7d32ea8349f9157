//! Cells to values: numbers, flags, degrees and minutes.

use backwatt_schema::unit::Unit;

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

/// A finite decimal number, thousands marked or not; infinities, hexadecimal and words are not numbers here.
pub fn parse_number(cell: &str, decimal_comma: bool) -> Option<f64> {
    let has_mark = |c: char| c == ',' || c == '.';
    match plain_number(cell) {
        Some(value) if !decimal_comma || !cell.contains(has_mark) => Some(value),
        _ => grouped_number(cell, decimal_comma),
    }
}

fn plain_number(text: &str) -> Option<f64> {
    let first = text.trim_start_matches(['+', '-']).as_bytes().first().copied()?;
    if !(first.is_ascii_digit() || first == b'.') {
        return None;
    }
    text.parse::<f64>().ok().filter(|value| value.is_finite())
}

/// Longer cells are no numbers that a person wrote.
const NUMBER_MOST: usize = 64;

/// With the decimal mark stated, the other one can only mark thousands. With a decimal comma "12.5" is no number then, and
/// taking it for 125 would be worse than refusing it.
fn grouped_number(cell: &str, decimal_comma: bool) -> Option<f64> {
    if cell.len() > NUMBER_MOST {
        return None;
    }
    let (mark, other) = if decimal_comma { (',', '.') } else { ('.', ',') };
    let (whole, fraction) = cell.split_once(mark).map_or((cell, None), |(whole, rest)| (whole, Some(rest)));
    let digits = ungrouped(whole, other)?;
    plain_number(&fraction.map_or_else(|| digits.clone(), |fraction| format!("{digits}.{fraction}")))
}

/// Whether a point or comma in a cell may mark thousands: groups of three digits after the first, which is no zero.
pub fn may_be_grouped(cell: &str, mark: char) -> bool {
    let starts = !cell.trim_start_matches(['+', '-']).starts_with('0');
    starts
        && cell.contains(mark)
        && ungrouped(cell, mark).is_some_and(|digits| digits.bytes().all(|b| b != b'.'))
}

/// A whole number without the marks of its thousands: a point or comma, a blank, an apostrophe, one kind throughout.
fn ungrouped(whole: &str, mark: char) -> Option<String> {
    const MARKS: [char; 5] = [' ', '\'', '\u{2019}', '\u{a0}', '\u{202f}'];
    let used = whole.chars().find(|c| *c == mark || MARKS.contains(c));
    let Some(used) = used else { return Some(whole.to_owned()) };
    let mut groups = whole.trim_start_matches(['+', '-']).split(used);
    let is_group = |group: &str, least: usize| {
        (least..=3).contains(&group.len()) && group.bytes().all(|byte| byte.is_ascii_digit())
    };
    let sound = groups.next().is_some_and(|first| is_group(first, 1)) && groups.all(|group| is_group(group, 3));
    sound.then(|| whole.replace(used, ""))
}

/// A cell in SI. Latitude, longitude and directions stay in degrees, as the field has them.
pub fn parse_cell(cell: &str, unit: CellUnit, scale: f64, decimal_comma: bool, degrees: bool) -> Option<f64> {
    match unit {
        CellUnit::Plain(unit) => {
            let number = parse_number(cell, decimal_comma)
                .or_else(|| number_with(cell, unit, decimal_comma))
                .or_else(|| lettered(cell, decimal_comma).filter(|_| degrees))?;
            let value = unit.to_si(number * scale);
            Some(if degrees { value.to_degrees() } else { value })
        }
        CellUnit::DegreesMinutes => parse_degrees_minutes(cell, decimal_comma),
        CellUnit::None => None,
    }
}

/// A number and what stands behind it: "36 km/h", "87%".
pub fn number_and_unit(cell: &str, decimal_comma: bool) -> Option<(f64, &str)> {
    let end = cell.rfind(|c: char| c.is_ascii_digit() || c == '.')? + 1;
    let (number, unit) = (cell[..end].trim_end(), cell[end..].trim());
    if unit.is_empty() { None } else { Some((parse_number(number, decimal_comma)?, unit)) }
}

/// A number that brings the unit its column is stated in; with another unit it is no number as stated.
fn number_with(cell: &str, unit: Unit, decimal_comma: bool) -> Option<f64> {
    let (number, text) = number_and_unit(cell, decimal_comma)?;
    (Unit::parse(text) == Some(unit)).then_some(number)
}

/// Degrees with the letter of a hemisphere.
fn lettered(cell: &str, decimal_comma: bool) -> Option<f64> {
    parse_degrees(cell, decimal_comma).filter(|(_, parts)| *parts == 1).map(|(degrees, _)| degrees)
}

/// "-117 25.75793" is 117 degrees 25.75793 minutes west: the sign on the degrees covers the minutes. So is "117\u{b0}25.75793'W".
fn parse_degrees_minutes(cell: &str, decimal_comma: bool) -> Option<f64> {
    parse_degrees(cell, decimal_comma).filter(|(_, parts)| *parts > 1).map(|(degrees, _)| degrees)
}

/// Degrees, with minutes and seconds or without, and the letter of a hemisphere or a sign; and in how many parts they stood.
pub fn parse_degrees(cell: &str, decimal_comma: bool) -> Option<(f64, usize)> {
    let is_letter = |c: char| matches!(c.to_ascii_uppercase(), 'N' | 'S' | 'E' | 'W');
    let cell = cell.trim();
    let bare = cell.strip_prefix(is_letter).or_else(|| cell.strip_suffix(is_letter)).unwrap_or(cell).trim();
    let letter =
        cell.chars().next().filter(|c| is_letter(*c)).or_else(|| cell.chars().last().filter(|c| is_letter(*c)));
    let between = |c: char| c.is_whitespace() || "\u{b0}\u{ba}'\"\u{2019}\u{2032}\u{2033}:".contains(c);
    let mut parts = bare.split(between).filter(|part| !part.is_empty());
    let first = parts.next()?;
    let degrees = parse_number(first, decimal_comma)?.abs();
    let (mut value, mut share, mut count) = (degrees, 60.0, 1);
    for part in parts {
        let part = parse_number(part, decimal_comma).filter(|part| (0.0..60.0).contains(part))?;
        value += part / share;
        share *= 60.0;
        count += 1;
    }
    let negative =
        first.starts_with('-') || letter.is_some_and(|c| matches!(c.to_ascii_uppercase(), 'S' | 'W'));
    (count <= 3).then_some((if negative { -value } else { value }, count))
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
        for not in
            ["inf", "NaN", "0x10", "", "-", "1,5", "#ERR", "12 km", "1,23,456", "1234,567", "1,234 567", ",123"]
        {
            assert_eq!(parse_number(not, false), None, "{not}");
        }
    }

    #[test]
    fn thousands_are_marked_in_many_ways() {
        for cell in
            ["1,234,567.5", "1'234'567.5", "1 234 567.5", "1\u{a0}234\u{a0}567.5", "1\u{2019}234\u{2019}567.5"]
        {
            assert_eq!(parse_number(cell, false), Some(1_234_567.5), "{cell}");
        }
        for cell in ["1.234.567,5", "1 234 567,5", "1'234'567,5"] {
            assert_eq!(parse_number(cell, true), Some(1_234_567.5), "{cell}");
        }
        assert_eq!(parse_number("-12,345", false), Some(-12_345.0));
        assert!(
            may_be_grouped("12,345", ',') && !may_be_grouped("0,345", ',') && !may_be_grouped("12,34", ',')
        );
    }

    #[test]
    fn a_cell_may_bring_the_unit_of_its_column() {
        let km_h = CellUnit::Plain(Unit::parse("km/h").unwrap());
        for cell in ["36 km/h", "36.0kph", "36"] {
            assert_eq!(parse_cell(cell, km_h, 1.0, false, false), Some(10.0), "{cell}");
        }
        for cell in ["36 mph", "36 %", "km/h", "36 km/h 5x", "x36 km/h"] {
            assert_eq!(parse_cell(cell, km_h, 1.0, false, false), None, "{cell}");
        }
        let percent = CellUnit::Plain(Unit::parse("%").unwrap());
        assert_eq!(parse_cell("87,5 %", percent, 1.0, true, false), Some(0.875));
    }

    #[test]
    fn degrees_and_minutes() {
        // 34 deg 11.28809 min and 117 deg 25.75793 min west, divided out by hand.
        let lat = parse_cell("34 11.28809", CellUnit::DegreesMinutes, 1.0, false, true).unwrap();
        let lon = parse_cell("-117 25.75793", CellUnit::DegreesMinutes, 1.0, false, true).unwrap();
        assert!((lat - 34.188_134_833).abs() < 1e-9 && (lon + 117.429_298_833).abs() < 1e-9);
        // "O" is east in one language and west in another.
        for cell in ["34 61.0", "34.5", "34 11 12 13", "N", "", "34 x", "34 11.28809 O"] {
            assert_eq!(parse_cell(cell, CellUnit::DegreesMinutes, 1.0, false, true), None, "{cell}");
        }
        for cell in [
            "34\u{b0}11.28809'S",
            "S 34 11.28809",
            "34 11.28809 s",
            "-34\u{b0} 11.28809'",
            "34\u{b0}11'17.2854\"S",
        ] {
            let south = parse_cell(cell, CellUnit::DegreesMinutes, 1.0, false, true).unwrap();
            assert!((south + lat).abs() < 1e-9, "{cell}: {south}");
        }
        let degrees = CellUnit::Plain(Unit::parse("deg").unwrap());
        let west = parse_cell("117.4293\u{b0} W", degrees, 1.0, false, true).unwrap();
        assert!((west + 117.4293).abs() < 1e-9);
    }
}
