//! Thresholds that decide what is a place, a route, and what a map may show, for whoever lists them.

pub use crate::places::{NIGHT_NEAR_M, NIGHT_S, NIGHTS_LEAST, SHORTEST_S as VISIT_SHORTEST_S, VISITS_LEAST};
pub use crate::road_cells::{PASSES_LEAST, VEHICLES_LEAST};
pub use crate::routes::{ALIKE, CELLS_LEAST};
