//! Which columns hold the time, and how it is written.

use backwatt_schema::unit::Dimension;
use jiff::Timestamp;

use super::Look;
use super::column_name::{self, ColumnName};
use super::dates::{self, Written};
use crate::header::plain_name;
use crate::value::{is_missing, parse_number};

/// The columns taken for the time.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeGuess {
    pub columns: Vec<String>,
    pub clock: Clock,
}

/// What kind of time they hold, as the pilot file names the kinds.
#[derive(Debug, Clone, PartialEq)]
pub enum Clock {
    Epoch { unit: &'static str },
    Iso,
    Local(Written),
    DayNumber { epoch: &'static str, first: f64 },
    Relative { unit: &'static str },
}

impl Clock {
    pub fn kind(&self) -> &'static str {
        match self {
            Clock::Epoch { .. } => "epoch",
            Clock::Iso => "iso",
            Clock::Local(_) => "local",
            Clock::DayNumber { .. } => "day-number",
            Clock::Relative { .. } => "relative",
        }
    }

    /// A count since 1970 is read exactly, a clock on a wall needs its zone, and a clock of its own has no date.
    fn rank(&self) -> u8 {
        match self {
            Clock::Epoch { .. } => 0,
            Clock::Iso => 1,
            Clock::Local(_) => 2,
            Clock::DayNumber { .. } => 3,
            Clock::Relative { .. } => 4,
        }
    }

    pub fn is_local(&self) -> bool {
        match self {
            Clock::Local(written) => written.zone.is_none(),
            Clock::DayNumber { .. } => true,
            Clock::Epoch { .. } | Clock::Iso | Clock::Relative { .. } => false,
        }
    }

    /// Whether a day and a month cannot be told apart.
    pub fn is_ambiguous(&self) -> bool {
        matches!(self, Clock::Local(Written { or_else: Some(_), .. }))
    }
}

/// Words of a name that speak of a time.
const TIME: [&str; 27] = [
    "time",
    "timestamp",
    "timestamps",
    "datetime",
    "epoch",
    "date",
    "datum",
    "uhrzeit",
    "zeit",
    "zeitstempel",
    "clock",
    "utc",
    "elapsed",
    "uptime",
    "seconds",
    "secs",
    "sec",
    "millis",
    "milliseconds",
    "ts",
    "tstamp",
    "unixtime",
    "fecha",
    "hora",
    "heure",
    "tijd",
    "unix",
];
/// Seconds of 2000 and of 2100: an epoch outside is none.
const EPOCH_S: (f64, f64) = (946_684_800.0, 4_102_444_800.0);
/// Counts of days that spreadsheets and numerical tools keep: the day that bears the first number, and that number; 1900 is
/// kept as a leap year, so that the day before the first is two days early (ECMA-376 part 1, 18.17.4.1).
const DAY_NUMBERS: [(&str, f64, (f64, f64)); 2] =
    [("1899-12-30", 0.0, (36_526.0, 73_051.0)), ("1970-01-01", 719_529.0, (730_486.0, 767_011.0))];

/// The best clock of a file.
pub fn time(look: &Look) -> Option<TimeGuess> {
    let named = |at: &usize| speaks_of_time(&look.names[*at]);
    let candidates: Vec<usize> = (0..look.names.len()).filter(named).collect();
    let singles = candidates.iter().filter_map(|at| one_column(look, *at));
    let found: Vec<TimeGuess> =
        singles.chain(two_columns(look, &candidates)).chain(six_columns(look)).collect();
    let best = found.into_iter().min_by_key(|guess| guess.clock.rank());
    let clear = best.as_ref().is_some_and(|guess| guess.clock.rank() <= 3);
    // A name that says nothing of a time may still hold one, if it can be nothing else.
    let unnamed = || (0..look.names.len()).filter(|at| !named(at)).find_map(|at| rising(look, at));
    if clear { best } else { unnamed().or(best) }
}

/// The time of a satellite receiver beside the clock that was chosen, by its name and what stands in it.
pub fn gps_time(look: &Look, clock: &TimeGuess) -> Option<TimeGuess> {
    if matches!(clock.clock, Clock::Relative { .. }) {
        return None;
    }
    let named = |plain: &str, words: &[&str]| words.iter().any(|word| plain.contains(word));
    let found = look.names.iter().enumerate().filter(|(_, name)| !clock.columns.contains(name));
    let guesses = found.filter_map(|(at, name)| {
        let plain = plain_name(name);
        let receiver = named(&plain, &["gps", "gnss", "utc"]);
        // A large number may be anything else that a receiver has.
        let time = named(&plain, &["time", "utc", "epoch", "date", "clock"]);
        one_column(look, at).filter(|guess| receiver && (time || guess.clock.rank() != 0))
    });
    guesses.into_iter().find(|guess| guess.clock.rank() < 3)
}

fn speaks_of_time(name: &str) -> bool {
    let plain = plain_name(name);
    let parts = ColumnName::read(name);
    plain.contains("time")
        || plain.contains("epoch")
        || parts.words.iter().any(|word| TIME.contains(&word.as_str()))
        || matches!(plain.as_str(), "daynum" | "daynumber" | "datenum" | "datenumber")
        // A lone t is no word for a time; with its unit it is.
        || parts.unit(Dimension::Time).is_some_and(|stated| plain_name(&stated.body) == "t")
}

fn one_column(look: &Look, at: usize) -> Option<TimeGuess> {
    let texts = cells(look, at);
    let columns = vec![look.names[at].clone()];
    let guess = |clock| Some(TimeGuess { columns: columns.clone(), clock });
    if let Some(numbers) = numbers(look, &texts) {
        if let Some(unit) = epoch_unit(&numbers) {
            return guess(Clock::Epoch { unit });
        }
        if let Some((epoch, first)) = day_number(&numbers) {
            return guess(Clock::DayNumber { epoch, first });
        }
        // Twelve digits and more may be a date and a time without anything between them.
        let compact =
            texts.first().filter(|text| text.len() >= 12 && text.bytes().all(|byte| byte.is_ascii_digit()));
        if let Some(written) = compact.and_then(|_| dates::of(&texts, &look.names[at])) {
            return guess(Clock::Local(written));
        }
        return relative_unit(look, at).and_then(|unit| guess(Clock::Relative { unit }));
    }
    if texts.first()?.parse::<Timestamp>().is_ok() {
        return guess(Clock::Iso);
    }
    if let Some(written) = dates::of(&texts, &look.names[at]) {
        return guess(Clock::Local(written));
    }
    let elapsed = texts.iter().all(|text| crate::time::elapsed_s(text, look.decimal_comma).is_some());
    if elapsed { guess(Clock::Relative { unit: "s" }) } else { None }
}

/// A clock in a column whose name is no word for one: a count since 1970 that never falls, or texts that are instants.
fn rising(look: &Look, at: usize) -> Option<TimeGuess> {
    let texts = cells(look, at);
    let guess = one_column(look, at)?;
    match guess.clock {
        Clock::Epoch { .. } => {
            let numbers = numbers(look, &texts)?;
            let falls = numbers.windows(2).filter(|pair| pair[1] < pair[0]).count();
            let moves = numbers.first() != numbers.last();
            (moves && falls * 20 <= numbers.len()).then_some(guess)
        }
        Clock::Iso => Some(guess),
        Clock::Local(_) if numbers(look, &texts).is_none() => Some(guess),
        _ => None,
    }
}

/// A date and a time of day side by side.
fn two_columns(look: &Look, candidates: &[usize]) -> Option<TimeGuess> {
    let named = |words: &[&str]| {
        let is = |at: &usize| {
            ColumnName::read(&look.names[*at]).words.iter().any(|word| words.contains(&word.as_str()))
        };
        candidates.iter().copied().find(|at| is(at))
    };
    let (date, time) = (named(&["date", "datum", "fecha"])?, named(&["time", "uhrzeit", "zeit", "hora"])?);
    if date == time {
        return None;
    }
    joined(look, &[date, time])
}

/// Year, month, day, hour, minute and second in columns of their own.
fn six_columns(look: &Look) -> Option<TimeGuess> {
    let named = |word: &str| {
        look.names.iter().position(|name| plain_name(name) == word || plain_name(name) == format!("{word}s"))
    };
    let places = ["year", "month", "day", "hour", "minute", "second"].map(named);
    let places: Vec<usize> = places.into_iter().collect::<Option<_>>()?;
    joined(look, &places)
}

fn joined(look: &Look, places: &[usize]) -> Option<TimeGuess> {
    let join = |row: &Vec<String>| places.iter().map(|at| row[*at].trim()).collect::<Vec<_>>().join(" ");
    let texts: Vec<String> = look.rows.iter().map(join).collect();
    let columns: Vec<String> = places.iter().map(|at| look.names[*at].clone()).collect();
    let written = dates::of(&texts, &columns.join(" "))?;
    Some(TimeGuess { columns, clock: Clock::Local(written) })
}

fn cells(look: &Look, at: usize) -> Vec<String> {
    look.rows.iter().map(|row| row[at].trim().to_owned()).filter(|text| !is_missing(text, &[])).collect()
}

/// All of them, if nearly all are numbers.
fn numbers(look: &Look, texts: &[String]) -> Option<Vec<f64>> {
    let numbers: Vec<f64> = texts.iter().filter_map(|text| parse_number(text, look.decimal_comma)).collect();
    (!texts.is_empty() && numbers.len() * 10 >= texts.len() * 9).then_some(numbers)
}

/// The unit in which nearly all fall into this century.
fn epoch_unit(numbers: &[f64]) -> Option<&'static str> {
    let units = [("s", 1.0), ("ms", 1e3), ("us", 1e6), ("ns", 1e9)];
    units
        .into_iter()
        .find(|(_, per_s)| nearly_all(numbers, (EPOCH_S.0 * per_s, EPOCH_S.1 * per_s)))
        .map(|unit| unit.0)
}

/// A count of days goes on by parts of a day; one of seconds that happens to be as large does not.
fn day_number(numbers: &[f64]) -> Option<(&'static str, f64)> {
    let steps: Vec<f64> = numbers.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0.0).collect();
    let step = crate::median(steps)?;
    let found = DAY_NUMBERS.into_iter().find(|(_, _, span)| step < 0.005 && nearly_all(numbers, *span));
    found.map(|(epoch, first, _)| (epoch, first))
}

