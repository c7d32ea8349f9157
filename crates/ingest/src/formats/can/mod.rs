//! CAN logs as candump writes them: frames in, one record per frame that holds a mapped signal.
//!
//! A bus carries a hundred messages for each that a mapping wants. Frames without a mapped signal are therefore no rows of
//! this log: they are counted by kind in the receipt, and rows in = rows kept + rows refused holds for the others. A line
//! that is no frame, and a frame that is too short for every mapped signal it should hold, are refused rows.
//!
//! Fields: `time` (RFC 3339), `time_s` (the log's clock as it stands), and every signal as `Signal`, where its name
//! stands once in the database, and as `Message.Signal`.

mod bits;
mod candump;
mod database;
mod dbc;
mod decimal;
pub mod j1939;
mod transport;

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::io::{self, BufRead, BufReader};
use std::sync::Arc;

use jiff::Timestamp;

use super::lines::{Line, next_line};
use super::{Fields, Opened, Records, RowText};
use crate::header::position;
use crate::input::Input;
use crate::settings::Source;
use candump::{Frame, Kind};
use database::{Database, Value};
pub use dbc::DbcFile;
pub(crate) use dbc::parse as database_of;
use transport::{Step, Transfers};

/// The clock's two fields come first.
const CLOCK: [&str; 2] = ["time", "time_s"];

/// True where most lines are frames.
pub(super) fn recognises(head: &[u8]) -> bool {
    let lines =
        || head.split(|byte| *byte == b'\n').filter(|line| !line.iter().all(u8::is_ascii_whitespace)).take(50);
    let frames = lines().filter(|line| candump::read(line).is_ok()).count();
    frames > 0 && frames * 2 >= lines().count()
}

pub(super) fn open(source: &Source, input: Input) -> io::Result<Opened> {
    let database = match &source.dbc {
        Some(dbc) => dbc.database().map_err(io::Error::other)?,
        None => Arc::new(j1939::built_in()),
    };
    let wanted: Vec<&str> = source.wanted().collect();
    let known =
        if source.dbc.is_some() { "signals of the DBC file" } else { "signals of SAE J1939 known here" };
    let records = CanRecords::new(BufReader::with_capacity(1 << 16, input), database, &wanted);
    Ok(Opened {
        description: format!("candump frames, {known}"),
        sparse: true,
        units: records.units.clone(),
        ..Opened::new(Box::new(records))
    })
}

/// The records of one log.
struct CanRecords<R> {
    reader: R,
    line: u64,
    database: Arc<Database>,
    names: Vec<String>,
    units: Vec<String>,
    /// Of each message: which of its signals fill which fields.
    picks: Vec<Vec<Pick>>,
    transfers: Transfers,
    passed_over: BTreeMap<&'static str, u64>,
}

struct Pick {
    signal: usize,
    field: usize,
}

/// The fields of the records and what fills them.
struct Choice {
    names: Vec<String>,
    units: Vec<String>,
    picks: Vec<Vec<Pick>>,
}

/// What a frame comes to.
enum Outcome {
    Row(Vec<String>),
    Refused(candump::Fault),
    PassedOver(&'static str),
}

impl<R: BufRead> CanRecords<R> {
    fn new(reader: R, database: Arc<Database>, wanted: &[&str]) -> Self {
        let Choice { names, units, picks } = pick(&database, wanted);
        let transfers = Transfers::default();
        Self { reader, line: 0, database, names, units, picks, transfers, passed_over: BTreeMap::new() }
    }

    fn take(&mut self, frame: &Frame<'_>) -> Outcome {
        match frame.kind {
            Kind::Remote => return Outcome::PassedOver("remote-frame"),
            Kind::Error => return Outcome::PassedOver("error-frame"),
            Kind::Classic | Kind::Fd => {}
        }
        if frame.extended && frame.kind == Kind::Classic {
            let wanted = |group, sender| {
                let message = self.database.of_group(group, sender);
                message.is_some_and(|at| !self.picks[at].is_empty())
            };
            match self.transfers.take(frame.id, &frame.data, wanted) {
                Step::None => {}
                Step::Taken => return Outcome::PassedOver("transfer-frame"),
                Step::Broken => {
                    return Outcome::Refused((
                        "transfer-broken",
                        "a transfer of several frames misses one of them",
                    ));
                }
                Step::Done { group, sender, data } => {
                    return self.record(frame, self.database.of_group(group, sender), &data);
                }
            }
        }
        self.record(frame, self.database.message(frame.id, frame.extended), &frame.data)
    }

