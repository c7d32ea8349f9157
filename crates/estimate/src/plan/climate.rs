//! What climate of cab, battery and load takes, and what that rests on.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use backwatt_schema::{BatchBuilder, BatchError, JOULES_PER_KWH, tables};

use super::days::VehicleDay;
use super::settings::TypePlan;
use crate::tally::{Reader, Sums};

/// How the power of a cab is known, best first.
const LOGGED: usize = 0;
const OF_SHEET: usize = 1;
const AT_STOPS: usize = 2;
const USUAL: usize = 3;
const BASES: [&str; 4] = [
    "logged",
    "sheet's law of the cab",
    "battery power at stops beyond the sheet's auxiliaries",
    "usual law of a cab",
];
/// Ends of a law of the cab that was stated, and of one that was not, over the law. Common practice, no source.
const STATED_ENDS: (f64, f64) = (0.7, 1.5);
const USUAL_ENDS: (f64, f64) = (0.5, 2.0);
/// A figure is measured where its power is logged for this share of the time.
const MEASURED_SHARE: f64 = 0.95;

/// Climate of a stretch. Sums add up.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ClimateSums {
    duration_s: f64,
    distance_mi: f64,
    discharged_kwh: f64,
    cab_kwh: [f64; 4],
    cab_s: [f64; 4],
    /// Battery and load, where they are logged.
    others_kwh: [f64; 2],
    others_s: [f64; 2],
}

impl ClimateSums {
    pub(super) fn read(
        reader: &Reader<'_>,
        row: usize,
        sums: &Sums,
        usual_cab_w: &dyn Fn(f64) -> f64,
    ) -> ClimateSums {
        let duration_s = reader.number("duration_s", row);
        let mut found = ClimateSums {
            duration_s,
            distance_mi: sums.distance_mi,
            discharged_kwh: sums.discharged_kwh,
            ..ClimateSums::default()
        };
        let basis = reader.text("aux_basis", row).unwrap_or_default();
        let usual = || {
            let power_w = reader.maybe("temperature_ambient_k", row).map(usual_cab_w)?;
            Some((USUAL, power_w * duration_s / JOULES_PER_KWH))
        };
        let cab = match reader.maybe("energy_cab_climate_kwh", row) {
            Some(kwh) => Some((if basis.contains("model") { OF_SHEET } else { LOGGED }, kwh)),
            None if basis == "standing" => Some((AT_STOPS, reader.number("energy_aux_base_kwh", row))),
            None => usual(),
        };
        if let Some((at, kwh)) = cab {
            (found.cab_kwh[at], found.cab_s[at]) = (kwh, duration_s);
        }
        for (at, name) in ["energy_battery_thermal_kwh", "energy_refrigeration_kwh"].into_iter().enumerate() {
            if let Some(kwh) = reader.maybe(name, row) {
                (found.others_kwh[at], found.others_s[at]) = (kwh, duration_s);
            }
        }
        found
    }

    pub fn add(&mut self, other: &ClimateSums) {
        self.duration_s += other.duration_s;
        self.distance_mi += other.distance_mi;
        self.discharged_kwh += other.discharged_kwh;
        for at in 0..4 {
            self.cab_kwh[at] += other.cab_kwh[at];
            self.cab_s[at] += other.cab_s[at];
        }
        for at in 0..2 {
            self.others_kwh[at] += other.others_kwh[at];
            self.others_s[at] += other.others_s[at];
        }
    }

    pub fn discharged_kwh(&self) -> f64 {
        self.discharged_kwh
    }

    /// Cab climate: lower end, middle, upper end; `None` where nothing is known. [kWh]
    pub fn cab(&self, aux_w: [f64; 3]) -> Option<[f64; 3]> {
        if self.cab_s.iter().sum::<f64>() <= 0.0 {
            return None;
        }
        let beyond =
            |aux_w: f64| (self.cab_kwh[AT_STOPS] - aux_w * self.cab_s[AT_STOPS] / JOULES_PER_KWH).max(0.0);
        let [least, middle, most] = {
            let [nominal, low, high] = aux_w;
            [beyond(high), beyond(nominal), beyond(low)]
        };
        let law = |ends: (f64, f64), kwh: f64| [ends.0 * kwh, kwh, ends.1 * kwh];
        let stated = law(STATED_ENDS, self.cab_kwh[OF_SHEET]);
        let usual = law(USUAL_ENDS, self.cab_kwh[USUAL]);
        let logged = self.cab_kwh[LOGGED];
        let stops = [least, middle, most];
        Some(std::array::from_fn(|end| logged + stated[end] + stops[end] + usual[end]))
    }

