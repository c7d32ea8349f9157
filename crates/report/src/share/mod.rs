//! What is taken out of a report before it leaves the building, and what of it is told.
//!
//! Applied to the tables, before anything is made of them: page, text, CSV and map are all of what is left. The key that
//! leads back from pseudonyms to names lies outside the folder that is handed over.
//!
//! Deliberately absent: a pseudonym that could be worked out from a name, and any trip by itself.

mod groups;
mod names;
mod rows;

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};

use arrow::array::{BooleanArray, RecordBatch, StringArray, UInt64Array};
use arrow::compute::{filter_record_batch, take_record_batch};
use backwatt_schema::{BatchError, BatchView, Table, tables, text_at};
use backwatt_store::{Layout, StoreError, read_table, write_bytes};

use crate::source::mapped;
use crate::{ReportError, ReportInput, SettingRow};

pub use groups::LEAST_VEHICLE_DAYS;
use names::Names;

/// People, and vehicles that may stand for one, are told apart only among this many: the least that the comparison of
/// drivers asks for as well.
pub const LEAST_MEMBERS: usize = 5;

/// Tables that are left out whole: a row of them is a moment of somebody's day, or a place.
pub static LEFT_OUT: [&Table; 6] = [
    &tables::TRIPS,
    &tables::BRAKING_EVENTS,
    &tables::STOPS,
    &tables::CHARGES,
    &tables::CHARGE_SESSIONS,
    &tables::PLACES,
];

/// Settings that may leave: what a truck is and what was assumed, not where and by whom it was driven.
const SETTINGS: [&str; 5] = ["vehicle_types.", "estimate.", "replay.", "plan.", "charging."];

/// What a name is hidden behind, and which rows stay.
#[derive(Debug, Default)]
pub struct Censor {
    names: Names,
    /// True where the report leaves the building; false where only people's names are hidden.
    leaves: bool,
    drivers: usize,
    vehicles: usize,
    /// Grouping and group of the rows of `recovery` that stay.
    kept: RefCell<BTreeSet<(String, String)>>,
    /// Rows left out, by table.
    dropped: RefCell<BTreeMap<&'static str, usize>>,
}

impl Censor {
    /// For the pilot's own eyes: people's names are hidden where the logs hold them, and nothing else.
    pub fn own(input: &ReportInput, layout: &Layout) -> Result<Self, ReportError> {
        if input.drivers_are_pseudonyms {
            return Ok(Self::default());
        }
        let drivers = names::drivers(layout, &input.vehicles)?;
        let names = Names::of_drivers(&drivers, &secret(layout)?);
        Ok(Self { names, drivers: drivers.len(), vehicles: input.vehicles.len(), ..Self::default() })
    }

    /// For whoever it is handed to.
    pub fn leaving(input: &ReportInput, layout: &Layout) -> Result<Self, ReportError> {
        let drivers = names::drivers(layout, &input.vehicles)?;
        let names = Names::of_all(&drivers, &input.vehicles, layout, &secret(layout)?)?;
        Ok(Self {
            names,
            leaves: true,
            drivers: drivers.len(),
            vehicles: input.vehicles.len(),
            ..Self::default()
        })
    }

    pub fn leaves(&self) -> bool {
        self.leaves
    }

    /// A table as it may be shown.
    pub fn table(&self, table: &'static Table, batch: RecordBatch) -> Result<RecordBatch, ReportError> {
        let batch = if self.leaves { self.fewer(table, &batch)? } else { batch };
        if self.names.is_empty() {
            return Ok(batch);
        }
        let view = BatchView::new(table, &batch);
        let change = |row: usize, column: &str, text: &str| {
            if self.leaves && rows::is_blanked(table, column) {
                return (!text.is_empty()).then(String::new);
            }
            self.names.shown(table, &view, row, column, text)
        };
        match mapped(&batch, change) {
            Some(changed) => Ok(sorted(table, &changed)?),
            None => Ok(batch),
        }
    }

    fn fewer(&self, table: &'static Table, batch: &RecordBatch) -> Result<RecordBatch, ReportError> {
        let view = BatchView::new(table, batch);
        let people = self.drivers >= LEAST_MEMBERS;
        let trucks = self.vehicles >= LEAST_MEMBERS;
        let mask = if table.name == tables::RECOVERY.name {
            let mask = groups::mask(&view, people, trucks)?;
            self.remember(&view, &mask)?;
            mask
        } else if table.name == tables::BRAKING_BALANCE.name {
            self.balances(&view)?
        } else {
            rows::mask(table, &view, people, trucks)?
        };
        self.filtered(table, batch, mask)
    }

    fn remember(&self, view: &BatchView<'_>, mask: &[bool]) -> Result<(), BatchError> {
        let (grouping, group) = (view.texts("grouping")?, view.texts("group")?);
        let mut kept = self.kept.borrow_mut();
        for row in (0..view.rows()).filter(|row| mask[*row]) {
            kept.insert((grouping.value(row).to_owned(), group.value(row).to_owned()));
        }
        Ok(())
    }

    /// Rows of `braking_balance` whose group may be told apart.
    fn balances(&self, view: &BatchView<'_>) -> Result<Vec<bool>, BatchError> {
        let (grouping, group) = (view.texts("grouping")?, view.texts("group")?);
        let kept = self.kept.borrow();
        let stays = |row: usize| kept.contains(&(grouping.value(row).to_owned(), group.value(row).to_owned()));
        Ok((0..view.rows()).map(stays).collect())
    }