    fn record(&self, frame: &Frame<'_>, message: Option<usize>, data: &[u8]) -> Outcome {
        const UNMAPPED: Outcome = Outcome::PassedOver("not-mapped");
        let Some(message) = message.filter(|at| !self.picks[*at].is_empty()) else { return UNMAPPED };
        let mut cells = vec![String::new(); self.names.len()];
        let (mut here, mut cut) = (false, false);
        for pick in &self.picks[message] {
            match self.database.messages[message].value(pick.signal, data) {
                Value::Text(text) => {
                    cells[pick.field] = text;
                    here = true;
                }
                Value::Missing => here = true,
                Value::Elsewhere => {}
                Value::Cut => cut = true,
            }
        }
        if !here {
            return if cut {
                Outcome::Refused((
                    "frame-too-short",
                    "the frame ends before the signals that the database puts in it",
                ))
            } else {
                UNMAPPED
            };
        }
        let Ok(time) = Timestamp::from_nanosecond(i128::from(frame.time_ns)) else {
            return Outcome::Refused(("time-out-of-range", "the frame's time is beyond any calendar"));
        };
        cells[0] = time.to_string();
        frame.time.clone_into(&mut cells[1]);
        Outcome::Row(cells)
    }
}

impl<R: BufRead> Records for CanRecords<R> {
    fn names(&self) -> &[String] {
        &self.names
    }

    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        let mut raw = Vec::new();
        loop {
            let read = next_line(&mut self.reader, &mut raw)?;
            self.line += 1;
            let line = self.line;
            let outcome = match read {
                Line::End => return Ok(RowText::End),
                Line::TooLong => Outcome::Refused(("line-too-long", "the line is longer than 1 MiB")),
                Line::Whole { .. } if raw.iter().all(u8::is_ascii_whitespace) => continue,
                Line::Whole { .. } => match candump::read(&raw) {
                    Ok(frame) => self.take(&frame),
                    Err(fault) => Outcome::Refused(fault),
                },
            };
            match outcome {
                Outcome::Row(cells) => {
                    fields.clear();
                    cells.iter().for_each(|cell| fields.push(cell.as_bytes()));
                    return Ok(RowText::Row { line, raw });
                }
                Outcome::Refused((reason, message)) => {
                    return Ok(RowText::Refused { line, raw, reason, message: message.into() });
                }
                Outcome::PassedOver(kind) => *self.passed_over.entry(kind).or_default() += 1,
            }
        }
    }

    fn passed(&self) -> BTreeMap<&'static str, u64> {
        self.passed_over.clone()
    }
}

/// The fields that the mapping asks for, out of all that the database offers; every signal under its shortest name where
/// it asks for none, so that the message about it can list them.
fn pick(database: &Database, wanted: &[&str]) -> Choice {
    let (offered, owners) = offer(database);
    let mut asked: BTreeSet<usize> = wanted.iter().filter_map(|name| position(&offered, name)).collect();
    if asked.is_empty() {
        let mut met = HashSet::new();
        asked = (0..offered.len()).filter(|at| met.insert(owners[*at])).collect();
    }
    let mut names: Vec<String> = CLOCK.map(str::to_owned).to_vec();
    let mut units = vec![String::new(), "s".to_owned()];
    let mut picks: Vec<Vec<Pick>> = database.messages.iter().map(|_| Vec::new()).collect();
    for at in asked {
        let (message, signal) = owners[at];
        picks[message].push(Pick { signal, field: names.len() });
        names.push(offered[at].clone());
        units.push(database.messages[message].signals[signal].unit.clone());
    }
    Choice { names, units, picks }
}

