//! NMEA 0183 logs: sentences in, one record per epoch out.
//!
//! An epoch is the run of sentences that state the same UTC time of day. Its date is that of its RMC or ZDA; without
//! one it is the date that puts it within twelve hours of the epoch before, so that a GGA just after midnight does not
//! wait for its RMC. An epoch before the first date is refused. VTG states no time: it belongs to the epoch it follows,
//! or to the next one where it contradicts the RMC of that one. Where RMC and VTG both state a speed, the first stands.

mod epoch;
mod sentence;

use std::collections::{BTreeMap, VecDeque};
use std::io::{self, BufRead, BufReader};

use super::lines::{Line, next_line};
use super::{Fields, Opened, Records, RowText};
use crate::input::Input;
use epoch::{Clock, Epoch};
use sentence::{Kind, Sentence};

/// The fields of every record, in this order. `time` is RFC 3339, UTC; the altitude stands over the sea.
pub const FIELDS: [&str; 10] = [
    "time",
    "latitude_deg",
    "longitude_deg",
    "altitude_m",
    "geoid_separation_m",
    "speed_kn",
    "speed_km_h",
    "course_deg",
    "hdop",
    "satellites",
];

/// Their units.
const UNITS: [&str; 10] = ["", "deg", "deg", "m", "m", "kn", "km/h", "deg", "", ""];

const LATITUDE_DEG: usize = 1;
const LONGITUDE_DEG: usize = 2;
const ALTITUDE_M: usize = 3;
const GEOID_SEPARATION_M: usize = 4;
const SPEED_KN: usize = 5;
const SPEED_KM_H: usize = 6;
const COURSE_DEG: usize = 7;
const HDOP: usize = 8;
const SATELLITES: usize = 9;

/// True where most lines hold a sentence, one at least of a kind that is read here.
pub fn recognises(head: &[u8]) -> bool {
    let lines =
        || head.split(|byte| *byte == b'\n').filter(|line| !line.iter().all(u8::is_ascii_whitespace)).take(50);
    let read = || lines().map(sentence::read);
    read().any(|line| matches!(line, Ok(Some(_)))) && read().filter(Result::is_ok).count() * 2 > lines().count()
}

pub fn open(input: Input) -> Opened {
    let records = NmeaRecords::new(BufReader::with_capacity(1 << 16, input));
    Opened {
        description: "NMEA 0183 sentences".to_owned(),
        units: UNITS.map(str::to_owned).to_vec(),
        ..Opened::new(Box::new(records))
    }
}

/// The records of one log.
pub struct NmeaRecords<R> {
    reader: R,
    line: u64,
    names: Vec<String>,
    clock: Clock,
    open: Option<Epoch>,
    /// A VTG that contradicts the epoch before it, with its line.
    held: Option<(u64, Vec<u8>, Sentence)>,
    ready: VecDeque<Ready>,
    other_sentences: u64,
}

/// A record or refusal that waits for its turn.
enum Ready {
    Row { line: u64, raw: Vec<u8>, cells: Vec<String> },
    Refused { line: u64, raw: Vec<u8>, reason: &'static str, message: &'static str },
}

impl<R: BufRead> NmeaRecords<R> {
    pub fn new(reader: R) -> Self {
        Self {
            reader,
            line: 0,
            names: FIELDS.map(str::to_owned).to_vec(),
            clock: Clock::default(),
            open: None,
            held: None,
            ready: VecDeque::new(),
            other_sentences: 0,
        }
    }

    fn take_line(&mut self, raw: &[u8]) {
        let line = self.line;
        match sentence::read(raw) {
            Ok(Some(sentence)) => self.take_sentence(line, raw, sentence),
            Ok(None) => self.other_sentences += 1,
            Err((reason, message)) => self.refuse(line, raw, reason, message),
        }
    }

    fn take_sentence(&mut self, line: u64, raw: &[u8], sentence: Sentence) {
        if sentence.kind == Kind::Vtg {
            match &mut self.open {
                None => self.refuse(line, raw, "time-missing", "no sentence before it says what time it was"),
                Some(epoch) if epoch.contradicts(&sentence) => {
                    self.refuse_held();
                    self.held = Some((line, raw.to_owned(), sentence));
                }
                Some(epoch) => epoch.add(line, raw, sentence),
            }
            return;
        }
        let Some(time) = sentence.time_of_day_ns else {
            self.refuse(line, raw, "time-missing", "the sentence states no time: the receiver has none yet");
            return;
        };
        if !self.open.as_ref().is_some_and(|epoch| epoch.takes(time, sentence.kind)) {
            self.close();
            self.open = Some(Epoch::new(line, time));
            if let (Some((line, raw, held)), Some(epoch)) = (self.held.take(), &mut self.open) {
                epoch.add(line, &raw, held);
            }
        }
        if let Some(epoch) = &mut self.open {
            epoch.add(line, raw, sentence);
        }
    }

