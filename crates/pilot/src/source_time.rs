//! `time` of a source: the logger's clock, and GPS time beside it.

use backwatt_ingest::settings::{GpsClock, TimeKind, TimeSettings};
use backwatt_schema::unit::{Dimension, Unit};
use jiff::civil::Date;
use jiff::fmt::strtime;
use jiff::tz::TimeZone;

use crate::document::Section;

pub fn read(section: &Section<'_, '_>, pilot_zone: Option<&TimeZone>) -> Option<TimeSettings> {
    let columns = columns(section);
    let kind = kind(section, pilot_zone)?;
    let follow = follow(section);
    let gps = section.section("gps").and_then(|gps| gps_clock(&gps, pilot_zone, &kind, follow));
    section.finish();
    Some(TimeSettings { columns, kind, gps })
}

fn columns(section: &Section<'_, '_>) -> Vec<String> {
    let columns = section
        .text("column")
        .map(|at| vec![at.value])
        .or_else(|| section.texts("columns").map(|at| at.value))
        .unwrap_or_default();
    if columns.is_empty() {
        let hint = "column = \"...\", or columns = [\"Date\", \"Time\"]".to_owned();
        section.fault("pilot-time-column", "column", "the time has no column".into(), hint);
    }
    columns
}

fn follow(section: &Section<'_, '_>) -> bool {
    let Some(stated) = section.text("follow").map(|at| at.value) else { return false };
    if stated != "gps" {
        let hint = "follow = \"gps\" puts rows onto GPS time; leave it out, and nothing is moved".to_owned();
        section.fault("pilot-time-follow", "follow", format!("\"{stated}\" cannot be followed"), hint);
    } else if !section.has("gps") {
        let hint = "gps = { column = \"...\", kind = \"iso\" }".to_owned();
        section.fault("pilot-time-follow", "follow", "there is no gps to follow".into(), hint);
    }
    stated == "gps"
}

fn gps_clock(
    section: &Section<'_, '_>,
    pilot_zone: Option<&TimeZone>,
    clock: &TimeKind,
    follow: bool,
) -> Option<GpsClock> {
    let columns = columns(section);
    let kind = kind(section, pilot_zone)?;
    section.finish();
    let what = match (&kind, clock) {
        (TimeKind::Relative(_) | TimeKind::DayNumber { .. }, _) => "GPS time is epoch, iso or local",
        (_, TimeKind::Relative(_)) => "a clock that starts with its file cannot be compared with GPS time",
        _ => return Some(GpsClock { columns, kind, follow }),
    };
    let hint = "where the receiver's time is the better one, make it the time itself".to_owned();
    section.fault("pilot-time-gps", "kind", what.into(), hint);
    None
}

fn kind(section: &Section<'_, '_>, pilot_zone: Option<&TimeZone>) -> Option<TimeKind> {
    let zone = section.text("zone").map(|at| at.value);
    let zone = match zone {
        Some(name) => crate::zone(section, "zone", &name),
        None => pilot_zone.cloned(),
    };
    let unit = |default: &str| {
        let text = section.text("unit").map_or_else(|| default.to_owned(), |at| at.value);
        let unit = Unit::parse(&text).filter(|unit| unit.dimension == Dimension::Time);
        if unit.is_none() {
            let hint = "s, ms, us, ns, min, h or d".to_owned();
            section.fault("pilot-time-unit", "unit", format!("\"{text}\" is no unit of time"), hint);
        }
        unit
    };
    let kind = section.text("kind").map(|at| at.value);
    Some(match kind.as_deref() {
        Some("epoch") => TimeKind::Epoch(unit("s")?),
        Some("iso") => TimeKind::Iso,
        Some("relative") => TimeKind::Relative(unit("s")?),
        Some("local") => {
            let format = section.text("format").map(|at| at.value);
            let fault = match &format {
                None => Some("local times need their format".to_owned()),
                Some(format) => format_fault(format),
            };
            if let Some(fault) = fault {
                let hint = "format = \"%Y-%m-%d %H:%M:%S\" (strftime)".to_owned();
                section.fault("pilot-time-format", "format", fault, hint);
            }
            if zone.is_none() {
                let hint =
                    "time_zone = \"Europe/Zurich\" in [pilot], or zone = \"...\" here (IANA names)".to_owned();
                section.fault("pilot-time-zone", "zone", "local times need a time zone".into(), hint);
            }
            TimeKind::Local { format: format?, zone: zone? }
        }
        Some("day-number") => day_number(section, zone)?,
        other => {
            let message =
                other.map_or("the time has no kind".to_owned(), |o| format!("\"{o}\" is no kind of time"));
            section.fault(
                "pilot-time-kind",
                "kind",
                message,
                "epoch, iso, local, relative or day-number".into(),
            );
            return None;
        }
    })
}

/// What is wrong with a pattern: a moment written in it must read as the same moment, to the minute.
fn format_fault(format: &str) -> Option<String> {
    let moment = jiff::civil::date(2026, 11, 25).at(21, 43, 0, 0);
    let zoned = moment.to_zoned_datetime(TimeZone::UTC).ok()?;
    let written = match strtime::format(format, &zoned) {
        Ok(written) => written,
        Err(error) => return Some(format!("\"{format}\" is no pattern: {error}")),
    };
    let read = strtime::parse(format, &written).and_then(|broken| broken.to_datetime());
    match read {
        Ok(read) if read == moment => None,
        Ok(_) | Err(_) => {
            Some(format!("\"{format}\" does not hold a date and a time of day, hour and minute at least"))
        }
    }
}

