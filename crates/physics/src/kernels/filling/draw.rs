//! Which windows stand in for a gap.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use super::library::Library;
use super::nearest::Nearest;
use super::windows::{Gap, Travelled, Windows};

/// Windows drawn for each gap: the noise of their mean adds a sixteenth to the deviation of what is not known anyway.
pub const DRAWS: usize = 8;
/// A distance that takes away less than this share of the variance of the way is not worth asking. Common practice, no
/// source.
const WORTH: f64 = 0.1;
/// The least by which ways between the same samples are taken to differ. [m/s]
const LEAST_SPREAD_M_S: f64 = 0.02;

/// What stands in for one gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drawn {
    /// Numbers of the windows' first values.
    pub windows: [u32; DRAWS],
    /// How far the first and the second half of the draws go; `None` where nothing is known of it. [m]
    pub ways_m: Option<[f64; 2]>,
}

/// Windows of the library that stand in for a gap, and how far each goes.
///
/// The nearest windows are drawn with weights exp(-d²/2), d their distance in units of the differences that count the
/// same; one random number places all draws evenly along the sum of the weights. A distance known to ± sd is brought
/// together with the ways that windows between the same samples went, m ± s:  mean m + g (d - m), variance g sd²,
/// g = s² / (s² + sd²);  half of the draws look for windows one deviation below that mean, half for one above. So noise of
/// the distance makes no acceleration that nobody drove.
/// Shape    one gap; [`DRAWS`] windows for [`fit`](super::fit())
/// Missing  `None` where the gap is too short or too long, or the library has no window of its length
/// Holds    nothing outside the arguments decides: the generator is seeded by vehicle and instant, so neither the order
///          of gaps nor threads do
/// Source   nearest-neighbour hot deck, Andridge and Little (2010), Int. Stat. Rev. 78, 40,
///          doi:10.1111/j.1751-5823.2010.00103.x; systematic draws, Kitagawa (1996), doi:10.2307/1390750; two points of
///          mean and variance, Julier and Uhlmann (2004), doi:10.1109/JPROC.2003.823141 (the three from memory)
/// Check    tests of the laws: cycles thinned and filled from each other
pub fn draw(library: &Library, gap: &Gap, vehicle_id: &str, time_ns: i64) -> Option<Drawn> {
    let windows = library.windows(gap.seconds()?);
    let at = uniform(vehicle_id, time_ns);
    let mut drawn = Drawn { windows: [0; DRAWS], ways_m: None };
    let way = gap.travelled.map(|known| updated(library, windows, gap, known));
    match way {
        Some(Some((mean_m, sd_m))) => {
            let ways_m = [mean_m - sd_m, mean_m + sd_m];
            for (half, way_m) in drawn.windows.chunks_mut(DRAWS / 2).zip(ways_m) {
                pick(&windows.nearest(gap, Some(way_m)), at, half)?;
            }
            drawn.ways_m = Some(ways_m);
        }
        _ => pick(&windows.nearest(gap, None), at, &mut drawn.windows)?,
    }
    Some(drawn)
}

/// Mean and standard deviation of the way, where the distance adds to what the ends say of it. [m]
fn updated(library: &Library, windows: &Windows, gap: &Gap, known: Travelled) -> Option<(f64, f64)> {
    if known.sd_m <= 0.0 {
        return Some((known.distance_m, 0.0));
    }
    let alike = windows.nearest(gap, None);
    let count = alike.len as f64;
    let over_line = |number: u32| library.over_line_m_s(number, windows.seconds);
    let means = || alike.found[..alike.len].iter().map(|(_, number)| over_line(*number));
    let mean = means().sum::<f64>() / count;
    let variance =
        means().map(|m| (m - mean).powi(2)).sum::<f64>() / count + LEAST_SPREAD_M_S * LEAST_SPREAD_M_S;
    let noise = (known.sd_m / gap.duration_s).powi(2);
    let gain = variance / (variance + noise);
    if gain.is_nan() || gain < WORTH {
        return None;
    }
    let by_ends_m = (gap.line_m_s() + mean) * gap.duration_s;
    let mean_m = by_ends_m + gain * (known.distance_m - by_ends_m);
    Some((mean_m, gain.sqrt() * known.sd_m))
}

/// Draws as many of the nearest as `into` holds; `None` where there are none.
fn pick(nearest: &Nearest, at: f64, into: &mut [u32]) -> Option<()> {
    let found = &nearest.found[..nearest.len];
    let best = found.first()?.0;
    let weights = || found.iter().map(|(distance, _)| f64::from(-0.5 * (distance - best)).exp());
    let step = weights().sum::<f64>() / into.len() as f64;
    let (mut next, mut sum, mut filled) = (step * at, 0.0, 0);
    // Rounding may leave the last draw just beyond the sum.
    into.fill(found[found.len() - 1].1);
    for ((_, number), weight) in found.iter().zip(weights()) {
        sum += weight;
        while filled < into.len() && next < sum {
            into[filled] = *number;
            filled += 1;
            next += step;
        }
    }
    Some(())
}

/// A number in [0, 1) that vehicle and instant alone decide.
fn uniform(vehicle_id: &str, time_ns: i64) -> f64 {
    // FNV-1a, from memory; any spread of the names would do.
    let name = vehicle_id
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
    let mut seed = [0; 32];
    seed[..8].copy_from_slice(&name.to_le_bytes());
    seed[8..16].copy_from_slice(&time_ns.to_le_bytes());
    let bits = ChaCha8Rng::from_seed(seed).next_u64() >> 11;
    bits as f64 / (1_u64 << 53) as f64
}
