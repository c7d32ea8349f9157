//! The time of a row, by any of the clocks a logger keeps.

use backwatt_schema::NANOSECONDS_PER_SECOND;
use backwatt_schema::unit::Unit;
use jiff::civil::{self, Date};
use jiff::fmt::strtime;
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{Timestamp, ToSpan};

use crate::settings::TimeKind;
use crate::value::parse_number;

/// Why a time cell was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeFault {
    Unreadable,
    /// The clock showed this hour never: it was skipped when summer time began.
    Skipped,
}

/// What a time cell may mean: one instant, or two where the hour happened twice because summer time ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Readings {
    pub earlier_ns: i64,
    pub later_ns: Option<i64>,
}

/// A row before a repeated hour that lies further away says nothing about which of the two it is.
const NEAR_NS: i64 = 2 * 3600 * NANOSECONDS_PER_SECOND as i64;

impl Readings {
    fn one(time_ns: i64) -> Self {
        Self { earlier_ns: time_ns, later_ns: None }
    }

    /// The instant, told by the row before: a clock that was set back by an hour steps back by about as much, a row that came
    /// late by less. Half of what the clock was set back by parts the two. Without a row near enough it is the earlier.
    pub fn after(self, before_ns: Option<i64>) -> i64 {
        let (Some(later_ns), Some(before_ns)) = (self.later_ns, before_ns) else { return self.earlier_ns };
        let set_back_ns = later_ns.saturating_sub(self.earlier_ns);
        let step_back_ns = before_ns.saturating_sub(self.earlier_ns);
        if step_back_ns > set_back_ns / 2 && step_back_ns <= NEAR_NS { later_ns } else { self.earlier_ns }
    }

    /// The instant nearest to another clock's.
    pub fn nearest(self, time_ns: i64) -> i64 {
        let earlier = self.earlier_ns;
        self.later_ns.filter(|later| later.abs_diff(time_ns) < earlier.abs_diff(time_ns)).unwrap_or(earlier)
    }

    fn plus(self, more_ns: i64) -> Option<Self> {
        let later_ns = match self.later_ns {
            Some(later_ns) => Some(later_ns.checked_add(more_ns)?),
            None => None,
        };
        Some(Self { earlier_ns: self.earlier_ns.checked_add(more_ns)?, later_ns })
    }
}

/// A row's instant in nanoseconds since 1970 UTC, or since the file's start for a relative clock; of two the earlier.
pub fn parse_time(
    text: &str,
    plus: Option<&str>,
    kind: &TimeKind,
    decimal_comma: bool,
) -> Result<i64, TimeFault> {
    readings(text, plus, kind, decimal_comma).map(|readings| readings.earlier_ns)
}

/// As [`parse_time`], with both instants of an hour that happened twice.
pub fn readings(
    text: &str,
    plus: Option<&str>,
    kind: &TimeKind,
    decimal_comma: bool,
) -> Result<Readings, TimeFault> {
    match kind {
        TimeKind::Relative(_) if text.contains(':') => {
            let seconds = elapsed_s(text, decimal_comma).ok_or(TimeFault::Unreadable)?;
            Ok(Readings::one((seconds * 1e6).round() as i64 * 1000))
        }
        TimeKind::Epoch(unit) | TimeKind::Relative(unit) => {
            count(text, *unit, decimal_comma).map(Readings::one)
        }
        TimeKind::Iso => {
            let stamp: Timestamp = text.parse().map_err(|_| TimeFault::Unreadable)?;
            nanoseconds(stamp).map(Readings::one)
        }
        TimeKind::Local { format, zone } => local(text, format, zone),
        TimeKind::DayNumber { epoch, first, zone, plus: unit } => {
            let days = parse_number(text, decimal_comma).ok_or(TimeFault::Unreadable)? - first;
            let start = day_start(*epoch, days, zone)?;
            match (plus, unit) {
                (Some(text), Some((_, unit))) => {
                    start.plus(count(text.trim(), *unit, decimal_comma)?).ok_or(TimeFault::Unreadable)
                }
                _ => Ok(start),
            }
        }
    }
}

