//! Trolleybus: slope and road load as the motors felt them.
//!
//! Force less what a level road of the sheet asks is slope plus what the sheet's rolling resistance lacks. Where the bus
//! went both ways the two part: the slope changes its sign with the direction, the resistance does not. What the sheet
//! lacks may be tyres, gears, bends or the scale of an estimated force: force alone does not tell them apart.

use std::collections::BTreeMap;

use backwatt_testkit::{close, evidence};

use crate::fit::{Fit, Pair};
use crate::set::shared_file;
use crate::trolleybus_braking::{Mission, both};
use crate::trolleybus_motor::{DATA, Motor, VEHICLE};

/// Curb mass and the payload where none is logged: the pilot file's sheet. [kg]
const MASS_KG: f64 = 19_000.0;
const PAYLOAD_KG: f64 = 1_400.0;
const GRAVITY_M_S2: f64 = 9.806_65;
/// The sheet's rolling resistance. [1]
const SHEET: f64 = 0.0075;
/// Slower than this, halt brake and steps of the force are in play. [m/s]
const LEAST_M_S: f64 = 2.0;
/// Side of a place, near enough at this latitude, and the reach of a direction. [deg, turn]
const PLACE_DEG: (f64, f64) = (0.000_27, 0.000_40);
const SECTORS: f64 = 6.0;
/// Seconds each way that a place needs, and how far apart in time two passes are. [1, ns]
const EACH_WAY: f64 = 3.0;
const OTHER_PASS_NS: i64 = 300_000_000_000;
/// A joint bent more than this is a bend, less than that straight on. [rad]
const BENT: (f64, f64) = (0.02, 0.10);

/// A square of road and the line along which it was driven.
type Place = (i64, i64, i64);

/// One second of the trace.
pub struct Second {
    from_ns: i64,
    to_ns: i64,
    /// m g v: what a slope of one asks. [W]
    pub per_slope_w: f64,
    /// Wheel power on a level road, and what the ledger's slope adds. [W]
    level_w: f64,
    pub hill_w: f64,
    /// Where it was, and 1 or -1 for the direction.
    place: Option<(Place, f64)>,
    /// Force of the motors beyond a level road's, per weight; not under friction brakes.
    excess: Option<f64>,
    /// Force of the motors per weight.
    force: Option<f64>,
    /// First line of the log.
    line: u64,
}

impl Second {
    pub fn wheel_w(&self, slope: f64, rolling: f64) -> f64 {
        self.level_w + self.per_slope_w * (slope + rolling)
    }

    pub fn seconds(&self) -> f64 {
        (self.to_ns - self.from_ns) as f64 * 1e-9
    }
}

pub struct Road {
    pub seconds: Vec<Second>,
    /// Seconds by place, in time.
    places: BTreeMap<Place, Vec<usize>>,
}

impl Road {
    pub fn of(level: &Mission, hilly: &Mission) -> Self {
        let motor = Motor::of(&hilly.set);
        let samples = &hilly.set.samples[VEHICLE];
        let [lat, lon, payload] = ["lat_deg", "lon_deg", "payload_kg"].map(|c| samples.numbers(c));
        let lines = samples.counts("source_line");
        let (starts, ends) = (level.trace.times("time_start_ns"), level.trace.times("time_end_ns"));
        assert_eq!(starts, hilly.trace.times("time_start_ns"), "both replays cut the same seconds");
        let [speed, level_w] = ["speed_m_s", "power_wheel_w"].map(|c| level.trace.numbers(c));
        let hilly_w = hilly.trace.numbers("power_wheel_w");
        let second = |row: usize| {
            let (from_ns, to_ns) = (starts[row], ends[row]);
            let rows = motor.rows(from_ns, to_ns);
            let (first, last) = (*rows.start(), *rows.end());
            let (speed_m_s, level_w) = (speed[row].expect("known"), level_w[row].expect("known"));
            let weight_n = GRAVITY_M_S2 * (MASS_KG + payload[first].unwrap_or(PAYLOAD_KG));
            let way = (|| Some((lat[first]?, lon[first]?, lat[last]?, lon[last]?)))();
            let fast = speed_m_s > LEAST_M_S;
            let force = (|| Some(f64::midpoint(motor.force[first]?, motor.force[last]?)))();
            let excess = force.map(|force| (force - level_w / speed_m_s) / weight_n);
            Second {
                from_ns,
                to_ns,
                per_slope_w: weight_n * speed_m_s,
                level_w,
                hill_w: hilly_w[row].expect("known") - level_w,
                place: way.filter(|_| fast).and_then(place),
                excess: excess.filter(|_| fast && motor.is_released(from_ns, to_ns)),
                force: force.map(|force| force / weight_n),
                line: lines[first],
            }
        };
        let seconds: Vec<Second> = (0..level.trace.rows()).map(second).collect();
        let mut places: BTreeMap<Place, Vec<usize>> = BTreeMap::new();
        for (at, second) in seconds.iter().enumerate() {
            if let (Some((place, _)), Some(_)) = (second.place, second.excess) {
                places.entry(place).or_default().push(at);
            }
        }
        Self { seconds, places }
    }

