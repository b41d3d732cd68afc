//! The whole tour as a person walks it, on a simulated printer: plan, read, map, tram, read again, rewrite, trial.
//!
//! At the end the true gap under a first layer that covers the bed from edge to edge differs from the layer height by no more than
//! 0.03 mm anywhere. What the person does for it:
//!
//! - reads 5 x 5 places, from edge to edge, turns the knobs, and reads them again: 50 readings;
//! - prints one trial: 7 x 7 patches of 10 mm, and three more beside each corner patch, 61 in all. In the corners the map leans on what
//!   lies on one side only, and there it errs first. Each patch is measured twice.
//!
//! So it was for 16 people with each of the 5 plates (these tests take 3): at worst 0.0294 mm after the trial, 0.031 to 0.065 mm before
//! it. With the 49 patches alone, measured once each, 3 tours of 20 ended beyond 0.03 mm, in a corner.
#![allow(clippy::unwrap_used, reason = "tests")]

mod common;

use common::{Folder, Run};
use evengap::toolpath::lines::{Lines, Piece};
use evengap::toolpath::words::Line;
use evengap::toolpath::{Reader, Reading, Step};
use evengap::{Card, Error};

/// Where the screws of the bed of 235 x 235 mm stand, mm.
const SCREWS: [(&str, [f64; 2]); 4] = [
    ("front left", [30.0, 30.0]),
    ("front right", [205.0, 30.0]),
    ("back left", [30.0, 205.0]),
    ("back right", [205.0, 205.0]),
];
/// M4, ISO 261.
const PITCH: f64 = 0.7;
const SHEET: f64 = 0.1;
const LAYER: f64 = 0.2;
/// Where the rows of patches lie, mm, and beside a corner patch another one.
const ROWS: [i32; 7] = [5, 43, 80, 118, 155, 193, 230];
const BESIDE: [[i32; 2]; 2] = [[5, 16], [230, 219]];
/// Rounds of turning that a person has patience for.
const PATIENCE: usize = 2;
/// Who walk the tour with each plate.
const PEOPLE: u64 = 3;
/// What the tour promises, mm.
const PROMISED: f64 = 0.03;

/// Numbers that scatter as a normal distribution does: a sum of twelve even ones (Irwin-Hall), from a congruential generator
/// (Knuth, MMIX).
struct Chance(u64);

impl Chance {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).unwrap()) / f64::from(u32::MAX)
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// How a plate is bent, mm, at u, v from -1 to 1 over the bed.
type Bend = fn(f64, f64) -> f64;

/// Up to 1 at the corner where `s` is 1, and nothing before 0.2.
fn corner(s: f64) -> f64 {
    ((s - 0.2) / 0.8).max(0.0).powi(2)
}

const BEDS: [(&str, Bend); 5] = [
    ("dome", |u, v| 0.22 - 0.12 * u * u - 0.08 * v * v),
    ("bowl", |u, v| 0.10 * u * u + 0.08 * v * v + 0.04 * u * v),
    ("twist", |u, v| 0.10 * u * v - 0.05 * u * u),
    ("dome with a hanging corner", |u, v| -0.07 * u * u - 0.06 * v * v - 0.10 * corner(0.5 * (u - v))),
    ("wave and a raised corner", |u, v| 0.05 * (2.2 * u + 0.4).sin() + 0.04 * v * v + 0.10 * corner(0.5 * (v - u))),
];

/// The printer, and the person before it.
struct Workshop {
    bend: Bend,
    /// How high each screw holds the plate, mm. A rigid plate on four springs lies as the best plane through them.
    screws: [f64; 4],
    chance: Chance,
    /// How often the sheet was dragged, and patches measured.
    readings: usize,
    patches: usize,
}

impl Workshop {
    fn new(bend: Bend, number: u64) -> Workshop {
        let mut chance = Chance(number.wrapping_mul(0x9E37_79B9_7F4A_7C15) + 1);
        // Set by eye: some tenths of a millimetre off.
        let screws = std::array::from_fn(|_| 0.25 * chance.normal());
        Workshop { bend, screws, chance, readings: 0, patches: 0 }
    }

    /// How high the bed truly stands, mm. The screws stand at the corners of a rectangle: there the least-squares plane is the mean
    /// and half of what opposite sides differ by.
    fn bed(&self, x: f64, y: f64) -> f64 {
        let [fl, fr, bl, br] = self.screws;
        let (u, v) = ((x - 117.5) / 87.5, (y - 117.5) / 87.5);
        let plate = 0.25 * ((fl + fr + bl + br) + (fr + br - fl - bl) * u + (bl + br - fl - fr) * v);
        plate + (self.bend)((x - 117.5) / 117.5, (y - 117.5) / 117.5)
    }

    /// Z at which the sheet drags, as it is written down: hundredths of a millimetre. Each reading scatters by 0.02 mm, and this hand
    /// feels the drag 0.015 mm too high every time.
    fn drag(&mut self, x: f64, y: f64) -> String {
        self.readings += 1;
        format!("{:.2}", self.bed(x, y) + SHEET + 0.015 + 0.02 * self.chance.normal())
    }

