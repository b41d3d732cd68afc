//! What the native library makes of the cases that the package is tested with: `tests/js` holds the package against it.
//! Nothing that the tests expect was typed in.
//!
//! Cases: the example with all options, what the second module makes of it, mixed toolpaths that are made up (`evengap-tests`), each sample where there are
//! samples, and what must be refused.
//!
//! Usage: `cargo run -p evengap-wasm --example native -- CARD TOOLPATH OUT`

use evengap::check::proof::{Proof, ProofOptions};
use evengap::check::{GapOptions, GapReport, Gaps, Limits, judge};
use evengap::compare::{difference, drift};
use evengap::draw::{
    GapPlan, Paper, PlanOptions, difference_plan, gap_plan, isolines, known_plan, patch_plan, plan, reading_sheet,
    tram_plan,
};
use evengap::follow::{Options, rewrite};
use evengap::known::{Known, next};
use evengap::plan::{Layout, Planned, Room, Stop, VisitOptions, planned, visit};
use evengap::shape::describe;
use evengap::tram::tram;
use evengap::trial::{Measured, Nozzle, TrialOptions, correct, patches, trial};
use evengap::{Card, Error, HeightMap, SurfaceKind, surface};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

/// Made-up toolpaths.
const MADE_UP: usize = 60;

fn main() -> Outcome<()> {
    let mut arguments = std::env::args_os().skip(1);
    let mut next = |name: &str| arguments.next().ok_or(format!("{name} is missing"));
    let (card, toolpath, out) = (next("CARD")?, next("TOOLPATH")?, next("OUT")?);
    let card = std::fs::read_to_string(card)?;
    let part = std::fs::read(toolpath)?;
    let mut suite = Suite { out: PathBuf::from(&out), cases: Vec::new() };
    std::fs::create_dir_all(&suite.out)?;

    maps(&mut suite, &card)?;
    workshop(&mut suite, &card)?;
    suite.keep("part", &part)?;
    for (name, options) in options() {
        for surface in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
            suite.rewrite(&format!("the example, {name}, {surface:?}"), &card, surface, &options, "part")?;
        }
    }
    let mut runner = TestRunner::deterministic();
    for n in 0..MADE_UP {
        let made =
            evengap_tests::mixed::toolpath(60).new_tree(&mut runner).map_err(|reason| reason.to_string())?.current();
        let file = format!("made-{n}");
        suite.keep(&file, &made.bytes())?;
        let e_start = if made.setup.e_relative { "relative" } else { "absolute" };
        let options = json!({ "e_start": e_start, "g90_sets_e": made.setup.g90_sets_e });
        let surface = if n % 3 == 0 { SurfaceKind::Bilinear } else { SurfaceKind::ThinPlate };
        suite.rewrite(&format!("made up {n}"), &card, surface, &options, &file)?;
    }
    for (name, bytes) in evengap_tests::samples::all() {
        suite.keep(&name, &bytes)?;
        let all = json!({ "unknown_motion": true, "own_levelling": true, "already_rewritten": true });
        for (how, options) in [("", json!({})), (", all allowed", json!({ "allow": all, "floor": -1 }))] {
            suite.rewrite(&format!("sample {name}{how}"), &card, SurfaceKind::ThinPlate, &options, &name)?;
        }
    }
    proofs(&mut suite, &card)?;
    checks(&mut suite, &card)?;
    refusals(&mut suite, &card)?;
    std::fs::write(suite.out.join("suite.json"), serde_json::to_vec(&suite.cases)?)?;
    println!("{} cases", suite.cases.len());
    Ok(())
}

/// The cases, and the folder for what is too long for JSON.
struct Suite {
    out: PathBuf,
    cases: Vec<Value>,
}

impl Suite {
    fn keep(&self, name: &str, bytes: &[u8]) -> Outcome<()> {
        Ok(std::fs::write(Path::new(&self.out).join(name), bytes)?)
    }

