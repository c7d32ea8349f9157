//! How much later rows stand on the timeline than their clock says.

/// A line over a stretch of the clock, and level on either side of it. Keeps the order of instants as long as the slope lies
/// above -1.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Shift {
    pub from_ns: i64,
    pub until_ns: i64,
    /// At the start of the stretch and before it.
    pub later_ns: i64,
    /// What is gained within the stretch: seconds a second.
    pub slope: f64,
}

impl Shift {
    /// The same everywhere.
    pub fn by(later_ns: i64) -> Self {
        Self { later_ns, ..Self::default() }
    }

    pub fn put(&self, time_ns: i64) -> i64 {
        let within_ns = time_ns.clamp(self.from_ns, self.until_ns).saturating_sub(self.from_ns);
        let gained_ns = (self.slope * within_ns as f64).round() as i64;
        time_ns.saturating_add(self.later_ns).saturating_add(gained_ns)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_line_and_level_on_either_side() {
        let shift = Shift { from_ns: 1000, until_ns: 3000, later_ns: 50, slope: -0.01 };
        assert_eq!([0, 1000, 2000, 3000, 9000].map(|t| shift.put(t) - t), [50, 50, 40, 30, 30]);
        assert_eq!([-7, 0, 7].map(|t| Shift::by(5).put(t)), [-2, 5, 12]);
    }

    proptest! {
        #[test]
        fn time_never_runs_backwards(
            from_ns in -4e18 as i64..4e18 as i64, length_ns in 0..1e16 as i64, slope in -1e-3..1e-3,
            at in -1.0..2.0, step_ns in 0..2_000_000_i64,
        ) {
            let shift = Shift { from_ns, until_ns: from_ns + length_ns, later_ns: 123_456_789, slope };
            let time_ns = from_ns + (at * length_ns as f64) as i64;
            prop_assert!(shift.put(time_ns) <= shift.put(time_ns + step_ns));
        }
    }
}
