//! A pilot and where its tables go; the stages in order, skipped where nothing changed.

use std::path::{Path, PathBuf};

use backwatt_ingest::Receipt;
use backwatt_pilot::Pilot;
use backwatt_pilot::what_if::parse as parse_what_if;
use backwatt_report::{Answers, ReportOptions};
use backwatt_schema::{Problem, tables};
use backwatt_store::{Hold, Layout, Provenance};

use crate::inputs::Inputs;
use crate::stamp::{self, Stamp};
use crate::{BackwattError, Event, Progress, VERSION, WhatIfAnswers, plan, stages, what_if};

pub struct Run {
    pub pilot: Pilot,
    pub layout: Layout,
    inputs: Inputs,
}

/// What a run came to.
#[derive(Debug, Clone)]
pub struct Outcome {
    pub vehicles: Vec<String>,
    pub rows_in: u64,
    pub rows_rejected: u64,
    pub problems: Vec<Problem>,
    /// The report's figures, where the report stage ran.
    pub answers: Option<Answers>,
}

impl Outcome {
    pub fn rejected_share(&self) -> f64 {
        if self.rows_in == 0 { 0.0 } else { self.rows_rejected as f64 / self.rows_in as f64 }
    }
}

impl Run {
    pub fn new(pilot: Pilot, out: impl Into<PathBuf>) -> Self {
        let inputs = Inputs::of(&pilot, VERSION);
        Self { pilot, layout: Layout::new(out), inputs }
    }

    fn provenance(&self, settings_digest: &str) -> Provenance {
        Provenance {
            program: format!("backwatt {VERSION}"),
            settings_digest: settings_digest.to_owned(),
            inputs_digest: self.inputs.logs.clone(),
        }
    }

    /// Every stage.
    pub fn all(&self, progress: Progress<'_>, options: ReportOptions) -> Result<Outcome, BackwattError> {
        let _held = self.hold()?;
        self.ingest_held(progress)?;
        self.replay_held(progress)?;
        self.estimate_held(progress)?;
        self.report_held(progress, options)
    }

    /// Raw logs to samples, rejects, receipts.
    pub fn ingest(&self, progress: Progress<'_>) -> Result<Outcome, BackwattError> {
        let _held = self.hold()?;
        self.ingest_held(progress)
    }

    fn ingest_held(&self, progress: Progress<'_>) -> Result<Outcome, BackwattError> {
        self.keep_logs_apart()?;
        backwatt_store::sweep_unfinished(self.layout.root());
        self.stage("ingest", &self.inputs.ingest, progress, |provenance| {
            stages::ingest(&self.pilot, &self.layout, provenance, progress)
        })?;
        self.outcome(None)
    }

    /// Samples to trips, segments, braking events, stops, charges.
    pub fn replay(&self, progress: Progress<'_>) -> Result<Outcome, BackwattError> {
        let _held = self.hold()?;
        self.replay_held(progress)
    }

    fn replay_held(&self, progress: Progress<'_>) -> Result<Outcome, BackwattError> {
        let vehicles = self.vehicles("ingest", &self.inputs.ingest)?;
        self.stage("replay", &self.inputs.replay, progress, |provenance| {
            stages::replay(&self.pilot, &self.layout, &vehicles, provenance, progress)?;
            Ok(vehicles.clone())
        })?;
        self.outcome(None)
    }

    /// The same trips with something changed, in the words of `replay --with`. Writes `what_if` and needs the samples
    /// of the last ingest.
    pub fn what_if(&self, words: &[String], progress: Progress<'_>) -> Result<WhatIfAnswers, BackwattError> {
        let asked = parse_what_if(words).map_err(BackwattError::Problems)?;
        let _held = self.hold()?;
        let vehicles = self.vehicles("ingest", &self.inputs.ingest)?;
        let provenance = self.provenance(&self.inputs.replay);
        what_if::compare(&self.pilot, &self.layout, &vehicles, &asked, &provenance, progress)
    }

    /// The ledger to battery figures and the answer table.
    pub fn estimate(&self, progress: Progress<'_>) -> Result<Outcome, BackwattError> {
        let _held = self.hold()?;
        self.estimate_held(progress)
    }

    fn estimate_held(&self, progress: Progress<'_>) -> Result<Outcome, BackwattError> {
        let vehicles = self.vehicles("replay", &self.inputs.replay)?;
        self.stage("estimate", &self.inputs.estimate, progress, |provenance| {
            stages::estimate(&self.pilot, &self.layout, &vehicles, provenance, progress)?;
            Ok(vehicles.clone())
        })?;
        self.outcome(None)
    }

    /// All tables to the report. Always written: it is quick, and its options are not stamped.
    pub fn report(&self, progress: Progress<'_>, options: ReportOptions) -> Result<Outcome, BackwattError> {
        let _held = self.hold()?;
        self.report_held(progress, options)
    }

