//! Charges metered outside the vehicle: what they say of its battery.
//!
//! Energy that comes through a plug is never recovered energy. Here it serves as a yardstick: so much went in, the state of
//! charge rose by so much, hence so much lies between empty and full.

mod batches;
mod capacity;
mod matching;

pub use batches::{VehicleSessions, capacity_table, charge_sessions_table};
pub use capacity::{SessionCapacity, capacity_from_sessions};
pub use matching::{Matched, Reading, match_sessions, without_logs};

use crate::sheet::sd_of_reach;

/// One line of a file of charge sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct ChargeSession {
    pub vehicle: String,
    pub from_ns: i64,
    pub until_ns: i64,
    pub energy_metered_kwh: f64,
    pub metered: Metered,
    pub soc_start_frac: Option<f64>,
    pub soc_end_frac: Option<f64>,
    /// Of the charger.
    pub power_max_w: Option<f64>,
    /// Line of the file, counted from 1.
    pub line: u64,
}

/// Where the meter sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Metered {
    /// At the wall, before the charger on board.
    Ac,
    /// At the output of a charger beside the road.
    Dc,
}

impl Metered {
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Ac => "ac",
            Self::Dc => "dc",
        }
    }
}

/// What of the metered energy arrives at the battery terminals, and how far that may be off, a share of itself either way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChargerEfficiency {
    pub value_frac: f64,
    pub error_frac: f64,
}

impl ChargerEfficiency {
    fn relative_sd(self) -> f64 {
        sd_of_reach(self.error_frac)
    }
}

/// Of each kind of meter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChargerEfficiencies {
    pub ac: ChargerEfficiency,
    pub dc: ChargerEfficiency,
}

impl ChargerEfficiencies {
    fn of(self, metered: Metered) -> ChargerEfficiency {
        match metered {
            Metered::Ac => self.ac,
            Metered::Dc => self.dc,
        }
    }
}
