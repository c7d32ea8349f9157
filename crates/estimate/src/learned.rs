//! The second pass: what the logs of all vehicles of a type say together, and how sure of it they are.

use std::collections::BTreeMap;

use backwatt_schema::Evidence;
use backwatt_stats::nested::{Fit, fit};
use nalgebra::DMatrix;

use crate::design::Design;
use crate::features::{AUX_MOVING, DISTANCE, LOAD, LOSS, OF_LEVEL, SHARED, TAKEN, of_level};
use crate::law::{AT_BUS, AT_TERMINALS, BY_CHARGE, EnergyLaw, KINDS, OF_DAY, TYPE_NAMES, VEHICLE_NAMES};
use crate::sheet::TypeSheet;
use crate::signal_value::Addition;
use crate::statistics::Statistics;

/// Two-sided 90 % of a normal.
pub const Z_90: f64 = 1.644_853_626_951_472_6;
/// What is wrong all pilot long and no row can show, relative to what came back: the shape of levels and fades, blending,
/// a sensor's lag. Provisional.
const DISCREPANCY_SD: f64 = 0.05;

/// A figure with its error in independent unit parts: those shared by the type, those of the vehicle, those of the day.
/// Figures add up by adding values and parts of the same owner.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Figure {
    pub value: f64,
    pub of_type: Vec<f64>,
    pub of_vehicle: Vec<f64>,
    pub of_day: Vec<f64>,
}

impl Figure {
    pub fn sd(&self) -> f64 {
        let parts = self.of_type.iter().chain(&self.of_vehicle).chain(&self.of_day);
        parts.map(|part| part * part).sum::<f64>().sqrt()
    }
}

/// What was learned of one vehicle type.
pub struct Learned {
    sheet: TypeSheet,
    law: EnergyLaw,
    vehicles: BTreeMap<String, Member>,
    fits: Fits,
}

struct Member {
    at: usize,
    days: BTreeMap<String, usize>,
    totals: Vec<f64>,
    windows: u64,
    measured: u64,
}

/// Before the logs, after them, and after them with priors twice as wide.
struct Fits {
    before: Fit,
    after: Fit,
    wide: Fit,
}

/// What the logs did to one figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    pub evidence: Evidence,
    pub before: (f64, f64),
    pub after: (f64, f64),
    /// By how much priors twice as wide move it.
    pub moved: f64,
}

/// Learns of one type from the statistics of its vehicles, in whatever order they come.
///
/// Missing  `None` where the system cannot be solved, which proper priors exclude
/// Source   notebooks-docs/method/estimation.md
pub fn learn(sheet: &TypeSheet, statistics: &[Statistics]) -> Option<Learned> {
    let mut sorted: Vec<&Statistics> = statistics.iter().collect();
    sorted.sort_by(|a, b| a.vehicle_id.cmp(&b.vehicle_id));
    let law = law_of(sheet, &sorted);
    let fits = Fits {
        before: solve(&law, sheet, &sorted, 1.0, false)?,
        after: solve(&law, sheet, &sorted, 1.0, true)?,
        wide: solve(&law, sheet, &sorted, 2.0, true)?,
    };
    let member = |(at, of): (usize, &&Statistics)| {
        let days = of.days.keys().cloned().enumerate().map(|(at, day)| (day, at)).collect();
        let measured = of.rows(AT_TERMINALS) + of.rows(AT_BUS);
        let member = Member { at, days, totals: of.totals.clone(), windows: of.rows(BY_CHARGE), measured };
        (of.vehicle_id.clone(), member)
    };
    let vehicles = sorted.iter().enumerate().map(member).collect();
    Some(Learned { sheet: sheet.clone(), law, vehicles, fits })
}

fn law_of(sheet: &TypeSheet, statistics: &[&Statistics]) -> EnergyLaw {
    let sum = |at: usize| statistics.iter().map(|of| of.totals[at]).sum::<f64>();
    let over = |a: f64, b: f64| if b > 0.0 { a / b } else { 0.0 };
    let slots = sheet.level_slots();
    let of_levels = |feature: usize| (0..slots).map(|slot| sum(of_level(slot, feature))).sum::<f64>();
    let bus = of_levels(TAKEN) - of_levels(crate::features::CONVERTED);
    let moving_h: f64 = statistics.iter().map(|of| of.moving_h).sum();
    EnergyLaw {
        slots,
        load_scale: over(sum(LOSS), sum(LOAD)),
        distance_scale: over(sum(LOSS), sum(DISTANCE) + of_levels(crate::features::BRAKED)),
        aux_kw: over(sum(AUX_MOVING), moving_h),
        fed_share: over(of_levels(crate::features::FED), bus),
    }
}

