//! The oracle against files made by hand and by a plain rewriter of its own: it must pass what is right and find
//! each planted fault.
#![expect(clippy::cast_precision_loss, reason = "small counts of pieces and samples")]

use evengap_tests::dec::Dec;
use evengap_tests::machine::{Motion, Setup, State, X, Y, Z, run};
use evengap_tests::oracle::{Report, Rules, What, judge, tell};
use evengap_tests::path::Path;

type Height = fn(f64, f64) -> f64;

fn plane(x: f64, _y: f64) -> f64 {
    0.1 + 0.001 * x
}

fn bent(x: f64, y: f64) -> f64 {
    0.3 * ((x - 50.0) / 100.0).powi(2) - 0.05 * (y / 100.0)
}

const PLAIN: &str = "; head
G28
G1 Z5 F3000
G1 X10 Y10 ; there
G1 Z0.2
G1 X50 Y10 E1 F1200 A4
G3 X60 Y20 I0 J10 E1.5
M117 hello
G92 Z1
G1 X20 Y20 E3
G91
G1 Z5
G1 X10 (rel)
G90
G92 E0
G28 X
G1 Y50
G1 X0 Z2
";

/// By hand: h is 0.11 at X10, 0.15 at X50, 0.16 at X60, 0.12 at X20, 0.13 at X30 and 0.1 at X0. On the quarter circle
/// Z would be 0.0021 off halfway, which the tolerance allows.
const PLAIN_RIGHT: &str = "; head
G28
G1 Z5 F3000
;mark
G1 X10 Y10 Z5.11 ; there
G1 Z0.31
G1 X50 Y10 Z0.35 E1 F1200 A4
G3 X60 Y20 Z0.36 I0 J10 E1.5
M117 hello
G92 Z1.16
G1 X20 Y20 Z1.12 E3
G91
G1 Z5
G1 X10 Z.01 (rel)
G90
G92 E0
G28 X
G1 Y50
G1 X0 Z2.1
";

fn ok(original: &str, rewritten: &str, h: Height, rules: &Rules) -> Report {
    match judge(original.as_bytes(), rewritten.as_bytes(), &h, rules) {
        Ok(report) => report,
        Err(faults) => panic!("{}\n{rewritten}", tell(&faults)),
    }
}

fn found(original: &str, rewritten: &str, h: Height, rules: &Rules) -> Vec<What> {
    match judge(original.as_bytes(), rewritten.as_bytes(), &h, rules) {
        Ok(_) => Vec::new(),
        Err(faults) => faults.iter().map(|f| f.what).collect(),
    }
}

fn swap(text: &str, from: &str, to: &str) -> String {
    assert_eq!(text.matches(from).count(), 1, "{from:?} must occur once");
    text.replace(from, to)
}

#[test]
fn right_by_hand() {
    let report = ok(PLAIN, PLAIN_RIGHT, plane, &Rules::default());
    assert_eq!((report.moves_in, report.moves_out, report.passed_unknown), (10, 10, 4));
    assert_eq!(report.marker, Some(4));
    assert!((report.largest_offset - 0.16).abs() < 1e-9, "{}", report.largest_offset);
    assert!((report.worst_z - 0.0021).abs() < 0.0001, "{}", report.worst_z);
    // The first known point may also pass as it is; what follows starts from there.
    let passed = swap(&swap(PLAIN_RIGHT, ";mark\nG1 X10 Y10 Z5.11 ;", "G1 X10 Y10 ;"), "G1 Z0.31", ";mark\nG1 Z0.31");
    ok(PLAIN, &passed, plane, &Rules::default());
}

