//! Plans of the bed as SVG, drawn as a land surveyor draws ground: contours, spot heights, orientation, scale and a title block.
//!
//! [`isolines`] gives the same lines of equal height as polylines, for those who draw themselves.
//!
//! [`plan`] goes one way: heights on a grid and the lines of equal height (mm), then places on the sheet, then SVG. Looks live in
//! one module, geometry in others. The document is self-contained: no style sheet, script, font or link, one clip path whose name
//! holds the card's digest, so that several plans can stand on one page.

mod bare;
mod contours;
mod edge;
mod frame;
mod gap_plan;
mod ground;
mod isolines;
mod legend;
mod levels;
mod page;
mod palette;
mod patches;
mod place;
mod reading_sheet;
mod rings;
mod style;
mod subject;
mod svg;
mod turns;

pub use reading_sheet::{Paper, reading_sheet};

use crate::card::Card;
use crate::surface::HeightMap;
use contours::{Contour, Grid};
use edge::Edge;
pub use gap_plan::{GapPlan, gap_plan};
pub use isolines::{Isoline, Isolines, isolines};
use levels::Levels;
use page::Page;
pub use patches::patch_plan;
use subject::Subject;
pub use subject::{difference_plan, known_plan, tram_plan};
use svg::Svg;

/// How a plan is drawn.
///
/// With `serde`, what is left out has its default; a name that is unknown is an error.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[expect(clippy::exhaustive_structs, reason = "a program writes it down whole")]
pub struct PlanOptions {
    /// Width of the picture in pixels, 200 to 10 000 (what is outside is set to the nearer end). The height follows.
    pub width: f64,
    /// Whether hairlines join the ticks of the axes across the bed.
    pub grid: bool,
}

impl Default for PlanOptions {
    /// 1000 pixels wide, with hairlines.
    fn default() -> Self {
        PlanOptions { width: 1000.0, grid: true }
    }
}

/// A contour plan of the bed as a self-contained SVG document.
///
/// Heights are in mm above the toolpath's Z = 0, up is positive. Contours lie at multiples of 1, 2 or 5 times a power of ten, about
/// ten of them, every fifth heavier, height 0 by itself; beyond the rectangle that bounds the readings they are dashed, for there the
/// map only repeats the nearest height inside. Spot heights are the readings (the mean, where a place was read more than once) with
/// 2 decimals, or 3 where the card's values or its spread are that fine. A figure that finds no free place is left out, its cross stays.
///
/// The same card, map and options give the same bytes, natively and in WASM. There is no date on the sheet.
#[must_use]
pub fn plan(card: &Card, map: &HeightMap, options: &PlanOptions) -> String {
    Survey::new(card, map).draw(options)
}

/// A place that was read, and the mean of its readings.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Spot {
    at: [f64; 2],
    height: f64,
}

/// One spot for each place (to 0.0001 mm), in the order in which the places first come.
fn pooled(readings: impl Iterator<Item = Spot>) -> Vec<Spot> {
    // Adding 0 makes one zero of two.
    let key = |spot: &Spot| spot.at.map(|v| (libm::round(v * 1e4) + 0.0).to_bits());
    let readings: Vec<Spot> = readings.collect();
    // By place, and in their order at each.
    let mut order: Vec<usize> = (0..readings.len()).collect();
    crate::order::sort_by_key(&mut order, |&k| key(&readings[k]));
    let mut places: Vec<(usize, Spot)> = order
        .chunk_by(|&a, &b| key(&readings[a]) == key(&readings[b]))
        .filter_map(|same| {
            let mut spot = readings[*same.first()?];
            let mut count = 1.0;
            for &k in &same[1..] {
                count += 1.0;
                spot.height += (readings[k].height - spot.height) / count;
            }
            Some((same[0], spot))
        })
        .collect();
    crate::order::sort_by_key(&mut places, |(first, _)| *first);
    places.into_iter().map(|(_, spot)| spot).collect()
}

/// Everything that is drawn, still in mm.
struct Survey<'a> {
    card: &'a Card,
    map: &'a HeightMap,
    digest: String,
    edge: Edge,
    spots: Vec<Spot>,
    /// Decimals of the spot heights.
    decimals: usize,
    measured: Edge,
    /// Lowest and highest height on the bed.
    range: [f64; 2],
    levels: Levels,
    contours: Vec<Contour>,
    subject: Subject<'a>,
}

impl<'a> Survey<'a> {
    /// Contour `i` as it is written.
    fn level(&self, i: usize) -> String {
        self.levels.text(i, |height, decimals| self.subject.figure(height, decimals))
    }

    fn new(card: &'a Card, map: &'a HeightMap) -> Survey<'a> {
        let spots = pooled(map.readings().iter().map(|r| Spot { at: [r.x, r.y], height: r.height }));
        Survey::of(card, map, spots, map.measured(), &|x, y| map.height(x, y))
    }

    /// A survey of any heights over a card's bed, known within `measured`.
    fn of(
        card: &'a Card,
        map: &'a HeightMap,
        spots: Vec<Spot>,
        measured: [f64; 4],
        height: &dyn Fn(f64, f64) -> f64,
    ) -> Survey<'a> {
        let edge = Edge::of(&card.bed);
        let places: Vec<[f64; 2]> = spots.iter().map(|s| s.at).collect();
        let grid = Grid::sample(&edge, &places, height);
        let levels = Levels::between(grid.range[0], grid.range[1]);
        Survey {
            card,
            map,
            digest: card.digest(),
            contours: grid.contours(&levels, &edge),
            edge,
            spots,
            decimals: decimals(card),
            measured: Edge::rectangle(measured),
            range: grid.range,
            levels,
            subject: Subject::Bed,
        }
    }

    /// Whether the rectangle of the readings covers the whole bed.
    fn reads_to_the_edge(&self) -> bool {
        let (m, e) = (&self.measured, &self.edge);
        m.x[0] <= e.x[0] && m.x[1] >= e.x[1] && m.y[0] <= e.y[0] && m.y[1] >= e.y[1]
    }

    fn draw(&self, options: &PlanOptions) -> String {
        let screws = self.card.screws.iter().flat_map(|s| s.at.iter().map(|s| [s.x, s.y]));
        let page = Page::new(&self.edge, self.spots.iter().map(|s| s.at).chain(screws));
        let clip = self.subject.id(&self.digest);
        let legend = legend::Legend::new(self, &page);
        let document = page::Document {
            id: clip.clone(),
            title: self.subject.title(),
            description: self.subject.description(self),
            bottom: legend.bottom,
            width: options.width,
        };

        let mut svg = Svg::default();
        document.open(&mut svg);
        svg.tag("defs").open();
        svg.tag("clipPath").attr("id", &clip).open();
        frame::outline(&mut svg, &self.edge, &page).end();
        svg.close();
        svg.close();

        let left_out = ground::draw(&mut svg, self, &page, &clip, options.grid);
        frame::draw(&mut svg, &page, &self.subject);
        legend.draw(&mut svg, self, left_out);
        svg.finish()
    }
}

/// 2 decimals where the readings know no more: a spread of 0.01 mm or over, or values all written with 2.
fn decimals(card: &Card) -> usize {
    let coarse = |v: f64| (v * 100.0 - libm::round(v * 100.0)).abs() < 1e-6;
    let fine = match card.readings.spread {
        Some(spread) if spread > 0.0 => spread < 0.01,
        _ => !card.readings.points.iter().all(|p| coarse(p.value)),
    };
    if fine { 3 } else { 2 }
}

#[cfg(test)]
mod tests;
