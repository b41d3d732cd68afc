//! Where a toolpath lays its first layer: how much of its path over each square of the bed.
//!
//! A *layer* is what is laid within 0.04 mm above one Z, whenever it is laid. The *first layer* is the lowest; and where that is but a line that
//! primes the nozzle, it and those above it up to the first that is as long as a quarter of the longest of the lowest four. (Common practice,
//! no source: such lines lie lower than the part now and then, and are as long as a bed.)

use crate::HeightMap;

/// So far above a layer's Z, mm, its filament may lie.
const THICK: f64 = 0.04;
/// Rounding of a Z, mm.
const SLACK: f64 = 1e-6;
/// Longest stretch that is put down by its middle, mm.
const STRETCH: f64 = 1.0;
/// Squares along the bed's longer side.
const SQUARES: u32 = 40;
/// The lowest layers count as the first one until one of them is at least this share of the longest of the lowest few.
const PRIMED: f64 = 0.25;
/// So many of the lowest layers are looked at for that.
const LOWEST: usize = 4;

/// The path of a toolpath's first layer, by squares of the bed. Both the [rewriter](crate::follow::Summary::footprint) and
/// [`Gaps`](crate::check::GapReport::footprint) tell it.
///
/// Memory does not grow with the toolpath.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Footprint {
    /// The bed's front left corner, mm.
    corner: [f64; 2],
    /// Squares per mm.
    fineness: f64,
    /// How many along X and along Y; 1 at least, where there is a layer.
    squares: [u32; 2],
    /// The rectangle that the readings bound, mm.
    measured: [f64; 4],
    /// The lowest layers, lowest first.
    lowest: Vec<Low>,
    /// The one that was put down last.
    last: usize,
}

/// One of the lowest layers.
#[derive(Debug, Clone, PartialEq)]
struct Low {
    z: f64,
    /// mm.
    length: f64,
    unmeasured: f64,
    /// mm in each square, row by row.
    squares: Vec<f64>,
}

impl Footprint {
    /// Nothing yet, over this bed.
    pub(crate) fn of(map: &HeightMap) -> Footprint {
        let bed = &map.card().bed;
        let [width, depth] = [bed.x, bed.y].map(|[low, high]| high - low);
        let fineness = f64::from(SQUARES) / width.max(depth);
        let along = |length: f64| (1..SQUARES).find(|n| f64::from(*n) >= length * fineness - 1e-9).unwrap_or(SQUARES);
        let (corner, measured) = ([bed.x[0], bed.y[0]], map.measured());
        let squares = [along(width), along(depth)];
        Footprint { corner, fineness, squares, measured, lowest: Vec::new(), last: 0 }
    }

    /// Whether filament at this Z, mm, could belong to the lowest layers.
    #[inline]
    pub(crate) fn takes(&self, z: f64) -> bool {
        self.lowest.len() < LOWEST || self.lowest.last().is_some_and(|l| z <= l.z + THICK)
    }

    /// Filament is laid from one share of a way to another, at a Z that goes along evenly: lengths in mm.
    #[inline]
    pub(crate) fn lay(&mut self, length: f64, z: [f64; 2], at: impl Fn(f64) -> [f64; 2]) {
        if !self.takes(z[0].min(z[1])) {
            return;
        }
        if length <= STRETCH {
            // As below, for one piece.
            self.put(z[0] + (z[1] - z[0]) * 0.5, at(0.5), length);
            return;
        }
        let pieces = pieces(length, STRETCH);
        let piece = length / f64::from(pieces);
        for i in 0..pieces {
            let t = (f64::from(i) + 0.5) / f64::from(pieces);
            self.put(z[0] + (z[1] - z[0]) * t, at(t), piece);
        }
    }

