//! Errors of summed figures: parts of the same origin add up before they are squared.

use std::collections::BTreeMap;

use crate::learned::{Figure, Z_90};

/// Unit parts of a sum's error by who owns them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Errors {
    by_owner: BTreeMap<Owner, Vec<f64>>,
    /// Half-widths that lie on the same side everywhere: what the samples of measured figures leave open.
    one_sided: f64,
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Owner {
    Type(String),
    Vehicle(String),
    Day(String),
}

impl Errors {
    /// Of one figure of a type, a vehicle and a vehicle-day.
    pub fn of(figure: &Figure, vehicle_type: &str, vehicle: &str, day: &str) -> Self {
        let owned = [
            (Owner::Type(vehicle_type.to_owned()), &figure.of_type),
            (Owner::Vehicle(vehicle.to_owned()), &figure.of_vehicle),
            (Owner::Day(day.to_owned()), &figure.of_day),
        ];
        Self {
            by_owner: owned.into_iter().map(|(owner, parts)| (owner, parts.clone())).collect(),
            one_sided: 0.0,
        }
    }

    /// Half-width that lies on the same side everywhere.
    pub fn one_sided(half_width: f64) -> Self {
        Self { by_owner: BTreeMap::new(), one_sided: half_width }
    }

    pub fn add(&mut self, other: &Errors) {
        for (owner, more) in &other.by_owner {
            match self.by_owner.get_mut(owner) {
                Some(parts) => parts.iter_mut().zip(more).for_each(|(part, more)| *part += more),
                None => {
                    self.by_owner.insert(owner.clone(), more.clone());
                }
            }
        }
        self.one_sided += other.one_sided;
    }

    /// Half-width of the two-sided 90 % interval.
    pub fn half_width(&self) -> f64 {
        let squares: f64 = self.by_owner.values().flatten().map(|part| part * part).sum();
        Z_90 * squares.sqrt() + self.one_sided
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(of_type: f64, of_vehicle: f64, of_day: f64) -> Figure {
        Figure { value: 1.0, of_type: vec![of_type], of_vehicle: vec![of_vehicle], of_day: vec![of_day] }
    }

    #[test]
    fn what_is_shared_adds_up_and_the_rest_adds_in_squares() {
        let mut sum = Errors::of(&figure(3.0, 2.0, 1.0), "t", "a", "a 1");
        sum.add(&Errors::of(&figure(3.0, 2.0, 1.0), "t", "a", "a 2"));
        sum.add(&Errors::of(&figure(3.0, 2.0, 1.0), "t", "b", "b 1"));
        // Type 9, vehicles 4 and 2, days 1, 1 and 1.
        assert!((sum.half_width() / Z_90 - (81.0_f64 + 16.0 + 4.0 + 3.0).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn measured_halves_add_up() {
        let mut sum = Errors::one_sided(0.2);
        sum.add(&Errors::one_sided(0.1));
        assert!((sum.half_width() - 0.3).abs() < 1e-12);
    }
}
