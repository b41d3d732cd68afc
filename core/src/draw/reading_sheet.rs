//! The sheet to print and take to the printer: the bed with its points numbered, what to do at each, and a box for each reading.

use super::edge::Edge;
use super::ground::{self, CROSS_ROOM, SCREW_ROOM, Word};
use super::page::Page;
use super::place::{Area, Taken};
use super::svg::{self, Svg, path_data};
use super::{frame, levels, style};
use crate::card::{Card, Point};
use crate::cautions::READING;
use crate::number::Shown;
use crate::plan::{about, plunger, steps};
use crate::whereabouts;
use core::fmt::Write as _;

/// Paper to print on, upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Paper {
    /// ISO 216 A4: 210 x 297 mm.
    #[default]
    A4,
    /// ANSI/ASME Y14.1 A, "Letter": 215.9 x 279.4 mm.
    Letter,
}

impl Paper {
    /// Width and height, mm.
    #[must_use]
    pub fn size(self) -> [f64; 2] {
        match self {
            Paper::A4 => [210.0, 297.0],
            Paper::Letter => [215.9, 279.4],
        }
    }
}

/// Sheet units a millimetre of paper: 1000 units are the 190 mm between A4's margins, as on the plans.
const UNIT: f64 = 1000.0 / 190.0;
/// Margin at the top and the bottom, mm; at the sides what the width of 190 mm leaves.
const MARGIN: f64 = 10.0;
const WIDTH: f64 = 1000.0;
/// Text of steps and cautions: 8 points on paper.
const TEXT: f64 = 15.0;
const LINE: f64 = 20.5;
/// Room that the footer takes, with its ruler.
const FOOT: f64 = 58.0;
/// Where the bed's drawing begins.
const BED_TOP: f64 = 116.0;
/// Left for the figures of the Y axis, right for air.
const SIDES: [f64; 2] = [84.0, 24.0];
/// Boxes for readings: columns on a page, a row's height.
const COLUMNS: usize = 3;
const ROW: f64 = 56.0;
/// More points than this have no number on the drawing; they have their boxes.
const MOST_NUMBERS: usize = 900;

/// The pages of the reading sheet, each a self-contained SVG document of the paper's size.
///
/// The first page has the bed at a round scale (1 : 1 where it fits), front side down, with the card's points numbered in the card's order
/// and the way from one to the next, screws, keep-out areas, the steps of the card's method, what to write down, and the cautions.
/// The pages after it have a box for each point, with its place in mm and in words; what was read already is printed in its box. Each page ends
/// with a bar of 100 mm, by which a print's scale is checked.
///
/// The same card gives the same bytes. There is no date on the sheet: a line is left for it.
///
/// ```
/// use evengap::draw::{Paper, reading_sheet};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
///
/// let pages = reading_sheet(&card, Paper::A4);
/// assert!(pages[0].starts_with("<svg") && pages.len() == 1 + usize::from(pages.len() > 1));
/// assert_eq!(Paper::A4.size(), [210.0, 297.0]);
/// # Ok::<(), evengap::Error>(())
/// ```
#[must_use]
pub fn reading_sheet(card: &Card, paper: Paper) -> Vec<String> {
    Sheet::new(card, paper).pages()
}

struct Sheet<'a> {
    card: &'a Card,
    paper: Paper,
    points: Vec<Point>,
    /// Height that can be drawn on, above the footer.
    height: f64,
    digest: String,
}

