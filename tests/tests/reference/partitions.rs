//! The suite's own measure of agreement, and the cells of the map, against libraries that are not ours.

use backwatt_testkit::{adjusted_rand_index, close, fixture};
use h3o::{CellIndex, LatLng, Resolution};

/// Rounding of sums of products of whole numbers.
const INDEX_ERROR: f64 = 1e-12;
/// Centres are printed to nine digits.
const CENTRE_ERROR_DEG: f64 = 1e-8;

/// Hubert, Arabie (1985), as scikit-learn's `adjusted_rand_score` has it: the examples of its documentation first.
#[test]
fn the_adjusted_rand_index() {
    let text = std::fs::read_to_string(fixture("reference/partitions.json")).expect("the fixture");
    let rows: Vec<serde_json::Value> = serde_json::from_str(&text).expect("JSON");
    let labels = |row: &serde_json::Value, name: &str| -> Vec<i64> {
        row[name].as_array().expect("labels").iter().map(|label| label.as_i64().expect("a label")).collect()
    };
    for row in &rows {
        let got = adjusted_rand_index(&labels(row, "one"), &labels(row, "other"));
        close(&row.to_string(), got, row["adjusted_rand_index"].as_f64().expect("a number"), INDEX_ERROR);
    }
    assert!(rows.len() >= 18);
}

/// The same cells, in the same spelling, and the same centres as the C library of the H3 standard.
#[test]
fn cells_of_the_map() {
    let text = std::fs::read_to_string(fixture("reference/grid_cells.csv")).expect("the fixture");
    let rows: Vec<Vec<&str>> = text.lines().skip(1).map(|line| line.split(',').collect()).collect();
    for row in &rows {
        let number = |at: usize| row[at].parse::<f64>().expect("a number");
        let resolution =
            Resolution::try_from(row[2].parse::<u8>().expect("a resolution")).expect("of the standard");
        let cell = LatLng::new(number(0), number(1)).expect("a place").to_cell(resolution);
        assert_eq!(format!("{:x}", u64::from(cell)), row[3]);
        assert_eq!(cell.to_string(), row[3]);
        assert_eq!(row[3].parse::<CellIndex>().ok(), Some(cell));
        let centre = LatLng::from(cell);
        close("latitude [deg]", centre.lat(), number(4), CENTRE_ERROR_DEG);
        close("longitude [deg]", centre.lng(), number(5), CENTRE_ERROR_DEG);
    }
    assert_eq!(rows.len(), 60);
}
