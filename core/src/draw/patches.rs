//! The plan of a test print: which patch lies where.

use super::page::Page;
use super::svg::Svg;
use super::{PlanOptions, bare::Bare, style};
use crate::card::Card;
use crate::number::Shown;
use crate::trial::Patch;

/// A plan of the bed with the patches of a test print and their numbers, as a self-contained SVG document.
///
/// It goes with the printer: front below, back above, as one stands before the bed. Keep-out areas are hatched.
/// The same card, patches and options give the same bytes, natively and in WASM.
///
/// ```
/// use evengap::draw::{PlanOptions, patch_plan};
/// use evengap::trial::Patch;
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
///
/// let patch = Patch { number: 1, x: 100.0, y: 100.0, point: [100.0, 100.0], side: 20.0 };
/// assert!(patch_plan(&card, &[patch], &PlanOptions::default()).starts_with("<svg"));
/// # Ok::<(), evengap::Error>(())
/// ```
#[must_use]
pub fn patch_plan(card: &Card, patches: &[Patch], options: &PlanOptions) -> String {
    let bare = Bare {
        card,
        id: "evengap-patches",
        title: "Plan of the test print",
        description: description(patches),
        under: "Patches by number".to_owned(),
        room: 14.0,
    };
    bare.draw(options, |svg, page| squares(svg, page, patches), |_, _| ())
}

fn squares(svg: &mut Svg, page: &Page, patches: &[Patch]) {
    svg.tag("g").attr("fill", "none").attr("stroke", style::INK).num("stroke-width", 1.4).open();
    for p in patches {
        let [x, y] = page.at([p.x - 0.5 * p.side, p.y + 0.5 * p.side]);
        let side = p.side * page.scale;
        svg.tag("rect").nums(&[("x", x), ("y", y), ("width", side), ("height", side)]).attr("fill", style::PAPER).end();
    }
    svg.close();
    svg.tag("g").attr("text-anchor", "middle").attr("font-weight", "600").open();
    for p in patches {
        let text = p.number.to_string();
        let [x, y] = page.at([p.x, p.y]);
        // As large as the patch has room for, and never larger than a heading.
        let size = (0.8 * p.side * page.scale / style::text_width(&text, 1.0)).min(style::HEADING);
        svg.tag("text").nums(&[("x", x), ("y", y + 0.36 * size), ("font-size", size)]).text(&text);
    }
    svg.close();
}

fn description(patches: &[Patch]) -> String {
    let list: Vec<String> = patches
        .iter()
        .map(|p| format!("{} at X {} Y {}", p.number, crate::program::place(p.x), crate::program::place(p.y)))
        .collect();
    format!("Patches of {} mm: {}.", Shown(patches.first().map_or(0.0, |p| p.side)), list.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_patch_is_a_square_with_its_number() {
        let card = Card::parse(
            "[bed]\nx = [-100, 100]\ny = [-100, 100]\nkeep_out = [[-120, -10, -90, 10]]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\n\
             points = [[-80, 0], [0, 0], [50, 50]]\n",
        )
        .unwrap();
        let patches = crate::trial::patches(&card, &crate::trial::TrialOptions::default()).unwrap();
        assert_eq!(patches.len(), 3);
        let svg = patch_plan(&card, &patches, &PlanOptions::default());
        for number in ["1", "2", "3"] {
            assert_eq!(svg.matches(&format!(">{number}</text>")).count(), 1, "{number}");
        }
        assert!(svg.contains("FRONT") && svg.contains("Plan of the test print"));
        // Nothing is drawn off the sheet for an odd size.
        let odd = PlanOptions { width: f64::NAN, ..PlanOptions::default() };
        assert!(patch_plan(&card, &patches, &odd).contains("width=\"1000.00\""));
    }
}
