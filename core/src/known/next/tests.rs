use super::design::in_squares;
use super::spots::over_nodes;
use super::*;

const BED: &str = "[bed]\nx = [0, 235]\ny = [0, 235]\n";

fn card(points: &str, more: &str) -> Card {
    let text = format!("{BED}{more}\n[readings]\nmethod = 'drag'\nsheet = 0.1\nspread = 0.02\npoints = [{points}]\n");
    Card::parse_without_points(&text).unwrap()
}

const SEVEN: &str =
    "[10, 10, 0.1], [225, 10, 0.15], [10, 225, 0.2], [225, 225, 0.1], [118, 118, 0.3], [60, 150, 0.2], [118, 10, 0.2]";

/// Readings of a card, and more of height 0, weighed as the first alone are.
fn refitted(card: &Card, more: &[[f64; 2]]) -> Model {
    let map = HeightMap::fit(card, SurfaceKind::ThinPlate).unwrap();
    let mut data = crate::known::readings(&map);
    let before = Model::of(&data).unwrap();
    data.points.extend(more);
    data.heights.resize(data.points.len(), 0.0);
    Model::of(&data).unwrap().with_nodes_of(&before)
}

/// The weighted sum of the variances at places, by the model's own formula.
fn variance(model: &Model, places: &[[f64; 3]]) -> f64 {
    let at = |[x, y, weight]: &[f64; 3]| {
        let sum = model.sum(&[([*x, *y], 1.0)]);
        weight * model.nodes.iter().map(|n| n.share * n.moments(model, &sum)[1]).sum::<f64>()
    };
    places.iter().map(at).sum()
}

/// 5 x 5 over the bed.
fn few() -> Vec<[f64; 2]> {
    let at = |k: u32| 20.0 + 45.0 * f64::from(k);
    (0..25).map(|n| [at(n % 5), at(n / 5)]).collect()
}

const PLACES: [[f64; 3]; 4] = [[30.0, 40.0, 1.0], [180.0, 60.0, 2.5], [100.0, 200.0, 0.5], [220.0, 200.0, 1.0]];

/// The sums that are kept up reading by reading, against a model that is made anew with all of them. Rounding: 1e-16 times what the
/// planes' variance at the corners is over that of a reading, with room for sums over some forty nodes.
#[test]
fn readings_leave_what_a_new_model_says() {
    let card = card(SEVEN, "");
    let model = refitted(&card, &[]);
    let spots = few();
    let mut design = Design::of(&model, &[], spots.iter().copied(), &PLACES, &card);
    let mut matter = Matter::of(&model, None, &PLACES, &card);
    let mut read = Vec::new();
    // One of them twice, and one that was read before.
    for k in [3, 17, 3, 24, 12] {
        matter.follow(&design, k, spots[k]);
        design.read(k);
        read.push(spots[k]);
        let anew = refitted(&card, &read);
        for (place, at) in PLACES.iter().enumerate() {
            let expected = variance(&anew, &[[at[0], at[1], 1.0]]);
            let found = over_nodes(&model, |k, _| matter.spots.variances[k][place]);
            assert!((found - expected).abs() < 1e-9 * expected, "{read:?} {at:?}: {found} {expected}");
        }
    }
    // Taken back, it is as if it had not been.
    let before = over_nodes(&model, |k, _| design.spots.variances[k][8]);
    design.read(5);
    design.change(5, -1.0);
    let after = over_nodes(&model, |k, _| design.spots.variances[k][8]);
    assert!((before - after).abs() < 1e-9 * before, "{before} {after}");
}

/// One place, and two: each against all that can be chosen, every one by a model made anew.
#[test]
fn the_choice_is_the_best_of_all() {
    let card = card(SEVEN, "");
    let model = refitted(&card, &[]);
    let spots = few();
    // Taken together in squares they are still themselves.
    assert_eq!(in_squares(&PLACES).len(), PLACES.len());
    let design = Design::of(&model, &[], spots.iter().copied(), &PLACES, &card);
    let one = |k: usize| variance(&refitted(&card, &[spots[k]]), &PLACES);
    let best = (0..25).min_by(|a, b| one(*a).total_cmp(&one(*b))).unwrap();
    assert_eq!(design.clone().chosen(1), [best]);
    let two = |[a, b]: [usize; 2]| variance(&refitted(&card, &[spots[a], spots[b]]), &PLACES);
    let pairs = (0..25).flat_map(|a| (a..25).map(move |b| [a, b]));
    let best = pairs.min_by(|a, b| two(*a).total_cmp(&two(*b))).unwrap();
    let mut chosen = design.chosen(2);
    chosen.sort_unstable();
    assert_eq!(chosen, best);
}

