//! Toolpaths of any length for measuring, and the bed that they are printed on. Invented: a part of wavy rings.

use evengap::Card;
use std::fmt::Write;

/// What a toolpath is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Moves of 0.4 mm, absolute E, a fifth of the part in the taper.
    Short,
    /// The same, no taper: all of it follows the bed.
    Whole,
    /// The same, all of it in the taper: every E is written anew.
    Taper,
    /// The same, relative E, all of it in the taper.
    TaperRelativeE,
    /// Relative E, a fifth in the taper.
    RelativeE,
    /// Relative coordinates and relative E.
    Relative,
    /// Arcs of 4 mm with centres.
    Arcs,
    /// All of it above the taper.
    Above,
    /// With comments, CR LF, layer texts and travel moves between.
    Mixed,
}

impl Kind {
    /// All of them.
    pub const ALL: [Kind; 9] = [
        Kind::Short,
        Kind::Whole,
        Kind::Taper,
        Kind::TaperRelativeE,
        Kind::RelativeE,
        Kind::Relative,
        Kind::Arcs,
        Kind::Above,
        Kind::Mixed,
    ];

    /// In a word or two.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Kind::Short => "short moves",
            Kind::Whole => "short moves, no taper",
            Kind::Taper => "all in the taper",
            Kind::TaperRelativeE => "all in the taper, relative E",
            Kind::RelativeE => "short moves, relative E",
            Kind::Relative => "relative moves",
            Kind::Arcs => "arcs",
            Kind::Above => "above the taper",
            Kind::Mixed => "comments and travels, CR LF",
        }
    }

    /// Whether it is to be followed to its top.
    #[must_use]
    pub fn without_taper(self) -> bool {
        self == Kind::Whole
    }

    /// The lowest and the highest layer, mm.
    fn layers(self) -> [f64; 2] {
        match self {
            Kind::Taper | Kind::TaperRelativeE => [0.6, 6.0],
            Kind::Above => [15.0, 60.0],
            _ => [0.2, 30.0],
        }
    }
}

/// A bed 235 mm wide, bent by 0.3 mm, read at 25 places.
///
/// # Panics
/// Never: the card is right.
#[must_use]
pub fn card() -> Card {
    let mut points = String::new();
    for i in 0..5u8 {
        for j in 0..5u8 {
            let [u, v] = [i, j].map(|n| f64::from(n) / 2.0 - 1.0);
            let z = 0.1 + 0.3 * (1.0 - 0.5 * (u * u + v * v)) + 0.01 * f64::from((i * 7 + j * 3) % 5);
            let _ = write!(points, "[{}, {}, {z:.3}],", 117.5 + 107.5 * u, 117.5 + 107.5 * v);
        }
    }
    let text =
        format!("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\npoints = [{points}]\n");
    Card::parse(&text).expect("a card")
}

/// A toolpath of about `length` bytes.
#[must_use]
pub fn make(kind: Kind, length: usize) -> Vec<u8> {
    let relative_e = matches!(kind, Kind::TaperRelativeE | Kind::RelativeE | Kind::Relative);
    let end = if kind == Kind::Mixed { "\r\n" } else { "\n" };
    let mut text =
        format!("{}{end}G28{end}G90{end}G1 Z5 F3000{end}G92 E0{end}", if relative_e { "M83" } else { "M82" });
    let [low, high] = kind.layers();
    // As many layers as it takes: of 2,500 moves, some 33 bytes each.
    #[expect(clippy::cast_precision_loss, reason = "some layers")]
    let step = (high - low) / (length / 82_000).max(1) as f64;
    let mut z = low;
    let mut before = [0.0; 2];
    while text.len() < length {
        let _ = write!(text, "G90{end}G1 Z{z:.3} F9000{end}G92 E0{end}");
        for k in 0..2500u32 {
            let n = f64::from(k);
            let r = 50.0 + 30.0 * (n * 0.0007).sin();
            let a = n * 0.4 / r;
            let [x, y] = [117.0 + r * a.cos(), 117.0 + r * a.sin()].map(|v| (v * 1e3).round() / 1e3);
            let (e, de) = (n * 0.0332, 0.0332);
            match kind {
                Kind::Relative if k == 0 => {
                    let _ = write!(text, "G0 X{x:.3} Y{y:.3}{end}G91{end}");
                }
                Kind::Relative => {
                    let _ = write!(text, "G1 X{:.3} Y{:.3} E{de:.5}{end}", x - before[0], y - before[1]);
                }
                Kind::Arcs if k % 10 == 0 => {
                    if k == 0 {
                        let _ = write!(text, "G0 X{x:.3} Y{y:.3}{end}");
                    }
                    // The ray from the ring's middle, with the radius as it is here.
                    let [i, j] = [-r * a.cos(), -r * a.sin()];
                    let b = a + 4.0 / r;
                    let [x, y] = [x + i + r * b.cos(), y + j + r * b.sin()];
                    let _ = write!(text, "G3 X{x:.3} Y{y:.3} I{i:.3} J{j:.3} E{:.5}{end}", e + 0.332);
                    if k + 10 < 2500 {
                        let n = n + 10.0;
                        let r = 50.0 + 30.0 * (n * 0.0007).sin();
                        let a = n * 0.4 / r;
                        let _ = write!(text, "G0 X{:.3} Y{:.3}{end}", 117.0 + r * a.cos(), 117.0 + r * a.sin());
                    }
                }
                Kind::Arcs => {}
                Kind::Mixed if k % 50 == 49 => {
                    let _ = write!(
                        text,
                        "G1 E{:.5} F2400{end}; next ring of layer {z:.3}{end}G0 F7200 X{x:.3} Y{y:.3}{end}G1 E{e:.5} F2400{end}",
                        e - 0.8
                    );
                }
                _ if relative_e => {
                    let _ = write!(text, "G1 X{x:.3} Y{y:.3} E{de:.5}{end}");
                }
                _ => {
                    let _ = write!(text, "G1 X{x:.3} Y{y:.3} E{e:.5}{end}");
                }
            }
            before = [x, y];
        }
        z += step;
    }
    text.into_bytes()
}
