//! Groups below each other with a figure each, narrow enough for a phone.

use std::fmt::Write as _;

use super::{escape, opening, ticks};

/// A figure with its 90 % interval.
pub struct Mark {
    pub value: f64,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub shown: String,
    /// The cell of a table it stands in, and what was multiplied into it.
    pub cell: String,
    pub scale: f64,
    pub hover: String,
    pub evidence: String,
}

pub enum Line {
    Heading(String),
    Group { label: String, mark: Option<Mark> },
}

const LABEL: f64 = 112.0;
const PLOT: f64 = 134.0;
const VALUE: f64 = 44.0;
const ROW: f64 = 19.0;
const HEAD: f64 = 22.0;
const FOOT: f64 = 44.0;

/// `head` names the figure and its unit.
pub fn panel(title: &str, head: &str, lines: &[Line]) -> String {
    let bottom = HEAD + ROW * lines.len() as f64;
    let mut svg = opening(title, LABEL + PLOT + VALUE, bottom + FOOT);
    let most = most(lines);
    let x = |value: f64| LABEL + PLOT * (value / most).clamp(0.0, 1.0);
    let _ = write!(svg, "<text class=\"head\" x=\"{LABEL:.1}\" y=\"13\">{}</text>", escape(head));
    for tick in ticks(most) {
        let _ = write!(
            svg,
            "<line class=\"grid\" x1=\"{0:.1}\" x2=\"{0:.1}\" y1=\"{HEAD:.1}\" y2=\"{bottom:.1}\"/>\
             <text class=\"tick\" x=\"{0:.1}\" y=\"{1:.1}\" text-anchor=\"middle\">{tick}</text>",
            x(tick),
            bottom + 13.0,
        );
    }
    for (row, line) in lines.iter().enumerate() {
        let y = HEAD + ROW * (row as f64 + 0.5);
        let (class, label, indent) = match line {
            Line::Heading(label) => ("head", label, 0.0),
            Line::Group { label, .. } => ("label", label, 10.0),
        };
        let _ = write!(
            svg,
            "<text class=\"{class}\" x=\"{indent:.1}\" y=\"{:.1}\">{}</text>",
            y + 4.0,
            escape(label)
        );
        match line {
            Line::Heading(_) => {}
            Line::Group { mark: Some(mark), .. } => draw(&mut svg, mark, x, y),
            Line::Group { mark: None, .. } => {
                let (x, y) = (LABEL + PLOT + 8.0, y + 4.0);
                let _ = write!(svg, "<text class=\"tick\" x=\"{x:.1}\" y=\"{y:.1}\">–</text>");
            }
        }
    }
    key(&mut svg, bottom + 34.0);
    svg.push_str("</svg>");
    svg
}

/// End of the scale.
fn most(lines: &[Line]) -> f64 {
    let ends = lines.iter().filter_map(|line| match line {
        Line::Group { mark: Some(mark), .. } => Some(mark.high.unwrap_or(mark.value).max(mark.value)),
        _ => None,
    });
    let most = ends.fold(0.0, f64::max);
    if most > 0.0 { most * 1.05 } else { 1.0 }
}

fn draw(svg: &mut String, mark: &Mark, x: impl Fn(f64) -> f64, y: f64) {
    let text_x = LABEL + PLOT + 8.0;
    let _ = write!(svg, "<g><title>{}</title>", escape(&mark.hover));
    if let (Some(low), Some(high)) = (mark.low, mark.high) {
        let (low, high) = (x(low), x(high));
        let _ = write!(
            svg,
            "<line class=\"whisker\" x1=\"{low:.1}\" x2=\"{high:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>"
        );
    }
    shape(svg, &mark.evidence, x(mark.value), y);
    let _ = write!(
        svg,
        "<text class=\"value\" x=\"{text_x:.1}\" y=\"{:.1}\" data-of=\"{}\" data-scale=\"{}\">{}</text></g>",
        y + 4.0,
        escape(&mark.cell),
        mark.scale,
        escape(&mark.shown)
    );
}

/// Evidence as a shape: a full dot is measured, a ring inferred, anything weaker a square.
pub fn shape(svg: &mut String, evidence: &str, x: f64, y: f64) {
    let _ = match evidence {
        "measured" => write!(svg, "<circle class=\"dot\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\"/>"),
        "inferred" => write!(svg, "<circle class=\"ring\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.6\"/>"),
        _ => write!(
            svg,
            "<rect class=\"ring\" x=\"{:.1}\" y=\"{:.1}\" width=\"6.6\" height=\"6.6\"/>",
            x - 3.3,
            y - 3.3
        ),
    };
}

fn key(svg: &mut String, y: f64) {
    let mut x = 8.0;
    for evidence in ["measured", "inferred", "modelled"] {
        shape(svg, evidence, x, y);
        let _ = write!(svg, "<text class=\"tick\" x=\"{:.1}\" y=\"{:.1}\">{evidence}</text>", x + 9.0, y + 4.0);
        x += 84.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(value: f64, evidence: &str) -> Option<Mark> {
        Some(Mark {
            value,
            low: Some(value / 2.0),
            high: Some(value * 2.0),
            shown: "<1>".to_owned(),
            cell: "recovery.0.x".to_owned(),
            scale: 1.0,
            hover: "\"n\"".to_owned(),
            evidence: evidence.to_owned(),
        })
    }

    #[test]
    fn each_grade_has_its_shape() {
        let lines = [
            Line::Heading("By truck".to_owned()),
            Line::Group { label: "A".to_owned(), mark: mark(1.0, "measured") },
            Line::Group { label: "B".to_owned(), mark: mark(0.5, "inferred") },
            Line::Group { label: "C".to_owned(), mark: mark(0.7, "modelled") },
            Line::Group { label: "D".to_owned(), mark: None },
        ];
        assert!((most(&lines) - 2.1).abs() < 1e-12);
        let svg = panel("title", "a", &lines);
        // Along a scale that ends at 2.1: 112 + 134 / 2.1.
        assert!(svg.contains("class=\"dot\" cx=\"175.8\""), "{svg}");
        // One of each in the plot, and one of each in the key.
        let count = |text: &str| svg.matches(text).count();
        assert_eq!(
            [count("circle class=\"dot\""), count("circle class=\"ring\""), count("rect class=\"ring\"")],
            [2, 2, 2]
        );
        assert!(svg.contains("&lt;1&gt;") && svg.contains("&quot;n&quot;"));
    }
}
