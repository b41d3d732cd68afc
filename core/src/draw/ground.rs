//! The ground itself: tints, keep-out areas, contours with their figures, screws and spot heights.

use super::edge::Edge;
use super::page::Page;
use super::place::{Area, OnLine, Taken, along, with_gaps};
use super::style;
use super::svg::{Svg, path_data};
use super::{Survey, frame, levels, palette, turns};
use crate::card::Card;
use crate::number::Shown;

/// A word or figure that found its place.
pub(super) struct Word {
    centre: [f64; 2],
    text: String,
}

/// Radius of a screw's sign.
pub(super) const SCREW_RADIUS: f64 = 8.5;
/// More readings than this are crosses only: no sheet has room for their figures, and none are tried.
const MOST_FIGURES: usize = 900;
/// Half the width of a spot height's cross.
pub(super) const CROSS: f64 = 4.5;
/// Half the room that each of them needs.
pub(super) const SCREW_ROOM: f64 = SCREW_RADIUS + 3.5;
/// See [`SCREW_ROOM`].
pub(super) const CROSS_ROOM: f64 = CROSS + 1.5;

/// Draws the ground; returns how many readings stand without their figure.
pub(super) fn draw(svg: &mut Svg, survey: &Survey<'_>, page: &Page, clip: &str, grid: bool) -> usize {
    // What is placed first has the first choice: the readings, then the screws, then the contours.
    let [low, high] = page.frame();
    let mut taken = Taken::new(low, high);
    let screws: &[crate::card::Screw] = survey.card.screws.as_ref().map_or(&[], |s| &s.at);
    for spot in &survey.spots {
        taken.take(Area::upright(page.at(spot.at), 2.0 * CROSS_ROOM, 2.0 * CROSS_ROOM));
    }
    let turns = survey.subject.turns();
    let screw_room = if turns.is_some() { turns::ROOM } else { SCREW_ROOM };
    for screw in screws {
        taken.take(Area::upright(page.at([screw.x, screw.y]), 2.0 * screw_room, 2.0 * screw_room));
    }
    let on_screw =
        |at: [f64; 2]| screws.iter().any(|s| libm::hypot(s.x - at[0], s.y - at[1]) * page.scale < screw_room);
    let lines: Vec<Area> = survey
        .contours
        .iter()
        .flat_map(|c| &c.lines)
        .flat_map(|line| line.windows(2).map(|pair| Area::piece(page.at(pair[0]), page.at(pair[1]))))
        .collect();
    // A contour under a word is worse than a corner beyond the edge, if only a little.
    let covers = |area: &Area| {
        let outside = area.corners().into_iter().filter(|c| !survey.edge.holds(page.back(*c))).count();
        2 * lines.iter().filter(|l| l.meets(area)).count().min(8) + outside
    };
    let tried = if survey.spots.len() <= MOST_FIGURES { &survey.spots[..] } else { &[] };
    // What is to be turned is what the plan is for: it goes before the figures.
    let orders = turns.map(|t| turns::place(t, page, &mut taken, &covers));
    let figures: Vec<Word> = tried
        .iter()
        .filter_map(|s| {
            let room = if on_screw(s.at) { screw_room } else { CROSS_ROOM };
            word(
                survey.subject.figure(s.height, survey.decimals),
                page.at(s.at),
                style::SPOT,
                room,
                &mut taken,
                &covers,
            )
        })
        .collect();
    let names: Vec<Word> = screws
        .iter()
        .filter(|_| orders.is_none())
        .filter_map(|s| word(s.name.clone(), page.at([s.x, s.y]), style::SMALL, screw_room, &mut taken, &covers))
        .collect();

    svg.tag("g").attr("clip-path", &format!("url(#{clip})")).open();
    tints(svg, survey, page);
    if grid {
        frame::grid(svg, page);
    }
    keep_outs(svg, survey.card, &survey.edge, page);
    svg.close();
    contours(svg, survey, page, &mut taken);
    frame::outline(svg, &survey.edge, page)
        .attr("fill", "none")
        .attr("stroke", style::INK)
        .num("stroke-width", 2.2)
        .end();
    screw_signs(svg, screws, page);
    words(svg, &names, style::SMALL, style::SCREW);
    if let Some(orders) = &orders {
        turns::draw(svg, orders);
    }
    spot_signs(svg, survey, page);
    words(svg, &figures, style::SPOT, style::INK);
    survey.spots.len() - figures.len()
}

pub(super) fn word(
    text: String,
    at: [f64; 2],
    size: f64,
    radius: f64,
    taken: &mut Taken,
    covers: &dyn Fn(&Area) -> usize,
) -> Option<Word> {
    let room = [style::text_width(&text, size) + 4.0, size + 3.0];
    taken.beside(at, room, radius + 1.0, covers).map(|centre| Word { centre, text })
}

