//! What the reader has to be told. Filled in by whoever stands above; nothing here knows a settings file.

use std::path::PathBuf;

use backwatt_schema::unit::Unit;
use jiff::{civil::Date, tz::TimeZone};

use crate::dialect::Stated;
use crate::formats::Format;
use crate::formats::can::DbcFile;
use crate::input::{Member, Unpacking};

/// All sources of one pilot.
#[derive(Debug, Clone)]
pub struct Settings {
    pub sources: Vec<Source>,
    /// Rows before this instant are refused: a clock that was reset.
    pub time_earliest_ns: i64,
    /// Rows after this instant are refused.
    pub time_latest_ns: i64,
    /// Unchanged signals for this long while moving mean a frozen bus. [s]
    pub frozen_after_s: f64,
    /// What ingest may take of the memory, about. [bytes]
    pub memory_bytes: u64,
    /// Folder of elevation tiles, or one of them.
    pub elevation_tiles: Option<PathBuf>,
    /// What vehicles carried where their logs do not say, by vehicle and time; none overlap.
    pub loads: Vec<Load>,
    /// Who drove where the logs do not say, by vehicle and time; none overlap.
    pub shifts: Vec<Shift>,
    pub weather: Option<WeatherTable>,
}

/// What ingest takes of the memory unless told otherwise. [bytes]
pub const MEMORY_BYTES: u64 = 1 << 30;
/// What one row costs while it is sorted and merged, all copies counted; measured, with room. [bytes]
const ROW_BYTES: u64 = 1500;
/// Rows of a window: few enough for one to fit, and so many that a usual vehicle is one.
const WINDOW_ROWS: (u64, u64) = (20_000, 200_000);

impl Settings {
    /// Rows of one vehicle in memory at once. Depends on this setting alone: where windows lie may show in a last digit.
    pub fn window_rows(&self) -> u64 {
        (self.memory_bytes / (2 * ROW_BYTES)).clamp(WINDOW_ROWS.0, WINDOW_ROWS.1)
    }

    /// Files or vehicles worked on at once.
    pub fn threads(&self) -> usize {
        let fit = self.memory_bytes / (self.window_rows() * ROW_BYTES);
        (fit.max(1) as usize).min(rayon::current_num_threads())
    }
}

/// A line of a table of shifts: at the wheel from the one instant until before the other.
#[derive(Debug, Clone, PartialEq)]
pub struct Shift {
    pub vehicle: String,
    pub from_ns: i64,
    pub until_ns: i64,
    pub driver: String,
    pub line: u64,
}

/// Observations of the weather where the logs have none.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherTable {
    pub stations: Vec<Station>,
    /// An observation further away in time says nothing.
    pub age_ns: i64,
    /// A station further away says nothing. [m]
    pub reach_m: f64,
}

/// What one station observed, each quantity by rising time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Station {
    /// Latitude and longitude; `None` speaks for the whole pilot.
    pub place_deg: Option<(f64, f64)>,
    pub temperature_k: Vec<(i64, [f64; 1])>,
    pub pressure_pa: Vec<(i64, [f64; 1])>,
    pub humidity_frac: Vec<(i64, [f64; 1])>,
    /// Towards east and north, near the vehicle.
    pub wind_m_s: Vec<(i64, [f64; 2])>,
}

/// A line of a payload manifest: carried from the one instant until before the other.
#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    pub vehicle: String,
    pub from_ns: i64,
    pub until_ns: i64,
    pub payload_kg: f64,
}

/// One kind of log: files of one shape and the meaning of their columns.
#[derive(Debug, Clone)]
pub struct Source {
    pub name: String,
    pub files: Vec<LogFile>,
    /// The column that names the vehicle, where the files do not.
    pub vehicle_column: Option<String>,
    /// Found in each file where it is not stated.
    pub format: Option<Format>,
    /// What the frames of a CAN log mean; the signals of SAE J1939 known here where none is named.
    pub dbc: Option<DbcFile>,
    /// Signals stand below each other instead of side by side.
    pub long: Option<Long>,
    /// Rows are gathered onto the instants of the speed; where not stated, if the format is one of sparse rows.
    pub gather: Option<bool>,
    pub unpacking: Unpacking,
    pub dialect: Stated,
    /// Texts that mean "no value", beyond the usual ones.
    pub missing: Vec<String>,
    pub time: TimeSettings,
    pub columns: Vec<Mapping>,
}

