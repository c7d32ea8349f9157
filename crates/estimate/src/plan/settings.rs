//! What is planned, as the pilot file states it, every gap filled.

use super::charge::Charger;
use super::scope::{Scope, Season};

#[derive(Debug, Clone, PartialEq)]
pub struct PlanSettings {
    pub assumptions: Vec<Assumption>,
    /// Share of the usable energy that must be left at the end of a day.
    pub reserve_frac: f64,
    /// Probability asked of days and nights.
    pub target_frac: f64,
    /// Pack counts looked at beside the type's own.
    pub pack_counts: Vec<u64>,
    pub chargers: Vec<Charger>,
    pub price: Option<Price>,
    pub planned: Vec<PlannedShare>,
    pub is_southern: bool,
    /// Usable energy on a cold day over that on a mild one, and of a worn battery over a new one.
    pub cold_usable_frac: f64,
    pub worn_usable_frac: f64,
    /// Causes for which the plan states a scenario, in the order of [`super::CAUSES`].
    pub causes: Vec<usize>,
}

/// One number that was assumed.
#[derive(Debug, Clone, PartialEq)]
pub struct Assumption {
    pub scope: Scope,
    pub kind: Kind,
    /// In the unit of its kind.
    pub value: f64,
    /// What still agrees: either way, as a share of the value.
    pub tolerance_frac: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// [kWh/mi]
    Energy(Covers),
    /// `None`: the plan names no denominator.
    Regen(Option<Measure>),
    /// Share of gross discharge.
    Climate,
    /// Range on that many packs, from full to the reserve. [mi]
    Range { packs: f64 },
}

/// What an energy per distance includes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Covers {
    Driving,
    /// Driving and the stops of a trip.
    Trips,
}

/// What a regen share may be a share of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    Braking,
    Use,
    NetUse,
    RangeGain,
}

impl Measure {
    pub const ALL: [Measure; 4] = [Measure::Braking, Measure::Use, Measure::NetUse, Measure::RangeGain];

    pub fn as_str(self) -> &'static str {
        match self {
            Measure::Braking => "recapture of braking: recovered over braking energy at the wheels",
            Measure::Use => "recapture of use: recovered over gross discharge",
            Measure::NetUse => "recapture over net use: recovered over net use",
            Measure::RangeGain => "range gain: returned at the dc link over net use",
        }
    }
}

/// Money comes from the user alone.
#[derive(Debug, Clone, PartialEq)]
pub struct Price {
    pub per_kwh: f64,
    pub currency: String,
}

/// Share of the planned distance.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedShare {
    pub route: Option<String>,
    pub season: Option<Season>,
    /// Band of outside temperature as the tables name it, "0 to 10 degC".
    pub temperature_band: Option<String>,
    pub share_frac: f64,
}

/// What the plan's questions ask of a vehicle type.
#[derive(Debug, Clone, PartialEq)]
pub struct TypePlan {
    pub name: String,
    pub packs: Option<f64>,
    /// The sheet's upper payload.
    pub payload_full_kg: f64,
    /// Auxiliaries without climate: as believed, least, most.
    pub aux_w: [f64; 3],
    /// Power the battery accepts, and the state of charge from which it tapers to nothing at full.
    pub charge_power_max_w: f64,
    pub charge_taper_start_frac: f64,
}
