//! When the reported state of charge steps down: the one moment at which a coarse value says exactly where the true one is.

/// Least fall between two steps at which segments are cut: finer readings step with every sample. From memory: the
/// coarsest step of which a day still holds a hundred.
const LEAST_FALL: f64 = 0.004;
/// A rise by this much is a charge, and steps are counted anew.
const CHARGED: f64 = 0.02;
/// A step that waited longer than this for its reading says no time.
const LONGEST_WAIT_S: f64 = 120.0;

/// Of each knot: seconds since the reading before, where the state of charge read there is a step down and segments
/// are to be cut. A count set anew is no step.
pub fn steps(time_ns: &[i64], readings: &[Option<f64>], anchored: &[bool]) -> Vec<Option<f64>> {
    let mut before: Option<(i64, f64)> = None;
    let mut cut_at: Option<f64> = None;
    let mut found = vec![None; readings.len()];
    for (knot, (now, reading)) in time_ns.iter().zip(readings).enumerate() {
        let Some(soc) = *reading else { continue };
        if anchored[knot] {
            (before, cut_at) = (None, None);
        }
        if let Some((then, previous)) = before {
            let wait_s = (now - then) as f64 * 1e-9;
            if cut_at.is_some_and(|cut| soc > cut + CHARGED) {
                cut_at = None;
            }
            // A hair less than the least fall: decimal steps are no binary fractions.
            let far = cut_at.is_none_or(|cut| cut - soc > LEAST_FALL - 1e-6);
            if soc < previous && far && wait_s <= LONGEST_WAIT_S {
                found[knot] = Some(wait_s);
                cut_at = Some(soc);
            }
        }
        before = Some((*now, soc));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(readings: &[f64]) -> Vec<usize> {
        let times: Vec<i64> = (0..readings.len() as i64).map(|second| second * 1_000_000_000).collect();
        let readings: Vec<Option<f64>> = readings.iter().copied().map(Some).collect();
        let found = steps(&times, &readings, &vec![false; readings.len()]);
        (0..found.len()).filter(|knot| found[*knot].is_some()).collect()
    }

    #[test]
    fn every_coarse_step_down_is_one() {
        assert_eq!(at(&[0.5, 0.5, 0.495, 0.495, 0.49]), [2, 4]);
    }

    /// Up by regen and down again is the same boundary; only the next one is another.
    #[test]
    fn a_step_up_and_down_again_is_none() {
        assert_eq!(at(&[0.5, 0.49, 0.5, 0.49, 0.48]), [1, 4]);
    }

    #[test]
    fn fine_readings_are_cut_at_the_least_fall() {
        let fine: Vec<f64> = (0..101).map(|i| 0.5 - 0.0001 * f64::from(i)).collect();
        assert_eq!(at(&fine), [1, 41, 81]);
    }

    #[test]
    fn after_a_charge_the_count_begins_anew() {
        assert_eq!(at(&[0.5, 0.49, 0.9, 0.89]), [1, 3]);
    }

    #[test]
    fn a_reading_that_came_late_says_no_time() {
        assert_eq!(steps(&[0, 600_000_000_000], &[Some(0.5), Some(0.4)], &[false; 2]), [None, None]);
    }

    #[test]
    fn a_count_set_anew_is_no_step_and_the_next_one_is() {
        let times = [0, 1_000_000_000, 2_000_000_000];
        let readings = [Some(0.5), Some(0.44), Some(0.435)];
        assert_eq!(steps(&times, &readings, &[false, true, false]), [None, None, Some(1.0)]);
    }
}
