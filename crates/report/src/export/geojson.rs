//! Tables with positions as GeoJSON (RFC 7946): WGS 84, longitude first, outer rings counterclockwise, as H3 has them.

use std::io::Write;
use std::str::FromStr as _;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchView, Table, number_at, text_at};
use geojson::{Feature, FeatureWriter, Geometry, JsonObject};
use h3o::CellIndex;

use super::value;

/// Tables that have a shape: hexagons for a cell, a point for a place.
pub const SHAPED: [&str; 2] = ["road_cells", "places"];

/// Writes every row that has a position as a feature, its columns as properties.
pub fn geojson(out: &mut dyn Write, table: &'static Table, batch: &RecordBatch) -> std::io::Result<()> {
    let mut writer = FeatureWriter::from_writer(out);
    let view = BatchView::new(table, batch);
    let fault = |error: geojson::Error| std::io::Error::other(error);
    for row in 0..view.rows() {
        let Some(geometry) = geometry(&view, row) else { continue };
        let pairs = table.columns.iter().zip(batch.columns());
        let properties: JsonObject = pairs
            .map(|(column, array)| (column.name.to_owned(), value(array.as_ref(), column.kind, row)))
            .collect();
        let feature = Feature {
            bbox: None,
            geometry: Some(geometry),
            id: None,
            properties: Some(properties),
            foreign_members: None,
        };
        writer.write_feature(&feature).map_err(fault)?;
    }
    writer.finish().map_err(fault)
}

fn geometry(view: &BatchView<'_>, row: usize) -> Option<Geometry> {
    if let Ok(cells) = view.texts("cell") {
        let cell = CellIndex::from_str(text_at(cells, row)?).ok()?;
        let mut ring: Vec<[f64; 2]> = cell.boundary().iter().map(|at| [at.lng(), at.lat()]).collect();
        ring.push(*ring.first()?);
        return Some(Geometry::new_polygon([ring]));
    }
    let at = |name: &str| number_at(view.numbers(name).ok()?, row);
    Some(Geometry::new_point([at("lon_deg")?, at("lat_deg")?]))
}