    fn filtered(
        &self,
        table: &'static Table,
        batch: &RecordBatch,
        mask: Vec<bool>,
    ) -> Result<RecordBatch, ReportError> {
        let dropped = mask.iter().filter(|kept| !**kept).count();
        if dropped > 0 {
            *self.dropped.borrow_mut().entry(table.name).or_default() = dropped;
        }
        Ok(filter_record_batch(batch, &BooleanArray::from(mask))?)
    }

    /// Settings and problems as they may be shown.
    pub fn settings(&self, settings: &[SettingRow]) -> Vec<SettingRow> {
        if !self.leaves {
            return settings.to_vec();
        }
        let stays = |row: &&SettingRow| SETTINGS.iter().any(|head| row.key.starts_with(head));
        settings
            .iter()
            .filter(stays)
            .map(|row| SettingRow {
                key: self.names.text(&row.key).unwrap_or_else(|| row.key.clone()),
                value: self.names.text(&row.value).unwrap_or_else(|| row.value.clone()),
                origin: row.origin.clone(),
            })
            .collect()
    }

    /// Writes who is behind which pseudonym beside the tables, outside of what is handed over.
    pub fn write_key(&self, layout: &Layout) -> Result<(), StoreError> {
        let path = if self.leaves { layout.key_of_share() } else { layout.key_of_report() };
        if self.names.is_empty() { remove(&path) } else { write_bytes(&path, self.names.key().as_bytes()) }
    }

    /// What was taken out, a sentence each.
    pub fn told(&self, layout: &Layout, input: &ReportInput) -> Vec<String> {
        if !self.leaves {
            return Vec::new();
        }
        let dropped = self.dropped.borrow();
        let rows: Vec<String> = dropped.iter().map(|(table, n)| format!("{table} {n}")).collect();
        let left_out: Vec<&str> = LEFT_OUT.iter().map(|table| table.name).collect();
        let settings = input.settings.len() - self.settings(&input.settings).len();
        vec![
            format!(
                "Names: {} drivers, {} vehicles and {} found routes go by pseudonyms. Who is behind them stands in {}, outside this folder: \
                 keep it apart, and do not hand it over.",
                self.names.drivers.len(),
                self.names.vehicles.len(),
                self.names.routes.len(),
                layout.key_of_share().file_name().unwrap_or_default().to_string_lossy(),
            ),
            format!("Left out whole, because a row is a moment of somebody's day or a place: {}.", left_out.join(", ")),
            format!(
                "Places: no trace, no stop and no position of a trip; the map leaves out cells within {OVERNIGHT_M} m of where a vehicle stays \
                 overnight, and cells with fewer than 10 passes or 2 vehicles. A cell is about 130 m across, and no finer position is given."
            ),
            format!(
                "Small groups: rows that rest on fewer than {LEAST_VEHICLE_DAYS} vehicle-days, and as many more as it takes so that none can be \
                 reckoned from a total; drivers and vehicles one by one only where there are {LEAST_MEMBERS} and more. Rows left out: {}.",
                if rows.is_empty() { "none".to_owned() } else { rows.join(", ") },
            ),
            format!(
                "Names of log files, {} messages about them and {settings} settings that say where and by whom trucks were driven.",
                input.problems.len()
            ),
            "Not changed: names of vehicle types, chargers, regen levels and of routes that the pilot's own people named. Read them before this is \
             handed over."
                .to_owned(),
            "Keep this copy only as long as what it was handed over for takes, then delete it. The key goes when coaching ends: from then on nobody \
             can lead a pseudonym back. Raw logs and tables that name people follow the local rules and the works agreement."
                .to_owned(),
        ]
    }
}

/// In the order of the pseudonyms: that of the names would tell who comes before whom.
fn sorted(table: &'static Table, batch: &RecordBatch) -> Result<RecordBatch, ReportError> {
    let view = BatchView::new(table, batch);
    let keys: &[&str] = match table.name {
        "recovery" | "braking_balance" => &["grouping", "group"],
        "drivers" | "habits" => &["driver_id"],
        "changes" | "level_what_if" => &["subject", "name"],
        "routes" => &["route_id"],
        "receipts" => &["source_file"],
        "calibration" => &["vehicle_type", "vehicle_id"],
        "capacity" | "sampling_audit" => &["vehicle_id"],
        _ => return Ok(batch.clone()),
    };
    let columns: Vec<&StringArray> = keys.iter().map(|key| view.texts(key)).collect::<Result<_, _>>()?;
    let mut order: Vec<u64> = (0..view.rows() as u64).collect();
    let key = |row: u64| -> Vec<&str> {
        columns.iter().map(|column| text_at(column, row as usize).unwrap_or_default()).collect()
    };
    order.sort_by_key(|row| key(*row));
    Ok(take_record_batch(batch, &UInt64Array::from(order))?)
}

/// Within this of where a vehicle stays overnight a road cell is left out; set where cells are made.
const OVERNIGHT_M: u32 = 300;

/// What pseudonyms are dealt out by: nobody without the logs can work it out.
fn secret(layout: &Layout) -> Result<String, ReportError> {
    let receipts = read_table(&layout.table(&tables::RECEIPTS), &tables::RECEIPTS)?;
    let view = BatchView::new(&tables::RECEIPTS, &receipts);
    let digests: Vec<&str> = view.texts("digest_sha256")?.iter().flatten().collect();
    Ok(digests.concat())
}

fn remove(path: &std::path::Path) -> Result<(), StoreError> {
    match std::fs::remove_file(path) {
        Err(source) if source.kind() != std::io::ErrorKind::NotFound => {
            Err(StoreError::Io { doing: "remove", path: path.to_owned(), source })
        }
        _ => Ok(()),
    }
}
