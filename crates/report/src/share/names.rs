//! Pseudonyms: dealt out by a secret order, so that neither a name's letters nor its length show.

use std::collections::{BTreeMap, BTreeSet};

use backwatt_schema::{BatchView, Table, tables, text_at};
use backwatt_store::{Layout, digest_bytes, read_table, read_table_if_present};

use crate::ReportError;

/// Names shorter than this are changed where they stand alone, and not within sentences, where they may be anything.
const LEAST_IN_PROSE: usize = 3;

type Map = BTreeMap<String, String>;
/// A column of a table, of the rows where another column has a value.
type Named = (&'static Table, &'static str, Option<(&'static str, &'static str)>);

#[derive(Debug, Default)]
pub struct Names {
    pub drivers: Map,
    pub vehicles: Map,
    pub routes: Map,
    files: Map,
}

/// Everybody whom any table names.
pub fn drivers(layout: &Layout, vehicles: &[String]) -> Result<BTreeSet<String>, ReportError> {
    let mut found = BTreeSet::new();
    let mut add =
        |table: &'static Table, column: &str, only: Option<(&str, &str)>, batch| -> Result<(), ReportError> {
            let view = BatchView::new(table, &batch);
            let texts = view.texts(column)?;
            for row in 0..view.rows() {
                let wanted = match only {
                    Some((column, value)) => text_at(view.texts(column)?, row) == Some(value),
                    None => true,
                };
                if wanted {
                    found.extend(text_at(texts, row).filter(|name| *name != "(unknown)").map(str::to_owned));
                }
            }
            Ok(())
        };
    for vehicle in vehicles {
        for table in [&tables::SEGMENTS, &tables::TRIPS] {
            add(table, "driver_id", None, read_table(&layout.vehicle_table(table, vehicle), table)?)?;
        }
    }
    let columns: [Named; 5] = [
        (&tables::RECOVERY, "group", Some(("grouping", "driver"))),
        (&tables::DRIVERS, "driver_id", None),
        (&tables::HABITS, "driver_id", None),
        (&tables::CHANGES, "name", Some(("subject", "driver"))),
        (&tables::LEVEL_WHAT_IF, "name", Some(("subject", "driver"))),
    ];
    for (table, column, only) in columns {
        if let Some(batch) = read_table_if_present(&layout.table(table), table)? {
            add(table, column, only, batch)?;
        }
    }
    Ok(found)
}

impl Names {
    pub fn of_drivers(drivers: &BTreeSet<String>, secret: &str) -> Self {
        Self { drivers: dealt("driver", drivers.iter(), secret), ..Self::default() }
    }

    pub fn of_all(
        drivers: &BTreeSet<String>,
        vehicles: &[String],
        layout: &Layout,
        secret: &str,
    ) -> Result<Self, ReportError> {
        let mut routes = Map::new();
        if let Some(batch) = read_table_if_present(&layout.table(&tables::ROUTES), &tables::ROUTES)? {
            let view = BatchView::new(&tables::ROUTES, &batch);
            let (ids, names, basis) = (view.texts("route_id")?, view.texts("name")?, view.texts("basis")?);
            let found = |row: &usize| basis.value(*row) == "found";
            let rows: Vec<usize> = (0..view.rows()).filter(found).collect();
            let own: Vec<String> = rows.iter().map(|row| ids.value(*row).to_owned()).collect();
            routes = dealt("route", own.iter(), secret);
            for row in rows {
                let pseudonym = routes[ids.value(row)].clone();
                routes.insert(names.value(row).to_owned(), pseudonym);
            }
        }
        let receipts = read_table(&layout.table(&tables::RECEIPTS), &tables::RECEIPTS)?;
        let view = BatchView::new(&tables::RECEIPTS, &receipts);
        let files: Vec<String> = view.texts("source_file")?.iter().flatten().map(str::to_owned).collect();
        Ok(Self {
            drivers: dealt("driver", drivers.iter(), secret),
            vehicles: dealt("vehicle", vehicles.iter(), secret),
            routes,
            files: dealt("log", files.iter(), secret),
        })
    }

    pub fn is_empty(&self) -> bool {
        self.drivers.is_empty() && self.vehicles.is_empty() && self.routes.is_empty() && self.files.is_empty()
    }

    pub fn group(&self, grouping: &str, group: &str) -> String {
        let map = match grouping {
            "driver" => &self.drivers,
            "vehicle" => &self.vehicles,
            "route" => &self.routes,
            _ => return group.to_owned(),
        };
        map.get(group).cloned().unwrap_or_else(|| group.to_owned())
    }

