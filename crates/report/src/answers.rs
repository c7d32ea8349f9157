//! Everything a report says, once.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::unit::parse_quantity;
use backwatt_schema::{BatchError, BatchView, number_at, tables, text_at};
use serde::Serialize;

use crate::figure::{Kind, figure, of_cell, unit};
use crate::sentences::Sentence;
use crate::topics::{Person, Topic};
use crate::trust::Trust;
use crate::{ReportInput, SettingRow};

/// What stands where nothing is known.
pub const UNKNOWN: &str = "–";

/// A figure with its 90 % interval, where there is one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Measure {
    pub value: Option<f64>,
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// One group of one grouping: a row of `recovery`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    pub grouping: String,
    pub name: String,
    pub evidence: String,
    /// Of the segments that claim recovered energy.
    pub recapture_evidence: String,
    pub trips: u64,
    pub vehicle_days: u64,
    pub caution: String,
    pub denominators: String,
    /// R9, driving only. [kWh/mile]
    pub consumption_kwh_mi: Measure,
    /// R1.
    pub recapture_of_braking_frac: Measure,
    /// Every number of the row, by column name.
    pub figures: BTreeMap<String, Option<f64>>,
    /// Row of `recovery`.
    #[serde(skip)]
    pub row: usize,
    #[serde(skip)]
    pub metric: bool,
}

impl Group {
    /// A number of the row as a reader sees it.
    pub fn shown(&self, column: &str, kind: Kind, digits: usize) -> String {
        self.figure(column).map_or(UNKNOWN.to_owned(), |value| {
            let cell = format!("recovery.{}.{column}", self.row);
            of_cell(kind.si_of(column, value), kind, digits, self.metric, &cell)
        })
    }

    /// "12.3 to 14.5": the 90 % interval of a number, where there is one.
    pub fn range(&self, stem: &str, unit: &str, kind: Kind, digits: usize) -> Option<String> {
        let ends = [format!("{stem}_p05_{unit}"), format!("{stem}_p95_{unit}")];
        self.figure(&ends[0]).zip(self.figure(&ends[1]))?;
        Some(format!("{} to {}", self.shown(&ends[0], kind, digits), self.shown(&ends[1], kind, digits)))
    }

    /// A figure of this group that stands in no column by itself.
    pub fn other(&self, si: f64, kind: Kind, digits: usize) -> String {
        figure(si, kind, digits, self.metric)
    }

    pub fn unit(&self, kind: Kind) -> String {
        unit(kind, self.metric)
    }

    /// A number of the row by its column; `None` where it is null or not claimed.
    pub fn figure(&self, column: &str) -> Option<f64> {
        self.figures.get(column).copied().flatten()
    }
}

/// Where the braking energy of one group went: a row of `braking_balance`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Balance {
    pub grouping: String,
    pub name: String,
    pub figures: BTreeMap<String, Option<f64>>,
    /// Row of `braking_balance`.
    #[serde(skip)]
    pub row: usize,
}

impl Balance {
    /// An energy of the row in kWh, as a reader sees it.
    pub fn shown(&self, column: &str, digits: usize) -> String {
        let cell = format!("braking_balance.{}.{column}", self.row);
        of_cell(Kind::Energy.si_of(column, self.figure(column)), Kind::Energy, digits, false, &cell)
    }

    /// A share of the braking energy at the wheels.
    pub fn share(&self, kwh: f64, digits: usize) -> String {
        figure(kwh / self.figure("energy_braking_kwh"), Kind::Share, digits, false)
    }

    pub fn figure(&self, column: &str) -> f64 {
        self.figures.get(column).copied().flatten().unwrap_or(0.0)
    }
}

