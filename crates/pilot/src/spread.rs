//! Values with the ends they may take, and how they are read.

use backwatt_schema::unit::Dimension;

use crate::document::Section;

pub const MEMORY: &str = "from memory, not confirmed";
pub const PRACTICE: &str = "common practice, no source";

/// A value with the ends it may take: nominal, unfavourable to recovery, favourable.
#[derive(Clone, Copy)]
pub struct Spread {
    pub nominal: f64,
    pub low: f64,
    pub high: f64,
}

impl Spread {
    /// `low` and `high` as factors on the nominal value.
    pub fn times(nominal: f64, low: f64, high: f64) -> Self {
        Self { nominal, low: nominal * low, high: nominal * high }
    }
}

/// Reads the values of one section with their defaults.
pub struct Reader<'s, 'c, 't> {
    pub section: &'s Section<'c, 't>,
}

impl Reader<'_, '_, '_> {
    /// A quantity, or its default, and whether it was stated.
    pub fn or(&self, key: &str, dimension: Dimension, default: f64, shown: &str, source: &str) -> (f64, bool) {
        match self.section.quantity(key, dimension) {
            Some(at) => (self.possible(key, dimension, at.value), true),
            None => {
                if !self.section.has(key) {
                    self.section.default(key, shown, source);
                }
                (default, false)
            }
        }
    }

    pub fn share_or(&self, key: &str, default: f64, source: &str) -> (f64, bool) {
        match self.section.share(key) {
            Some(at) if at.value > 0.0 && at.value <= 1.0 => (at.value, true),
            Some(_) => {
                let message = format!("\"{}\" must lie above 0 and at most 1", self.section.key_path(key));
                self.section.fault("pilot-out-of-range", key, message, "write 0.9 or \"90 %\"".into());
                (default, true)
            }
            None => {
                if !self.section.has(key) {
                    self.section.default(key, &default.to_string(), source);
                }
                (default, false)
            }
        }
    }

    /// Refuses what no road vehicle has: a slip of unit or sign would else run through every figure.
    pub fn possible(&self, key: &str, dimension: Dimension, value: f64) -> f64 {
        let (least, most) = match dimension {
            Dimension::Mass => (0.0, 2e5),
            Dimension::Power => (0.0, 1e7),
            Dimension::Area => (0.1, 50.0),
            Dimension::Acceleration => (0.0, 15.0),
            Dimension::Speed => (0.0, 60.0),
            Dimension::Force => (0.0, 1e6),
            Dimension::Temperature => (150.0, 400.0),
            _ => (f64::MIN, f64::MAX),
        };
        if (least..=most).contains(&value) {
            return value;
        }
        let message = format!("\"{}\" is outside what a road vehicle can have", self.section.key_path(key));
        let hint = format!("between {least} and {most} in SI units; check number, unit and sign");
        self.section.fault("pilot-out-of-range", key, message, hint);
        least.max(f64::MIN_POSITIVE)
    }

    pub fn above_zero(&self, key: &str, value: f64) -> f64 {
        if value > 0.0 {
            return value;
        }
        let message = format!("\"{}\" must be above 0", self.section.key_path(key));
        self.section.fault("pilot-out-of-range", key, message, "check number and unit".into());
        1.0
    }
}

/// Which end of every value a truck is made of.
#[derive(Clone, Copy, PartialEq)]
pub enum Pick {
    Nominal,
    Low,
    High,
}

impl Spread {
    pub fn pick(self, pick: Pick) -> f64 {
        match pick {
            Pick::Nominal => self.nominal,
            Pick::Low => self.low,
            Pick::High => self.high,
        }
    }

    /// For values whose rise is unfavourable to recovery.
    pub fn against(self, pick: Pick) -> f64 {
        match pick {
            Pick::Nominal => self.nominal,
            Pick::Low => self.high,
            Pick::High => self.low,
        }
    }
}
