//! What is written over the cells, each word where it covers no other.

use std::fmt::Write as _;

use super::frame::Frame;
use crate::chart::escape;
use crate::figure::cut;

const NAME_CHARS: usize = 24;
/// Of a letter of a name, about, and of a line. [points]
const LETTER: f64 = 9.0;
const LINE: f64 = 18.0;
const DISC: f64 = 10.5;
/// From a cell's centre to its name. [points]
const BESIDE: f64 = 12.0;

/// A word, and where it may stand: longitude and latitude in degrees, the best place first.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    pub at: Vec<(f64, f64)>,
    pub text: String,
}

/// Names of routes, and numbers of places.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Labels {
    pub names: Vec<Label>,
    pub numbers: Vec<Label>,
}

/// Left, top, right and bottom. [points]
type Area = [f64; 4];

impl Labels {
    /// Numbers in discs on their cells, then names beside theirs; what finds no room is left out.
    pub fn write(&self, svg: &mut String, frame: &Frame) {
        let mut taken: Vec<Area> = Vec::new();
        let mut discs = String::new();
        for label in &self.numbers {
            let place = place(label, frame, &taken, |x, y| vec![[x - DISC, y - DISC, x + DISC, y + DISC]]);
            let Some(area) = place else { continue };
            taken.push(area);
            let _ = write!(
                discs,
                "<circle class=\"number\" cx=\"{0:.1}\" cy=\"{1:.1}\" r=\"{DISC}\"/><text class=\"number\" x=\"{0:.1}\" y=\"{2:.1}\" \
                 text-anchor=\"middle\">{3}</text>",
                area[0] + DISC,
                area[1] + DISC,
                area[1] + DISC + 4.5,
                escape(&label.text)
            );
        }
        for label in &self.names {
            let text = cut(&label.text, NAME_CHARS);
            let length = LETTER * text.chars().count() as f64;
            // To the right of its cell, else to the left.
            let sides = |x: f64, y: f64| {
                let line = |left: f64| [left, y - LINE / 2.0, left + length, y + LINE / 2.0];
                vec![line(x + BESIDE), line(x - BESIDE - length)]
            };
            let Some(area) = place(label, frame, &taken, sides) else { continue };
            taken.push(area);
            let _ = write!(
                svg,
                "<text class=\"route\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
                f64::midpoint(area[0], area[2]),
                area[3] - 4.0,
                escape(&text)
            );
        }
        svg.push_str(&discs);
    }
}

/// The first area within the drawing that covers nothing taken.
fn place(label: &Label, frame: &Frame, taken: &[Area], areas: impl Fn(f64, f64) -> Vec<Area>) -> Option<Area> {
    let is_free = |area: &Area| {
        let inside = frame.holds((area[0], area[1])) && frame.holds((area[2], area[3]));
        let apart =
            |other: &Area| area[2] < other[0] || other[2] < area[0] || area[3] < other[1] || other[3] < area[1];
        inside && taken.iter().all(apart)
    };
    label.at.iter().map(|at| frame.at(*at)).flat_map(|(x, y)| areas(x, y)).find(is_free)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_cover_another_goes_elsewhere_or_is_left_out() {
        let corners = [(-38.92, 38.60), (-38.88, 38.62)].into_iter();
        let frame = Frame::around(corners, 1000.0).unwrap();
        let label = |text: &str, at: &[(f64, f64)]| Label { at: at.to_vec(), text: text.to_owned() };
        let labels = Labels {
            names: vec![label("one", &[(-38.9, 38.61)]), label("two", &[(-38.9, 38.6101), (-38.89, 38.605)])],
            numbers: vec![label("1", &[(-38.9, 38.61)]), label("2", &[(-38.9, 38.61)])],
        };
        let mut svg = String::new();
        labels.write(&mut svg, &frame);
        assert_eq!(svg.matches("<circle").count(), 1, "{svg}");
        assert_eq!(svg.matches("class=\"route\"").count(), 2, "{svg}");
        let lines: Vec<&str> = svg.split("y=\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
        assert_ne!(lines[0], lines[1], "{svg}");
    }
}
