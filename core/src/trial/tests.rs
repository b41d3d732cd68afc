//! Test prints read back with the project's own reader, and cards corrected on simulated beds.

use super::*;
use crate::SurfaceKind;
use crate::toolpath::lines::{Lines, Piece};
use crate::toolpath::words::Line;
use crate::toolpath::{Reader, Reading, Step};
use core::f64::consts::PI;
use proptest::prelude::*;

const CARD: &str = r#"
[bed]
x = [0, 235]
y = [0, 235]
keep_out = [[0, 108, 10, 126], [225, 108, 235, 126]]
[readings]
method = "drag"
sheet = 0.1
bed_celsius = 60
nozzle_celsius = 205
spread = 0.02
points = [
  [ 20,  20, 0.13], [117,  20, 0.20], [215,  20, 0.13],
  [ 20, 117, 0.14], [117, 117, 0.27], [215, 117, 0.20],
  [ 20, 215, 0.02], [117, 215, 0.15], [215, 215, 0.14],
]
"#;

fn example() -> (Card, HeightMap) {
    let card = Card::parse(CARD).unwrap();
    let map = HeightMap::fit(&card, SurfaceKind::ThinPlate).unwrap();
    (card, map)
}

/// A move whose place is known: from, to and the filament pushed.
struct Seen {
    from: [f64; 3],
    to: [f64; 3],
    filament: f64,
}

impl Seen {
    fn length(&self) -> f64 {
        libm::hypot(self.to[0] - self.from[0], self.to[1] - self.from[1])
    }

    fn prints(&self) -> bool {
        self.filament > 0.0 && self.length() > 0.0
    }
}

fn read_back(program: &str) -> Vec<Seen> {
    let mut reader = Reader::new(Reading::default());
    let mut words = Line::default();
    let mut out = Vec::new();
    let mut number = 0;
    let mut sink = |piece: Piece<'_>| -> Result<(), Error> {
        let Piece::Line(bytes, _) = piece else { panic!("a long line") };
        number += 1;
        words.read(bytes);
        let step = reader.read(&words, bytes, number)?;
        assert!(!matches!(step, Step::NotUnderstood), "{}", bytes.escape_ascii());
        let m = reader.last_move();
        if step == Step::Move && m.known() {
            out.push(Seen { from: m.before.map(|a| a.place()), to: m.after.map(|a| a.place()), filament: m.e_delta() });
        }
        Ok(())
    };
    let mut lines = Lines::default();
    lines.push(program.as_bytes(), &mut sink).unwrap();
    lines.finish(&mut sink).unwrap();
    out
}

/// What holds of every test print; `h` is the bed that it follows.
fn check_print(card: &Card, print: &Trial, h: &dyn Fn(f64, f64) -> f64, filament_diameter: f64) {
    let moves = read_back(&print.text);
    let (w, layer) = (print.line_width, print.layer_height);
    // The volume by its own sum: a rectangle and two half circles, along every printed line.
    let section = (w - layer) * layer + PI * layer * layer / 4.0;
    let strand = PI * filament_diameter * filament_diameter / 4.0;
    let (mut length, mut pushed, mut pieces) = (0.0, 0.0, 0.0);
    for m in &moves {
        let level = |p: [f64; 3]| p[2] - h(p[0], p[1]);
        if m.prints() {
            for p in [m.from, m.to] {
                assert!(card.bed.reaches(p[0], p[1]) && card.bed.keep_out_at(p[0], p[1]).is_none(), "{p:?}");
                // 0.005 mm of tolerance, half a unit of Z, and the grain of X and Y on a slope.
                assert!((level(p) - layer).abs() <= 0.0056, "{p:?}: {}", level(p));
            }
            length += m.length();
            pushed += m.filament;
            pieces += 1.0;
            // Each piece alone: the registers at both ends are within half a unit of 0.00001 mm.
            let wanted = m.length() * section / strand;
            // A split point lies within half a unit of 0.001 mm in X and in Y, at both ends.
            assert!((m.filament - wanted).abs() <= 1.1e-5 + 0.0015 * section / strand, "{} {wanted}", m.filament);
        } else if m.length() > 0.0 {
            // Travel hops: never in the layer.
            assert!(level(m.from).min(level(m.to)) >= layer + HOP - 0.0056, "{:?} {:?}", m.from, m.to);
            assert!(m.filament <= 0.0);
            for k in &card.bed.keep_out {
                for n in 0..=100 {
                    let t = f64::from(n) / 100.0;
                    let [x, y] = [0, 1].map(|a| m.from[a] + t * (m.to[a] - m.from[a]));
                    assert!(!(x > k[0] + 1e-6 && x < k[2] - 1e-6 && y > k[1] + 1e-6 && y < k[3] - 1e-6), "{x} {y}");
                }
            }
        }
    }
    let volume = pushed * strand;
    assert!((volume - length * section).abs() <= strand * 1.1e-5 * pieces + 0.0015 * section * pieces);
    assert!((pushed - print.filament).abs() <= 1e-5 * (pieces + 2.0), "{pushed} {}", print.filament);
    assert!(length > 0.0);
}