/// Each tint is laid over the last: all that is at or above its contour.
fn tints(svg: &mut Svg, survey: &Survey<'_>, page: &Page) {
    let tints = palette::tints(survey.contours.len() + 1);
    frame::outline(svg, &survey.edge, page).attr("fill", &tints[0].hex()).end();
    for (contour, tint) in survey.contours.iter().zip(&tints[1..]) {
        let mut data = String::new();
        for ring in &contour.rings {
            path_data(&page.line(ring), true, &mut data);
        }
        if !data.is_empty() {
            svg.tag("path").attr("d", &data).attr("fill", &tint.hex()).attr("fill-rule", "evenodd").end();
        }
    }
}

/// The areas that the nozzle keeps out of.
pub(super) fn keep_outs(svg: &mut Svg, card: &Card, edge: &Edge, page: &Page) {
    for [x0, y0, x1, y1] in &card.bed.keep_out {
        // What lies beyond the edge is not on the plan.
        let (x0, x1) = (x0.max(edge.x[0]), x1.min(edge.x[1]));
        let (y0, y1) = (y0.max(edge.y[0]), y1.min(edge.y[1]));
        hatched(svg, page.at([x0, y1]), page.at([x1, y0]));
    }
}

/// A rectangle hatched at 45 degrees.
pub(super) fn hatched(svg: &mut Svg, low: [f64; 2], high: [f64; 2]) {
    const SPACING: f64 = 8.0;
    let area = Edge::rectangle([low[0], low[1], high[0], high[1]]);
    let (width, depth) = (area.width(), area.depth());
    if !(width > 0.0 && depth > 0.0 && width.is_finite() && depth.is_finite()) {
        return;
    }
    let mut data = String::new();
    let mut along = -depth;
    while along < width {
        // Lines rise to the right; their places are counted on the whole sheet so that neighbouring areas match.
        let start = SPACING * libm::ceil((low[0] + along + high[1]) / SPACING) - high[1];
        if start > high[0] {
            break;
        }
        let (p, q) = ([start, high[1]], [start + depth, low[1]]);
        if let Some([from, to]) = area.inside(p, q) {
            let at = |t: f64| [p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])];
            path_data(&[at(from), at(to)], false, &mut data);
        }
        along += SPACING;
    }
    svg.tag("g").attr("stroke", style::INK).attr("fill", "none").open();
    svg.tag("rect")
        .nums(&[("x", low[0]), ("y", low[1]), ("width", width), ("height", depth)])
        .attr("fill", style::PAPER)
        .attr("fill-opacity", "0.55")
        .num("stroke-width", 1.2)
        .end();
    if !data.is_empty() {
        svg.tag("path").attr("d", &data).num("stroke-width", 0.9).end();
    }
    svg.close();
}

fn contours(svg: &mut Svg, survey: &Survey<'_>, page: &Page, taken: &mut Taken) {
    let levels = &survey.levels;
    let measured = {
        let (low, high) = (
            page.at([survey.measured.x[0], survey.measured.y[1]]),
            page.at([survey.measured.x[1], survey.measured.y[0]]),
        );
        // The rim itself counts as read: a contour that runs along it is not dashed for a rounding.
        Edge::rectangle([low[0] - 0.01, low[1] - 0.01, high[0] + 0.01, high[1] + 0.01])
    };
    // Zero and index contours choose their figures' places first.
    let mut order: Vec<usize> = (0..survey.contours.len()).collect();
    crate::order::sort_by_key(&mut order, |i| (!levels.is_zero(*i), !levels.is_index(*i), *i));
    let mut figures: Vec<(OnLine, String)> = Vec::new();
    svg.tag("g").attr("fill", "none").attr("stroke", style::CONTOUR).attr("stroke-linejoin", "round").open();
    for i in order {
        let text = survey.level(i);
        let size = [style::text_width(&text, style::LABEL), style::LABEL];
        let (mut read, mut beyond) = (String::new(), String::new());
        for line in &survey.contours[i].lines {
            let line = page.line(line);
            let found = along(&line, size, taken);
            for part in with_gaps(&line, &found) {
                for (inside, run) in measured.split(&part) {
                    path_data(&run, false, if inside { &mut read } else { &mut beyond });
                }
            }
            figures.extend(found.into_iter().map(|f| (f, text.clone())));
        }
        for (data, dash) in [(&read, None), (&beyond, Some(style::DASH))] {
            if !data.is_empty() {
                contour_line(svg, data, weight(levels, i), dash);
            }
        }
    }
    svg.close();
    open_words(svg, style::LABEL, style::CONTOUR, Some("600"));
    for (figure, text) in &figures {
        let [x, y] = figure.area.centre.map(Shown);
        let [c, s] = figure.area.turn;
        let angle = Shown(libm::atan2(s, c).to_degrees());
        svg.tag("text")
            .attr("transform", &format!("translate({x:.2} {y:.2}) rotate({angle:.1})"))
            .num("y", 0.36 * style::LABEL)
            .text(text);
    }
    svg.close();
}