    /// Two in a row that fit nowhere: the first has no epoch of its own.
    fn refuse_held(&mut self) {
        if let Some((line, raw, _)) = self.held.take() {
            self.refuse(line, &raw, "time-missing", "it agrees with no sentence that says what time it was");
        }
    }

    fn close(&mut self) {
        let Some(epoch) = self.open.take() else { return };
        let (line, raw) = (epoch.line, epoch.raw.clone());
        match self.clock.instant(&epoch) {
            Some(instant) => self.ready.push_back(Ready::Row { line, raw, cells: epoch.cells(&instant) }),
            None => self.refuse(line, &raw, "date-missing", "no RMC or ZDA before it has said which day it is"),
        }
    }

    fn refuse(&mut self, line: u64, raw: &[u8], reason: &'static str, message: &'static str) {
        self.ready.push_back(Ready::Refused { line, raw: raw.to_owned(), reason, message });
    }
}

impl<R: BufRead> Records for NmeaRecords<R> {
    fn names(&self) -> &[String] {
        &self.names
    }

    fn next(&mut self, fields: &mut Fields) -> io::Result<RowText> {
        let mut buffer = Vec::new();
        loop {
            match self.ready.pop_front() {
                Some(Ready::Refused { line, raw, reason, message }) => {
                    return Ok(RowText::Refused { line, raw, reason, message: message.into() });
                }
                Some(Ready::Row { line, raw, cells }) => {
                    fields.clear();
                    cells.iter().for_each(|cell| fields.push(cell.as_bytes()));
                    return Ok(RowText::Row { line, raw });
                }
                None => {}
            }
            let read = next_line(&mut self.reader, &mut buffer)?;
            self.line += 1;
            match read {
                Line::TooLong => {
                    self.refuse(self.line, &buffer, "line-too-long", "the line is longer than 1 MiB");
                }
                Line::Whole { .. } if buffer.iter().all(u8::is_ascii_whitespace) => {}
                Line::Whole { .. } => self.take_line(&buffer),
                Line::End => {
                    self.close();
                    self.refuse_held();
                    if self.ready.is_empty() {
                        return Ok(RowText::End);
                    }
                }
            }
        }
    }

