//! The gap along a toolpath, against figures by hand.

use evengap::check::{Followed, GapOptions, GapReport, Gaps, Keep};
use evengap::follow::{Options, rewrite};
use evengap::{Card, HeightMap, SurfaceKind};

/// A plane that is 0 at x = 100 and rises by 0.1 mm in 50 mm of x; readings at its corners.
fn tilted() -> HeightMap {
    map("[[0, 0, -0.2], [200, 0, 0.2], [0, 200, -0.2], [200, 200, 0.2]]")
}

/// A dome, 0.3 mm above its edges.
fn dome() -> HeightMap {
    let points: Vec<String> = (0..25)
        .map(|i| {
            let (x, y) = (f64::from(i % 5) * 50.0, f64::from(i / 5) * 50.0);
            let r2 = ((x - 100.0).powi(2) + (y - 100.0).powi(2)) / 1e4;
            format!("[{x}, {y}, {}]", 0.3 * (1.0 - r2))
        })
        .collect();
    map(&format!("[{}]", points.join(", ")))
}

fn map(points: &str) -> HeightMap {
    let text = format!(
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\npoints = {points}\n[screws]\npitch = 1\n\
         raise = 'clockwise'\nat = {{ a = [0, 0], b = [200, 0] }}\n"
    );
    HeightMap::fit(&Card::parse(&text).expect("a card"), SurfaceKind::ThinPlate).expect("a map")
}

fn look(bytes: &[u8], map: &HeightMap, options: GapOptions) -> GapReport {
    let mut gaps = Gaps::new(map, options);
    gaps.push(bytes).expect("readable");
    gaps.finish().expect("readable")
}

fn options(set: impl FnOnce(&mut GapOptions)) -> GapOptions {
    let mut options = GapOptions::default();
    set(&mut options);
    options
}

fn keep(keep: Keep) -> GapOptions {
    options(|o| o.keep = keep)
}

fn near(a: f64, b: f64, by: f64) {
    assert!((a - b).abs() <= by, "{a} is not {b}");
}

/// A full circle of radius 50 about (100, 100) on the tilted plane: h = 0.1 cos(angle). At Z 0.2 the window of 30 % is 0.06 mm:
/// too near where cos > 0.6, too far where cos < -0.6, each over 2 acos(0.6) of the circle. Each of the four ends of the shares may
/// be off by half a stretch of 1 mm.
#[test]
fn a_circle_on_a_plane() {
    let report = look(b"G1 X150 Y100 Z0.2 F3000\nG3 I-50 E10\n", &tilted(), GapOptions::default());
    let path = report.first_layer().expect("a layer").path;
    let around = 100.0 * std::f64::consts::PI;
    let side = 100.0 * 0.6_f64.acos();
    near(path.all, around, 1e-9);
    near(path.near, side, 1.0);
    near(path.far, side, 1.0);
    near(path.right, around - 2.0 * side, 2.0);
    let layer = report.first_layer().expect("a layer");
    near(layer.nearest.deviation, -0.1, 1e-4);
    near(layer.farthest.deviation, 0.1, 1e-4);
    near(layer.farthest.x, 50.0, 0.1);
    assert_eq!((layer.line, layer.nearest.line), (2, 2));
}

/// What is not laid does not count: travel, retraction on the move, E alone, a place that is not known.
#[test]
fn only_filament_that_is_laid_counts() {
    let file = b"G1 X10 E5\nG28\nG1 X0 Y0 Z0.2 E6\nG1 X100 F3000\nG1 X100 Y50 E7\nG1 E9\nG1 X150 E8.5\nM83\nG1 X140 E0.5\nG1 Z5\nG1 X0 E1\n";
    let report = look(file, &tilted(), GapOptions::default());
    let told: Vec<_> = report.layers.iter().map(|l| (l.z, l.path.all, l.line)).collect();
    assert_eq!(told, [(0.2, 60.0, 5), (5.0, 140.0, 11)]);
}

/// Layers are told by Z, whenever they are laid, and the lowest is the first.
#[test]
fn layers_by_height_and_the_path_of_one() {
    let mut file = String::from("M83\nG1 X0 Y0 Z0.3\nG1 X5 E1\n");
    for part in [10, 110] {
        for z in ["0.2", "0.4", "0.6"] {
            file += &format!("G1 X{part} Y20 Z{z}\nG1 X{} E1\nG1 Y30 E1\nG0 X{part}\nG1 Y40 E1\n", part + 40);
        }
    }

    let report = look(file.as_bytes(), &tilted(), keep(Keep::At(0.4)));
    let told: Vec<_> = report.layers.iter().map(|l| (l.z, l.path.all)).collect();
    assert_eq!(told, [(0.2, 120.0), (0.3, 5.0), (0.4, 120.0), (0.6, 120.0)]);
    let lowest = look(file.as_bytes(), &tilted(), keep(Keep::Lowest));
    for kept in [&report.kept, &lowest.kept] {
        // Two strokes a part: along and up, then up again after the travel.
        let starts: Vec<_> = kept.strokes.iter().map(|s| [kept.points[*s][0], kept.points[*s][1]]).collect();
        assert_eq!(starts, [[10.0, 20.0], [10.0, 30.0], [110.0, 20.0], [110.0, 30.0]]);
        // 40 mm and twice 10 mm, points 2 mm apart at the most, joined at the corner.
        assert_eq!(kept.strokes[1], 1 + 20 + 5);
        for [x, _, deviation] in &kept.points {
            near(*deviation, -(x - 100.0) * 0.002, 1e-9);
        }
    }
    let cut = look(file.as_bytes(), &tilted(), options(|o| (o.keep, o.most_kept) = (Keep::At(0.2), 40)));
    assert!(cut.kept.cut && cut.kept.points.len() <= 40);
}

