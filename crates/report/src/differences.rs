//! Differences from an average with their intervals, as SVG: costs to the right of it, savings to the left.
//!
//! What a difference rests on is in the shape of its mark; whether it can be told from none in its whisker and in words
//! beside it. No colour says either.

use std::fmt::Write as _;

use crate::chart::{escape, opening, shape};
use crate::figure::{cut, fixed};

/// One row: whose it is, the three numbers with the cells they stand in, and what stands behind them.
pub struct Difference {
    pub label: String,
    /// The same in metric units, where it holds a unit.
    pub label_metric: Option<String>,
    /// Low end, middle and high end.
    pub values: [f64; 3],
    pub cells: [String; 3],
    pub evidence: String,
    pub rests: String,
}

const LABEL_WIDTH: f64 = 130.0;
const LABEL_CHARS: usize = 18;
const BAR_WIDTH: f64 = 350.0;
const VALUE_WIDTH: f64 = 360.0;
const ROW: f64 = 24.0;
const FOOT: f64 = 34.0;

/// What the chart says of its scale.
pub struct Words {
    /// At zero.
    pub zero: &'static str,
    pub unit: String,
    /// Of an interval that holds zero.
    pub open: &'static str,
}

/// In the order given.
pub fn differences(title: &str, words: &Words, rows: &[Difference]) -> String {
    let scale = Scale::around(rows);
    let bottom = ROW * rows.len() as f64 + 4.0;
    let mut svg = opening(title, LABEL_WIDTH + BAR_WIDTH + VALUE_WIDTH, bottom + FOOT);
    for tick in scale.ticks() {
        let class = if tick == 0.0 { "rule" } else { "grid" };
        let word = if tick == 0.0 {
            words.zero.to_owned()
        } else {
            format!("{}{}", if tick > 0.0 { "+" } else { "" }, tick)
        };
        let _ = write!(
            svg,
            "<line class=\"{class}\" x1=\"{0:.1}\" x2=\"{0:.1}\" y1=\"0\" y2=\"{bottom:.1}\"/>\
             <text class=\"tick\" x=\"{0:.1}\" y=\"{1:.1}\" text-anchor=\"middle\">{word}</text>",
            scale.at(tick),
            bottom + 15.0,
        );
    }
    let _ =
        write!(svg, "<text class=\"tick\" x=\"0\" y=\"{:.1}\">{}</text>", bottom + 15.0, escape(&words.unit));
    for (at, row) in rows.iter().enumerate() {
        draw(&mut svg, (row, words), &scale, ROW * at as f64 + ROW / 2.0 + 2.0);
    }
    svg.push_str("</svg>");
    svg
}

fn draw(svg: &mut String, (row, words): (&Difference, &Words), scale: &Scale, y: f64) {
    let [low, middle, high] = row.values;
    let is_told = low > 0.0 || high < 0.0;
    let (whisker, word) = match (is_told, middle > 0.0) {
        (true, true) => ("whisker", "more"),
        (true, false) => ("whisker", "less"),
        _ => ("whisker untold", words.open),
    };
    let digits = scale.digits();
    let told = |value: f64, cell: &str| {
        format!("<tspan data-of=\"{}\">{}</tspan>", escape(cell), fixed(value, digits))
    };
    let _ = write!(
        svg,
        "{}\
         <line class=\"{whisker}\" x1=\"{:.1}\" x2=\"{:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>\
         <text class=\"value\" x=\"{:.1}\" y=\"{:.1}\">{} ({} to {}) {word}; {}</text>",
        label(row, y),
        scale.at(low),
        scale.at(high),
        LABEL_WIDTH + BAR_WIDTH + 12.0,
        y + 4.0,
        told(middle, &row.cells[1]),
        told(low, &row.cells[0]),
        told(high, &row.cells[2]),
        escape(&row.rests),
    );
    shape(svg, &row.evidence, scale.at(middle), y);
}

fn label(row: &Difference, y: f64) -> String {
    let one = |label: &str, class: &str| {
        format!(
            "<text class=\"label{class}\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            LABEL_WIDTH - 10.0,
            y + 4.0,
            escape(&cut(label, LABEL_CHARS))
        )
    };
    match &row.label_metric {
        None => one(&row.label, ""),
        Some(metric) => one(&row.label, " us-only") + &one(metric, " metric-only"),
    }
}

/// From the least to the most, zero among them.
struct Scale {
    low: f64,
    high: f64,
}

impl Scale {
    fn around(rows: &[Difference]) -> Self {
        let ends = rows.iter().flat_map(|row| row.values).filter(|value| value.is_finite());
        let (low, high) = ends.fold((0.0_f64, 0.0_f64), |(low, high), value| (low.min(value), high.max(value)));
        let room = 0.05 * (high - low).max(f64::MIN_POSITIVE);
        Self { low: low - room, high: high + room }
    }

    fn at(&self, value: f64) -> f64 {
        LABEL_WIDTH + BAR_WIDTH * ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }

    /// Three that tell of the longest.
    fn digits(&self) -> usize {
        match self.high.max(-self.low) {
            most if most >= 100.0 => 0,
            most if most >= 10.0 => 1,
            _ => 2,
        }
    }

    /// Round steps of 1, 2 or 5 times a power of ten, about five over the whole; zero is one of them.
    fn ticks(&self) -> Vec<f64> {
        let rough = (self.high - self.low) / 5.0;
        let power = 10f64.powf(rough.log10().floor());
        let step =
            [1.0, 2.0, 5.0].into_iter().map(|f| f * power).find(|step| *step >= rough).unwrap_or(10.0 * power);
        let decimals = 10f64.powf((-step.log10().floor()).max(0.0));
        let (first, last) = ((self.low / step).ceil() as i64, (self.high / step).floor() as i64);
        (first..=last).map(|n| (n as f64 * step * decimals).round() / decimals).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(values: [f64; 3]) -> Difference {
        Difference {
            label: "<b>".to_owned(),
            label_metric: None,
            values,
            cells: ["t.0.low", "t.0.mid", "t.0.high"].map(str::to_owned),
            evidence: "inferred".to_owned(),
            rests: "20 days".to_owned(),
        }
    }

    fn differences(title: &str, rows: &[Difference]) -> String {
        let words = Words { zero: "average", unit: "kWh a day".to_owned(), open: "cannot be told" };
        super::differences(title, &words, rows)
    }

    #[test]
    fn zero_is_on_the_scale_and_marked_as_the_average() {
        let scale = Scale::around(&[row([3.4, 3.9, 4.5])]);
        assert_eq!(scale.ticks(), [0.0, 1.0, 2.0, 3.0, 4.0]);
        assert!(differences("d", &[row([3.4, 3.9, 4.5])]).contains(">average</text>"));
        let scale = Scale::around(&[row([-0.25, -0.2, -0.16]), row([0.21, 0.26, 0.3])]);
        assert_eq!(scale.ticks(), [-0.2, 0.0, 0.2]);
        assert!(scale.at(-0.2) < scale.at(0.0) && scale.at(0.0) < scale.at(0.26));
    }

    #[test]
    fn whisker_and_word_say_whether_a_difference_is_one() {
        let drawn = differences("d", &[row([-0.2, 0.2, 0.7]), row([0.5, 0.9, 1.4])]);
        assert!(
            drawn.contains("class=\"whisker untold\"") && drawn.contains("cannot be told; 20 days"),
            "{drawn}"
        );
        assert!(drawn.contains("<tspan data-of=\"t.0.mid\">0.90</tspan>") && drawn.contains("more; 20 days"));
        assert!(!drawn.contains("<b>"));
    }
}