fn solve(
    law: &EnergyLaw,
    sheet: &TypeSheet,
    statistics: &[&Statistics],
    wider: f64,
    seen: bool,
) -> Option<Fit> {
    let design = Design::of(sheet, statistics, wider, seen);
    fit(law, &design.trunk, &design.branches(), KINDS)
}

impl Learned {
    /// What can be said of one vehicle's segments; `None` for a vehicle that was not among the statistics.
    pub fn of_vehicle(&self, vehicle_id: &str) -> Option<Posterior<'_>> {
        let member = self.vehicles.get(vehicle_id)?;
        Some(Posterior { learned: self, member })
    }

    pub fn vehicle_ids(&self) -> impl Iterator<Item = &str> {
        self.vehicles.keys().map(String::as_str)
    }

    pub fn type_name(&self) -> &str {
        &self.sheet.name
    }
}

/// One vehicle's share of what was learned.
pub struct Posterior<'l> {
    learned: &'l Learned,
    member: &'l Member,
}

/// The coefficients of figures on one day, with their errors in unit parts.
pub struct OfDay {
    pub recovered: Coefficients,
    pub discharged: Coefficients,
    pub net: Coefficients,
    pub bus: Coefficients,
    /// Braking energy at the wheels beyond the sheet's.
    pub braking_beyond_sheet: Coefficients,
    /// Of measured stretches: inflow that the sensor's offset hides, and net discharge that it adds.
    pub hidden_inflow: Coefficients,
    pub false_net: Coefficients,
}

pub struct Coefficients {
    value: Vec<f64>,
    /// Unit part by feature.
    parts: DMatrix<f64>,
    own_from: usize,
    /// One more part, shared by the type: what no unknown stands for.
    beyond: Vec<f64>,
}

impl Coefficients {
    /// The figure for a stretch of these features.
    pub fn figure(&self, features: &[f64]) -> Figure {
        let over = |c: &[f64]| -> f64 { c.iter().zip(features).map(|(c, x)| c * x).sum() };
        // Most features of a segment are nothing: levels it was not driven at.
        let mut parts = vec![0.0; self.parts.nrows()];
        for (x, column) in features.iter().zip(self.parts.column_iter()).filter(|(x, _)| **x != 0.0) {
            parts.iter_mut().zip(column.iter()).for_each(|(part, slope)| *part += slope * x);
        }
        let mut of_type = parts[..self.own_from].to_vec();
        of_type.push(over(&self.beyond));
        let own = VEHICLE_NAMES.len();
        Figure {
            value: over(&self.value),
            of_type,
            of_vehicle: parts[self.own_from..self.own_from + own].to_vec(),
            of_day: parts[self.own_from + own..].to_vec(),
        }
    }
}