    /// A patch between the calipers' jaws, twice, and the mean. Each time scatters by 0.015 mm and shows hundredths.
    fn calipers(&mut self, thickness: f64) -> String {
        self.patches += 1;
        let mut once = || ((thickness + 0.015 * self.chance.normal()) * 100.0).round() / 100.0;
        format!("{:.3}", 0.5 * (once() + once()))
    }

    /// Turns a knob by sixteenths.
    fn turn(&mut self, screw: &serde_json::Value) {
        let n = SCREWS.iter().position(|(name, _)| *name == screw["name"]).unwrap();
        let sixteenths = screw["sixteenths"].as_f64().unwrap();
        let up = if screw["direction"] == "anticlockwise" { 1.0 } else { -1.0 };
        self.screws[n] += up * sixteenths / 16.0 * PITCH;
    }

    /// All points of the card, read one after another.
    fn read(&mut self, points: &[[f64; 2]]) -> String {
        points.iter().zip(1..).map(|([x, y], n)| format!("{n},{}\n", self.drag(*x, *y))).collect()
    }

    /// The patches that a test print left on the bed, measured: a list of number,thickness.
    fn measure(&mut self, print: &str, patches: &serde_json::Value) -> String {
        let lines = printed(print);
        let mut out = String::from("number,thickness\n");
        for patch in patches.as_array().unwrap() {
            let [x, y] = ["x", "y"].map(|k| patch[k].as_f64().unwrap());
            // The jaws hold some millimetres of its middle.
            let jaws = 3.0;
            let mut all = Vec::new();
            for [from, to] in &lines {
                along(*from, *to, 0.5, |[px, py, pz]| {
                    if (px - x).abs() <= jaws && (py - y).abs() <= jaws {
                        all.push(pz - self.bed(px, py));
                    }
                });
            }
            assert!(all.len() > 20, "{} of patch {}", all.len(), patch["number"]);
            let n = f64::from(u32::try_from(all.len()).unwrap());
            let thickness = self.calipers(all.iter().sum::<f64>() / n);
            out += &format!("{},{thickness}\n", patch["number"]);
        }
        out
    }

    /// Highest less lowest true height at these places, mm.
    fn range(&self, places: &[[f64; 2]]) -> f64 {
        let heights = places.iter().map(|[x, y]| self.bed(*x, *y));
        let [low, high] = heights.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], z| [l.min(z), h.max(z)]);
        high - low
    }

    /// By how much the true gap under a printed path differs from the layer height, mm: the most anywhere.
    fn worst(&self, program: &str) -> f64 {
        let mut worst = 0.0;
        for [from, to] in printed(program) {
            along(from, to, 1.0, |[x, y, z]| worst = f64::max(worst, (z - self.bed(x, y) - LAYER).abs()));
        }
        worst
    }
}

/// Places along a line, no further apart than `step` mm, both ends among them.
fn along(from: [f64; 3], to: [f64; 3], step: f64, mut each: impl FnMut([f64; 3])) {
    let pieces = ((to[0] - from[0]).hypot(to[1] - from[1]) / step).ceil().max(1.0);
    let mut n = 0.0;
    while n <= pieces {
        each([0, 1, 2].map(|k| from[k] + (to[k] - from[k]) * n / pieces));
        n += 1.0;
    }
}

/// The moves of a program that push filament while they travel, from and to, mm.
fn printed(program: &str) -> Vec<[[f64; 3]; 2]> {
    let mut reader = Reader::new(Reading::default());
    let mut words = Line::default();
    let mut out = Vec::new();
    let mut number = 0;
    let mut sink = |piece: Piece<'_>| -> Result<(), Error> {
        let Piece::Line(bytes, _) = piece else { panic!("a long line") };
        number += 1;
        words.read(bytes);
        let step = reader.read(&words, bytes, number)?;
        let m = reader.last_move();
        if step == Step::Move && m.known() && m.e_delta() > 0.0 {
            let [from, to] = [m.before, m.after].map(|p| p.map(|a| a.place()));
            if (to[0] - from[0]).hypot(to[1] - from[1]) > 0.0 {
                out.push([from, to]);
            }
        }
        Ok(())
    };
    let mut lines = Lines::default();
    lines.push(program.as_bytes(), &mut sink).unwrap();
    lines.finish(&mut sink).unwrap();
    out
}

/// A first layer over the whole bed: 95 lines from edge to edge, 2.5 mm apart. No bed here changes its bend over so little.
fn first_layer() -> String {
    let mut out = format!("M140 S60\nM104 S205\nG28\nG90\nM83\nG1 Z5 F600\nG1 X0 Y0 F6000\nG1 Z{LAYER} F600\n");
    for row in 0..95 {
        let [from, to] = if row % 2 == 0 { [0, 235] } else { [235, 0] };
        out += &format!("G1 X{from} Y{} E0.05 F1800\nG1 X{to} E10\n", 2.5 * f64::from(row));
    }
    out + "G1 Z5 F600\n"
}

