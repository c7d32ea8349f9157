//! The pattern that dates and times of day are written in.

use jiff::fmt::strtime;

/// How a local time is written.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    /// As strftime has it.
    pub format: String,
    /// The same with day and month the other way round, where that reads as well.
    pub or_else: Option<String>,
    /// The zone, where the log itself says UTC.
    pub zone: Option<&'static str>,
}

const DATES: [&str; 17] = [
    "%Y-%m-%d",
    "%Y/%m/%d",
    "%Y.%m.%d",
    "%Y%m%d",
    "%Y %m %d",
    "%d.%m.%Y",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "%d-%m-%Y",
    "%m-%d-%Y",
    "%d-%b-%Y",
    "%d %b %Y",
    "%b %d, %Y",
    "%d.%m.%y",
    "%d/%m/%y",
    "%m/%d/%y",
    "%d-%b-%y",
];
const BETWEEN: [&str; 5] = [" ", "T", ", ", "-", ""];
const TIMES: [&str; 11] = [
    "%H:%M:%S",
    "%H:%M:%S%.f",
    "%H:%M:%S,%f",
    "%I:%M:%S %p",
    "%I:%M:%S%.f %p",
    "%H:%M",
    "%I:%M %p",
    "%H%M%S",
    "%H%M%S%.f",
    "%H %M %S",
    "%H %M %S%.f",
];
/// Ends that say the zone.
const UTC: [&str; 4] = [" UTC", " GMT", " Z", "Z"];
/// A year outside is a misread pattern: "26" is no year 26.
const YEARS: std::ops::RangeInclusive<i16> = 1990..=2099;

/// The pattern that reads nearly all of the texts; the first of those that read the most.
pub fn of(texts: &[String], name: &str) -> Option<Written> {
    let tried: Vec<&String> = texts.iter().filter(|text| may_be_date(text)).take(TRIED).collect();
    let first = tried.first()?;
    let end = UTC.into_iter().find(|end| first.ends_with(end));
    let in_name =
        super::column_name::ColumnName::read(name).words.iter().any(|word| word == "utc" || word == "gmt");
    let zone = (end.is_some() || in_name).then_some("UTC");
    let counted: Vec<(String, usize)> = patterns(end.unwrap_or(""))
        .filter(|format| tried.iter().any(|text| reads(format, text)))
        .map(|format| (format.clone(), texts.iter().filter(|text| reads(&format, text)).count()))
        .collect();
    let most = counted.iter().map(|(_, count)| *count).max()?;
    if most * 10 < texts.len() * 9 {
        return None;
    }
    let format = counted.iter().find(|(_, count)| *count == most)?.0.clone();
    let or_else =
        counted.iter().find(|(other, count)| *count == most && *other == turned(&format) && *other != format);
    Some(Written { or_else: or_else.map(|(other, _)| other.clone()), format, zone })
}

fn patterns(end: &str) -> impl Iterator<Item = String> {
    let dates = DATES.into_iter().flat_map(|date| BETWEEN.into_iter().map(move |between| (date, between)));
    dates.flat_map(move |(date, between)| {
        let end = end.to_owned();
        TIMES.into_iter().map(move |time| format!("{date}{between}{time}{end}"))
    })
}

/// Day and month the other way round.
fn turned(format: &str) -> String {
    format.replace("%d", "\0").replace("%m", "%d").replace('\0', "%m")
}

/// Texts that patterns are tried on before they are counted on all: a log may start with rows of another day's clock.
const TRIED: usize = 3;

/// Patterns are many; most texts are none of them at a glance.
fn may_be_date(text: &str) -> bool {
    text.len() <= 48 && text.bytes().filter(u8::is_ascii_digit).count() >= 6
}

/// A blank in a pattern stands for none as well: the words of both are counted.
fn reads(format: &str, text: &str) -> bool {
    if !may_be_date(text) || format.split_whitespace().count() != text.split_whitespace().count() {
        return false;
    }
    let civil = strtime::parse(format, text).and_then(|broken| broken.to_datetime());
    civil.is_ok_and(|civil| YEARS.contains(&civil.year()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(texts: &[&str]) -> Option<Written> {
        of(&texts.iter().map(|text| (*text).to_owned()).collect::<Vec<_>>(), "Timestamp")
    }

    #[test]
    fn patterns_met_in_logs() {
        for (text, format) in [
            ("2026-03-25 08:00:59", "%Y-%m-%d %H:%M:%S"),
            ("2026-03-25T08:00:59.250", "%Y-%m-%dT%H:%M:%S%.f"),
            ("2026-03-25 08:00:59,250", "%Y-%m-%d %H:%M:%S,%f"),
            ("2026-03-25 08:00", "%Y-%m-%d %H:%M"),
            ("25.03.2026 08:00:59", "%d.%m.%Y %H:%M:%S"),
            ("3/25/2026 8:00", "%m/%d/%Y %H:%M"),
            ("3/25/2026 8:00:59 PM", "%m/%d/%Y %I:%M:%S %p"),
            ("03/25/26 08:00:59", "%m/%d/%y %H:%M:%S"),
            ("25-Mar-2026 08:00:59", "%d-%b-%Y %H:%M:%S"),
            ("Mar 25, 2026 8:00:59 AM", "%b %d, %Y %I:%M:%S %p"),
            ("20260325080059", "%Y%m%d%H%M%S"),
            ("20260325T080059", "%Y%m%dT%H%M%S"),
        ] {
            let found = written(&[text]).unwrap_or_else(|| panic!("{text} has no pattern"));
            assert_eq!((found.format.as_str(), found.or_else), (format, None), "{text}");
        }
        assert_eq!(written(&["2026-03-25 08:00:59 UTC"]).and_then(|found| found.zone), Some("UTC"));
        assert_eq!(written(&["12.5"]), None);
    }

    #[test]
    fn day_and_month_that_cannot_be_told_apart() {
        let found = written(&["03/04/2026 08:00:00", "03/04/2026 08:00:01"]).expect("a pattern");
        assert_eq!(found.format, "%d/%m/%Y %H:%M:%S");
        assert_eq!(found.or_else.as_deref(), Some("%m/%d/%Y %H:%M:%S"));
        // One row tells.
        let found = written(&["03/04/2026 23:59:59", "03/13/2026 08:00:01"]).expect("a pattern");
        assert_eq!((found.format.as_str(), found.or_else), ("%m/%d/%Y %H:%M:%S", None));
    }
}
