//! A regen level as measured: its lift-off force and the speeds between which it fades.

/// A level learnt from what a truck did with both pedals released, in the unit of the pulls given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelFit {
    pub lift_off: Fitted,
    pub fade_start_m_s: Fitted,
    pub fade_end_m_s: Fitted,
}

/// A value with its 90 % interval, or bounds alone where the samples do not reach what would tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitted {
    pub value: Option<f64>,
    pub low: f64,
    /// Infinite where nothing bounds it from above.
    pub high: f64,
}

/// Fewer samples say nothing.
const LEAST_SAMPLES: usize = 100;
/// Width of a speed bin and step of the speeds tried. [m/s]
const STEP_M_S: f64 = 0.25;
/// No sheet lets regen fade at higher speeds. [m/s] 25 mph is common practice, no source.
const FADE_MOST_M_S: f64 = 14.0;
/// A bin with fewer samples has no median to speak of.
const LEAST_IN_BIN: usize = 3;
/// Bins that have to lie on the ramp, or beyond it, for either to be known.
const LEAST_BINS: usize = 3;
const GROUPS: usize = 20;
/// Student's t, 95 % one-sided, of 19 degrees of freedom. From memory.
const STUDENT: f64 = 1.729;

/// Fits lift-off and fade of one level to samples with accelerator and brake pedal released.
///
/// F(v) = L · r(v),  r = [(v - v_0)/(v_1 - v_0)] clamped to 0 and 1
///   F  pulls       [N or m/s²]  0 or more: regen at the wheels, or the deceleration it makes
///   v  speeds      [m/s]        0 or more, one for each pull; pairs that are not finite are left out
/// Medians of F in bins of 0.25 m/s, each weighing as much as it has samples; v_0 and v_1 on a grid of 0.25 m/s, L the
/// weighted median of F/r with weights r; the least sum of absolute deviations wins. Interval: 1.729 standard errors
/// of twenty refits with a twentieth of the samples, in order, left out, and half a grid step on the speeds. Without
/// samples on the ramp the fade lies below the slowest of them; without samples beyond it lift-off is at least the
/// strongest.
/// Shape    any order; consecutive samples are left out together, so that a stop counts as one
/// Missing  `None` with fewer than 100 samples or three bins, or where nothing pulls
/// Holds    noise of any shape with median 0 and outliers below a half of every bin; no limit of torque, power or
///          acceptance in the samples: the caller leaves those out
/// Source   least absolute deviations: Koenker and Bassett (1978), Econometrica 46(1), 33-50; the jackknife by groups:
///          Kott (2001), J. Official Statistics 17(4), 521-526 (both from memory)
/// Check    noiseless samples of 4 kN between 2 and 5 m/s give just that
/// ```
/// use backwatt_physics::kernels::level_fit::fit;
/// let speeds: Vec<f64> = (0..4000).map(|i| 15.0 * f64::from(i % 400) / 400.0).collect();
/// let pulls: Vec<f64> = speeds.iter().map(|v| 4e3 * ((v - 2.0) / 3.0).clamp(0.0, 1.0)).collect();
/// let level = fit(&speeds, &pulls).unwrap();
/// assert!((level.lift_off.value.unwrap() - 4e3).abs() < 1.0);
/// assert!((level.fade_start_m_s.value.unwrap() - 2.0).abs() <= 0.25);
/// assert!((level.fade_end_m_s.value.unwrap() - 5.0).abs() <= 0.25);
/// ```
pub fn fit(speeds_m_s: &[f64], pulls: &[f64]) -> Option<LevelFit> {
    let samples: Vec<(f64, f64)> = speeds_m_s
        .iter()
        .copied()
        .zip(pulls.iter().copied())
        .filter(|(speed, pull)| (0.0..1e3).contains(speed) && pull.is_finite())
        .collect();
    if samples.len() < LEAST_SAMPLES {
        return None;
    }
    let all = binned(&samples, None);
    let whole = ramp(&all)?;
    let refits: Vec<Ramp> = (0..GROUPS).filter_map(|group| ramp(&binned(&samples, Some(group)))).collect();
    let spread = |of: fn(&Ramp) -> f64| STUDENT * jackknife_sd(&refits.iter().map(of).collect::<Vec<_>>());
    let around = |value: f64, reach: f64| Fitted {
        value: Some(value),
        low: (value - reach).max(0.0),
        high: value + reach,
    };
    let (slowest, fastest) = (all[0].speed, all[all.len() - 1].speed);
    let on_ramp = all.iter().filter(|bin| bin.speed < whole.end).count() >= LEAST_BINS;
    let beyond = all.iter().filter(|bin| bin.speed >= whole.end).count() >= LEAST_BINS;
    let strongest = all.iter().map(|bin| bin.pull).fold(0.0, f64::max);
    let ramp_speed = |value: f64, of: fn(&Ramp) -> f64, most: f64| {
        if on_ramp && beyond {
            around(value, spread(of) + STEP_M_S / 2.0)
        } else {
            Fitted { value: None, low: 0.0, high: most }
        }
    };
    Some(LevelFit {
        lift_off: if beyond {
            around(whole.lift_off, spread(|ramp| ramp.lift_off))
        } else {
            Fitted { value: None, low: strongest, high: f64::INFINITY }
        },
        fade_start_m_s: ramp_speed(whole.start, |ramp| ramp.start, if on_ramp { fastest } else { slowest }),
        fade_end_m_s: ramp_speed(
            whole.end,
            |ramp| ramp.end,
            if on_ramp { f64::INFINITY } else { whole.end.max(slowest) },
        ),
    })
}

