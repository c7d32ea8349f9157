//! The road cells as a map: hexagons as SVG, no tiles, no network.

mod frame;
mod labels;
mod legend;

use std::fmt::Write as _;
use std::str::FromStr as _;

use arrow::array::RecordBatch;
use backwatt_schema::tables;
use h3o::CellIndex;

use super::rows::{Read, Row};
use super::{lost, rows};
use crate::chart::escape;

use frame::{Frame, HALF_WIDTH, WIDTH};
use legend::{bounds, legend, scale_bar};

pub use frame::around;
pub use labels::{Label, Labels};

/// Room below the map for legend and scale.
const FOOT: f64 = 66.0;
/// From edge to edge of a cell.
const CELL_M: f64 = 130.0;
/// A share of less braking energy than this is noise. Ours, no source.
const SHARE_KWH: f64 = 0.2;
/// Cells drawn at most: those with most braking energy.
const CELLS: usize = 4000;
const OWN_STYLE: &str = "<style>text{font:16px sans-serif;fill:#1d2529}.rule{stroke:#1d2529}.q0{fill:#d3e6e8}.q1{fill:#a3cbd0}.q2{fill:#6aabb3}\
    .q3{fill:#34848d}.q4{fill:#0e4f57}.cell{stroke:#fff;stroke-width:.3}.small{stroke:none}</style>";

/// How much room a map takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    Whole,
    /// One of two side by side.
    Half,
}

/// What a map shows, of all passes together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shows {
    /// Braking energy at the wheels.
    Braked,
    /// Of it, what did not come back to the battery.
    Lost,
    /// Of it, what did.
    Won,
    /// What did not, in percent of it.
    ShareLost,
}

/// One hexagon and what it shows.
struct Hexagon {
    corners: Vec<(f64, f64)>,
    shown: f64,
    energy_braking_kwh: f64,
    passes: u64,
    is_shareable: bool,
}

/// A map that may leave the pilot: cells near where vehicles stay overnight and cells with few passes are left out.
pub fn to_share(batch: &RecordBatch, metric: bool) -> Read<String> {
    let mut shareable = Vec::new();
    for row in rows::rows(&tables::ROAD_CELLS, batch, metric) {
        if row.flag("is_shareable")? {
            shareable.push(row);
        }
    }
    let svg = map(&shareable, Shows::Braked, &Labels::default(), Size::Whole)?;
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

/// Empty where no cell has a position, or none has what is shown.
pub fn map(rows: &[Row<'_>], shows: Shows, labels: &Labels, size: Size) -> Read<String> {
    let mut hexagons = Vec::new();
    for row in rows {
        hexagons.extend(hexagon(row, shows)?);
    }
    // The dearest first, and of equals in the order of the table.
    hexagons.sort_by(|a, b| b.energy_braking_kwh.total_cmp(&a.energy_braking_kwh));
    hexagons.truncate(CELLS);
    let corners = hexagons.iter().flat_map(|hexagon| hexagon.corners.iter().copied());
    let (width, class) = match size {
        Size::Whole => (WIDTH, "map"),
        Size::Half => (HALF_WIDTH, "map half"),
    };
    let Some(frame) = Frame::around(corners, width) else { return Ok(String::new()) };
    let bounds = bounds(hexagons.iter().map(|hexagon| hexagon.shown).collect());
    let (title, what) = match shows {
        Shows::Braked => ("Braking energy at the wheels, by road cell", "kWh braked"),
        Shows::Lost => ("Braking energy that did not come back, by road cell", "kWh lost"),
        Shows::Won => ("Braking energy that came back, by road cell", "kWh won"),
        Shows::ShareLost => {
            ("Share of the braking energy that did not come back, by road cell", "% lost of what was braked")
        }
    };
    let mut svg = format!(
        "<svg class=\"{class}\" viewBox=\"0 0 {width:.0} {:.0}\" role=\"img\" aria-label=\"{1}\"><title>{1}</title>",
        frame.height + FOOT,
        escape(title)
    );
    for hexagon in &hexagons {
        draw(&mut svg, hexagon, &frame, &bounds, shows);
    }
    labels.write(&mut svg, &frame);
    legend(&mut svg, what, &bounds, &frame);
    for metric in [false, true] {
        scale_bar(&mut svg, &frame, metric);
    }
    svg.push_str("</svg>");
    Ok(svg)
}

fn hexagon(row: &Row<'_>, shows: Shows) -> Read<Option<Hexagon>> {
    let (Ok(cell), Some(passes)) = (CellIndex::from_str(row.text("cell")?), row.count("passes")?) else {
        return Ok(None);
    };
    let braked = row.number("energy_braking_kwh")?.unwrap_or(0.0);
    let shown = match shows {
        Shows::Braked => Some(braked),
        // Where more came back than was braked, within the errors of both, nothing was lost.
        Shows::Lost => lost::kwh(row)?.map(|kwh| kwh.max(0.0)),
        Shows::Won => lost::kwh(row)?.map(|kwh| (braked - kwh).max(0.0)),
        Shows::ShareLost => {
            lost::kwh(row)?.filter(|_| braked >= SHARE_KWH).map(|kwh| (100.0 * kwh / braked).clamp(0.0, 100.0))
        }
    };
    let Some(shown) = shown.filter(|_| passes > 0) else { return Ok(None) };
    Ok(Some(Hexagon {
        corners: cell.boundary().iter().map(|corner| (corner.lng(), corner.lat())).collect(),
        shown,
        energy_braking_kwh: braked,
        passes,
        is_shareable: row.flag("is_shareable").unwrap_or(false),
    }))
}

fn draw(svg: &mut String, hexagon: &Hexagon, frame: &Frame, bounds: &[f64], shows: Shows) {
    let class = bounds.iter().filter(|bound| hexagon.shown >= **bound).count();
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
    let told = match shows {
        Shows::ShareLost => {
            format!("{:.0} % of {} kWh braked", hexagon.shown, legend::plain(hexagon.energy_braking_kwh))
        }
        _ => format!(
            "{} kWh in {} passes, {:.1} Wh a pass",
            legend::plain(hexagon.shown),
            hexagon.passes,
            1000.0 * hexagon.shown / hexagon.passes as f64
        ),
    };
    let _ = write!(
        svg,
        "<polygon class=\"cell q{class}{own}{edge}\" points=\"{}\"><title>{told}</title></polygon>",
        points.join(" "),
    );
}