    /// Means of a quantity per direction at the places driven often enough both ways: along, against.
    fn both_ways(&self, of: impl Fn(&Second) -> f64) -> Vec<(f64, f64)> {
        let one = |seconds: &Vec<usize>| {
            let mean = |way: f64| {
                let (sum, count) = seconds.iter().fold((0.0, 0.0), |(sum, count), at| {
                    let second = &self.seconds[*at];
                    let here = second.place.is_some_and(|(_, direction)| direction == way);
                    if here { (sum + of(second), count + 1.0) } else { (sum, count) }
                });
                (count >= EACH_WAY).then(|| sum / count)
            };
            Some((mean(1.0)?, mean(-1.0)?))
        };
        self.places.values().filter_map(one).collect()
    }

    /// Rolling resistance beyond the sheet's, mean over the places driven both ways, and its standard error.
    pub fn lacking(&self) -> (f64, f64, usize) {
        let halves: Vec<f64> =
            self.both_ways(excess).into_iter().map(|(along, against)| f64::midpoint(along, against)).collect();
        let count = halves.len() as f64;
        let mean = halves.iter().sum::<f64>() / count;
        let spread = halves.iter().map(|half| (half - mean).powi(2)).sum::<f64>() / (count - 1.0);
        (mean, (spread / count).sqrt(), halves.len())
    }

    /// Slope in the direction of travel by the motors' force on other passes. [rise over run]
    pub fn slope(&self, second: &Second, lacking: f64) -> Option<f64> {
        let (place, direction) = second.place?;
        let others = self.places.get(&place)?.iter().map(|at| &self.seconds[*at]);
        let others = others.filter(|other| (other.from_ns - second.from_ns).abs() > OTHER_PASS_NS);
        let (sum, count) = others.fold((0.0, 0.0), |(sum, count), other| {
            let way = other.place.map_or(0.0, |(_, way)| way);
            (sum + way * (excess(other) - lacking), count + 1.0)
        });
        (count > 0.0).then(|| direction * sum / count)
    }

    pub fn within(&self, from_ns: i64, to_ns: i64) -> &[Second] {
        let row = |time: i64| self.seconds.partition_point(|second| second.from_ns < time);
        &self.seconds[row(from_ns)..row(to_ns)]
    }
}

fn excess(second: &Second) -> f64 {
    second.excess.expect("places hold seconds with a force")
}

fn place((lat0, lon0, lat1, lon1): (f64, f64, f64, f64)) -> Option<(Place, f64)> {
    let (north, east) = (lat1 - lat0, (lon1 - lon0) * lat0.to_radians().cos());
    if north.hypot(east) < 1e-6 {
        return None;
    }
    // Turns from 0 to 1; a line is driven along in the first half and against in the second.
    let turn = (north.atan2(east) / std::f64::consts::TAU).rem_euclid(1.0);
    let sector = ((2.0 * turn).rem_euclid(1.0) * SECTORS) as i64;
    let square = ((lat0 / PLACE_DEG.0).floor() as i64, (lon0 / PLACE_DEG.1).floor() as i64);
    Some(((square.0, square.1, sector), if turn < 0.5 { 1.0 } else { -1.0 }))
}

