//! The scale a ratio is judged on: an interval of a share stays within none and all of it.

use super::spread::Spread;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// As it is.
    Plain,
    /// Above 0: by its logarithm.
    Positive,
    /// Between 0 and 1: by the logarithm of its odds.
    Share,
}

/// A ratio and its margin on a scale.
pub struct OnScale {
    pub spread: Spread,
    pub margin: (f64, f64),
    pub shared_half: f64,
}

/// A margin's end beyond the scale stands this close to its end.
const EDGE: f64 = 1e-9;

impl Scale {
    /// g(R), with its errors times g'(R).
    ///
    /// g(x) = x;  ln x, g' = 1/x;  ln x/(1 - x), g' = 1/(x (1 - x))
    /// The margin is fixed beforehand and g rises, so two one-sided tests on the scale are tests of the same margin.
    /// Missing  `None` where the ratio itself lies at an end of the scale or beyond: there is no error to carry over
    /// Source   delta method, and the log odds of a proportion: Agresti (2013), Categorical Data Analysis, 3rd ed., section
    ///          1.4 and 16.1 (sections from memory). Chosen over cutting the plain interval at 0 and 1, which keeps a wrong
    ///          centre, and over leaving it out, which hides that few vehicles leave much open
    /// Check    R 0.5 ± 0.1, plain interval 0.4 to 0.6: on the odds 0.5 ± 0.1/0.25 -> 0.401 to 0.599; R 0.3, half 2.4
    ///          -> inside 0 to 1 (tests below)
    pub fn of(self, spread: &Spread, margin: (f64, f64), shared_half: f64) -> Option<OnScale> {
        let slope = match self {
            Scale::Plain => 1.0,
            Scale::Positive => 1.0 / spread.ratio,
            Scale::Share => 1.0 / (spread.ratio * (1.0 - spread.ratio)),
        };
        let is_inside = match self {
            Scale::Plain => true,
            Scale::Positive => spread.ratio > 0.0,
            Scale::Share => spread.ratio > 0.0 && spread.ratio < 1.0,
        };
        is_inside.then(|| OnScale {
            spread: spread.carried(self.to(spread.ratio), slope),
            margin: (self.to(margin.0), self.to(margin.1)),
            shared_half: shared_half * slope,
        })
    }

    fn to(self, value: f64) -> f64 {
        match self {
            Scale::Plain => value,
            Scale::Positive => value.max(EDGE).ln(),
            Scale::Share => {
                let value = value.clamp(EDGE, 1.0 - EDGE);
                (value / (1.0 - value)).ln()
            }
        }
    }

    pub fn back(self, value: f64) -> f64 {
        match self {
            Scale::Plain => value,
            Scale::Positive => value.exp(),
            Scale::Share => 1.0 / (1.0 + (-value).exp()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::spread::{DayRatio, spread};
    use super::*;

    fn interval(scale: Scale, rates: &[f64]) -> (f64, f64) {
        let days = ["1", "2", "3", "4", "5", "6"];
        let rows: Vec<DayRatio<'_>> = rates
            .iter()
            .zip(days)
            .map(|(rate, day)| DayRatio { over: *rate, under: 1.0, vehicle: "a", day })
            .collect();
        let on = scale.of(&spread(&rows).unwrap(), (0.2, 0.4), 0.0).unwrap();
        let (test, _) = on.spread.against(on.margin, on.shared_half).unwrap();
        (scale.back(test.interval.0), scale.back(test.interval.1))
    }

    #[test]
    fn a_share_stays_a_share_however_little_is_known() {
        let few = [0.05, 0.9];
        let (low, high) = interval(Scale::Plain, &few);
        assert!(low < -1.0 && high > 2.0, "{low} {high}: two days leave more than everything open");
        let (low, high) = interval(Scale::Share, &few);
        assert!(low > 0.0 && low < 0.01 && high > 0.98 && high < 1.0, "{low} {high}");
        assert!(interval(Scale::Positive, &few).0 > 0.0);
    }

    /// Where much is known the scale makes no difference that counts.
    #[test]
    fn a_sure_share_is_the_same_on_every_scale() {
        let many = [0.30, 0.31, 0.29, 0.30, 0.31, 0.29];
        let [plain, share] = [Scale::Plain, Scale::Share].map(|scale| interval(scale, &many));
        let apart = (plain.0 - share.0).abs().max((plain.1 - share.1).abs());
        assert!(apart < 0.02 * (plain.1 - plain.0), "{plain:?} {share:?}");
    }

    #[test]
    fn scales_come_back() {
        for scale in [Scale::Plain, Scale::Positive, Scale::Share] {
            assert!((scale.back(scale.to(0.37)) - 0.37).abs() < 1e-12);
        }
        let none = [0.0, 0.0];
        let rows = none.map(|over| DayRatio {
            over,
            under: 1.0,
            vehicle: "a",
            day: if over > 1.0 { "1" } else { "2" },
        });
        assert!(spread(&rows).is_none_or(|of| Scale::Share.of(&of, (0.1, 0.2), 0.0).is_none()));
    }
}