impl Posterior<'_> {
    pub fn sheet(&self) -> &TypeSheet {
        &self.learned.sheet
    }

    pub fn type_name(&self) -> &str {
        &self.learned.sheet.name
    }

    /// Coefficients on a service day; on a day without statistics nothing is known of the day itself.
    pub fn on_day(&self, day: &str) -> OfDay {
        self.coefficients(&self.learned.fits.after, self.member.days.get(day).copied())
    }

    /// Usable energy between state of charge 0 and 1, and its standard deviation. [kWh] The sheet's over the factor that
    /// windows see; `None` where the sheet states none.
    pub fn capacity_kwh(&self) -> Option<(f64, f64)> {
        let sheet_kwh = self.learned.sheet.battery?.capacity_kwh;
        let spread = Spread::of(&self.learned.fits.after, self.member.at, None);
        let at = self.learned.of_type();
        let factor = spread.mean[at];
        (factor > 0.0).then(|| (sheet_kwh / factor, sheet_kwh * spread.sd(at) / (factor * factor)))
    }

    /// Days with statistics.
    pub fn days(&self) -> impl Iterator<Item = &str> {
        self.member.days.keys().map(String::as_str)
    }

    /// The same out of another fit of the same vehicles.
    pub(crate) fn with(&self, fit: &Fit, day: &str) -> OfDay {
        self.coefficients(fit, self.member.days.get(day).copied())
    }

    fn coefficients(&self, fit: &Fit, day: Option<usize>) -> OfDay {
        let law = &self.learned.law;
        let spread = Spread::of(fit, self.member.at, day);
        let share = |c: Vec<f64>| c.iter().map(|c| DISCREPANCY_SD * c).collect::<Vec<f64>>();
        let (back, bus) = (share(law.recovered(&spread.mean)), share(law.bus(&spread.mean)));
        let nothing = || vec![0.0; back.len()];
        OfDay {
            recovered: spread.coefficients(|u| law.recovered(u), back.clone()),
            // Net energy is what the state of charge shows: what is wrong about the return is wrong about gross discharge.
            discharged: spread.coefficients(|u| law.discharged(u), back.clone()),
            net: spread.coefficients(|u| law.net(u), nothing()),
            bus: spread.coefficients(|u| law.bus(u), bus),
            braking_beyond_sheet: spread.coefficients(|u| law.braking_beyond_sheet(u), nothing()),
            hidden_inflow: spread.coefficients(|u| law.hidden_inflow(u), nothing()),
            false_net: spread.coefficients(|u| law.false_net(u), nothing()),
        }
    }

    /// What the logs did to what this vehicle recovered, at one level or in all.
    ///
    /// `inferred` when the interval is at most half as wide as before the logs and moves by less than its half-width when
    /// every prior is twice as wide: else the figure is the prior's and not the logs'.
    pub fn told(&self, slot: Option<usize>) -> Told {
        let mut x = self.member.totals.clone();
        for at in 0..self.learned.law.slots {
            if slot.is_some_and(|slot| slot != at) {
                x[SHARED + at * OF_LEVEL..SHARED + (at + 1) * OF_LEVEL].fill(0.0);
            }
        }
        let of = |fit: &Fit| {
            let figure = self.coefficients(fit, None).recovered.figure(&x);
            (figure.value, Z_90 * figure.sd())
        };
        let fits = &self.learned.fits;
        let (before, after, wide) = (of(&fits.before), of(&fits.after), of(&fits.wide));
        let moved = (wide.0 - after.0).abs();
        let seen = self.member.windows + self.member.measured > 0 || self.learned.has_measured();
        let told = seen && after.1 <= 0.5 * before.1 && moved < after.1;
        let evidence = if told { Evidence::Inferred } else { Evidence::Modelled };
        Told { evidence, before, after, moved }
    }

    /// In words.
    pub fn why(&self) -> String {
        let told = self.told(None);
        if self.member.windows == 0 && !self.learned.has_measured() {
            return "no state of charge to learn from: physics and the sheet alone".to_owned();
        }
        let figures = format!(
            "{} windows of state of charge brought what came back from {:.1} +- {:.1} kWh to {:.1} +- {:.1} kWh (90 %); with \
             priors twice as wide it moves by {:.1} kWh",
            self.member.windows, told.before.0, told.before.1, told.after.0, told.after.1, told.moved,
        );
        if told.evidence == Evidence::Inferred { figures } else { format!("these logs cannot tell: {figures}") }
    }
}

impl Learned {
    fn has_measured(&self) -> bool {
        self.vehicles.values().any(|member| member.measured > 0)
    }

    pub(crate) fn sheet(&self) -> &TypeSheet {
        &self.sheet
    }

    pub(crate) fn law(&self) -> &EnergyLaw {
        &self.law
    }

    pub(crate) fn after(&self) -> &Fit {
        &self.fits.after
    }

    /// The design of the log with an addition, vehicles in the order of the fits.
    pub(crate) fn design(&self, statistics: &[Statistics], addition: Addition) -> Design {
        let mut sorted: Vec<&Statistics> = statistics.iter().collect();
        sorted.sort_by(|a, b| a.vehicle_id.cmp(&b.vehicle_id));
        Design::with(&self.sheet, &sorted, addition)
    }

