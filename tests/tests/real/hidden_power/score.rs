//! What was inferred, against what was measured.

use std::path::Path;

use statrs::distribution::{Binomial, Discrete};

use crate::set::Set;

/// The share of intervals that should hold the truth. [1]
pub const NOMINAL: f64 = 0.9;
const INTERVAL: [&str; 3] =
    ["energy_recovered_p05_kwh", "energy_recovered_p50_kwh", "energy_recovered_p95_kwh"];

/// What one group of one grouping claims; `None` where nothing is. [kWh]
#[derive(Debug, Clone)]
pub struct Answer {
    pub inferred_kwh: Option<[f64; 3]>,
    pub evidence: String,
}

impl Answer {
    /// Asserts that a figure travels with its interval, and without power with a grade that does not say measured.
    pub fn of(set: &Set, grouping: &str, group: &str) -> Self {
        let [low, middle, high] = INTERVAL.map(|column| set.answer(grouping, group, column));
        let evidence = set.recovery.texts("recapture_evidence")[set.answer_row(grouping, group)].clone();
        let evidence = evidence.expect("no figure travels without a grade");
        let inferred_kwh = middle.map(|middle| {
            let (low, high) = (low.expect("a lower end"), high.expect("an upper end"));
            assert!(low <= middle && middle <= high && low < high, "{group}: {low}, {middle}, {high} kWh");
            assert!(["inferred", "modelled"].contains(&evidence.as_str()), "{group}: {evidence} without power");
            [low, middle, high]
        });
        Self { inferred_kwh, evidence }
    }
}

/// A measured energy and what was inferred for it.
#[derive(Debug, Clone)]
pub struct Pair {
    pub name: String,
    pub measured_kwh: f64,
    pub answer: Answer,
}

impl Pair {
    pub fn is_held(&self) -> Option<bool> {
        let [low, _, high] = self.answer.inferred_kwh?;
        Some((low..=high).contains(&self.measured_kwh))
    }

    pub fn error_frac(&self) -> Option<f64> {
        Some(self.answer.inferred_kwh?[1] / self.measured_kwh - 1.0)
    }
}

/// One derived log: the whole, and trip by trip.
pub struct Scored {
    pub whole: Pair,
    pub trips: Vec<Pair>,
    pub unknowns: Vec<Unknown>,
}

impl Scored {
    /// Runs a pilot file on derived logs, one trip a file.
    ///
    /// The whole is compared over the trips that claim a figure: what is withheld on one is no error on the others.
    pub fn run(pilot: &str, logs: &Path, vehicle: &str, measured: &dyn Fn(&str) -> f64) -> Self {
        let set = Set::run_text(pilot, logs);
        nothing_is_measured(&set);
        let (ids, starts) = (set.trips.texts("trip_id"), set.trips.times("time_start_ns"));
        let vehicles = set.trips.texts("vehicle_id");
        let trip = |(file, (first, last)): (String, (i64, i64))| {
            let own: Vec<usize> = (0..starts.len())
                .filter(|&row| vehicles[row].as_deref() == Some(vehicle))
                .filter(|&row| (first..=last).contains(&starts[row]))
                .collect();
            assert_eq!(own.len(), 1, "{file} is one trip");
            let id = ids[own[0]].clone().expect("a trip has a name");
            Pair { measured_kwh: measured(&file), answer: Answer::of(&set, "trip", &id), name: file }
        };
        let trips: Vec<Pair> = set.file_times(vehicle).into_iter().map(trip).collect();
        let is_claimed = |trip: &&Pair| trip.answer.inferred_kwh.is_some();
        let any = trips.iter().any(|trip| is_claimed(&trip));
        let measured_kwh =
            trips.iter().filter(|trip| !any || is_claimed(trip)).map(|trip| trip.measured_kwh).sum();
        let answer = Answer::of(&set, "vehicle", vehicle);
        let whole = Pair { name: vehicle.to_owned(), measured_kwh, answer };
        Self { whole, trips, unknowns: unknowns(&set) }
    }

    pub fn coverage(&self) -> Coverage {
        Coverage::of(&self.trips)
    }
}

/// Asserts that power is hidden indeed.
pub fn nothing_is_measured(set: &Set) {
    assert!(set.segments.numbers("energy_recovered_kwh").iter().all(Option::is_none));
    assert!(set.samples.values().all(|samples| samples.numbers("pack_power_w").iter().all(Option::is_none)));
}

/// An unknown of the type or the vehicle, after the logs.
pub struct Unknown {
    pub name: String,
    pub unit: String,
    pub before: f64,
    pub after: f64,
    pub half_width: f64,
}

pub fn unknowns(set: &Set) -> Vec<Unknown> {
    let table = &set.calibration;
    let (names, units) = (table.texts("unknown"), table.texts("unit"));
    let [before, low, middle, high] =
        ["before_p50", "value_p05", "value_p50", "value_p95"].map(|column| table.numbers(column));
    let known =
        |column: &[Option<f64>], row: usize| column[row].expect("no unknown travels without its interval");
    let unknown = |row: usize| Unknown {
        name: names[row].clone().expect("an unknown has a name"),
        unit: units[row].clone().expect("an unknown has a unit"),
        before: known(&before, row),
        after: known(&middle, row),
        half_width: (known(&high, row) - known(&low, row)) / 2.0,
    };
    (0..table.rows()).map(unknown).collect()
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

    pub fn frac(&self) -> Option<f64> {
        (self.claimed > 0).then(|| self.held as f64 / self.claimed as f64)
    }

    /// Two-sided exact binomial test against [`NOMINAL`]: the probability of all counts that are as improbable as this one
    /// or more. One vehicle's trips share its errors, so intervals are not independent and the test is too strict.
    ///
    /// Source   W. J. Conover, Practical Nonparametric Statistics, 3rd ed. 1999, section 3.1
    pub fn p_value(&self) -> Option<f64> {
        if self.claimed == 0 {
            return None;
        }
        let binomial = Binomial::new(NOMINAL, self.claimed).expect("a share between 0 and 1");
        // Counts that tie but for rounding belong in.
        let most = binomial.pmf(self.held) * (1.0 + 1e-7);
        let p: f64 = (0..=self.claimed).map(|count| binomial.pmf(count)).filter(|p| *p <= most).sum();
        Some(p.min(1.0))
    }
}

#[test]
fn binomial_test_agrees_with_another() {
    // `scipy.stats.binomtest(held, trips, 0.9).pvalue`, scipy 1.17.1.
    for (held, claimed, expected) in [
        (12, 16, 0.068_406_173_917_421_73),
        (16, 16, 0.396_052_679_189_029_5),
        (9, 9, 1.0),
        (4, 9, 0.000_890_919_999_999_998_8),
    ] {
        let got = Coverage { held, claimed, trips: claimed }.p_value().expect("intervals");
        backwatt_testkit::close(&format!("{held} of {claimed}"), got, expected, 1e-12);
    }
}
