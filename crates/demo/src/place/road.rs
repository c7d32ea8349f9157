//! A route's road: where it runs, how high it lies, and how fast one may drive on it.

use super::terrain;

/// Spacing of the stations at which a road is stored.
const STATION_M: f64 = 5.0;
/// How far before and after a corner its rounding begins.
const ROUNDING_M: f64 = 15.0;
/// Comfortable speed through a right-angle street corner; made up for this town.
const RIGHT_ANGLE_SPEED_M_S: f64 = 5.0;
/// Half the length over which a corner holds the speed down.
const CORNER_REACH_M: f64 = 12.0;

/// A corner point of a route and the speed limit of the road that leaves it.
#[derive(Clone, Copy)]
pub struct Corner {
    pub x_m: f64,
    pub y_m: f64,
    pub limit_m_s: f64,
}

/// A point of the road.
#[derive(Clone, Copy)]
pub struct Station {
    pub x_m: f64,
    pub y_m: f64,
    pub height_m: f64,
    pub limit_m_s: f64,
}

/// A place where the allowed speed falls.
#[derive(Clone, Copy)]
pub struct SpeedDrop {
    pub at_m: f64,
    pub speed_m_s: f64,
}

/// A road measured along its surface from its first station.
pub struct Road {
    stations: Vec<Station>,
    pub drops: Vec<SpeedDrop>,
}

impl Road {
    /// Rounds the corners, lays the line over the hills and marks where the speed must fall.
    pub fn new(corners: &[Corner]) -> Road {
        let mut stations = resample(&rounded(corners));
        slow_for_corners(corners, &mut stations);
        let drops = stations
            .windows(2)
            .enumerate()
            .filter(|(_, pair)| pair[1].limit_m_s < pair[0].limit_m_s - 0.1)
            .map(|(index, pair)| SpeedDrop {
                at_m: (index + 1) as f64 * STATION_M,
                speed_m_s: pair[1].limit_m_s,
            })
            .collect();
        Road { stations, drops }
    }

    pub fn length_m(&self) -> f64 {
        self.stations.len().saturating_sub(1) as f64 * STATION_M
    }

    /// The point `along_m` from the start; ends are held.
    pub fn at(&self, along_m: f64) -> Station {
        let last = self.stations.len() - 1;
        let place = (along_m / STATION_M).clamp(0.0, last as f64);
        let index = (place as usize).min(last.saturating_sub(1));
        let share = place - index as f64;
        let (a, b) = (self.stations[index], self.stations[(index + 1).min(last)]);
        let mix = |from: f64, to: f64| from + share * (to - from);
        Station {
            x_m: mix(a.x_m, b.x_m),
            y_m: mix(a.y_m, b.y_m),
            height_m: mix(a.height_m, b.height_m),
            limit_m_s: a.limit_m_s,
        }
    }
}

/// The line through the corners with each corner replaced by a quadratic arc, at about 1 m steps.
fn rounded(corners: &[Corner]) -> Vec<Station> {
    let mut line = Vec::new();
    let mut from = (corners[0].x_m, corners[0].y_m);
    for triple in corners.windows(3) {
        let [before, here, after] = [triple[0], triple[1], triple[2]];
        let (enter, leave) = (toward(here, before), toward(here, after));
        straight(&mut line, from, enter, before.limit_m_s);
        for step in 0..24 {
            let t = f64::from(step) / 24.0;
            let bend = |a: f64, b: f64, c: f64| (1.0 - t).powi(2) * a + 2.0 * t * (1.0 - t) * b + t.powi(2) * c;
            let x_m = bend(enter.0, here.x_m, leave.0);
            let y_m = bend(enter.1, here.y_m, leave.1);
            line.push(ground(x_m, y_m, before.limit_m_s.min(here.limit_m_s)));
        }
        from = leave;
    }
    let (last, limit_m_s) = (corners[corners.len() - 1], corners[corners.len() - 2].limit_m_s);
    straight(&mut line, from, (last.x_m, last.y_m), limit_m_s);
    line.push(ground(last.x_m, last.y_m, limit_m_s));
    line
}

