//! Inks, weights and sizes: how the plan looks, and nothing about where things are.

/// Text and the bed's edge.
pub(super) const INK: &str = "#1e2730";
/// Quiet text and rules. Only on paper, never on a tint.
pub(super) const QUIET: &str = "#56616b";
/// Contours and their figures.
pub(super) const CONTOUR: &str = "#432b10";
/// Screws and their names.
pub(super) const SCREW: &str = "#4c1d5e";
/// The sheet.
pub(super) const PAPER: &str = "#fcfbf7";
/// Hairlines of the grid and of the title block.
pub(super) const RULE: &str = "#b9b4a6";

/// Family of all text. The command brings this family for its pictures; elsewhere the reader's own sans-serif serves.
pub(super) const FAMILY: &str = "'Evengap Plan', 'Open Sans', sans-serif";

/// Ordinary contour, index contour, zero contour: line widths.
pub(super) const THIN: f64 = 1.0;
/// See [`THIN`].
pub(super) const INDEX: f64 = 2.0;
/// See [`THIN`].
pub(super) const ZERO: f64 = 2.6;
/// Dashes of a contour beyond the readings.
pub(super) const DASH: &str = "7 5";

/// Text sizes. The sheet is 1000 wide; on A4 with 10 mm margins 13 is 7 points, 15 is 8 points.
pub(super) const SPOT: f64 = 15.0;
/// Figures on contours.
pub(super) const LABEL: f64 = 13.5;
/// Ticks, names, legend.
pub(super) const SMALL: f64 = 13.0;
/// Title block.
pub(super) const BODY: f64 = 14.0;
/// The heading.
pub(super) const HEADING: f64 = 25.0;

/// How wide `text` is at `size`: the advances of the family above, rounded up, so that boxes err on the roomy side.
pub(super) fn text_width(text: &str, size: f64) -> f64 {
    text.chars()
        .map(|c| match c {
            '.' | ',' | ':' | ';' | ' ' | '\'' | 'i' | 'j' | 'l' | '!' | '|' => 0.28,
            'f' | 't' | 'r' | '(' | ')' | '/' | 'I' | 'J' | '-' => 0.42,
            '0'..='9' | '+' | '\u{2212}' | 's' | 'c' | 'k' | 'v' | 'x' | 'y' | 'z' => 0.58,
            'm' | 'w' | 'M' | 'W' | '@' => 0.96,
            'A'..='Z' => 0.76,
            c if c.is_ascii() => 0.63,
            // Other scripts: the widest common case is a full square.
            c if u32::from(c) < 0x1100 => 0.75,
            _ => 1.0,
        })
        .sum::<f64>()
        * size
}
