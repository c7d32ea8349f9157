//! The state of charge before and after each session.

use arrow::array::{BooleanArray, Float64Array, RecordBatch};
use backwatt_schema::{BatchError, BatchView, number_at, tables};

use super::ChargeSession;

/// State of charge at one end of a session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    pub soc_frac: f64,
    /// Resolution of the reading.
    pub step_frac: f64,
    /// Time between it and the end of the session.
    pub wait_s: f64,
    /// The file of sessions says it, and not the log.
    pub is_stated: bool,
}

/// A session with its readings, or why it tells nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Matched {
    pub session: ChargeSession,
    pub start: Option<Reading>,
    pub end: Option<Reading>,
    pub refused: Option<String>,
}

/// A charger's clock and a logger's differ by less; never more than a quarter of the session is taken for that. Common
/// practice, no source. [ns]
const CLOCKS_NS: i64 = 900 * SECOND_NS;
/// A reading further away says nothing of the session's end. Common practice, no source. [ns]
const LONGEST_WAIT_NS: i64 = 24 * 3600 * SECOND_NS;
const SECOND_NS: i64 = 1_000_000_000;
/// Faster is moving, as in the replay. [m/s]
const MOVING_M_S: f64 = 2.0 / 3.6;
/// Fewer rows that move are the noise of a sensor.
const MOVING_ROWS: usize = 3;
/// Less tells nothing. [kWh]
const LEAST_KWH: f64 = 0.5;
/// A smaller rise tells nothing, nor one of fewer steps.
const LEAST_RISE: f64 = 0.05;
const LEAST_STEPS: f64 = 5.0;
/// A state of charge stated by a charger is taken to stand on steps of this; from memory, whole percents are usual.
const STATED_STEP: f64 = 0.01;
/// Stated and logged state of charge may differ by this beyond a step each.
const MOST_APART: f64 = 0.05;
/// Readings this near to a session's end are compared with what the file states. [s]
const COMPARED_WITHIN_S: f64 = 3600.0;

/// The sessions of a vehicle that left no log.
pub fn without_logs(sessions: &[ChargeSession]) -> Vec<Matched> {
    let refused = |session: &ChargeSession| Matched {
        session: session.clone(),
        start: None,
        end: None,
        refused: Some(format!("there are no logs of a vehicle \"{}\"", session.vehicle)),
    };
    sessions.iter().map(refused).collect()
}

/// Finds the state of charge before and after each session of one vehicle.
///
/// Before: the lowest reading since the vehicle came to rest or the session before ended. After: the highest until it
/// sets off or the next session begins. So a logger that sees part of the charge, and a charger whose clock is some
/// minutes off, do no harm.
/// Shape    one for each session, in their order; sessions rise in time and do not overlap
/// Missing  rows without state of charge are passed over; rows on a relative clock match nothing
/// Errors   a column of `time_ns`, `clock_relative`, `speed_m_s`, `soc_frac` is missing
pub fn match_sessions(
    sessions: &[ChargeSession],
    samples: &RecordBatch,
    soc_step_frac: Option<f64>,
) -> Result<Vec<Matched>, BatchError> {
    let log = Log::read(samples, soc_step_frac)?;
    let matched = |at: usize| {
        let before_ns = at.checked_sub(1).map_or(i64::MIN, |before| sessions[before].until_ns);
        let after_ns = sessions.get(at + 1).map_or(i64::MAX, |after| after.from_ns);
        log.matched(&sessions[at], before_ns, after_ns)
    };
    Ok((0..sessions.len()).map(matched).collect())
}

struct Log<'a> {
    time_ns: &'a [i64],
    relative: &'a BooleanArray,
    speed: &'a Float64Array,
    soc: &'a Float64Array,
    step_frac: Option<f64>,
}

impl<'a> Log<'a> {
    fn read(samples: &'a RecordBatch, step_frac: Option<f64>) -> Result<Self, BatchError> {
        let view = BatchView::new(&tables::SAMPLES, samples);
        Ok(Self {
            time_ns: view.times("time_ns")?.values(),
            relative: view.flags("clock_relative")?,
            speed: view.numbers("speed_m_s")?,
            soc: view.numbers("soc_frac")?,
            step_frac,
        })
    }

    fn matched(&self, session: &ChargeSession, before_ns: i64, after_ns: i64) -> Matched {
        let clocks_ns = CLOCKS_NS.min((session.until_ns - session.from_ns) / 4);
        let logged = [self.before(session, clocks_ns, before_ns), self.after(session, clocks_ns, after_ns)];
        let stated = [session.soc_start_frac, session.soc_end_frac].map(|soc| soc.map(stated));
        let [start, end] = [0, 1].map(|at| stated[at].or(logged[at]));
        let refused = if self.moves(session, clocks_ns) {
            Some("the log has the vehicle moving during the session".to_owned())
        } else {
            contradiction(&stated, &logged).or_else(|| self.silent(session, start, end))
        };
        Matched { session: session.clone(), start, end, refused }
    }

