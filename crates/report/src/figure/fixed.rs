//! Numbers with a fixed count of decimals, as ECMA-262 `Number.prototype.toFixed` writes them: exact, ties away from
//! zero. Rust's own formatting takes ties to even, by which page and program would differ.

/// Without a sign before a zero.
pub fn fixed(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let text = if is_tie(value, digits) { away_from_zero(value, digits) } else { format!("{value:.digits$}") };
    match text.strip_prefix('-') {
        Some(zero) if zero.chars().all(|c| c == '0' || c == '.') => zero.to_owned(),
        _ => text,
    }
}

/// True where the value lies exactly between two texts. Such a value is a whole number of 2^-(digits + 1): only then has
/// its decimal expansion no more than one digit beyond.
fn is_tie(value: f64, digits: usize) -> bool {
    let scaled = value * 2f64.powi(digits as i32 + 1);
    scaled == scaled.trunc() && format!("{value:.*}", digits + 1).ends_with('5') && value.abs() < 1e15
}

fn away_from_zero(value: f64, digits: usize) -> String {
    let step = 10f64.powi(-(digits as i32));
    // A quarter of a step beyond the tie rounds to one side only.
    format!("{:.digits$}", value + value.signum() * 0.25 * step)
}

/// A count with a comma at the thousands.
pub fn counted(n: u64) -> String {
    let digits = n.to_string();
    let head = digits.len() % 3;
    let mut out = digits[..head].to_owned();
    for at in (head..digits.len()).step_by(3) {
        if !out.is_empty() {
            out.push(',');
        }
        out.push_str(&digits[at..at + 3]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Texts from `toFixed` of a JavaScript engine.
    #[test]
    fn thousands_have_a_comma() {
        let told: Vec<String> = [0, 7, 999, 1000, 1_567_356].map(counted).into();
        assert_eq!(told, ["0", "7", "999", "1,000", "1,567,356"]);
    }

    #[test]
    fn ties_go_as_in_the_browser() {
        for (value, digits, text) in [
            (0.5, 0, "1"),
            (2.5, 0, "3"),
            (-2.5, 0, "-3"),
            (0.125, 2, "0.13"),
            (1.005, 2, "1.00"),
            (8.345, 2, "8.35"),
            (-0.04, 1, "0.0"),
            (1e21 / 1e18, 0, "1000"),
            (0.000_05, 4, "0.0001"),
            (10.235, 2, "10.23"),
            (1.45, 1, "1.4"),
        ] {
            assert_eq!(fixed(value, digits), text, "{value} to {digits}");
        }
    }
}
