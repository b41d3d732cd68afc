//! The sheet: how large the bed is drawn, and where.

use super::edge::Edge;
use super::style;
use super::svg::{Svg, coordinate};
use crate::number;

/// The sheet's width in its own units; everything is laid out on it, and the picture is scaled as a whole.
pub(super) const WIDTH: f64 = 1000.0;

/// Room beside the bed: left for ticks, right for air.
const LEFT: f64 = 84.0;
const RIGHT: f64 = 46.0;
/// Room above the bed: heading and the word "back".
const TOP: f64 = 112.0;
/// The bed is drawn no taller than this, so that the sheet still fits a page of A4.
const TALLEST: f64 = 900.0;

/// Where the bed's millimetres fall on the sheet.
#[derive(Debug, Clone, Copy)]
pub(super) struct Page {
    /// Sheet units a millimetre.
    pub(super) scale: f64,
    left: f64,
    top: f64,
    x0: f64,
    y1: f64,
    /// Lowest and highest X and Y drawn, mm.
    pub(super) x: [f64; 2],
    /// See `x`.
    pub(super) y: [f64; 2],
}

impl Page {
    /// Fits the bed, and what stands beside it (a screw under the plate's rim, say), onto the sheet.
    pub(super) fn new(edge: &Edge, others: impl Iterator<Item = [f64; 2]>) -> Page {
        let (x, y) = extent(edge, others);
        let (width, depth) = (x[1] - x[0], y[1] - y[0]);
        let room = WIDTH - LEFT - RIGHT;
        let scale = (room / width).min(TALLEST / depth);
        let left = LEFT + 0.5 * (room - scale * width);
        Page { scale, left, top: TOP, x0: x[0], y1: y[1], x, y }
    }

    /// Draws the bed at a round scale (1 : `k`) in a box of the sheet, as large as it fits, in the middle from left to right.
    ///
    /// `unit` is sheet units a millimetre of paper. Returns the page and `k`; `None` for a bed that no round scale fits.
    pub(super) fn to_scale(
        edge: &Edge,
        others: impl Iterator<Item = [f64; 2]>,
        corner: [f64; 2],
        room: [f64; 2],
        unit: f64,
    ) -> Option<(Page, f64)> {
        let (x, y) = extent(edge, others);
        let (width, depth) = (x[1] - x[0], y[1] - y[0]);
        let k = SCALES.into_iter().find(|k| width * unit / k <= room[0] && depth * unit / k <= room[1])?;
        let scale = unit / k;
        let left = corner[0] + 0.5 * (room[0] - scale * width);
        Some((Page { scale, left, top: corner[1], x0: x[0], y1: y[1], x, y }, k))
    }

    /// A place on the bed, mm, as a place on the sheet.
    pub(super) fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [self.left + (x - self.x0) * self.scale, self.top + (self.y1 - y) * self.scale]
    }

    /// A place on the sheet as a place on the bed, mm.
    pub(super) fn back(&self, [u, v]: [f64; 2]) -> [f64; 2] {
        [(u - self.left) / self.scale + self.x0, self.y1 - (v - self.top) / self.scale]
    }

    /// A line on the bed as a line on the sheet.
    pub(super) fn line(&self, line: &[[f64; 2]]) -> Vec<[f64; 2]> {
        line.iter().map(|p| self.at(*p)).collect()
    }

    /// Upper left and lower right corner of what is drawn of the bed and beside it.
    pub(super) fn frame(&self) -> [[f64; 2]; 2] {
        [self.at([self.x[0], self.y[1]]), self.at([self.x[1], self.y[0]])]
    }
}

/// A document as wide as the sheet.
pub(super) struct Document {
    /// Names its parts, so that several documents can stand on one page.
    pub(super) id: String,
    pub(super) title: &'static str,
    /// For who does not see it.
    pub(super) description: String,
    /// Where the sheet ends.
    pub(super) bottom: f64,
    /// The picture's, pixels: see [`PlanOptions`](super::PlanOptions).
    pub(super) width: f64,
}

impl Document {
    /// Begins the document: its size, its words, an empty sheet.
    pub(super) fn open(&self, svg: &mut Svg) {
        let Document { id, title, description, bottom, width } = self;
        let width = if width.is_finite() { number::within(*width, 200.0, 10_000.0) } else { WIDTH };
        svg.tag("svg")
            .attr("xmlns", "http://www.w3.org/2000/svg")
            .attr("viewBox", &format!("0 0 {} {}", coordinate(WIDTH), coordinate(*bottom)))
            .num("width", width)
            .num("height", width * bottom / WIDTH)
            .attr("role", "img")
            .attr("aria-labelledby", &format!("{id}-title {id}-desc"))
            .attr("font-family", style::FAMILY)
            .attr("fill", style::INK)
            .open();
        svg.tag("title").attr("id", &format!("{id}-title")).text(title);
        svg.tag("desc").attr("id", &format!("{id}-desc")).text(description);
        svg.tag("rect").nums(&[("width", WIDTH), ("height", *bottom)]).attr("fill", style::PAPER).end();
    }
}

/// Scales that a ruler can be used with.
const SCALES: [f64; 24] = [
    1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 75.0, 100.0, 200.0,
    500.0, 1000.0, 2000.0, 5000.0,
];

/// Lowest and highest X and Y of the bed and of what stands beside it, mm.
fn extent(edge: &Edge, others: impl Iterator<Item = [f64; 2]>) -> ([f64; 2], [f64; 2]) {
    let (mut x, mut y) = (edge.x, edge.y);
    let air = 0.03 * edge.width().max(edge.depth());
    for [u, v] in others {
        // What is far off cannot be on this bed: drawing it would shrink the bed to a dot.
        if u < x[0] && u > edge.x[0] - 3.0 * air {
            x[0] = u - air;
        }
        if u > x[1] && u < edge.x[1] + 3.0 * air {
            x[1] = u + air;
        }
        if v < y[0] && v > edge.y[0] - 3.0 * air {
            y[0] = v - air;
        }
        if v > y[1] && v < edge.y[1] + 3.0 * air {
            y[1] = v + air;
        }
    }
    (x, y)
}