    /// A short stretch, by its middle.
    #[inline]
    pub(crate) fn put(&mut self, z: f64, [x, y]: [f64; 2], length: f64) {
        let Some(n) = self.layer(z) else { return };
        let along = |v: f64, corner: f64, last: u32| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "what is beyond is on the edge")]
            let n = ((v - corner) * self.fineness) as u32;
            n.min(last)
        };
        let [columns, rows] = self.squares;
        let square = along(y, self.corner[1], rows - 1) * columns + along(x, self.corner[0], columns - 1);
        let [x0, y0, x1, y1] = self.measured;
        let Some(low) = self.lowest.get_mut(n) else { return };
        low.length += length;
        if x < x0 || x > x1 || y < y0 || y > y1 {
            low.unmeasured += length;
        }
        if let Some(slot) = low.squares.get_mut(square as usize) {
            *slot += length;
        }
    }

    /// The layer of a Z, made where it is new; `None` above the lowest.
    #[inline]
    fn layer(&mut self, z: f64) -> Option<usize> {
        if !self.lowest.get(self.last).is_some_and(|l| holds(l.z, z)) {
            self.last = self.other_layer(z)?;
        }
        Some(self.last)
    }

    fn other_layer(&mut self, z: f64) -> Option<usize> {
        if !(z.is_finite() && self.takes(z)) {
            return None;
        }
        let after = match seat(&self.lowest, |l| l.z, z) {
            Ok(found) => return Some(found),
            Err(after) => after,
        };
        if after >= LOWEST {
            return None;
        }
        self.lowest.truncate(LOWEST - 1);
        let squares = vec![0.0; (self.squares[0] * self.squares[1]) as usize];
        self.lowest.insert(after, Low { z, length: 0.0, unmeasured: 0.0, squares });
        Some(after)
    }

    fn first(&self) -> &[Low] {
        let lengths: Vec<f64> = self.lowest.iter().map(|l| l.length).collect();
        self.lowest.get(..first_layers(&lengths)).unwrap_or_default()
    }

    /// The Z of the part's first layer as it was sliced, mm; `None` where no filament is laid at a known place.
    #[must_use]
    pub fn z(&self) -> Option<f64> {
        self.first().last().map(|l| l.z)
    }

    /// The first layer's path, mm.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.first().iter().map(|l| l.length).sum()
    }

    /// So much of it lies outside the rectangle that the readings bound, mm.
    #[must_use]
    pub fn unmeasured(&self) -> f64 {
        self.first().iter().map(|l| l.unmeasured).sum()
    }

    /// The squares of the bed that any of it lies in: X and Y of the middle, and its length there, all mm. What lies off the bed is with the
    /// squares at its edge.
    ///
    /// For [`Known::over`](crate::known::Known::over).
    #[must_use]
    pub fn places(&self) -> Vec<[f64; 3]> {
        let first = self.first();
        let middle = |n: u32, corner: f64| corner + (f64::from(n) + 0.5) / self.fineness;
        let [columns, rows] = self.squares;
        let mut places = Vec::new();
        for row in 0..rows {
            for column in 0..columns {
                let square = (row * columns + column) as usize;
                let length: f64 = first.iter().filter_map(|l| l.squares.get(square)).sum();
                if length > 0.0 {
                    places.push([middle(column, self.corner[0]), middle(row, self.corner[1]), length]);
                }
            }
        }
        places
    }
}

/// How many layers, from the lowest, are the first one: of lengths, lowest first.
pub(crate) fn first_layers(lengths: &[f64]) -> usize {
    let longest = lengths.iter().take(LOWEST).copied().fold(0.0, f64::max);
    let first = lengths.iter().position(|length| *length >= PRIMED * longest);
    first.map_or(0, |n| n + 1)
}

/// The place of a Z's layer among layers, lowest first; or where it would be put in.
#[inline]
pub(crate) fn seat<T>(layers: &[T], base: impl Fn(&T) -> f64, z: f64) -> Result<usize, usize> {
    let after = layers.partition_point(|l| base(l) <= z + SLACK);
    after.checked_sub(1).filter(|below| holds(base(&layers[*below]), z)).ok_or(after)
}

