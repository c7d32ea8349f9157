//! What inference has to be told of a vehicle type.

/// A vehicle type as estimation needs it.
#[derive(Debug, Clone, PartialEq)]
pub struct TypeSheet {
    pub name: String,
    /// `None` where no capacity is stated: state of charge says nothing about energy then.
    pub battery: Option<BatterySheet>,
    pub levels: Vec<LevelSheet>,
    /// Level the type has where the log names none, by its place in `levels`.
    pub default_level: Option<usize>,
    pub reach: Reach,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BatterySheet {
    /// Energy between state of charge 0 and 1.
    pub capacity_kwh: f64,
    /// Battery, one way.
    pub battery_efficiency: f64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct LevelSheet {
    pub name: String,
    /// A deceleration is held: the heavier truck is braked harder.
    pub holds_deceleration: bool,
}

/// How far the sheet's values may be off, as half-widths relative to the value itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    pub mass_empty_frac: f64,
    /// Of the gross mass, where no payload is logged.
    pub payload_frac: f64,
    /// The load on the mean, where none is logged, of the gross mass.
    pub load_frac: f64,
    /// By how much of the gross mass a load that nobody states is likely to exceed the sheet's.
    pub payload_beyond_frac: f64,
    pub rolling_frac: f64,
    pub drag_frac: f64,
    pub losses_frac: f64,
    pub capacity_frac: f64,
}

impl TypeSheet {
    /// Places for levels: those of the sheet, and one for a level nobody names.
    pub(crate) fn level_slots(&self) -> usize {
        self.levels.len() + 1
    }

    pub(crate) fn level_slot(&self, name: Option<&str>) -> usize {
        let named = name.and_then(|name| self.levels.iter().position(|level| level.name == name));
        named.or(self.default_level).unwrap_or(self.levels.len())
    }

    pub(crate) fn level_name(&self, slot: usize) -> &str {
        self.levels.get(slot).map_or("(unknown)", |level| &level.name)
    }
}

/// Standard deviation of a value that lies anywhere within its half-width: half-width over the square root of three.
///
/// Source   JCGM 100:2008 (GUM), 4.3.7, rectangular distribution
pub(crate) fn sd_of_reach(half_width: f64) -> f64 {
    half_width / 3.0_f64.sqrt()
}
