//! A motor's loss map out of a CSV file: torque, speed, and loss or efficiency, one grid point a line.

use std::path::Path;

use backwatt_physics::kernels::loss_map::LossMap;
use backwatt_schema::Problem;
use backwatt_schema::unit::{Dimension, Unit};

/// Maps are small; a log named by mistake is not.
const LARGEST_BYTES: u64 = 4 << 20;

/// Reads a map and brings it to the wheels: force = torque · i/r, road speed = rotation · r/i. `ratio_per_m` is i/r.
///
/// The header names the columns with their units, `torque [N.m],speed [rpm],loss [W]`; `efficiency` in place of
/// `loss` is a share. Every torque appears with every speed. With negative torques the map covers braking, without
/// them the loss of driving serves both ways.
pub fn read(path: &Path, shown: &str, ratio_per_m: f64) -> Result<LossMap, Box<Problem>> {
    let unreadable = |why: String| {
        let hint = "the path is taken from the pilot file's folder";
        Box::new(Problem::error("pilot-loss-map-unreadable", why).in_file(shown).hint(hint))
    };
    let text = match std::fs::metadata(path) {
        Ok(file) if file.is_file() && file.len() <= LARGEST_BYTES => {
            std::fs::read_to_string(path).map_err(|error| unreadable(error.to_string()))?
        }
        Ok(_) => return Err(unreadable("no regular file, or larger than 4 MiB".to_owned())),
        Err(error) => return Err(unreadable(error.to_string())),
    };
    parse(&text, ratio_per_m).map_err(|problem| Box::new(problem.in_file(shown)))
}

fn parse(text: &str, ratio_per_m: f64) -> Result<LossMap, Box<Problem>> {
    let mut lines =
        text.trim_start_matches('\u{feff}').lines().zip(1u64..).filter(|(l, _)| !l.trim().is_empty());
    let Some((header, number)) = lines.next() else {
        return Err(Box::new(fault("the loss map is empty", 1).hint(HEADER)));
    };
    let columns = Columns::of(header).map_err(|problem| Box::new(problem.on_line(number)))?;
    let points = lines.map(|(line, number)| columns.point(line, number)).collect::<Result<Vec<_>, _>>()?;
    grid(&points, ratio_per_m)
}

const HEADER: &str =
    "the first line reads torque [N.m],speed [rpm],loss [W]; or efficiency in place of loss [W]";

fn fault(message: impl Into<String>, line: u64) -> Problem {
    Problem::error("pilot-loss-map", message).on_line(line)
}

/// Where each quantity stands, and its unit.
struct Columns {
    torque: (usize, Unit),
    speed: (usize, Unit),
    loss: (usize, Unit),
    is_efficiency: bool,
    count: usize,
}

struct Point {
    torque_n_m: f64,
    speed_rad_s: f64,
    loss_w: f64,
    line: u64,
}

impl Columns {
    fn of(header: &str) -> Result<Self, Box<Problem>> {
        let cells: Vec<&str> = header.split(',').map(str::trim).collect();
        let named =
            |name: &str| cells.iter().position(|cell| cell.split('[').next().unwrap_or("").trim() == name);
        let column = |name: &str, dimension: Dimension| -> Result<(usize, Unit), Box<Problem>> {
            let wrong = |message: String| Box::new(Problem::error("pilot-loss-map", message).hint(HEADER));
            let at = named(name).ok_or_else(|| wrong(format!("the loss map has no column \"{name}\"")))?;
            let unit = cells[at].split_once('[').and_then(|(_, rest)| Unit::parse(rest.trim_end_matches(']')));
            match unit {
                Some(unit) if unit.dimension == dimension => Ok((at, unit)),
                None if dimension == Dimension::Ratio && !cells[at].contains('[') => Ok((at, ONE)),
                _ => Err(wrong(format!("column \"{}\" wants the unit of a {dimension}", cells[at]))),
            }
        };
        let is_efficiency = named("efficiency").is_some();
        Ok(Self {
            torque: column("torque", Dimension::Torque)?,
            speed: column("speed", Dimension::Rotation)?,
            loss: if is_efficiency {
                column("efficiency", Dimension::Ratio)?
            } else {
                column("loss", Dimension::Power)?
            },
            is_efficiency,
            count: cells.len(),
        })
    }

    fn point(&self, line: &str, number: u64) -> Result<Point, Box<Problem>> {
        let cells: Vec<&str> = line.split(',').map(str::trim).collect();
        if cells.len() != self.count {
            let message = format!("{} cells where the header has {}", cells.len(), self.count);
            return Err(Box::new(fault(message, number).hint("one grid point a line, cells between commas")));
        }
        let value = |(at, unit): (usize, Unit), name: &'static str| {
            let number_at = cells[at].parse::<f64>().ok().map(|value| unit.to_si(value));
            // No drive has a billion of anything here; what would overflow later is refused as well.
            number_at.filter(|value| value.abs() <= 1e9).ok_or_else(|| {
                let message = format!("\"{}\" is no number, or too large a one", cells[at]);
                Box::new(fault(message, number).named(name).hint("every grid point needs all three values"))
            })
        };
        let (torque_n_m, speed_rad_s) = (value(self.torque, "torque")?, value(self.speed, "speed")?);
        if speed_rad_s < 0.0 {
            return Err(Box::new(
                fault("a negative speed", number).named("speed").hint("speeds are 0 or more"),
            ));
        }
        let name = if self.is_efficiency { "efficiency" } else { "loss" };
        let loss = value(self.loss, name)?;
        let loss_w = if self.is_efficiency {
            lost_w(torque_n_m * speed_rad_s, loss)
                .map_err(|why| Box::new(fault(why, number).named(name).hint(EFFICIENCY)))?
        } else if loss >= 0.0 {
            loss
        } else {
            return Err(Box::new(fault("a loss below 0", number).named(name).hint("losses are 0 or more")));
        };
        Ok(Point { torque_n_m, speed_rad_s, loss_w, line: number })
    }
}

