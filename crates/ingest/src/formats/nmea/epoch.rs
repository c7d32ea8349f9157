//! The sentences of one UTC time of day, and the date they belong to.

use jiff::civil::Date;
use jiff::tz::Offset;
use jiff::{SignedDuration, ToSpan};

use super::sentence::{Kind, Sentence};
use super::{COURSE_DEG, FIELDS, SPEED_KN};

const HALF_DAY_NS: i64 = 43_200_000_000_000;

/// What one epoch has said so far.
pub struct Epoch {
    pub line: u64,
    /// The lines of its sentences, for a refusal.
    pub raw: Vec<u8>,
    time_of_day_ns: i64,
    date: Option<Date>,
    kinds: Vec<Kind>,
    /// Texts of the fields, and the kind of sentence each is from.
    cells: [Option<(String, Kind)>; FIELDS.len()],
}

impl Epoch {
    pub fn new(line: u64, time_of_day_ns: i64) -> Self {
        Self { line, raw: Vec::new(), time_of_day_ns, date: None, kinds: Vec::new(), cells: Default::default() }
    }

    /// Whether a sentence of this time and kind belongs here; the same kind again is a row of its own.
    pub fn takes(&self, time_of_day_ns: i64, kind: Kind) -> bool {
        self.time_of_day_ns == time_of_day_ns && !self.kinds.contains(&kind)
    }

    /// Whether a VTG cannot be of this epoch: it is a second one, or its speed or course is not that of the RMC.
    pub fn contradicts(&self, vtg: &Sentence) -> bool {
        let stated = |field: usize| self.cells[field].as_ref().filter(|(_, kind)| *kind == Kind::Rmc);
        let differs = |(field, text): &(usize, String)| {
            [SPEED_KN, COURSE_DEG].contains(field)
                && stated(*field).is_some_and(|(own, _)| !agree(own, text).unwrap_or(true))
        };
        self.kinds.contains(&Kind::Vtg) || vtg.cells.iter().any(differs)
    }

    pub fn add(&mut self, line: u64, raw: &[u8], sentence: Sentence) {
        self.line = self.line.min(line);
        if !self.raw.is_empty() {
            self.raw.push(b'\n');
        }
        self.raw.extend_from_slice(raw);
        self.kinds.push(sentence.kind);
        if let Some((year, month, day)) = sentence.date {
            self.date = self.date.or_else(|| Date::new(year, month, day).ok());
        }
        for (field, text) in sentence.cells {
            let slot = &mut self.cells[field];
            // RMC says its own time, VTG does not.
            let from_vtg = slot.as_ref().is_some_and(|(_, kind)| *kind == Kind::Vtg);
            if slot.is_none() || (from_vtg && sentence.kind == Kind::Rmc) {
                *slot = Some((text, sentence.kind));
            }
        }
    }

    /// The cells of the record, time first.
    pub fn cells(self, instant: &str) -> Vec<String> {
        let mut cells: Vec<String> =
            self.cells.into_iter().map(|cell| cell.map_or_else(String::new, |(text, _)| text)).collect();
        instant.clone_into(&mut cells[0]);
        cells
    }
}

/// Whether two numbers agree to the decimals that both have.
fn agree(a: &str, b: &str) -> Option<bool> {
    let decimals = |text: &str| text.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    let places = i32::try_from(decimals(a).min(decimals(b))).ok()?;
    let (a, b): (f64, f64) = (a.parse().ok()?, b.parse().ok()?);
    Some((a - b).abs() <= 0.500_001 * 10_f64.powi(-places))
}

/// The date from epoch to epoch.
#[derive(Debug, Default)]
pub struct Clock {
    last: Option<(Date, i64)>,
}

impl Clock {
    /// The instant of an epoch, RFC 3339 in UTC; none before the first date.
    pub fn instant(&mut self, epoch: &Epoch) -> Option<String> {
        let time = epoch.time_of_day_ns;
        let date = match (epoch.date, self.last) {
            (Some(date), _) => date,
            (None, Some((date, last))) if time < last - HALF_DAY_NS => date.checked_add(1.day()).ok()?,
            (None, Some((date, last))) if time > last + HALF_DAY_NS => date.checked_sub(1.day()).ok()?,
            (None, Some((date, _))) => date,
            (None, None) => return None,
        };
        self.last = Some((date, time));
        let midnight = Offset::UTC.to_timestamp(date.at(0, 0, 0, 0)).ok()?;
        Some(midnight.checked_add(SignedDuration::from_nanos(time)).ok()?.to_string())
    }
}
