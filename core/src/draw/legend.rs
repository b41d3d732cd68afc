//! What stands under the plan: tints with their heights, signs with their meaning, and the title block.

use super::ground::{self, Weight};
use super::levels::{plain, plain_fixed, signed};
use super::page::{Page, WIDTH};
use super::svg::{Svg, path_data};
use super::{Survey, frame, palette, style, turns};
use crate::card::Method;
use crate::surface::SurfaceKind;

const MARGIN: f64 = 40.0;
const STRIP: f64 = 20.0;
const ROW: f64 = 25.0;
const GAP: f64 = 42.0;
const SIGNS_COLUMN: f64 = 222.0;
const BLOCK_LEFT: f64 = 490.0;
const NAMES_WIDTH: f64 = 116.0;

/// The legend, laid out.
pub(super) struct Legend {
    top: f64,
    rows: Vec<(&'static str, String)>,
    /// Where the sheet ends.
    pub(super) bottom: f64,
}

impl Legend {
    pub(super) fn new(survey: &Survey<'_>, page: &Page) -> Legend {
        let top = page.frame()[1][1] + frame::BELOW + 26.0;
        let rows = survey.subject.rows(survey);
        #[expect(clippy::cast_precision_loss, reason = "a handful of rows")]
        let lines = rows.len() as f64;
        Legend { top, bottom: top + STRIP + GAP + lines * ROW + 28.0, rows }
    }

    /// `left_out`: readings whose figures found no room.
    pub(super) fn draw(&self, svg: &mut Svg, survey: &Survey<'_>, left_out: usize) {
        strip(svg, survey, self.top);
        let top = self.top + STRIP + GAP;
        signs(svg, survey, top, left_out);
        self.title_block(svg, top);
    }

