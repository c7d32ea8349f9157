//! The driver's foot: from what lies ahead to a wanted acceleration.

use crate::fleet::drivers::Driver;

/// Nobody brakes harder than this in service here.
const SLOWING_MAX_M_S2: f64 = 3.6;
/// Needed slowing below which a driver takes up speed again.
const RELEASE_M_S2: f64 = 0.12;

/// What a driver goes by at one moment.
#[derive(Clone, Copy)]
pub struct View {
    pub speed_m_s: f64,
    pub target_m_s: f64,
    /// Steady slowing that what lies ahead asks for.
    pub needed_m_s2: f64,
    /// What letting go of the pedal would do here and now.
    pub lift_off_m_s2: f64,
}

/// A driver's foot, which remembers the pedal it is on.
pub struct Foot {
    driver: &'static Driver,
    is_on_brake: bool,
    is_lifted: bool,
    acceleration_m_s2: f64,
}

impl Foot {
    pub fn new(driver: &'static Driver) -> Foot {
        Foot { driver, is_on_brake: false, is_lifted: false, acceleration_m_s2: 0.0 }
    }

    /// Acceleration over the next tick, with the jerk that legs and trucks allow.
    pub fn next_acceleration(&mut self, view: View, seconds: f64) -> f64 {
        let wanted_m_s2 = self.wanted(view).clamp(-SLOWING_MAX_M_S2, self.driver.acceleration_m_s2);
        let jerk_m_s3 = if wanted_m_s2 < -1.8 { 8.0 } else { 2.2 };
        let step_m_s2 = jerk_m_s3 * seconds;
        self.acceleration_m_s2 += (wanted_m_s2 - self.acceleration_m_s2).clamp(-step_m_s2, step_m_s2);
        self.acceleration_m_s2
    }

    /// Stands still, foot off everything.
    pub fn rest(&mut self) {
        (self.is_on_brake, self.is_lifted, self.acceleration_m_s2) = (false, false, 0.0);
    }

    /// Coasts or lifts off first, then brakes: each from the driver's own threshold.
    fn wanted(&mut self, view: View) -> f64 {
        let needed = view.needed_m_s2;
        self.is_on_brake = needed >= self.driver.brake_at_m_s2 || (self.is_on_brake && needed > RELEASE_M_S2);
        self.is_lifted = needed >= self.driver.lift_off_at_m_s2 || (self.is_lifted && needed > RELEASE_M_S2);
        let ahead = match () {
            () if self.is_on_brake => -needed * 1.01,
            () if self.is_lifted => -needed.min(view.lift_off_m_s2),
            () => f64::INFINITY,
        };
        ahead.min(self.free(view))
    }

    /// Follows the target speed, pulling less the nearer it is.
    fn free(&self, view: View) -> f64 {
        let target_m_s = view.target_m_s.max(0.5);
        let excess_m_s = view.speed_m_s - target_m_s;
        if excess_m_s > 0.0 {
            (-0.35 * excess_m_s).max(-self.driver.brake_at_m_s2)
        } else {
            self.driver.acceleration_m_s2 * (1.0 - (view.speed_m_s / target_m_s).powi(4))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::drivers::DRIVERS;

    fn settled(foot: &mut Foot, needed_m_s2: f64) -> f64 {
        let view = View { speed_m_s: 10.0, target_m_s: 12.0, needed_m_s2, lift_off_m_s2: 0.7 };
        (0..100).map(|_| foot.next_acceleration(view, 0.1)).last().unwrap_or_default()
    }

    #[test]
    fn an_early_lifter_slows_where_a_late_braker_still_pulls() {
        let mut early = Foot::new(&DRIVERS[0]);
        let mut late = Foot::new(&DRIVERS[3]);
        assert!((settled(&mut early, 0.5) + 0.5).abs() < 1e-9);
        assert!(settled(&mut late, 0.5) > 0.3);
        assert!(settled(&mut late, 2.2) < -2.2);
    }

    #[test]
    fn lifting_off_cannot_slow_more_than_the_level_does() {
        let mut bram = Foot::new(&DRIVERS[1]);
        assert!((settled(&mut bram, 1.2) + 0.7).abs() < 1e-9);
    }
}
