//! Nodes of the routes: places at which segments are cut, so that stretches between them can be compared.

use super::track::Track;

/// A place a route passes.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    pub name: String,
    pub lat_deg: f64,
    pub lon_deg: f64,
    pub radius_m: f64,
}

/// Length of a degree of latitude, near enough for a radius. [m]
const DEGREE_M: f64 = 111_132.0;

/// The node each knot lies in, the nearest where radii overlap; empty without nodes.
pub fn nodes_of(track: &Track, nodes: &[Node]) -> Vec<Option<usize>> {
    if nodes.is_empty() {
        return Vec::new();
    }
    // By latitude, so that each position meets those of its own band only.
    let mut order: Vec<usize> = (0..nodes.len()).collect();
    order.sort_by(|a, b| nodes[*a].lat_deg.total_cmp(&nodes[*b].lat_deg).then(a.cmp(b)));
    let reach_deg = nodes.iter().map(|node| node.radius_m).fold(0.0, f64::max) / DEGREE_M;
    let nearest = |(lat, lon): (f64, f64)| {
        let from = order.partition_point(|at| nodes[*at].lat_deg < lat - reach_deg);
        let near = order[from..].iter().take_while(|at| nodes[**at].lat_deg <= lat + reach_deg);
        let apart = |at: usize| {
            let north = (lat - nodes[at].lat_deg) * DEGREE_M;
            let east = (lon - nodes[at].lon_deg) * DEGREE_M * lat.to_radians().cos();
            north.hypot(east)
        };
        let inside = near.map(|at| (apart(*at), *at)).filter(|(apart, at)| *apart <= nodes[*at].radius_m);
        inside.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))).map(|(_, at)| at)
    };
    track.position.iter().map(|place| nearest((*place)?)).collect()
}