    fn title_block(&self, svg: &mut Svg, top: f64) {
        let right = WIDTH - MARGIN;
        let mut rules = String::new();
        svg.tag("g").num("font-size", style::BODY).open();
        let mut y = top;
        for (name, value) in &self.rows {
            path_data(&[[BLOCK_LEFT, y], [right, y]], false, &mut rules);
            svg.tag("text").nums(&[("x", BLOCK_LEFT + 10.0), ("y", y + 17.0)]).attr("fill", style::QUIET).text(name);
            svg.tag("text").nums(&[("x", BLOCK_LEFT + NAMES_WIDTH), ("y", y + 17.0)]).text(value);
            y += ROW;
        }
        svg.close();
        path_data(&[[BLOCK_LEFT, top], [right, top], [right, y], [BLOCK_LEFT, y]], true, &mut rules);
        svg.tag("path")
            .attr("d", &rules)
            .attr("fill", "none")
            .attr("stroke", style::RULE)
            .num("stroke-width", 1.0)
            .end();
    }
}

/// The tints side by side, each boundary with its contour's height.
fn strip(svg: &mut Svg, survey: &Survey<'_>, top: f64) {
    let tints = palette::tints(survey.contours.len() + 1);
    #[expect(clippy::cast_precision_loss, reason = "about a dozen tints")]
    let width = (WIDTH - 2.0 * MARGIN) / tints.len() as f64;
    let mut x = MARGIN;
    svg.tag("g").attr("text-anchor", "middle").num("font-size", style::SMALL).open();
    for (i, tint) in tints.iter().enumerate() {
        svg.tag("rect")
            .nums(&[("x", x), ("y", top), ("width", width), ("height", STRIP)])
            .attr("fill", &tint.hex())
            .end();
        x += width;
        if i < survey.levels.len() {
            svg.tag("text").nums(&[("x", x), ("y", top + STRIP + 17.0)]).text(&survey.level(i));
        }
    }
    svg.close();
    svg.tag("rect")
        .nums(&[("x", MARGIN), ("y", top), ("width", WIDTH - 2.0 * MARGIN), ("height", STRIP)])
        .attr("fill", "none")
        .attr("stroke", style::INK)
        .num("stroke-width", 1.0)
        .end();
    svg.tag("g").num("font-size", style::SMALL).attr("fill", style::QUIET).open();
    svg.tag("text").nums(&[("x", MARGIN), ("y", top - 8.0)]).text(survey.subject.ends()[0]);
    svg.tag("text")
        .nums(&[("x", WIDTH - MARGIN), ("y", top - 8.0)])
        .attr("text-anchor", "end")
        .text(survey.subject.ends()[1]);
    svg.close();
}

/// One sign of the legend.
enum Sign {
    Line(Weight),
    Beyond,
    Spot,
    Screw,
    Turn,
    KeepOut,
}

fn signs(svg: &mut Svg, survey: &Survey<'_>, top: f64, left_out: usize) {
    let levels = &survey.levels;
    let has = |w: fn(&super::levels::Levels, usize) -> bool| (0..levels.len()).any(|i| w(levels, i));
    let mut list = vec![(Sign::Spot, survey.subject.spot())];
    if has(|l, i| !l.is_index(i)) {
        list.push((Sign::Line(Weight::Thin), "contour"));
    }
    if has(|l, i| l.is_index(i) && !l.is_zero(i)) {
        list.push((Sign::Line(Weight::Index), "every fifth contour"));
    }
    if has(super::levels::Levels::is_zero) {
        list.push((Sign::Line(Weight::Zero), survey.subject.zero()));
    }
    if levels.len() > 0 && !survey.reads_to_the_edge() {
        list.push((Sign::Beyond, "beyond the readings"));
    }
    if survey.card.screws.is_some() {
        list.push((Sign::Screw, "screw"));
    }
    if survey.subject.turns().is_some() {
        list.push((Sign::Turn, "turn this way"));
    }
    if !survey.card.bed.keep_out.is_empty() {
        list.push((Sign::KeepOut, "keep out: clip or clamp"));
    }
    svg.tag("g").num("font-size", style::BODY).open();
    for (k, (sign, words)) in list.iter().enumerate() {
        let (column, row) = (k % 2, k / 2);
        #[expect(clippy::cast_precision_loss, reason = "a handful of signs")]
        let (x, y) = (MARGIN + column as f64 * SIGNS_COLUMN, top + 12.0 + row as f64 * 34.0);
        draw_sign(svg, sign, x, y);
        svg.tag("text").nums(&[("x", x + 44.0), ("y", y + 5.0)]).text(words);
    }
    if left_out > 0 {
        #[expect(clippy::cast_precision_loss, reason = "a handful of signs")]
        let y = top + 17.0 + list.len().div_ceil(2) as f64 * 34.0;
        let words = format!("{left_out} readings stand without their height, for want of room");
        svg.tag("text").nums(&[("x", MARGIN), ("y", y)]).attr("fill", style::QUIET).text(&words);
    }
    svg.close();
}

fn draw_sign(svg: &mut Svg, sign: &Sign, x: f64, y: f64) {
    let middle = [x + 17.0, y];
    let mut data = String::new();
    match sign {
        Sign::Spot => {
            ground::cross(middle, &mut data);
            ground::cross_path(svg, &data);
        }
        Sign::Screw => ground::screw_sign(svg, middle),
        Sign::Turn => turns::legend_arrow(svg, middle),
        Sign::KeepOut => ground::hatched(svg, [x, y - 9.0], [x + 34.0, y + 9.0]),
        Sign::Line(_) | Sign::Beyond => {
            path_data(&[[x, y], [x + 34.0, y]], false, &mut data);
            svg.tag("g").attr("fill", "none").attr("stroke", style::CONTOUR).open();
            match sign {
                Sign::Line(weight) => ground::contour_line(svg, &data, *weight, None),
                _ => ground::contour_line(svg, &data, Weight::Thin, Some(style::DASH)),
            }
            svg.close();
        }
    }
}

pub(super) fn title_rows(survey: &Survey<'_>) -> Vec<(&'static str, String)> {
    let card = survey.card;
    let [low, high] = survey.range;
    let decimals = survey.decimals.max(2);
    let mut rows =
        vec![("Heights", format!("{} to {} mm over the bed", signed(low, decimals), signed(high, decimals)))];
    rows.push(("Range", format!("{} mm", plain_fixed(high - low, decimals))));
    rows.push((
        "Contours",
        if survey.levels.len() > 0 {
            format!("every {} mm", plain(survey.levels.interval, 3))
        } else {
            "none: the bed is level to 0.001 mm".to_owned()
        },
    ));
    rows.push(("Readings", readings(survey)));
    if let Some(spread) = card.readings.spread {
        rows.push(("Spread", format!("{} mm, one standard deviation", plain(spread, 4))));
    }
    if let Some([x, y]) = card.readings.right_at {
        rows.push(("Set to 0 at", format!("X {}, Y {}", plain(x, 3), plain(y, 3))));
    }
    rows.push(("Surface", surface(survey).to_owned()));
    rows.push(("Taken at", temperatures(card.readings.bed_celsius, card.readings.nozzle_celsius)));
    rows.push(("Bed", bed(survey)));
    rows.push(("Card", survey.digest.clone()));
    rows
}

fn readings(survey: &Survey<'_>) -> String {
    let readings = &survey.card.readings;
    let with = |what: &str, size: Option<f64>| size.map_or(String::new(), |s| format!(", {what} {} mm", plain(s, 4)));
    let how = match readings.method {
        Method::Drag => {
            format!("nozzle on a sheet{}", readings.sheet.map_or(String::new(), |s| format!(" of {} mm", plain(s, 4))))
        }
        Method::Gauge => format!("feeler gauge{}", with("nozzle at", readings.parked)),
        Method::Patch => format!("printed patches{}", with("nozzle at", readings.parked)),
        Method::Dial => "dial indicator".to_owned(),
    };
    format!("{}, {how}", readings.points.len())
}

fn surface(survey: &Survey<'_>) -> &'static str {
    match (survey.map.kind(), survey.map.smoothed().is_some()) {
        (SurfaceKind::ThinPlate, true) => "thin plate, smoothed as the spread asks",
        (SurfaceKind::ThinPlate, false) => "thin plate through the readings",
        (SurfaceKind::Bilinear, _) => "bilinear between the readings",
    }
}

pub(super) fn temperatures(bed: Option<f64>, nozzle: Option<f64>) -> String {
    let part = |name: &str, t: Option<f64>| t.map(|t| format!("{name} {} \u{b0}C", plain(t, 1)));
    let parts: Vec<String> = [part("bed", bed), part("nozzle", nozzle)].into_iter().flatten().collect();
    if parts.is_empty() { "temperatures not given".to_owned() } else { parts.join(", ") }
}

pub(super) fn bed(survey: &Survey<'_>) -> String {
    let (w, d) = (plain(survey.edge.width(), 2), plain(survey.edge.depth(), 2));
    match (survey.edge.round, w == d) {
        (true, true) => format!("round, {w} mm across"),
        (true, false) => format!("oval, {w} \u{d7} {d} mm"),
        _ => format!("{w} \u{d7} {d} mm"),
    }
}

/// The plan in words, for who does not see it.
pub(super) fn description(survey: &Survey<'_>) -> String {
    let [low, high] = survey.range;
    let d = survey.decimals.max(2);
    let contours = if survey.levels.len() > 0 {
        format!("contours every {} mm", plain(survey.levels.interval, 3))
    } else {
        "no contours, the bed is level".to_owned()
    };
    format!(
        "The bed seen from above, the front at the bottom: {}. {} readings. Heights over the bed run from {} to {} mm; {contours}.",
        bed(survey),
        survey.card.readings.points.len(),
        signed(low, d),
        signed(high, d),
    )
}
