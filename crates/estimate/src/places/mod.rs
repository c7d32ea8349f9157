//! Depots and regular stops: where vehicles stand again and again.
//!
//! First pass: the visits of one vehicle by spot, as counts that add up in any order. Second pass: [`Places::find`] turns
//! those of all vehicles into places.

mod clusters;
mod dwells;
mod found;
mod visits;

pub use clusters::VISITS_LEAST;
pub use dwells::Dwells;
pub(crate) use found::coarse;
pub use found::{KnownPlace, NIGHT_NEAR_M, NIGHTS_LEAST, Place, Places};
pub(crate) use visits::{Ends, Visit, visits};
pub use visits::{NIGHT_S, SHORTEST_S};

use h3o::{CellIndex, LatLng, Resolution};

/// Visits are counted by cells of 11 m edge: finer than a position is sure, so that a place is made of several.
const SPOT: Resolution = Resolution::Twelve;

/// Latitude and longitude in degrees.
pub(crate) type Position = (f64, f64);

pub(crate) fn point((lat_deg, lon_deg): Position) -> Option<LatLng> {
    LatLng::new(lat_deg, lon_deg).ok()
}

/// Metres between two positions; infinite where one is none.
pub(crate) fn metres(a: Position, b: Position) -> f64 {
    point(a).zip(point(b)).map_or(f64::INFINITY, |(a, b)| a.distance_m(b))
}

pub(crate) fn centre(cell: CellIndex) -> Position {
    let middle = LatLng::from(cell);
    (middle.lat(), middle.lng())
}