fn day_number(section: &Section<'_, '_>, zone: Option<TimeZone>) -> Option<TimeKind> {
    let text = section.text("epoch").map(|at| at.value);
    let epoch = text.as_deref().and_then(|text| text.parse::<Date>().ok());
    if epoch.is_none() {
        let hint = "epoch = \"2017-11-01\", the day that bears the number in first".to_owned();
        section.fault("pilot-time-epoch", "epoch", "day numbers need the date of their first day".into(), hint);
    }
    let first = section.number("first").map_or(0.0, |at| at.value);
    let seconds = section.text("plus_column").map(|at| at.value);
    let unit = section.text("plus_unit").map_or(Unit::parse("s"), |at| Unit::parse(&at.value));
    Some(TimeKind::DayNumber {
        epoch: epoch?,
        first,
        zone: zone.unwrap_or(TimeZone::UTC),
        plus: seconds.zip(unit.filter(|unit| unit.dimension == Dimension::Time)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use backwatt_schema::Problem;

    /// The time of a source that says this.
    fn time(text: &str) -> Result<TimeSettings, Vec<Problem>> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::fs::write(folder.path().join("log.csv"), "").expect("writable");
        let text = format!(
            "[pilot]\nname = \"p\"\n[vehicle_types.van]\nmass = \"3000 kg\"\n[[sources]]\nfiles = \"log.csv\"\n\
             vehicle = \"T1\"\ntime = {{ {text} }}\n[sources.columns]\nspeed = {{ column = \"v\", unit = \"km/h\" }}\n"
        );
        crate::parse(&text, "pilot.toml", folder.path()).map(|pilot| pilot.ingest.sources[0].time.clone())
    }

    #[test]
    fn gps_time_stands_beside_the_clock() {
        let clock = "column = \"t\", kind = \"epoch\"";
        assert!(time(clock).expect("no fault").gps.is_none());
        let beside = format!("{clock}, gps = {{ column = \"g\", kind = \"epoch\", unit = \"ms\" }}");
        let gps = time(&beside).expect("no fault").gps.expect("gps");
        assert_eq!((gps.columns, gps.follow), (vec!["g".to_owned()], false));
        assert!(matches!(gps.kind, TimeKind::Epoch(unit) if unit.to_si(1.0) == 0.001));
        let gps = time(&format!("{beside}, follow = \"gps\"")).expect("no fault").gps.expect("gps");
        assert!(gps.follow);
        // The receiver's zone is its own, whatever the pilot's or the clock's.
        let local = "gps = { column = \"g\", kind = \"local\", format = \"%F %T\", zone = \"UTC\" }";
        let gps = time(&format!("{clock}, {local}")).expect("no fault").gps.expect("gps");
        assert!(matches!(gps.kind, TimeKind::Local { zone, .. } if zone == TimeZone::UTC));
    }

    #[test]
    fn a_pattern_must_hold_a_moment() {
        let local =
            |format: &str| format!("column = \"t\", kind = \"local\", format = \"{format}\", zone = \"UTC\"");
        for format in
            ["%Y-%m-%d %H:%M:%S%.f", "%d.%m.%y %H:%M", "%b %d, %Y %I:%M:%S %p", "%Y%m%dT%H%M%S", "%F %T %z"]
        {
            assert!(time(&local(format)).is_ok(), "{format}: {:?}", time(&local(format)).err());
        }
        for format in ["?", "%H:%M:%S", "%Y-%m-%d", "%Y-%m-%d %I:%M", "%Y-%m-%d %H:%M:%K"] {
            let problems = time(&local(format)).expect_err(format);
            assert_eq!(problems[0].code, "pilot-time-format", "{format}");
        }
    }

    #[test]
    fn what_cannot_be_compared_is_refused() {
        let gps = "gps = { column = \"g\", kind = \"iso\" }";
        for (text, code, key) in [
            ("column = \"t\", kind = \"iso\", follow = \"gps\"".to_owned(), "pilot-time-follow", "follow"),
            (format!("column = \"t\", kind = \"iso\", {gps}, follow = \"sun\""), "pilot-time-follow", "follow"),
            (format!("column = \"t\", kind = \"relative\", {gps}"), "pilot-time-gps", "gps.kind"),
            (
                "column = \"t\", kind = \"iso\", gps = { column = \"g\", kind = \"relative\" }".to_owned(),
                "pilot-time-gps",
                "gps.kind",
            ),
            (
                "column = \"t\", kind = \"iso\", gps = { kind = \"iso\" }".to_owned(),
                "pilot-time-column",
                "gps.column",
            ),
            (
                "column = \"t\", kind = \"iso\", gps = { column = \"g\", kind = \"iso\", folow = 1 }"
                    .to_owned(),
                "pilot-unknown-key",
                "gps.folow",
            ),
        ] {
            let problems = time(&text).expect_err("a fault");
            let place = problems[0].place.name.clone().unwrap_or_default();
            assert!(problems[0].code == code && place.ends_with(key), "{text}: {problems:?}");
        }
    }
}
