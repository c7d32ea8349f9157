//! The rows and priors that vehicles of a type have, or would have with one signal more.

use backwatt_stats::Moments;
use backwatt_stats::nested::{Branch, Leaf, Normals};

use crate::features::{OF_LEVEL, SHARED};
use crate::law::{
    AT_BUS, AT_TERMINALS, BY_CHARGE, CAPACITY_INVERSE, KINDS, day_prior, type_prior, vehicle_prior,
};
use crate::sheet::TypeSheet;
use crate::signal_value::Addition;
use crate::statistics::{Day, Statistics, measured_weight};

/// A day's prior, and its moments by kind.
type OfDay = (Normals, Vec<Moments>);

/// Priors and moments by vehicle and day.
pub struct Design {
    pub trunk: Normals,
    members: Vec<(Normals, Vec<OfDay>)>,
}

/// What is taken as known of every vehicle, whatever its log says.
#[derive(Clone, Copy, Default)]
struct Known {
    /// What metered charges say counts.
    sessions: bool,
    /// And vehicles without any have as much.
    sessions_added: bool,
    payload: bool,
    level: bool,
    speed: bool,
}

impl Design {
    /// The log as it stands, priors `wider`; without its rows where they are not to be seen.
    pub fn of(sheet: &TypeSheet, statistics: &[&Statistics], wider: f64, seen: bool) -> Self {
        Self::new(
            sheet,
            statistics,
            wider,
            |day| {
                if seen { day.kinds.to_vec() } else { vec![Moments::new(day.totals.len()); KINDS] }
            },
            Known { sessions: seen, ..Known::default() },
        )
    }

    /// The log with an addition to every vehicle that lacks it.
    pub fn with(sheet: &TypeSheet, statistics: &[&Statistics], addition: Addition) -> Self {
        let kinds = |day: &Day| {
            let mut kinds = day.kinds.to_vec();
            match addition {
                Addition::FineCharge => kinds[BY_CHARGE] = day.by_fine_charge.clone(),
                Addition::Heights => kinds[BY_CHARGE] = day.by_sure_heights.clone(),
                Addition::PackCurrent if kinds[AT_TERMINALS].rows() == 0 => measure(&mut kinds, day),
                _ => {}
            }
            kinds
        };
        let known = Known {
            sessions: true,
            sessions_added: addition == Addition::Sessions,
            payload: addition == Addition::Payload,
            level: addition == Addition::Level,
            speed: addition == Addition::Speed,
        };
        Self::new(sheet, statistics, 1.0, kinds, known)
    }

    fn new(
        sheet: &TypeSheet,
        statistics: &[&Statistics],
        wider: f64,
        kinds: impl Fn(&Day) -> Vec<Moments>,
        known: Known,
    ) -> Self {
        let member = |of: &&Statistics| {
            let payload = known.payload || of.payload_known();
            let hidden_frac = if known.speed { 0.0 } else { of.hidden_frac() };
            let days = of.days.values().map(|day| (day_prior(sheet, payload).wider(wider), kinds(day)));
            let prior = vehicle_prior(sheet, payload, hidden_frac).wider(wider);
            let prior = match capacity(sheet, of, known) {
                Some((mean, sd)) => prior.told(CAPACITY_INVERSE, mean, sd),
                None => prior,
            };
            (prior, days.collect())
        };
        Self {
            trunk: type_prior(sheet, known.level).wider(wider),
            members: statistics.iter().map(member).collect(),
        }
    }

    pub fn branches(&self) -> Vec<Branch<'_>> {
        let mut branches = Vec::with_capacity(self.members.len());
        for (prior, days) in &self.members {
            let leaves = days
                .iter()
                .map(|(prior, moments)| Leaf { prior: prior.clone(), moments: moments.iter().collect() })
                .collect();
            branches.push(Branch { prior: prior.clone(), leaves });
        }
        branches
    }
}

/// What a vehicle's metered charges say of its inverse capacity over the sheet's.
fn capacity(sheet: &TypeSheet, of: &Statistics, known: Known) -> Option<(f64, f64)> {
    let stated_kwh = sheet.battery?.capacity_kwh;
    let told = of.capacity.filter(|_| known.sessions);
    let told = told.map(|told| (told.inverse_per_kwh * stated_kwh, told.inverse_sd_per_kwh * stated_kwh));
    told.or_else(|| known.sessions_added.then_some((1.0, SESSIONS_TELL_SD)))
}

/// Metered charges leave this open of a capacity: the charger's efficiency, mostly. The 90 % half-widths of the made-up
/// pilot's six trucks are about 5 % (notebooks-docs/method/charge-sessions.md).
const SESSIONS_TELL_SD: f64 = 0.03;

/// Rows that a day would have with battery power measured: one at the terminals, one at the bus for each level driven.
/// Spread does not depend on values.
fn measure(kinds: &mut [Moments], day: &Day) {
    let x = day.totals_with_braked_time();
    kinds[AT_TERMINALS].add_row(0.0, &x, measured_weight(&x, None));
    let levels = (x.len() - SHARED) / OF_LEVEL;
    for slot in 0..levels {
        let mut own = vec![0.0; x.len()];
        let block = SHARED + slot * OF_LEVEL..SHARED + (slot + 1) * OF_LEVEL;
        own[block.clone()].copy_from_slice(&x[block.clone()]);
        if own[block.start] > 0.0 {
            kinds[AT_BUS].add_row(0.0, &own, measured_weight(&own, Some(slot)));
        }
    }
}