    /// A card, with all that is known of its map.
    fn map(&mut self, name: &str, card: &str, csv: Option<&str>, surface: SurfaceKind) -> Outcome<()> {
        let made = card_of(card, csv).and_then(|card| HeightMap::fit(&card, surface));
        let expected = match made {
            Err(error) => json!({ "fault": fault(&error) }),
            Ok(map) => {
                let card = map.card();
                let points = points(&map);
                let heights: Vec<f64> = points.iter().map(|&[x, y]| map.height(x, y)).collect();
                // The second module takes cards as text; an object gives its own.
                let again = HeightMap::fit(&Card::parse(&card.to_toml())?, surface)?;
                let numbers = self.cases.len();
                self.keep(&format!("points-{numbers}"), &bytes(points.as_flattened()))?;
                self.keep(&format!("heights-{numbers}"), &bytes(&heights))?;
                json!({
                    "points": format!("points-{numbers}"),
                    "heights": format!("heights-{numbers}"),
                    "toml": card.to_toml(), "json": card, "digest": card.digest(), "spots": card.spot_heights(),
                    "kind": map.kind(), "measured": map.measured(), "places": map.places(), "shift": map.shift(),
                    "slope": map.slope(points[3][0], points[3][1]),
                    "readings": map.readings(), "smoothed": map.smoothed(), "extremes": map.extremes(),
                    "shape": describe(&again), "isolines": isolines(again.card(), &again),
                    "plan": hex(plan(card, &map, &PlanOptions::default()).as_bytes()),
                })
            }
        };
        self.cases.push(json!({ "name": name, "card": card, "csv": csv, "surface": surface, "map": expected }));
        Ok(())
    }

    fn rewrite(&mut self, name: &str, card: &str, surface: SurfaceKind, options: &Value, file: &str) -> Outcome<()> {
        let toolpath = std::fs::read(self.out.join(file))?;
        let map = HeightMap::fit(&Card::parse(card)?, surface)?;
        let expected = match rewrite(&toolpath, &map, serde_json::from_value::<Options>(options.clone())?) {
            Err(error) => json!({ "fault": fault(&error) }),
            Ok((bytes, summary)) => {
                let whole = format!("rewritten-{}", self.cases.len());
                self.keep(&whole, &bytes)?;
                json!({ "file": whole, "sha256": hex(&bytes), "length": bytes.len(), "summary": summary })
            }
        };
        self.cases.push(json!({
            "name": name, "card": card, "surface": surface, "options": options, "toolpath": file, "rewritten": expected,
        }));
        Ok(())
    }
}

impl Suite {
    /// A function of the second module, what it is called with, and what it gives.
    fn call(&mut self, name: &str, function: &str, given: Value, gives: Result<Value, Error>) {
        let expected = gives.unwrap_or_else(|error| json!({ "fault": fault(&error) }));
        self.cases.push(json!({
            "name": format!("workshop: {name}"), "function": function, "given": given, "made": { "value": expected },
        }));
    }
}