#[test]
fn the_example_follows_its_bed() {
    let (card, map) = example();
    let options = TrialOptions { numbers: true, ..TrialOptions::default() };
    let print = trial(&card, &map, &options).unwrap();
    assert_eq!(print.patches.len(), 9);
    check_print(&card, &print, &|x, y| map.height(x, y), 1.75);
    // The two beside the clips were moved inward, by the clip and the room kept from it.
    let moved: Vec<usize> = print.patches.iter().filter(|p| p.moved()).map(|p| p.number).collect();
    assert_eq!(moved, [4, 6]);
    assert!(
        print.notes.iter().any(|n| n.starts_with("patch 4 does not fit at X 20 Y 117: it is at X 21 Y 117")),
        "{:?}",
        print.notes
    );
    for word in ["M140 S60", "M190 S60", "M104 S205", "M109 S205", "M104 S0", "M140 S0", "M84", "G92 E0", "M82"] {
        assert!(print.text.lines().any(|l| l == word), "{word}");
    }
    assert!(print.text.contains("; evengap ") && print.text.contains("taper=none"), "the rewriter's marker");
    assert!(print.text.contains("power switch"));
}

#[test]
fn a_patch_is_filled_with_the_layers_volume() {
    let (card, map) = example();
    let options = TrialOptions { flat: true, at: Some(vec![[117.0, 117.0]]), ..TrialOptions::default() };
    let options = TrialOptions { print: Print { layer_height: Some(0.3), ..Print::default() }, ..options };
    let print = trial(&card, &map, &options).unwrap();
    check_print(&card, &print, &|_, _| 0.0, 1.75);
    let p = &print.patches[0];
    assert!(p.side <= 20.0 && p.side > 20.0 - 0.45, "{}", p.side);
    let moves = read_back(&print.text);
    let inside = |q: [f64; 3]| (q[0] - p.x).abs() < 0.5 * p.side && (q[1] - p.y).abs() < 0.5 * p.side;
    let filament: f64 = moves.iter().filter(|m| m.prints() && inside(m.from) && inside(m.to)).map(|m| m.filament).sum();
    // A slab of its footprint: the short lines from row to row stand in for the rows' ends, and the outermost half lines bulge. Rows end half
    // a line width inside, and their ends are round: within a line width in 20 mm.
    let slab = p.side * p.side * 0.3 / (PI * 1.75 * 1.75 / 4.0);
    assert!((filament / slab - 1.0).abs() < 0.45 / 20.0, "{filament} {slab}");
}

#[test]
fn patches_lie_where_a_dial_read() {
    let card = Card::parse(
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'dial'\noffset = [30, -10]\nright_at = [100, 100]\n\
         points = [[20, 40, 0], [150, 40, 0.1], [150, 180, 0.2], [20, 180]]\n",
    )
    .unwrap();
    let wanted: Vec<[f64; 2]> = patches(&card, &TrialOptions::default()).unwrap().iter().map(|p| p.point).collect();
    assert_eq!(wanted, [[50.0, 30.0], [180.0, 30.0], [180.0, 170.0], [50.0, 170.0]]);
}

#[test]
fn flat_prints_do_not_scrape() {
    let (card, map) = example();
    let options = TrialOptions { flat: true, ..TrialOptions::default() };
    let error = trial(&card, &map, &options).unwrap_err();
    assert!(error.message().contains("would scrape"), "{error}");
}

#[test]
fn skirt_and_purge_line_have_room_or_are_told() {
    let (card, map) = example();
    let middle = vec![[100.0, 100.0], [140.0, 100.0], [100.0, 140.0]];
    let options = TrialOptions { skirt: true, numbers: true, at: Some(middle), ..TrialOptions::default() };
    let print = trial(&card, &map, &options).unwrap();
    assert!(!print.notes.iter().any(|n| n.contains("room")), "{:?}", print.notes);
    check_print(&card, &print, &|x, y| map.height(x, y), 1.75);
    assert!(print.text.contains("; skirt\n") && print.text.contains("; purge line\n"));
    // Round the clips there is no room for a skirt.
    let all = trial(&card, &map, &TrialOptions { skirt: true, ..TrialOptions::default() }).unwrap();
    assert!(all.notes.iter().any(|n| n.starts_with("the skirt is left out")), "{:?}", all.notes);
}

