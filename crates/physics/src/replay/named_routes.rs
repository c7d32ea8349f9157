//! Trips matched to the routes that the pilot names on a map, where the log names none.

use rstar::RTree;
use rstar::primitives::Line;

use super::motion::Plan;
use super::track::Track;

/// A route as drawn: one line or several, of latitude and longitude.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedRoute {
    pub name: String,
    pub lines_deg: Vec<Vec<(f64, f64)>>,
}

/// The routes, and what makes a trip one of theirs.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedRoutes {
    pub routes: Vec<NamedRoute>,
    /// A position this far from the line still lies on the route. [m]
    pub corridor_m: f64,
    /// Share of the way that has to lie on the route.
    pub share_frac: f64,
}

/// Way between the positions that are looked at, so that standing weighs nothing. [m]
const SPACING_M: f64 = 50.0;
/// Positions of one trip that are looked at, spread evenly.
const MOST_POSITIONS: usize = 4000;
/// Fewer tell nothing.
const LEAST_POSITIONS: usize = 5;
/// Length of a degree of latitude, near enough for a corridor. [m]
const DEGREE_M: f64 = 111_132.0;

/// Names the route of each trip that the log leaves nameless; true for the trips that got a name.
///
/// A trip is of the route on which the largest share of its way lies, in either direction, detours left out; among shares
/// that differ by less than a twentieth, of the route of which it covers most.
pub fn name_trips(track: &mut Track, plan: &Plan, named: &NamedRoutes) -> Vec<bool> {
    let mut given = vec![false; plan.trips];
    if named.routes.is_empty() {
        return given;
    }
    let maps: Vec<Map> = named.routes.iter().filter_map(Map::of).collect();
    for (trip, given) in given.iter_mut().enumerate() {
        let mut knots: Vec<usize> = Vec::new();
        for run in plan.runs.iter().filter(|run| run.trip == Some(trip)) {
            knots.extend(run.knots.start..=run.knots.end);
        }
        if knots.iter().any(|k| track.route[*k].is_some()) {
            continue;
        }
        let way = spaced(knots.iter().filter_map(|k| track.position[*k]));
        let Some(name) = best(&way, &maps, named) else { continue };
        let number = track.number_of(name);
        for k in knots {
            track.route[k] = Some(number);
        }
        *given = true;
    }
    given
}

fn best<'m>(way: &[(f64, f64)], maps: &'m [Map], named: &NamedRoutes) -> Option<&'m str> {
    if way.len() < LEAST_POSITIONS {
        return None;
    }
    let mut found: Vec<(f64, f64, &str)> = Vec::new();
    for map in maps {
        let places: Vec<[f64; 2]> = way.iter().map(|place| map.metres(*place)).collect();
        let on = places.iter().filter(|place| map.is_near(place, named.corridor_m)).count();
        let share = on as f64 / places.len() as f64;
        if share >= named.share_frac {
            found.push((share, map.covered(places, named.corridor_m), map.name.as_str()));
        }
    }
    let most = found.iter().map(|(share, ..)| *share).fold(0.0, f64::max);
    let alike = found.into_iter().filter(|(share, ..)| most - share < 0.05);
    alike.max_by(|a, b| a.1.total_cmp(&b.1).then(b.2.cmp(a.2))).map(|(.., name)| name)
}

/// One route on a plane of its own.
struct Map {
    name: String,
    origin: (f64, f64),
    lines: RTree<Line<[f64; 2]>>,
    /// Points along it, spaced evenly.
    points: Vec<[f64; 2]>,
}

impl Map {
    fn of(route: &NamedRoute) -> Option<Self> {
        let origin = *route.lines_deg.iter().flatten().next()?;
        let mut map = Self { name: route.name.clone(), origin, lines: RTree::new(), points: Vec::new() };
        let mut lines = Vec::new();
        for line in &route.lines_deg {
            let corners: Vec<[f64; 2]> = line.iter().map(|place| map.metres(*place)).collect();
            for pair in corners.windows(2) {
                lines.push(Line::new(pair[0], pair[1]));
                let steps = ((apart(pair[0], pair[1]) / SPACING_M).ceil() as usize).clamp(1, MOST_POSITIONS);
                map.points.extend((0..steps).map(|step| {
                    let share = step as f64 / steps as f64;
                    [0, 1].map(|axis: usize| pair[0][axis] + share * (pair[1][axis] - pair[0][axis]))
                }));
            }
        }
        map.lines = RTree::bulk_load(lines);
        Some(map)
    }

    /// East and north of the route's first point.
    fn metres(&self, (lat, lon): (f64, f64)) -> [f64; 2] {
        // Across the meridian of 180 degrees the short way.
        let east = (lon - self.origin.1 + 540.0).rem_euclid(360.0) - 180.0;
        [east * DEGREE_M * self.origin.0.to_radians().cos(), (lat - self.origin.0) * DEGREE_M]
    }

