//! `[routes]`: named routes and depots out of a GeoJSON file.

use std::path::{Path, PathBuf};

use backwatt_physics::replay::{NamedRoute, NamedRoutes};
use backwatt_schema::Problem;
use backwatt_schema::unit::Dimension;
use geojson::{Feature, GeoJson, GeometryValue, Position};

use crate::document::Section;
use crate::side_table::text_of;
use crate::spread::{PRACTICE, Reader};

const CODE: &str = "pilot-routes";
const HINT: &str = "a FeatureCollection of RFC 7946: a LineString for a route, a Point or Polygon for a depot, each with a text \
                    property \"name\", positions as longitude, latitude";
const LARGEST_BYTES: u64 = 64 << 20;
const MOST_POSITIONS: usize = 1_000_000;
const MOST_FEATURES: usize = 10_000;
/// Faults listed one by one.
const MOST_LISTED: usize = 50;

/// A place with a name: a depot, a yard, a stop.
#[derive(Debug, Clone, PartialEq)]
pub struct Depot {
    pub name: String,
    pub place: DepotPlace,
}

/// Latitude and longitude.
#[derive(Debug, Clone, PartialEq)]
pub enum DepotPlace {
    Point((f64, f64)),
    /// Polygons of rings, each closed, the outer one first.
    Areas(Vec<Vec<Vec<(f64, f64)>>>),
}

/// What the file held, and where it is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Map {
    pub file: Option<PathBuf>,
    pub routes: Option<NamedRoutes>,
    pub depots: Vec<Depot>,
}

pub fn read(root: &Section<'_, '_>, folder: &Path) -> Map {
    let Some(section) = root.section("routes") else {
        if !root.has("routes") {
            root.default("routes.file", "none", "routes are those the logs name");
        }
        return Map::default();
    };
    let reader = Reader { section: &section };
    let corridor_m = reader.or("corridor", Dimension::Length, 60.0, "60 m", PRACTICE).0;
    let share_frac = reader.share_or("share", 0.8, PRACTICE).0;
    if !(5.0..=2000.0).contains(&corridor_m) {
        let message = format!("a corridor of {corridor_m} m is none around a road");
        section.fault("pilot-out-of-range", "corridor", message, "\"60 m\", say".into());
    }
    let file = section.text("file").map(|at| folder.join(at.value));
    if !section.has("file") {
        let hint = "file = \"routes.geojson\", say".to_owned();
        section.fault("pilot-no-file", "file", "[routes] names no file".into(), hint);
    }
    section.finish();
    let parsed = file.as_deref().map(|path| {
        let shown = path.display().to_string();
        let found = text_of(path, CODE, LARGEST_BYTES).and_then(|text| parse(&text));
        found.map_err(|problems| {
            problems.into_iter().map(|problem: Problem| problem.in_file(&shown)).collect::<Vec<_>>()
        })
    });
    match parsed {
        Some(Ok((routes, depots))) => {
            Map { file, routes: Some(NamedRoutes { routes, corridor_m, share_frac }), depots }
        }
        Some(Err(problems)) => {
            problems.into_iter().for_each(|problem| root.keep(problem));
            Map::default()
        }
        None => Map::default(),
    }
}

