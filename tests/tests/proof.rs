//! The proof: what was rewritten is proven, and what was spoilt is found.

use evengap::check::proof::{FaultKind, Verdict};
use evengap::follow::{Options, Taper, rewrite};
use evengap::{HeightMap, SurfaceKind};
use evengap_tests::beds::{anywhere as options, beds, config, map, tapers, woken};
use evengap_tests::machine::Setup;
use evengap_tests::mixed::toolpath;
use evengap_tests::oracle::{Rules, judge};
use evengap_tests::proving::{prove, to_prove};
use evengap_tests::samples;
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use std::sync::LazyLock;

fn told(verdict: &Verdict) -> String {
    format!("{verdict:#?}")
}

proptest! {
    #![proptest_config(config(128))]

    #[test]
    fn what_was_rewritten_is_proven(
        path in toolpath(40), map in beds(), taper in tapers(), flow in any::<bool>(),
        shift in prop_oneof![3 => Just(0.0), 1 => -0.1..0.1_f64], tolerance in prop_oneof![3 => Just(0.005), 1 => 0.002..0.05_f64],
    ) {
        let options = options(|o| {
            woken(o, path.setup);
            o.taper = taper;
            o.flow = flow;
            o.shift = shift;
            o.tolerance = tolerance;
        });
        let bytes = path.bytes();
        let (out, summary) = rewrite(&bytes, &map, options).map_err(|e| TestCaseError::fail(e.to_string()))?;
        let verdict = prove(&bytes, &out, &map, to_prove(&options, &summary)).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert!(
            verdict.is_proven(), "{}\n--- original\n{}\n--- rewritten\n{}", told(&verdict),
            String::from_utf8_lossy(&bytes), String::from_utf8_lossy(&out)
        );
    }
}

/// A place that is lost and told anew, a little beside where it was: Z is then off by as little, and moves of all lengths begin there.
fn told_anew() -> impl Strategy<Value = String> {
    let go = (5..145_i32, 5..145_i32, 0..9_i32).prop_map(|(x, y, e)| format!("G1 X{x} Y{y} E{e}\n"));
    let near = (-25..25_i32, -25..25_i32).prop_map(|(x, y)| format!("G91\nG1 X{x} Y{y} E1\nG90\n"));
    let anew = (-300..300_i32, 5..145_i32, any::<bool>()).prop_map(|(by, at, x)| {
        let letter = if x { 'X' } else { 'Y' };
        format!("G1 {letter}{at}\nG28 {letter}\nG92 {letter}{:.3}\n", f64::from(at) + f64::from(by) / 100.0)
    });
    prop_oneof![3 => go, 4 => near, 4 => anew]
}

proptest! {
    #![proptest_config(config(400))]
    #[test]
    fn a_place_that_is_told_anew_is_followed_from_there(
        lines in proptest::collection::vec(told_anew(), 1..20), inches in any::<bool>(), plate in any::<bool>(), taper in tapers(),
    ) {
        static BEDS: LazyLock<[HeightMap; 2]> = LazyLock::new(|| {
            [SurfaceKind::ThinPlate, SurfaceKind::Bilinear]
                .map(|kind| map(4, 0.0, 150.0, kind, |x, y| 0.1 * ((x - 70.0) / 60.0).powi(2) - 0.002 * y))
        });
        let map = &BEDS[usize::from(plate)];
        let units = if inches { "G20\n" } else { "" };
        let body = lines.concat();
        let bytes = format!("M83\nG28\nG1 X60 Y50 Z0.3 F1200 E1\n{units}{body}").into_bytes();
        let options = options(|o| (o.taper, o.flow) = (taper, true));
        let Ok((out, summary)) = rewrite(&bytes, map, options) else { return Ok(()) };
        let verdict = prove(&bytes, &out, map, to_prove(&options, &summary)).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert!(
            verdict.is_proven(), "{}\n--- original\n{}\n--- rewritten\n{}", told(&verdict),
            String::from_utf8_lossy(&bytes), String::from_utf8_lossy(&out)
        );
    }
}

