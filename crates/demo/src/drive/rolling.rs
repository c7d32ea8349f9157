//! A truck under way: from what the driver sees to the next tenth of a second.

use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};

use super::habits::View;
use super::round::{Round, StopKind};
use super::run::{Run, TICK_S, TICKS_PER_S};
use super::truck::Stretch;
use crate::place::road::Station;

/// Stops longer than this are made with the key off, and the logger falls silent.
const KEY_OFF_STOP_S: f64 = 360.0;
/// What comes back from a round: empty crates.
const RETURN_LOAD_KG: f64 = 60.0;

impl Run<'_> {
    /// From the depot's gate around the route and back to it.
    pub fn drive_round(&mut self) {
        let mut round = Round::new(self.route, self.driver.speed_share, &mut self.rng);
        let per_customer_kg = (self.load_kg - RETURN_LOAD_KG) / (round.customers as f64).max(1.0);
        self.truck.payload_kg = self.load_kg;
        self.along_m = 0.0;
        self.choose_level();
        self.renew_surroundings();
        loop {
            let arrived = self.roll_to_stop(&mut round);
            let red_s = round.finish_stop(self.now_s());
            match arrived {
                StopKind::Depot => break,
                StopKind::Light => self.stand_key_on(red_s),
                StopKind::Customer => self.serve(per_customer_kg),
            }
        }
    }

    /// Unloads at a customer; long visits are made with the key off.
    fn serve(&mut self, per_customer_kg: f64) {
        let visit_s = self.rng.random_range(90.0..420.0);
        if visit_s > KEY_OFF_STOP_S {
            self.stand_key_on(15.0);
            self.stand_key_off(visit_s, visit_s + 60.0);
            self.truck.payload_kg -= per_customer_kg;
            self.stand_key_on(12.0);
        } else {
            self.stand_key_on(visit_s * 0.8);
            self.truck.payload_kg -= per_customer_kg;
            self.stand_key_on(visit_s * 0.2);
        }
        if self.rng.random_bool(0.08) {
            self.choose_level();
        }
    }

    /// Mostly the usual level; on frosty days often a weaker one.
    fn choose_level(&mut self) {
        let mut level = self.driver.usual_level;
        if self.rng.random_bool(self.driver.other_level_chance) {
            level = [0, 1, 1, 1, 2, 2, 2, 3, 3, 3][self.rng.random_range(0..10)];
        }
        if self.weather.is_frosty() && level > 1 && self.rng.random_bool(0.4) {
            level -= 1;
        }
        self.level = level;
    }

    /// Drives until the truck stands where it must.
    fn roll_to_stop(&mut self, round: &mut Round) -> StopKind {
        loop {
            let ahead = round.look(self.along_m, self.speed_m_s, self.now_s());
            if let Some((kind, away_m)) = ahead.stop
                && away_m < 1.2
                && self.speed_m_s < 0.6
            {
                self.halt();
                return kind;
            }
            self.roll(ahead.needed_m_s2);
        }
    }

    /// The last half metre per second is taken off by holding the brake.
    fn halt(&mut self) {
        while self.speed_m_s > 0.0 {
            let slower_m_s = (self.speed_m_s - 0.12).max(0.0);
            let here = self.route.road.at(self.along_m);
            self.advance(slower_m_s, here);
        }
        self.foot.rest();
    }

    /// One tick on the road.
    fn roll(&mut self, needed_m_s2: f64) {
        let here = self.route.road.at(self.along_m);
        self.meet_traffic();
        let slope = (self.route.road.at(self.along_m + 2.5).height_m - here.height_m) / 2.5;
        let road_load_n = self.truck.road_load_n(self.speed_m_s, slope, self.air);
        let mass_kg = self.truck.effective_mass_kg();
        let limits = self.truck.regen_limits(self.level, self.auxiliary_w);
        let lift_off_n = self.truck.drivetrain.lift_off_force_n(self.speed_m_s, limits);
        let wanted_m_s2 = self.foot.next_acceleration(
            View {
                speed_m_s: self.speed_m_s,
                target_m_s: self.target_m_s(here),
                needed_m_s2,
                lift_off_m_s2: (lift_off_n + road_load_n) / mass_kg,
            },
            TICK_S,
        );
        let pull_n = self.truck.drivetrain.drive_force_max_n(self.speed_m_s);
        let acceleration_m_s2 = wanted_m_s2.min((pull_n - road_load_n) / mass_kg);
        self.watch_grip(acceleration_m_s2);
        // A crawl keeps the truck moving toward its stop instead of stopping short of it.
        let crawl_m_s = (self.speed_m_s + 0.03).min(0.25);
        let next_m_s = (self.speed_m_s + acceleration_m_s2 * TICK_S).max(crawl_m_s);
        self.advance(next_m_s, here);
    }

    /// Moves on by one tick to a new speed and books it.
    fn advance(&mut self, next_m_s: f64, here: Station) {
        let distance_m = (self.speed_m_s + next_m_s) / 2.0 * TICK_S;
        if distance_m <= 0.0 {
            self.speed_m_s = next_m_s;
            return;
        }
        let there = self.route.road.at(self.along_m + distance_m);
        let stretch = Stretch {
            seconds: TICK_S,
            from_m_s: self.speed_m_s,
            to_m_s: next_m_s,
            distance_m,
            climb_m: there.height_m - here.height_m,
            air: self.air,
            auxiliary_w: self.auxiliary_w,
            level: self.level,
            is_regen_withheld: self.now_s() < self.withheld_until_s,
        };
        let step = self.truck.drive(&stretch, &mut self.levels[self.level]);
        self.tick += 1;
        self.along_m += distance_m;
        self.distance_m += distance_m;
        self.speed_m_s = next_m_s;
        if self.tick.is_multiple_of(TICKS_PER_S) {
            self.renew_surroundings();
            self.log(step);
        }
    }

    /// The limit, the driver's habit, today's mood and the traffic.
    fn target_m_s(&self, here: Station) -> f64 {
        let is_slowed = self.now_s() < self.slowed_until_s;
        let traffic = if is_slowed { self.slowed_share } else { 1.0 };
        here.limit_m_s * self.driver.speed_share * self.mood * traffic
    }

    /// Once a second: the mood drifts, and now and then somebody ahead slows down.
    fn meet_traffic(&mut self) {
        if !self.tick.is_multiple_of(TICKS_PER_S) {
            return;
        }
        let noise: f64 = StandardNormal.sample(&mut self.rng);
        self.mood = (self.mood + 0.04 * (1.0 - self.mood) + 0.006 * noise).clamp(0.9, 1.06);
        let chance = self.route.slowdowns_per_km * self.speed_m_s / 1000.0;
        if self.now_s() > self.slowed_until_s + 8.0 && self.rng.random_bool(chance.clamp(0.0, 1.0)) {
            self.slowed_until_s = self.now_s() + self.rng.random_range(5.0..22.0);
            self.slowed_share = self.rng.random_range(0.35..0.8);
        }
    }

    /// On frosty days hard braking now and then makes stability control take regen away for two seconds.
    fn watch_grip(&mut self, acceleration_m_s2: f64) {
        if self.weather.is_frosty() && acceleration_m_s2 < -1.5 && self.rng.random_bool(0.03) {
            self.withheld_until_s = self.now_s() + 2.0;
        }
    }
}
