//! Around the ground: the bed's edge, axes with ticks, which side is the front, and a scale bar.

use super::edge::Edge;
use super::page::Page;
use super::subject::Subject;
use super::svg::{Element, Svg, path_data};
use super::{levels, style};

/// Ticks aimed at along the longer side.
const TICKS: f64 = 9.0;
/// From the bed to the middle of a tick's figure.
const OUT: f64 = 20.0;

/// The bed's outline as an element still to be styled.
pub(super) fn outline<'a>(svg: &'a mut Svg, edge: &Edge, page: &Page) -> Element<'a> {
    if edge.round {
        let [cx, cy] = page.at(edge.centre());
        let (rx, ry) = (0.5 * edge.width() * page.scale, 0.5 * edge.depth() * page.scale);
        svg.tag("ellipse").nums(&[("cx", cx), ("cy", cy), ("rx", rx), ("ry", ry)])
    } else {
        let [x, y] = page.at([edge.x[0], edge.y[1]]);
        let (width, height) = (edge.width() * page.scale, edge.depth() * page.scale);
        svg.tag("rect").nums(&[("x", x), ("y", y), ("width", width), ("height", height)])
    }
}

/// Multiples of a nice step from `low` to `high`, and the decimals they need.
fn ticks(low: f64, high: f64, step: f64) -> Vec<f64> {
    let first = libm::ceil(low / step - 1e-9);
    let mut ticks = Vec::new();
    let mut k = 0.0;
    while (first + k) * step <= high + 1e-9 * step && k < 1000.0 {
        ticks.push((first + k) * step);
        k += 1.0;
    }
    ticks
}

fn tick_step(page: &Page) -> f64 {
    levels::nice((page.x[1] - page.x[0]).max(page.y[1] - page.y[0]) / TICKS).0
}

/// Hairlines across the bed at the ticks.
pub(super) fn grid(svg: &mut Svg, page: &Page) {
    let step = tick_step(page);
    let mut data = String::new();
    for x in ticks(page.x[0], page.x[1], step) {
        path_data(&[page.at([x, page.y[0]]), page.at([x, page.y[1]])], false, &mut data);
    }
    for y in ticks(page.y[0], page.y[1], step) {
        path_data(&[page.at([page.x[0], y]), page.at([page.x[1], y])], false, &mut data);
    }
    svg.tag("path")
        .attr("d", &data)
        .attr("fill", "none")
        .attr("stroke", style::INK)
        .attr("stroke-opacity", "0.16")
        .num("stroke-width", 0.7)
        .end();
}

pub(super) fn draw(svg: &mut Svg, page: &Page, subject: &Subject<'_>) {
    let [low, high] = page.frame();
    axes(svg, page, low, high);
    headings(svg, subject.heading(), &subject.under_heading());
    orientation(svg, low, high);
    scale_bar(svg, page, low, high);
}

/// All but the heading.
pub(super) fn around(svg: &mut Svg, page: &Page) {
    let [low, high] = page.frame();
    axes(svg, page, low, high);
    orientation(svg, low, high);
    scale_bar(svg, page, low, high);
}