/// Every sample that is rewritten is proven.
#[test]
fn samples_are_proven() {
    let mut wrong = Vec::new();
    for (name, bytes) in samples::all() {
        for taper in [Taper::Auto, Taper::None] {
            let bent = map(5, -20.0, 235.0, SurfaceKind::ThinPlate, |x, _| 0.3 * (1.0 - ((x - 107.5) / 107.5).powi(2)));
            let options = options(|o| {
                o.taper = taper;
                o.allow.unknown_motion = true;
                o.allow.own_levelling = true;
                o.allow.already_rewritten = true;
                o.allow.large_heights = true;
            });
            let Ok((out, summary)) = rewrite(&bytes, &bent, options) else { continue };
            let started = std::time::Instant::now();
            let verdict = prove(&bytes, &out, &bent, to_prove(&options, &summary)).expect("it was read before");
            eprintln!(
                "{name} {taper:?}: {} moves to {}, height within {:.5}, filament {:.7}, {:?}",
                verdict.moves_in,
                verdict.moves_out,
                verdict.height.by,
                verdict.filament.by,
                started.elapsed()
            );
            if !verdict.is_proven() {
                wrong.push(format!("{name} {taper:?}: {}", told(&verdict)));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// How a part is spelled, and over which surface it goes.
#[derive(Debug, Clone, Copy)]
struct Spelled {
    relative: bool,
    numbered: bool,
    kind: SurfaceKind,
}

const PLAIN: Spelled = Spelled { relative: false, numbered: false, kind: SurfaceKind::ThinPlate };

/// A toolpath, how it was rewritten, over which bed and how.
struct Part {
    file: Vec<u8>,
    out: Vec<u8>,
    bed: HeightMap,
    options: Options,
    summary: evengap::follow::Summary,
}

/// With its checksum: the exclusive-or of its bytes (common practice, no source).
fn sealed(line: &str) -> String {
    format!("{line}*{}", line.bytes().fold(0, |sum, byte| sum ^ byte))
}

/// A part with arcs, a vase's climb, G92 in the middle, relative hops.
fn part(spelled: Spelled) -> Part {
    let e_mode = if spelled.relative { "M83" } else { "M82" };
    let mut file = format!("M140 S60\nG28\nG92 E0\n{e_mode}\nG1 X10 Y10 Z0.2 F3000\n");
    let mut e = 0.0;
    let mut lay = |line: &str| {
        e = if spelled.relative { 2.5 } else { e + 2.5 };
        format!("{line} E{e:.5}\n")
    };
    // G90 and G91 are for E as well, where nothing is said behind them.
    let back = format!("G90\n{e_mode}\n");
    for layer in 1..=6 {
        file += &format!(";layer {layer}\nG1 Z{:.2} F600\n", 0.2 * f64::from(layer));
        file += &lay("G1 X190 Y12 F1800");
        file += &lay("G3 X190 Y92 I0 J40");
        file += &lay("G2 X150 Y132 R40");
        file += &lay("G1 X10 Y130");
        file += &format!("G91\nG1 Z0.6\n{back}G0 X20 Y20\nG91\nG1 Z-0.6\n{back}");
        file += &lay(&format!("G1 X60 Y60 Z{:.3}", 0.2 * f64::from(layer) + 0.1));
        file += "M106 S128\nG92 Z5\nG1 X80 F1200\n";
        file += &format!("G92 Z{:.3}\n", 0.2 * f64::from(layer) + 0.1);
    }
    if spelled.numbered {
        let mut n = 0;
        let mut count = |line: &str| {
            if line.starts_with(';') {
                return format!("{line}\n");
            }
            n += 1;
            sealed(&format!("N{n} {line}")) + "\n"
        };
        file = file.lines().map(&mut count).collect();
    }
    let bed = map(5, 0.0, 200.0, spelled.kind, |x, y| {
        0.25 * (1.0 - ((x - 100.0).powi(2) + (y - 100.0).powi(2)) / 1e4) + 0.0005 * x
    });
    let options = options(|o| o.floor = 0.0);
    let (out, summary) = rewrite(file.as_bytes(), &bed, options).expect("rewritten");
    Part { file: file.into_bytes(), out, bed, options, summary }
}

/// The faults that the check must find, each planted by itself: and what it says of them.
#[test]
fn planted_faults_are_found() {
    let Part { file, out, bed, options, summary } = part(PLAIN);
    let asked = to_prove(&options, &summary);
    let proven = prove(&file, &out, &bed, asked).expect("readable");
    assert!(proven.is_proven(), "{}", told(&proven));
    let text = String::from_utf8(out).expect("text");
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let find = |what: &dyn Fn(&str) -> bool| lines.iter().position(|l| what(l)).expect("such a line");
    let word = |line: &str, letter: char| -> f64 {
        let at = line.find(letter).expect("the word") + 1;
        line[at..].split([' ', '\n']).next().expect("digits").parse().expect("a number")
    };
    let with = |line: &str, letter: char, value: f64| {
        let old = line.split([' ', '\n']).find(|w| w.starts_with(letter)).expect("the word");
        line.replacen(old, &format!("{letter}{value:.5}"), 1)
    };
    let piece = find(&|l| l.contains('Z') && l.contains('E') && l.starts_with("G1"));
    let arc = find(&|l| l.starts_with("G3"));
    let edit = |at: usize, line: String| {
        let mut all: Vec<String> = lines.iter().map(|l| (*l).to_owned()).collect();
        all[at] = line;
        all.concat()
    };
    let without = |at: usize| edit(at, String::new());
    let swapped = |a: usize| {
        let mut all = lines.clone();
        all.swap(a, a + 1);
        all.concat()
    };
    let layer = |n: u32| find(&|l| l.starts_with(&format!(";layer {n}")));
    let without_layer = [&lines[..layer(3)], &lines[layer(4)..]].concat().concat();
    let g92_z = find(&|l| l.starts_with("G92 Z5"));
    let fan = find(&|l| l.starts_with("M106"));
    let z = word(lines[piece], 'Z');
    let any = &[][..];
    let put = |at: usize, word: &str| edit(at, lines[at].replace('\n', &format!(" {word}\n")));
    let faults: [(&str, String, &[FaultKind]); 20] = [
        ("a move lost", without(piece), any),
        ("Z off by 0.02", edit(piece, with(lines[piece], 'Z', z + 0.02)), &[FaultKind::Height]),
        ("Z off by -0.02", edit(piece, with(lines[piece], 'Z', z - 0.02)), &[FaultKind::Height]),
        ("E shifted", edit(piece, with(lines[piece], 'E', word(lines[piece], 'E') + 0.001)), &[FaultKind::Filament]),
        ("a swapped line", swapped(piece), any),
        ("a wrong sign", edit(piece, with(lines[piece], 'Z', -z)), &[FaultKind::Height, FaultKind::Floor]),
        ("a missed G92", edit(g92_z, "G92 Z5\n".into()), &[FaultKind::Height]),
        ("a G92 lost", without(g92_z), any),
        ("an arc the wrong way round", edit(arc, lines[arc].replacen("G3", "G2", 1)), any),
        ("an arc made a line", edit(arc, lines[arc].replacen("G3", "G1", 1)), any),
        ("a layer left out", without_layer, any),
        ("a feed rate", edit(piece, lines[piece].replacen("F1800", "F1700", 1)), &[FaultKind::Word]),
        ("a fan lost", without(fan), any),
        ("a fan changed", edit(fan, "M106 S129\n".into()), any),
        ("a comment lost", without(layer(2)), any),
        ("an end cut off", lines[..lines.len() - 1].concat(), &[FaultKind::Missing]),
        ("a centre on a straight move", put(piece, "I5"), &[FaultKind::Word]),
        ("a radius on a straight move", put(piece, "R7"), &[FaultKind::Word]),
        ("a letter that was none", put(piece, "S20"), &[FaultKind::Word]),
        ("a line too many", edit(fan, "M106 S128\nG1 X1\n".into()), any),
    ];
    for (name, spoilt, kinds) in &faults {
        assert_ne!(*spoilt, text, "{name}: nothing was spoilt");
        let verdict = prove(&file, spoilt.as_bytes(), &bed, asked).expect("the original is readable");
        assert!(!verdict.is_proven(), "{name} was not found");
        if !kinds.is_empty() {
            assert!(verdict.faults.iter().any(|f| kinds.contains(&f.kind)), "{name}: {}", told(&verdict));
        }
    }
}

/// A machine that counts lines stops at one that is out of order, or asks for it again: N goes up by one from line to line.
#[test]
fn lines_are_counted() {
    let Part { file, out, bed, options, summary } = part(Spelled { numbered: true, ..PLAIN });
    let asked = to_prove(&options, &summary);
    assert!(prove(&file, &out, &bed, asked).expect("readable").is_proven());
    let text = String::from_utf8(out).expect("text");
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let numbers = lines.iter().filter(|l| l.starts_with('N')).zip(1..);
    let counted = numbers.inspect(|(l, n)| assert!(l.starts_with(&format!("N{n} ")), "{l} is line {n}")).count();
    assert!(counted > file.split(|b| *b == b'\n').count(), "no line was put in");
    for (at, line) in lines.iter().enumerate().filter(|(_, line)| line.starts_with('N')) {
        let body = line.split_once(' ').and_then(|(_, rest)| rest.split_once('*')).expect("both").0;
        for number in ["N999 ", ""] {
            let mut spoilt: Vec<String> = lines.iter().map(|l| (*l).to_owned()).collect();
            spoilt[at] = sealed(&format!("{number}{body}")) + "\n";
            let verdict = prove(&file, spoilt.concat().as_bytes(), &bed, asked).expect("the original is readable");
            assert!(verdict.faults.iter().any(|f| f.kind == FaultKind::Word), "{number}{body}: {}", told(&verdict));
        }
    }
}

/// How a rewritten file is spoilt at random.
#[derive(Debug, Clone)]
enum Spoil {
    Delete(usize),
    Double(usize),
    Swap(usize, usize),
    /// The line, the word, and what is added to its number.
    Add(usize, usize, f64),
    Negate(usize, usize),
    Drop(usize, usize),
    Digit(usize, usize, u8),
    Insert(usize, &'static str),
    /// A word more.
    Put(usize, &'static str),
}

fn spoil() -> impl Strategy<Value = Spoil> {
    let at = || any::<prop::sample::Index>().prop_map(|i| i.index(1 << 20));
    prop_oneof![
        1 => at().prop_map(Spoil::Delete),
        1 => at().prop_map(Spoil::Double),
        1 => (at(), 1..4_usize).prop_map(|(a, b)| Spoil::Swap(a, b)),
        4 => (at(), at(), prop_oneof![Just(0.02), Just(-0.02), Just(0.001), -1.0..1.0_f64]).prop_map(|(a, b, c)| Spoil::Add(a, b, c)),
        1 => (at(), at()).prop_map(|(a, b)| Spoil::Negate(a, b)),
        1 => (at(), at()).prop_map(|(a, b)| Spoil::Drop(a, b)),
        3 => (at(), at(), b'0'..=b'9').prop_map(|(a, b, c)| Spoil::Digit(a, b, c)),
        1 => (at(), prop_oneof![Just("G91"), Just("G92 E0"), Just("G92 Z1"), Just("M83"), Just("G1 Z5"), Just("G20"), Just("; note")])
            .prop_map(|(a, b)| Spoil::Insert(a, b)),
        1 => (at(), prop_oneof![Just("I5"), Just("J-3"), Just("R7"), Just("S20"), Just("F900"), Just("E1"), Just("Z0.5"), Just("K1")])
            .prop_map(|(a, b)| Spoil::Put(a, b)),
    ]
}

impl Spoil {
    /// The spoilt file; `None` where there is nothing to spoil in that way.
    fn apply(&self, text: &str) -> Option<String> {
        let mut lines: Vec<String> = text.split_inclusive('\n').map(str::to_owned).collect();
        let n = lines.len();
        let words = |line: &str| -> Vec<(usize, usize)> {
            let mut out = Vec::new();
            let mut at = 0;
            for word in line.split_inclusive([' ', '\n']) {
                let body = word.trim_end();
                if body.len() > 1 && body.as_bytes()[0].is_ascii_alphabetic() && body[1..].parse::<f64>().is_ok() {
                    out.push((at, at + body.len()));
                }
                at += word.len();
            }
            out
        };
        let edit = |line: &mut String, which: usize, change: &dyn Fn(&str) -> String| -> Option<()> {
            let all = words(line);
            let (from, to) = *all.get(which % all.len().max(1))?;
            let word = change(&line[from..to]);
            line.replace_range(from..to, &word);
            Some(())
        };
        match self {
            Spoil::Delete(i) => drop(lines.remove(i % n)),
            Spoil::Double(i) => lines.insert(i % n, lines[i % n].clone()),
            Spoil::Swap(i, by) => lines.swap(i % n, (i + by) % n),
            Spoil::Add(i, w, by) => edit(&mut lines[i % n], *w, &|word| {
                let decimals = word.split_once('.').map_or(0, |(_, d)| d.len()).max(3);
                format!("{}{:.decimals$}", &word[..1], word[1..].parse::<f64>().unwrap_or(0.0) + by)
            })?,
            Spoil::Negate(i, w) => edit(&mut lines[i % n], *w, &|word| match word[1..].strip_prefix('-') {
                Some(rest) => format!("{}{rest}", &word[..1]),
                None => format!("{}-{}", &word[..1], &word[1..]),
            })?,
            Spoil::Drop(i, w) => edit(&mut lines[i % n], *w, &|_| String::new())?,
            Spoil::Digit(i, w, digit) => edit(&mut lines[i % n], *w, &|word| {
                let mut bytes = word.as_bytes().to_vec();
                let digits: Vec<usize> = (1..bytes.len()).filter(|k| bytes[*k].is_ascii_digit()).collect();
                bytes[digits[w / 7 % digits.len()]] = *digit;
                String::from_utf8(bytes).expect("ASCII")
            })?,
            Spoil::Insert(i, line) => lines.insert(i % n, format!("{line}\n")),
            Spoil::Put(i, word) => {
                let (bare, sum) =
                    lines[i % n].trim_end().split_once('*').map_or((lines[i % n].trim_end(), ""), |(l, s)| (l, s));
                lines[i % n] = format!("{bare} {word}{}{sum}\n", if sum.is_empty() { "" } else { "*" });
            }
        }
        // A wrong checksum is found by whoever reads: all are right.
        for line in &mut lines {
            if let Some((bare, _)) = line.split_once('*') {
                *line = sealed(bare) + "\n";
            }
        }
        let out = lines.concat();
        (out != text).then_some(out)
    }
}

/// Rewritten files spoilt at random, each judged by the slow second implementation too: whatever that finds, the proof finds.
#[test]
fn what_was_spoilt_is_found() {
    let all = std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(400_u32);
    let spelled = [
        PLAIN,
        Spelled { relative: true, ..PLAIN },
        Spelled { numbered: true, ..PLAIN },
        Spelled { kind: SurfaceKind::Bilinear, ..PLAIN },
    ];
    for spelled in spelled {
        spoil_at_random(spelled, all / 4);
    }
}

fn spoil_at_random(spelled: Spelled, wanted: u32) {
    let Part { file, out, bed, options, summary } = part(spelled);
    let text = String::from_utf8(out).expect("text");
    let asked = to_prove(&options, &summary);
    let rules = Rules {
        setup: Setup::default(),
        taper: summary.taper.map(|[from, to]| (from, to)),
        floor: Some(options.floor),
        step: 0.5,
        ..Rules::default()
    };
    assert!(judge(&file, text.as_bytes(), &|x, y| bed.height(x, y), &rules).is_ok(), "{spelled:?}");
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let (mut spoilt, mut bad, mut found, mut both_fine, mut missed) = (0_u32, 0_u32, 0_u32, 0_u32, Vec::new());
    let mut only_here = Vec::new();
    while spoilt < wanted {
        let how = spoil().new_tree(&mut runner).expect("a value").current();
        let Some(broken) = how.apply(&text) else { continue };
        spoilt += 1;
        // Noughts more or fewer behind a point, which are no rewriting's, and harm nobody.
        let spelling = |fault: &evengap_tests::oracle::Fault| fault.to_string().contains("as the same numbers");
        let mut faults = judge(&file, broken.as_bytes(), &|x, y| bed.height(x, y), &rules).err().unwrap_or_default();
        faults.retain(|fault| !spelling(fault));
        let faults = (!faults.is_empty()).then_some(faults);
        let verdict = prove(&file, broken.as_bytes(), &bed, asked).expect("the original is readable");
        match (&faults, verdict.is_proven()) {
            (Some(_), false) => {
                bad += 1;
                found += 1;
            }
            (Some(faults), true) => {
                bad += 1;
                missed.push(format!("{how:?}: {}", faults[0]));
            }
            (None, true) => both_fine += 1,
            (None, false) => only_here.push(format!("{how:?}: {:?}", verdict.faults.first())),
        }
    }
    eprintln!(
        "{spelled:?}: {spoilt} spoilt: {bad} are faults for the second implementation, {found} of them found; {both_fine} harmless to both; {} only here",
        only_here.len()
    );
    eprintln!("{}", only_here.join("\n"));
    assert!(bad > wanted / 2, "too few faults to tell: {bad}");
    assert!(missed.is_empty(), "{} missed:\n{}", missed.len(), missed.join("\n"));
}

/// What is checked must not choose how closely: options that would let anything pass are refused, and a marker that tells of them is none.
#[test]
fn a_tolerance_that_lets_anything_pass_is_refused() {
    use evengap::check::Marker;
    use evengap::check::proof::{Proof, ProofOptions};
    let Part { file: original, out: rewritten, bed, options: asked, summary } = part(PLAIN);
    let wrong = String::from_utf8_lossy(&rewritten).replacen("Z0.", "Z3.", 40).into_bytes();
    assert!(!prove(&original, &wrong, &bed, to_prove(&asked, &summary)).expect("read").is_proven());
    let odd: [fn(&mut ProofOptions, f64); 5] = [
        |o, v| o.tolerance = v,
        |o, v| o.followed.shift = v,
        |o, v| o.followed.taper = Some([v, 4.0]),
        |o, v| o.followed.taper = Some([0.5, v]),
        |o, v| o.floor = v,
    ];
    for (n, set) in odd.iter().enumerate() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let mut options = to_prove(&asked, &summary);
            set(&mut options, value);
            let error = prove(&original, &wrong, &bed, options).expect_err("no sense");
            assert_eq!(error.kind(), evengap::ErrorKind::Options, "{n} {value}");
            assert!(Proof::new(&bed, options).finish().is_err(), "{n} {value}");
        }
    }
    for tolerance in [-1.0, 0.11, 5.0, 1e300] {
        let mut options = to_prove(&asked, &summary);
        options.tolerance = tolerance;
        assert!(prove(&original, &wrong, &bed, options).is_err(), "{tolerance}");
    }
    let marker = |tolerance: &str, shift: &str| {
        let text = format!(
            "; evengap 0.1.0 card=0123456789ab surface=thin-plate taper=none tolerance={tolerance} flow=on floor=0 shift={shift}"
        );
        Marker::read(text.as_bytes())
    };
    assert!(marker("0.1", "2").is_some() && marker("0.0005", "-2").is_some());
    for (tolerance, shift) in
        [("5", "0"), ("0.11", "0"), ("0", "0"), ("0.005", "2.1"), ("0.005", "-99999999999"), ("nan", "0")]
    {
        assert_eq!(marker(tolerance, shift), None, "{tolerance} {shift}");
    }
}