/// A rewritten file: right all over its first layer, within the tolerance and the digits, and a fault shows at its line.
#[test]
fn before_and_after_rewriting() {
    let mut file = String::from("M83\nG28\nG1 X20 Y20 Z0.2 F3000\n");
    for layer in 1..=8 {
        file += &format!("G1 Z{:.1}\nG1 X180 E5\nG1 Y180 E5\nG1 X20 E5\nG1 Y20 E5\n", 0.2 * f64::from(layer));
    }
    let bed = dome();
    let before = look(file.as_bytes(), &bed, GapOptions::default());
    let first = before.first_layer().expect("a layer");
    assert!(first.path.right < 0.8 * first.path.all, "{first:?}");
    let (bytes, summary) = rewrite(file.as_bytes(), &bed, Options::default()).expect("rewritten");
    let options = options(|o| {
        o.followed = Some(Followed { taper: summary.taper, shift: 0.0 });
        o.layers = before.layers.iter().map(|l| l.z).collect();
    });
    let after = look(&bytes, &bed, options.clone());
    assert_eq!(after.layers.iter().map(|l| l.z).collect::<Vec<_>>(), options.layers);
    let first = after.first_layer().expect("a layer");
    near(first.path.right, first.path.all, 1e-9);
    near(first.path.all, 640.0, 1e-6);
    for worst in [first.nearest, first.farthest] {
        assert!(worst.deviation.abs() <= 0.005 + 0.0005, "{worst:?}");
    }
    // In the taper the weight is what the definition leaves: the deviation is (w - 1) h.
    let [from, to] = summary.taper.expect("a taper");
    let high = after.layers.last().expect("a layer");
    let weight = (to - high.z) / (to - from);
    let h = bed.height(high.nearest.x, high.nearest.y);
    near(high.nearest.deviation, (weight - 1.0) * h, 0.0056);

    // A fault of 0.1 mm in the second piece of the first layer.
    let text = String::from_utf8(bytes).expect("text");
    let (number, line) =
        text.lines().enumerate().filter(|(_, l)| l.contains(" Z") && l.contains('E')).nth(1).expect("a piece");
    let z: f64 = line.split(' ').find_map(|w| w.strip_prefix('Z')).expect("Z").parse().expect("a number");
    let faulty = text.replacen(
        line,
        &line.replace(
            &format!("Z{}", &line[line.find('Z').expect("Z") + 1..].split(' ').next().expect("word")),
            &format!("Z{:.4}", z + 0.1),
        ),
        1,
    );
    let report = look(faulty.as_bytes(), &bed, options);
    let first = report.first_layer().expect("a layer");
    assert!(first.path.far > 0.5, "{first:?}");
    near(first.farthest.deviation, 0.1, 0.01);
    let line = u64::try_from(number).expect("small") + 1;
    assert!((line..=line + 1).contains(&first.farthest.line), "{} is not {line}", first.farthest.line);
}

/// The same for any cut of the input.
#[test]
fn chunks_make_no_difference() {
    let file = b"M83\r\nG1 X0 Y0 Z0.2\r\nG2 X100 Y100 I50 J50 E3\r\n(text)\r\nG1 X0 E1";
    let whole = look(file, &dome(), keep(Keep::At(0.2)));
    for size in [1, 2, 7] {
        let mut gaps = Gaps::new(&dome(), keep(Keep::At(0.2)));
        for chunk in file.chunks(size) {
            gaps.push(chunk).expect("readable");
        }
        assert_eq!(gaps.finish().expect("readable"), whole);
    }
}

/// Readings do not reach the bed's edge: what is laid outside them is told.
#[test]
fn path_outside_the_readings_is_told() {
    let inner = map("[[50, 50, 0], [150, 50, 0], [50, 150, 0], [150, 150, 0]]");
    let report = look(b"G1 X0 Y100 Z0.2\nG1 X200 E10\n", &inner, GapOptions::default());
    let path = report.first_layer().expect("a layer").path;
    assert_eq!((path.all, path.unmeasured, path.right), (200.0, 100.0, 200.0));
}
