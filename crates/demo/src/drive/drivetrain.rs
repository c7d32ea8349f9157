//! Motor, inverter and gears: what they lose, and how much braking they take.

use crate::fleet::types::{Pedal, RegenMap, VehicleType};

/// What limits regen from outside the motor at one moment.
#[derive(Clone, Copy)]
pub struct RegenLimits {
    /// Power the dc link can take: battery acceptance plus auxiliaries.
    pub link_power_w: f64,
    pub level: usize,
}

/// How a braking demand at the wheels was shared.
#[derive(Clone, Copy, Default)]
pub struct BrakeSplit {
    pub regen_n: f64,
    pub friction_n: f64,
}

/// A vehicle type's drivetrain with the regen map in force.
pub struct Drivetrain {
    kind: &'static VehicleType,
    map: RegenMap,
    /// Motor radians per second for each metre per second; also newtons at the wheel per newton metre.
    gearing_1_m: f64,
}

impl Drivetrain {
    pub fn new(kind: &'static VehicleType, is_updated: bool) -> Drivetrain {
        let map = if is_updated { kind.regen_after_update } else { kind.regen };
        Drivetrain { kind, map, gearing_1_m: kind.gear_ratio / kind.tyre_radius_m }
    }

    /// Losses between the dc link and the wheels at a wheel force of the motor (see [`LossLaw`]).
    ///
    /// [`LossLaw`]: crate::fleet::types::LossLaw
    pub fn loss_w(&self, force_n: f64, speed_m_s: f64) -> f64 {
        let torque_n_m = force_n / self.gearing_1_m;
        self.idle_loss_w(speed_m_s)
            + self.kind.loss.per_torque_squared_w_n2_m2 * torque_n_m * torque_n_m
            + self.kind.loss.mesh_frac * (force_n * speed_m_s).abs()
    }

    /// The part of the loss that stays when the motor carries nothing.
    fn idle_loss_w(&self, speed_m_s: f64) -> f64 {
        let omega_rad_s = speed_m_s * self.gearing_1_m;
        let loss = &self.kind.loss;
        loss.constant_w
            + loss.per_speed_w_s_rad * omega_rad_s
            + loss.per_speed_squared_w_s2_rad2 * omega_rad_s * omega_rad_s
    }

    /// Greatest pull at a speed: force-limited, then power-limited.
    pub fn drive_force_max_n(&self, speed_m_s: f64) -> f64 {
        self.kind.drive_force_max_n.min(self.kind.drive_power_max_w / speed_m_s.max(0.1))
    }

    /// Regen at full lift-off on the level set.
    pub fn lift_off_force_n(&self, speed_m_s: f64, limits: RegenLimits) -> f64 {
        let level_n = self.map.force_n[limits.level] * self.fade(speed_m_s);
        level_n.min(self.hardware_force_n(speed_m_s, limits.link_power_w))
    }

    /// Shares a braking demand between motor and friction brakes by the type's pedal.
    pub fn split(&self, demand_n: f64, speed_m_s: f64, limits: RegenLimits) -> BrakeSplit {
        let fade = self.fade(speed_m_s);
        let level_n = self.map.force_n[limits.level] * fade;
        let wanted_n = match self.kind.pedal {
            Pedal::FrictionOnly => level_n,
            Pedal::Parallel(share) => level_n + fade * share * (demand_n - level_n).max(0.0),
        };
        let hardware_n = self.hardware_force_n(speed_m_s, limits.link_power_w);
        let regen_n = demand_n.min(wanted_n).min(hardware_n).max(0.0);
        BrakeSplit { regen_n, friction_n: demand_n - regen_n }
    }

    /// Regen fades out near standstill: nothing below the start of the ramp, all of it above its end.
    fn fade(&self, speed_m_s: f64) -> f64 {
        let map = &self.map;
        ((speed_m_s - map.fade_start_m_s) / (map.fade_end_m_s - map.fade_start_m_s)).clamp(0.0, 1.0)
    }

    fn hardware_force_n(&self, speed_m_s: f64, link_power_w: f64) -> f64 {
        let power_n = self.kind.regen_power_max_w / speed_m_s.max(0.1);
        self.kind.regen_force_max_n.min(power_n).min(self.link_force_n(speed_m_s, link_power_w))
    }

    /// The wheel force whose electrical power, after losses, is all that the dc link can take:
    /// the smaller root of a·F² − b·F + c = 0 out of the loss law.
    fn link_force_n(&self, speed_m_s: f64, link_power_w: f64) -> f64 {
        let a = self.kind.loss.per_torque_squared_w_n2_m2 / (self.gearing_1_m * self.gearing_1_m);
        let b = speed_m_s * (1.0 - self.kind.loss.mesh_frac);
        let c = self.idle_loss_w(speed_m_s) + link_power_w;
        let discriminant = b * b - 4.0 * a * c;
        // No root: at this speed no force at all would fill the link.
        if discriminant <= 0.0 { f64::INFINITY } else { (b - discriminant.sqrt()) / (2.0 * a) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fleet::types::{LIGHT, MEDIUM};

    const OPEN: RegenLimits = RegenLimits { link_power_w: 1e9, level: 2 };

    #[test]
    fn friction_only_gives_the_level_and_parallel_gives_more() {
        let light = Drivetrain::new(&LIGHT, false).split(9000.0, 10.0, OPEN);
        assert!((light.regen_n - 3600.0).abs() < 1e-9 && (light.friction_n - 5400.0).abs() < 1e-9);
        let medium = Drivetrain::new(&MEDIUM, false).split(9000.0, 10.0, OPEN);
        assert!((medium.regen_n - (5200.0 + 0.45 * 3800.0)).abs() < 1e-9);
    }

    #[test]
    fn the_link_limit_is_met_exactly() {
        let drivetrain = Drivetrain::new(&LIGHT, false);
        let limits = RegenLimits { link_power_w: 20_000.0, level: 3 };
        let split = drivetrain.split(6000.0, 12.0, limits);
        let returned_w = split.regen_n * 12.0 - drivetrain.loss_w(split.regen_n, 12.0);
        assert!((returned_w - 20_000.0).abs() < 1e-6, "{returned_w} W");
    }

    #[test]
    fn efficiency_depends_on_load() {
        let drivetrain = Drivetrain::new(&LIGHT, false);
        let efficiency = |force_n: f64| {
            let wheel_w = force_n * 13.0;
            wheel_w / (wheel_w + drivetrain.loss_w(force_n, 13.0))
        };
        assert!(efficiency(300.0) < 0.83 && (0.88..0.95).contains(&efficiency(3000.0)));
        assert!(efficiency(9000.0) < efficiency(3000.0));
    }

    #[test]
    fn nothing_comes_back_at_a_crawl() {
        let split = Drivetrain::new(&LIGHT, false).split(4000.0, 1.0, OPEN);
        assert!(split.regen_n.abs() < 1e-12);
    }
}