/// How a contour is drawn.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Thin,
    Index,
    Zero,
}

fn weight(levels: &levels::Levels, i: usize) -> Weight {
    match (levels.is_zero(i), levels.is_index(i)) {
        (true, _) => Weight::Zero,
        (_, true) => Weight::Index,
        _ => Weight::Thin,
    }
}

/// One contour's path; height 0 is a dark line cased in paper, so that it stands out in grey too.
pub(super) fn contour_line(svg: &mut Svg, data: &str, weight: Weight, dash: Option<&str>) {
    let path = |svg: &mut Svg, width: f64, stroke: Option<&str>| {
        let mut tag = svg.tag("path").attr("d", data).num("stroke-width", width);
        if let Some(stroke) = stroke {
            tag = tag.attr("stroke", stroke);
        }
        if let Some(dash) = dash {
            tag = tag.attr("stroke-dasharray", dash);
        }
        tag.end();
    };
    match weight {
        Weight::Thin => path(svg, style::THIN, None),
        Weight::Index => path(svg, style::INDEX, None),
        Weight::Zero => {
            path(svg, style::ZERO + 3.4, Some(style::PAPER));
            path(svg, style::ZERO, Some(style::INK));
        }
    }
}

fn screw_signs(svg: &mut Svg, screws: &[crate::card::Screw], page: &Page) {
    for screw in screws {
        screw_sign(svg, page.at([screw.x, screw.y]));
    }
}

/// A knob seen from above: a ring with four grips.
pub(super) fn screw_sign(svg: &mut Svg, [x, y]: [f64; 2]) {
    let mut grips = String::new();
    for [u, v] in [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]] {
        let at = |r: f64| [x + u * r, y + v * r];
        path_data(&[at(SCREW_RADIUS - 1.0), at(SCREW_RADIUS + 3.5)], false, &mut grips);
    }
    svg.tag("g").attr("fill", "none").attr("stroke", style::SCREW).open();
    svg.tag("circle")
        .nums(&[("cx", x), ("cy", y), ("r", SCREW_RADIUS)])
        .attr("fill", style::PAPER)
        .num("stroke-width", 1.8)
        .end();
    svg.tag("path").attr("d", &grips).num("stroke-width", 2.4).end();
    svg.close();
}

fn spot_signs(svg: &mut Svg, survey: &Survey<'_>, page: &Page) {
    let mut data = String::new();
    for spot in &survey.spots {
        cross(page.at(spot.at), &mut data);
    }
    cross_path(svg, &data);
}

pub(super) fn cross([x, y]: [f64; 2], data: &mut String) {
    path_data(&[[x - CROSS, y], [x + CROSS, y]], false, data);
    path_data(&[[x, y - CROSS], [x, y + CROSS]], false, data);
}

pub(super) fn cross_path(svg: &mut Svg, data: &str) {
    if data.is_empty() {
        return;
    }
    svg.tag("g").attr("fill", "none").attr("stroke-linecap", "round").open();
    svg.tag("path")
        .attr("d", data)
        .attr("stroke", style::PAPER)
        .num("stroke-width", 4.0)
        .attr("stroke-opacity", "0.8")
        .end();
    svg.tag("path").attr("d", data).attr("stroke", style::INK).num("stroke-width", 1.6).end();
    svg.close();
}

/// Opens a group of words centred on their places, each with a halo: a line behind a word must not strike it through, and a line that
/// ends before a figure must not look like its minus.
pub(super) fn open_words(svg: &mut Svg, size: f64, ink: &str, weight: Option<&str>) {
    let mut group = svg.tag("g").attr("fill", ink).num("font-size", size).attr("text-anchor", "middle");
    if let Some(weight) = weight {
        group = group.attr("font-weight", weight);
    }
    group
        .attr("stroke", style::PAPER)
        .attr("stroke-opacity", "0.8")
        .num("stroke-width", 3.4)
        .attr("stroke-linejoin", "round")
        .attr("paint-order", "stroke")
        .open();
}

/// Upright words.
pub(super) fn words(svg: &mut Svg, words: &[Word], size: f64, ink: &str) {
    if words.is_empty() {
        return;
    }
    open_words(svg, size, ink, None);
    for word in words {
        svg.tag("text").num("x", word.centre[0]).num("y", word.centre[1] + 0.36 * size).text(&word.text);
    }
    svg.close();
}