#[test]
fn what_cannot_be_printed_is_refused() {
    let (card, map) = example();
    let told = |options: TrialOptions| trial(&card, &map, &options).unwrap_err();
    let close = told(TrialOptions { at: Some(vec![[100.0, 100.0], [115.0, 100.0]]), ..TrialOptions::default() });
    assert_eq!(close.message(), "patches 1 and 2 would lie on one another: their points are 15 mm apart");
    assert_eq!(close.help(), Some("patches of 14 mm have room, or choose points further apart"));
    told(TrialOptions { at: Some(vec![]), ..TrialOptions::default() });
    told(TrialOptions { at: Some(vec![[f64::NAN, 0.0]]), ..TrialOptions::default() });
    told(TrialOptions { patch: 4.0, ..TrialOptions::default() });
    told(TrialOptions { print: Print { layer_height: Some(0.5), ..Print::default() }, ..TrialOptions::default() });
    let mut cold = card.clone();
    cold.readings.nozzle_celsius = None;
    assert!(trial(&cold, &map, &TrialOptions::default()).unwrap_err().message().contains("temperature"));
}

fn odd_beds() -> impl Strategy<Value = (Card, TrialOptions)> {
    let shape = (-200.0..50.0, -200.0..50.0, 60.0..300.0, 60.0..300.0, any::<bool>());
    let area = (0.0..1.0, 0.0..1.0, 0.02..0.3, 0.02..0.3);
    let points = prop::collection::vec((0.0..1.0, 0.0..1.0), 1..6);
    let how = (8.0..25.0, 0.3..0.9, 0.3..0.9, any::<[bool; 2]>());
    (shape, prop::collection::vec(area, 0..4), points, how).prop_map(|((x0, y0, w, d, round), areas, points, how)| {
        let (mut card, _) = example();
        let (x0, y0): (f64, f64) = (x0, y0);
        card.bed.x = [x0, x0 + w];
        card.bed.y = [y0, y0 + d];
        card.bed.outline = if round { crate::card::Outline::Round } else { crate::card::Outline::Rectangle };
        card.bed.keep_out = areas
            .iter()
            .map(|(u, v, a, b): &(f64, f64, f64, f64)| [x0 + u * w, y0 + v * d, x0 + (u + a) * w, y0 + (v + b) * d])
            .collect();
        let (patch, line_width, part, [skirt, numbers]): (f64, f64, f64, [bool; 2]) = how;
        let at = points.iter().map(|(u, v): &(f64, f64)| [x0 + u * w, y0 + v * d]).collect();
        let print = Print { line_width: Some(line_width), layer_height: Some(line_width * part), ..Print::default() };
        let options =
            TrialOptions { patch, skirt, numbers, at: Some(at), print, flat: true, ..TrialOptions::default() };
        (card, options)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    #[test]
    fn on_any_bed_it_stays_where_it_may((card, options) in odd_beds()) {
        // A bed that lies well below the nozzle: what is tried is where the lines go.
        let (mut low, _) = example();
        low.readings.points.iter_mut().for_each(|p| p.value = 0.1);
        let map = HeightMap::fit(&low, SurfaceKind::ThinPlate).unwrap();
        match trial(&card, &map, &options) {
            Ok(print) => {
                check_print(&card, &print, &|_, _| 0.0, 1.75);
                let left_out = print.notes.iter().filter(|n| n.contains("is left out: there is no room for it near")).count();
                let asked = options.at.as_ref().unwrap().len();
                prop_assert_eq!(print.patches.len() + left_out, asked);
                for (n, a) in print.patches.iter().enumerate() {
                    prop_assert!(libm::hypot(a.x - a.point[0], a.y - a.point[1]) < 0.5 * a.side);
                    for b in &print.patches[n + 1..] {
                        prop_assert!((a.x - b.x).abs().max((a.y - b.y).abs()) >= a.side);
                    }
                }
            }
            Err(error) => {
                let told = error.message();
                prop_assert!(
                    ["lie on one another", "no patch fits", "leave no way"].iter().any(|m| told.contains(m)),
                    "{}", told
                );
            }
        }
    }

    #[test]
    fn no_number_makes_it_panic(a in any::<f64>(), b in any::<f64>(), c in any::<f64>()) {
        let (card, map) = example();
        let print = Print { layer_height: Some(a), line_width: Some(b), ..Print::default() };
        let _ = trial(&card, &map, &TrialOptions { patch: c, print, ..TrialOptions::default() });
        let _ = trial(&card, &map, &TrialOptions { at: Some(vec![[a, b]]), ..TrialOptions::default() });
        let m = Measured { x: a, y: b, thickness: c, spread: None, line: None, column: None };
        let _ = correct(&card, SurfaceKind::ThinPlate, &[m], Nozzle::Followed(0.2));
        let m = Measured { x: 100.0, y: 100.0, thickness: 0.2, spread: Some(a), ..m };
        let _ = correct(&card, SurfaceKind::Bilinear, &[m], Nozzle::Flat(0.2));
        let _ = correct(&card, SurfaceKind::ThinPlate, &[m], Nozzle::Flat(b));
    }
}

#[path = "simulation.rs"]
mod simulation;
