//! The table `road_cells`.

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, tables};
use h3o::CellIndex;

use super::RoadCells;
use super::cell::Cell;
use crate::places::{Places, Position, centre};

/// Fewer passes than this, or fewer vehicles, and a map tells who drove. Common practice, no source.
pub const PASSES_LEAST: u64 = 10;
pub const VEHICLES_LEAST: u64 = 2;
/// A grade of evidence is the weakest that carries this share.
const GRADE_SHARE: f64 = 0.05;

struct Row<'a> {
    id: Option<String>,
    place: Option<Position>,
    near_night: Option<bool>,
    few: Option<bool>,
    cell: &'a Cell,
}

impl RoadCells {
    /// One row a cell in the order of their ids, and last what has no position.
    pub fn batch(&self, places: &Places) -> Result<RecordBatch, BatchError> {
        let with_place = self.cells.iter().filter(|(key, _)| key.is_some());
        let without = self.cells.iter().filter(|(key, _)| key.is_none());
        let rows: Vec<Row<'_>> = with_place.chain(without).map(|(key, cell)| row(*key, cell, places)).collect();
        let each = || rows.iter().map(|row| row.cell);
        let here = |row: &Row<'_>, count: u64| row.id.as_ref().map(|_| count);
        let share = |part: f64, whole: f64| (whole > 0.0).then(|| part / whole);
        let known = |cell: &Cell, metres: f64| (cell.height_known_m > 0.0).then_some(metres);
        let claimed =
            |at: usize| each().map(move |c| c.has_claim.then_some(c.recovered_kwh[at])).collect::<Vec<_>>();
        let by_evidence = |c: &Cell| c.braking_by_evidence_kwh.iter().sum::<f64>();
        let builder = BatchBuilder::new(&tables::ROAD_CELLS)
            .text("cell", rows.iter().map(|row| row.id.as_deref()))
            .number("lat_deg", rows.iter().map(|row| row.place.map(|at| at.0)))
            .number("lon_deg", rows.iter().map(|row| row.place.map(|at| at.1)))
            .count("passes", rows.iter().map(|row| here(row, row.cell.passes)))
            .count("vehicles", each().map(|c| c.vehicles))
            .count("stops", each().map(|c| c.stops))
            .number("distance_m", each().map(|c| c.distance_m))
            .number("moving_s", each().map(|c| c.moving_s))
            .number("climb_m", each().map(|c| known(c, c.climb_m)))
            .number("descent_m", each().map(|c| known(c, c.descent_m)))
            .number("distance_height_known_m", each().map(|c| c.height_known_m))
            .number("energy_braking_kwh", each().map(|c| c.braking_kwh))
            .number("braking_claimed_share_frac", each().map(|c| share(c.braking_claimed_kwh, c.braking_kwh)))
            .number("energy_recovered_p05_kwh", claimed(0))
            .number("energy_recovered_p50_kwh", claimed(1))
            .number("energy_recovered_p95_kwh", claimed(2))
            .number("braking_of_recovered_kwh", each().map(by_evidence))
            .text("evidence", each().map(|c| Some(evidence(c))))
            .number("measured_share_frac", each().map(|c| share(c.braking_measured_kwh, c.braking_kwh)))
            .flag("near_overnight_place", rows.iter().map(|row| row.near_night))
            .flag("few_passes", rows.iter().map(|row| row.few))
            .flag(
                "is_shareable",
                rows.iter().map(|row| row.near_night == Some(false) && row.few == Some(false)),
            )
            .number("grade_mean_abs_frac", each().map(|c| share(c.climb_m + c.descent_m, c.height_known_m)));
        let cascade = tables::CASCADE.into_iter().enumerate();
        cascade
            .fold(builder, |builder, (at, name)| builder.number(name, each().map(|c| c.cascade_kwh[at])))
            .finish()
    }
}

fn row<'a>(key: Option<u64>, cell: &'a Cell, places: &Places) -> Row<'a> {
    let index = key.and_then(|key| CellIndex::try_from(key).ok());
    let place = index.map(centre);
    Row {
        id: index.map(|cell| cell.to_string()),
        place,
        near_night: place.map(|at| places.is_near_night(at)),
        few: index.map(|_| cell.passes < PASSES_LEAST || cell.vehicles < VEHICLES_LEAST),
        cell,
    }
}

fn evidence(cell: &Cell) -> &'static str {
    if !cell.has_claim {
        return "none";
    }
    let [measured, inferred, modelled] = cell.braking_by_evidence_kwh;
    let least = GRADE_SHARE * (measured + inferred + modelled);
    match () {
        () if modelled > least => "modelled",
        () if inferred > least => "inferred",
        () if measured > 0.0 => "measured",
        () => "none",
    }
}