pub(super) fn axes(svg: &mut Svg, page: &Page, low: [f64; 2], high: [f64; 2]) {
    let step = tick_step(page);
    let mut marks = String::new();
    svg.tag("g").num("font-size", style::SMALL).attr("fill", style::QUIET).open();
    svg.tag("g").attr("text-anchor", "middle").open();
    for x in ticks(page.x[0], page.x[1], step) {
        let [u, _] = page.at([x, 0.0]);
        path_data(&[[u, high[1] + 3.0], [u, high[1] + 9.0]], false, &mut marks);
        svg.tag("text").num("x", u).num("y", high[1] + OUT + 0.36 * style::SMALL + 2.0).text(&levels::plain(x, 3));
    }
    svg.close();
    svg.tag("g").attr("text-anchor", "end").open();
    for y in ticks(page.y[0], page.y[1], step) {
        let [_, v] = page.at([0.0, y]);
        path_data(&[[low[0] - 9.0, v], [low[0] - 3.0, v]], false, &mut marks);
        svg.tag("text").num("x", low[0] - 14.0).num("y", v + 0.36 * style::SMALL).text(&levels::plain(y, 3));
    }
    svg.close();
    svg.tag("text").num("x", high[0]).num("y", high[1] + OUT + 26.0).attr("text-anchor", "end").text("X mm");
    svg.tag("text").num("x", low[0] - 14.0).num("y", low[1] - 14.0).attr("text-anchor", "end").text("Y mm");
    svg.close();
    svg.tag("path").attr("d", &marks).attr("fill", "none").attr("stroke", style::QUIET).num("stroke-width", 1.0).end();
}

/// What the sheet is, and a line about it.
pub(super) fn headings(svg: &mut Svg, heading: &str, under: &str) {
    svg.tag("text")
        .nums(&[("x", 40.0), ("y", 46.0), ("font-size", style::HEADING)])
        .attr("font-weight", "600")
        .text(heading);
    svg.tag("text")
        .nums(&[("x", 40.0), ("y", 69.0), ("font-size", style::BODY)])
        .attr("fill", style::QUIET)
        .text(under);
}

/// The words front and back, and an arrow that points at whoever stands in front of the printer.
pub(super) fn orientation(svg: &mut Svg, low: [f64; 2], high: [f64; 2]) {
    let x = 0.5 * (low[0] + high[0]);
    let y = high[1] + 44.0;
    svg.tag("g").attr("text-anchor", "middle").num("font-size", style::BODY).open();
    svg.tag("text").nums(&[("x", x), ("y", low[1] - 12.0)]).attr("fill", style::QUIET).text("back");
    svg.tag("text").nums(&[("x", x), ("y", y + 41.0)]).attr("font-weight", "600").text("FRONT");
    svg.close();
    let mut data = String::new();
    path_data(&[[x, y], [x, y + 14.0]], false, &mut data);
    svg.tag("path").attr("d", &data).attr("stroke", style::INK).num("stroke-width", 2.4).end();
    data.clear();
    path_data(&[[x - 8.0, y + 11.0], [x + 8.0, y + 11.0], [x, y + 25.0]], true, &mut data);
    svg.tag("path").attr("d", &data).end();
}

/// Lowest place of what [`draw`] puts under the bed, from the bed's lower side.
pub(super) const BELOW: f64 = 96.0;

fn scale_bar(svg: &mut Svg, page: &Page, low: [f64; 2], high: [f64; 2]) {
    // Four fields, about a quarter of the bed in all.
    let field = levels::nice((high[0] - low[0]) / page.scale / 18.0).0;
    let width = field * page.scale;
    let (x, y) = (low[0], high[1] + 56.0);
    svg.tag("g").attr("stroke", style::INK).num("stroke-width", 1.0).open();
    for k in 0..4_u8 {
        svg.tag("rect")
            .nums(&[("x", x + f64::from(k) * width), ("y", y), ("width", width), ("height", 6.0)])
            .attr("fill", if k % 2 == 0 { style::INK } else { style::PAPER })
            .end();
    }
    svg.close();
    svg.tag("g").attr("text-anchor", "middle").num("font-size", style::SMALL).attr("fill", style::QUIET).open();
    for k in [0_u8, 2, 4] {
        let at = x + f64::from(k) * width;
        svg.tag("text").nums(&[("x", at), ("y", y + 22.0)]).text(&levels::plain(f64::from(k) * field, 3));
    }
    svg.close();
    svg.tag("text")
        .nums(&[("x", x + 4.0 * width + 16.0), ("y", y + 22.0), ("font-size", style::SMALL)])
        .attr("fill", style::QUIET)
        .text("mm");
}