/// The point on the way from one corner to another at which the rounding begins.
fn toward(here: Corner, other: Corner) -> (f64, f64) {
    let (dx, dy) = (other.x_m - here.x_m, other.y_m - here.y_m);
    let share = (ROUNDING_M / dx.hypot(dy)).min(0.45);
    (here.x_m + share * dx, here.y_m + share * dy)
}

fn straight(line: &mut Vec<Station>, from: (f64, f64), to: (f64, f64), limit_m_s: f64) {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let steps = dx.hypot(dy).ceil().max(1.0);
    for step in 0..steps as usize {
        let share = step as f64 / steps;
        line.push(ground(from.0 + share * dx, from.1 + share * dy, limit_m_s));
    }
}

fn ground(x_m: f64, y_m: f64, limit_m_s: f64) -> Station {
    Station { x_m, y_m, height_m: terrain::height_m(x_m, y_m), limit_m_s }
}

/// Equal steps along the surface, so that a wheel and the road agree on distance and
/// height difference over distance is the sine of the slope.
fn resample(line: &[Station]) -> Vec<Station> {
    let mut stations = vec![line[0]];
    let mut left_m = STATION_M;
    for pair in line.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let step_m = (b.x_m - a.x_m).hypot(b.y_m - a.y_m).hypot(b.height_m - a.height_m);
        let mut done_m = 0.0;
        while step_m - done_m >= left_m {
            done_m += left_m;
            let share = done_m / step_m;
            stations.push(Station {
                x_m: a.x_m + share * (b.x_m - a.x_m),
                y_m: a.y_m + share * (b.y_m - a.y_m),
                height_m: a.height_m + share * (b.height_m - a.height_m),
                limit_m_s: b.limit_m_s,
            });
            left_m = STATION_M;
        }
        left_m -= step_m - done_m;
    }
    stations
}

/// Holds the speed down around corners: a speed that falls with the root of the bend's sharpness,
/// which is what a fixed sideways acceleration asks for.
fn slow_for_corners(corners: &[Corner], stations: &mut [Station]) {
    for triple in corners.windows(3) {
        let bend_rad = turn_rad(triple);
        let sharpness = (bend_rad / 2.0).sin() / std::f64::consts::FRAC_PI_4.sin();
        let speed_m_s = RIGHT_ANGLE_SPEED_M_S / sharpness.max(1e-3).sqrt();
        for station in stations.iter_mut() {
            let away_m = (station.x_m - triple[1].x_m).hypot(station.y_m - triple[1].y_m);
            if away_m < CORNER_REACH_M + ROUNDING_M / 2.0 && bend_rad > 0.45 {
                station.limit_m_s = station.limit_m_s.min(speed_m_s);
            }
        }
    }
}

/// The angle by which the road turns at the middle of three corners.
fn turn_rad(triple: &[Corner]) -> f64 {
    let heading = |a: Corner, b: Corner| (b.y_m - a.y_m).atan2(b.x_m - a.x_m);
    let turn = heading(triple[1], triple[2]) - heading(triple[0], triple[1]);
    turn.sin().atan2(turn.cos()).abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn corner(x_m: f64, y_m: f64) -> Corner {
        Corner { x_m, y_m, limit_m_s: 12.0 }
    }

    #[test]
    fn a_right_angle_is_rounded_and_slowed_for() {
        let road = Road::new(&[corner(0.0, 100.0), corner(500.0, 100.0), corner(500.0, 200.0)]);
        assert!((550.0..600.0).contains(&road.length_m()), "{}", road.length_m());
        assert!(road.at(495.0).limit_m_s < 6.0);
        assert!((road.at(200.0).limit_m_s - 12.0).abs() < 1e-9);
        assert_eq!(road.drops.len(), 1);
    }

    #[test]
    fn no_road_of_this_town_is_steeper_than_one_in_seven() {
        for route in super::super::routes::all() {
            let road = &route.road;
            let mut along_m = 0.0;
            while along_m + 5.0 < road.length_m() {
                let slope = (road.at(along_m + 5.0).height_m - road.at(along_m).height_m) / 5.0;
                assert!(slope.abs() < 1.0 / 7.0, "{}: {slope} at {along_m} m", route.name);
                along_m += 5.0;
            }
        }
    }
}