    fn report_held(&self, progress: Progress<'_>, options: ReportOptions) -> Result<Outcome, BackwattError> {
        let vehicles = self.vehicles("estimate", &self.inputs.estimate)?;
        progress(Event::Stage { name: "report", steps: 1 });
        let outcome = self.outcome(None)?;
        let provenance = self.provenance(&self.inputs.report);
        let answers =
            stages::report(&self.pilot, &self.layout, &vehicles, &outcome.problems, &provenance, options)?;
        progress(Event::Step { what: "report".to_owned() });
        Ok(Outcome { answers: Some(answers), ..outcome })
    }

    /// Keeps other runs out of the output folder until it is dropped: two at once would remove each other's files.
    fn hold(&self) -> Result<Hold, BackwattError> {
        Ok(Hold::take(self.layout.root())?)
    }

    /// Refuses an output folder whose table folders hold the logs: a run clears what it wrote there before.
    fn keep_logs_apart(&self) -> Result<(), BackwattError> {
        let real = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
        let own: Vec<PathBuf> = self.layout.own_folders().iter().map(|folder| real(folder)).collect();
        let files = self.pilot.ingest.sources.iter().flat_map(|source| &source.files);
        match files.into_iter().find(|file| own.iter().any(|folder| real(&file.path).starts_with(folder))) {
            None => Ok(()),
            Some(file) => Err(BackwattError::Problems(vec![
                Problem::error("run-logs-in-output", "a log lies where this run writes its tables")
                    .in_file(&file.shown)
                    .hint("name another folder with --out, or move the logs"),
            ])),
        }
    }

    /// True when the tables of a stage are all there; a stamp alone does not heal what was deleted.
    fn is_complete(&self, name: &str, vehicles: &[String]) -> bool {
        let each = |table| vehicles.iter().all(|vehicle| self.layout.vehicle_table(table, vehicle).is_file());
        match name {
            "ingest" => {
                self.layout.table(&tables::RECEIPTS).is_file()
                    && vehicles.iter().all(|vehicle| self.layout.samples_folder(vehicle).is_dir())
            }
            "replay" => stages::REPLAYED.into_iter().all(each),
            _ => {
                each(&tables::SEGMENT_BATTERY)
                    && each(&tables::AVOIDABLE_LOSSES)
                    && each(&tables::TRIP_ROUTES)
                    && each(&tables::SCENARIOS)
                    && [
                        &tables::RECOVERY,
                        &tables::CHARGE_SESSIONS,
                        &tables::CAPACITY,
                        &tables::PLACES,
                        &tables::ROUTES,
                        &tables::ROAD_CELLS,
                        &tables::DRIVERS,
                        &tables::HABITS,
                        &tables::CHANGES,
                        &tables::LEVEL_COMPARISON,
                    ]
                    .into_iter()
                    .chain(plan::TABLES)
                    .all(|table| self.layout.table(table).is_file())
            }
        }
    }

    fn stage(
        &self,
        name: &'static str,
        inputs: &str,
        progress: Progress<'_>,
        work: impl FnOnce(&Provenance) -> Result<Vec<String>, BackwattError>,
    ) -> Result<(), BackwattError> {
        let done = |stamp: Stamp| stamp.inputs == inputs && self.is_complete(name, &stamp.vehicles);
        if stamp::read(&self.layout, name).is_some_and(done) {
            progress(Event::Unchanged { name });
            return Ok(());
        }
        stamp::clear(&self.layout, name);
        let vehicles = work(&self.provenance(inputs))?;
        stamp::write(&self.layout, name, &Stamp { inputs: inputs.to_owned(), vehicles })?;
        Ok(())
    }

    /// The vehicles a stage found, refusing tables of other inputs.
    fn vehicles(&self, stage: &'static str, inputs: &str) -> Result<Vec<String>, BackwattError> {
        match stamp::read(&self.layout, stage) {
            Some(stamp) if stamp.inputs == inputs => Ok(stamp.vehicles),
            other => {
                let what =
                    if other.is_some() { "was run on other logs or settings" } else { "has not been run" };
                let hint = format!("backwatt {stage} PILOT first, or backwatt run PILOT for every stage");
                Err(BackwattError::Problems(vec![
                    Problem::error("run-stage-missing", format!("the {stage} stage {what}"))
                        .in_file(self.layout.root().display().to_string())
                        .hint(hint),
                ]))
            }
        }
    }

    fn outcome(&self, answers: Option<Answers>) -> Result<Outcome, BackwattError> {
        let receipts: Vec<Receipt> = stages::receipts(&self.layout)?;
        let vehicles = stamp::read(&self.layout, "ingest").map(|stamp| stamp.vehicles).unwrap_or_default();
        let mut problems = self.pilot.problems.clone();
        problems.extend(stages::kept_problems(&self.layout));
        Ok(Outcome {
            vehicles,
            rows_in: receipts.iter().map(|r| r.rows_in).sum(),
            rows_rejected: receipts.iter().map(|r| r.rows_rejected).sum(),
            problems,
            answers,
        })
    }
}