/// Every name a signal goes by, and where it is: short names that stand once, then those with their message.
fn offer(database: &Database) -> (Vec<String>, Vec<(usize, usize)>) {
    let all = || {
        let messages = database.messages.iter().enumerate();
        messages.flat_map(|(at, message)| {
            message.signals.iter().enumerate().map(move |(s, signal)| (at, s, signal))
        })
    };
    let mut times: HashMap<&str, usize> = HashMap::new();
    for (_, _, signal) in all() {
        *times.entry(&signal.name).or_default() += 1;
    }
    let (mut names, mut owners) = (Vec::new(), Vec::new());
    for (message, at, signal) in all().filter(|(_, _, signal)| times[signal.name.as_str()] == 1) {
        names.push(signal.name.clone());
        owners.push((message, at));
    }
    for (message, at, signal) in all() {
        names.push(format!("{}.{}", database.messages[message].name, signal.name));
        owners.push((message, at));
    }
    (names, owners)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, database: Database, wanted: &[&str]) -> (Vec<String>, BTreeMap<&'static str, u64>) {
        let mut records = CanRecords::new(text.as_bytes(), Arc::new(database), wanted);
        let mut fields = Fields::default();
        let mut seen = Vec::new();
        loop {
            match records.next(&mut fields).unwrap() {
                RowText::End => return (seen, records.passed()),
                RowText::Row { line, .. } => {
                    let cells: Vec<_> = fields.iter().map(String::from_utf8_lossy).collect();
                    assert_eq!(cells.len(), records.names().len());
                    seen.push(format!("{line}: {}", cells.join(" ")));
                }
                RowText::Refused { line, reason, .. } => seen.push(format!("{line}! {reason}")),
            }
        }
    }

    #[test]
    fn frames_of_j1939_without_a_database() {
        let text = "(1772438400.000000) can0 18FEF117#FFC0120000000000\n\
                    (1772438400.000100) can0 18FEF117#FF00FB0000000000\n\
                    (1772438400.000200) can0 0CF00417#FFFFFF0000000000\n\
                    (1772438400.000300) can0 18FEF117#FF\n\
                    (1772438400.000400) can0 123#R\n\
                    (1772438400.000500) can0 20000004#0000000000000000\n\
                    what\n\n";
        let (rows, passed_over) = read(text, j1939::built_in(), &["wheel_based_vehicle_speed_km_h", "time"]);
        // 0x12C0 = 4800 counts of 1/256 km/h; 0xFB00 is a code.
        assert_eq!(
            rows,
            [
                "1: 2026-03-02T08:00:00Z 1772438400.000000 18.75",
                "2: 2026-03-02T08:00:00.0001Z 1772438400.000100 ",
                "4! frame-too-short",
                "7! not-a-frame"
            ]
        );
        let counts = |kind: &str| passed_over.get(kind).copied();
        assert_eq!(counts("not-mapped"), Some(1));
        assert_eq!(counts("remote-frame"), Some(1));
        assert_eq!(counts("error-frame"), Some(1));
    }

    #[test]
    fn names_by_signal_or_by_message() {
        let dbc = "VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: E\n\n\
                   BO_ 1 Front: 2 E\n SG_ Speed : 0|8@1+ (1,0) [0|0] \"\" E\n SG_ Load : 8|8@1+ (1,0) [0|0] \"\" E\n\n\
                   BO_ 2 Rear: 1 E\n SG_ Speed : 0|8@1+ (1,0) [0|0] \"\" E\n";
        let text = "(1.0) can0 001#0A0B\n(2.0) can0 002#14\n";
        let of = |wanted: &[&str]| read(text, dbc::parse(dbc).unwrap(), wanted).0;
        assert_eq!(
            of(&["Rear.Speed", "Load"]),
            ["1: 1970-01-01T00:00:01Z 1.0 11 ", "2: 1970-01-01T00:00:02Z 2.0  20"]
        );
        let names = |wanted: &[&str]| pick(&dbc::parse(dbc).unwrap(), wanted).names;
        let all = ["time", "time_s", "Load", "Front.Speed", "Rear.Speed"];
        assert_eq!(names(&["Speed"]), all, "two signals of that name: neither, and the message lists all");
    }

    #[test]
    fn a_transfer_is_one_row() {
        // PGN 65260 has no signal here; a message of 17 bytes is made of it.
        let dbc = "VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: E\n\n\
                   BO_ 2566843646 Long: 17 E\n SG_ Last : 128|8@1+ (1,0) [0|0] \"\" E\n";
        let text = "(1.0) can0 1CECFF05#201100 03FFECFE00\n(1.0) can0 1CECFF05#20110003FFECFE00\n\
                    (1.1) can0 1CEBFF05#0101020304050607\n(1.2) can0 1CEBFF05#0208090A0B0C0D0E\n\
                    (1.3) can0 1CEBFF05#030F1011FFFFFFFF\n(1.4) can0 1CECFF05#20110003FFECFE00\n\
                    (1.5) can0 1CEBFF05#0308090A0B0C0D0E\n";
        let id = 0x98FE_ECFE_u32;
        let dbc = dbc.replace("2566843646", &id.to_string());
        let (rows, passed_over) = read(text, dbc::parse(&dbc).unwrap(), &["Last"]);
        assert_eq!(rows, ["1! not-a-frame", "5: 1970-01-01T00:00:01.3Z 1.3 17", "7! transfer-broken"]);
        assert_eq!(passed_over["transfer-frame"], 4);
    }

    #[test]
    fn logs_are_recognised() {
        assert!(recognises(b"(1772438400.000000) can0 18FEF117#FFC0120000000000\n(1772438400.0"));
        assert!(!recognises(b"time,speed\n1,2\n2,3\n"));
        assert!(!recognises(b""));
    }
}
