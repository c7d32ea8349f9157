//! The road cells as a map: hexagons as SVG, no tiles, no network.

use std::fmt::Write as _;
use std::str::FromStr as _;

use arrow::array::RecordBatch;
use backwatt_schema::tables;
use h3o::CellIndex;

use super::rows::{Read, Row, rows};
use crate::chart::escape;

const WIDTH: f64 = 840.0;
const TALLEST: f64 = 700.0;
const MARGIN: f64 = 12.0;
/// Room below the map for legend and scale.
const FOOT: f64 = 62.0;
/// Metres in a degree of latitude, of the sphere of 6,371,008.8 m that H3 is drawn on.
const M_PER_DEGREE: f64 = 6_371_008.8 * std::f64::consts::PI / 180.0;
/// From edge to edge of a cell.
const CELL_M: f64 = 130.0;
/// Cells drawn at most: those with most braking energy.
const CELLS: usize = 4000;
/// A part is drawn by itself where it is this much narrower or lower than the whole.
const PART: f64 = 0.6;
/// Share of the braking energy that is cut off on each side.
const EDGE: f64 = 0.1;
const CLASSES: usize = 5;
const OWN_STYLE: &str = "<style>text{font:13px sans-serif;fill:#1d2529}.rule{stroke:#1d2529}.q0{fill:#d3e6e8}.q1{fill:#a3cbd0}.q2{fill:#6aabb3}\
    .q3{fill:#34848d}.q4{fill:#0e4f57}.cell{stroke:#fff;stroke-width:.3}.small{stroke:none}</style>";

/// One hexagon and what it shows.
struct Hexagon {
    corners: Vec<(f64, f64)>,
    wh_per_pass: f64,
    energy_braking_kwh: f64,
    passes: u64,
    is_shareable: bool,
}

/// A map that may leave the pilot: cells near where vehicles stay overnight and cells with few passes are left out.
pub fn to_share(batch: &RecordBatch, metric: bool) -> Read<String> {
    let rows = rows(&tables::ROAD_CELLS, batch, metric);
    let mut shareable = Vec::new();
    for row in rows {
        if row.flag("is_shareable")? {
            shareable.push(row);
        }
    }
    let svg = map(&shareable)?;
    if svg.is_empty() {
        return Ok("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 840 40\"><text x=\"12\" y=\"25\" \
                   font-family=\"sans-serif\" font-size=\"13\">No cell of this pilot may be shared.</text></svg>"
            .to_owned());
    }
    // On its own it has no page to take its colours from.
    let other = if metric { "us-only" } else { "metric-only" };
    let own = format!("<style>.{other}{{display:none}}</style>{OWN_STYLE}");
    let opened = svg.replacen("<svg ", "<svg xmlns=\"http://www.w3.org/2000/svg\" ", 1);
    Ok(opened.replacen("</title>", &format!("</title>{own}"), 1))
}
/// Empty where no cell has a position.
pub fn map(rows: &[Row<'_>]) -> Read<String> {
    let mut hexagons = Vec::new();
    for row in rows {
        hexagons.extend(hexagon(row)?);
    }
    // The dearest first, and of equals in the order of the table.
    hexagons.sort_by(|a, b| b.energy_braking_kwh.total_cmp(&a.energy_braking_kwh));
    hexagons.truncate(CELLS);
    let Some(frame) = Frame::around(&hexagons) else { return Ok(String::new()) };
    let bounds = bounds(&hexagons);
    let title = "Braking energy at the wheels for each pass, by road cell";
    let mut svg = format!(
        "<svg class=\"map\" viewBox=\"0 0 {WIDTH:.0} {:.0}\" role=\"img\" aria-label=\"{1}\"><title>{1}</title>",
        frame.height + FOOT,
        escape(title)
    );
    for hexagon in &hexagons {
        draw(&mut svg, hexagon, &frame, &bounds);
    }
    legend(&mut svg, &bounds, frame.height + 20.0);
    for metric in [false, true] {
        scale_bar(&mut svg, &frame, metric);
    }
    svg.push_str("</svg>");
    Ok(svg)
}

/// Cells without the outermost tenths of the braking energy in each direction; none where that is no part much smaller
/// than the whole.
pub fn busiest<'a>(rows: &[Row<'a>]) -> Read<Vec<Row<'a>>> {
    let mut placed = Vec::new();
    for row in rows {
        let at = row.number("lon_deg")?.zip(row.number("lat_deg")?);
        placed.extend(at.map(|(lon, lat)| (lon, lat, *row)));
    }
    let mut weighed = Vec::new();
    for (lon, lat, row) in &placed {
        weighed.push((*lon, *lat, row.number("energy_braking_kwh")?.unwrap_or(0.0)));
    }
    let (wide, tall) =
        (middle(weighed.iter().map(|at| (at.0, at.2))), middle(weighed.iter().map(|at| (at.1, at.2))));
    let whole = |of: fn(&(f64, f64, f64)) -> f64| {
        let (low, high) = weighed.iter().map(of).fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        high - low
    };
    let (of_width, of_height) = ((wide.1 - wide.0) / whole(|at| at.0), (tall.1 - tall.0) / whole(|at| at.1));
    if !(of_width < PART || of_height < PART) {
        return Ok(Vec::new());
    }
    let within = |(low, high): (f64, f64), value: f64| low <= value && value <= high;
    placed.retain(|(lon, lat, _)| within(wide, *lon) && within(tall, *lat));
    Ok(placed.into_iter().map(|(_, _, row)| row).collect())
}