/// Shapes, contours, plans, programs, tramming, test prints and comparing, by the engine's own functions.
fn workshop(suite: &mut Suite, card: &str) -> Outcome<()> {
    let screws = card.find("[screws]").ok_or("the example has screws")?;
    let mut moved = Card::parse(card)?;
    moved.readings.points.iter_mut().for_each(|p| p.value += 0.0004 * p.x - 0.02);
    let mut far = moved.clone();
    far.readings.points.iter_mut().for_each(|p| p.value += 0.05);
    let (moved, far) = (moved.to_toml(), far.to_toml());
    let choice = surface::choose(&Card::parse(card)?).map(|choice| json!(choice));
    suite.call("the surface that suits", "chooseSurface", json!([card]), choice);
    for surface in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
        let fit = |text: &str| HeightMap::fit(&Card::parse(text)?, surface);
        let called = |what: &str| format!("{what}, {surface:?}");
        for (word, text) in [("", card), (", mistyped", &card.replace("sheet", "sheat"))] {
            let given = json!([text, surface]);
            let lies = fit(text).map(|map| json!(describe(&map)));
            suite.call(&called(&format!("how it lies{word}")), "shape", given.clone(), lies);
            let lines = fit(text).map(|map| json!(isolines(map.card(), &map)));
            suite.call(&called(&format!("contours{word}")), "isolines", given, lines);
        }
        for options in
            [json!({}), json!({ "fit": "smallest-range", "twist": true }), json!({ "hold": "no such screw" })]
        {
            let chosen: evengap::tram::Options = serde_json::from_value(options.clone())?;
            let made = fit(card).and_then(|map| Ok((tram(&map, &chosen)?, map)));
            let all = made.as_ref().map_err(Clone::clone).map(|(tram, _)| {
                let word = |s: &evengap::tram::ScrewTurn| {
                    json!({ "line": s.to_string(), "fraction": s.fraction(), "still": s.is_still() })
                };
                let mut all = json!(tram);
                all["words"] = tram.screws.iter().map(word).collect();
                all["predicted"] = tram.predicted().to_toml().into();
                all
            });
            let given = json!([card, surface, options]);
            suite.call(&called(&format!("tram {options}")), "tram", given.clone(), all);
            let drawn = made.map(|(tram, map)| tram_plan(&map, &tram, &PlanOptions::default()).into());
            suite.call(&called(&format!("the plan to tram {options}")), "tramPlan", given, drawn);
        }
        suite.call(&called("no screws"), "tram", json!([card[..screws], surface]), {
            fit(&card[..screws]).and_then(|map| tram(&map, &evengap::tram::Options::default())).map(|tram| json!(tram))
        });
        let (a, b, c) = (fit(card)?, fit(&moved)?, fit(&far)?);
        let known = Known::of(&a).ok_or("the example's bed is known")?;
        suite.call(&called("how well"), "howWell", json!([card, surface]), Ok(json!(known.how_well())));
        let drawn = known_plan(&known, &PlanOptions::default());
        suite.call(&called("the plan of how well"), "knownPlan", json!([card, surface]), Ok(drawn.into()));
        let points = [[20.0, 30.0], [117.0, 117.0], [300.0, -40.0]];
        let errors: Vec<f64> = points.iter().map(|&[x, y]| known.at(x, y).standard_error).collect();
        let given = json!([card, points.as_flattened(), surface]);
        suite.call(&called("standard errors"), "standardErrors", given, Ok(json!(errors)));
        let parsed = Card::parse_without_points(card)?;
        let part = [[30.0, 40.0, 2.5], [60.0, 40.0, 5.0], [60.0, 90.0, 1.0]];
        for (count, places) in [(3, None), (2, Some(&part[..])), (0, None)] {
            let given = match places {
                Some(places) => json!([card, count, places.as_flattened()]),
                None => json!([card, count]),
            };
            let found = next(&parsed, places, count, Room::default()).map(|next| json!(next));
            suite.call(&called(&format!("{count} points to read next")), "nextPoints", given, found);
        }
        let change = difference(&a, &b);
        let drawn = change.clone().map(|d| {
            difference_plan([&a, &b], &d, ["May", "June"], &PlanOptions { width: 640.0, ..PlanOptions::default() })
                .into()
        });
        suite.call(&called("compare"), "compare", json!([card, moved, surface]), change.map(|d| json!(d)));
        let given = json!([card, moved, ["May", "June"], surface, { "width": 640 }]);
        suite.call(&called("the plan of a change"), "differencePlan", given, drawn);
        suite.call(
            &called("drift"),
            "drift",
            json!([[card, moved, far], surface]),
            drift(&a, &[&b, &c]).map(|d| json!(d)),
        );
        for options in [
            json!({}),
            json!({ "flat": true, "patch": 12, "skirt": true, "print": { "layer_height": 0.4 } }),
            json!({ "patch": 2 }),
        ] {
            let chosen: TrialOptions = serde_json::from_value(options.clone())?;
            let printed = trial(a.card(), &a, &chosen).map(|trial| {
                let mut all = json!(trial);
                all["toolpath"] = trial.text.into();
                all
            });
            suite.call(&called(&format!("trial {options}")), "trial", json!([card, surface, options]), printed);
        }
        let layer = a.card().print.layer_height();
        for (name, off) in [("correct", 0.03), ("correct, a slip of the pen", 3.0)] {
            let measured: Vec<Measured> = patches(a.card(), &TrialOptions::default())?
                .iter()
                .enumerate()
                .map(|(i, p)| Measured {
                    x: p.x,
                    y: p.y,
                    thickness: layer - if i % 3 == 0 { off } else { 0.01 },
                    spread: None,
                    line: Some(i as u64 + 1),
                    column: Some(1),
                })
                .map(|m| Measured { thickness: if off > 1.0 { layer + off } else { m.thickness }, ..m })
                .collect();
            let given = json!([card, measured, surface]);
            let corrected = correct(a.card(), surface, &measured, Nozzle::Followed(layer));
            suite.call(&called(name), "correct", given, corrected.map(|card| card.to_toml().into()));
        }
    }
    let plain = Card::parse(card)?;
    let chosen = TrialOptions::default();
    suite.call("where the patches lie", "trialPatches", json!([card]), patches(&plain, &chosen).map(|p| json!(p)));
    let drawn = patches(&plain, &chosen).map(|p| patch_plan(&plain, &p, &PlanOptions::default()).into());
    suite.call("the plan of the patches", "patchPlan", json!([card]), drawn);
    let mut blank = None;
    for (columns, rows, margin) in [(4, 3, 20.0), (4, 3, 200.0)] {
        let room = Room { margin, ..Room::default() };
        let points = planned(&plain, Layout::Grid { columns, rows }, room).map(|p| {
            blank = Some(p.card.clone());
            laid(p)
        });
        suite.call(
            &format!("a grid with a margin of {margin}"),
            "planGrid",
            json!([card, columns, rows, margin]),
            points,
        );
    }
    for places in [vec![[30.0, 40.0], [200.0, 40.0], [1.0, 1.0], [117.0, 200.0]], vec![[f64::MAX, 0.0]]] {
        let points = planned(&plain, Layout::Given(&places), Room::default()).map(laid);
        let name = format!("{} points of one's own", places.len());
        suite.call(&name, "planPoints", json!([card, places.as_flattened()]), points);
    }
    suite.call("how to read", "readingSteps", json!([card]), Ok(json!(evengap::plan::steps(&plain.readings))));
    for value in [0.2, 5.0] {
        // JavaScript's `undefined` is told as null.
        let doubted = json!(evengap::plan::doubt(&plain, [100.0, 100.0], value));
        suite.call(&format!("a value of {value}"), "doubt", json!([card, 100, 100, value]), Ok(doubted));
    }
    let mut slipped = plain.clone();
    slipped.readings.points[7].value += 0.6;
    let (mended, less) =
        evengap::known::robust(&HeightMap::fit(&Card::parse(&slipped.to_toml())?, SurfaceKind::ThinPlate)?);
    let told = json!({ "card": mended.to_toml(), "less": less });
    suite.call("odd readings weigh less", "robust", json!([slipped.to_toml()]), Ok(told));
    let blank = blank.ok_or("a grid was planned")?;
    let text = evengap::plan::card_text(&blank);
    let blank = Card::parse_without_points(&text)?;
    let stops: Vec<Stop> = blank.readings.unread.iter().map(Stop::from).collect();
    for options in [json!({}), json!({ "wait": { "seconds": 30 }, "safe_height": 15 }), json!({ "safe_height": 0 })] {
        let chosen: VisitOptions = serde_json::from_value(options.clone())?;
        let program = visit(&blank, &stops, &chosen).map(Value::from);
        suite.call(&format!("a program {options}"), "visitProgram", json!([text, options]), program);
    }
    suite.call(
        "a program without stops",
        "visitProgram",
        json!([card]),
        visit(&plain, &[], &VisitOptions::default()).map(Value::from),
    );
    for (name, paper) in [("a4", Paper::A4), ("letter", Paper::Letter)] {
        let pages = reading_sheet(&blank, paper);
        suite.call(&format!("the sheet, {name}"), "readingSheet", json!([text, name]), Ok(json!(pages)));
    }
    Ok(())
}

