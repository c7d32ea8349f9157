//! Groups of things that are alike, by average linkage.

/// Groups of `0..weights.len()`, each in order, by their first member: the two most alike groups are joined until none are
/// as alike as `least`. The likeness of two groups is the mean over all pairs, each as heavy as its weights.
///
/// Shape    `likeness(i, j)` is symmetric, 0 to 1; it is asked once for each pair
/// Ties     the pair with the lower first, then the lower second member
/// Source   Sokal, Michener (1958), "A statistical method for evaluating systematic relationships", University of Kansas
///          Science Bulletin 38, 1409-1438 (unweighted pair-group method); the update of means after Lance, Williams (1967),
///          "A general theory of classificatory sorting strategies 1", Computer Journal 9, 373-380, doi 10.1093/comjnl/9.4.373
pub fn groups(weights: &[f64], least: f64, likeness: impl Fn(usize, usize) -> f64) -> Vec<Vec<usize>> {
    let n = weights.len();
    let mut matrix = vec![0.0; n * n];
    for i in 0..n {
        for j in i + 1..n {
            let value = likeness(i, j);
            (matrix[i * n + j], matrix[j * n + i]) = (value, value);
        }
    }
    let mut weights = weights.to_vec();
    let mut members: Vec<Vec<usize>> = (0..n).map(|i| vec![i]).collect();
    let mut best: Vec<Option<usize>> = (0..n).map(|i| nearest(&matrix, &members, i)).collect();
    loop {
        let pairs = (0..n).filter_map(|i| Some((matrix[i * n + best[i]?], i)));
        // The first of equals: `max_by` would take the last.
        let Some((value, i)) = pairs.reduce(|a, b| if b.0 > a.0 { b } else { a }) else { break };
        let Some(j) = best[i].filter(|_| value >= least) else { break };
        let total = weights[i] + weights[j];
        for k in (0..n).filter(|k| *k != i && *k != j && !members[*k].is_empty()) {
            let mean = (weights[i] * matrix[i * n + k] + weights[j] * matrix[j * n + k]) / total;
            (matrix[i * n + k], matrix[k * n + i]) = (mean, mean);
        }
        weights[i] = total;
        let moved = std::mem::take(&mut members[j]);
        members[i].extend(moved);
        for k in 0..n {
            let stale = k == i || k == j || best[k] == Some(i) || best[k] == Some(j);
            let nearer = k < i && best[k].is_some_and(|b| matrix[k * n + i] > matrix[k * n + b]);
            if stale || nearer {
                best[k] = nearest(&matrix, &members, k);
            }
        }
    }
    let mut groups: Vec<Vec<usize>> = members.into_iter().filter(|group| !group.is_empty()).collect();
    groups.iter_mut().for_each(|group| group.sort_unstable());
    groups.sort();
    groups
}

/// The most alike of the later groups.
fn nearest(matrix: &[f64], members: &[Vec<usize>], i: usize) -> Option<usize> {
    let n = members.len();
    if members[i].is_empty() {
        return None;
    }
    let later = (i + 1..n).filter(|j| !members[*j].is_empty());
    later.reduce(|a, b| if matrix[i * n + b] > matrix[i * n + a] { b } else { a })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Distances of five taxa, the worked example of the article "UPGMA" of Wikipedia (17 21 31 23 / 30 34 21 / 28 39 / 43):
    /// a and b join at 17, e joins them at 22, c and d join at 28, all at 33.
    const APART: [[f64; 5]; 5] = [
        [0.0, 17.0, 21.0, 31.0, 23.0],
        [17.0, 0.0, 30.0, 34.0, 21.0],
        [21.0, 30.0, 0.0, 28.0, 39.0],
        [31.0, 34.0, 28.0, 0.0, 43.0],
        [23.0, 21.0, 39.0, 43.0, 0.0],
    ];

    fn cut(apart: f64) -> Vec<Vec<usize>> {
        groups(&[1.0; 5], 1.0 - apart / 100.0, |i, j| 1.0 - APART[i][j] / 100.0)
    }

    #[test]
    fn the_worked_example_joins_where_it_should() {
        assert_eq!(cut(16.9).len(), 5);
        assert_eq!(cut(17.1), vec![vec![0, 1], vec![2], vec![3], vec![4]]);
        assert_eq!(cut(22.1), vec![vec![0, 1, 4], vec![2], vec![3]]);
        assert_eq!(cut(28.1), vec![vec![0, 1, 4], vec![2, 3]]);
        assert_eq!(cut(32.9), vec![vec![0, 1, 4], vec![2, 3]]);
        assert_eq!(cut(33.1), vec![vec![0, 1, 2, 3, 4]]);
    }

    #[test]
    fn nothing_gives_nothing() {
        assert!(groups(&[], 0.5, |_, _| 1.0).is_empty());
        assert_eq!(groups(&[1.0], 0.5, |_, _| 1.0), vec![vec![0]]);
    }
}