#[test]
fn a_corner_that_was_left_out_comes_first() {
    let grid = "[10, 10, 0.1], [118, 10, 0.1], [225, 10, 0.1], [10, 118, 0.1], [118, 118, 0.2], [225, 118, 0.1], [10, 225, 0.1], [118, 225, 0.1]";
    let found = next(&card(grid, ""), None, 3, Room::default()).unwrap();
    let first = found.points[0];
    assert_eq!(([first.x, first.y], first.place, first.again), ([225.0, 225.0], "back right", false));
    let known = Known::of(&HeightMap::fit(&card(grid, ""), SurfaceKind::ThinPlate).unwrap()).unwrap();
    let (before, over) = (found.before.unwrap(), known.over_bed());
    assert!((before.standard_error - over.standard_error).abs() < 1e-12);
    assert!((before.within - over.within).abs() < 1e-9);
    let mut last = before;
    for point in &found.points {
        let after = point.after.unwrap();
        assert!(after.standard_error < last.standard_error && after.within < last.within + 1e-9, "{found:?}");
        last = after;
    }
}

/// With the point read, where the model expects it, the map is known about as well as was foreseen.
#[test]
fn what_is_foreseen_comes_about() {
    let before = card(SEVEN, "");
    let found = next(&before, None, 4, Room::default()).unwrap();
    let map = HeightMap::fit(&before, SurfaceKind::ThinPlate).unwrap();
    let mut after = before.clone();
    for p in &found.points {
        let value = map.height(p.x, p.y) + 0.1;
        after.readings.points.push(crate::card::Reading {
            x: p.x,
            y: p.y,
            value,
            spread: None,
            line: None,
            column: None,
        });
    }
    let known = Known::of(&HeightMap::fit(&after, SurfaceKind::ThinPlate).unwrap()).unwrap();
    let (foreseen, came) = (found.points[3].after.unwrap().standard_error, known.over_bed().standard_error);
    let was = found.before.unwrap().standard_error;
    // Heights just as expected speak for a smoother bed: it is known no worse than foreseen, and not out of proportion.
    assert!(came < foreseen && foreseen < was && came > 0.5 * foreseen, "{was} {foreseen} {came}");
}

#[test]
fn what_matters_draws_the_points_to_it() {
    let part = [[150.0, 150.0, 1.0], [170.0, 170.0, 2.0], [190.0, 150.0, 1.0], [170.0, 180.0, 1.0]];
    let near = |p: &NextPoint| libm::hypot(p.x - 170.0, p.y - 160.0) < 70.0;
    let found = next(&card(SEVEN, ""), Some(&part), 2, Room::default()).unwrap();
    assert!(found.points.iter().all(near), "{found:?}");
    // Also on a card without readings: its first points lie about the part.
    let found = next(&card("", ""), Some(&part), 4, Room::default()).unwrap();
    assert!(found.before.is_none() && found.points.iter().all(near), "{found:?}");
    assert!(found.points[..2].iter().all(|p| p.after.is_none()));
    assert!(found.points[2..].iter().all(|p| p.after.is_some()));
}

#[test]
fn a_card_without_readings_gets_its_corners_first() {
    let places = |found: &Next| found.points.iter().map(|p| p.place).collect::<Vec<_>>();
    let found = next(&card("", ""), None, 5, Room::default()).unwrap();
    assert_eq!(places(&found)[..4], ["front left", "back right", "front right", "back left"]);
    // One that is read and one that is still to be read: a map needs one more.
    let found = next(&card("[10, 10, 0.1], [225, 225]", ""), None, 1, Room::default()).unwrap();
    assert_eq!(places(&found), ["front right"]);
    // Three on one line.
    let found = next(&card("[10, 10, 0.1], [100, 100, 0.1], [225, 225, 0.1]", ""), None, 1, Room::default()).unwrap();
    assert_eq!(places(&found), ["front right"]);
    let few = next(&card("", ""), None, 2, Room::default()).unwrap_err();
    assert_eq!((few.kind(), few.message()), (ErrorKind::Options, "2 points to read next are too few: a map needs 3"));
}

#[test]
fn points_still_to_be_read_count_as_read() {
    let first = |card: &Card| next(card, None, 1, Room::default()).unwrap().points[0].place;
    let points = "[10, 10, 0.1], [225, 10, 0.1], [10, 225, 0.1], [118, 118, 0.1]";
    assert_eq!(first(&card(points, "")), "back right");
    assert_ne!(first(&card(&format!("{points}, [225, 225]"), "")), "back right");
}

