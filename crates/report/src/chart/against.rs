//! What was driven as a share of what was planned, with what still agrees shaded.

use std::fmt::Write as _;

use super::panel::shape;
use super::{escape, opening, ticks};

/// Shares of the planned value.
pub struct Against {
    pub label: String,
    pub value: f64,
    pub low: f64,
    pub high: f64,
    pub agrees_from: f64,
    pub agrees_to: f64,
    pub told: String,
    pub evidence: String,
}

const LABEL: f64 = 330.0;
const BAR: f64 = 280.0;
const VALUE: f64 = 230.0;
const ROW: f64 = 24.0;

pub fn against(title: &str, rows: &[Against]) -> String {
    let most = 1.05 * rows.iter().map(|row| row.high.max(row.agrees_to).max(row.value)).fold(1.0, f64::max);
    let bottom = ROW * rows.len() as f64;
    let x = |share: f64| LABEL + BAR * (share / most).clamp(0.0, 1.0);
    let mut svg = opening(title, LABEL + BAR + VALUE, bottom + 24.0);
    for tick in ticks(100.0 * most) {
        let class = if tick == 100.0 { "rule" } else { "grid" };
        let word = if tick == 100.0 { "plan".to_owned() } else { format!("{tick} %") };
        let _ = write!(
            svg,
            "<line class=\"{class}\" x1=\"{0:.1}\" x2=\"{0:.1}\" y1=\"0\" y2=\"{bottom:.1}\"/>\
             <text class=\"tick\" x=\"{0:.1}\" y=\"{1:.1}\" text-anchor=\"middle\">{word}</text>",
            x(tick / 100.0),
            bottom + 15.0,
        );
    }
    for (at, row) in rows.iter().enumerate() {
        let y = ROW * at as f64 + ROW / 2.0;
        let (from, to) = (x(row.agrees_from), x(row.agrees_to));
        let _ = write!(
            svg,
            "<rect class=\"agrees\" x=\"{from:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\"/>\
             <line class=\"whisker\" x1=\"{:.1}\" x2=\"{:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>",
            y - 8.0,
            to - from,
            16.0,
            x(row.low),
            x(row.high),
        );
        shape(&mut svg, &row.evidence, x(row.value), y);
        let _ = write!(
            svg,
            "<text class=\"label\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>\
             <text class=\"value\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            LABEL - 10.0,
            y + 4.0,
            escape(&row.label),
            LABEL + BAR + 12.0,
            y + 4.0,
            escape(&row.told)
        );
    }
    svg.push_str("</svg>");
    svg
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_plan_is_marked_and_what_still_agrees_is_around_it() {
        let row = Against {
            label: "<a>".to_owned(),
            value: 0.5,
            low: 0.4,
            high: 0.6,
            agrees_from: 0.9,
            agrees_to: 1.1,
            told: "differs".to_owned(),
            evidence: "measured".to_owned(),
        };
        let svg = against("t", &[row]);
        // The scale ends at 1.155: 330 + 280 × 0.5 / 1.155, and a fifth of the plan is 280 × 0.2 / 1.155 wide.
        assert!(svg.contains("cx=\"451.2\"") && svg.contains("width=\"48.5\""), "{svg}");
        assert!(svg.contains(">plan</text>") && svg.contains("&lt;a&gt;"));
    }
}
