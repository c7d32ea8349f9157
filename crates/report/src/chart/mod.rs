//! Charts as SVG text: no script, no font, no colour that carries meaning alone.

mod against;
mod panel;

use std::fmt::Write as _;

pub use against::{Against, against};
pub use panel::{Line, Mark, panel, shape};

/// One bar of the cascade: where it starts and how long it is, in shares of the whole.
pub struct Step {
    pub label: String,
    pub value: String,
    pub from: f64,
    pub length: f64,
    /// Drawn solid: what is left at the end. Others are hatched: what was taken on the way.
    pub kept: bool,
    /// Interval of the length.
    pub range: Option<[f64; 2]>,
}

const LABEL_WIDTH: f64 = 330.0;
const BAR_WIDTH: f64 = 360.0;
const VALUE_WIDTH: f64 = 150.0;
/// Of a cascade, with intervals.
const STEP_VALUE_WIDTH: f64 = 265.0;
const ROW: f64 = 26.0;
/// Of a chart that a phone can show.
const NARROW_WIDTH: f64 = 440.0;
const NARROW_ROW: f64 = 35.0;

/// Bars below each other, each starting where the one above ended.
pub fn cascade(title: &str, steps: &[Step]) -> String {
    let height = ROW * steps.len() as f64 + 8.0;
    let mut svg = opening(title, LABEL_WIDTH + BAR_WIDTH + STEP_VALUE_WIDTH, height);
    svg.push_str(TAKEN);
    for (at, step) in steps.iter().enumerate() {
        let y = ROW * at as f64 + 4.0;
        bar(&mut svg, step, (LABEL_WIDTH, BAR_WIDTH), (y, ROW - 9.0));
        let _ = write!(
            svg,
            "<text class=\"label\" x=\"{:.1}\" y=\"{2:.1}\" text-anchor=\"end\">{3}</text>\
             <text class=\"value\" x=\"{:.1}\" y=\"{2:.1}\">{4}</text>",
            LABEL_WIDTH - 10.0,
            LABEL_WIDTH + BAR_WIDTH + 10.0,
            y + 13.0,
            escape(&step.label),
            escape(&step.value),
        );
    }
    svg.push_str("</svg>");
    svg
}

/// The same with the words above the bars.
pub fn narrow_cascade(title: &str, steps: &[Step]) -> String {
    let mut svg = opening(title, NARROW_WIDTH, NARROW_ROW * steps.len() as f64 + 4.0);
    svg.push_str(TAKEN);
    for (at, step) in steps.iter().enumerate() {
        let y = NARROW_ROW * at as f64;
        bar(&mut svg, step, (0.0, NARROW_WIDTH), (y + 18.0, 11.0));
        let _ = write!(
            svg,
            "<text class=\"label\" x=\"0\" y=\"{0:.1}\">{1}</text>\
             <text class=\"value\" x=\"{NARROW_WIDTH:.1}\" y=\"{0:.1}\" text-anchor=\"end\">{2}</text>",
            y + 13.0,
            escape(&step.label),
            escape(&step.value),
        );
    }
    svg.push_str("</svg>");
    svg
}

const TAKEN: &str = "<defs><pattern id=\"taken\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" \
    patternTransform=\"rotate(45)\"><rect class=\"taken-ground\" width=\"6\" height=\"6\"/>\
    <line class=\"taken-line\" x1=\"0\" y1=\"0\" x2=\"0\" y2=\"6\"/></pattern></defs>";

fn bar(svg: &mut String, step: &Step, (left, width): (f64, f64), (y, height): (f64, f64)) {
    let x = left + width * step.from.clamp(0.0, 1.0);
    let length = (width * step.length.clamp(0.0, 1.0)).max(1.0);
    let fill = if step.kept { "class=\"kept\"" } else { "fill=\"url(#taken)\" class=\"taken\"" };
    let _ =
        write!(svg, "<rect {fill} x=\"{x:.1}\" y=\"{y:.1}\" width=\"{length:.1}\" height=\"{height:.1}\"/>");
    // A step grows to the left, from where the one above ended; what is kept grows from nothing.
    let Some(range) = step.range else { return };
    let ends = if step.kept { range } else { range.map(|end| step.from + step.length - end) };
    let [x1, x2] = ends.map(|end| left + width * end.clamp(0.0, 1.0));
    for class in ["halo", "reach"] {
        let _ = write!(
            svg,
            "<line class=\"{class}\" x1=\"{x1:.1}\" x2=\"{x2:.1}\" y1=\"{0:.1}\" y2=\"{0:.1}\"/>",
            y + height / 2.0
        );
    }
}

