//! Regen levels of a vehicle type.

use backwatt_physics::{Level, LiftOff};
use backwatt_schema::unit::Dimension;

use crate::document::Section;
use crate::spread::{MEMORY, PRACTICE, Pick, Reader, Spread};

/// One level with the ends of its values.
pub struct LevelParts {
    name: String,
    lift_off: Spread,
    torque_fixed: bool,
    includes_road_load: bool,
    fade_start: Spread,
    fade_end: Spread,
}

impl LevelParts {
    pub fn level(&self, lift_off: Pick, fade: Pick) -> Level {
        let value = self.lift_off.pick(lift_off);
        let lift_off = if self.torque_fixed {
            LiftOff::Force { n: value }
        } else {
            LiftOff::Deceleration { m_s2: value, includes_road_load: self.includes_road_load }
        };
        Level {
            name: self.name.clone(),
            lift_off,
            fade_start_m_s: self.fade_start.against(fade),
            fade_end_m_s: self.fade_end.against(fade),
        }
    }
}

/// The levels of a vehicle type; one is assumed where none is stated.
pub fn levels(section: &Section<'_, '_>) -> Vec<LevelParts> {
    let torque_fixed = match section.text("level_kind").map(|at| at.value).as_deref() {
        Some("torque") => true,
        Some("deceleration") => false,
        None => {
            if !section.has("level_kind") {
                section.default("level_kind", "deceleration", PRACTICE);
            }
            false
        }
        Some(other) => {
            let hint = "one of deceleration, torque".to_owned();
            section.fault(
                "pilot-unknown-level-kind",
                "level_kind",
                format!("\"{other}\" is no kind of level"),
                hint,
            );
            false
        }
    };
    let includes_road_load = section.flag("level_includes_road_load").is_some_and(|at| at.value);
    if !section.has("level_includes_road_load") {
        section.default("level_includes_road_load", "false", PRACTICE);
    }
    let stated: Vec<LevelParts> = section
        .named_sections("levels")
        .into_iter()
        .map(|(name, level)| one_level(&name, &level, torque_fixed, includes_road_load))
        .collect();
    if !stated.is_empty() {
        return stated;
    }
    section.default("levels", "one, 1.0 m/s2", "plausible lift-off decelerations are 0 to 2 m/s2, from memory");
    vec![LevelParts {
        name: "unstated".to_owned(),
        lift_off: Spread { nominal: 1.0, low: 0.5, high: 2.0 },
        torque_fixed: false,
        includes_road_load: false,
        fade_start: default_fade_start(),
        fade_end: default_fade_end(),
    }]
}

/// Sheets range from 0.5 to 1 m/s up to release at 5 to 7 mph.
fn default_fade_start() -> Spread {
    Spread { nominal: 1.5, low: 0.5, high: 3.1 }
}

/// Sheets range from 2 to 3 m/s up to full effect at 20 to 25 mph.
fn default_fade_end() -> Spread {
    Spread { nominal: 5.0, low: 2.0, high: 11.2 }
}

fn one_level(
    name: &str,
    section: &Section<'_, '_>,
    torque_fixed: bool,
    includes_road_load: bool,
) -> LevelParts {
    let r = Reader { section };
    let dimension = if torque_fixed { Dimension::Force } else { Dimension::Acceleration };
    let (lift_off, stated) = if torque_fixed {
        r.or("lift_off", dimension, 6000.0, "6 kN", MEMORY)
    } else {
        r.or("lift_off", dimension, 1.0, "1.0 m/s2", "0 to 2 m/s2, from memory")
    };
    let start = r.or("fade_start", Dimension::Speed, default_fade_start().nominal, "1.5 m/s", MEMORY);
    let end = r.or("fade_end", Dimension::Speed, default_fade_end().nominal, "5 m/s", MEMORY);
    if end.0 < start.0 {
        let message = format!("the fade of level \"{name}\" ends below where it starts");
        section.fault(
            "pilot-out-of-range",
            "fade_end",
            message,
            "no regen below fade_start, all of it above fade_end".into(),
        );
    }
    section.finish();
    let fade = |(value, stated): (f64, bool), default: Spread| {
        if stated { Spread::times(value, 0.8, 1.2) } else { default }
    };
    LevelParts {
        name: name.to_owned(),
        lift_off: if stated { Spread::times(lift_off, 0.9, 1.1) } else { Spread::times(lift_off, 0.5, 2.0) },
        torque_fixed,
        includes_road_load,
        fade_start: fade(start, default_fade_start()),
        fade_end: fade(end, default_fade_end()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: regen reaches its full effect at about 20 to 25 mph and lets go at about 5 to 7 mph.
    /// A sheet that does not say must leave both open, and what is believed is milder than either.
    #[test]
    fn fading_as_the_trade_has_it_is_within_what_is_left_open() {
        const MPH: f64 = 0.44704;
        let (start, end) = (default_fade_start(), default_fade_end());
        for mph in [5.0, 6.0, 6.9] {
            assert!(start.low < mph * MPH && mph * MPH < start.high, "{mph} mph");
        }
        for mph in [20.0, 22.5, 25.0] {
            assert!(end.low < mph * MPH && mph * MPH < end.high, "{mph} mph");
        }
        assert!(start.nominal < 5.0 * MPH && end.nominal < 20.0 * MPH && start.nominal < end.nominal);
    }
}