    fn is_near(&self, place: &[f64; 2], corridor_m: f64) -> bool {
        use rstar::PointDistance;
        let nearest = self.lines.nearest_neighbor(place);
        nearest.is_some_and(|line| line.distance_2(place) <= corridor_m * corridor_m)
    }

    /// Share of the route that these places come near to.
    fn covered(&self, places: Vec<[f64; 2]>, corridor_m: f64) -> f64 {
        let places = RTree::bulk_load(places);
        // Places are apart by their spacing: half of it may lie between.
        let reach_m = corridor_m + SPACING_M / 2.0;
        let near =
            |point: &&[f64; 2]| places.locate_within_distance(**point, reach_m * reach_m).next().is_some();
        self.points.iter().filter(near).count() as f64 / self.points.len().max(1) as f64
    }
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Positions a spacing apart, thinned evenly where they are many.
fn spaced(positions: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut way: Vec<(f64, f64)> = Vec::new();
    for place in positions {
        let far = way.last().is_none_or(|last| {
            let north = (place.0 - last.0) * DEGREE_M;
            let east = (place.1 - last.1) * DEGREE_M * last.0.to_radians().cos();
            north.hypot(east) >= SPACING_M
        });
        if far {
            way.push(place);
        }
    }
    let every = way.len().div_ceil(MOST_POSITIONS).max(1);
    way.into_iter().step_by(every).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP_DEG: f64 = 0.001;

    fn east(from: f64, to: f64, lat: f64) -> Vec<(f64, f64)> {
        let steps = ((to - from).abs() / STEP_DEG).round() as usize;
        (0..=steps).map(|i| (lat, from + (to - from) * i as f64 / steps as f64)).collect()
    }

    fn routes(lines: &[(&str, Vec<(f64, f64)>)]) -> (NamedRoutes, Vec<Map>) {
        let named: Vec<NamedRoute> = lines
            .iter()
            .map(|(name, line)| NamedRoute { name: (*name).to_owned(), lines_deg: vec![line.clone()] })
            .collect();
        let maps = named.iter().filter_map(Map::of).collect();
        (NamedRoutes { routes: named, corridor_m: 60.0, share_frac: 0.8 }, maps)
    }

    fn name(way: &[(f64, f64)], lines: &[(&str, Vec<(f64, f64)>)]) -> Option<String> {
        let (named, maps) = routes(lines);
        best(&spaced(way.iter().copied()), &maps, &named).map(str::to_owned)
    }

    #[test]
    fn either_direction_beside_the_line_and_over_the_date_line() {
        let lines = [("harbour", vec![(-10.0, 179.95), (-10.0, -179.95)])];
        let beside = -10.0 + 40.0 / DEGREE_M;
        let mut way: Vec<(f64, f64)> = (0..100)
            .map(|i| (beside, (179.95 + f64::from(i) * STEP_DEG + 180.0).rem_euclid(360.0) - 180.0))
            .collect();
        assert_eq!(name(&way, &lines).as_deref(), Some("harbour"));
        way.reverse();
        assert_eq!(name(&way, &lines).as_deref(), Some("harbour"));
        let far = -10.0 + 80.0 / DEGREE_M;
        let way: Vec<_> = way.iter().map(|(_, lon)| (far, *lon)).collect();
        assert_eq!(name(&way, &lines), None);
    }

    /// 100 steps on the route and 20 beside it are 83 %; with 30 beside it 77 %.
    #[test]
    fn a_detour_leaves_the_name_until_it_is_too_long() {
        let lines = [("valley", vec![(0.0, 8.0), (0.0, 8.1)])];
        let detour = |steps: i32| {
            let mut way = east(8.0, 8.05, 0.0);
            way.extend((1..=steps).map(|i| (0.002 + f64::from(i) * STEP_DEG, 8.05)));
            way.extend(east(8.051, 8.1, 0.0));
            way
        };
        assert_eq!(name(&detour(20), &lines).as_deref(), Some("valley"));
        assert_eq!(name(&detour(30), &lines), None);
    }

    /// The whole trip lies on both; it covers all of the short one and half of the long one.
    #[test]
    fn of_two_that_share_a_road_the_one_it_covers() {
        let lines = [("long", vec![(0.0, 8.0), (0.0, 8.2)]), ("short", vec![(0.0, 8.1), (0.0, 8.0)])];
        assert_eq!(name(&east(8.0, 8.1, 0.0), &lines).as_deref(), Some("short"));
        assert_eq!(name(&east(8.0, 8.2, 0.0), &lines).as_deref(), Some("long"));
        assert_eq!(name(&east(8.0, 8.001, 0.0), &lines), None, "some hundred metres are no route");
    }
}