/// Planned points, as the package tells them.
fn laid(planned: Planned) -> Value {
    let left_out = planned.left_out.iter().map(|l| json!({ "x": l.x, "y": l.y, "why": l.why.words() }));
    json!({
        "points": planned.card.readings.unread.iter().map(|u| [u.x, u.y]).collect::<Vec<_>>(),
        "leftOut": left_out.collect::<Vec<_>>(),
        "travel": planned.travel,
    })
}

/// The example rewritten is proven; with one line changed it is not.
fn proofs(suite: &mut Suite, card: &str) -> Outcome<()> {
    let map = HeightMap::fit(&Card::parse(card)?, SurfaceKind::ThinPlate)?;
    let part = std::fs::read(suite.out.join("part"))?;
    let mut options = Options::default();
    options.taper = evengap::follow::Taper::None;
    let (good, _) = rewrite(&part, &map, options)?;
    let text = String::from_utf8(good.clone())?;
    let at = text.match_indices(" Z0.").nth(40).ok_or("the example has moves")?.0;
    let bad = [&good[..at + 4], b"9", &good[at + 5..]].concat();
    let chosen = json!({ "followed": { "taper": null } });
    for (name, rewritten) in [("proof-good", good), ("proof-bad", bad)] {
        suite.keep(name, &rewritten)?;
        let mut proof = Proof::new(&map, serde_json::from_value::<ProofOptions>(chosen.clone())?);
        proof.push_original(&part)?;
        proof.push_rewritten(&rewritten)?;
        let verdict = proof.finish();
        suite.call(name, "Proof", json!([[card, "thin-plate", chosen], "part", name]), verdict.map(|v| json!(v)));
    }
    Ok(())
}

