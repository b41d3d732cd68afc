//! The plan of a layer's path, coloured by the gap between nozzle and bed.

use super::page::{self, Page};
use super::svg::{Svg, path_data};
use super::{PlanOptions, bare::Bare, levels, style};
use crate::card::Card;
use crate::check::gaps::{KeptPath, Shares, Window};
use crate::check::judge::percent;
use crate::number::Shown;

/// What is drawn.
#[derive(Debug, Clone, Copy)]
#[expect(clippy::exhaustive_structs, reason = "a program writes it down whole")]
pub struct GapPlan<'a> {
    /// What the toolpath is called on the sheet.
    pub name: &'a str,
    /// The layer's path, as [`Gaps`](crate::check::Gaps) kept it.
    pub path: &'a KeptPath,
    /// The Z of the layer as sliced, mm.
    pub z: f64,
    /// The layer's path by length, mm.
    pub shares: Shares,
    /// Within which gaps it sticks.
    pub window: Window,
}

/// Colours from too near (rust) over right (grey) to too far (blue): a pair that colour-blind eyes tell apart, dark at both ends.
const COLOURS: [&str; 5] = ["#943404", "#d9771e", "#96988e", "#4884c4", "#10408c"];

/// A plan of a layer's path over the bed, as a self-contained SVG document: grey where the gap is right, rust where it is too near, blue
/// where too far; paler where it is within the window and past half of it.
///
/// The same card, path and options give the same bytes, natively and in WASM.
///
/// ```
/// use evengap::check::{GapOptions, Gaps, Keep, Window};
/// use evengap::draw::{GapPlan, PlanOptions, gap_plan};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
/// # let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
///
/// let mut options = GapOptions::default();
/// options.keep = Keep::Lowest;
/// let mut gaps = Gaps::new(&map, options);
/// gaps.push(b"G1 X20 Y100 Z0.2\nG1 X180 E10\n")?;
/// assert_eq!(gaps.lines_read(), 2);
/// let report = gaps.finish()?;
/// let layer = report.first_layer().unwrap();
/// let plan = GapPlan { name: "part", path: &report.kept, z: layer.z, shares: layer.path, window: Window::default() };
/// assert!(gap_plan(&card, &plan, &PlanOptions::default()).starts_with("<svg"));
/// # Ok::<(), evengap::Error>(())
/// ```
#[must_use]
pub fn gap_plan(card: &Card, plan: &GapPlan<'_>, options: &PlanOptions) -> String {
    let cut = if plan.path.cut { ", not all of it drawn" } else { "" };
    let bare = Bare {
        card,
        id: "evengap-gap",
        title: "Plan of the gap under the path",
        description: description(plan),
        under: format!("{}: the layer at Z {} mm{cut}", plan.name, levels::plain(plan.z, 3)),
        room: 122.0,
    };
    bare.draw(options, |svg, page| strokes(svg, page, plan), |svg, top| legend(svg, plan, top + 26.0))
}

/// Half of the way from right to the window's end, and the end: mm of deviation, from the nearest to the farthest.
fn bounds(z: f64, window: &Window) -> [f64; 4] {
    let [near, far] = [(window.near - 1.0) * z, (window.far - 1.0) * z];
    [near, 0.5 * near, 0.5 * far, far]
}

fn strokes(svg: &mut Svg, page: &Page, plan: &GapPlan<'_>) {
    let bounds = bounds(plan.z, &plan.window);
    let mut data: [String; 5] = Default::default();
    let KeptPath { points, strokes, .. } = plan.path;
    for (n, start) in strokes.iter().enumerate() {
        let end = strokes.get(n + 1).copied().unwrap_or(points.len());
        let Some(stroke) = points.get(*start..end) else { continue };
        let mut run: Vec<[f64; 2]> = Vec::new();
        let mut class = 0;
        for pair in stroke.windows(2) {
            let [a, b] = [pair[0], pair[1]];
            let deviation = f64::midpoint(a[2], b[2]);
            let own = bounds.iter().filter(|bound| deviation > **bound).count();
            if own != class || run.is_empty() {
                path_data(&run, false, &mut data[class]);
                run.clear();
                run.push(page.at([a[0], a[1]]));
                class = own;
            }
            run.push(page.at([b[0], b[1]]));
        }
        path_data(&run, false, &mut data[class]);
    }
    svg.tag("g").attr("fill", "none").attr("stroke-linejoin", "round").num("stroke-width", 1.6).open();
    // What is wrong lies on top.
    for class in [2, 1, 3, 0, 4] {
        if !data[class].is_empty() {
            svg.tag("path").attr("d", &data[class]).attr("stroke", COLOURS[class]).end();
        }
    }
    svg.close();
}