    /// Whether battery climate and refrigeration are known for most of the time.
    pub fn knows_others(&self) -> bool {
        self.others_s.iter().all(|seconds| *seconds >= MEASURED_SHARE * self.duration_s)
    }

    /// What carries most of the time of the cab's figure, and whether it is measured.
    pub fn cab_basis(&self) -> (&'static str, bool) {
        let most = (0..4).max_by(|a, b| self.cab_s[*a].total_cmp(&self.cab_s[*b])).unwrap_or(USUAL);
        (BASES[most], self.cab_s[LOGGED] >= MEASURED_SHARE * self.duration_s)
    }
}

/// Climate of each vehicle type, in all and by band of outside temperature.
pub fn climate_cost(days: &[VehicleDay], types: &[TypePlan]) -> Result<RecordBatch, BatchError> {
    let mut rows = Vec::new();
    for of in types {
        let mut by_band: BTreeMap<String, ClimateSums> = BTreeMap::new();
        let mut all = ClimateSums::default();
        for day in days.iter().filter(|day| day.vehicle_type == of.name) {
            for ((_, band), sums) in &day.climate {
                by_band.entry(band.clone()).or_default().add(sums);
                all.add(sums);
            }
        }
        if all.duration_s <= 0.0 {
            continue;
        }
        for load in 0..3 {
            rows.push(Row::new(of, load, "all", &all));
            rows.extend(by_band.iter().map(|(band, sums)| Row::new(of, load, band, sums)));
        }
    }
    build(&rows)
}

struct Row<'a> {
    of: &'a TypePlan,
    load: usize,
    band: String,
    sums: ClimateSums,
    energy_kwh: Option<[f64; 3]>,
    evidence: &'static str,
    basis: &'static str,
}

const UNKNOWN_LOAD: &str = "not logged, and no law stands in for it: no figure, and not nothing. Whatever it drew is in what the battery gave, where that is \
     measured, and in no modelled energy";
const LOADS: [&str; 3] = ["cab climate", "battery climate", "refrigeration"];

impl<'a> Row<'a> {
    fn new(of: &'a TypePlan, load: usize, band: &str, sums: &ClimateSums) -> Self {
        let (energy_kwh, evidence, basis) = if load == 0 {
            let (basis, is_measured) = sums.cab_basis();
            match sums.cab(of.aux_w) {
                Some(kwh) => (Some(kwh), if is_measured { "measured" } else { "modelled" }, basis),
                None => (None, "none", "not known"),
            }
        } else {
            let (kwh, seconds) = (sums.others_kwh[load - 1], sums.others_s[load - 1]);
            let is_measured = seconds >= MEASURED_SHARE * sums.duration_s;
            // What the hours without a log would have taken is not known: the figure is of all hours, its upper end of as
            // much again in those.
            let whole = if seconds > 0.0 { kwh * sums.duration_s / seconds } else { 0.0 };
            match seconds > 0.0 {
                true if is_measured => (Some([kwh, kwh, whole]), "measured", "logged"),
                true => (Some([kwh, kwh, whole]), "modelled", "logged for part of the time"),
                false => (None, "none", "not known"),
            }
        };
        Self { of, load, band: band.to_owned(), sums: *sums, energy_kwh, evidence, basis }
    }

    fn share(&self, end: usize) -> Option<f64> {
        let used = self.sums.discharged_kwh;
        self.energy_kwh.filter(|_| used > 0.0).map(|kwh| kwh[end] / used)
    }

    fn why(&self) -> &'static str {
        match self.basis {
            "logged" => "power logged",
            "sheet's law of the cab" => {
                "outside temperature and the law of the sheet; ends 0.7 and 1.5 of it, common practice, no source"
            }
            "battery power at stops beyond the sheet's auxiliaries" => {
                "what the truck drew at stops in the same weather, less aux_power of the sheet and its ends: whatever else it drew is in it"
            }
            "usual law of a cab" => {
                "neither logged nor stated: outside temperature and a usual cab (120 W/K below 17 degC, 100 W/K above 23 degC, 6 kW at most, \
                 from memory, not confirmed), ends half and twice of it; not part of the energies of other tables"
            }
            "logged for part of the time" => {
                "power logged for part of the time only: the upper end has the rest alike"
            }
            _ => UNKNOWN_LOAD,
        }
    }
}

