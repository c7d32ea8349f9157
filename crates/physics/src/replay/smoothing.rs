//! The smoother laid over a track: which knots stand, which pieces it runs over.

use super::track::Track;
use super::{ReplaySettings, SpeedReading};
use crate::kernels::filling::SHORTEST_S;
use crate::kernels::speed::{Model, Piece, Smoother, estimate, pieces, resolution, smooth};

/// Logs slower than this cannot tell noise from manoeuvre: their error is what their resolution says. [s]
const FAST_ENOUGH_S: f64 = 1.5;
/// Logs slower than this are left as they are: nothing is claimed of their braking either. [s]
const TOO_SLOW_S: f64 = 5.05;
/// Error of a good speed sensor where the log is too slow to tell. [m/s] Common practice, no source.
const SENSOR_M_S: f64 = 0.02;
/// Values this many errors from zero and no more are a standstill seen through noise.
const STANDING_ERRORS: f64 = 3.0;

impl Track {
    pub(super) fn smooth_speed(&mut self, settings: &ReplaySettings) {
        let SpeedReading::Smoothed { error_m_s } = settings.speed else { return };
        // Where what lies between the samples is drawn, the samples stand: a smoother would flatten what it cannot see.
        let slowest = if settings.library.is_some() { SHORTEST_S } else { TOO_SLOW_S };
        if self.interval_s > slowest || self.time_ns.is_empty() {
            return;
        }
        let start_ns = self.time_ns[0];
        let time_s: Vec<f64> = self.time_ns.iter().map(|ns| (ns - start_ns) as f64 * 1e-9).collect();
        let logged: Vec<bool> = self.speed_interpolated.iter().map(|interpolated| !interpolated).collect();
        let read: Vec<f64> = (0..logged.len()).filter(|k| logged[*k]).map(|k| self.speed[k]).collect();
        let step = resolution(&read).unwrap_or(0.0);
        let stated = error_m_s
            .or_else(|| (self.interval_s > FAST_ENOUGH_S).then(|| (step / 12.0_f64.sqrt()).max(SENSOR_M_S)));
        let model = estimate(&self.pieces(), &time_s, &self.speed, &logged, stated, step);
        self.stand_still(settings, &model);
        let mut smoother = Smoother::default();
        for piece in self.pieces() {
            smooth(&mut smoother, &piece, &time_s, &mut self.speed, &logged, &model, &mut self.accel_sd);
        }
        self.speed_error = Some(model.error_m_s);
    }

    fn pieces(&self) -> Vec<Piece> {
        let of_span = |span: &super::track::Span| pieces(&self.speed[span.knots.clone()], span.knots.start);
        self.spans.iter().flat_map(of_span).collect()
    }

    /// Where the speed stays within its noise about zero for as long as a stop, the vehicle stands.
    fn stand_still(&mut self, settings: &ReplaySettings, model: &Model) {
        let limit = (STANDING_ERRORS * model.error_m_s).min(settings.standing_below_m_s);
        for span in self.spans.clone() {
            let mut k = span.knots.start;
            while k < span.knots.end {
                let low = self.speed[k..span.knots.end].iter().take_while(|speed| **speed <= limit).count();
                if low > 0 && self.seconds(k, k + low - 1) >= settings.stop_after_s {
                    self.speed[k..k + low].fill(0.0);
                }
                k += low.max(1);
            }
        }
    }
}
