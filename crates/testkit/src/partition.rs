//! How far two ways of dividing the same things into groups agree.

use std::collections::BTreeMap;

/// Adjusted Rand index of two labellings of the same things: 1 where the groups are the same whatever their names, 0 on the
/// mean of chance.
///
/// Source  Hubert, Arabie (1985), "Comparing partitions", Journal of Classification 2, 193-218, equation 5;
///         doi 10.1007/BF01908075
#[must_use]
pub fn adjusted_rand_index<A: Ord, B: Ord>(one: &[A], other: &[B]) -> f64 {
    assert_eq!(one.len(), other.len(), "labels of the same things");
    let pairs = |count: u64| count as f64 * (count as f64 - 1.0) / 2.0;
    let (mut cells, mut rows, mut columns) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
    for (a, b) in one.iter().zip(other) {
        *cells.entry((a, b)).or_insert(0_u64) += 1;
        *rows.entry(a).or_insert(0_u64) += 1;
        *columns.entry(b).or_insert(0_u64) += 1;
    }
    let together: f64 = cells.into_values().map(pairs).sum();
    let (in_rows, in_columns): (f64, f64) =
        (rows.into_values().map(pairs).sum(), columns.into_values().map(pairs).sum());
    let all = pairs(one.len() as u64);
    let by_chance = if all > 0.0 { in_rows * in_columns / all } else { 0.0 };
    let most = f64::midpoint(in_rows, in_columns);
    // One group on both sides, or none of two: nothing to disagree about.
    if (most - by_chance).abs() < f64::EPSILON * all.max(1.0) {
        1.0
    } else {
        (together - by_chance) / (most - by_chance)
    }
}