#[derive(Clone, Copy)]
struct Bin {
    speed: f64,
    pull: f64,
    weight: f64,
}

#[derive(Clone, Copy)]
struct Ramp {
    lift_off: f64,
    start: f64,
    end: f64,
}

/// Medians of speed and pull by bins of speed, in rising order; one group of consecutive samples may be left out.
fn binned(samples: &[(f64, f64)], left_out: Option<usize>) -> Vec<Bin> {
    let group = |at: usize| at * GROUPS / samples.len();
    let mut kept: Vec<(f64, f64)> =
        (0..samples.len()).filter(|at| left_out != Some(group(*at))).map(|at| samples[at]).collect();
    kept.sort_by(|a, b| a.0.total_cmp(&b.0));
    kept.chunk_by(|a, b| (a.0 / STEP_M_S).floor() == (b.0 / STEP_M_S).floor())
        .filter(|bin| bin.len() >= LEAST_IN_BIN)
        .map(|bin| {
            let mut pulls: Vec<f64> = bin.iter().map(|(_, pull)| *pull).collect();
            let middle = pulls.len() / 2;
            let pull = *pulls.select_nth_unstable_by(middle, f64::total_cmp).1;
            Bin { speed: bin[bin.len() / 2].0, pull, weight: bin.len() as f64 }
        })
        .collect()
}

/// The ramp with the least sum of absolute deviations; `None` with too few bins or where nothing pulls.
fn ramp(bins: &[Bin]) -> Option<Ramp> {
    if bins.len() < LEAST_BINS {
        return None;
    }
    let steps = (FADE_MOST_M_S / STEP_M_S) as u32;
    let speed = |step: u32| f64::from(step) * STEP_M_S;
    let mut best: Option<(f64, Ramp)> = None;
    for (start, end) in (0..steps).flat_map(|start| (start + 1..=steps).map(move |end| (start, end))) {
        let (start, end) = (speed(start), speed(end));
        let share = |bin: &Bin| ((bin.speed - start) / (end - start)).clamp(0.0, 1.0);
        let Some(lift_off) = weighted_median(bins, share) else { continue };
        let off: f64 = bins.iter().map(|bin| bin.weight * (bin.pull - lift_off * share(bin)).abs()).sum();
        if lift_off > 0.0 && best.is_none_or(|(least, _)| off < least) {
            best = Some((off, Ramp { lift_off, start, end }));
        }
    }
    best.map(|(_, ramp)| ramp)
}

/// The factor on the shares that leaves the least absolute deviations.
fn weighted_median(bins: &[Bin], share: impl Fn(&Bin) -> f64) -> Option<f64> {
    let mut ratios: Vec<(f64, f64)> = bins
        .iter()
        .filter(|bin| share(bin) > 0.0)
        .map(|bin| (bin.pull / share(bin), bin.weight * share(bin)))
        .collect();
    ratios.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = ratios.iter().map(|(_, weight)| weight).sum::<f64>() / 2.0;
    let mut sum = 0.0;
    ratios.iter().find_map(|(ratio, weight)| {
        sum += weight;
        (sum >= half).then_some(*ratio)
    })
}