fn nearly_all(numbers: &[f64], (least, most): (f64, f64)) -> bool {
    numbers.iter().filter(|number| (least..=most).contains(*number)).count() * 10 >= numbers.len() * 9
}

/// A date is no clock of its own, nor is a number of days or of a week.
fn relative_unit(look: &Look, at: usize) -> Option<&'static str> {
    let parts = ColumnName::read(&look.names[at]);
    let words = &parts.words;
    if words.iter().any(|word| {
        matches!(word.as_str(), "date" | "datum" | "fecha" | "utc" | "week" | "zone" | "day" | "num")
    }) {
        return None;
    }
    let stated = parts.unit(Dimension::Time).map(|stated| stated.unit);
    let in_row =
        || look.units.get(at).and_then(|text| column_name::spelled(text, Dimension::Time)).map(|found| found.0);
    let by_word = || words.iter().any(|word| word.starts_with("milli")).then_some("ms");
    Some(stated.or_else(in_row).or_else(by_word).unwrap_or("s"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(names: &[&str], rows: &[&[&str]]) -> Look {
        let owned = |cells: &[&str]| cells.iter().map(|cell| (*cell).to_owned()).collect::<Vec<_>>();
        Look {
            shown: "log.csv".to_owned(),
            format: crate::formats::Format::Delimited,
            dbc: None,
            description: String::new(),
            decimal_comma: false,
            long: None,
            names: owned(names),
            units: Vec::new(),
            rows: rows.iter().map(|row| owned(row)).collect(),
        }
    }

    fn clock(names: &[&str], rows: &[&[&str]]) -> Option<(String, Clock)> {
        time(&look(names, rows)).map(|guess| (guess.columns.join(" "), guess.clock))
    }

    fn single(name: &str, cells: [&str; 2]) -> Option<Clock> {
        clock(&[name], &[&[cells[0]], &[cells[1]]]).map(|found| found.1)
    }

    #[test]
    fn counts_since_1970_by_what_stands_in_them() {
        assert_eq!(single("ts", ["1772438400", "1772438401"]), Some(Clock::Epoch { unit: "s" }));
        assert_eq!(single("t", ["1772438400000", "1772438401000"]), Some(Clock::Epoch { unit: "ms" }));
        assert_eq!(single("x", ["1772438400000000", "1772438401000000"]), Some(Clock::Epoch { unit: "us" }));
        assert_eq!(
            single("t", ["1772438400000000000", "1772438401000000000"]),
            Some(Clock::Epoch { unit: "ns" })
        );
        assert_eq!(single("t", ["1.772438400e+09", "1.772438401e+09"]), Some(Clock::Epoch { unit: "s" }));
        assert_eq!(
            single("serial", ["1772438400", "1772438400"]),
            None,
            "a number that stands still is no clock"
        );
        assert_eq!(single("t", ["0", "1"]), None, "a lone t is no word for a time");
        assert_eq!(single("t_s", ["0", "1"]), Some(Clock::Relative { unit: "s" }));
        assert_eq!(single("Elapsed (ms)", ["0", "1"]), Some(Clock::Relative { unit: "ms" }));
        assert_eq!(single("Elapsed", ["0:00:09", "0:00:10"]), Some(Clock::Relative { unit: "s" }));
    }

    #[test]
    fn numbers_of_days() {
        let spreadsheet = Clock::DayNumber { epoch: "1899-12-30", first: 0.0 };
        assert_eq!(single("Timestamp", ["46083.333333", "46083.333345"]), Some(spreadsheet));
        let tool = Clock::DayNumber { epoch: "1970-01-01", first: 719_529.0 };
        assert_eq!(single("time", ["740043.333333", "740043.333345"]), Some(tool));
        assert_eq!(single("DayNum", ["291.577", "291.578"]), None, "days since when?");
        assert_eq!(single("time", ["46083", "46084"]), Some(Clock::Relative { unit: "s" }), "seconds");
    }

    #[test]
    fn split_times() {
        let found =
            clock(&["Date", "Time", "v"], &[&["20260302", "080000", "1"], &["20260302", "080001", "2"]]);
        let (columns, Clock::Local(written)) = found.expect("a time") else { panic!("a local time") };
        assert_eq!((columns.as_str(), written.format.as_str()), ("Date Time", "%Y%m%d %H%M%S"));
        let names = ["Year", "Month", "Day", "Hour", "Minute", "Second"];
        let (columns, Clock::Local(written)) =
            clock(&names, &[&["2026", "3", "2", "8", "0", "59"]]).expect("a time")
        else {
            panic!("a local time")
        };
        assert_eq!(columns, names.join(" "));
        assert_eq!(written.format, "%Y %m %d %H %M %S");
    }

    #[test]
    fn gps_time_is_a_second_clock() {
        let found = |names: &[&str], cells: &[&str]| {
            let look = look(names, &[cells]);
            let gps = gps_time(&look, &time(&look).expect("a time"))?;
            Some((gps.columns[0].clone(), gps.clock.kind()))
        };
        let gps = |name: &str, cell: &str| found(&["time", name], &["1767225600", cell]);
        assert_eq!(gps("gps_utc", "2026-01-01T00:00:03Z"), Some(("gps_utc".to_owned(), "iso")));
        assert_eq!(gps("GNSS time [ms]", "1767225603000"), Some(("GNSS time [ms]".to_owned(), "epoch")));
        assert_eq!(gps("gps_date", "2026-01-01 00:00:03"), Some(("gps_date".to_owned(), "local")));
        assert_eq!(gps("gps_serial", "1767225603000"), None, "no clock");
        assert_eq!(gps("gps_speed", "12.5"), None);
        assert_eq!(gps("server", "2026-01-01T00:00:03Z"), None);
        assert_eq!(
            found(&["time", "gps_utc"], &["12.5", "2026-01-01T00:00:03Z"]),
            None,
            "GPS time is the time itself"
        );
    }
}
