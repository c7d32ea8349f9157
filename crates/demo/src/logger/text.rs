//! Numbers and dates as the loggers write them. Millions of rows pass here, so nothing is allocated per cell.

use jiff::ToSpan;

/// Appends a number with a fixed count of decimals, rounded half away from zero.
pub fn push_fixed(out: &mut Vec<u8>, value: f64, decimals: u32, mark: u8) {
    let scale = 10_u64.pow(decimals);
    let scaled = (value * scale as f64).round() as i64;
    if scaled < 0 {
        out.push(b'-');
    }
    let size = scaled.unsigned_abs();
    push_whole(out, size / scale);
    if decimals > 0 {
        out.push(mark);
        push_padded(out, size % scale, decimals as usize);
    }
}

fn push_whole(out: &mut Vec<u8>, value: u64) {
    let digits = value.checked_ilog10().unwrap_or(0) as usize + 1;
    push_padded(out, value, digits);
}

/// Appends the last `width` digits.
fn push_padded(out: &mut Vec<u8>, mut value: u64, width: usize) {
    let start = out.len();
    out.resize(start + width, b'0');
    for place in out[start..].iter_mut().rev() {
        *place = b'0' + (value % 10) as u8;
        value /= 10;
    }
}

/// Dates as text, worked out once a day.
#[derive(Default)]
pub struct Dates {
    day: Option<i64>,
    iso: String,
    dotted: String,
}

impl Dates {
    /// `2026-02-03`
    pub fn iso(&mut self, time_s: i64) -> &str {
        self.turn_to(time_s);
        &self.iso
    }

    /// `03.02.2026`
    pub fn dotted(&mut self, time_s: i64) -> &str {
        self.turn_to(time_s);
        &self.dotted
    }

    fn turn_to(&mut self, time_s: i64) {
        let day = time_s.div_euclid(86_400);
        if self.day != Some(day) {
            let date = jiff::civil::date(1970, 1, 1).saturating_add(day.days());
            self.day = Some(day);
            self.iso = format!("{:04}-{:02}-{:02}", date.year(), date.month(), date.day());
            self.dotted = format!("{:02}.{:02}.{:04}", date.day(), date.month(), date.year());
        }
    }
}

/// Appends `HH:MM:SS`.
pub fn push_clock(out: &mut Vec<u8>, time_s: i64) {
    let second = time_s.rem_euclid(86_400) as u64;
    push_padded(out, second / 3600, 2);
    out.push(b':');
    push_padded(out, second / 60 % 60, 2);
    out.push(b':');
    push_padded(out, second % 60, 2);
}

/// Text in Latin-1, the part of windows-1252 that these files need.
pub fn latin_1(text: &str) -> Vec<u8> {
    text.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap_or(b'?')).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixed(value: f64, decimals: u32) -> String {
        let mut out = Vec::new();
        push_fixed(&mut out, value, decimals, b',');
        String::from_utf8(out).unwrap_or_default()
    }

    #[test]
    fn numbers_are_written_with_fixed_decimals() {
        assert_eq!(fixed(-0.046, 2), "-0,05");
        assert_eq!(fixed(12.3, 0), "12");
        assert_eq!(fixed(1009.996, 2), "1010,00");
        assert_eq!(fixed(-0.001, 1), "0,0");
    }

    #[test]
    fn dates_and_clocks() {
        let mut dates = Dates::default();
        assert_eq!(dates.iso(1_769_990_400), "2026-02-02");
        assert_eq!(dates.dotted(1_769_990_400 + 86_400), "03.02.2026");
        let mut out = Vec::new();
        push_clock(&mut out, 1_769_990_400 + 3661);
        assert_eq!(out, b"01:01:01");
        assert_eq!(latin_1("Höhe [°C]"), b"H\xf6he [\xb0C]");
    }
}