/// Clips, a round bed, an indicator beside the nozzle: the points keep off all of them.
#[test]
fn the_points_can_be_read() {
    for (bed, readings) in [
        ("keep_out = [[200, 200, 235, 235]]", "method = 'drag'\nsheet = 0.1"),
        ("outline = 'round'", "method = 'gauge'\nparked = 0.3"),
        ("keep_out = [[0, 100, 12, 130]]", "method = 'dial'\noffset = [-35, 22]\nright_at = [100, 100]"),
    ] {
        let text = format!(
            "{BED}{bed}\n[readings]\n{readings}\npoints = [[80, 60, 0.1], [160, 60, 0.1], [120, 170, 0.15], [118, 118, 0.12]]\n"
        );
        let card = Card::parse(&text).unwrap();
        let found = next(&card, None, 6, Room::default()).unwrap();
        for p in &found.points {
            assert_eq!(left_out(&card.bed, plunger(&card), [p.x, p.y], Room::default()), None, "{p:?}");
        }
        let [before, after] = [found.before, found.points[5].after].map(Option::unwrap);
        assert!(after.standard_error < before.standard_error, "{before:?} {after:?}");
    }
}

/// Where many places are read a corner tells most, and there is no other place at it.
#[test]
fn a_place_is_read_once_more_where_nothing_tells_more() {
    let at = |k: u32| (10 + 24 * k).min(225);
    let points: Vec<String> = (0..100).map(|n| format!("[{}, {}, 0.1]", at(n % 10), at(n / 10))).collect();
    let mut card = card(&points.join(", "), "");
    card.readings.points.iter_mut().zip(0..).for_each(|(p, n)| p.value += 0.02 * f64::from(n * 7919 % 11 - 5) / 3.0);
    let found = next(&card, None, 1, Room::default()).unwrap();
    assert!(found.points[0].again, "{found:?}");
    assert!([10.0, 225.0].contains(&found.points[0].x) && [10.0, 225.0].contains(&found.points[0].y), "{found:?}");
}

#[test]
fn what_cannot_be_chosen_is_refused() {
    let whole = card(SEVEN, "");
    let unread = card(&vec!["[50, 60]"; 90].join(", "), "");
    let narrow = card("[118, 118]", "keep_out = [[0, 0, 235, 100], [0, 130, 235, 235]]");
    for (card, places, count, room) in [
        (&whole, None, 0, Room::default()),
        (&whole, None, MAX_NEXT + 1, Room::default()),
        (&unread, None, 20, Room::default()),
        (&whole, Some(&[[f64::NAN, 0.0, 1.0], [5.0, 5.0, 0.0]][..]), 1, Room::default()),
        (&whole, None, 1, Room { margin: 120.0, clearance: 0.0 }),
        (&narrow, None, 5, Room { margin: 10.0, clearance: 14.9 }),
    ] {
        assert_eq!(next(card, places, count, room).unwrap_err().kind(), ErrorKind::Options);
    }
    // One place, or all the same: no square has a side.
    let found = next(&whole, Some(&[[50.0, 60.0, 1.0]]), 2, Room::default()).unwrap();
    assert!(found.points.iter().all(|p| libm::hypot(p.x - 50.0, p.y - 60.0) < 60.0), "{found:?}");
}

/// Where the readings come to reach farther out, the map does too: what its edge was off there is gone.
#[test]
fn readings_farther_out_take_away_what_the_edge_was_off() {
    // A ramp, read in the middle of the bed alone: the map keeps the height of its edge beyond.
    let mut text =
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\nspread = 0.005\npoints = ["
            .to_owned();
    for n in 0..9 {
        let (x, y) = (60 + 40 * (n % 3), 60 + 40 * (n / 3));
        text += &format!("[{x}, {y}, {:.3}],", f64::from(x) * 0.005);
    }
    let card = Card::parse(&(text + "]")).unwrap();
    let next = next(&card, Some(&[[180.0, 100.0, 1.0]]), 1, Room::default()).unwrap();
    let (before, point) = (next.before.unwrap(), next.points[0]);
    // 40 mm beyond the edge the ramp has risen by 0.2 mm.
    assert!(before.within > 0.2, "{before:?}");
    assert!(point.x >= 179.0 && point.after.unwrap().within < 0.05, "{point:?}");
}