    /// What stands in a cell instead; nothing where it may stay.
    pub fn shown(
        &self,
        table: &'static Table,
        view: &BatchView<'_>,
        row: usize,
        column: &str,
        text: &str,
    ) -> Option<String> {
        let beside =
            |column: &str| view.texts(column).ok().and_then(|texts| text_at(texts, row)).unwrap_or_default();
        match (table.name, column) {
            (_, "driver_id") => self.drivers.get(text).cloned(),
            (_, "vehicle_id") => self.vehicles.get(text).cloned(),
            (_, "source_file") => self.files.get(text).cloned(),
            (_, "trip_id") => self.trip(text, beside("vehicle_id")),
            (_, "route_id" | "route") => self.routes.get(text).cloned(),
            ("routes", "name") => self.routes.get(text).cloned(),
            ("recovery" | "braking_balance", "group") => Some(self.group(beside("grouping"), text)),
            ("changes" | "level_what_if", "name") => Some(self.group(beside("subject"), text)),
            _ => self.text(text),
        }
    }

    /// A trip is its vehicle and a number.
    fn trip(&self, trip: &str, vehicle: &str) -> Option<String> {
        let number = trip.strip_prefix(vehicle)?;
        Some(format!("{}{number}", self.vehicles.get(vehicle)?))
    }

    /// A sentence with every name in it changed, as whole words.
    pub fn text(&self, text: &str) -> Option<String> {
        let mut out = text.to_owned();
        let maps = [&self.files, &self.routes, &self.drivers, &self.vehicles];
        // The longest first: one name may be the beginning of another.
        let mut all: Vec<(&String, &String)> = maps.into_iter().flatten().collect();
        all.sort_by_key(|(name, _)| std::cmp::Reverse(name.len()));
        for (name, pseudonym) in all {
            if name.chars().count() >= LEAST_IN_PROSE && out.contains(name.as_str()) {
                out = replaced(&out, name, pseudonym);
            }
        }
        (out != text).then_some(out)
    }

    /// As CSV.
    pub fn key(&self) -> String {
        let mut out = String::from("kind,pseudonym,name\n");
        for (kind, map) in [
            ("driver", &self.drivers),
            ("vehicle", &self.vehicles),
            ("route", &self.routes),
            ("log", &self.files),
        ] {
            let mut rows: Vec<(&String, &String)> = map.iter().collect();
            rows.sort_by(|a, b| a.1.cmp(b.1).then(a.0.cmp(b.0)));
            for (name, pseudonym) in rows {
                out.push_str(&format!("{kind},{pseudonym},{}\n", crate::export::quoted(name)));
            }
        }
        out
    }
}

/// "driver 03": numbered in the order of a digest of secret and name.
fn dealt<'n>(kind: &str, names: impl Iterator<Item = &'n String>, secret: &str) -> Map {
    let mut ordered: Vec<(String, &String)> =
        names.map(|name| (digest_bytes(format!("{kind}\0{secret}\0{name}").as_bytes()), name)).collect();
    ordered.sort();
    let width = ordered.len().to_string().len().max(2);
    let number =
        |(at, (_, name)): (usize, (String, &String))| (name.clone(), format!("{kind} {:0width$}", at + 1));
    ordered.into_iter().enumerate().map(number).collect()
}

/// Where the name is not a part of a longer word.
fn replaced(text: &str, name: &str, pseudonym: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(name) {
        let before = rest[..at].chars().next_back().or(out.chars().next_back());
        let after = rest[at + name.len()..].chars().next();
        let part = [before, after].into_iter().flatten().any(char::is_alphanumeric);
        out.push_str(&rest[..at]);
        out.push_str(if part { name } else { pseudonym });
        rest = &rest[at + name.len()..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names() -> Names {
        let people = ["Ana", "Anabel", "7"].map(str::to_owned);
        Names::of_drivers(&people.into_iter().collect(), "secret")
    }

    #[test]
    fn names_in_sentences_are_changed_as_whole_words() {
        let names = names();
        let told = names.text("Anabel and Ana, 7 days; Anatol is nobody").expect("changed");
        assert_eq!(
            told,
            format!("{} and {}, 7 days; Anatol is nobody", names.drivers["Anabel"], names.drivers["Ana"])
        );
        assert_eq!(names.text("nobody"), None);
    }

    #[test]
    fn the_order_follows_the_secret_and_not_the_alphabet() {
        let people: BTreeSet<String> = (0..20).map(|n| format!("person {n:02}")).collect();
        let one = Names::of_drivers(&people, "one").drivers;
        let other = Names::of_drivers(&people, "other").drivers;
        assert_ne!(one, other);
        assert_eq!(one, Names::of_drivers(&people, "one").drivers);
        assert_eq!(one.values().collect::<BTreeSet<_>>().len(), 20, "no two people share one");
    }
}