const ONE: Unit = Unit { dimension: Dimension::Ratio, numerator: 1.0, denominator: 1.0, offset: 0.0 };
const EFFICIENCY: &str = "leave points without torque or speed out (the grid's edge is taken), or give losses";

/// Loss of a shaft power at an efficiency: what goes in less what comes out, both ways.
fn lost_w(shaft_w: f64, efficiency: f64) -> Result<f64, &'static str> {
    if shaft_w == 0.0 {
        return Err("an efficiency says nothing where no power passes");
    }
    if !(efficiency > 0.0 && efficiency <= 1.0) {
        return Err("an efficiency lies above 0 and at most at 1");
    }
    Ok(if shaft_w > 0.0 { shaft_w / efficiency - shaft_w } else { -shaft_w * (1.0 - efficiency) })
}

fn grid(points: &[Point], ratio_per_m: f64) -> Result<LossMap, Box<Problem>> {
    let axis = |of: fn(&Point) -> f64| {
        let mut values: Vec<f64> = points.iter().map(of).collect();
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    };
    let (torques, speeds) = (axis(|p| p.torque_n_m), axis(|p| p.speed_rad_s));
    let missing = |message: String| {
        Box::new(Problem::error("pilot-loss-map", message).hint("every torque appears once with every speed"))
    };
    // A grid is as large as its points are many: anything else is refused before memory is taken for it.
    if torques.len().checked_mul(speeds.len()) != Some(points.len()) {
        let (m, n, given) = (torques.len(), speeds.len(), points.len());
        return Err(missing(format!("{m} torques and {n} speeds, but {given} grid points")));
    }
    let mut losses: Vec<Option<f64>> = vec![None; points.len()];
    for point in points {
        let row = torques.partition_point(|x| *x < point.torque_n_m);
        let column = speeds.partition_point(|x| *x < point.speed_rad_s);
        if losses[row * speeds.len() + column].replace(point.loss_w).is_some() {
            return Err(Box::new(
                missing("a grid point stands twice in the map".to_owned()).on_line(point.line),
            ));
        }
    }
    let forces = torques.iter().map(|torque| torque * ratio_per_m).collect();
    let speeds = speeds.iter().map(|speed| speed / ratio_per_m).collect();
    let losses = losses.into_iter().flatten().collect();
    LossMap::new(forces, speeds, losses).map_err(|error| missing(error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str, line: Option<u64>, name: Option<&str>, says: &str) {
        let problem = parse(text, 10.0).unwrap_err();
        assert_eq!((problem.place.line, problem.place.name.as_deref()), (line, name), "{problem:?}");
        assert!(problem.message.contains(says) && !problem.hint.is_empty(), "{problem:?}");
    }

    #[test]
    fn losses_come_to_the_wheels() {
        let text = "torque [N.m],speed [rpm],loss [kW]\n0,0,0.1\n0,3000,0.4\n100,0,0.2\n100,3000,1.2\n";
        // Gears of 4 on a wheel of 0.4 m: 10 per metre.
        let map = parse(text, 10.0).unwrap();
        let road_speed = 3000.0 / 60.0 * std::f64::consts::TAU / 10.0;
        assert!((map.loss(1000.0, road_speed) - 1200.0).abs() < 1e-9);
        assert!((map.loss(500.0, road_speed / 2.0) - 475.0).abs() < 1e-9);
        assert!(map.beyond(1000.1, 1.0) && !map.beyond(1000.0, road_speed - 1e-9));
    }

    #[test]
    fn efficiencies_become_losses_both_ways() {
        let text = "speed [rad/s],efficiency,torque [N.m]\n10,0.8,-100\n20,0.8,-100\n10,0.8,100\n20,0.5,100\n";
        let map = parse(text, 1.0).unwrap();
        assert!((map.loss(-100.0, 10.0) - 200.0).abs() < 1e-9);
        assert!((map.loss(100.0, 10.0) - 250.0).abs() < 1e-9);
        assert!((map.loss(100.0, 20.0) - 2000.0).abs() < 1e-9);
    }

    #[test]
    fn faults_name_line_and_column() {
        let head = "torque [N.m],speed [rad/s],loss [W]\n";
        refused("", Some(1), None, "empty");
        refused("torque [N.m],speed [rad/s]\n", Some(1), None, "no column \"loss\"");
        refused("torque [kW],speed [rad/s],loss [W]\n", Some(1), None, "unit");
        refused(&format!("{head}0,0\n"), Some(2), None, "2 cells");
        refused(&format!("{head}0,0,1\n\n0,x,1\n"), Some(4), Some("speed"), "no number");
        refused(&format!("{head}0,0,NaN\n"), Some(2), Some("loss"), "no number");
        refused(&format!("{head}0,0,-1\n"), Some(2), Some("loss"), "below 0");
        refused(&format!("{head}0,-1,1\n"), Some(2), Some("speed"), "negative");
        refused(&format!("{head}0,0,1\n0,1,1\n1,0,1\n"), None, None, "3 grid points");
        refused(&format!("{head}0,0,1\n0,1,1\n1,0,1\n1,0,1\n"), Some(5), None, "twice");
        refused(&format!("{head}0,0,1\n"), None, None, "two of each");
        let share = "torque [N.m],speed [rad/s],efficiency\n";
        refused(&format!("{share}0,1,0.9\n"), Some(2), Some("efficiency"), "no power");
        refused(&format!("{share}1,1,1.1\n"), Some(2), Some("efficiency"), "at most at 1");
    }
}
