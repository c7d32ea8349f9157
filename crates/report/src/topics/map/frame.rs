//! From degrees to points of the drawing, and which part of the cells to draw.

use super::super::rows::{Read, Row};

/// Of a map by itself, and of one of two side by side.
pub const WIDTH: f64 = 1120.0;
pub const HALF_WIDTH: f64 = 620.0;
const TALLEST: f64 = 760.0;
pub const MARGIN: f64 = 14.0;
/// Metres in a degree of latitude, of the sphere of 6,371,008.8 m that H3 is drawn on.
const M_PER_DEGREE: f64 = 6_371_008.8 * std::f64::consts::PI / 180.0;
/// A part is drawn by itself where it is this much narrower or lower than the whole.
const PART: f64 = 0.6;
/// Least room around places. [m]
const ROOM_M: f64 = 300.0;

/// Cells around some of them: their box, and half as much again on each side. None where that is no part much smaller than
/// the whole.
pub fn around<'a>(placed: &[Row<'a>], of: &[Row<'_>]) -> Read<Vec<Row<'a>>> {
    let at =
        |row: &Row<'_>| -> Read<Option<(f64, f64)>> { Ok(row.number("lon_deg")?.zip(row.number("lat_deg")?)) };
    let (mut whole, mut part) = (Bounds::default(), Bounds::default());
    for row in placed {
        at(row)?.into_iter().for_each(|point| whole.add(point));
    }
    for row in of {
        at(row)?.into_iter().for_each(|point| part.add(point));
    }
    let part = part.grown();
    let (width, height) = (part.size().0 / whole.size().0, part.size().1 / whole.size().1);
    let mut inside = Vec::new();
    if width < PART || height < PART {
        for row in placed {
            if at(row)?.is_some_and(|point| part.holds(point)) {
                inside.push(*row);
            }
        }
    }
    Ok(inside)
}

/// A box in degrees.
#[derive(Debug, Clone, Copy)]
struct Bounds {
    low: (f64, f64),
    high: (f64, f64),
}

impl Default for Bounds {
    fn default() -> Self {
        Self { low: (f64::MAX, f64::MAX), high: (f64::MIN, f64::MIN) }
    }
}

impl Bounds {
    fn add(&mut self, (x, y): (f64, f64)) {
        self.low = (self.low.0.min(x), self.low.1.min(y));
        self.high = (self.high.0.max(x), self.high.1.max(y));
    }

    fn size(&self) -> (f64, f64) {
        (self.high.0 - self.low.0, self.high.1 - self.low.1)
    }

    /// Half as large again on each side, at the least by what makes a place of a point.
    fn grown(self) -> Self {
        let shrink = f64::midpoint(self.low.1, self.high.1).to_radians().cos().max(0.01);
        let room = |size: f64, least_m: f64| (0.5 * size).max(least_m / M_PER_DEGREE);
        let (width, height) = self.size();
        let (x, y) = (room(width, ROOM_M / shrink), room(height, ROOM_M));
        Self { low: (self.low.0 - x, self.low.1 - y), high: (self.high.0 + x, self.high.1 + y) }
    }

    fn holds(&self, (x, y): (f64, f64)) -> bool {
        (self.low.0..=self.high.0).contains(&x) && (self.low.1..=self.high.1).contains(&y)
    }
}

/// Degrees to points of the drawing, north up; distances hold to the cosine of the middle latitude.
pub struct Frame {
    pub width: f64,
    west_deg: f64,
    north_deg: f64,
    pub points_per_m: f64,
    shrink: f64,
    pub height: f64,
}

impl Frame {
    pub fn around(mut corners: impl Iterator<Item = (f64, f64)>, width: f64) -> Option<Self> {
        let first = corners.next()?;
        let (mut low, mut high) = (first, first);
        for (x, y) in corners {
            low = (low.0.min(x), low.1.min(y));
            high = (high.0.max(x), high.1.max(y));
        }
        // Across the antimeridian a flat map says nothing.
        if high.0 - low.0 > 180.0 {
            return None;
        }
        let shrink = f64::midpoint(low.1, high.1).to_radians().cos();
        let wide_m = ((high.0 - low.0) * shrink * M_PER_DEGREE).max(1.0);
        let tall_m = ((high.1 - low.1) * M_PER_DEGREE).max(1.0);
        let points_per_m = ((width - 2.0 * MARGIN) / wide_m).min((TALLEST - 2.0 * MARGIN) / tall_m);
        Some(Self {
            width,
            west_deg: low.0,
            north_deg: high.1,
            points_per_m,
            shrink,
            height: tall_m * points_per_m + 2.0 * MARGIN,
        })
    }

    /// True of a point within the drawing.
    pub fn holds(&self, (x, y): (f64, f64)) -> bool {
        (0.0..=self.width).contains(&x) && (0.0..=self.height).contains(&y)
    }

    pub fn at(&self, (lon, lat): (f64, f64)) -> (f64, f64) {
        let m = self.points_per_m * M_PER_DEGREE;
        (MARGIN + (lon - self.west_deg) * self.shrink * m, MARGIN + (self.north_deg - lat) * m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_has_room_around_its_places() {
        let mut part = Bounds::default();
        [(-38.90, 38.60), (-38.88, 38.61)].into_iter().for_each(|at| part.add(at));
        let grown = part.grown();
        assert!((grown.low.0 + 38.91).abs() < 1e-9 && (grown.high.1 - 38.615).abs() < 1e-9, "{grown:?}");
        assert!(grown.holds((-38.905, 38.597)) && !grown.holds((-38.92, 38.60)));
        // A single place has a neighbourhood.
        let mut point = Bounds::default();
        point.add((-38.9, 38.6));
        assert!(point.grown().size().1 * M_PER_DEGREE > 500.0);
    }
}
