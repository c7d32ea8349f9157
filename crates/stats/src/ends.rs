//! What several values, each known between two ends, leave open of a figure.

/// The 95th percentile of the standard normal distribution.
const Z_90: f64 = 1.644_853_626_951_472_2;

/// How far a figure may lie below and above where it stands, nine times in ten, by what each of several values adds to it at
/// either of its ends.
///
/// u² = Σ (a / √3)² of the greater move below, and likewise above; the reach is 1.645 u
/// Shape    one pair for each value: the move at one end and at the other, in the figure's own unit
/// Sign     moves signed; the reach 0 or more, below first
/// Missing  no values: no reach
/// Holds    values independent, the figure moves in proportion, half of the probability lies evenly between belief and
///          either end. Several values that can move it one way alone make it too short there: by a fifth for two, by a third for four
/// Source   JCGM 100:2008 (GUM), 4.3.7 (rectangular), 5.1.2 (independent values), annex G (coverage); ends of unlike length apart: derived
/// Check    3 and 4 either way make 0.9497 × 5
/// ```
/// use backwatt_stats::reach_of_ends;
/// let [below, above] = reach_of_ends([[-3.0, 3.0], [4.0, -4.0]]);
/// assert!((below - 0.94966 * 5.0).abs() < 1e-4 && (above - below).abs() < 1e-12);
/// assert_eq!(reach_of_ends([[0.0, 2.0]])[0], 0.0);
/// ```
pub fn reach_of_ends(moves: impl IntoIterator<Item = [f64; 2]>) -> [f64; 2] {
    let mut squares = [0.0; 2];
    for [one, other] in moves {
        squares[0] += one.min(other).min(0.0).powi(2);
        squares[1] += one.max(other).max(0.0).powi(2);
    }
    squares.map(|sum| Z_90 * (sum / 3.0).sqrt())
}