/// Whether a Z lies in the layer at `base`.
#[inline]
pub(crate) fn holds(base: f64, z: f64) -> bool {
    z >= base - SLACK && z <= base + THICK
}

/// Pieces of at most `most` mm that make up a length, one at least.
#[inline]
pub(crate) fn pieces(length: f64, most: f64) -> u32 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..=10^5")]
    let count = crate::number::within((length / most).ceil(), 1.0, 1e5) as u32;
    count
}

#[cfg(test)]
mod tests {
    use crate::check::{GapOptions, Gaps};
    use crate::follow::{Options, Rewriter};
    use crate::{Card, Footprint, HeightMap, SurfaceKind};

    fn map() -> HeightMap {
        let card = "[bed]\nx = [0, 200]\ny = [0, 100]\n[readings]\nmethod = 'drag'\nsheet = 0\n\
                    points = [[20, 20, 0], [180, 20, 0.1], [20, 80, 0.1], [180, 80, 0.05]]\n";
        HeightMap::fit(&Card::parse(card).unwrap(), SurfaceKind::ThinPlate).unwrap()
    }

    /// As the two who read a toolpath tell it.
    fn both(text: &str) -> [Footprint; 2] {
        let map = map();
        let mut gaps = Gaps::new(&map, GapOptions::default());
        gaps.push(text.as_bytes()).unwrap();
        let mut rewriter = Rewriter::new(&map, Options::default()).unwrap();
        let mut out = Vec::new();
        rewriter.push(text.as_bytes(), &mut out).unwrap();
        [gaps.finish().unwrap().footprint, rewriter.finish(&mut out).unwrap().footprint]
    }

    #[test]
    fn the_first_layer_lies_where_filament_is_laid() {
        // 60 mm from the readings' left edge outwards, then up, back down for a second part, and a third layer.
        let text = "M83\nG28\nG1 Z0.2 F600\nG1 X40 Y50\nG1 X10 E2\nG1 Z0.4\nG1 X40 E2\nG1 Z0.2\nG1 X150 Y50\nG1 Y80 E2\n\
                    G1 Z0.6\nG1 X100 E3\nG1 Z0.8\nG1 X150 E3\nG1 Z1\nG1 X100 E3\n";
        for found in both(text) {
            assert_eq!(found.z(), Some(0.2));
            assert!((found.length() - 60.0).abs() < 1e-9 && (found.unmeasured() - 10.0).abs() < 1e-9, "{found:?}");
            let places = found.places();
            // 40 squares along 200 mm: 5 mm each. 30 mm along X and 30 mm along Y.
            assert_eq!(places.len(), 12, "{places:?}");
            assert!(places.iter().all(|[.., length]| (length - 5.0).abs() < 1e-9), "{places:?}");
            let [x, y, _] = places[0];
            assert!((x - 12.5).abs() < 1e-9 && (y - 52.5).abs() < 1e-9, "{places:?}");
        }
    }

    #[test]
    fn a_primed_line_is_not_all_of_it() {
        let text = "M83\nG28\nG1 Z0.15 F600\nG1 X20 Y10\nG1 X60 E2\nG1 Z0.2\nG1 X20 Y50\nG1 X180 E9\nG1 Y70 E1\nG1 Z0.4\nG1 Y50 E1\n\
                    G1 Z0.6\nG1 Y70 E1\nG1 Z0.8\nG1 Y50 E1\nG1 Z0.35\nG1 X0 E9\nG1 X180 E9";
        for found in both(text) {
            assert_eq!(found.z(), Some(0.2));
            assert!((found.length() - 220.0).abs() < 1e-9, "{}", found.length());
        }
        let [nothing, also] = both("G28\nG1 X5 F600\n");
        assert!(nothing == also && nothing.z().is_none() && nothing.places().is_empty());
    }
}