    fn passed(&self) -> BTreeMap<&'static str, u64> {
        BTreeMap::from([("other-sentence", self.other_sentences)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A body with its checksum.
    fn whole(body: &str) -> String {
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        format!("${body}*{sum:02X}\n")
    }

    fn read(text: &str) -> Vec<String> {
        let mut records = NmeaRecords::new(text.as_bytes());
        let mut fields = Fields::default();
        let mut seen = Vec::new();
        loop {
            match records.next(&mut fields).unwrap() {
                RowText::End => return seen,
                RowText::Row { line, .. } => {
                    let cells: Vec<_> = fields.iter().map(|cell| String::from_utf8_lossy(cell)).collect();
                    assert_eq!(cells.len(), records.names().len());
                    seen.push(format!("{line}: {}", cells.join(" ")));
                }
                RowText::Refused { line, reason, .. } => seen.push(format!("{line}! {reason}")),
            }
        }
    }

    fn rmc(time: &str, speed: &str, date: &str) -> String {
        whole(&format!("GPRMC,{time},A,4730.000,N,00830.000,E,{speed},090.0,{date},,"))
    }

    fn gga(time: &str) -> String {
        whole(&format!("GPGGA,{time},4730.000,N,00830.000,E,1,08,0.9,400.5,M,46.9,M,,"))
    }

    #[test]
    fn sentences_of_one_time_are_one_record() {
        let text = gga("080000.00")
            + &rmc("080000", "10.0", "020326")
            + &whole("GPVTG,090.0,T,,M,10.0,N,18.5,K")
            + &whole("GPGSV,1,1,01,01,40,083,46")
            + &rmc("080001.00", "11.0", "020326");
        assert_eq!(
            read(&text),
            [
                "1: 2026-03-02T08:00:00Z 47.5 8.5 400.5 46.9 10.0 18.5 090.0 0.9 08",
                "5: 2026-03-02T08:00:01Z 47.5 8.5   11.0  090.0  ",
            ]
        );
        let mut records = NmeaRecords::new(text.as_bytes());
        while records.next(&mut Fields::default()).unwrap() != RowText::End {}
        assert_eq!(records.passed()["other-sentence"], 1);
    }

    #[test]
    fn midnight_between_a_gga_and_its_rmc() {
        let over =
            rmc("235959", "10.0", "311225") + &gga("000000") + &gga("000001") + &rmc("000001", "9", "010126");
        let times: Vec<_> = read(&over).iter().map(|row| row.split(' ').nth(1).unwrap().to_owned()).collect();
        assert_eq!(times, ["2025-12-31T23:59:59Z", "2026-01-01T00:00:00Z", "2026-01-01T00:00:01Z"]);
        // A late sentence of the day before stays in the day before.
        let late = rmc("000001", "10.0", "010126") + &gga("235959");
        assert!(read(&late)[1].contains("2025-12-31T23:59:59Z"));
    }

    #[test]
    fn no_date_yet_is_refused_and_void_dates_do_not_count() {
        let void = whole("GPRMC,080000,V,,,,,,,060180,,");
        let text = gga("075959") + &void + &rmc("080001", "1.0", "020326");
        let rows = read(&text);
        assert_eq!(rows[..2], ["1! date-missing", "2! date-missing"]);
        assert!(rows[2].starts_with("3: 2026-03-02T08:00:01Z"));
        // A date in the same epoch serves those before it.
        assert!(
            read(&(gga("080000") + &whole("GPZDA,080000,02,03,2026,00,00")))[0]
                .contains("2026-03-02T08:00:00Z")
        );
    }

    #[test]
    fn a_vtg_before_its_rmc_finds_its_epoch() {
        let vtg = |speed: &str, km_h: &str| whole(&format!("GPVTG,090.0,T,,M,{speed},N,{km_h},K"));
        let text = rmc("080000", "10.0", "020326")
            + &vtg("11.0", "20.4")
            + &rmc("080001", "11.0", "020326")
            + &vtg("12.0", "22.2")
            + &rmc("080002", "12.0", "020326");
        let rows = read(&text);
        assert!(rows[0].contains(" 10.0  090.0"), "{rows:?}");
        assert!(rows[1].starts_with("2: ") && rows[1].contains(" 11.0 20.4 "), "{rows:?}");
        assert!(rows[2].contains(" 12.0 22.2 "), "{rows:?}");
        assert_eq!(read(&vtg("1.0", "1.9")), ["1! time-missing"]);
        let none = rmc("080000", "10.0", "020326") + &vtg("50.0", "92.6");
        assert_eq!(read(&none)[1], "2! time-missing", "nothing is lost at the end");
    }

    #[test]
    fn the_same_kind_again_is_another_record() {
        let text = rmc("080000", "10.0", "020326") + &rmc("080000", "10.5", "020326");
        assert_eq!(read(&text).len(), 2);
        let bad = "noise\n".to_owned() + &rmc("080000", "10.0", "020326").replace("10.0", "19.0");
        assert_eq!(read(&bad), ["1! not-a-sentence", "2! checksum-wrong"]);
    }

    proptest::proptest! {
        /// Whatever the lines, every line that is not blank and not another sentence is in a record or refused.
        #[test]
        fn no_line_is_lost(picks in proptest::collection::vec((0..6_usize, 0..4_u32), 0..40)) {
            let mut text = String::new();
            for (kind, second) in &picks {
                let time = format!("08000{second}");
                text += &match kind {
                    0 => rmc(&time, "10.0", "020326"),
                    1 => gga(&time),
                    2 => whole("GPVTG,090.0,T,,M,10.0,N,18.5,K"),
                    3 => whole("GPVTG,090.0,T,,M,77.0,N,142.6,K"),
                    4 => whole("GPGSV,1,1,01,01,40,083,46"),
                    _ => "broken\n".to_owned(),
                };
            }
            let mut records = NmeaRecords::new(text.as_bytes());
            let mut lines = 0;
            loop {
                match records.next(&mut Fields::default()).unwrap() {
                    RowText::End => break,
                    RowText::Row { raw, .. } | RowText::Refused { raw, .. } => {
                        lines += raw.split(|b| *b == b'\n').count() as u64;
                    }
                }
            }
            proptest::prop_assert_eq!(lines + records.passed()["other-sentence"], picks.len() as u64);
        }
    }
}