fn parse(text: &str) -> Result<(Vec<NamedRoute>, Vec<Depot>), Vec<Problem>> {
    let fault = |message: String| Problem::error(CODE, message).hint(HINT);
    let features = match text.trim_start_matches('\u{feff}').parse::<GeoJson>() {
        Ok(GeoJson::FeatureCollection(collection)) => collection.features,
        Ok(GeoJson::Feature(feature)) => vec![feature],
        Ok(GeoJson::Geometry(_)) => return Err(vec![fault("a bare geometry has no name".to_owned())]),
        Err(error) => {
            let told: String = error.to_string().chars().take(200).collect();
            return Err(vec![fault(format!("no GeoJSON: {told}"))]);
        }
    };
    if features.len() > MOST_FEATURES {
        return Err(vec![fault(format!("{} features, of at most {MOST_FEATURES}", features.len()))]);
    }
    let mut found = Found::default();
    let mut faults = Vec::new();
    for (number, feature) in features.iter().enumerate() {
        if let Err(message) = found.take(feature) {
            faults.push(format!("feature {}: {message}", number + 1));
        }
    }
    if found.routes.is_empty() && found.depots.is_empty() && faults.is_empty() {
        faults.push("no route and no depot".to_owned());
    }
    if faults.is_empty() {
        found.routes.sort_by(|a, b| a.name.cmp(&b.name));
        return Ok((found.routes, found.depots));
    }
    let more = faults.len().saturating_sub(MOST_LISTED);
    let mut problems: Vec<Problem> = faults.into_iter().take(MOST_LISTED).map(fault).collect();
    if more > 0 {
        problems.push(fault(format!("{more} more features are at fault")));
    }
    Err(problems)
}

#[derive(Default)]
struct Found {
    routes: Vec<NamedRoute>,
    depots: Vec<Depot>,
    positions: usize,
}

impl Found {
    fn take(&mut self, feature: &Feature) -> Result<(), String> {
        let name = feature.property("name").and_then(|name| name.as_str()).map(str::trim);
        let name = name.filter(|name| !name.is_empty()).ok_or("it has no text property \"name\"")?;
        let geometry = feature.geometry.as_ref().ok_or("it has no geometry")?;
        match &geometry.value {
            GeometryValue::LineString { coordinates } => {
                let line = self.line(coordinates, 2)?;
                self.route(name, vec![line]);
            }
            GeometryValue::MultiLineString { coordinates } => {
                let lines = coordinates.iter().map(|line| self.line(line, 2)).collect::<Result<_, _>>()?;
                self.route(name, lines);
            }
            GeometryValue::Point { coordinates } => {
                let place = DepotPlace::Point(self.place(coordinates)?);
                self.depots.push(Depot { name: name.to_owned(), place });
            }
            GeometryValue::Polygon { coordinates } => {
                let area = self.rings(coordinates)?;
                self.depots.push(Depot { name: name.to_owned(), place: DepotPlace::Areas(vec![area]) });
            }
            GeometryValue::MultiPolygon { coordinates } => {
                let areas = coordinates.iter().map(|area| self.rings(area)).collect::<Result<_, _>>()?;
                self.depots.push(Depot { name: name.to_owned(), place: DepotPlace::Areas(areas) });
            }
            other => return Err(format!("a {} is neither a route nor a depot", other.type_name())),
        }
        Ok(())
    }

    /// Lines of one name are one route.
    fn route(&mut self, name: &str, lines_deg: Vec<Vec<(f64, f64)>>) {
        match self.routes.iter_mut().find(|route| route.name == name) {
            Some(route) => route.lines_deg.extend(lines_deg),
            None => self.routes.push(NamedRoute { name: name.to_owned(), lines_deg }),
        }
    }

    fn rings(&mut self, rings: &[Vec<Position>]) -> Result<Vec<Vec<(f64, f64)>>, String> {
        if rings.is_empty() {
            return Err("its area has no ring".to_owned());
        }
        let one = |ring: &Vec<Position>| {
            let ring = self.line(ring, 4)?;
            if ring.first() == ring.last() {
                Ok(ring)
            } else {
                Err("a ring of its area is not closed".to_owned())
            }
        };
        rings.iter().map(one).collect()
    }

    fn line(&mut self, positions: &[Position], least: usize) -> Result<Vec<(f64, f64)>, String> {
        if positions.len() < least {
            return Err(format!("{} positions, where {least} are the least", positions.len()));
        }
        positions.iter().map(|position| self.place(position)).collect()
    }