const MARGIN: f64 = 40.0;
const STRIP: f64 = 20.0;

/// The colours side by side, each bound with its gap, and how much of the path is what.
fn legend(svg: &mut Svg, plan: &GapPlan<'_>, top: f64) {
    let width = (page::WIDTH - 2.0 * MARGIN) / 5.0;
    let mut x = MARGIN;
    svg.tag("g").attr("text-anchor", "middle").num("font-size", style::SMALL).open();
    for (n, colour) in COLOURS.iter().enumerate() {
        svg.tag("rect").nums(&[("x", x), ("y", top), ("width", width), ("height", STRIP)]).attr("fill", colour).end();
        x += width;
        if let Some(bound) = bounds(plan.z, &plan.window).get(n).filter(|b| b.is_finite()) {
            let gap = format!("{:.3}", Shown(plan.z + bound));
            svg.tag("text").nums(&[("x", x), ("y", top + STRIP + 17.0)]).text(&gap);
        }
    }
    svg.close();
    let Shares { all, right, near, far, .. } = plan.shares;
    let of = |part: f64| if all > 0.0 { percent(part / all) } else { "none".to_owned() };
    svg.tag("g").num("font-size", style::BODY).open();
    let words = [
        (MARGIN, "start", format!("too near: {}", of(near))),
        (0.5 * page::WIDTH, "middle", format!("right: {} of {:.0} mm of path", of(right), Shown(all))),
        (page::WIDTH - MARGIN, "end", format!("too far: {}", of(far))),
    ];
    for (x, anchor, text) in &words {
        svg.tag("text").nums(&[("x", *x), ("y", top + STRIP + 46.0)]).attr("text-anchor", anchor).text(text);
    }
    svg.close();
    svg.tag("text")
        .nums(&[("x", 0.5 * page::WIDTH), ("y", top - 8.0), ("font-size", style::SMALL)])
        .attr("text-anchor", "middle")
        .attr("fill", style::QUIET)
        .text("gap between nozzle and bed, mm");
}

fn description(plan: &GapPlan<'_>) -> String {
    let Shares { all, right, near, far, .. } = plan.shares;
    let of = |part: f64| if all > 0.0 { percent(part / all) } else { "none".to_owned() };
    format!(
        "The bed seen from above, the front at the bottom, with the path of {} at Z {} mm. Of {:.0} mm of path {} has the right gap, {} is too \
         near, {} too far.",
        plan.name,
        levels::plain(plan.z, 3),
        Shown(all),
        of(right),
        of(near),
        of(far)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_stretch_has_the_colour_of_its_gap() {
        let card = Card::parse(
            "[bed]\nx = [0, 100]\ny = [0, 100]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\npoints = [[0, 0, 0], [100, 0, 0], [50, 90, 0]]\n",
        )
        .unwrap();
        // At Z 0.2 the window ends 0.06 mm to either side.
        let points = vec![
            [10.0, 10.0, -0.1],
            [20.0, 10.0, -0.1],
            [30.0, 10.0, 0.0],
            [40.0, 10.0, 0.0],
            [10.0, 50.0, 0.2],
            [20.0, 50.0, 0.2],
        ];
        let path = KeptPath { points, strokes: vec![0, 4], cut: true };
        let shares = Shares { all: 40.0, right: 20.0, near: 10.0, far: 10.0, unmeasured: 0.0 };
        let plan = GapPlan { name: "a <part>", path: &path, z: 0.2, shares, window: Window::default() };
        let svg = gap_plan(&card, &plan, &PlanOptions::default());
        // Too near, then half-way (0.05), then right; and too far.
        let strokes: Vec<&str> =
            svg.lines().filter(|l| l.contains("<path d=\"M") && COLOURS.iter().any(|c| l.contains(c))).collect();
        let drawn: Vec<usize> = strokes.iter().filter_map(|l| COLOURS.iter().position(|c| l.contains(c))).collect();
        assert_eq!(drawn, [2, 1, 0, 4], "{strokes:?}");
        assert!(strokes.iter().all(|l| l.matches('M').count() == 1), "{strokes:?}");
        for text in [
            "a &lt;part&gt;: the layer at Z 0.2 mm, not all of it drawn",
            "too near: 25 %",
            "right: 50 % of 40 mm",
            ">0.140<",
            ">0.260<",
        ] {
            assert!(svg.contains(text), "{text}");
        }
    }
}
