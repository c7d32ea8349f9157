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

    /// Errors of a ratio of two sums, relative to it: what moves both the same way leaves it where it is.
    ///
    /// d(a/b)/(a/b) = da/a - db/b, to first order
    /// Missing  nothing where either sum is none
    /// Source   JCGM 100:2008 (GUM), 5.1.2 and 5.2.2, with fully correlated parts
    pub fn of_ratio(over: (f64, &Errors), under: (f64, &Errors)) -> Errors {
        if over.0 <= 0.0 || under.0 <= 0.0 {
            return Errors::default();
        }
        let mut relative = over.1.scaled(1.0 / over.0);
        relative.add(&under.1.scaled(-1.0 / under.0));
        relative.one_sided = over.1.one_sided / over.0 + under.1.one_sided / under.0;
        relative
    }

    fn scaled(&self, factor: f64) -> Errors {
        let scaled = |parts: &Vec<f64>| parts.iter().map(|part| part * factor).collect();
        Errors {
            by_owner: self.by_owner.iter().map(|(owner, parts)| (owner.clone(), scaled(parts))).collect(),
            one_sided: self.one_sided * factor,
        }
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
    fn what_moves_both_leaves_their_ratio() {
        let of = |value: f64| Errors::of(&figure(0.1 * value, 0.0, 0.0), "t", "a", "a 1");
        let (two, eight) = (of(2.0), of(8.0));
        assert!(Errors::of_ratio((2.0, &two), (8.0, &eight)).half_width() < 1e-12);
        // A tenth of the one alone.
        let alone = Errors::of_ratio((2.0, &two), (8.0, &Errors::default()));
        assert!((alone.half_width() / Z_90 - 0.1).abs() < 1e-12);
        assert_eq!(Errors::of_ratio((0.0, &two), (8.0, &eight)), Errors::default());
    }

    #[test]
    fn measured_halves_add_up() {
        let mut sum = Errors::one_sided(0.2);
        sum.add(&Errors::one_sided(0.1));
        assert!((sum.half_width() - 0.3).abs() < 1e-12);
    }
}
