//! The six routes: their streets, customers, traffic lights and traffic. All of it invented.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::road::{Corner, Road};

const MPH_M_S: f64 = 0.447_04;
/// The depot's gate, where every round begins and ends.
const DEPOT: (f64, f64) = (0.0, 260.0);

/// A route as a driver knows it.
pub struct Route {
    pub name: &'static str,
    pub road: Road,
    /// How often the round is driven in a day.
    pub rounds: usize,
    /// Customers along the round, from its start.
    pub customers_m: Vec<f64>,
    pub lights_m: Vec<f64>,
    /// How often other traffic slows the truck, per kilometre.
    pub slowdowns_per_km: f64,
    /// A stretch without sky.
    pub tunnel_m: Option<(f64, f64)>,
}

/// What is written down by hand about one route.
struct Plan {
    name: &'static str,
    rounds: usize,
    customers: usize,
    lights: usize,
    slowdowns_per_km: f64,
    tunnel_share: Option<(f64, f64)>,
    /// East and north in metres, then the limit in mph of the road that leaves the point.
    line: Vec<(f64, f64, f64)>,
}

/// How many there are.
pub const COUNT: usize = 6;

/// All routes, in the order in which the truth files list them.
pub fn all() -> Vec<Route> {
    let plans: [Plan; COUNT] = [harbour(), old_town(), ridge(), suburb(), estate(), coast()];
    plans.into_iter().enumerate().map(|(index, plan)| build(index as u64, &plan)).collect()
}

fn build(index: u64, plan: &Plan) -> Route {
    let corners: Vec<Corner> = plan
        .line
        .iter()
        .map(|&(x_m, y_m, limit_mph)| Corner { x_m, y_m, limit_m_s: limit_mph * MPH_M_S })
        .collect();
    let road = Road::new(&corners);
    let length_m = road.length_m();
    // The town itself is the same for every seed: only days differ.
    let mut rng = ChaCha8Rng::seed_from_u64(0x7061_7665 + index);
    let tunnel_m = plan.tunnel_share.map(|(from, to)| (from * length_m, to * length_m));
    let is_open =
        |at_m: &f64| tunnel_m.is_none_or(|(from_m, to_m)| *at_m < from_m - 20.0 || *at_m > to_m + 20.0);
    let mut lights_m = spread(&mut rng, plan.lights, length_m, 0.25);
    lights_m.retain(is_open);
    let mut customers_m = spread(&mut rng, plan.customers, length_m, 0.35);
    for customer_m in &mut customers_m {
        // Nobody delivers on a crossing.
        if lights_m.iter().any(|light_m| (light_m - *customer_m).abs() < 70.0) {
            *customer_m += 140.0;
        }
    }
    customers_m.retain(|customer_m| *customer_m < length_m - 150.0 && is_open(customer_m));
    Route {
        name: plan.name,
        rounds: plan.rounds,
        customers_m,
        lights_m,
        slowdowns_per_km: plan.slowdowns_per_km,
        tunnel_m,
        road,
    }
}

/// `count` places spread over the length, each moved by up to `jitter` of the spacing.
fn spread(rng: &mut ChaCha8Rng, count: usize, length_m: f64, jitter: f64) -> Vec<f64> {
    let spacing_m = length_m / (count as f64 + 1.0);
    (1..=count).map(|place| spacing_m * (place as f64 + rng.random_range(-jitter..jitter))).collect()
}

fn harbour() -> Plan {
    let mut line = vec![(DEPOT.0, DEPOT.1, 20.0)];
    line.extend([(600.0, 240.0, 30.0), (1300.0, 180.0, 30.0), (2100.0, 200.0, 25.0), (2600.0, 300.0, 25.0)]);
    line.extend([(2600.0, 520.0, 30.0), (1900.0, 560.0, 30.0), (1000.0, 520.0, 30.0), (200.0, 470.0, 25.0)]);
    line.extend([(-700.0, 500.0, 30.0), (-1500.0, 460.0, 25.0), (-1900.0, 340.0, 25.0)]);
    line.extend([(-1850.0, 150.0, 30.0), (-1000.0, 120.0, 30.0), (-400.0, 150.0, 25.0)]);
    line.push((DEPOT.0, DEPOT.1, 20.0));
    Plan {
        name: "harbour",
        rounds: 4,
        customers: 8,
        lights: 8,
        slowdowns_per_km: 0.5,
        tunnel_share: None,
        line,
    }
}

fn old_town() -> Plan {
    let mut line = vec![(DEPOT.0, DEPOT.1, 20.0)];
    line.extend([(150.0, 600.0, 25.0), (450.0, 900.0, 25.0), (700.0, 1300.0, 20.0), (520.0, 1650.0, 20.0)]);
    line.extend([(180.0, 1480.0, 20.0), (-120.0, 1720.0, 25.0), (-500.0, 1650.0, 25.0)]);
    line.extend([(-720.0, 1250.0, 25.0), (-480.0, 900.0, 20.0), (-150.0, 1050.0, 20.0), (20.0, 1350.0, 20.0)]);
    line.extend([(-200.0, 1250.0, 20.0), (-380.0, 720.0, 25.0), (-120.0, 450.0, 20.0)]);
    line.push((DEPOT.0, DEPOT.1, 20.0));
    Plan {
        name: "old-town",
        rounds: 6,
        customers: 6,
        lights: 5,
        slowdowns_per_km: 0.7,
        tunnel_share: Some((0.46, 0.53)),
        line,
    }
}