/// Ends between which the weight lies, but for an edge on either side.
fn middle(values: impl Iterator<Item = (f64, f64)>) -> (f64, f64) {
    let mut values: Vec<(f64, f64)> = values.collect();
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = values.iter().map(|value| value.1).sum();
    let mut below = 0.0;
    let mut ends = (f64::NAN, f64::NAN);
    for (value, weight) in values {
        if below <= EDGE * total {
            ends.0 = value;
        }
        if below <= (1.0 - EDGE) * total {
            ends.1 = value;
        }
        below += weight;
    }
    ends
}

fn hexagon(row: &Row<'_>) -> Read<Option<Hexagon>> {
    let (Ok(cell), Some(passes)) = (CellIndex::from_str(row.text("cell")?), row.count("passes")?) else {
        return Ok(None);
    };
    let energy = row.number("energy_braking_kwh")?.unwrap_or(0.0);
    Ok((passes > 0).then(|| Hexagon {
        corners: cell.boundary().iter().map(|corner| (corner.lng(), corner.lat())).collect(),
        wh_per_pass: 1000.0 * energy / passes as f64,
        energy_braking_kwh: energy,
        passes,
        is_shareable: row.flag("is_shareable").unwrap_or(false),
    }))
}

/// Degrees to points of the drawing, north up; distances hold to the cosine of the middle latitude.
struct Frame {
    west_deg: f64,
    north_deg: f64,
    points_per_m: f64,
    shrink: f64,
    height: f64,
}

impl Frame {
    fn around(hexagons: &[Hexagon]) -> Option<Self> {
        let mut corners = hexagons.iter().flat_map(|hexagon| &hexagon.corners);
        let first = *corners.next()?;
        let (mut low, mut high) = (first, first);
        for (x, y) in corners {
            low = (low.0.min(*x), low.1.min(*y));
            high = (high.0.max(*x), high.1.max(*y));
        }
        // Across the antimeridian a flat map says nothing.
        if high.0 - low.0 > 180.0 {
            return None;
        }
        let shrink = f64::midpoint(low.1, high.1).to_radians().cos();
        let wide_m = ((high.0 - low.0) * shrink * M_PER_DEGREE).max(1.0);
        let tall_m = ((high.1 - low.1) * M_PER_DEGREE).max(1.0);
        let points_per_m = ((WIDTH - 2.0 * MARGIN) / wide_m).min((TALLEST - 2.0 * MARGIN) / tall_m);
        Some(Self {
            west_deg: low.0,
            north_deg: high.1,
            points_per_m,
            shrink,
            height: tall_m * points_per_m + 2.0 * MARGIN,
        })
    }