/// A value with its interval.
pub struct Dot {
    pub label: String,
    pub value: f64,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub shown: String,
    pub evidence: String,
}

/// Dots with whiskers on one scale that starts at zero.
pub fn dots(title: &str, unit: &str, dots: &[Dot]) -> String {
    let most = dots.iter().map(|d| d.high.unwrap_or(d.value).max(d.value)).fold(0.0, f64::max);
    let most = if most > 0.0 { most * 1.05 } else { 1.0 };
    let height = ROW * dots.len() as f64 + 30.0;
    let width = LABEL_WIDTH + BAR_WIDTH + VALUE_WIDTH;
    let x = |value: f64| LABEL_WIDTH + BAR_WIDTH * (value / most).clamp(0.0, 1.0);
    let mut svg = opening(title, width, height);
    for tick in ticks(most) {
        let _ = write!(
            svg,
            "<line class=\"grid\" x1=\"{0:.1}\" x2=\"{0:.1}\" y1=\"0\" y2=\"{1:.1}\"/>\
             <text class=\"tick\" x=\"{0:.1}\" y=\"{2:.1}\" text-anchor=\"middle\">{tick}</text>",
            x(tick),
            height - 26.0,
            height - 12.0,
        );
    }
    let _ = write!(
        svg,
        "<text class=\"tick\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
        LABEL_WIDTH - 10.0,
        height - 12.0,
        escape(unit)
    );
    for (at, dot) in dots.iter().enumerate() {
        let y = ROW * at as f64 + ROW / 2.0;
        if let (Some(low), Some(high)) = (dot.low, dot.high) {
            let _ = write!(
                svg,
                "<line class=\"whisker\" x1=\"{:.1}\" x2=\"{:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>",
                x(low),
                x(high)
            );
        }
        let _ = write!(
            svg,
            "<text class=\"label\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>\
             <text class=\"value\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            LABEL_WIDTH - 10.0,
            y + 4.0,
            escape(&dot.label),
            LABEL_WIDTH + BAR_WIDTH + 10.0,
            y + 4.0,
            escape(&dot.shown),
        );
        panel::shape(&mut svg, &dot.evidence, x(dot.value), y);
    }
    svg.push_str("</svg>");
    svg
}

pub fn opening(title: &str, width: f64, height: f64) -> String {
    format!(
        "<svg viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" aria-label=\"{}\"><title>{}</title>",
        escape(title),
        escape(title)
    )
}

/// Round steps: 1, 2 or 5 times a power of ten, four to eight of them.
fn ticks(most: f64) -> Vec<f64> {
    let rough = most / 5.0;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|f| f * power).find(|s| *s >= rough).unwrap_or(power);
    let digits = (-step.log10().floor()).max(0.0) as i32;
    let round = |v: f64| (v * 10f64.powi(digits)).round() / 10f64.powi(digits);
    (0..12).map(|i| round(f64::from(i) * step)).take_while(|v| *v <= most).collect()
}

/// A text inside markup; characters that are no text at all are left out.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Direction marks could turn the words around them.
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => out.push('\u{fffd}'),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

/// A text for a template that escapes by itself: without what could turn the words around it.
pub fn clean(text: &str) -> String {
    let kept = |c: char| match c {
        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => Some('\u{fffd}'),
        c => (!c.is_control()).then_some(c),
    };
    text.chars().filter_map(kept).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_text() {
        assert_eq!(escape("<script>\"'&\u{202e}"), "&lt;script&gt;&quot;&#39;&amp;\u{fffd}");
    }

    #[test]
    fn ticks_are_round() {
        assert_eq!(ticks(1.3), [0.0, 0.5, 1.0]);
        assert_eq!(ticks(0.9), [0.0, 0.2, 0.4, 0.6, 0.8]);
    }
}