impl<'a> Sheet<'a> {
    fn new(card: &'a Card, paper: Paper) -> Sheet<'a> {
        let height = (paper.size()[1] - 2.0 * MARGIN) * UNIT - FOOT;
        Sheet { card, paper, points: card.readings.all_points().collect(), height, digest: card.digest() }
    }

    fn pages(&self) -> Vec<String> {
        let rows = self.rows();
        let a_page = (COLUMNS * rows).max(1);
        let count = 1 + self.points.len().div_ceil(a_page);
        let mut pages = vec![self.first(count)];
        for (k, points) in self.points.chunks(a_page).enumerate() {
            pages.push(self.boxes(points, 1 + k * a_page, rows, [k + 2, count]));
        }
        pages
    }

    fn rows(&self) -> usize {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a page has some twenty rows")]
        let rows = ((self.height - BED_TOP) / ROW).max(1.0) as usize;
        rows
    }

    /// Opens a page: paper, heading and footer are the same on all.
    fn page(&self, title: &str, [number, count]: [usize; 2]) -> Svg {
        let [width, height] = self.paper.size();
        let side = 0.5 * (width * UNIT - WIDTH);
        let top = MARGIN * UNIT;
        let mut svg = Svg::default();
        let view = [-side, -top, width * UNIT, height * UNIT].map(svg::coordinate).join(" ");
        svg.tag("svg")
            .attr("xmlns", "http://www.w3.org/2000/svg")
            .attr("viewBox", &view)
            .attr("width", &format!("{}mm", Shown(width)))
            .attr("height", &format!("{}mm", Shown(height)))
            .attr("role", "img")
            .attr("aria-labelledby", &format!("evengap-sheet-{}-{number}", self.digest))
            .attr("font-family", style::FAMILY)
            .attr("fill", style::INK)
            .open();
        svg.tag("title").attr("id", &format!("evengap-sheet-{}-{number}", self.digest)).text(title);
        svg.tag("rect")
            .nums(&[("x", -side), ("y", -top), ("width", width * UNIT), ("height", height * UNIT)])
            .attr("fill", "#ffffff")
            .end();
        text(&mut svg, [0.0, 26.0], style::HEADING, Some("600"), style::INK, title);
        self.fields(&mut svg);
        self.footer(&mut svg, number, count);
        svg
    }

    /// Lines to write on: which printer, when.
    fn fields(&self, svg: &mut Svg) {
        let mut data = String::new();
        for (x, name, width) in [(520.0, "Printer", 180.0), (790.0, "Date", 160.0)] {
            text(svg, [x, 26.0], TEXT, None, style::QUIET, name);
            let from = x + style::text_width(name, TEXT) + 4.0;
            path_data(&[[from, 28.0], [x + width + 40.0, 28.0]], false, &mut data);
        }
        rule(svg, &data, style::QUIET);
    }

    fn footer(&self, svg: &mut Svg, number: usize, count: usize) {
        let y = self.height + 24.0;
        let step = 10.0 * UNIT;
        svg.tag("g").attr("stroke", style::INK).num("stroke-width", 1.0).open();
        for k in 0..10_u8 {
            svg.tag("rect")
                .nums(&[("x", f64::from(k) * step), ("y", y), ("width", step), ("height", 6.0)])
                .attr("fill", if k % 2 == 0 { style::INK } else { "#ffffff" })
                .end();
        }
        svg.close();
        let words = "This bar is 100 mm long where the print is to scale: measure it.";
        text(svg, [0.0, y + 24.0], style::SMALL, None, style::QUIET, words);
        let page = format!("card {}, page {number} of {count}", self.digest);
        let size = style::SMALL;
        svg.tag("text")
            .nums(&[("x", WIDTH), ("y", y + 24.0), ("font-size", size)])
            .attr("text-anchor", "end")
            .attr("fill", style::QUIET)
            .text(&page);
    }

    fn first(&self, count: usize) -> String {
        let mut svg = self.page("Reading the bed", [1, count]);
        let about = about(self.card.readings.method);
        let points = self.points.len();
        let unread = self.card.readings.unread.len();
        let left = if unread < points { format!(", {unread} of them still to be read") } else { String::new() };
        let line = format!("Method {}: {}. {points} points{left}.", about.word, about.tool);
        text(&mut svg, [0.0, 54.0], style::BODY + 1.0, None, style::INK, &line);

        let columns = [self.how(560.0), self.beside(396.0)];
        let tallest = columns.iter().map(Block::height).fold(0.0, f64::max);
        let below = frame::BELOW + 8.0;
        let room = [WIDTH - SIDES[0] - SIDES[1], (self.height - BED_TOP - below - tallest - 14.0).max(200.0)];
        let screws = self.card.screws.iter().flat_map(|s| s.at.iter().map(|s| [s.x, s.y]));
        let edge = Edge::of(&self.card.bed);
        let mut y = BED_TOP;
        if let Some((page, k)) = Page::to_scale(&edge, screws, [SIDES[0], BED_TOP], room, UNIT) {
            self.bed(&mut svg, &edge, &page);
            let [_, high] = page.frame();
            let scale = format!("Scale 1 : {}. {}", levels::plain(k, 2), self.signs());
            text(&mut svg, [0.0, 76.0], style::SMALL, None, style::QUIET, &scale);
            y = high[1] + below;
        }
        // What room is left goes between the drawing and the words.
        let y = y.max((self.height - tallest - 14.0).min(y + 40.0));
        let mut data = String::new();
        path_data(&[[0.0, y], [WIDTH, y]], false, &mut data);
        rule(&mut svg, &data, style::RULE);
        columns[0].draw(&mut svg, [0.0, y + 14.0]);
        columns[1].draw(&mut svg, [604.0, y + 14.0]);
        svg.finish()
    }

    /// What the drawing's signs mean.
    fn signs(&self) -> String {
        let mut signs = vec!["cross: point"];
        if plunger(self.card).is_some() {
            signs.push("dot: the plunger's place");
        }
        if self.card.screws.is_some() {
            signs.push("ring: screw");
        }
        if !self.card.bed.keep_out.is_empty() {
            signs.push("hatched: keep out");
        }
        let list = signs.join("; ");
        format!("{}{}.", list[..1].to_ascii_uppercase(), &list[1..])
    }

    fn bed(&self, svg: &mut Svg, edge: &Edge, page: &Page) {
        let [low, high] = page.frame();
        let clip = format!("evengap-sheet-bed-{}", self.digest);
        svg.tag("defs").open();
        svg.tag("clipPath").attr("id", &clip).open();
        frame::outline(svg, edge, page).end();
        svg.close();
        svg.close();
        svg.tag("g").attr("clip-path", &format!("url(#{clip})")).open();
        frame::grid(svg, page);
        ground::keep_outs(svg, self.card, edge, page);
        svg.close();
        frame::outline(svg, edge, page).attr("fill", "none").attr("stroke", style::INK).num("stroke-width", 2.2).end();

        let places: Vec<[f64; 2]> = self.points.iter().map(|p| page.at(place(p))).collect();
        let mut way = String::new();
        path_data(&places, false, &mut way);
        svg.tag("path")
            .attr("d", &way)
            .attr("fill", "none")
            .attr("stroke", style::QUIET)
            .num("stroke-width", 1.0)
            .attr("stroke-dasharray", "3 5")
            .end();

        let screws = self.card.screws.as_ref().map_or(&[][..], |s| &s.at);
        let mut taken = Taken::new(low, high);
        let mut crosses = String::new();
        for at in &places {
            taken.take(Area::upright(*at, 2.0 * CROSS_ROOM, 2.0 * CROSS_ROOM));
            ground::cross(*at, &mut crosses);
        }
        for screw in screws {
            taken.take(Area::upright(page.at([screw.x, screw.y]), 2.0 * SCREW_ROOM, 2.0 * SCREW_ROOM));
        }
        let lines: Vec<Area> = places.windows(2).map(|pair| Area::piece(pair[0], pair[1])).collect();
        let corner = |x: f64, y: f64| page.at([x, y]);
        let keep_outs: Vec<Area> = (self.card.bed.keep_out.iter())
            .map(|[x0, y0, x1, y1]| {
                (corner(0.5 * (x0 + x1), 0.5 * (y0 + y1)), (x1 - x0) * page.scale, (y1 - y0) * page.scale)
            })
            .map(|(centre, width, depth)| Area::upright(centre, width, depth))
            .collect();
        // A number on a hatching cannot be read; on a line it can.
        let covers = |area: &Area| {
            let over = |areas: &[Area]| areas.iter().filter(|l| l.meets(area)).count();
            over(&lines).min(9) + 10 * over(&keep_outs)
        };
        let near_screw = |at: [f64; 2]| {
            screws.iter().map(|s| page.at([s.x, s.y])).any(|s| libm::hypot(s[0] - at[0], s[1] - at[1]) < SCREW_ROOM)
        };
        let numbered = if places.len() <= MOST_NUMBERS { &places[..] } else { &[] };
        let numbers: Vec<Word> = numbered
            .iter()
            .zip(1_usize..)
            .filter_map(|(at, n)| {
                let room = if near_screw(*at) { SCREW_ROOM } else { CROSS_ROOM };
                ground::word(n.to_string(), *at, NUMBER, room, &mut taken, &covers)
            })
            .collect();
        let names: Vec<Word> = screws
            .iter()
            .filter_map(|s| {
                ground::word(s.name.clone(), page.at([s.x, s.y]), style::SMALL, SCREW_ROOM, &mut taken, &covers)
            })
            .collect();
        for screw in screws {
            ground::screw_sign(svg, page.at([screw.x, screw.y]));
        }
        ground::words(svg, &names, style::SMALL, style::SCREW);
        if let Some([dx, dy]) = plunger(self.card) {
            self.plungers(svg, page, [dx, dy]);
        }
        ground::cross_path(svg, &crosses);
        ground::words(svg, &numbers, NUMBER, style::INK);
        frame::axes(svg, page, low, high);
        frame::orientation(svg, low, high);
    }

    fn plungers(&self, svg: &mut Svg, page: &Page, [dx, dy]: [f64; 2]) {
        svg.tag("g").attr("fill", style::QUIET).open();
        for p in &self.points {
            let [x, y] = place(p);
            let [u, v] = page.at([x + dx, y + dy]);
            svg.tag("circle").nums(&[("cx", u), ("cy", v), ("r", 3.0)]).end();
        }
        svg.close();
    }

    fn how(&self, width: f64) -> Block {
        let mut block = Block::new(width);
        block.heading("At the printer");
        for (step, number) in steps(&self.card.readings).iter().zip(1_usize..) {
            block.item(&format!("{number}."), step);
        }
        let r = &self.card.readings;
        let about = about(r.method);
        block.heading("What to write down");
        block.text(&format!("{}; {}.", capital(about.value), about.sign));
        let spread = r.spread.map_or("usual", |_| "the card's");
        let usual = Shown(r.spread_or_usual());
        block.text(&format!("Expect readings to repeat within about {usual} mm ({spread} spread)."));
        if let Some([x, y]) = r.right_at.map(|at| at.map(Shown)) {
            block.text(&format!("Heights count from X {x} Y {y}, where the first layer is right."));
        }
        block
    }

    fn beside(&self, width: f64) -> Block {
        let r = &self.card.readings;
        let mut block = Block::new(width);
        block.heading("Temperatures");
        let degrees =
            |t: Option<f64>| t.map_or_else(|| "________ \u{b0}C".to_owned(), |t| format!("{} \u{b0}C", Shown(t)));
        block.text(&format!("Bed {}, nozzle {}", degrees(r.bed_celsius), degrees(r.nozzle_celsius)));
        block.heading("Cautions");
        for caution in READING {
            block.item("\u{2013}", caution);
        }
        block
    }

    /// A page of boxes; `first` is the first point's number.
    fn boxes(&self, points: &[Point], first: usize, rows: usize, page: [usize; 2]) -> String {
        let mut svg = self.page("Readings", page);
        let about = about(self.card.readings.method);
        let line = format!("{}; {}.", capital(about.value), about.sign);
        text(&mut svg, [0.0, 54.0], TEXT, None, style::INK, &line);
        let words = "Numbers as on the first page. Leave a box empty where you could not read.";
        text(&mut svg, [0.0, 76.0], style::SMALL, None, style::QUIET, words);
        // Few points stand side by side too.
        let rows = points.len().div_ceil(COLUMNS).clamp(1, rows);
        let width = (WIDTH - 2.0 * GUTTER) / crate::surface::places::count(COLUMNS);
        for (k, point) in points.iter().enumerate() {
            let count = crate::surface::places::count;
            let (x, y) = (count(k / rows) * (width + GUTTER), BED_TOP - 4.0 + count(k % rows) * ROW);
            let [px, py] = place(point);
            svg.tag("text")
                .nums(&[("x", x + 46.0), ("y", y + 33.0), ("font-size", 21.0)])
                .attr("font-weight", "600")
                .attr("text-anchor", "end")
                .text(&(first + k).to_string());
            let at = format!("X {}  Y {}", levels::plain(px, 3), levels::plain(py, 3));
            text(&mut svg, [x + 58.0, y + 21.0], TEXT, None, style::INK, &at);
            text(
                &mut svg,
                [x + 58.0, y + 40.0],
                style::SMALL,
                None,
                style::QUIET,
                whereabouts::place(&self.card.bed, px, py),
            );
            svg.tag("rect")
                .nums(&[("x", x + width - BOX[0]), ("y", y + 2.0), ("width", BOX[0]), ("height", BOX[1])])
                .attr("fill", "none")
                .attr("stroke", style::INK)
                .num("stroke-width", 1.4)
                .end();
            if let Point::Read(r) = point {
                svg.tag("text")
                    .nums(&[("x", x + width - 0.5 * BOX[0]), ("y", y + 33.0), ("font-size", 20.0)])
                    .attr("text-anchor", "middle")
                    .text(&levels::plain(r.value, 4));
            }
        }
        svg.finish()
    }
}

/// Size of the points' numbers.
const NUMBER: f64 = 18.0;
/// Between columns of boxes.
const GUTTER: f64 = 26.0;
/// A box to write in: 25 by 9 mm.
const BOX: [f64; 2] = [132.0, 46.0];

fn place(point: &Point) -> [f64; 2] {
    match point {
        Point::Read(r) => [r.x, r.y],
        Point::Unread(u) => [u.x, u.y],
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |c| core::iter::once(c.to_ascii_uppercase()).chain(letters).collect())
}

fn text(svg: &mut Svg, [x, y]: [f64; 2], size: f64, weight: Option<&str>, ink: &str, words: &str) {
    if words.is_empty() {
        return;
    }
    let mut tag = svg.tag("text").nums(&[("x", x), ("y", y), ("font-size", size)]).attr("fill", ink);
    if let Some(weight) = weight {
        tag = tag.attr("font-weight", weight);
    }
    tag.text(words);
}

fn rule(svg: &mut Svg, data: &str, ink: &str) {
    svg.tag("path").attr("d", data).attr("fill", "none").attr("stroke", ink).num("stroke-width", 1.0).end();
}

/// Words in a column, broken into lines.
struct Block {
    width: f64,
    lines: Vec<Line>,
}

enum Line {
    Heading(String),
    /// A mark in front, on the first line of an item, and the words.
    Words {
        mark: String,
        indent: f64,
        words: String,
    },
    Gap(f64),
}

impl Block {
    fn new(width: f64) -> Block {
        Block { width, lines: Vec::new() }
    }