/// Each fault planted alone, and the first thing that the oracle says of it.
#[test]
fn planted_faults() {
    for (from, to, what) in [
        ("G1 X50 Y10 Z0.35 E1 F1200 A4\n", "", What::Missing),
        ("G1 Z0.31\n", "", What::Missing),
        ("Z0.35", "Z0.37", What::Z),
        ("Z0.35", "Z0.05", What::Z),
        ("Z0.35 ", "", What::Z),
        ("Z5.11 ", "Z5.13 ", What::Unknown),
        ("Y10 Z5.11", "Y10.1 Z5.11", What::Unknown),
        ("G1 Y50", "G1 Y50 Z3", What::Unknown),
        ("E1 F1200", "E1.00002 F1200", What::E),
        ("E1 F1200", "F1200", What::E),
        ("E1 F1200", "E1 F1201", What::Feed),
        (" F1200", "", What::Feed),
        ("A4", "A4.1", What::Axis),
        (" A4", "", What::Axis),
        ("G3 X60", "G2 X60", What::OffPath),
        ("I0 J10", "I0 J9", What::OffPath),
        ("X60 Y20 Z0.36", "X60.001 Y20 Z0.36", What::WrongEnd),
        ("X60 Y20 Z0.36", "X61 Y20 Z0.36", What::Missing),
        ("G92 Z1.16", "G92 Z1", What::G92),
        ("G92 Z1.16", "G92 Z1.16 E0", What::Command),
        ("M117 hello\nG92 Z1.16", "G92 Z1.16\nM117 hello", What::Command),
        ("M117 hello", "M117 hallo", What::Command),
        ("G90\nG92 E0", "G92 E0\nG90", What::Command),
        ("(rel)", "", What::Command),
        ("; head", "; heed", What::Command),
        ("G1 Z5\n", "G1 Z5.0\n", What::Bytes),
        ("G1 Z5\n", "G1 Z5.01\n", What::Z),
        ("X10 Z.01 (rel)", "X10 Z.13 (rel)", What::Z),
        (";mark\n", "", What::Marker),
        ("G28\n", "G28\n;two\n", What::Marker),
        ("G1 X10 Y10 Z5.11", "G0 X10 Y10 Z5.11", What::G),
        ("Z2.1\n", "Z2.1", What::LineEnd),
        ("Z2.1\n", "Z2.1\r\n", What::LineEnd),
        ("Z2.1\n", "Z2.1\nG1 X1\n", What::Extra),
        ("A4\n", "A4 S3\n", What::Word),
        ("M117 hello\n", "G92 E9\nM117 hello\n", What::G92),
    ] {
        let faulty = swap(PLAIN_RIGHT, from, to);
        let what_found = found(PLAIN, &faulty, plane, &Rules::default());
        // The marker's faults are told at the end; a wrong G92 is told by its own name or the command's.
        assert!(what_found.contains(&what), "{from:?} -> {to:?}: {what_found:?}");
        let first = what_found[0];
        let forgiven = [What::Marker, What::Unknown, What::G92].contains(&what)
            || (what == What::OffPath && first == What::Backwards)
            || (what == What::Command && first == What::G92);
        assert!(first == what || forgiven || what == What::G, "{from:?} -> {to:?}: {what_found:?}");
    }
}

#[test]
fn nothing_to_change() {
    ok(PLAIN, PLAIN, |_, _| 0.0, &Rules::default());
    // The same numbers in other digits are other bytes.
    assert!(found(PLAIN, &swap(PLAIN, "Z0.2", "Z.2"), |_, _| 0.0, &Rules::default()).contains(&What::Bytes));
    // Under a constant height, or a shift, the unchanged file is wrong.
    assert!(found(PLAIN, PLAIN, |_, _| 0.05, &Rules::default()).contains(&What::Z));
    let rules = Rules { shift: 0.05, ..Rules::default() };
    assert!(found(PLAIN, PLAIN, |_, _| 0.0, &rules).contains(&What::Z));
    let shift = Rules { shift: -0.1, ..Rules::default() };
    assert!(found(PLAIN, PLAIN, |_, _| 0.1, &shift).is_empty());
}

#[test]
fn the_floor() {
    let original = "G1 X0 Y0 Z0.1\nG1 X10\n";
    let rewritten = ";m\nG1 X0 Y0 Z-0.05\nG1 X10\n";
    let low: Height = |_, _| -0.15;
    ok(original, rewritten, low, &Rules::default());
    let rules = Rules { floor: Some(0.0), ..Rules::default() };
    assert!(found(original, rewritten, low, &rules).contains(&What::Floor));
}

