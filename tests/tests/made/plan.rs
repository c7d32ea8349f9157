//! The plan's tables of the made-up pilot.

use arrow::array::RecordBatch;
use backwatt::tables;
use backwatt_estimate::plan::plan_sentences;
use backwatt_schema::{BatchView, Table, number_at, text_at};
use backwatt_store::{Layout, read_table};

use crate::truth::{SMALL, rows};

fn table(table: &'static Table) -> RecordBatch {
    let path = Layout::new(&SMALL.out).table(table);
    read_table(&path, table).unwrap_or_else(|e| panic!("{}: {e}", table.name))
}

fn numbers(of: &'static Table, batch: &RecordBatch, name: &str) -> Vec<Option<f64>> {
    let array = BatchView::new(of, batch).numbers(name).unwrap();
    (0..batch.num_rows()).map(|row| number_at(array, row)).collect()
}

fn texts<'b>(of: &'static Table, batch: &'b RecordBatch, name: &str) -> Vec<Option<&'b str>> {
    let array = BatchView::new(of, batch).texts(name).unwrap();
    (0..batch.num_rows()).map(|row| text_at(array, row)).collect()
}

/// Parts of a gap add up to the whole, whatever was split.
#[test]
fn parts_of_a_gap_add_up() {
    let gaps = table(&tables::PLAN_GAP);
    let gap = numbers(&tables::PLAN_GAP, &gaps, "gap_p50_kwh_mi");
    let part = texts(&tables::PLAN_GAP, &gaps, "part");
    let wholes: Vec<usize> = (0..gap.len()).filter(|row| part[*row] == Some("whole")).collect();
    assert!(!wholes.is_empty(), "the plan of the made-up pilot has energies that its days speak of");
    for whole in wholes {
        let parts: f64 = (whole + 1..gap.len())
            .take_while(|row| part[*row] != Some("whole"))
            .filter_map(|row| gap[row])
            .sum();
        assert!((parts - gap[whole].unwrap()).abs() < 1e-9, "{parts} {:?}", gap[whole]);
    }
}

/// "30 %" without a denominator: each of four is answered, and against the truth of the forward model none is told wrongly.
#[test]
fn a_share_of_nothing_is_held_against_each_denominator() {
    let checks = table(&tables::PLAN_CHECK);
    let measure = texts(&tables::PLAN_CHECK, &checks, "measure");
    let could = texts(&tables::PLAN_CHECK, &checks, "could_be_true_of");
    let asked: Vec<usize> = (0..could.len()).filter(|row| could[*row].is_some()).collect();
    assert_eq!(asked.len(), 4);
    let days = rows(&SMALL.truth.join("vehicle_days.csv"));
    let sum = |name: &str| days.iter().map(|row| row[name].parse::<f64>().unwrap()).sum::<f64>();
    let (recovered, braked) = (sum("energy_recovered_kwh"), sum("energy_braking_kwh"));
    let (drawn, returned) = (sum("energy_discharge_gross_kwh"), sum("energy_returned_kwh"));
    for row in asked {
        let truth = match measure[row].unwrap().split(' ').next() {
            Some("R1") => recovered / braked,
            Some("R4") => recovered / drawn,
            Some("R5") => recovered / (drawn - recovered),
            _ => returned / (drawn - recovered),
        };
        let inside = (0.27..=0.33).contains(&truth);
        // A pilot of six days may not tell; it must not tell the contrary.
        match could[row] {
            Some("yes") => assert!(inside, "{} is {truth}", measure[row].unwrap()),
            Some("no") => assert!(!inside, "{} is {truth}", measure[row].unwrap()),
            _ => {}
        }
    }
}

/// No table of the plan is empty here, and no row of one is without its grade.
#[test]
fn every_figure_of_the_plan_has_its_grade() {
    for of in
        [&tables::PLAN_CHECK, &tables::PLAN_GAP, &tables::PACK_SIZING, &tables::CHARGING, &tables::CLIMATE_COST]
    {
        let batch = table(of);
        assert!(batch.num_rows() > 0, "{} is empty", of.name);
        for grade in texts(of, &batch, "evidence") {
            let grade = grade.unwrap();
            assert!(
                ["measured", "counter", "inferred", "modelled", "none"].contains(&grade),
                "{}: {grade}",
                of.name
            );
        }
    }
}

#[test]
fn the_whole_distance_is_covered_once() {
    let cells = table(&tables::COVERAGE);
    let share = numbers(&tables::COVERAGE, &cells, "distance_share_frac");
    let [route, season, band, load] = ["route", "season", "temperature_band", "payload_band"]
        .map(|name| texts(&tables::COVERAGE, &cells, name));
    let sum = |fits: &dyn Fn(usize) -> bool| {
        (0..share.len()).filter(|row| fits(*row)).filter_map(|row| share[row]).sum::<f64>()
    };
    let all = Some("all");
    let full = sum(&|row| [route[row], season[row], band[row], load[row]].iter().all(|name| *name != all));
    let by_route =
        sum(&|row| route[row] != all && [season[row], band[row], load[row]].iter().all(|name| *name == all));
    assert!((full - 1.0).abs() < 1e-9 && (by_route - 1.0).abs() < 1e-9, "{full} {by_route}");
}

#[test]
fn sentences_come_from_the_rows() {
    let checks = table(&tables::PLAN_CHECK);
    let of = [&tables::PACK_SIZING, &tables::CHARGING, &tables::CLIMATE_COST, &tables::COVERAGE].map(table);
    let told = plan_sentences(&checks, &of[0], &of[1], &of[2], &of[3]).unwrap();
    assert!(told.len() > checks.num_rows(), "{told:#?}");
    assert!(told.iter().all(|sentence| !sentence.contains("NaN")), "{told:#?}");
    let value = numbers(&tables::PLAN_CHECK, &checks, "plan_value")[0].unwrap();
    assert!(told[0].contains(&format!("{value:.3}")), "{}", told[0]);
}
