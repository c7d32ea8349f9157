//! The nearest of many points, with weights of the axes that differ from question to question.

/// Axes of a point.
pub const AXES: usize = 6;
/// Neighbours looked for.
pub const NEIGHBOURS: usize = 16;
/// Points a leaf holds at most.
const LEAF: usize = 12;
/// How much a spread on each axis matters when the points are halved. It decides the time a search takes, not its answer.
const HALVED: Point = [1.4, 1.4, 0.7, 0.7, 1.0, 1.0];

pub type Point = [f32; AXES];

/// A k-d tree: points halved at the median of their widest axis until few are left.
///
/// Source   Bentley (1975), Multidimensional binary search trees, doi:10.1145/361002.361007
#[derive(Debug, Clone, PartialEq)]
pub struct Tree {
    /// In the order of the leaves.
    points: Vec<Point>,
    /// The number each point came with.
    numbers: Vec<u32>,
    nodes: Vec<Node>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Node {
    Leaf {
        from: u32,
        to: u32,
    },
    /// Points below `at` on `axis` are in the node after this one, the others in `above`.
    Split {
        axis: u8,
        at: f32,
        above: u32,
    },
}

/// The nearest points found so far, nearest first: number and squared distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    pub found: [(f32, u32); NEIGHBOURS],
    pub len: usize,
}

impl Nearest {
    fn worst(&self) -> f32 {
        if self.len < NEIGHBOURS { f32::INFINITY } else { self.found[NEIGHBOURS - 1].0 }
    }

    /// Of two equally near the lower number wins, so that the order of the search does not show.
    fn offer(&mut self, distance: f32, number: u32) {
        let new = (distance, number);
        let before = |a: (f32, u32), b: (f32, u32)| a.0 < b.0 || (a.0 == b.0 && a.1 < b.1);
        if self.len == NEIGHBOURS && !before(new, self.found[NEIGHBOURS - 1]) {
            return;
        }
        let mut at = self.len.min(NEIGHBOURS - 1);
        while at > 0 && before(new, self.found[at - 1]) {
            self.found[at] = self.found[at - 1];
            at -= 1;
        }
        self.found[at] = new;
        self.len = (self.len + 1).min(NEIGHBOURS);
    }
}

impl Tree {
    pub fn new(points: &[(Point, u32)]) -> Self {
        let mut order = points.to_vec();
        let mut nodes = Vec::new();
        grow(&mut order, 0, &mut nodes);
        let (points, numbers) = order.into_iter().unzip();
        Self { points, numbers, nodes }
    }

    /// The nearest points under squared distances times `weights`.
    pub fn nearest(&self, to: &Point, weights: &Point) -> Nearest {
        let mut nearest = Nearest { found: [(f32::INFINITY, u32::MAX); NEIGHBOURS], len: 0 };
        if !self.nodes.is_empty() {
            self.search(0, to, weights, &mut [0.0; AXES], 0.0, &mut nearest);
        }
        nearest
    }

    /// `beyond` holds, axis by axis, how far the node's box is from the point, weighted and squared; `far` is their sum.
    fn search(
        &self,
        node: usize,
        to: &Point,
        weights: &Point,
        beyond: &mut Point,
        far: f32,
        out: &mut Nearest,
    ) {
        match self.nodes[node] {
            Node::Leaf { from, to: end } => {
                for at in from as usize..end as usize {
                    let mut distance = 0.0;
                    for axis in 0..AXES {
                        let apart = self.points[at][axis] - to[axis];
                        distance += apart * apart * weights[axis];
                    }
                    out.offer(distance, self.numbers[at]);
                }
            }
            Node::Split { axis, at, above } => {
                let axis = usize::from(axis);
                let apart = to[axis] - at;
                let (near, other) =
                    if apart < 0.0 { (node + 1, above as usize) } else { (above as usize, node + 1) };
                self.search(near, to, weights, beyond, far, out);
                let before = beyond[axis];
                let now = apart * apart * weights[axis];
                let far = far - before + now;
                // Equal distances may still win by their number.
                if far <= out.worst() {
                    beyond[axis] = now;
                    self.search(other, to, weights, beyond, far, out);
                    beyond[axis] = before;
                }
            }
        }
    }
}

fn grow(points: &mut [(Point, u32)], offset: u32, nodes: &mut Vec<Node>) {
    let leaf = Node::Leaf { from: offset, to: offset + points.len() as u32 };
    let spread = |axis: usize| {
        let values = points.iter().map(|(point, _)| point[axis]);
        let (low, high) =
            values.fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        (high - low) * HALVED[axis]
    };
    let widest = (0..AXES).max_by(|a, b| spread(*a).total_cmp(&spread(*b)).then(b.cmp(a))).unwrap_or(0);
    if points.len() <= LEAF || spread(widest) <= 0.0 {
        nodes.push(leaf);
        return;
    }
    let middle = points.len() / 2;
    points.select_nth_unstable_by(middle, |a, b| a.0[widest].total_cmp(&b.0[widest]).then(a.1.cmp(&b.1)));
    let at = points[middle].0[widest];
    let node = nodes.len();
    nodes.push(leaf);
    let (below, from) = points.split_at_mut(middle);
    grow(below, offset, nodes);
    let above = nodes.len() as u32;
    grow(from, offset + middle as u32, nodes);
    nodes[node] = Node::Split { axis: widest as u8, at, above };
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Points of a fixed recipe, many of them equal on some axis.
    fn points() -> Vec<(Point, u32)> {
        let mut state = 1_u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 33) % 50) as f32 / 5.0
        };
        (0..3000).map(|number| (std::array::from_fn(|_| next()), number)).collect()
    }

    #[test]
    fn the_tree_finds_what_a_walk_over_all_finds() {
        let points = points();
        let tree = Tree::new(&points);
        for (query, weights) in [
            ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [1.0; AXES]),
            ([9.0, 0.1, 0.0, 4.4, 5.0, 0.5], [2.0, 0.1, 0.0, 1.0, 7.0, 3.0]),
            ([-3.0, 12.0, 5.0, 5.0, 5.0, 5.0], [1.0, 1.0, 0.0, 0.0, 0.0, 0.0]),
        ] {
            let found = tree.nearest(&query, &weights);
            let mut all: Vec<(f32, u32)> = points
                .iter()
                .map(|(p, n)| {
                    let mut sum = 0.0;
                    for axis in 0..AXES {
                        sum += (p[axis] - query[axis]) * (p[axis] - query[axis]) * weights[axis];
                    }
                    (sum, *n)
                })
                .collect();
            all.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            assert_eq!(found.found.to_vec(), all[..NEIGHBOURS]);
        }
    }

    #[test]
    fn few_points_are_all_found_and_none_is_no_panic() {
        assert_eq!(Tree::new(&[]).nearest(&[0.0; AXES], &[1.0; AXES]).len, 0);
        let few = Tree::new(&points()[..3]).nearest(&[0.0; AXES], &[1.0; AXES]);
        assert_eq!(few.len, 3);
    }
}
