/// Most causes that are told apart: 2⁸ calls of the function.
pub const CAUSES_MOST: usize = 8;

/// What each cause brings of f(all) - f(none), in no order: the mean over all orders of letting them in one by one.
///
/// φ_i = Σ over S without i  |S|! (k - |S| - 1)!/k! · (f(S and i) - f(S))
/// Shape    `worth` takes a set of causes as bits, cause i in bit i; one value for each of `causes`
/// Sign     as `worth`; the values add up to f(all) - f(none)
/// Missing  `None` for more causes than [`CAUSES_MOST`]
/// Source   Shapley (1953), A value for n-person games, eq. 13; as a decomposition: Shorrocks (2013), J. Econ. Inequal. 11,
///          99. Departures: none
/// Check    the glove market: one left glove, two right ones, a pair is worth 1 -> 2/3, 1/6, 1/6
/// ```
/// let pair = |set: u32| if set & 1 != 0 && set & 6 != 0 { 1.0 } else { 0.0 };
/// let shares = backwatt_stats::shapley(3, pair).unwrap();
/// assert!(shares.iter().zip([2.0 / 3.0, 1.0 / 6.0, 1.0 / 6.0]).all(|(a, b)| (a - b).abs() < 1e-12));
/// ```
pub fn shapley(causes: usize, mut worth: impl FnMut(u32) -> f64) -> Option<Vec<f64>> {
    if causes > CAUSES_MOST {
        return None;
    }
    let sets = 1_u32 << causes;
    let worths: Vec<f64> = (0..sets).map(&mut worth).collect();
    let factorial = |n: usize| (1..=n).product::<usize>() as f64;
    let share = |cause: usize| {
        (0..sets)
            .filter(|set| set & (1 << cause) == 0)
            .map(|set| {
                let size = set.count_ones() as usize;
                let orders = factorial(size) * factorial(causes - size - 1) / factorial(causes);
                orders * (worths[(set | 1 << cause) as usize] - worths[set as usize])
            })
            .sum()
    };
    Some((0..causes).map(share).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: &[f64], expected: &[f64]) {
        assert_eq!(found.len(), expected.len());
        assert!(found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?}");
    }

    /// Causes that do not meet keep what each brings alone.
    #[test]
    fn a_sum_is_its_own_split() {
        let parts = [3.0, -1.0, 0.5];
        let sum = |set: u32| 10.0 + (0..3).filter(|i| set & (1 << i) != 0).map(|i| parts[i]).sum::<f64>();
        near(&shapley(3, sum).unwrap(), &parts);
    }

    /// By hand, f = a b c with factors 2, 3, 5 in place of 1. Orders abc, acb, bac, bca, cab, cba give a
    /// 1, 1, 3, 15, 5, 15; b 4, 20, 2, 2, 20, 10; c 24, 8, 24, 12, 4, 4. Means 40/6, 58/6, 76/6; together 29.
    #[test]
    fn a_product_by_hand() {
        let factors = [2.0, 3.0, 5.0];
        let product = |set: u32| (0..3).filter(|i| set & (1 << i) != 0).map(|i| factors[i]).product::<f64>();
        near(&shapley(3, product).unwrap(), &[40.0 / 6.0, 58.0 / 6.0, 76.0 / 6.0]);
    }

    /// By hand, f(S) = the greatest of 1, 2, 4: the first unit is shared by three, the second by two, the rest is the third's.
    #[test]
    fn a_shared_runway_by_hand() {
        let needs = [1.0, 2.0, 4.0];
        let longest = |set: u32| (0..3).filter(|i| set & (1 << i) != 0).map(|i| needs[i]).fold(0.0, f64::max);
        near(&shapley(3, longest).unwrap(), &[1.0 / 3.0, 1.0 / 3.0 + 0.5, 1.0 / 3.0 + 0.5 + 2.0]);
    }

    #[test]
    fn eight_causes_add_up_and_nine_are_refused() {
        let odd = |set: u32| f64::from(set % 97).sqrt() * f64::from(set.count_ones());
        let split: f64 = shapley(8, odd).unwrap().iter().sum();
        assert!((split - (odd(255) - odd(0))).abs() < 1e-9);
        assert_eq!(shapley(0, odd), Some(Vec::new()));
        assert_eq!(shapley(9, odd), None);
    }
}
