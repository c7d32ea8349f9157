//! Who can be compared with whom.

use std::collections::{BTreeMap, BTreeSet};

use super::driver_days::DriverDays;

/// No figure about a person on less than this.
pub const EXPOSURE_DAYS: usize = 10;
pub const EXPOSURE_BRAKING_KWH: f64 = 50.0;
/// Among pseudonyms a group smaller than this gives people away.
pub const SMALL_GROUP: usize = 5;

/// One driver's exposure.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Exposure {
    pub days: BTreeSet<String>,
    pub vehicles: BTreeSet<String>,
    pub routes: BTreeSet<String>,
    pub distance_mi: f64,
    pub braking_kwh: f64,
}

impl Exposure {
    pub fn is_enough(&self) -> bool {
        self.days.len() >= EXPOSURE_DAYS && self.braking_kwh >= EXPOSURE_BRAKING_KWH
    }
}

/// Drivers that hang together by the vehicles and routes they share.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    pub name: String,
    pub drivers: BTreeMap<String, Exposure>,
}

impl Group {
    /// Those with enough driving to be compared.
    pub fn compared(&self) -> BTreeSet<&str> {
        self.drivers.iter().filter(|(_, of)| of.is_enough()).map(|(name, _)| name.as_str()).collect()
    }

    /// How many of one driver's vehicles, or routes, another one drove as well.
    pub fn shared(&self, driver: &str, of: fn(&Exposure) -> &BTreeSet<String>) -> usize {
        let Some(own) = self.drivers.get(driver) else { return 0 };
        let others = || self.drivers.iter().filter(|(name, _)| *name != driver);
        of(own).iter().filter(|one| others().any(|(_, exposure)| of(exposure).contains(*one))).count()
    }
}

/// Connected components of drivers, vehicles and routes, in the order of their first driver.
///
/// A route that nobody names ties nobody together.
/// Source   Searle (1987), Linear Models for Unbalanced Data, section 5.3: effects compare only within connected data
pub fn groups(of: &DriverDays) -> Vec<Group> {
    let mut exposures: BTreeMap<String, Exposure> = BTreeMap::new();
    for (key, day) in of.days.iter().filter(|(_, day)| day.distance_mi > 0.0) {
        let exposure = exposures.entry(key.driver.clone()).or_default();
        exposure.days.insert(key.day.clone());
        exposure.vehicles.insert(key.vehicle.clone());
        if !key.route.is_empty() {
            exposure.routes.insert(key.route.clone());
        }
        exposure.distance_mi += day.distance_mi;
        exposure.braking_kwh += day.braking_kwh;
    }
    let mut groups: Vec<Group> = Vec::new();
    for (driver, exposure) in exposures {
        let touches = |group: &Group| {
            group.drivers.values().any(|other| {
                !other.vehicles.is_disjoint(&exposure.vehicles) || !other.routes.is_disjoint(&exposure.routes)
            })
        };
        let (touched, apart): (Vec<Group>, Vec<Group>) = groups.into_iter().partition(touches);
        let mut drivers: BTreeMap<String, Exposure> =
            touched.into_iter().flat_map(|group| group.drivers).collect();
        drivers.insert(driver, exposure);
        groups = apart;
        groups.push(Group { name: String::new(), drivers });
    }
    groups.sort_by(|a, b| a.drivers.keys().next().cmp(&b.drivers.keys().next()));
    groups.iter_mut().enumerate().for_each(|(at, group)| group.name = format!("group {}", at + 1));
    groups
}

/// Why no figure about a person may be shown, where none may.
#[derive(Debug, Clone, Default)]
pub struct WhyHidden {
    shown: BTreeSet<String>,
    small: BTreeSet<String>,
}

impl WhyHidden {
    pub fn of(days: &DriverDays, pseudonyms: bool) -> Self {
        let mut found = Self::default();
        for group in groups(days) {
            let compared = group.compared();
            let into =
                if pseudonyms && compared.len() < SMALL_GROUP { &mut found.small } else { &mut found.shown };
            into.extend(compared.into_iter().map(str::to_owned));
        }
        found
    }

    pub fn why(&self, driver: &str) -> Option<String> {
        if self.shown.contains(driver) {
            return None;
        }
        Some(if self.small.contains(driver) {
            format!("fewer than {SMALL_GROUP} drivers in the group, and names are pseudonyms")
        } else {
            format!("fewer than {EXPOSURE_DAYS} driving days or {EXPOSURE_BRAKING_KWH} kWh of braking energy")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::driver_days::{DriverDay, Key};
    use super::*;

    fn days(rows: &[(&str, &str, &str)]) -> DriverDays {
        let mut days = DriverDays::default();
        for (at, (driver, vehicle, route)) in rows.iter().enumerate() {
            let [driver, vehicle, route] = [driver, vehicle, route].map(|text| (*text).to_owned());
            let key = Key { driver, vehicle, route, day: format!("day {at}") };
            days.days.insert(key, DriverDay { distance_mi: 1.0, ..DriverDay::default() });
        }
        days
    }

    fn names(rows: &[(&str, &str, &str)]) -> Vec<Vec<String>> {
        groups(&days(rows)).into_iter().map(|group| group.drivers.into_keys().collect()).collect()
    }

    #[test]
    fn a_shared_truck_or_route_ties_together() {
        let found =
            names(&[("A", "T1", "north"), ("B", "T1", "south"), ("C", "T2", "south"), ("D", "T3", "east")]);
        assert_eq!(found, [vec!["A", "B", "C"], vec!["D"]]);
    }

    #[test]
    fn a_route_nobody_names_ties_nobody() {
        assert_eq!(names(&[("A", "T1", ""), ("B", "T2", "")]), [vec!["A"], vec!["B"]]);
    }

    #[test]
    fn a_late_comer_joins_two_groups() {
        let found = names(&[("A", "T1", "x"), ("B", "T2", "y"), ("Z", "T1", "y")]);
        assert_eq!(found, [vec!["A", "B", "Z"]]);
    }

    #[test]
    fn shared_vehicles_are_counted() {
        let group = &groups(&days(&[("A", "T1", "x"), ("A", "T2", "x"), ("B", "T1", "y")]))[0];
        assert_eq!(group.shared("A", |of| &of.vehicles), 1);
        assert_eq!(group.shared("A", |of| &of.routes), 0);
    }
}
