//! What a truck is made of, each value with its ends, and the trucks that picking ends makes.

use backwatt_physics::{Acceptance, Blending, Climate, Open, RollingTemperature, Truck};

use crate::levels::LevelParts;
use crate::losses::LossParts;
use crate::spread::{Pick, Spread};

pub struct Parts {
    pub mass: Spread,
    pub loads: Spread,
    pub rotating: f64,
    pub drag: Spread,
    pub rolling: Spread,
    pub losses: LossParts,
    pub rolling_temperature: Option<RollingTemperature>,
    pub axle: Spread,
    pub force: Spread,
    pub power: Spread,
    pub charge: Spread,
    pub taper: Spread,
    pub cold_full_k: f64,
    pub cold_none_k: f64,
    pub aux: Spread,
    /// What the climate of a cab takes beyond it where nothing says so.
    pub cab: Spread,
    pub climate: Option<Climate>,
    pub blending: [Blending; 3],
    pub levels: Vec<LevelParts>,
}

/// How far the temperatures at which a battery accepts less may be off. Common practice, no source. [K]
const COLD_REACH: Spread = Spread { nominal: 0.0, low: 5.0, high: -5.0 };

/// What may be off by itself.
#[derive(Clone, Copy, PartialEq)]
enum Uncertain {
    Mass,
    Load,
    Drag,
    Rolling,
    Losses,
    Axle,
    Force,
    Power,
    Charge,
    Taper,
    Cold,
    Warmth,
    Auxiliaries,
    Cab,
    Blending,
    LiftOff,
    Fade,
}

impl Uncertain {
    const ALL: [Self; 17] = [
        Self::Mass,
        Self::Load,
        Self::Drag,
        Self::Rolling,
        Self::Losses,
        Self::Axle,
        Self::Force,
        Self::Power,
        Self::Charge,
        Self::Taper,
        Self::Cold,
        Self::Warmth,
        Self::Auxiliaries,
        Self::Cab,
        Self::Blending,
        Self::LiftOff,
        Self::Fade,
    ];

    fn name(self) -> &'static str {
        match self {
            Self::Mass => "empty mass",
            Self::Load => "load",
            Self::Drag => "drag area",
            Self::Rolling => "rolling resistance",
            Self::Losses => "drive losses",
            Self::Axle => "axle limit",
            Self::Force => "motor torque",
            Self::Power => "motor power",
            Self::Charge => "charge power",
            Self::Taper => "charge taper",
            Self::Cold => "cold limits",
            Self::Warmth => "battery temperature",
            Self::Auxiliaries => "auxiliaries",
            Self::Cab => "cab climate",
            Self::Blending => "pedal blending",
            Self::LiftOff => "strength of the levels",
            Self::Fade => "fade of the levels",
        }
    }
}

impl Parts {
    /// Every value at the same end; the base load without a cab's climate, which is told apart.
    pub fn truck(&self, pick: Pick, default_level: Option<&str>) -> Truck {
        self.picked(|value| if value == Uncertain::Cab { Pick::Nominal } else { pick }, default_level)
    }

    /// Of each value that has ends, the truck with it alone at either.
    pub fn open(&self, default_level: Option<&str>) -> Vec<Open> {
        let nominal = self.truck(Pick::Nominal, default_level);
        let alone = |value: Uncertain| {
            let at = |end: Pick| move |other: Uncertain| if other == value { end } else { Pick::Nominal };
            let ends = [Pick::Low, Pick::High].map(|end| self.picked(at(end), default_level));
            Open { name: value.name(), ends }
        };
        let moves = |open: &Open| open.ends.iter().any(|truck| *truck != nominal);
        Uncertain::ALL.into_iter().map(alone).filter(moves).collect()
    }

    fn picked(&self, pick: impl Fn(Uncertain) -> Pick, default_level: Option<&str>) -> Truck {
        let colder_k = COLD_REACH.pick(pick(Uncertain::Cold));
        let mut truck = Truck {
            mass_empty_kg: self.mass.pick(pick(Uncertain::Mass)),
            payload_kg: self.loads.pick(pick(Uncertain::Load)),
            rotating_mass_kg: self.rotating,
            drag_area_m2: self.drag.against(pick(Uncertain::Drag)),
            rolling_resistance: self.rolling.against(pick(Uncertain::Rolling)),
            losses: self.losses.pick(pick(Uncertain::Losses)),
            rolling_temperature: self.rolling_temperature,
            axle_limit_m_s2: self.axle.pick(pick(Uncertain::Axle)),
            motor_force_max_n: self.force.pick(pick(Uncertain::Force)),
            motor_power_max_w: self.power.pick(pick(Uncertain::Power)),
            acceptance: Acceptance {
                power_max_w: self.charge.pick(pick(Uncertain::Charge)),
                taper_start_soc: self.taper.pick(pick(Uncertain::Taper)),
                cold_full_k: self.cold_full_k + colder_k,
                cold_none_k: self.cold_none_k + colder_k,
            },
            battery_warmth: match pick(Uncertain::Warmth) {
                Pick::Nominal => 0.5,
                Pick::Low => 0.0,
                Pick::High => 1.0,
            },
            aux_power_w: self.aux.against(pick(Uncertain::Auxiliaries))
                + self.cab.against(pick(Uncertain::Cab)),
            climate: self.climate,
            blending: self.blending[match pick(Uncertain::Blending) {
                Pick::Nominal => 0,
                Pick::Low => 1,
                Pick::High => 2,
            }],
            levels: self
                .levels
                .iter()
                .map(|l| l.level(pick(Uncertain::LiftOff), pick(Uncertain::Fade)))
                .collect(),
            default_level: None,
        };
        truck.default_level = default_level.and_then(|name| truck.level_named(name));
        truck
    }
}
