//! Height along the road from altitudes that drift, jump and repeat.
//!
//! Altitudes are averaged over 25 m of road, passes over the same road are averaged with each other, and what is left
//! is split into road and receiver by a smoother along distance: along distance and not time, because a vehicle that
//! stands still would otherwise turn drift into slope.

mod cells;
mod filter;
mod model;
mod passes;

use cells::Cell;
pub use model::Model;

/// Length of a cell of the height profile. [m]
const CELL_M: f64 = 25.0;
/// The steepest streets anyone drives rise by 0.35 of their length (common practice, no source).
const STEEPEST: f64 = 0.35;
/// Where the log leaves the grade known this much worse than the road's own spread, flat is the better guess.
const TELLS_NOTHING: f64 = 0.8;

/// One altitude on the way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    pub distance_m: f64,
    pub altitude_m: f64,
    /// Latitude and longitude. [deg]
    pub place: Option<(f64, f64)>,
}

/// Heights of a road, one value every 25 m.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    heights_m: Vec<f64>,
    /// Standard deviation of the grade, mean over the profile. [rise over run]
    pub grade_error_frac: f64,
    /// Passes over the same road that were averaged, mean over the profile.
    pub passes: f64,
}

/// Profiles of all stretches of one vehicle: they share receiver and roads.
///
/// Each altitude is height + drift + white error; the grade is an Ornstein-Uhlenbeck process along distance with a
/// memory of 300 m, the drift one of unknown memory. Spread of grade, drift and error are those under which the
/// vehicle's altitudes are most likely; where n passes were averaged, drift and error are 1/√n as large.
/// Shape    one profile per stretch, in order; points rise in distance within a stretch
/// Missing  fewer than two altitudes; more than a hundredth of it steeper than any road; or a grade no better known
///          than without altitudes: no profile, and the caller runs flat
/// Holds    roads: memory of the grade from memory, not confirmed
/// Source   Rauch, Tung and Striebel (1965), doi:10.2514/3.3166; averaging of repeated passes after Sahlholm and
///          Johansson (2008), IFAC; outlying cells: Hampel rule of 40 CFR 1037.528(g). Departures: cells, not times
/// Check    a steady slope stays one; a standing receiver that drifts makes none (tests below)
pub fn profiles(stretches: &[Vec<Point>]) -> Vec<Option<Profile>> {
    let mut cells: Vec<Vec<Cell>> = stretches.iter().map(|points| cells::cells(points)).collect();
    passes::average(&mut cells);
    let Some(model) = model::fit(&cells) else { return vec![None; stretches.len()] };
    cells.iter().map(|cells| Profile::smoothed(cells, &model)).collect()
}

impl Profile {
    fn smoothed(cells: &[Cell], model: &Model) -> Option<Self> {
        if cells.iter().filter(|cell| cell.height_m.is_some()).count() < 2 {
            return None;
        }
        let (heights_m, grade_error_frac) = filter::smooth(cells, model)?;
        let passes = cells.iter().map(|cell| cell.passes).sum::<f64>() / cells.len() as f64;
        let profile = Self { heights_m, grade_error_frac, passes };
        let known = grade_error_frac <= TELLS_NOTHING * model.grade_sd;
        (known && !profile.is_no_road()).then_some(profile)
    }

    fn is_no_road(&self) -> bool {
        let steep = self.heights_m.windows(2).filter(|w| (w[1] - w[0]).abs() > STEEPEST * CELL_M).count();
        steep * 100 > self.heights_m.len()
    }