    fn heading(&mut self, words: &str) {
        if !self.lines.is_empty() {
            self.lines.push(Line::Gap(7.0));
        }
        self.lines.push(Line::Heading(words.to_owned()));
    }

    fn text(&mut self, words: &str) {
        self.put("", 0.0, words);
    }

    fn item(&mut self, mark: &str, words: &str) {
        self.put(mark, 22.0, words);
        self.lines.push(Line::Gap(2.0));
    }

    fn put(&mut self, mark: &str, indent: f64, words: &str) {
        let mut mark = mark.to_owned();
        for words in wrapped(words, self.width - indent) {
            self.lines.push(Line::Words { mark: core::mem::take(&mut mark), indent, words });
        }
    }

    fn height(&self) -> f64 {
        self.lines.iter().map(Line::height).sum()
    }

    fn draw(&self, svg: &mut Svg, [x, top]: [f64; 2]) {
        let mut y = top;
        for line in &self.lines {
            let base = y + 0.75 * LINE;
            match line {
                Line::Heading(words) => text(svg, [x, base], TEXT, Some("600"), style::INK, words),
                Line::Words { mark, indent, words } => {
                    text(svg, [x, base], TEXT, None, style::QUIET, mark);
                    text(svg, [x + indent, base], TEXT, None, style::INK, words);
                }
                Line::Gap(_) => {}
            }
            y += line.height();
        }
    }
}

impl Line {
    fn height(&self) -> f64 {
        match self {
            Line::Heading(_) => LINE + 2.0,
            Line::Words { .. } => LINE,
            Line::Gap(height) => *height,
        }
    }
}

/// Words broken into lines no wider than `width`; a word that is wider stands alone.
fn wrapped(words: &str, width: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in words.split_whitespace() {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if !line.is_empty() && style::text_width(&longer, TEXT) > width {
            lines.push(core::mem::take(&mut line));
            let _ = write!(line, "{word}");
        } else {
            line = longer;
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{Layout, Room, planned};

    fn card(extra: &str, method: &str) -> Card {
        let text = format!(
            "[bed]\nx = [0, 235]\ny = [0, 235]\n{extra}\n[readings]\n{method}\nbed_celsius = 60\n[screws]\nthread = 'M4'\nraise = 'clockwise'\nat = {{ a = [30, 30], b = [205, 30], c = [100, 200] }}\n"
        );
        Card::parse_without_points(&text).unwrap()
    }

    fn with_grid(card: &Card, columns: usize, rows: usize) -> Card {
        planned(card, Layout::Grid { columns, rows }, Room::default()).unwrap().card
    }

    const METHODS: [&str; 4] = [
        "method = 'drag'\nsheet = 0.1",
        "method = 'gauge'\nparked = 0.3",
        "method = 'patch'\nparked = 0.3",
        "method = 'dial'\noffset = [-35, 22]\nright_at = [117, 117]",
    ];

    /// All numbers of an attribute, wherever it stands.
    fn values(svg: &str, name: &str) -> Vec<f64> {
        svg.split(&format!(" {name}=\"")).skip(1).filter_map(|rest| rest.split('"').next()?.parse().ok()).collect()
    }

    #[test]
    fn every_point_has_a_number_and_a_box() {
        for method in METHODS {
            for paper in [Paper::A4, Paper::Letter] {
                let card = with_grid(&card("keep_out = [[0, 100, 12, 130]]", method), 7, 7);
                let count = card.readings.unread.len();
                let pages = reading_sheet(&card, paper);
                assert_eq!(pages.len(), 2, "{method}");
                for n in 1..=count {
                    assert!(pages.iter().all(|p| p.contains(&format!(">{n}</text>"))), "{method}: {n}");
                }
                let boxes = pages[1].matches(&format!("width=\"{:.2}\" height=\"{:.2}\"", BOX[0], BOX[1])).count();
                assert_eq!(boxes, count);
                assert!(pages[0].contains("60 \u{b0}C") && pages[0].contains("FRONT"));
            }
        }
    }

    #[test]
    fn words_stay_on_the_paper() {
        for method in METHODS {
            for paper in [Paper::A4, Paper::Letter] {
                let long = card("keep_out = [[0, 100, 12, 130]]\noutline = 'round'", method);
                for page in reading_sheet(&with_grid(&long, 9, 9), paper) {
                    let bottom = (paper.size()[1] - 2.0 * MARGIN) * UNIT;
                    for y in values(&page, "y") {
                        assert!(y <= bottom + 1e-9, "{method} {paper:?}: y {y} beyond {bottom}");
                    }
                    for x in values(&page, "x") {
                        assert!(x <= WIDTH + 1e-9, "{method} {paper:?}: x {x}");
                    }
                }
            }
        }
    }

    #[test]
    fn many_points_take_several_pages() {
        let pages = reading_sheet(&with_grid(&card("", METHODS[0]), 20, 20), Paper::A4);
        assert!(pages.len() > 3);
        assert!(pages[0].contains(&format!("page 1 of {}", pages.len())));
        assert!(pages[pages.len() - 1].contains(">400</text>"));
    }

    #[test]
    fn the_bar_is_100_mm_and_the_paper_its_size() {
        let pages = reading_sheet(&with_grid(&card("", METHODS[0]), 3, 3), Paper::Letter);
        assert!(pages[0].contains("width=\"215.9mm\" height=\"279.4mm\""));
        // Ten fields of 10 mm, in units of 0.19 mm.
        let fields = pages[0].matches("width=\"52.63\" height=\"6.00\"").count();
        assert_eq!(fields, 10);
    }

    #[test]
    fn a_small_bed_is_drawn_at_full_size_and_a_large_one_fits() {
        let of = |x: [f64; 2]| {
            let text =
                format!("[bed]\nx = [{}, {}]\ny = [0, 80]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n", x[0], x[1]);
            let card = with_grid(&Card::parse_without_points(&text).unwrap(), 3, 3);
            reading_sheet(&card, Paper::A4).swap_remove(0)
        };
        assert!(of([-40.0, 40.0]).contains("Scale 1 : 1."));
        assert!(of([0.0, 600.0]).contains("Scale 1 : 4."));
        assert!(of([0.0, 60_000.0]).contains("Scale 1 : 500."));
        assert!(of([-100_000.0, 100_000.0]).contains("Scale 1 : 2000."));
    }

    #[test]
    fn numbers_that_are_none_do_no_harm() {
        let mut odd = with_grid(&card("", METHODS[3]), 3, 3);
        odd.bed.x[1] = f64::NAN;
        odd.readings.unread[0].x = f64::INFINITY;
        odd.readings.offset = Some([f64::NAN, 1e308]);
        for page in reading_sheet(&odd, Paper::A4) {
            assert!(!page.contains("NaN\"") && !page.contains("inf\""));
        }
    }

    #[test]
    fn readings_taken_already_stand_in_their_boxes() {
        let mut card = with_grid(&card("", METHODS[0]), 3, 3);
        let unread = card.readings.unread.remove(0);
        card.readings.points.push(crate::card::Reading {
            x: unread.x,
            y: unread.y,
            value: -0.125,
            spread: None,
            line: None,
            column: None,
        });
        let pages = reading_sheet(&card, Paper::A4);
        assert!(pages[1].contains(">\u{2212}0.125</text>"));
        assert!(pages[0].contains("9 points, 8 of them still to be read"));
    }
}
