//! Windows of time, so that a vehicle's rows need not be in memory at once.
//!
//! A window is cut where the vehicle was silent for an hour, if it was; else at an hour. The rows around it are read with it as
//! context, so that what a rule remembers (a frozen stretch, the last fix, a value held over) is known at its edges; they are
//! written by their own window. Where the windows lie depends on the rows alone, never on threads.

use std::collections::BTreeMap;

pub const HOUR_NS: i64 = 3_600_000_000_000;
/// Context of a window that is itself shorter than it: what a window of many rows a second can afford. [ns]
const CONTEXT_LEAST_NS: i64 = 60_000_000_000;

/// A half-open stretch of time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    pub from_ns: i64,
    pub until_ns: i64,
    context_ns: i64,
}

impl Window {
    pub fn with_context(&self) -> (i64, i64) {
        (self.from_ns.saturating_sub(self.context_ns), self.until_ns.saturating_add(self.context_ns))
    }

    pub fn holds(&self, time_ns: i64) -> bool {
        (self.from_ns..self.until_ns).contains(&time_ns)
    }

    /// The window's own rows among rows sorted by time.
    pub fn own(&self, sorted_times_ns: &[i64]) -> std::ops::Range<usize> {
        let first_from = |limit_ns: i64| sorted_times_ns.partition_point(|time| *time < limit_ns);
        first_from(self.from_ns)..first_from(self.until_ns)
    }
}

/// Windows over hours that hold so many rows each.
pub fn cut(hours: &BTreeMap<i64, u64>, rows_most: u64, context_ns: i64) -> Vec<Window> {
    let mut edges = vec![i64::MIN];
    // Rows since the last edge, and the start of the last busy stretch with its rows.
    let (mut rows, mut stretch): (u64, Option<(i64, u64)>) = (0, None);
    let mut before: Option<i64> = None;
    for (&hour, &count) in hours {
        if before.is_some_and(|before| hour > before + 1) {
            stretch = Some((hour, 0));
        }
        before = Some(hour);
        while rows > 0 && rows + count > rows_most {
            let (edge, left) = stretch.take().filter(|(_, since)| *since < rows).unwrap_or((hour, 0));
            edges.push(edge.saturating_mul(HOUR_NS));
            rows = left;
        }
        let slices = count.div_ceil(rows_most.max(1)).max(1);
        for slice in 1..slices {
            let within = (i128::from(HOUR_NS) * i128::from(slice) / i128::from(slices)) as i64;
            edges.push(hour.saturating_mul(HOUR_NS).saturating_add(within));
        }
        rows += count / slices;
        stretch = stretch.map(|(start, since)| (start, since + count / slices));
    }
    edges.push(i64::MAX);
    let window = |edge: &[i64]| {
        let length = edge[1].saturating_sub(edge[0]);
        let context_ns = context_ns.min(length.max(CONTEXT_LEAST_NS));
        Window { from_ns: edge[0], until_ns: edge[1], context_ns }
    };
    edges.windows(2).map(window).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edges(hours: &[(i64, u64)], rows_most: u64) -> Vec<f64> {
        let windows = cut(&hours.iter().copied().collect(), rows_most, HOUR_NS / 6);
        assert!(windows.windows(2).all(|pair| pair[0].until_ns == pair[1].from_ns));
        assert_eq!((windows[0].from_ns, windows[windows.len() - 1].until_ns), (i64::MIN, i64::MAX));
        windows.iter().skip(1).map(|window| window.from_ns as f64 / HOUR_NS as f64).collect()
    }

    #[test]
    fn few_rows_are_one_window() {
        assert_eq!(edges(&[(5, 10), (6, 10), (30, 10)], 100), Vec::<f64>::new());
    }

    #[test]
    fn a_night_is_a_better_edge_than_an_hour() {
        assert_eq!(edges(&[(5, 40), (6, 40), (30, 10), (31, 20)], 100), [30.0]);
        assert_eq!(edges(&[(5, 40), (6, 40), (7, 40)], 100), [7.0]);
    }

    #[test]
    fn an_hour_of_too_many_rows_is_sliced_and_its_context_shrinks() {
        let windows = cut(&BTreeMap::from([(5, 400_000)]), 100, HOUR_NS);
        assert_eq!(windows.len(), 4000);
        assert_eq!(windows[1].context_ns, CONTEXT_LEAST_NS);
        assert_eq!(edges(&[(5, 50), (6, 400)], 100), [6.0, 6.25, 6.5, 6.75]);
    }

    /// Whatever the hours hold: edges rise.
    #[test]
    fn edges_rise() {
        for seed in 0..200_u64 {
            let hours = (0..40).filter(|hour| (seed * 7 + hour * hour) % 3 != 0);
            let hours: BTreeMap<i64, u64> =
                hours.map(|hour| (hour as i64, (seed * 31 + hour * 17) % 230)).collect();
            let windows = cut(&hours, 100, HOUR_NS);
            assert!(windows.iter().all(|window| window.from_ns < window.until_ns), "{hours:?}");
        }
    }
}