#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Answers {
    pub pilot: String,
    pub program: String,
    #[serde(skip)]
    pub metric: bool,
    /// Day and route of each trip, to find it again by.
    #[serde(skip)]
    pub trip_places: BTreeMap<String, String>,
    /// Service day of each trip, where it has one.
    #[serde(skip)]
    pub trip_days: BTreeMap<String, String>,
    /// Vehicle of each trip.
    #[serde(skip)]
    pub trip_vehicles: BTreeMap<String, String>,
    /// Named place near each braking event that a sheet names.
    #[serde(skip)]
    pub event_places: BTreeMap<String, String>,
    pub sentences: Vec<Sentence>,
    /// One for each further question, from the tables of the estimate stage.
    pub topics: Vec<Topic>,
    /// What is told of each driver; on sheets of their own.
    #[serde(skip)]
    pub people: Vec<Person>,
    #[serde(skip)]
    pub vehicles: usize,
    #[serde(serialize_with = "without_trips")]
    pub groups: Vec<Group>,
    #[serde(serialize_with = "without_trips")]
    pub balances: Vec<Balance>,
    pub trust: Trust,
    pub settings: Vec<SettingRow>,
    pub problems: Vec<String>,
    /// What a copy for others leaves out; empty in the pilot's own.
    pub taken_out: Vec<String>,
}

trait Grouped: Serialize {
    fn grouping(&self) -> &str;
}

impl Grouped for Group {
    fn grouping(&self) -> &str {
        &self.grouping
    }
}

impl Grouped for Balance {
    fn grouping(&self) -> &str {
        &self.grouping
    }
}

/// Single trips stand in the tables, row by row: thousands of them would bury the answers.
fn without_trips<S: serde::Serializer>(rows: &[impl Grouped], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(rows.iter().filter(|row| row.grouping() != "trip"))
}

impl Answers {
    pub fn new(
        input: &ReportInput,
        recovery: &RecordBatch,
        balance: &RecordBatch,
        trust: Trust,
    ) -> Result<Self, BatchError> {
        let mut groups = groups(recovery, input.metric)?;
        for band in groups.chunk_by_mut(|a, b| a.grouping == b.grouping) {
            band.sort_by(|a, b| {
                let ((of_a, at_a), (of_b, at_b)) = (place(a, &input.settings), place(b, &input.settings));
                of_a.cmp(of_b).then(at_a.total_cmp(&at_b))
            });
        }
        let balances = balances(balance)?;
        let sentences = crate::sentences::all(&groups, &balances, &trust, &input.settings);
        Ok(Self {
            pilot: input.pilot_name.clone(),
            program: input.program.clone(),
            metric: input.metric,
            trip_places: BTreeMap::new(),
            trip_days: BTreeMap::new(),
            trip_vehicles: BTreeMap::new(),
            event_places: BTreeMap::new(),
            sentences,
            people: Vec::new(),
            vehicles: input.vehicles.len(),
            topics: Vec::new(),
            groups,
            balances,
            trust,
            settings: input.settings.clone(),
            problems: input.problems.iter().map(ToString::to_string).collect(),
            taken_out: Vec::new(),
        })
    }

    pub fn of<'a>(&'a self, grouping: &'a str) -> impl Iterator<Item = &'a Group> {
        self.groups.iter().filter(move |group| group.grouping == grouping)
    }

    /// The grouping that tells levels apart: by type where there are several, as the levels of each are its own.
    pub fn level_grouping(&self) -> &'static str {
        let is_told = self.of("level_of_type").next().is_some() && self.of("vehicle_type").count() > 1;
        if is_told { "level_of_type" } else { "regen_level" }
    }

    /// A group's name, with day and route where it is a trip.
    pub fn label(&self, group: &Group) -> String {
        match self.trip_places.get(&group.name) {
            Some(place) if group.grouping == "trip" => format!("{} {place}", group.name),
            _ => group.name.clone(),
        }
    }

    /// Notes whose the trips of one vehicle are, and where and when they were.
    pub fn place_trips(&mut self, trips: &RecordBatch) -> Result<(), BatchError> {
        let view = BatchView::new(&tables::TRIPS, trips);
        let (ids, days, routes) = (view.texts("trip_id")?, view.texts("service_day")?, view.texts("route_id")?);
        let vehicles = view.texts("vehicle_id")?;
        for row in 0..view.rows() {
            self.trip_vehicles.insert(ids.value(row).to_owned(), vehicles.value(row).to_owned());
            if let Some(day) = text_at(days, row) {
                self.trip_days.insert(ids.value(row).to_owned(), day.to_owned());
            }
            let place: Vec<&str> = [text_at(days, row), text_at(routes, row)].into_iter().flatten().collect();
            if !place.is_empty() {
                self.trip_places.insert(ids.value(row).to_owned(), format!("({})", place.join(", ")));
            }
        }
        Ok(())
    }

    pub fn pilot_group(&self) -> Option<&Group> {
        self.of("pilot").next()
    }

    pub fn balance_of(&self, grouping: &str, name: &str) -> Option<&Balance> {
        self.balances.iter().find(|b| b.grouping == grouping && b.name == name)
    }
}

