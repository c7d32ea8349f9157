/// Median absolute deviation to standard deviation, for a normal distribution. 40 CFR 1037.528(g)(1).
pub const MAD_TO_SIGMA: f64 = 1.4826;
/// Deviations beyond this many standard deviations are outliers. 40 CFR 1037.528(g)(1).
pub const SIGMAS: f64 = 3.0;

/// Replaces outliers by the median of their neighbourhood, in place, and gives their number.
///
/// |x - median| > 3 · 1.4826 · MAD over ±reach neighbours
/// Shape    any; fewer than three values are left alone
/// Sign     as the values
/// Missing  none. Errors: none
/// Holds    outliers rarer than half of a neighbourhood
/// Source   Hampel identifier, 40 CFR 1037.528(g)(1) (there over ±3 s of speed). Departures: none
/// Check    1, 1, 9, 1, 1 within one neighbour -> the nine becomes one
/// ```
/// let mut values = [1.0, 1.1, 9.0, 1.0, 0.9];
/// assert_eq!(backwatt_physics::kernels::hampel::replace_outliers(&mut values, 2), 1);
/// assert_eq!(values[2], 1.0);
/// ```
pub fn replace_outliers(values: &mut [f64], reach: usize) -> usize {
    let original = values.to_vec();
    let mut replaced = 0;
    for at in 0..original.len() {
        let window = &original[at.saturating_sub(reach)..(at + reach + 1).min(original.len())];
        if window.len() < 3 {
            continue;
        }
        let middle = median(window.to_vec());
        let deviation = median(window.iter().map(|v| (v - middle).abs()).collect());
        if (original[at] - middle).abs() > SIGMAS * MAD_TO_SIGMA * deviation {
            values[at] = middle;
            replaced += 1;
        }
    }
    replaced
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len() % 2 == 1 { values[middle] } else { f64::midpoint(values[middle - 1], values[middle]) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spike_goes_and_a_ramp_stays() {
        let mut values: Vec<f64> = (0..20).map(f64::from).collect();
        let ramp = values.clone();
        assert_eq!(replace_outliers(&mut values, 3), 0);
        values[10] = 90.0;
        assert_eq!(replace_outliers(&mut values, 3), 1);
        assert!((values[10] - ramp[10]).abs() <= 1.0);
    }
}