/// The example as it was sliced, and rewritten, over its bed.
fn checks(suite: &mut Suite, card: &str) -> Outcome<()> {
    let card = &format!("{card}\n[machine]\nz_speed = 0.1\n");
    let map = HeightMap::fit(&Card::parse(card)?, SurfaceKind::ThinPlate)?;
    suite.keep("broken", b"G28\nG1 X10 Y10 Z0.2\nG1 X20.5.1\n")?;
    for (n, (surface, file, chosen)) in [
        (SurfaceKind::Bilinear, "part", json!({ "keep": { "at": 0.4 } })),
        (
            SurfaceKind::ThinPlate,
            "proof-good",
            json!({ "keep": "lowest", "followed": { "shift": 0 }, "layers": [0.2, 0.4] }),
        ),
        (SurfaceKind::ThinPlate, "part", json!({ "keep": "lowest", "most_kept": 40 })),
        (SurfaceKind::ThinPlate, "broken", json!({})),
        (SurfaceKind::ThinPlate, "part", json!({ "window": { "near": 2, "far": 1 } })),
    ]
    .into_iter()
    .enumerate()
    {
        let map = HeightMap::fit(&Card::parse(card)?, surface)?;
        let mut gaps = Gaps::new(&map, serde_json::from_value::<GapOptions>(chosen.clone())?);
        let pushed = gaps.push(&std::fs::read(suite.out.join(file))?);
        let found = pushed.and_then(|()| gaps.finish()).map(|report| found(&report));
        suite.call(&format!("gaps {n} of {file}"), "Gaps", json!([[card, surface, chosen], file]), found);
    }
    let chosen = json!({ "keep": "lowest" });
    for file in ["part", "proof-good"] {
        let mut gaps = Gaps::new(&map, serde_json::from_value::<GapOptions>(chosen.clone())?);
        gaps.push(&std::fs::read(suite.out.join(file))?)?;
        let report = gaps.finish()?;
        let limits = Limits::default();
        let first = report.first_layer().ok_or("the example has layers")?;
        let known = Known::of(&map).and_then(|known| known.enough(&report.footprint, &limits.window));
        let plan = GapPlan { name: file, path: &report.kept, z: first.z, shares: first.path, window: limits.window };
        let told = json!({
            "judgement": judge(&report, &limits, &map.card().machine), "known": known, "layers": report.layers, "pace": report.pace,
            "marker": report.marker, "sliced": report.sliced, "unplaced": report.unplaced, "lines": report.lines,
            "moves": report.moves, "plan": gap_plan(map.card(), &plan, &PlanOptions::default()),
        });
        suite.call(&format!("gaps of {file}"), "Gaps", json!([[card, "thin-plate", chosen], file]), Ok(found(&report)));
        suite.call(
            &format!("check of {file}"),
            "FileCheck",
            json!([[card, "thin-plate", chosen], file, {}, file]),
            Ok(told),
        );
    }
    Ok(())
}