/// Long form: each row is one signal's value at one instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Long {
    /// The column that names the signal.
    pub signal: String,
    pub value: String,
}

impl Source {
    /// A source that asks for nothing: for looking at a log.
    pub fn unmapped() -> Self {
        Self {
            name: String::new(),
            files: Vec::new(),
            vehicle_column: None,
            format: None,
            dbc: None,
            long: None,
            gather: None,
            unpacking: Unpacking::default(),
            dialect: Stated::default(),
            missing: Vec::new(),
            time: TimeSettings { columns: Vec::new(), kind: TimeKind::Iso, gps: None },
            columns: Vec::new(),
        }
    }

    /// Every name the mapping looks for: times, vehicle, those of the long form, and all spellings of the columns.
    pub fn wanted(&self) -> impl Iterator<Item = &str> {
        let plus = match &self.time.kind {
            TimeKind::DayNumber { plus: Some((name, _)), .. } => Some(name),
            _ => None,
        };
        let spellings = self.columns.iter().flat_map(|mapping| &mapping.names);
        let gps = self.time.gps.iter().flat_map(|gps| &gps.columns);
        let clock = self.time.columns.iter().chain(plus).chain(gps);
        let long = self.long.iter().flat_map(|long| [&long.signal, &long.value]);
        clock.chain(&self.vehicle_column).chain(long).chain(spellings).map(String::as_str)
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogFile {
    pub path: PathBuf,
    /// The part of `path` that is the log, where that is a zip archive.
    pub member: Option<Member>,
    /// As shown in rejects and receipts: relative to the pilot file, a member below its archive.
    pub shown: String,
    /// The vehicle, where the path or the source names it.
    pub vehicle: Option<String>,
}

#[derive(Debug, Clone)]
pub struct TimeSettings {
    /// Joined by a blank before they are read.
    pub columns: Vec<String>,
    pub kind: TimeKind,
    pub gps: Option<GpsClock>,
}

/// The time of a satellite receiver beside the logger's own.
#[derive(Debug, Clone)]
pub struct GpsClock {
    /// Joined by a blank before they are read.
    pub columns: Vec<String>,
    pub kind: TimeKind,
    /// Rows are put onto it; else a clock that is off is told, and nothing is moved.
    pub follow: bool,
}

#[derive(Debug, Clone)]
pub enum TimeKind {
    /// A count since 1970-01-01 UTC.
    Epoch(Unit),
    /// RFC 3339.
    Iso,
    /// Clock on the wall of a time zone.
    Local { format: String, zone: TimeZone },
    /// A count since the start of the file.
    Relative(Unit),
    /// Days since an epoch in a zone, the epoch itself being number `first`, plus seconds from another column.
    DayNumber { epoch: Date, first: f64, zone: TimeZone, plus: Option<(String, Unit)> },
}

/// One column of a log and the signal it fills.
#[derive(Debug, Clone)]
pub struct Mapping {
    /// Position in [`crate::signal::SIGNALS`].
    pub signal: usize,
    /// Names the column goes by, first match wins.
    pub names: Vec<String>,
    pub unit: CellUnit,
    pub scale: f64,
    /// Fill blanks with the last value of the file.
    pub fill_forward: bool,
    /// Accepted range in the column's own unit, beside the signal's.
    pub least: Option<f64>,
    pub most: Option<f64>,
    pub positive: Positive,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CellUnit {
    Plain(Unit),
    /// "34 11.28809": degrees and decimal minutes, sign on the degrees.
    DegreesMinutes,
    /// Flags and texts.
    None,
}

/// Which way a battery signal counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Positive {
    Discharge,
    Charge,
    /// To be proved from the data; the signal is not used until it is.
    Prove,
}