/// A count of some unit. Whole counts stay exact; fractions are rounded to the microsecond, which is what is left
/// of a present-day epoch in a double.
fn count(text: &str, unit: Unit, decimal_comma: bool) -> Result<i64, TimeFault> {
    let per_count = unit.to_si(1.0) * NANOSECONDS_PER_SECOND;
    if let Ok(whole) = text.parse::<i64>() {
        let exact = i128::from(whole) * (per_count.round() as i128);
        return i64::try_from(exact).map_err(|_| TimeFault::Unreadable);
    }
    let value = parse_number(text, decimal_comma).ok_or(TimeFault::Unreadable)?;
    let microseconds = (value * per_count / 1000.0).round();
    if microseconds.abs() > 9e15 {
        return Err(TimeFault::Unreadable);
    }
    Ok(microseconds as i64 * 1000)
}

/// Seconds of a clock that shows hours, minutes and seconds: "1:02:03.5". [s]
pub fn elapsed_s(text: &str, decimal_comma: bool) -> Option<f64> {
    let mut parts = text.trim().split(':');
    let mut whole = |digits: usize| {
        let part = parts.next()?;
        let is_whole = (1..=digits).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
        if is_whole { part.parse::<f64>().ok() } else { None }
    };
    let (hours, minutes) = (whole(5)?, whole(2).filter(|minutes| *minutes < 60.0)?);
    let seconds = parts.next().filter(|part| part.starts_with(|c: char| c.is_ascii_digit()))?;
    let seconds = parse_number(seconds, decimal_comma).filter(|seconds| *seconds < 60.0)?;
    parts.next().is_none().then_some(hours * 3600.0 + minutes * 60.0 + seconds)
}

fn local(text: &str, format: &str, zone: &TimeZone) -> Result<Readings, TimeFault> {
    let broken = strtime::parse(format, text).map_err(|_| TimeFault::Unreadable)?;
    // A row that states its offset is an instant, whatever the zone of the source.
    if broken.offset().is_some() {
        return broken
            .to_timestamp()
            .map_err(|_| TimeFault::Unreadable)
            .and_then(nanoseconds)
            .map(Readings::one);
    }
    zoned(broken.to_datetime().map_err(|_| TimeFault::Unreadable)?, zone)
}

/// Both instants of an hour that happens twice when summer time ends; the hour that is skipped when it begins is refused,
/// because no clock that keeps this zone can show it.
fn zoned(civil: civil::DateTime, zone: &TimeZone) -> Result<Readings, TimeFault> {
    let ambiguous = zone.to_ambiguous_timestamp(civil);
    let instant =
        |stamp: Result<Timestamp, jiff::Error>| stamp.map_err(|_| TimeFault::Unreadable).and_then(nanoseconds);
    match ambiguous.offset() {
        AmbiguousOffset::Gap { .. } => Err(TimeFault::Skipped),
        AmbiguousOffset::Unambiguous { .. } => instant(ambiguous.earlier()).map(Readings::one),
        AmbiguousOffset::Fold { .. } => Ok(Readings {
            earlier_ns: instant(ambiguous.earlier())?,
            later_ns: Some(instant(ambiguous.later())?),
        }),
    }
}

fn day_start(epoch: Date, days: f64, zone: &TimeZone) -> Result<Readings, TimeFault> {
    if !(-1e6..1e6).contains(&days) {
        return Err(TimeFault::Unreadable);
    }
    let whole = days.floor();
    let midnight = epoch.checked_add((whole as i64).days()).map_err(|_| TimeFault::Unreadable)?.at(0, 0, 0, 0);
    let seconds = ((days - whole) * 86_400.0 * 1000.0).round() as i64;
    let civil = midnight.checked_add(seconds.milliseconds()).map_err(|_| TimeFault::Unreadable)?;
    zoned(civil, zone)
}