    fn at(&self, (lon, lat): (f64, f64)) -> (f64, f64) {
        let m = self.points_per_m * M_PER_DEGREE;
        (MARGIN + (lon - self.west_deg) * self.shrink * m, MARGIN + (self.north_deg - lat) * m)
    }
}

/// Upper bounds of all classes but the last: as many cells in each, rounded to two digits for the legend.
fn bounds(hexagons: &[Hexagon]) -> Vec<f64> {
    let mut values: Vec<f64> = hexagons.iter().map(|hexagon| hexagon.wh_per_pass).collect();
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

fn draw(svg: &mut String, hexagon: &Hexagon, frame: &Frame, bounds: &[f64]) {
    let class = bounds.iter().filter(|bound| hexagon.wh_per_pass >= **bound).count();
    let points: Vec<String> = hexagon
        .corners
        .iter()
        .map(|corner| {
            let (x, y) = frame.at(*corner);
            format!("{x:.1},{y:.1}")
        })
        .collect();
    // An edge would hide what is small.
    let edge = if frame.points_per_m * CELL_M < 6.0 { " small" } else { "" };
    let own = if hexagon.is_shareable { "" } else { " own" };
    let _ = write!(
        svg,
        "<polygon class=\"cell q{class}{own}{edge}\" points=\"{}\"><title>{:.1} Wh a pass, {} passes</title></polygon>",
        points.join(" "),
        hexagon.wh_per_pass,
        hexagon.passes
    );
}

fn legend(svg: &mut String, bounds: &[f64], y: f64) {
    let _ = write!(svg, "<text x=\"{MARGIN}\" y=\"{y:.0}\">Wh braked at the wheels, each pass</text>");
    for class in 0..=bounds.len() {
        let label = match (class.checked_sub(1).and_then(|i| bounds.get(i)), bounds.get(class)) {
            (None, Some(high)) => format!("under {}", plain(*high)),
            (Some(low), Some(high)) => format!("{} to {}", plain(*low), plain(*high)),
            (Some(low), None) => format!("{} and more", plain(*low)),
            (None, None) => "all".to_owned(),
        };
        let x = MARGIN + 108.0 * class as f64;
        let _ = write!(
            svg,
            "<rect class=\"cell q{class}\" x=\"{x:.0}\" y=\"{:.0}\" width=\"18\" height=\"14\"/><text x=\"{:.0}\" y=\"{:.0}\">{label}</text>",
            y + 10.0,
            x + 23.0,
            y + 22.0
        );
    }
}

fn plain(value: f64) -> String {
    let digits = if value >= 10.0 { 0 } else { (1.0 - value.log10().floor()).max(1.0) as usize };
    format!("{value:.digits$}")
}

/// A bar of a round length, about a sixth of the width.
fn scale_bar(svg: &mut String, frame: &Frame, metric: bool) {
    let unit_m = if metric { 1000.0 } else { 1609.344 };
    let wanted = WIDTH / 6.0 / frame.points_per_m / unit_m;
    let power = 10f64.powf(wanted.log10().floor());
    let length = [5.0, 2.0, 1.0].into_iter().map(|f| f * power).find(|l| *l <= wanted).unwrap_or(power);
    let points = length * unit_m * frame.points_per_m;
    let (right, y) = (WIDTH - MARGIN, frame.height + 30.0);
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
        y - 8.0,
        if metric { "metric-only" } else { "us-only" }
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_far_and_quiet_end_is_cut_off() {
        let (low, high) = middle([(1.0, 10.0), (2.0, 40.0), (3.0, 45.0), (99.0, 5.0)].into_iter());
        assert_eq!((low, high), (2.0, 3.0));
    }

    #[test]
    fn bounds_are_round() {
        assert_eq!(two_digits(0.0), 0.0);
        assert!((two_digits(123.4) - 120.0).abs() < 1e-9);
        assert!((two_digits(0.01234) - 0.012).abs() < 1e-12);
        assert_eq!(plain(120.0), "120");
        assert_eq!(plain(1.2), "1.2");
    }
}