/// Bands go in the order of their degrees, which is not that of their letters, and levels from the weakest on, type by type; the
/// unknown one last.
fn place<'g>(group: &'g Group, settings: &[SettingRow]) -> (&'g str, f64) {
    let strength = |of: &str, level: &str| {
        let ending = format!("{of}.levels.{level}.lift_off");
        let stated = settings.iter().find(|setting| setting.key.ends_with(&ending));
        stated.and_then(|setting| parse_quantity(&setting.value).ok()).map_or(f64::MAX, |(si, _)| si)
    };
    let name = group.name.as_str();
    match group.grouping.as_str() {
        "temperature_band" => {
            ("", name.split(' ').next().and_then(|degrees| degrees.parse().ok()).unwrap_or(f64::MAX))
        }
        "regen_level" => ("", strength("", name)),
        "level_of_type" => {
            let (of, level) = name.split_once(": ").unwrap_or((name, ""));
            (of, strength(&format!("vehicle_types.{of}"), level))
        }
        _ => ("", 0.0),
    }
}

fn groups(batch: &RecordBatch, metric: bool) -> Result<Vec<Group>, BatchError> {
    let view = BatchView::new(&tables::RECOVERY, batch);
    let text = |name: &str, row: usize| -> Result<String, BatchError> {
        Ok(text_at(view.texts(name)?, row).unwrap_or_default().to_owned())
    };
    let measure = |stem: &str, low: &str, high: &str, row: usize| -> Result<Measure, BatchError> {
        let at = |name: &str| -> Result<Option<f64>, BatchError> { Ok(number_at(view.numbers(name)?, row)) };
        Ok(Measure { value: at(stem)?, low: at(low)?, high: at(high)? })
    };
    (0..view.rows())
        .map(|row| {
            Ok(Group {
                grouping: text("grouping", row)?,
                name: text("group", row)?,
                evidence: text("evidence", row)?,
                recapture_evidence: text("recapture_evidence", row)?,
                trips: view.counts("trips")?.value(row),
                vehicle_days: view.counts("vehicle_days")?.value(row),
                caution: text("caution", row)?,
                denominators: text("denominators", row)?,
                consumption_kwh_mi: measure(
                    "consumption_kwh_mi",
                    "consumption_p05_kwh_mi",
                    "consumption_p95_kwh_mi",
                    row,
                )?,
                recapture_of_braking_frac: measure(
                    "recapture_of_braking_frac",
                    "recapture_of_braking_p05_frac",
                    "recapture_of_braking_p95_frac",
                    row,
                )?,
                figures: figures(&view, &tables::RECOVERY, row)?,
                row,
                metric,
            })
        })
        .collect()
}

fn balances(batch: &RecordBatch) -> Result<Vec<Balance>, BatchError> {
    let view = BatchView::new(&tables::BRAKING_BALANCE, batch);
    let (grouping, group) = (view.texts("grouping")?, view.texts("group")?);
    (0..view.rows())
        .map(|row| {
            Ok(Balance {
                grouping: grouping.value(row).to_owned(),
                name: group.value(row).to_owned(),
                figures: figures(&view, &tables::BRAKING_BALANCE, row)?,
                row,
            })
        })
        .collect()
}

fn figures(
    view: &BatchView<'_>,
    table: &backwatt_schema::Table,
    row: usize,
) -> Result<BTreeMap<String, Option<f64>>, BatchError> {
    let numbers = table.columns.iter().filter(|column| column.kind == backwatt_schema::Kind::F64);
    numbers.map(|column| Ok((column.name.to_owned(), number_at(view.numbers(column.name)?, row)))).collect()
}