/// A plain rewriter for absolute files without unknowns: equal pieces, as many as it takes.
fn rewrite(original: &str, h: Height, rules: &Rules) -> String {
    let number = |v: f64, places: u32| Dec::round(v, places).expect("a number").to_string();
    let weight = |z: f64| rules.taper.map_or(1.0, |(from, to)| ((to - z) / (to - from)).clamp(0.0, 1.0));
    let mut out = String::new();
    let mut marked = false;
    let (mut drift, mut before) = (0.0, State::new(Setup::default()));
    let mut register = Dec::ZERO;
    let top = rules.taper.map_or(f64::INFINITY, |(_, to)| to);
    for step in run(original.as_bytes(), Setup::default()) {
        let raw = String::from_utf8(step.line.raw.to_vec()).expect("text");
        let target = |m: &Motion, path: &Path, f: f64| {
            let [x, y] = path.at(f);
            let (z0, z1) = (m.start[Z].expect("z").f64(), m.end[Z].expect("z").f64());
            let z = z0 + f * (z1 - z0);
            let lift = if weight(z) > 0.0 { weight(z) * h(x, y) } else { 0.0 };
            (z + lift + rules.shift, z)
        };
        match step.motion() {
            Some(m) if m.known() && [m.start[Z], m.end[Z]].iter().flatten().any(|z| z.f64() < top) => {
                let path = m.path.expect("a path");
                let parts = if m.travels() { 4000 } else { 2 };
                let fits = |n: usize| {
                    let per = parts / n;
                    (0..n).all(|k| {
                        let f = |q: usize| (k * per + q) as f64 / parts as f64;
                        let (a, b) = (target(m, &path, f(0)).0, target(m, &path, f(per)).0);
                        (0..=per).all(|q| {
                            let t = q as f64 / per as f64;
                            (a + t * (b - a) - target(m, &path, f(q)).0).abs() < 0.9 * rules.tolerance
                        })
                    })
                };
                let n = if m.travels() {
                    [1, 2, 4, 8, 10, 16, 20, 40].into_iter().find(|&n| fits(n)).expect("fits")
                } else {
                    1
                };
                // The flow by plain midpoints.
                let mut factor = 1.0;
                if let (Some((from, to)), true, true) = (rules.taper, m.travels(), m.e.is_positive()) {
                    let sum: f64 = (0..1_000_000)
                        .map(|q| {
                            let f = (f64::from(q) + 0.5) / 1_000_000.0;
                            let [x, y] = path.at(f);
                            let z = target(m, &path, f).1;
                            if z > from && z < to { h(x, y) } else { 0.0 }
                        })
                        .sum();
                    factor -= sum / 1_000_000.0 / (to - from);
                }
                if !marked {
                    out += ";mark\n";
                    marked = true;
                }
                let e0 = before.e.f64() + drift;
                let e1 = e0 + m.e.f64() * factor;
                let mut at = [m.start[X].expect("x"), m.start[Y].expect("y")];
                for k in 1..=n {
                    let f = k as f64 / n as f64;
                    let end = if k == n {
                        [m.end[X].expect("x"), m.end[Y].expect("y")]
                    } else {
                        path.at(f).map(|v| Dec::round(v, 3).expect("a number"))
                    };
                    let z = number(target(m, &path, f).0, 3);
                    out += &format!("G{} X{} Y{} Z{z}", m.g, end[0], end[1]);
                    if let Path::Arc(arc) = path {
                        let [i, j] = [0, 1].map(|a| number(arc.centre[a] - at[a].f64(), 3));
                        out += &format!(" I{i} J{j}");
                    }
                    if !m.e.is_zero() {
                        out += &format!(" E{}", number(e0 + f * (e1 - e0), 5));
                    }
                    out.push('\n');
                    at = end;
                }
                drift = e1 - step.after.e.f64();
                if m.e.is_zero() {
                    out = out.trim_end_matches('\n').to_owned() + "\n";
                }
                register = step.after.e;
            }
            Some(m) if !m.known() && step.after.xyz().is_some() => {
                // The first known point: its Z alone.
                let [x, y, z] = step.after.xyz().expect("known");
                let z = number(z + weight(z) * h(x, y) + rules.shift, 3);
                let words: Vec<&str> = raw.split(' ').filter(|w| !w.starts_with('Z')).collect();
                out += &format!(";mark\n{} Z{z}\n", words.join(" "));
                marked = true;
            }
            _ => {
                if step.motion().is_some_and(|m| !m.e.is_zero()) && drift != 0.0 {
                    out += &format!("G92 E{register}\n");
                    drift = 0.0;
                }
                if step.is_g92_of(b"E") {
                    drift = 0.0;
                }
                out += &(raw + "\n");
            }
        }
        before = step.after;
    }
    out
}