    /// True where a vehicle braked at a level that neither log nor sheet names.
    pub(crate) fn takes_unknown_level(&self, of: &Statistics) -> bool {
        of.totals[of_level(self.law.slots - 1, TAKEN)] > 0.0
    }

    /// Names and units of the unknowns of the type and of a vehicle, in the order of [`Spread`].
    pub(crate) fn names(&self) -> Vec<(String, &'static str)> {
        let unit = |name: &str| if name.ends_with("_kw") { "kW" } else { "1" };
        let plain = |name: &&str| ((*name).to_owned(), unit(name));
        let level = |slot: usize| (format!("share_at_level {}", self.sheet.level_name(slot)), "1");
        TYPE_NAMES
            .iter()
            .map(plain)
            .chain((0..self.law.slots).map(level))
            .chain(VEHICLE_NAMES.iter().map(plain))
            .collect()
    }

    /// Unknowns of a type alone.
    pub(crate) fn of_type(&self) -> usize {
        self.law.unknowns_of_type()
    }

    /// Vehicles with windows and measured rows, and their unknowns before the logs, after, and with wide priors.
    pub(crate) fn members(&self) -> impl Iterator<Item = (&str, [u64; 2], [Spread; 3])> {
        self.vehicles.iter().map(|(id, member)| {
            let of = |fit: &Fit| Spread::of(fit, member.at, None);
            let fits = [&self.fits.before, &self.fits.after, &self.fits.wide].map(of);
            (id.as_str(), [member.windows, member.measured], fits)
        })
    }
}

/// The unknowns of one vehicle and day: their means, and their errors as independent unit parts.
pub struct Spread {
    pub mean: Vec<f64>,
    /// Unknown by unit part.
    pub parts: DMatrix<f64>,
    own_from: usize,
}

impl Spread {
    /// Without a day its unknowns stay at nothing known and nothing wrong: figures of many days average over them.
    pub fn of(fit: &Fit, at: usize, day: Option<usize>) -> Self {
        let branch = &fit.branches[at];
        let (shared, own) = (fit.trunk.len(), branch.own.mean.len());
        let above = shared + own;
        let size = above + OF_DAY;
        let mut mean: Vec<f64> = fit.trunk.iter().chain(&branch.own.mean).copied().collect();
        let mut parts = DMatrix::zeros(size, size);
        parts.view_mut((0, 0), (shared, shared)).copy_from(&fit.root);
        parts.view_mut((shared, 0), (own, shared)).copy_from(&(&branch.own.gain * &fit.root));
        parts.view_mut((shared, shared), (own, own)).copy_from(&branch.own.root);
        match day.and_then(|day| branch.leaves.get(day)) {
            Some(leaf) => {
                mean.extend(&leaf.mean);
                let top = parts.view((0, 0), (above, above)).into_owned();
                parts.view_mut((above, 0), (OF_DAY, above)).copy_from(&(&leaf.gain * top));
                parts.view_mut((above, above), (OF_DAY, OF_DAY)).copy_from(&leaf.root);
            }
            None => mean.extend([0.0; OF_DAY]),
        }
        Self { mean, parts, own_from: shared }
    }

    pub fn sd(&self, at: usize) -> f64 {
        self.parts.row(at).norm()
    }

    /// Coefficients with central differences for slopes.
    fn coefficients(&self, of: impl Fn(&[f64]) -> Vec<f64>, beyond: Vec<f64>) -> Coefficients {
        const STEP: f64 = 1e-4;
        let value = of(&self.mean);
        let mut slopes = DMatrix::zeros(value.len(), self.mean.len());
        let mut moved = self.mean.clone();
        for at in 0..self.mean.len() {
            moved[at] = self.mean[at] + STEP;
            let up = of(&moved);
            moved[at] = self.mean[at] - STEP;
            let down = of(&moved);
            moved[at] = self.mean[at];
            for (row, (up, down)) in up.iter().zip(&down).enumerate() {
                slopes[(row, at)] = (up - down) / (2.0 * STEP);
            }
        }
        Coefficients {
            value,
            parts: self.parts.transpose() * slopes.transpose(),
            own_from: self.own_from,
            beyond,
        }
    }
}
