//! Stretches between two standstills.

use std::ops::Range;

/// A stretch of knots smoothed on its own: a standstill at either end is known exactly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    pub knots: Range<usize>,
    pub stands_at_start: bool,
    pub stands_at_end: bool,
}

/// Cuts a continuous stretch where the vehicle stands; knots of standstill belong to no piece but as ends.
///
/// Shape    `speed_m_s` one value per knot; ranges are counted from `from`
/// Sign     none
/// Missing  none. Errors: none
/// Holds    a standstill reads 0 or less
/// Source   none needed. Check    below
/// ```
/// use backwatt_physics::kernels::speed::pieces;
/// let found = pieces(&[0.0, 0.0, 2.0, 3.0, 0.0, 0.0, 1.0, 2.0], 0);
/// assert_eq!(found.len(), 2);
/// assert_eq!((found[0].knots.clone(), found[0].stands_at_end), (1..5, true));
/// assert_eq!((found[1].knots.clone(), found[1].stands_at_end), (5..8, false));
/// ```
pub fn pieces(speed_m_s: &[f64], from: usize) -> Vec<Piece> {
    let mut found: Vec<Piece> = Vec::new();
    let mut first = 0;
    while first < speed_m_s.len() {
        if speed_m_s[first] <= 0.0 {
            first += 1;
            continue;
        }
        let moving = speed_m_s[first..].iter().take_while(|speed| **speed > 0.0).count();
        let end = first + moving;
        let (stands_at_start, stands_at_end) = (first > 0, end < speed_m_s.len());
        let knots = from + first - usize::from(stands_at_start)..from + end + usize::from(stands_at_end);
        found.push(Piece { knots, stands_at_start, stands_at_end });
        first = end;
    }
    found
}