/// Standard error out of refits that each leave one group out.
fn jackknife_sd(refits: &[f64]) -> f64 {
    let count = refits.len() as f64;
    let mean = refits.iter().sum::<f64>() / count;
    ((count - 1.0) / count * refits.iter().map(|refit| (refit - mean).powi(2)).sum::<f64>()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stream of numbers between 0 and 1, the same every time. Multiplier of Knuth's MMIX, from memory.
    struct Numbers(u64);

    impl Numbers {
        fn next(&mut self) -> f64 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 11) as f64 / (1u64 << 53) as f64
        }

        /// Sum of twelve, about normal, of standard deviation 1.
        fn noise(&mut self) -> f64 {
            (0..12).map(|_| self.next()).sum::<f64>() - 6.0
        }
    }

    /// Lift-offs from 3 to 20 m/s down to `slowest`, a tenth of the samples pulled by something else.
    fn made(numbers: &mut Numbers, slowest: f64, fastest: f64) -> (Vec<f64>, Vec<f64>) {
        let mut samples = (Vec::new(), Vec::new());
        for _ in 0..150 {
            let mut speed = 3.0 + (fastest - 3.0) * numbers.next();
            while speed > slowest {
                let pull = 5e3 * ((speed - 1.5) / 4.5).clamp(0.0, 1.0) + 250.0 * numbers.noise();
                let other = numbers.next() < 0.1;
                samples.0.push(speed);
                samples.1.push(if other { 12e3 * numbers.next() } else { pull });
                speed -= 0.7;
            }
        }
        samples
    }

    /// The truth lies in nine intervals of ten; 40 made trucks leave room for chance.
    #[test]
    fn the_truth_lies_in_the_interval() {
        let mut numbers = Numbers(7);
        let truths = [5e3, 1.5, 6.0];
        let mut inside = [0; 3];
        for _ in 0..40 {
            let (speeds, pulls) = made(&mut numbers, 0.3, 18.0);
            let level = fit(&speeds, &pulls).unwrap();
            let fitted = [level.lift_off, level.fade_start_m_s, level.fade_end_m_s];
            for ((count, fitted), truth) in inside.iter_mut().zip(fitted).zip(truths) {
                *count += u32::from(fitted.low <= truth && truth <= fitted.high);
            }
            assert!((level.lift_off.value.unwrap() - 5e3).abs() < 200.0, "{level:?}");
            assert!((level.fade_start_m_s.value.unwrap() - 1.5).abs() < 1.0, "{level:?}");
            assert!((level.fade_end_m_s.value.unwrap() - 6.0).abs() < 1.0, "{level:?}");
        }
        assert!(inside.iter().all(|count| *count >= 32), "{inside:?}");
    }

    #[test]
    fn what_the_samples_do_not_reach_is_bounded() {
        let mut numbers = Numbers(11);
        let (speeds, pulls) = made(&mut numbers, 8.0, 18.0);
        let fast = fit(&speeds, &pulls).unwrap();
        assert!((fast.lift_off.value.unwrap() - 5e3).abs() < 200.0, "{fast:?}");
        assert!(fast.fade_end_m_s.value.is_none() && fast.fade_end_m_s.high >= 6.0, "{fast:?}");
        assert!(fast.fade_start_m_s.value.is_none() && fast.fade_start_m_s.high >= 1.5, "{fast:?}");
        let (speeds, pulls) = made(&mut numbers, 0.3, 5.0);
        let slow = fit(&speeds, &pulls).unwrap();
        assert!(slow.lift_off.low <= 5e3 && slow.lift_off.high >= 5e3, "{slow:?}");
        assert!(slow.fade_end_m_s.low <= 6.0 && slow.fade_end_m_s.high >= 6.0, "{slow:?}");
    }

    #[test]
    fn too_little_says_nothing() {
        assert_eq!(fit(&[5.0; 99], &[1e3; 99]), None);
        assert_eq!(fit(&[5.0; 200], &[1e3; 200]), None);
        let speeds: Vec<f64> = (0..500).map(|i| f64::from(i) * 0.03).collect();
        assert_eq!(fit(&speeds, &[0.0; 500]), None);
        assert_eq!(fit(&speeds, &[f64::NAN; 500]), None);
    }
}