fn nanoseconds(stamp: Timestamp) -> Result<i64, TimeFault> {
    i64::try_from(stamp.as_nanosecond()).map_err(|_| TimeFault::Unreadable)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unit(text: &str) -> Unit {
        Unit::parse(text).unwrap()
    }

    #[test]
    fn epochs_are_exact_where_they_are_whole() {
        let ms = TimeKind::Epoch(unit("ms"));
        assert_eq!(parse_time("1627271607123", None, &ms, false), Ok(1_627_271_607_123_000_000));
        let s = TimeKind::Epoch(unit("s"));
        assert_eq!(parse_time("1751256576.729", None, &s, false), Ok(1_751_256_576_729_000_000));
        assert_eq!(parse_time("9e300", None, &s, false), Err(TimeFault::Unreadable));
    }

    #[test]
    fn the_same_instant_three_ways() {
        let iso = parse_time("2021-07-26T03:53:27Z", None, &TimeKind::Iso, false).unwrap();
        let zone = TimeZone::get("Europe/Zurich").unwrap();
        let local = TimeKind::Local { format: "%d.%m.%Y %H:%M:%S".into(), zone };
        assert_eq!(parse_time("26.07.2021 05:53:27", None, &local, false), Ok(iso));
        assert_eq!(parse_time("1627271607", None, &TimeKind::Epoch(unit("s")), false), Ok(iso));
    }

    #[test]
    fn an_offset_in_the_pattern_is_obeyed() {
        let zone = TimeZone::get("Europe/Zurich").unwrap();
        let kind = TimeKind::Local { format: "%Y-%m-%d %H:%M:%S %z".into(), zone };
        let wanted = parse_time("2026-03-02T13:00:00Z", None, &TimeKind::Iso, false);
        assert_eq!(parse_time("2026-03-02 08:00:00 -0500", None, &kind, false), wanted);
    }

    #[test]
    fn a_clock_of_its_own_may_show_hours() {
        let kind = TimeKind::Relative(unit("s"));
        assert_eq!(parse_time("1:02:03.5", None, &kind, false), Ok(3_723_500_000_000));
        assert_eq!(parse_time("00:00:07,25", None, &kind, true), Ok(7_250_000_000));
        for not in ["1:02", "1:60:00", "1:00:61", "-1:00:00", "1:2:3:4", "::", "a:b:c", "999999:00:00"] {
            assert_eq!(parse_time(not, None, &kind, false), Err(TimeFault::Unreadable), "{not}");
        }
    }

    #[test]
    fn summer_time_gap_and_fold() {
        let zone = TimeZone::get("Europe/Zurich").unwrap();
        let kind = TimeKind::Local { format: "%Y-%m-%d %H:%M:%S".into(), zone };
        assert_eq!(parse_time("2021-03-28 02:30:00", None, &kind, false), Err(TimeFault::Skipped));
        let fold = parse_time("2021-10-31 02:30:00", None, &kind, false).unwrap();
        assert_eq!(Ok(fold), parse_time("2021-10-31T00:30:00Z", None, &TimeKind::Iso, false));
    }

    #[test]
    fn an_hour_that_happens_twice_is_told_by_the_row_before() {
        let zone = TimeZone::get("Europe/Zurich").unwrap();
        let kind = TimeKind::Local { format: "%Y-%m-%d %H:%M:%S".into(), zone };
        let utc = |text: &str| parse_time(text, None, &TimeKind::Iso, false).unwrap();
        let told = |text: &str, before: Option<&str>| {
            readings(text, None, &kind, false).unwrap().after(before.map(utc))
        };
        let (first, second) = (utc("2021-10-31T00:30:00Z"), utc("2021-10-31T01:30:00Z"));
        let half_past = "2021-10-31 02:30:00";
        assert_eq!(told(half_past, None), first, "nothing to tell it by");
        assert_eq!(told(half_past, Some("2021-10-31T00:29:59Z")), first);
        assert_eq!(told(half_past, Some("2021-10-31T00:30:05Z")), first, "a row that came late");
        assert_eq!(told(half_past, Some("2021-10-31T01:29:59Z")), second);
        assert_eq!(
            told(half_past, Some("2021-10-31T01:30:05Z")),
            second,
            "a row that came late in the second hour"
        );
        assert_eq!(told(half_past, Some("2021-10-31T02:00:00Z")), second, "the latest row stands first");
        assert_eq!(told(half_past, Some("2021-10-31T09:00:00Z")), first, "a row too far away to tell");
        assert_eq!(told("2021-10-31 02:00:00", Some("2021-10-31T00:59:59Z")), utc("2021-10-31T01:00:00Z"));
    }

    #[test]
    fn impossible_dates_are_unreadable() {
        let kind = TimeKind::Local { format: "%m/%d/%Y %H:%M:%S".into(), zone: TimeZone::UTC };
        assert!(parse_time("90/02/2032 11:00:00", None, &kind, false).is_err());
        assert!(parse_time("02/00/2060 11:00:00", None, &kind, false).is_err());
        assert!(parse_time("5/25/2021 11:00:00", None, &kind, false).is_ok(), "unpadded month");
    }

    #[test]
    fn day_numbers() {
        let kind = TimeKind::DayNumber {
            epoch: civil::date(2017, 11, 1),
            first: 1.0,
            zone: TimeZone::UTC,
            plus: Some(("s".into(), unit("s"))),
        };
        let wanted = parse_time("2017-11-02T12:00:05Z", None, &TimeKind::Iso, false);
        assert_eq!(parse_time("2.5", Some("5.0"), &kind, false), wanted);
    }
}