/// What was found, as the package tells it.
fn found(GapReport { layers, kept, lines, moves, .. }: &GapReport) -> Value {
    json!({
        "layers": layers, "points": kept.points.as_flattened(), "strokes": kept.strokes, "cut": kept.cut, "lines": lines,
        "moves": moves,
    })
}

fn card_of(text: &str, csv: Option<&str>) -> Result<Card, Error> {
    match csv {
        None => Card::parse(text),
        Some(csv) => Card::parse_with_csv(text, csv),
    }
}

fn maps(suite: &mut Suite, card: &str) -> Outcome<()> {
    let mut exact = Card::parse(card)?;
    exact.readings.spread = None;
    let mut relative = exact.clone();
    relative.readings.right_at = Some([117.0, 117.0]);
    let mut repeated = exact.clone();
    repeated.readings.points.extend_from_within(..3);
    let smoothed = SurfaceKind::ThinPlate;
    suite.map("the example", card, None, smoothed)?;
    suite.map("the example, bilinear", card, None, SurfaceKind::Bilinear)?;
    suite.map("without a spread", &exact.to_toml(), None, SurfaceKind::ThinPlate)?;
    suite.map("right somewhere", &relative.to_toml(), None, SurfaceKind::ThinPlate)?;
    suite.map("places read twice", &repeated.to_toml(), None, SurfaceKind::ThinPlate)?;
    suite.map("as JSON", &serde_json::to_string_pretty(&exact)?, None, SurfaceKind::ThinPlate)?;
    let bed = "[bed]\nx = [-90, 90]\ny = [-90, 90]\noutline = \"round\"\n[readings]\n";
    let csv = "x,y,value\n-60,-60,0.02\n60,-60,0.11\n\n# the middle\n0,0,0.2\n-60,60,0.05\r\n60,60,0.07\n0,80,0.3\n";
    suite.map("readings from CSV", &format!("{bed}method = \"patch\"\nparked = 0.2\n"), Some(csv), smoothed)?;
    let dial = format!("{bed}method = \"dial\"\noffset = [20, 5.5]\nright_at = [0, 0]\n");
    suite.map("a dial's readings", &dial, Some(csv), SurfaceKind::ThinPlate)
}

fn options() -> Vec<(&'static str, Value)> {
    vec![
        ("as it comes", json!({})),
        ("no taper", json!({ "taper": "none" })),
        ("a taper of its own", json!({ "taper": { "range": { "from": 0.4, "to": 1.9 } } })),
        ("coarse", json!({ "tolerance": 0.05, "flow": false })),
        ("shifted", json!({ "shift": 0.025, "floor": -0.5, "e_start": "relative", "g90_sets_e": true })),
        ("all named", json!(Options::default())),
        ("too fine a tolerance", json!({ "tolerance": 0.0001 })),
        ("a taper that folds", json!({ "taper": { "range": { "from": 0.4, "to": 0.41 } } })),
        ("a high floor", json!({ "floor": 0.25, "shift": -0.3 })),
        ("short lines", json!({ "line_limit": 8 })),
    ]
}