    /// Longitude first, as the standard has it.
    fn place(&mut self, position: &Position) -> Result<(f64, f64), String> {
        self.positions += 1;
        if self.positions > MOST_POSITIONS {
            return Err(format!("more than {MOST_POSITIONS} positions in the file"));
        }
        let &[lon, lat, ..] = position.as_slice() else {
            return Err("a position of fewer than two numbers".to_owned());
        };
        if !(-180.0..=180.0).contains(&lon) || !(-90.0..=90.0).contains(&lat) {
            let turned = (-90.0..=90.0).contains(&lon) && (-180.0..=180.0).contains(&lat);
            let why = if turned { "; longitude stands first" } else { ", if they are degrees of WGS84" };
            return Err(format!("{lon}, {lat} are no longitude and latitude{why}"));
        }
        Ok((lat, lon))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn collection(features: &str) -> String {
        format!("{{\"type\":\"FeatureCollection\",\"features\":[{features}]}}")
    }

    fn feature(name: &str, kind: &str, coordinates: &str) -> String {
        format!(
            "{{\"type\":\"Feature\",\"properties\":{{\"name\":\"{name}\"}},\"geometry\":{{\"type\":\"{kind}\",\
             \"coordinates\":{coordinates}}}}}"
        )
    }

    fn message(text: &str) -> String {
        let problems = parse(text).err().unwrap_or_default();
        problems.iter().map(|p| p.message.clone()).collect::<Vec<_>>().join("; ")
    }

    #[test]
    fn routes_and_depots_arrive_with_latitude_first() {
        let text = collection(
            &[
                feature("north", "LineString", "[[8.1,47.1,400],[8.2,47.2]]"),
                feature("yard", "Point", "[8.0,47.0]"),
                feature("hall", "Polygon", "[[[8,47],[8.1,47],[8.1,47.1],[8,47]]]"),
                feature("north", "MultiLineString", "[[[8.2,47.2],[8.3,47.3]]]"),
            ]
            .join(","),
        );
        let (routes, depots) = parse(&text).unwrap_or_else(|p| panic!("{p:#?}"));
        assert_eq!(routes.len(), 1);
        assert_eq!(routes[0].lines_deg, [[(47.1, 8.1), (47.2, 8.2)], [(47.2, 8.2), (47.3, 8.3)]]);
        assert_eq!(depots[0].place, DepotPlace::Point((47.0, 8.0)));
        assert!(matches!(&depots[1].place, DepotPlace::Areas(areas) if areas[0][0].len() == 4));
    }

    #[test]
    fn every_kind_of_fault_is_named_with_its_feature() {
        let one = |feature: String| message(&collection(&feature));
        assert!(one(feature("", "Point", "[8,47]")).contains("feature 1: it has no text property"));
        assert!(one(feature("a", "LineString", "[[8,47]]")).contains("1 positions, where 2"));
        assert!(one(feature("a", "Point", "[47,150]")).contains("longitude stands first"));
        assert!(one(feature("a", "Point", "[356000,6263000]")).contains("degrees of WGS84"));
        assert!(one(feature("a", "Polygon", "[[[8,47],[8.1,47],[8.1,47.1],[8,47.5]]]")).contains("not closed"));
        assert!(one(feature("a", "Polygon", "[[[8,47],[8.1,47],[8,47]]]")).contains("3 positions, where 4"));
        assert!(one(feature("a", "MultiPoint", "[[8,47]]")).contains("neither a route nor a depot"));
        let bare = "{\"type\":\"Feature\",\"properties\":{\"name\":\"a\"},\"geometry\":null}";
        assert!(message(bare).contains("no geometry"));
        assert!(message("{\"type\":\"Point\",\"coordinates\":[8,47]}").contains("has no name"));
        assert!(message(&collection("")).contains("no route and no depot"));
        assert!(message("{\"type\":").contains("no GeoJSON"));
        let deep = "[".repeat(100_000);
        assert!(message(&collection(&feature("a", "LineString", &deep))).contains("no GeoJSON"));
        let many: Vec<String> = (0..60).map(|_| feature("", "Point", "[8,47]")).collect();
        assert!(message(&collection(&many.join(","))).ends_with("10 more features are at fault"));
    }
}
