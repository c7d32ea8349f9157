//! Median and longest step between the rows of a file, counted as they pass.

use std::collections::BTreeMap;

/// Steps are counted to four digits, so that a clock that jitters does not fill the memory.
const DIGITS: i32 = 4;

#[derive(Debug, Clone, Default)]
pub struct Cadence {
    last_ns: Option<i64>,
    /// Steps above zero, by length.
    steps: BTreeMap<i64, u64>,
    longest_ns: i64,
}

impl Cadence {
    /// Adds instants in the order of time.
    pub fn add(&mut self, sorted_times_ns: &[i64]) {
        for &time in sorted_times_ns {
            let step = self.last_ns.map_or(0, |last| time.saturating_sub(last));
            self.last_ns = Some(time);
            self.longest_ns = self.longest_ns.max(step);
            if step > 0 {
                *self.steps.entry(to_digits(step)).or_default() += 1;
            }
        }
    }

    /// Median and longest step. [s]
    pub fn interval_and_gap_s(&self) -> Option<(f64, f64)> {
        let all: u64 = self.steps.values().sum();
        let mut below = 0;
        let middle = self.steps.iter().find(|(_, n)| {
            below += **n;
            below > all / 2
        });
        middle.map(|(step, _)| (*step as f64 * 1e-9, self.longest_ns as f64 * 1e-9))
    }
}

fn to_digits(step_ns: i64) -> i64 {
    let size = 10_i64.pow(step_ns.ilog10().saturating_sub(DIGITS as u32 - 1));
    step_ns.saturating_add(size / 2) / size * size
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_of_the_steps_and_the_longest() {
        let mut cadence = Cadence::default();
        cadence.add(&[0, 1_000_000_000, 1_000_000_000, 2_000_000_000]);
        cadence.add(&[2_100_000_000, 9_100_000_000]);
        assert_eq!(cadence.interval_and_gap_s(), Some((1.0, 7.0)));
        assert_eq!(Cadence::default().interval_and_gap_s(), None);
        assert_eq!([to_digits(1_234_567_890), to_digits(999_999), to_digits(7)], [1_235_000_000, 1_000_000, 7]);
    }
}