/// The height kernel against the slope of the motors, where the bus went both ways: road load falls out of the difference.
#[test]
fn heights_follow_the_slope_the_motors_felt() {
    let Some([(_, level), (_, hilly)]) = both("trolleybus_slope") else { return };
    let road = Road::of(level, hilly);
    let felt = road.both_ways(excess);
    let logged = road.both_ways(|second| second.hill_w / second.per_slope_w);
    assert_eq!(felt.len(), logged.len());
    let half = |(along, against): &(f64, f64)| (along - against) / 2.0;
    let pair = |(logged, felt)| Pair { weight: 1.0, modelled: half(logged), measured: half(felt) };
    let fit = Fit::of(&logged.iter().zip(&felt).map(pair).collect::<Vec<_>>());
    let said = grade_error(hilly);
    println!(
        "trolleybus: slope at {} places driven both ways: RMSE {:.4}, correlation {:.3}, bias {:.4}; the kernel says {said:.4}",
        felt.len(),
        fit.rmse,
        fit.r_squared.sqrt(),
        fit.bias
    );
    let rows: Vec<String> = logged
        .iter()
        .zip(&felt)
        .map(|(logged, felt)| format!("{:.5},{:.5}", half(logged), half(felt)))
        .collect();
    evidence::write("trolleybus-slopes.csv", "logged,felt", &rows);
    assert!(felt.len() > 120, "{} places", felt.len());
    assert!(fit.rmse < 0.015 && fit.r_squared > 0.66, "{fit:?}");
    // What the kernel says of its own error holds within a factor.
    assert!((0.7..1.4).contains(&(fit.rmse / said)), "{} where it says {said}", fit.rmse);
}

/// Mean of what the height kernel says of its grade.
pub fn grade_error(hilly: &Mission) -> f64 {
    let trips = &hilly.set.trips;
    let (error, way) = (trips.numbers("grade_error_frac"), trips.numbers("distance_m"));
    let known = || error.iter().zip(&way).filter_map(|(error, way)| Some(((*error)?, (*way)?)));
    known().map(|(error, way)| error * way).sum::<f64>() / known().map(|(_, way)| way).sum::<f64>()
}

/// Known disagreement: the sheet's rolling resistance, from memory, is too low for what the motors say they did.
#[test]
fn known_disagreement_the_sheet_lacks_road_load() {
    let Some([(_, level), (_, hilly)]) = both("trolleybus_road_load") else { return };
    let (lacking, error, places) = Road::of(level, hilly).lacking();
    println!(
        "trolleybus: motors' road load less the sheet's: {lacking:.5} +- {error:.5} of the weight, {places} places"
    );
    close("road load lacking, per weight", lacking, 0.0047, 0.0004);
    assert!(error < 0.0004, "{error}");
    assert!(SHEET + lacking < 0.014, "no tyre and gear of a bus");
}

/// Where the lack sits: a loss in the gears would grow with the force, bends with the angle of the joint.
#[test]
fn what_is_lacking_hardly_grows_with_force_or_bends() {
    let Some([(_, level), (_, hilly)]) = both("trolleybus_lack") else { return };
    let road = Road::of(level, hilly);
    let (lacking, ..) = road.lacking();
    // Names of stops hold commas: counted from the right.
    let log = shared_file(DATA, "B183_2021-07-26_03-53-27_2021-07-26_07-18-47.csv");
    let text = std::fs::read_to_string(log).expect("the mission is there");
    let mut angles = text.lines().map(|line| line.rsplit(',').nth(15).expect("26 columns"));
    assert_eq!(angles.next(), Some("odometry_articulationAngle"));
    let angles: Vec<f64> = angles.map(|cell| cell.parse::<f64>().expect("a number").abs()).collect();
    // Beyond slope and mean lack; size of the force; angle of the joint. Lines count from 1, with the header.
    let rests: Vec<(f64, f64, f64)> = road
        .seconds
        .iter()
        .filter_map(|second| {
            let rest = second.excess? - road.slope(second, lacking)? - lacking;
            Some((rest, second.force?.abs(), angles[second.line as usize - 2]))
        })
        .collect();
    let mean = |of: &dyn Fn(&(f64, f64, f64)) -> f64| rests.iter().map(of).sum::<f64>() / rests.len() as f64;
    let (rest, force) = (mean(&|r| r.0), mean(&|r| r.1));
    let per_force = mean(&|r| (r.0 - rest) * (r.1 - force)) / mean(&|r| (r.1 - force).powi(2));
    let of_angles = |holds: &dyn Fn(f64) -> bool| {
        let picked: Vec<f64> = rests.iter().filter(|r| holds(r.2)).map(|r| r.0).collect();
        (picked.iter().sum::<f64>() / picked.len() as f64, picked.len())
    };
    let (straight, bent) = (of_angles(&|angle| angle < BENT.0), of_angles(&|angle| angle > BENT.1));
    println!(
        "trolleybus: {} seconds; per force {per_force:.4}, that is {:.5} of the weight at the mean force; joint straight {:.5} \
         ({}), bent {:.5} ({})",
        rests.len(),
        per_force * force,
        straight.0,
        straight.1,
        bent.0,
        bent.1
    );
    assert!(bent.1 > 200 && straight.1 > 2_000);
    assert!(per_force.abs() < 0.02 && (bent.0 - straight.0).abs() < 0.001);
}
