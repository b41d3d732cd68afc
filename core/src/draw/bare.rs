//! A bare plan: the bed's edge with its keep-out areas, to draw something on that is no land.

use super::edge::Edge;
use super::page::{Document, Page};
use super::svg::Svg;
use super::{PlanOptions, frame, ground, style};
use crate::card::Card;

/// What stands on the sheet besides.
pub(super) struct Bare<'a> {
    pub(super) card: &'a Card,
    /// What the document's name begins with; the card's digest follows.
    pub(super) id: &'static str,
    pub(super) title: &'static str,
    /// For who does not see it.
    pub(super) description: String,
    /// The line below the title; the card's digest follows.
    pub(super) under: String,
    /// Room below the frame.
    pub(super) room: f64,
}

impl Bare<'_> {
    /// Draws the sheet: `inside` on the bed, `below` under the frame from the height that it is given.
    pub(super) fn draw(
        self,
        options: &PlanOptions,
        inside: impl FnOnce(&mut Svg, &Page),
        below: impl FnOnce(&mut Svg, f64),
    ) -> String {
        let edge = Edge::of(&self.card.bed);
        let page = Page::new(&edge, core::iter::empty());
        let top = page.frame()[1][1] + frame::BELOW;
        let digest = self.card.digest();
        let document = Document {
            id: format!("{}-{digest}", self.id),
            title: self.title,
            description: self.description,
            bottom: top + self.room,
            width: options.width,
        };
        let mut svg = Svg::default();
        document.open(&mut svg);
        if options.grid && !edge.round {
            frame::grid(&mut svg, &page);
        }
        ground::keep_outs(&mut svg, self.card, &edge, &page);
        frame::outline(&mut svg, &edge, &page)
            .attr("fill", "none")
            .attr("stroke", style::INK)
            .num("stroke-width", 2.2)
            .end();
        inside(&mut svg, &page);
        frame::around(&mut svg, &page);
        frame::headings(&mut svg, self.title, &format!("{}, card {digest}", self.under));
        below(&mut svg, top);
        svg.finish()
    }
}