fn build(rows: &[Row<'_>]) -> Result<RecordBatch, BatchError> {
    let energy =
        |end: usize| rows.iter().map(move |row| row.energy_kwh.map(|kwh| kwh[end])).collect::<Vec<_>>();
    let share = |end: usize| rows.iter().map(move |row| row.share(end)).collect::<Vec<_>>();
    let over = |of: fn(&ClimateSums) -> f64, factor: f64| {
        let one = move |row: &Row<'_>| {
            let under = of(&row.sums);
            row.energy_kwh.filter(|_| under > 0.0).map(|kwh| kwh[1] * factor / under)
        };
        rows.iter().map(one).collect::<Vec<_>>()
    };
    BatchBuilder::new(&tables::CLIMATE_COST)
        .text("vehicle_type", rows.iter().map(|row| Some(row.of.name.as_str())))
        .text("load", rows.iter().map(|row| Some(LOADS[row.load])))
        .text("temperature_band", rows.iter().map(|row| Some(row.band.as_str())))
        .text("evidence", rows.iter().map(|row| Some(row.evidence)))
        .text("basis", rows.iter().map(|row| Some(row.basis)))
        .number("duration_s", rows.iter().map(|row| row.sums.duration_s))
        .number("distance_mi", rows.iter().map(|row| row.sums.distance_mi))
        .number("energy_p05_kwh", energy(0))
        .number("energy_p50_kwh", energy(1))
        .number("energy_p95_kwh", energy(2))
        .number("power_mean_w", over(|sums| sums.duration_s, JOULES_PER_KWH))
        .number("share_of_use_p05_frac", share(0))
        .number("share_of_use_frac", share(1))
        .number("share_of_use_p95_frac", share(2))
        .number("consumption_kwh_mi", over(|sums| sums.distance_mi, 1.0))
        .text("why", rows.iter().map(|row| Some(row.why())))
        .finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    const AUX_W: [f64; 3] = [500.0, 350.0, 750.0];

    /// A load that nobody logs has a row, no figure, and says where what it drew is to be found.
    #[test]
    fn an_unknown_load_is_no_load_of_nothing() {
        let sums = ClimateSums {
            cab_kwh: [0.0, 0.0, 0.0, 0.8],
            cab_s: [0.0, 0.0, 0.0, 3600.0],
            duration_s: 3600.0,
            discharged_kwh: 10.0,
            ..ClimateSums::default()
        };
        assert!(!sums.knows_others());
        let of = TypePlan {
            name: "van".to_owned(),
            packs: None,
            payload_full_kg: 1000.0,
            aux_w: AUX_W,
            charge_power_max_w: 1e4,
            charge_taper_start_frac: 0.8,
        };
        for load in [1, 2] {
            let row = Row::new(&of, load, "all", &sums);
            assert_eq!((row.energy_kwh, row.evidence, row.basis), (None, "none", "not known"));
            assert_eq!(row.why(), UNKNOWN_LOAD);
            assert_eq!(row.share(1), None);
        }
        let cab = Row::new(&of, 0, "all", &sums);
        assert!(cab.why().contains("not part of the energies of other tables"), "{}", cab.why());
    }

    /// One hour each: 2 kW logged, 1 kW by the sheet's law, 1.5 kW at stops of which 0.5 are auxiliaries, 0.8 kW usual.
    #[test]
    fn each_basis_brings_its_own_ends() {
        let sums = ClimateSums {
            cab_kwh: [2.0, 1.0, 1.5, 0.8],
            cab_s: [3600.0; 4],
            duration_s: 14_400.0,
            ..ClimateSums::default()
        };
        let [low, middle, high] = sums.cab(AUX_W).unwrap();
        assert!((middle - 4.8).abs() < 1e-12, "{middle}");
        assert!((low - (2.0 + 0.7 + 0.75 + 0.4)).abs() < 1e-12, "{low}");
        assert!((high - (2.0 + 1.5 + 1.15 + 1.6)).abs() < 1e-12, "{high}");
        assert!(!sums.cab_basis().1);
        assert_eq!(ClimateSums::default().cab(AUX_W), None, "nothing known is not nothing taken");
    }
}