    /// Why readings such as these tell nothing.
    fn silent(&self, session: &ChargeSession, start: Option<Reading>, end: Option<Reading>) -> Option<String> {
        if session.energy_metered_kwh < LEAST_KWH {
            return Some(format!("less than {LEAST_KWH} kWh was metered"));
        }
        let (Some(start), Some(end)) = (start, end) else {
            let side = if start.is_none() { "before" } else { "after" };
            let why = if self.step_frac.is_none() {
                "the log has no state of charge that changes".to_owned()
            } else {
                format!(
                    "no state of charge of the parked vehicle {side} it, within 24 h and up to the next session"
                )
            };
            return Some(why);
        };
        let rise = end.soc_frac - start.soc_frac;
        let least = LEAST_RISE.max(LEAST_STEPS * start.step_frac.max(end.step_frac));
        (rise < least - 1e-9).then(|| {
            format!("the state of charge rises by {:.1} %, less than {:.1} %", 100.0 * rise, 100.0 * least)
        })
    }

    fn is_moving(&self, row: usize) -> bool {
        number_at(self.speed, row).is_some_and(|speed| speed > MOVING_M_S)
    }

    fn moves(&self, session: &ChargeSession, clocks_ns: i64) -> bool {
        let from = self.first_from(session.from_ns + clocks_ns);
        let until = self.first_from(session.until_ns - clocks_ns);
        (from..until).filter(|row| self.is_moving(*row)).count() >= MOVING_ROWS
    }

    fn before(&self, session: &ChargeSession, clocks_ns: i64, before_ns: i64) -> Option<Reading> {
        let from = self.first_from(before_ns.max(session.from_ns - LONGEST_WAIT_NS));
        let until = self.first_from(session.from_ns + clocks_ns);
        let at_rest = (from..until).rev().find(|row| self.is_moving(*row)).map_or(from, |row| row + 1);
        // The last of the lowest: what stands latest stands nearest.
        let lowest = self.readings(at_rest, until).min_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))?;
        self.reading(lowest, session.from_ns - self.time_ns[lowest.0])
    }

    fn after(&self, session: &ChargeSession, clocks_ns: i64, after_ns: i64) -> Option<Reading> {
        let from = self.first_from(session.until_ns - clocks_ns);
        let until = self.first_from(after_ns.min(session.until_ns + LONGEST_WAIT_NS));
        let sets_off = (from..until).find(|row| self.is_moving(*row)).unwrap_or(until);
        let highest = self.readings(from, sets_off).max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))?;
        self.reading(highest, self.time_ns[highest.0] - session.until_ns)
    }

    fn readings(&self, from: usize, until: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        let rows = (from..until).filter(|row| !self.relative.value(*row));
        rows.filter_map(|row| Some((row, number_at(self.soc, row)?)))
    }

    fn reading(&self, (_, soc_frac): (usize, f64), wait_ns: i64) -> Option<Reading> {
        let wait_s = wait_ns.max(0) as f64 / SECOND_NS as f64;
        Some(Reading { soc_frac, step_frac: self.step_frac?, wait_s, is_stated: false })
    }

    fn first_from(&self, time_ns: i64) -> usize {
        self.time_ns.partition_point(|time| *time < time_ns)
    }
}

fn stated(soc_frac: f64) -> Reading {
    Reading { soc_frac, step_frac: STATED_STEP, wait_s: 0.0, is_stated: true }
}

