//! What the shades of a map mean, and how long a mile is on it.

use std::fmt::Write as _;

use super::frame::{Frame, MARGIN};

const CLASSES: usize = 5;

/// Width of a letter or digit of the legend on the mean, so that no label touches the next swatch.
const LETTER: f64 = 7.6;

/// Upper bounds of all classes but the last: as many cells in each, rounded to two digits for the legend.
pub fn bounds(mut values: Vec<f64>) -> Vec<f64> {
    if values.is_empty() {
        return Vec::new();
    }
    values.sort_by(f64::total_cmp);
    let mut bounds: Vec<f64> =
        (1..CLASSES).map(|class| two_digits(values[class * (values.len() - 1) / CLASSES])).collect();
    bounds.dedup();
    bounds.retain(|bound| *bound > 0.0);
    bounds
}

fn two_digits(value: f64) -> f64 {
    if value <= 0.0 {
        return 0.0;
    }
    let step = 10f64.powf(value.log10().floor() - 1.0);
    (value / step).round() * step
}

pub fn legend(svg: &mut String, what: &str, bounds: &[f64], frame: &Frame) {
    let y = frame.height + 20.0;
    let mut x = MARGIN;
    let _ = write!(svg, "<text x=\"{MARGIN}\" y=\"{y:.0}\">{what}</text>");
    for class in 0..=bounds.len() {
        let label = match (class.checked_sub(1).and_then(|i| bounds.get(i)), bounds.get(class)) {
            (None, Some(high)) => format!("under {}", plain(*high)),
            (Some(low), Some(high)) => format!("{} to {}", plain(*low), plain(*high)),
            (Some(low), None) => format!("over {}", plain(*low)),
            (None, None) => "all".to_owned(),
        };
        let _ = write!(
            svg,
            "<rect class=\"cell q{class}\" x=\"{x:.0}\" y=\"{:.0}\" width=\"18\" height=\"14\"/><text x=\"{:.0}\" y=\"{:.0}\">{label}</text>",
            y + 10.0,
            x + 23.0,
            y + 23.0
        );
        x += 34.0 + LETTER * label.len() as f64;
    }
}

/// Two digits that tell, or a whole number.
pub fn plain(value: f64) -> String {
    if value <= 0.0 {
        return "0".to_owned();
    }
    let digits = if value >= 10.0 { 0 } else { (1.0 - value.log10().floor()).max(1.0) as usize };
    format!("{value:.digits$}")
}

/// A bar of a round length, about a sixth of the width.
pub fn scale_bar(svg: &mut String, frame: &Frame, metric: bool) {
    let unit_m = if metric { 1000.0 } else { 1609.344 };
    let wanted = frame.width / 6.0 / frame.points_per_m / unit_m;
    let power = 10f64.powf(wanted.log10().floor());
    let length = [5.0, 2.0, 1.0].into_iter().map(|f| f * power).find(|l| *l <= wanted).unwrap_or(power);
    let points = length * unit_m * frame.points_per_m;
    let (right, y) = (frame.width - MARGIN, frame.height + 14.0);
    let word = if metric {
        "km"
    } else if length == 1.0 {
        "mile"
    } else {
        "miles"
    };
    let _ = write!(
        svg,
        "<g class=\"{4}\"><path class=\"rule\" fill=\"none\" d=\"M{0:.1} {1:.1}v6H{2:.1}v-6\"/><text x=\"{2:.1}\" y=\"{3:.1}\" text-anchor=\"end\">{length} {word}, north is up</text></g>",
        right - points,
        y,
        right,
        y - 5.0,
        if metric { "metric-only" } else { "us-only" }
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_are_round() {
        assert_eq!(two_digits(0.0), 0.0);
        assert!((two_digits(123.4) - 120.0).abs() < 1e-9);
        assert!((two_digits(0.01234) - 0.012).abs() < 1e-12);
        assert_eq!(plain(120.0), "120");
        assert_eq!(plain(1.2), "1.2");
        assert!(bounds(Vec::new()).is_empty());
    }
}
