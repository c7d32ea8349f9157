use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// A shift of the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// First value after it.
    pub at: usize,
    pub mean_before: f64,
    pub mean_after: f64,
    /// How often chance alone, in values that could stand in any order, shows a split as sharp.
    pub p_value: f64,
}

/// Up to this many values all their orders are gone through.
const EXACT_UP_TO: usize = 8;
/// Orders drawn beyond that.
const DRAWN: usize = 4999;
/// Fewer values than this on one side make no mean.
const SIDE_LEAST: usize = 2;

/// Shifts of the mean in a short noisy series, strongest first split, each side looked at again; in the order of the series.
///
/// T = max over k of |mean after - mean before| · sqrt(k (n - k)/n), against T of the same values in other orders: all of
/// them up to 8 values, else 4999 drawn, p = (1 + as sharp)/(1 + drawn)
/// Shape    values in the order of time; `most` shifts at the most; a shift counts where p is below `alpha`
/// Missing  empty with fewer than four values or one that is not finite
/// Holds    values exchangeable where nothing changed: values that follow their neighbours look like shifts; each split has
///          the level alpha of its own
/// Source   Antoch and Huskova (2001), Permutation tests in change point analysis, Stat. Probab. Lett. 53, 37; one split
///          after the other: Scott and Knott (1974), Biometrics 30, 507; p: Phipson and Smyth (2010), Stat. Appl. Genet.
///          Mol. Biol. 9, 39. Departures: none
/// Check    yearly flow of the Nile 1871 to 1970: after 1898, from 1097.75 to 849.97 (test below)
pub fn changes(values: &[f64], alpha: f64, most: usize) -> Vec<Change> {
    if values.iter().any(|value| !value.is_finite()) {
        return Vec::new();
    }
    let mut found: Vec<Change> = Vec::new();
    let mut open = vec![(0, values.len())];
    while let Some((from, to)) = open.pop() {
        let part = &values[from..to];
        let Some((split, sharp)) = sharpest(part) else { continue };
        let p_value = p_value(part, sharp);
        if p_value >= alpha || found.len() >= most {
            continue;
        }
        let at = from + split;
        found.push(Change { at, mean_before: 0.0, mean_after: 0.0, p_value });
        open.extend([(at, to), (from, at)]);
    }
    found.sort_by_key(|change| change.at);
    let ends: Vec<usize> = found.iter().map(|change| change.at).collect();
    for (i, change) in found.iter_mut().enumerate() {
        let from = if i == 0 { 0 } else { ends[i - 1] };
        let to = ends.get(i + 1).copied().unwrap_or(values.len());
        (change.mean_before, change.mean_after) =
            (mean(&values[from..change.at]), mean(&values[change.at..to]));
    }
    found
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Where the means differ most for the lengths of both sides, and by how much.
fn sharpest(values: &[f64]) -> Option<(usize, f64)> {
    let n = values.len();
    if n < 2 * SIDE_LEAST {
        return None;
    }
    let whole = mean(values);
    let mut sum = 0.0;
    let mut best = (0, f64::NEG_INFINITY);
    for (k, value) in values.iter().enumerate().take(n - SIDE_LEAST) {
        sum += value - whole;
        let before = (k + 1) as f64;
        // The sum of deviations is k (n - k)/n times the difference of the means.
        let sharp = sum.abs() / (before * (n as f64 - before) / n as f64).sqrt();
        if k + 1 >= SIDE_LEAST && sharp > best.1 {
            best = (k + 1, sharp);
        }
    }
    Some(best)
}

fn p_value(values: &[f64], seen: f64) -> f64 {
    // Rounding must not tell the same split of two orders apart.
    let as_sharp = |order: &[f64]| sharpest(order).is_some_and(|(_, sharp)| sharp >= seen * (1.0 - 1e-9));
    let mut order = values.to_vec();
    if values.len() <= EXACT_UP_TO {
        let (mut all, mut sharp) = (0_u32, 0_u32);
        let size = order.len();
        each_order(&mut order, size, &mut |order| {
            all += 1;
            sharp += u32::from(as_sharp(order));
        });
        return f64::from(sharp) / f64::from(all);
    }
    let mut rng = ChaCha8Rng::seed_from_u64(values.len() as u64);
    let sharp = (0..DRAWN)
        .filter(|_| {
            order.shuffle(&mut rng);
            as_sharp(&order)
        })
        .count();
    (1 + sharp) as f64 / (1 + DRAWN) as f64
}

/// Heap's algorithm.
fn each_order(order: &mut [f64], size: usize, visit: &mut impl FnMut(&[f64])) {
    if size <= 1 {
        return visit(order);
    }
    for i in 0..size {
        each_order(order, size - 1, visit);
        order.swap(if size.is_multiple_of(2) { i } else { 0 }, size - 1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Yearly flow of the Nile at Aswan 1871 to 1970, 10⁸ m³: Cobb (1978), Biometrika 65, 243, table 1.
    const NILE: [f64; 100] = [
        1120.0, 1160.0, 963.0, 1210.0, 1160.0, 1160.0, 813.0, 1230.0, 1370.0, 1140.0, 995.0, 935.0, 1110.0,
        994.0, 1020.0, 960.0, 1180.0, 799.0, 958.0, 1140.0, 1100.0, 1210.0, 1150.0, 1250.0, 1260.0, 1220.0,
        1030.0, 1100.0, 774.0, 840.0, 874.0, 694.0, 940.0, 833.0, 701.0, 916.0, 692.0, 1020.0, 1050.0, 969.0,
        831.0, 726.0, 456.0, 824.0, 702.0, 1120.0, 1100.0, 832.0, 764.0, 821.0, 768.0, 845.0, 864.0, 862.0,
        698.0, 845.0, 744.0, 796.0, 1040.0, 759.0, 781.0, 865.0, 845.0, 944.0, 984.0, 897.0, 822.0, 1010.0,
        771.0, 676.0, 649.0, 846.0, 812.0, 742.0, 801.0, 1040.0, 860.0, 874.0, 848.0, 890.0, 744.0, 749.0,
        838.0, 1050.0, 918.0, 986.0, 797.0, 923.0, 975.0, 815.0, 1020.0, 906.0, 901.0, 1170.0, 912.0, 746.0,
        919.0, 718.0, 714.0, 740.0,
    ];

    /// One break after 1898, with the means printed by Zeileis et al. (2003), Comput. Stat. Data Anal. 44, 109, section 4.
    #[test]
    fn the_nile_changes_once() {
        let found = changes(&NILE, 0.05, 5);
        assert_eq!(found.iter().map(|change| change.at).collect::<Vec<_>>(), [28], "{found:?}");
        assert!((found[0].mean_before - 1097.75).abs() < 0.005 && (found[0].mean_after - 849.97).abs() < 0.005);
        assert!(found[0].p_value < 0.001);
    }

    /// By hand: 0, 0, 1, 1 splits in the middle; of the 24 orders 0011 and 1100 are as sharp, 8 in all.
    #[test]
    fn exact_by_hand() {
        let found = changes(&[0.0, 0.0, 1.0, 1.0], 0.5, 1);
        assert_eq!((found[0].at, found[0].p_value), (2, 8.0 / 24.0));
        assert!(changes(&[0.0, 0.0, 1.0, 1.0], 0.05, 1).is_empty());
    }

    #[test]
    fn two_shifts_are_told_apart() {
        let wiggle = |i: usize| [0.3, -0.2, 0.1, -0.3, 0.2][i % 5];
        let level = |i: usize| if (12..24).contains(&i) { 3.0 } else { 0.0 };
        let values: Vec<f64> = (0..36).map(|i| level(i) + wiggle(i)).collect();
        assert_eq!(changes(&values, 0.05, 4).iter().map(|c| c.at).collect::<Vec<_>>(), [12, 24]);
        assert!(changes(&[], 0.05, 1).is_empty() && changes(&[f64::NAN; 9], 0.05, 1).is_empty());
    }

    /// Without a change, one series in twenty shows one at 5 %.
    #[test]
    fn chance_alone_is_found_as_often_as_said() {
        use rand_distr::{Distribution, StandardNormal};
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let series = 400;
        let found = (0..series)
            .filter(|_| {
                let values: Vec<f64> = (0..15).map(|_| StandardNormal.sample(&mut rng)).collect();
                !changes(&values, 0.05, 1).is_empty()
            })
            .count();
        // 20 expected, standard deviation 4.4.
        assert!((8..=33).contains(&found), "{found} of {series}");
    }
}