/// Where the patches go.
fn patch_places() -> String {
    let mut out: String = ROWS.iter().flat_map(|y| ROWS.map(|x| format!("{x},{y}\n"))).collect();
    for [x, a] in BESIDE {
        for [y, b] in BESIDE {
            out += &format!("{a},{y}\n{x},{b}\n{a},{b}\n");
        }
    }
    out
}

/// Runs the command and expects it to succeed.
fn done(folder: &Folder, command: &str) -> Run {
    let run = folder.run(&command.split_whitespace().collect::<Vec<_>>());
    assert_eq!(run.status, 0, "evengap {command}\n{}{}", run.out, run.messages);
    run
}

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).unwrap()
}

/// What one tour came to.
struct Tour {
    /// By how much the gap was wrong at worst with the readings alone, mm.
    before: f64,
    /// The same after the trial.
    worst: f64,
    /// Rounds of turning.
    turned: usize,
    readings: usize,
    patches: usize,
}

fn tour(bend: Bend, number: u64) -> Tour {
    let mut shop = Workshop::new(bend, number);
    let folder = Folder::new();

    // Plan: a card with points to read, and the screws written into it.
    done(
        &folder,
        "plan --bed-x 0..235 --bed-y 0..235 --method drag --sheet 0.1 --spread 0.02 --bed-celsius 60 --nozzle-celsius 205 \
         --grid 5x5 --margin 0 -o plan.toml",
    );
    let at = SCREWS.map(|(name, [x, y])| format!("\"{name}\" = [{x}, {y}]")).join(", ");
    let screws = format!("\n[screws]\nthread = \"M4\"\nraise = \"anticlockwise\"\nat = {{ {at} }}\n");
    folder.put("plan.toml", &(folder.get("plan.toml") + &screws));
    let card = Card::parse(&folder.get("plan.toml")).unwrap();
    let places: Vec<[f64; 2]> = card.readings.unread.iter().map(|u| [u.x, u.y]).collect();
    assert_eq!(places.len(), 25);

    // Read, look, turn, and read again until there is nothing to turn.
    let crooked = shop.range(&places);
    let mut turned = 0;
    loop {
        folder.put("readings.csv", &shop.read(&places));
        done(&folder, "plan plan.toml --fill readings.csv -o bed.toml --replace");
        let map = done(&folder, "map bed.toml");
        assert!(map.out.contains("25 readings"), "{}", map.out);
        let tram = json(&done(&folder, "tram bed.toml --json").out);
        let screws = tram["screws"].as_array().unwrap();
        assert_eq!(screws.len(), 4);
        // Who turns by sixteenths leaves up to half of one, and the readings can tell that: a last sixteenth is left to `rewrite`.
        if tram["stop"] == true || screws.iter().all(|s| s["sixteenths"].as_u64().unwrap() <= 1) {
            break;
        }
        turned += 1;
        assert!(turned <= PATIENCE, "{}", tram["lines"]);
        for screw in screws {
            shop.turn(screw);
        }
    }

    // The knobs were turned the right way, and as far as it pays.
    assert!(turned > 0 && shop.range(&places) < crooked, "{crooked} {}", shop.range(&places));

    // Rewrite a file; then the trial, which shows what the readings were wrong by.
    folder.put("layer.gcode", &first_layer());
    folder.put("patches.csv", &patch_places());
    let even = |card: &str| {
        done(&folder, &format!("map {card}"));
        done(&folder, &format!("rewrite layer.gcode --card {card} -o even.gcode"));
        folder.get("even.gcode")
    };
    let before = shop.worst(&even("bed.toml"));
    let print = done(&folder, "trial bed.toml --at patches.csv --patch 10 -o trial.gcode --json");
    let thicknesses = shop.measure(&folder.get("trial.gcode"), &json(&print.out)["patches"]);
    folder.put("thicknesses.csv", &thicknesses);
    done(&folder, "trial bed.toml --at patches.csv --patch 10 --measured thicknesses.csv -o corrected.toml");
    let worst = shop.worst(&even("corrected.toml"));
    Tour { before, worst, turned, readings: shop.readings, patches: shop.patches }
}

/// Some people with the same bent plate, their screws each set differently.
fn tours(name: &str) {
    let (_, bend) = BEDS.into_iter().find(|(bed, _)| *bed == name).unwrap();
    let all: Vec<Tour> = (0..PEOPLE).map(|n| tour(bend, n)).collect();
    for t in &all {
        println!(
            "{name}: gap wrong by {:.4} mm, after the trial {:.4} mm; turned {} times, {} readings, {} patches",
            t.before, t.worst, t.turned, t.readings, t.patches
        );
    }
    assert!(all.iter().all(|t| t.worst <= PROMISED), "{name}");
    // It is not the plate alone that makes it so: without the trial it does not hold.
    assert!(all.iter().any(|t| t.before > PROMISED), "{name}");
}

#[test]
fn a_dome() {
    tours("dome");
}

#[test]
fn a_bowl() {
    tours("bowl");
}

#[test]
fn a_twist() {
    tours("twist");
}

#[test]
fn a_hanging_corner() {
    tours("dome with a hanging corner");
}

#[test]
fn a_wave() {
    tours("wave and a raised corner");
}