fn refusals(suite: &mut Suite, card: &str) -> Outcome<()> {
    let cards = [
        ("an unknown key", card.replace("sheet", "sheat")),
        ("a doubled key", card.replace("[readings]", "[readings]\nmethod = \"drag\"")),
        ("broken TOML", card.replace("points = [", "points = [[")),
        ("a place that is not reached", card.replace("x = [0, 235]", "x = [0, 100]")),
        ("no readings", "[bed]\nx = [0, 1]\ny = [0, 1]\n".to_owned()),
        ("nothing", String::new()),
        ("broken JSON", "{\n  \"bed\": {\"x\": [0, 1]},\n  \"readings\": }".to_owned()),
        ("an odd JSON value", "{\"bed\": {\"x\": [0, \"é\"], \"y\": [0, 1]}, \"readings\": {}}".to_owned()),
        ("beyond all sense", card.replace("sheet = 0.1", "sheet = 1e300")),
    ];
    for (name, text) in cards {
        suite.map(&format!("refused card: {name}"), &text, None, SurfaceKind::ThinPlate)?;
    }
    let bed = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\n";
    for (name, csv) in [
        ("CSV with a word", "x,y,value\n1,2,zero\n"),
        ("CSV with two numbers", "1,2\n"),
        ("two places", "1,2,0.1\n3,4,0.1\n"),
        ("one line", "10,10,0.1\n20,20,0.1\n30,30,0.1\n"),
        ("readings that contradict each other", "10,10,0.1\n190,10,0.1\n10,190,0.1\n10,10,0.4\n"),
    ] {
        suite.map(&format!("refused readings: {name}"), bed, Some(csv), SurfaceKind::ThinPlate)?;
    }
    let scatter = "10,10,0.1\n190,10,0.1\n10,190,0.1\n150,150,0.4\n";
    suite.map("refused readings: no grid", bed, Some(scatter), SurfaceKind::Bilinear)?;
    for (n, text) in [
        "G28\nG1 X10 Y10 Z0.2\nG1 X20.5.1\n",
        "G28\nG1 X10 Y10 Z0.2\nG1 X",
        "G1 X10 Y10 Z0.2\n  G18 ; another plane\nG2 X20 Y10 I5\n",
        "G1 X1 Y1 Z0.2\nG29\n",
        "G1 X1 Y1 Z0.2\nG93\nG1 X10 F2\n",
        "G1 X1 Y1 Z0.2\nG77 X9\n",
        "; evengap 0.1.0 card=0123456789ab\nG1 X1 Y1 Z0.2\n",
        "G28\nG1 X120 Y120 Z0.01\nG1 X20 Y215 Z0\n",
        "G1 X1e5 Y\u{2212}3\n",
    ]
    .into_iter()
    .enumerate()
    {
        let file = format!("refused-{n}");
        suite.keep(&file, text.as_bytes())?;
        suite.rewrite(&format!("to be refused {n}"), card, SurfaceKind::ThinPlate, &json!({}), &file)?;
    }
    suite.keep("refused-utf16", b"\xFF\xFEG\x001\x00")?;
    suite.rewrite("to be refused: UTF-16", card, SurfaceKind::ThinPlate, &json!({}), "refused-utf16")
}

fn fault(error: &Error) -> Value {
    json!({ "kind": error.kind(), "message": error.message(), "help": error.help(), "places": error.places() })
}

/// The readings themselves, and a lattice of odd steps that reaches beyond the bed on every side.
fn points(map: &HeightMap) -> Vec<[f64; 2]> {
    let bed = &map.card().bed;
    let along = |[low, high]: [f64; 2], n: u32| low - 20.3 + (high - low + 40.6) * f64::from(n) / 40.0;
    let lattice = (0..=40).flat_map(|j| (0..=40).map(move |i| (i, j))).map(|(i, j)| [along(bed.x, i), along(bed.y, j)]);
    map.readings().iter().map(|r| [r.x, r.y]).chain(lattice).collect()
}

fn bytes(numbers: &[f64]) -> Vec<u8> {
    numbers.iter().flat_map(|number| number.to_le_bytes()).collect()
}

fn hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}