fn ridge() -> Plan {
    let mut line = vec![(DEPOT.0, DEPOT.1, 25.0)];
    line.extend([(700.0, 700.0, 30.0), (1400.0, 1300.0, 30.0), (1800.0, 2100.0, 35.0)]);
    line.extend([(1500.0, 2800.0, 35.0), (2100.0, 3400.0, 35.0), (3000.0, 4000.0, 40.0)]);
    line.extend([(3800.0, 4300.0, 40.0), (2600.0, 4250.0, 40.0), (1400.0, 4150.0, 40.0)]);
    line.extend([(200.0, 4250.0, 40.0), (-1000.0, 4150.0, 30.0), (-2200.0, 4250.0, 40.0)]);
    line.extend([(-3200.0, 4100.0, 35.0), (-3000.0, 3300.0, 35.0), (-2300.0, 2600.0, 35.0)]);
    line.extend([(-1700.0, 1900.0, 30.0), (-1200.0, 1200.0, 30.0), (-700.0, 600.0, 25.0)]);
    line.push((DEPOT.0, DEPOT.1, 25.0));
    Plan { name: "ridge", rounds: 2, customers: 16, lights: 6, slowdowns_per_km: 0.3, tunnel_share: None, line }
}

fn suburb() -> Plan {
    let mut line = vec![(DEPOT.0, DEPOT.1, 30.0)];
    line.extend([(1200.0, 700.0, 35.0), (2400.0, 1200.0, 35.0), (3200.0, 1500.0, 25.0)]);
    for street in 0..2 {
        let y_m = 1500.0 + 500.0 * f64::from(street);
        line.extend([(5200.0, y_m, 20.0), (5200.0, y_m + 250.0, 25.0)]);
        line.extend([(3200.0, y_m + 250.0, 20.0), (3200.0, y_m + 500.0, 25.0)]);
    }
    line.extend([(2500.0, 1900.0, 35.0), (1250.0, 950.0, 30.0)]);
    line.push((DEPOT.0, DEPOT.1, 30.0));
    Plan {
        name: "suburb",
        rounds: 3,
        customers: 14,
        lights: 9,
        slowdowns_per_km: 0.35,
        tunnel_share: None,
        line,
    }
}

fn estate() -> Plan {
    let mut line = vec![(DEPOT.0, DEPOT.1, 30.0)];
    line.extend([(-1200.0, 600.0, 35.0), (-2400.0, 1000.0, 35.0), (-3200.0, 1300.0, 30.0)]);
    line.extend([(-5600.0, 1300.0, 25.0), (-5600.0, 1700.0, 30.0), (-3400.0, 1700.0, 25.0)]);
    line.extend([(-3400.0, 2100.0, 30.0), (-5600.0, 2100.0, 25.0), (-5600.0, 2400.0, 30.0)]);
    line.extend([(-3000.0, 2400.0, 30.0), (-2400.0, 1500.0, 35.0), (-1200.0, 850.0, 30.0)]);
    line.push((DEPOT.0, DEPOT.1, 30.0));
    Plan {
        name: "estate",
        rounds: 3,
        customers: 10,
        lights: 7,
        slowdowns_per_km: 0.3,
        tunnel_share: None,
        line,
    }
}

fn coast() -> Plan {
    let out = [
        (1500.0, 420.0, 35.0),
        (3000.0, 700.0, 45.0),
        (4500.0, 950.0, 45.0),
        (6000.0, 700.0, 30.0),
        (7500.0, 500.0, 50.0),
        (9000.0, 850.0, 50.0),
        (10_500.0, 1000.0, 45.0),
        (12_000.0, 700.0, 30.0),
        (13_500.0, 450.0, 50.0),
        (15_000.0, 700.0, 45.0),
        (16_500.0, 1000.0, 45.0),
        (18_000.0, 800.0, 50.0),
        (19_500.0, 500.0, 30.0),
        (21_000.0, 700.0, 45.0),
        (22_500.0, 950.0, 45.0),
        (24_000.0, 800.0, 50.0),
        (25_500.0, 600.0, 45.0),
        (27_000.0, 800.0, 45.0),
        (28_500.0, 1000.0, 40.0),
        (30_000.0, 700.0, 20.0),
    ];
    let mut line = vec![(DEPOT.0, DEPOT.1, 30.0)];
    line.extend(out);
    line.extend([(30_040.0, 706.0, 20.0), (30_020.0, 730.0, 20.0)]);
    // Back on the other lane; the limit belongs to the road that leaves the point.
    let limits = out.iter().rev().skip(1).map(|point| point.2).chain([30.0]);
    line.extend(out.iter().rev().zip(limits).map(|(point, limit)| (point.0, point.1 + 6.0, limit)));
    line.push((DEPOT.0, DEPOT.1, 30.0));
    Plan {
        name: "coast",
        rounds: 1,
        customers: 26,
        lights: 8,
        slowdowns_per_km: 0.15,
        tunnel_share: None,
        line,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_on_any_route_is_15_to_45_miles() {
        for route in all() {
            let miles = route.road.length_m() * route.rounds as f64 / 1609.344;
            assert!((15.0..45.0).contains(&miles), "{}: {miles} miles", route.name);
            assert!(route.customers_m.len() >= 4 && route.customers_m.is_sorted());
        }
    }
}