const LAYERS: &str = "G1 X0 Y0 Z0.2
G1 X100 Y0 E5
G1 X100 Y80 E9
G2 X100 Y80 I-40 J0 E20
G3 X20 Y80 R-41 E30
G3 X60 Y40 Z0.8 I40 J0 E33
G1 X0 Y0 Z0.9
G1 X100 Y0 E38
G1 X0 Y100 Z1.1 E45
G1 X50 Y50 E40
G1 X50 Y100 Z1.4 E45
G1 X100 Y100 Z3 E50
G1 X0 E60
G92 E0
G1 X50 E5
";

#[test]
fn right_by_a_plain_rewriter() {
    for taper in [None, Some((0.5, 1.2)), Some((0.15, 2.5)), Some((0.0, 100.0))] {
        for shift in [0.0, 0.08] {
            let rules = Rules { taper, shift, ..Rules::default() };
            // With a shift the plain rewriter would have to change lines above the taper as well.
            if shift != 0.0 && taper.is_some_and(|(_, to)| to < 50.0) {
                continue;
            }
            let rewritten = rewrite(LAYERS, bent, &rules);
            let report = ok(LAYERS, &rewritten, bent, &rules);
            assert!(report.moves_out > report.moves_in + 20, "{report:?}");
            assert_eq!(report.inserted_g92, usize::from(taper.is_some_and(|(_, to)| to < 50.0)), "{taper:?}");
            // The oracle of another definition finds fault.
            for other in [
                Rules { taper: Some((0.5, 1.3)), ..rules.clone() },
                Rules { shift: shift + 0.02, ..rules.clone() },
                Rules { tolerance: 0.001, ..rules.clone() },
            ] {
                let found = found(LAYERS, &rewritten, bent, &other);
                assert!(found.contains(&What::Z) || found.contains(&What::E), "{other:?}: {found:?}");
            }
            let deeper: Height = |x, y| bent(x, y) * 1.1;
            assert!(found(LAYERS, &rewritten, deeper, &rules).contains(&What::Z));
            let upside_down: Height = |x, y| -bent(x, y);
            assert!(found(LAYERS, &rewritten, upside_down, &rules).contains(&What::Z));
            if taper.is_some() {
                let no_flow = Rules { flow: false, ..rules.clone() };
                assert!(found(LAYERS, &rewritten, bent, &no_flow).contains(&What::E));
            }
        }
    }
}

/// Every line of a right file spoilt in turn: whatever is spoilt must be found.
#[test]
fn every_spoilt_line_is_found() {
    let rules = Rules { taper: Some((0.5, 1.2)), ..Rules::default() };
    let right = rewrite(LAYERS, bent, &rules);
    let lines: Vec<&str> = right.lines().collect();
    let with = |k: usize, new: &[String]| {
        let mut all: Vec<String> = lines.iter().map(|l| (*l).to_owned()).collect();
        all.splice(k..=k, new.iter().cloned());
        all.join("\n") + "\n"
    };
    let nudge = |line: &str, letter: char, by: f64| -> Option<String> {
        let from = line.find(letter)? + 1;
        let to = line[from..].find(' ').map_or(line.len(), |n| from + n);
        let value: f64 = line[from..to].parse().expect("a number");
        Some(format!("{}{}{}", &line[..from], Dec::round(value + by, 5)?, &line[to..]))
    };
    let (mut planted, mut harmless) = (0, 0);
    for (k, line) in lines.iter().enumerate() {
        let mut spoilt = vec![with(k, &[])];
        if line.starts_with("G1") || line.starts_with("G2") || line.starts_with("G3") {
            spoilt.push(with(k, &[(*line).to_owned(), (*line).to_owned()]));
            for (letter, by) in [('Z', 0.02), ('Z', -0.02), ('X', 0.01), ('Y', -0.01), ('E', 0.000_2), ('E', -0.01)] {
                spoilt.extend(nudge(line, letter, by).map(|l| with(k, &[l])));
            }
            for (letter, by) in [('I', 0.2), ('J', -0.2)] {
                spoilt.extend(nudge(line, letter, by).map(|l| with(k, &[l])));
            }
            if let Some(rest) = line.strip_prefix("G2") {
                spoilt.push(with(k, &[format!("G3{rest}")]));
            }
            if let Some(rest) = line.strip_prefix("G3") {
                spoilt.push(with(k, &[format!("G2{rest}"), "G3".to_owned()]));
            }
        }
        if k + 1 < lines.len() && *line != lines[k + 1] {
            let mut all: Vec<&str> = lines.clone();
            all.swap(k, k + 1);
            spoilt.push(all.join("\n") + "\n");
        }
        for (n, text) in spoilt.into_iter().enumerate() {
            planted += 1;
            let found = found(LAYERS, &text, bent, &rules);
            // Without one joint, two pieces may still be one that the tolerance allows.
            if n == 0 && found.is_empty() {
                harmless += 1;
                continue;
            }
            assert!(!found.is_empty(), "line {}: {line}\n{text}", k + 1);
        }
    }
    assert!(planted > 300 && harmless < 12, "{harmless} of {planted}");
}