    /// Height at a distance along the road, linear between cell centres. [m]
    pub fn at(&self, distance_m: f64) -> f64 {
        let position = (distance_m / CELL_M - 0.5).clamp(0.0, (self.heights_m.len() - 1) as f64);
        let cell = (position as usize).min(self.heights_m.len().saturating_sub(2));
        let next = (cell + 1).min(self.heights_m.len() - 1);
        let share = position - cell as f64;
        self.heights_m[cell] + (self.heights_m[next] - self.heights_m[cell]) * share
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(points: impl Iterator<Item = (f64, f64)>) -> Option<Profile> {
        let point = |(distance_m, altitude_m)| Point { distance_m, altitude_m, place: None };
        profiles(&[points.map(point).collect()]).remove(0)
    }

    #[test]
    fn a_steady_slope_stays_a_steady_slope() {
        let profile = one((0..400).map(|i| (f64::from(i) * 10.0, f64::from(i) * 0.3))).unwrap();
        let rise = profile.at(3000.0) - profile.at(1000.0);
        assert!((rise - 60.0).abs() < 0.3, "{rise}");
    }

    #[test]
    fn standing_still_with_a_drifting_receiver_is_no_slope() {
        let profile = one((0..400).map(|i| (500.0, f64::from(i) * 0.05)));
        let slope = profile.map_or(0.0, |profile| profile.at(500.0) - profile.at(499.0));
        assert!(slope.abs() < 1e-9);
    }

    #[test]
    fn a_cliff_is_no_road() {
        let step = |i: u32| (f64::from(i) * 10.0, if i % 4 < 2 { 0.0 } else { 1600.0 });
        assert_eq!(one((0..80).map(step)), None);
    }

    #[test]
    fn one_altitude_is_no_profile() {
        assert_eq!(one(std::iter::once((0.0, 10.0))), None);
    }

    /// An error of the receiver every 8 m that forgets itself within 150 m. Normal by twelve uniform draws.
    fn drift(seed: u64, sd_m: f64, values: usize) -> Vec<f64> {
        let mut state = seed;
        let mut normal = || {
            let mut sum = -6.0;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                sum += (state >> 11) as f64 / (1u64 << 53) as f64;
            }
            sum
        };
        let kept = (-8.0_f64 / 150.0).exp();
        let mut now = sd_m * normal();
        let mut next = || {
            now = kept * now + sd_m * (1.0 - kept * kept).sqrt() * normal();
            now
        };
        (0..values).map(|_| next()).collect()
    }

    fn spread_of_grade(profile: &Profile, length_m: f64) -> f64 {
        let steps = (length_m / 10.0) as u32;
        let rise = |i: u32| profile.at(f64::from(i) * 10.0 + 10.0) - profile.at(f64::from(i) * 10.0);
        ((0..steps).map(|i| (rise(i) / 10.0).powi(2)).sum::<f64>() / f64::from(steps)).sqrt()
    }

    /// A receiver that wanders by 4 m on a flat road: a mean over 200 m would leave a grade of some 0.02.
    #[test]
    fn a_wandering_receiver_on_a_flat_road() {
        for seed in 1..=5 {
            let errors = drift(seed, 4.0, 2000);
            let profile = one(errors.iter().enumerate().map(|(i, e)| (i as f64 * 8.0, *e)));
            let spread = profile.map_or(0.0, |profile| spread_of_grade(&profile, 15_000.0));
            assert!(spread < 0.012, "seed {seed}: {spread}");
        }
    }

    /// Six passes over one hill, each with its own drift: closer to the hill than one pass alone.
    #[test]
    fn passes_over_the_same_road_are_averaged() {
        let hill = |x: f64| 40.0 * (x / 500.0).sin() + 12.0 * (x / 210.0).cos();
        let road = 4000.0;
        let pass = |number: u32| -> Vec<Point> {
            let errors = drift(u64::from(number) + 11, 4.0, 501);
            let point = |i: usize| {
                let along = i as f64 * 8.0;
                let x = if number.is_multiple_of(2) { along } else { road - along };
                let place = Some((47.0 + x / 111_132.0, 8.0));
                Point { distance_m: along, altitude_m: hill(x) + errors[i], place }
            };
            (0..=500).map(point).collect()
        };
        let error = |profile: &Profile| -> f64 {
            let off = |i: i32| {
                let x = f64::from(i) * 20.0;
                (profile.at(x + 20.0) - profile.at(x) - hill(x + 20.0) + hill(x)) / 20.0
            };
            ((5..190).map(|i| off(i).powi(2)).sum::<f64>() / 185.0).sqrt()
        };
        let alone = profiles(&[pass(0)]).remove(0).expect("a profile");
        let together = profiles(&(0..6).map(pass).collect::<Vec<_>>()).remove(0).expect("a profile");
        assert!((together.passes - 6.0).abs() < 0.5, "{}", together.passes);
        println!("grade off by {:.4} alone, {:.4} of six passes", error(&alone), error(&together));
        println!("said {:.4} alone, {:.4} of six passes", alone.grade_error_frac, together.grade_error_frac);
        assert!(error(&together) < 0.75 * error(&alone), "{} {}", error(&together), error(&alone));
        assert!(together.grade_error_frac < alone.grade_error_frac);
        // What is said of the error holds within a factor.
        assert!((0.5..2.0).contains(&(error(&together) / together.grade_error_frac)));
    }
}
