//! What each screw has to do, on the plan: a curved arrow round the knob, and beside it name, mm and turns.

use super::page::Page;
use super::place::{Area, Taken};
use super::svg::{Svg, path_data};
use super::{ground, style};
use crate::card::Turn;
use crate::number::Shown;
use crate::tram::ScrewTurn;

/// Radius of the arrow's curve.
const RADIUS: f64 = 18.0;
/// Half the room that a screw with its arrow needs.
pub(super) const ROOM: f64 = RADIUS + 6.0;
/// From line to line.
const LINE: f64 = style::SMALL + 3.0;

/// A screw's arrow and words, in their places.
pub(super) struct Order {
    at: [f64; 2],
    /// None where there is nothing to turn.
    way: Option<Turn>,
    centre: Option<[f64; 2]>,
    lines: Vec<String>,
}

/// Finds each order its place; where there is no room for all its lines, the name goes, and then the mm.
pub(super) fn place(
    turns: &[ScrewTurn],
    page: &Page,
    taken: &mut Taken,
    covers: &dyn Fn(&Area) -> usize,
) -> Vec<Order> {
    turns
        .iter()
        .map(|turn| {
            let at = page.at([turn.x, turn.y]);
            let mut lines = words(turn);
            let mut centre = None;
            while !lines.is_empty() {
                let width = lines.iter().map(|l| style::text_width(l, style::SMALL)).fold(0.0, f64::max);
                #[expect(clippy::cast_precision_loss, reason = "three lines at most")]
                let size = [width + 4.0, LINE * lines.len() as f64];
                centre = taken.beside(at, size, ROOM + 1.0, covers);
                if centre.is_some() {
                    break;
                }
                lines.remove(0);
            }
            Order { at, way: (!turn.is_still()).then_some(turn.direction), centre, lines }
        })
        .collect()
}

fn words(turn: &ScrewTurn) -> Vec<String> {
    if turn.is_still() {
        return vec![turn.name.clone(), "leave as it is".to_owned()];
    }
    let way = if turn.raise_mm > 0.0 { "raise" } else { "lower" };
    let word = if turn.turns < 1.005 { "turn" } else { "turns" };
    vec![
        turn.name.clone(),
        format!("{way} {:.2} mm", Shown(turn.raise_mm.abs())),
        format!("{:.2} {word} {}", Shown(turn.turns), turn.direction.word()),
    ]
}

pub(super) fn draw(svg: &mut Svg, orders: &[Order]) {
    for order in orders {
        if let Some(way) = order.way {
            arrow(svg, order.at, way, RADIUS);
        }
    }
    ground::open_words(svg, style::SMALL, style::SCREW, Some("600"));
    for order in orders {
        let Some([x, y]) = order.centre else { continue };
        #[expect(clippy::cast_precision_loss, reason = "three lines at most")]
        let mut line = y - 0.5 * LINE * (order.lines.len() as f64 - 1.0) + 0.36 * style::SMALL;
        for text in &order.lines {
            svg.tag("text").nums(&[("x", x), ("y", line)]).text(text);
            line += LINE;
        }
    }
    svg.close();
}

pub(super) fn legend_arrow(svg: &mut Svg, at: [f64; 2]) {
    arrow(svg, at, Turn::Clockwise, 0.6 * RADIUS);
}

/// Two thirds of a circle with a head, open at the foot of the sheet; seen from above is as the sheet is seen.
fn arrow(svg: &mut Svg, [x, y]: [f64; 2], way: Turn, radius: f64) {
    const STEPS: i32 = 24;
    // Counted anticlockwise from the right as the sheet is seen; from lower left over the top to lower right is clockwise.
    let (from, to) = match way {
        Turn::Clockwise => (220.0_f64, -20.0_f64),
        Turn::Anticlockwise => (-40.0, 200.0),
    };
    let at = |degrees: f64, r: f64| {
        let angle = degrees.to_radians();
        [x + r * libm::cos(angle), y - r * libm::sin(angle)]
    };
    let curve: Vec<[f64; 2]> =
        (0..=STEPS).map(|k| at(from + (to - from) * f64::from(k) / f64::from(STEPS), radius)).collect();
    let mut data = String::new();
    path_data(&curve, false, &mut data);
    // The head's point lies further round by 0.55 of the radius.
    let long = 0.55_f64.to_degrees() * if to > from { 1.0 } else { -1.0 };
    let mut head = String::new();
    path_data(&[at(to, radius + 5.0), at(to, radius - 5.0), at(to + long, radius)], true, &mut head);
    svg.tag("g").attr("stroke-linecap", "round").open();
    for (ink, width) in [(style::PAPER, 6.0), (style::SCREW, 2.8)] {
        svg.tag("path").attr("d", &data).attr("fill", "none").attr("stroke", ink).num("stroke-width", width).end();
    }
    svg.tag("path")
        .attr("d", &head)
        .attr("fill", style::SCREW)
        .attr("stroke", style::PAPER)
        .num("stroke-width", 1.0)
        .attr("paint-order", "stroke")
        .end();
    svg.close();
}
