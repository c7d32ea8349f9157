//! What was inferred, against what was measured.

use std::path::Path;

use statrs::distribution::{Binomial, Discrete};

use crate::set::Set;

/// The share of intervals that should hold the truth. [1]
pub const NOMINAL: f64 = 0.9;
const INTERVAL: [&str; 3] =
    ["energy_recovered_p05_kwh", "energy_recovered_p50_kwh", "energy_recovered_p95_kwh"];

/// A measured energy and the interval inferred for it; `None` where nothing was claimed. [kWh]
#[derive(Debug, Clone)]
pub struct Pair {
    pub name: String,
    pub measured_kwh: f64,
    pub inferred_kwh: Option<[f64; 3]>,
    pub evidence: String,
}

impl Pair {
    /// The answer for one group of one grouping, whose figures travel with grade and interval.
    fn of(set: &Set, grouping: &str, group: &str, name: &str, measured_kwh: f64) -> Self {
        let [low, middle, high] = INTERVAL.map(|column| set.answer(grouping, group, column));
        let evidence = set.recovery.texts("recapture_evidence")[set.answer_row(grouping, group)].clone();
        let evidence = evidence.expect("no figure travels without a grade");
        let inferred_kwh = middle.map(|middle| {
            let (low, high) = (low.expect("a lower end"), high.expect("an upper end"));
            assert!(low <= middle && middle <= high && low < high, "{name}: {low}, {middle}, {high} kWh");
            assert!(["inferred", "modelled"].contains(&evidence.as_str()), "{name}: {evidence} without power");
            [low, middle, high]
        });
        Self { name: name.to_owned(), measured_kwh, inferred_kwh, evidence }
    }

    pub fn is_held(&self) -> Option<bool> {
        let [low, _, high] = self.inferred_kwh?;
        Some((low..=high).contains(&self.measured_kwh))
    }

    pub fn error_frac(&self) -> Option<f64> {
        Some(self.inferred_kwh?[1] / self.measured_kwh - 1.0)
    }

    pub fn half_width_frac(&self) -> Option<f64> {
        let [low, middle, high] = self.inferred_kwh?;
        Some((high - low) / 2.0 / middle)
    }
}

/// One derived log: the whole, and trip by trip.
pub struct Scored {
    pub whole: Pair,
    pub trips: Vec<Pair>,
    /// Share of the distance on which recovered energy is claimed. [1]
    pub claimed_frac: f64,
    /// Unknowns of the type and the vehicle: name, before, after, half-width after.
    pub learned: Vec<(String, f64, f64, f64)>,
}

impl Scored {
    /// Runs a pilot file on derived logs, one trip a file.
    ///
    /// The whole is compared over the trips that claim a figure: what is withheld on one is no error on the others.
    pub fn run(pilot: &str, logs: &Path, vehicle: &str, measured: &dyn Fn(&str) -> f64) -> Self {
        let set = Set::run_text(pilot, logs);
        let (ids, starts) = (set.trips.texts("trip_id"), set.trips.times("time_start_ns"));
        let trip = |(file, (first, last)): (String, (i64, i64))| {
            let own: Vec<usize> =
                (0..starts.len()).filter(|&row| (first..=last).contains(&starts[row])).collect();
            assert_eq!(own.len(), 1, "{file} is one trip");
            let id = ids[own[0]].clone().expect("a trip has a name");
            Pair::of(&set, "trip", &id, &file, measured(&file))
        };
        let trips: Vec<Pair> = set.file_times(vehicle).into_iter().map(trip).collect();
        let claimed = |trip: &&Pair| trip.inferred_kwh.is_some();
        let over = trips.iter().filter(claimed).map(|trip| trip.measured_kwh).sum::<f64>();
        let all = trips.iter().map(|trip| trip.measured_kwh).sum::<f64>();
        let whole =
            Pair::of(&set, "vehicle", vehicle, "whole", if trips.iter().any(|t| claimed(&t)) { over } else { all });
        let claimed_frac = set.answer("vehicle", vehicle, "recapture_distance_share_frac").unwrap_or(0.0);
        Self { whole, trips, claimed_frac, learned: learned(&set) }
    }

    pub fn coverage(&self) -> Coverage {
        Coverage::of(&self.trips)
    }
}

fn learned(set: &Set) -> Vec<(String, f64, f64, f64)> {
    let table = &set.calibration;
    let names = table.texts("unknown");
    let [before, low, middle, high] =
        ["before_p50", "value_p05", "value_p50", "value_p95"].map(|column| table.numbers(column));
    let row = |row: usize| {
        let known = |column: &[Option<f64>]| column[row].expect("no unknown travels without its interval");
        let name = names[row].clone().expect("an unknown has a name");
        (name, known(&before), known(&middle), (known(&high) - known(&low)) / 2.0)
    };
    (0..table.rows()).map(row).collect()
}

/// How many intervals held what was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coverage {
    pub held: u64,
    pub claimed: u64,
    pub trips: u64,
}

impl Coverage {
    pub fn of(pairs: &[Pair]) -> Self {
        let held: Vec<bool> = pairs.iter().filter_map(Pair::is_held).collect();
        Self {
            held: held.iter().filter(|held| **held).count() as u64,
            claimed: held.len() as u64,
            trips: pairs.len() as u64,
        }
    }

    pub fn add(self, other: Self) -> Self {
        Self {
            held: self.held + other.held,
            claimed: self.claimed + other.claimed,
            trips: self.trips + other.trips,
        }
    }

    /// Two-sided exact binomial test against [`NOMINAL`]: the probability of all counts that are as improbable as this one
    /// or more. One vehicle's trips share its errors, so intervals are not independent and the test is too strict.
    ///
    /// Source   W. J. Conover, Practical Nonparametric Statistics, 3rd ed. 1999, section 3.1
    pub fn p_value(&self) -> f64 {
        let binomial = Binomial::new(NOMINAL, self.claimed).expect("a share between 0 and 1");
        // Counts that tie but for rounding belong in.
        let most = binomial.pmf(self.held) * (1.0 + 1e-7);
        (0..=self.claimed).map(|count| binomial.pmf(count)).filter(|p| *p <= most).sum::<f64>().min(1.0)
    }
}

#[test]
fn binomial_test_agrees_with_another() {
    // `scipy.stats.binomtest(held, trips, 0.9).pvalue`, scipy 1.
    for (held, claimed, expected) in [
        (12, 16, 0.068_406_173_917_421_73),
        (16, 16, 0.396_052_679_189_029_5),
        (9, 9, 1.0),
        (4, 9, 0.000_890_919_999_999_998_8),
    ] {
        let got = Coverage { held, claimed, trips: claimed }.p_value();
        backwatt_testkit::close(&format!("{held} of {claimed}"), got, expected, 1e-12);
    }
}