/// The file says one thing and the log another: another vehicle's session, or another clock.
fn contradiction(stated: &[Option<Reading>; 2], logged: &[Option<Reading>; 2]) -> Option<String> {
    ["before", "after"].into_iter().zip(stated.iter().zip(logged)).find_map(|(side, (stated, logged))| {
        let (stated, logged) = ((*stated)?, logged.filter(|logged| logged.wait_s <= COMPARED_WITHIN_S)?);
        let apart = (stated.soc_frac - logged.soc_frac).abs();
        (apart > MOST_APART + stated.step_frac + logged.step_frac).then(|| {
            format!(
                "state of charge {side} it is {:.0} % in the file and {:.0} % in the log: another vehicle's session, or \
                 another clock",
                100.0 * stated.soc_frac,
                100.0 * logged.soc_frac
            )
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charge_sessions::Metered;
    use arrow::array::{ArrayRef, TimestampNanosecondArray};
    use std::sync::Arc;

    const MINUTE_NS: i64 = 60 * SECOND_NS;

    /// Rows of (minute, speed, state of charge).
    fn samples(rows: &[(i64, f64, f64)]) -> RecordBatch {
        let times = TimestampNanosecondArray::from_iter_values(rows.iter().map(|row| row.0 * MINUTE_NS))
            .with_timezone("UTC");
        let columns: [(&str, ArrayRef); 4] = [
            ("time_ns", Arc::new(times)),
            ("clock_relative", Arc::new(BooleanArray::from(vec![false; rows.len()]))),
            ("speed_m_s", Arc::new(Float64Array::from_iter_values(rows.iter().map(|row| row.1)))),
            ("soc_frac", Arc::new(Float64Array::from_iter_values(rows.iter().map(|row| row.2)))),
        ];
        RecordBatch::try_from_iter(columns).unwrap_or_else(|e| panic!("{e}"))
    }

    fn session(from: i64, until: i64) -> ChargeSession {
        ChargeSession {
            vehicle: "T1".to_owned(),
            from_ns: from * MINUTE_NS,
            until_ns: until * MINUTE_NS,
            energy_metered_kwh: 25.0,
            metered: Metered::Ac,
            soc_start_frac: None,
            soc_end_frac: None,
            power_max_w: None,
            line: 2,
        }
    }

    fn matched(sessions: &[ChargeSession], rows: &[(i64, f64, f64)]) -> Vec<Matched> {
        match_sessions(sessions, &samples(rows), Some(0.01)).unwrap_or_else(|e| panic!("{e}"))
    }

    fn ends(matched: &Matched) -> (f64, f64) {
        (matched.start.map_or(f64::NAN, |r| r.soc_frac), matched.end.map_or(f64::NAN, |r| r.soc_frac))
    }

    const NIGHT: [(i64, f64, f64); 6] =
        [(0, 8.0, 0.42), (1, 0.0, 0.41), (5, 0.0, 0.40), (400, 0.0, 0.99), (405, 0.0, 0.98), (410, 9.0, 0.97)];

    #[test]
    fn readings_are_those_at_rest_around_the_session() {
        let found = &matched(&[session(20, 200)], &NIGHT)[0];
        assert_eq!(ends(found), (0.40, 0.99));
        assert_eq!(found.refused, None);
        assert_eq!(found.start.map(|r| r.wait_s), Some(900.0));
        assert_eq!(found.end.map(|r| r.wait_s), Some(12_000.0));
    }

    /// The logger watched the first minutes, and the charger's clock is ten minutes late.
    #[test]
    fn a_late_clock_does_not_cut_the_beginning_off() {
        let rows =
            [(0, 9.0, 0.4), (1, 0.0, 0.4), (3, 0.0, 0.41), (8, 0.0, 0.43), (12, 0.0, 0.45), (300, 0.0, 0.9)];
        assert_eq!(ends(&matched(&[session(12, 200)], &rows)[0]), (0.4, 0.9));
    }

    #[test]
    fn a_session_of_a_moving_or_unseen_vehicle_is_refused_with_the_reason() {
        let moving: Vec<_> = (0..300).map(|minute| (minute, 9.0, 0.5)).collect();
        let why = |found: &Matched| found.refused.clone().unwrap_or_default();
        assert!(why(&matched(&[session(50, 250)], &moving)[0]).contains("moving during"));
        assert!(why(&matched(&[session(5000, 5100)], &NIGHT)[0]).contains("before it"));
        assert!(why(&matched(&[session(-200, -100)], &NIGHT)[0]).contains("before it"));
        let flat: Vec<_> = NIGHT.iter().map(|row| (row.0, row.1, 0.4 + 0.0001 * row.0 as f64)).collect();
        assert!(why(&matched(&[session(20, 200)], &flat)[0]).contains("rises by"));
        let empty = ChargeSession { energy_metered_kwh: 0.1, ..session(20, 200) };
        assert!(why(&matched(&[empty], &NIGHT)[0]).contains("metered"));
        assert!(why(&without_logs(&[session(20, 200)])[0]).contains("no logs"));
        let unseen = match_sessions(&[session(20, 200)], &samples(&NIGHT), None).unwrap_or_default();
        assert!(why(&unseen[0]).contains("no state of charge that changes"));
    }

    /// Two sessions in one night, the log asleep between: nobody knows what each of them did.
    #[test]
    fn sessions_without_a_reading_between_them_tell_nothing() {
        let found = matched(&[session(20, 100), session(120, 200)], &NIGHT);
        assert!(found.iter().all(|one| one.refused.is_some()), "{found:?}");
        let mut rows = NIGHT.to_vec();
        rows.insert(3, (110, 0.0, 0.7));
        let found = matched(&[session(20, 100), session(120, 200)], &rows);
        assert_eq!((ends(&found[0]), ends(&found[1])), ((0.40, 0.70), (0.70, 0.99)));
    }

    #[test]
    fn what_the_file_states_goes_first_unless_the_log_denies_it() {
        let stated = ChargeSession { soc_start_frac: Some(0.39), soc_end_frac: Some(0.95), ..session(20, 200) };
        let found = &matched(std::slice::from_ref(&stated), &NIGHT)[0];
        assert_eq!((ends(found), found.refused.clone()), ((0.39, 0.95), None));
        let other = ChargeSession { soc_start_frac: Some(0.2), ..stated };
        let why = matched(&[other], &NIGHT)[0].refused.clone().unwrap_or_default();
        assert!(why.contains("20 % in the file and 40 % in the log"), "{why}");
    }
}