#[test]
fn numbers_and_checksums() {
    let sum = |body: &str| format!("{body}*{}\n", body.bytes().fold(0, |x, b| x ^ b));
    let file = |bodies: &[&str]| -> String {
        bodies.iter().enumerate().map(|(k, b)| sum(&format!("N{} {b}", k + 1))).collect()
    };
    let original = file(&["G1 X0 Y0 Z0.2", "M117 a", "G1 X100 E5"]);
    let right = ";mark\n".to_owned() + &file(&["G1 X0 Y0 Z0.275", "M117 a", "G1 X50 Z0.2 E2.5", "G1 X100 Z0.275 E5"]);
    let v: Height = |x, _| 0.075 * ((x - 50.0) / 50.0).abs();
    ok(&original, &right, v, &Rules::default());
    let line = "N3 G1 X50 Z0.2 E2.5";
    let whole = sum(line);
    for (to, what) in [
        (format!("{line}*1\n"), What::Checksum),
        (format!("{line}\n"), What::Checksum),
        (sum("N4 G1 X50 Z0.2 E2.5"), What::Number),
        (format!("{}\n", line.trim_start_matches("N3 ")), What::Number),
    ] {
        let faults = found(&original, &swap(&right, &whole, &to), v, &Rules::default());
        assert!(faults.contains(&what), "{to}: {faults:?}");
    }
}

#[test]
fn pieces_that_one_could_replace_are_counted() {
    let original = "G1 X0 Y0 Z1\nG1 X100\n";
    let rewritten = ";m\nG1 X0 Y0 Z1.1\nG1 X50 Z1.15\nG1 X100 Z1.2\n";
    let report = ok(original, rewritten, plane, &Rules::default());
    assert_eq!(report.mergeable, 1);
    let rules = Rules { fewest: true, ..Rules::default() };
    assert_eq!(found(original, rewritten, plane, &rules), [What::Split]);
    // Two pieces where none was needed at all: the line would have done as it was.
    let flat = "G1 X0 Y0 Z1\nG1 X100\n";
    let split = ";m\nG1 X0 Y0 Z1.1\nG1 X50\nG1 X100\n";
    assert!(found(flat, split, |_, _| 0.1, &Rules::default()).contains(&What::Bytes));
}

#[test]
fn inches_and_relative_by_hand() {
    let original = "G20\nG91\nG90\nG1 X0 Y0 Z0.01\nG91\nG1 X1 E.1\nG1 X1 Z.1\nG21\nG1 X10\n";
    // h is 0.1 at X0, 0.1254 at X25.4, 0.1508 at X50.8, 0.1608 at X60.8.
    let right = "G20\nG91\nG90\n;m\nG1 X0 Y0 Z0.01394\nG91\nG1 X1 Z.001 E.1\nG1 X1 Z.101\nG21\nG1 X10 Z.01\n";
    let report = ok(original, right, plane, &Rules::default());
    assert!(report.worst_z < 0.0002, "{}", report.worst_z);
    let relative = Rules { setup: Setup { e_relative: true, g90_sets_e: false }, ..Rules::default() };
    ok(original, right, plane, &relative);
    let faults = found(original, &swap(right, "Z.101", "Z.1005"), plane, &Rules::default());
    assert!(faults.contains(&What::Z));
}
