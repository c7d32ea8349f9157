//! What a figure measures, and the units a reader may see it in.

use serde::Serialize;

const M_PER_MILE: f64 = 1609.344;
const J_PER_KWH: f64 = 3.6e6;
const KG_PER_POUND: f64 = 0.453_592_37;
const KG_PER_SHORT_TON: f64 = 907.184_74;

/// What a figure measures. Its value is in the SI unit named here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Shown as it is.
    Plain,
    /// \[1\], shown in percent.
    Share,
    /// \[m\]
    Distance,
    /// \[J/m\], shown for each mile or km.
    PerDistance,
    /// \[J/(kg m)\], shown for each short ton and mile, or tonne and km.
    PerLoadDistance,
    /// \[J\], shown in kWh.
    Energy,
    /// \[W\], shown in kW.
    Power,
    /// \[s\], shown in hours.
    Hours,
    /// \[m/s\]
    Speed,
    /// \[K\]
    Temperature,
    /// \[kg\]
    Mass,
    /// \[m\], shown in feet or metres.
    Height,
}

/// How one system of units shows a kind: value × factor + offset, and the unit's name.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Shown {
    pub factor: f64,
    pub offset: f64,
    pub word: &'static str,
}

impl Kind {
    pub const ALL: [Kind; 12] = [
        Kind::Plain,
        Kind::Share,
        Kind::Distance,
        Kind::PerDistance,
        Kind::PerLoadDistance,
        Kind::Energy,
        Kind::Power,
        Kind::Hours,
        Kind::Speed,
        Kind::Temperature,
        Kind::Mass,
        Kind::Height,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Kind::Plain => "plain",
            Kind::Share => "share",
            Kind::Distance => "distance",
            Kind::PerDistance => "per_distance",
            Kind::PerLoadDistance => "per_load_distance",
            Kind::Energy => "energy",
            Kind::Power => "power",
            Kind::Hours => "hours",
            Kind::Speed => "speed",
            Kind::Temperature => "temperature",
            Kind::Mass => "mass",
            Kind::Height => "height",
        }
    }

    pub fn shown(self, metric: bool) -> Shown {
        let (us, si) = match self {
            Kind::Plain => same(1.0, ""),
            Kind::Share => same(100.0, "%"),
            Kind::Distance => ((1.0 / M_PER_MILE, 0.0, "miles"), (1e-3, 0.0, "km")),
            Kind::PerDistance => {
                ((M_PER_MILE / J_PER_KWH, 0.0, "kWh/mile"), (1000.0 / J_PER_KWH, 0.0, "kWh/km"))
            }
            Kind::PerLoadDistance => (
                (KG_PER_SHORT_TON * M_PER_MILE / J_PER_KWH, 0.0, "kWh per ton-mile"),
                (1e6 / J_PER_KWH, 0.0, "kWh per tonne-km"),
            ),
            Kind::Energy => same(1.0 / J_PER_KWH, "kWh"),
            Kind::Power => same(1e-3, "kW"),
            Kind::Hours => same(1.0 / 3600.0, "h"),
            Kind::Speed => ((1.0 / 0.44704, 0.0, "mph"), (3.6, 0.0, "km/h")),
            Kind::Temperature => ((1.8, -459.67, "°F"), (1.0, -273.15, "°C")),
            Kind::Mass => ((1.0 / KG_PER_POUND, 0.0, "lb"), (1.0, 0.0, "kg")),
            Kind::Height => ((1.0 / 0.3048, 0.0, "ft"), (1.0, 0.0, "m")),
        };
        let (factor, offset, word) = if metric { si } else { us };
        Shown { factor, offset, word }
    }

    /// The SI value of this kind of a number in the unit of a table's column.
    pub fn si_of(self, column: &str, value: f64) -> f64 {
        match self {
            Kind::Plain | Kind::Share => value,
            _ => Self::of_column(column, value).1,
        }
    }

    /// The SI value of a number in the unit of a table's column; the kind it has there.
    pub fn of_column(column: &str, value: f64) -> (Kind, f64) {
        let ends = |suffix: &str| column.ends_with(suffix);
        if ends("_kwh_ton_mi") {
            (Kind::PerLoadDistance, value * J_PER_KWH / (KG_PER_SHORT_TON * M_PER_MILE))
        } else if ends("_kwh_mi") {
            (Kind::PerDistance, value * J_PER_KWH / M_PER_MILE)
        } else if ends("_mi") || ends("_mi_day") {
            (Kind::Distance, value * M_PER_MILE)
        } else if ends("_m") {
            (Kind::Distance, value)
        } else if ends("_kwh") || ends("_kwh_day") {
            (Kind::Energy, value * J_PER_KWH)
        } else if ends("_frac") {
            (Kind::Share, value)
        } else if ends("_w") {
            (Kind::Power, value)
        } else if ends("_m_s") {
            (Kind::Speed, value)
        } else if ends("_k") {
            (Kind::Temperature, value)
        } else if ends("_kg") {
            (Kind::Mass, value)
        } else {
            (Kind::Plain, value)
        }
    }
}

type Pair = ((f64, f64, &'static str), (f64, f64, &'static str));

fn same(factor: f64, word: &'static str) -> Pair {
    ((factor, 0.0, word), (factor, 0.0, word))
}
