//! A count times a factor plus an offset, in decimal digits.
//!
//! A database states factors such as 0.0000001 and offsets such as -210. In doubles the product is off in its last
//! digits, and 47.3765° reads as 47.376 499 999 999 99; in decimal digits it is exact, and reads as any other log would
//! have it.

/// Beyond these the digits no longer fit, and doubles serve.
const EXPONENTS: std::ops::RangeInclusive<i32> = -30..=18;

/// factor and offset, `10^exponent` each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    factor: f64,
    offset: f64,
    exact: Option<Exact>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Exact {
    factor: i128,
    offset: i128,
    exponent: i32,
}

impl Scale {
    pub fn new(factor: f64, offset: f64) -> Self {
        Self { factor, offset, exact: exact(factor, offset) }
    }

    pub fn factor(&self) -> f64 {
        self.factor
    }

    /// The value of a count as a decimal number.
    pub fn text(&self, count: i128) -> String {
        let digits = |exact: Exact| {
            let digits = count.checked_mul(exact.factor)?.checked_add(exact.offset)?;
            Some(decimal_text(digits, exact.exponent))
        };
        self.exact.and_then(digits).unwrap_or_else(|| self.value(count as f64).to_string())
    }

    /// The value of a number that is no count, in doubles.
    pub fn value(&self, number: f64) -> f64 {
        number * self.factor + self.offset
    }
}

fn exact(factor: f64, offset: f64) -> Option<Exact> {
    let ((factor, a), (offset, b)) = (digits(factor)?, digits(offset)?);
    let exponent = a.min(b);
    let shifted = |digits: i128, from: i32| {
        digits.checked_mul(10_i128.checked_pow(u32::try_from(from.checked_sub(exponent)?).ok()?)?)
    };
    let exact = Exact { factor: shifted(factor, a)?, offset: shifted(offset, b)?, exponent };
    EXPONENTS.contains(&exponent).then_some(exact)
}

/// A double as the shortest decimal that reads back as it: digits and exponent.
fn digits(number: f64) -> Option<(i128, i32)> {
    if number == 0.0 {
        return Some((0, 0));
    }
    let text = format!("{number:e}");
    let (mantissa, exponent) = text.split_once('e')?;
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let digits = format!("{whole}{fraction}").parse().ok()?;
    Some((digits, exponent.parse::<i32>().ok()? - i32::try_from(fraction.len()).ok()?))
}

fn decimal_text(digits: i128, exponent: i32) -> String {
    let sign = if digits < 0 { "-" } else { "" };
    let mut text = digits.unsigned_abs().to_string();
    let Ok(places) = usize::try_from(-exponent) else {
        let zeros = if digits == 0 { 0 } else { exponent.unsigned_abs() as usize };
        return format!("{sign}{text}{}", "0".repeat(zeros));
    };
    if text.len() <= places {
        text = format!("{}{text}", "0".repeat(places + 1 - text.len()));
    }
    let (whole, fraction) = text.split_at(text.len() - places);
    let fraction = fraction.trim_end_matches('0');
    if fraction.is_empty() { format!("{sign}{whole}") } else { format!("{sign}{whole}.{fraction}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_exact() {
        assert_eq!(Scale::new(1e-7, -210.0).text(2_573_765_000), "47.3765");
        assert_ne!(2_573_765_000.0 * 1e-7 - 210.0, 47.3765, "doubles alone would be off");
        assert_eq!(Scale::new(0.003_906_25, 0.0).text(20_000), "78.125");
        assert_eq!(Scale::new(0.05, -1600.0).text(31_999), "-0.05");
        assert_eq!(Scale::new(0.03125, -273.0).text(0), "-273");
        assert_eq!(Scale::new(1e3, 0.0).text(-7), "-7000");
        assert_eq!(Scale::new(1e3, 0.0).text(0), "0");
        assert_eq!(Scale::new(1.0, 0.0).text(i128::from(u64::MAX)), "18446744073709551615");
    }

    #[test]
    fn beyond_the_digits_doubles_serve() {
        assert_eq!(Scale::new(1e-200, 0.0).text(3).parse::<f64>(), Ok(3e-200));
        assert_eq!(Scale::new(1e300, 1e-300).text(2).parse::<f64>(), Ok(2e300));
        assert_eq!(Scale::new(f64::NAN, 0.0).text(2), "NaN");
    }

    proptest::proptest! {
        /// Against doubles, to their rounding.
        #[test]
        fn near_the_double(factor in -1e6_f64..1e6, offset in -1e6_f64..1e6, count: u32) {
            let scale = Scale::new(factor, offset);
            let text: f64 = scale.text(i128::from(count)).parse().unwrap();
            let double = f64::from(count) * factor + offset;
            let size = (f64::from(count) * factor).abs() + offset.abs();
            proptest::prop_assert!((text - double).abs() <= 4.0 * f64::EPSILON * size, "{text} {double}");
        }

        #[test]
        fn whole_decimals_read_back(count: i64, places in 0..18_i32) {
            let scale = Scale::new(format!("1e-{places}").parse().unwrap(), 0.0);
            let want: f64 = format!("{count}e-{places}").parse().unwrap();
            proptest::prop_assert_eq!(scale.text(i128::from(count)).parse::<f64>().unwrap(), want);
        }
    }
}
