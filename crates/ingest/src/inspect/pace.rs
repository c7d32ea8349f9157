//! How often the rows of a log come, and how finely it writes the state of charge: what both will bear stands in the notes.

use super::speed::rows;
use super::{ColumnGuess, Look, TimeGuess};
use crate::signal::SOC;

#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Pace {
    /// Median time between rows that are not of one instant.
    pub interval_s: Option<f64>,
    /// Least change of the state of charge.
    pub soc_step_frac: Option<f64>,
}

pub fn of(looks: &[Look], time: &TimeGuess, columns: &[ColumnGuess]) -> Pace {
    let (mut intervals, mut steps) = (Vec::new(), Vec::new());
    for look in looks {
        let frame = rows(look, time, columns);
        intervals.extend(crate::median_interval_s(&frame.time_ns));
        let known: Vec<f64> = frame.numbers[SOC].iter().copied().filter(|soc| !soc.is_nan()).collect();
        // Below a millionth lies the rounding of a division by a hundred.
        steps.extend(known.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|step| *step > 1e-7));
    }
    Pace { interval_s: crate::median(intervals), soc_step_frac: steps.into_iter().min_by(f64::total_cmp) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::inspect::{clocks, guess};

    #[test]
    fn interval_and_step_of_a_log() {
        let row =
            |i: usize| vec![format!("{}", i * 2), "30".to_owned(), format!("{}", 90.0 - 0.5 * (i / 10) as f64)];
        let look = Look {
            shown: "log.csv".to_owned(),
            format: crate::formats::Format::Delimited,
            dbc: None,
            description: String::new(),
            decimal_comma: false,
            long: None,
            names: ["time_s", "speed_km_h", "soc_pct"].map(str::to_owned).to_vec(),
            units: Vec::new(),
            rows: (0..60).map(row).collect(),
        };
        let time = clocks::time(&look).expect("a time");
        let pace = of(std::slice::from_ref(&look), &time, &guess::columns(&look));
        assert_eq!(pace.interval_s, Some(2.0));
        assert!(pace.soc_step_frac.is_some_and(|step| (step - 0.005).abs() < 1e-9), "{pace:?}");
    }
}
