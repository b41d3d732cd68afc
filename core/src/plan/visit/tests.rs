//! Programs read back with the project's own reader.

#![expect(clippy::float_cmp, reason = "what is written and read back is the same double")]

use super::*;
use crate::card::{Bed, Machine, Outline, Print, Readings};
use crate::toolpath::lines::{Lines, Piece};
use crate::toolpath::words::Line;
use crate::toolpath::{Reader, Reading, Step};
use proptest::prelude::*;

/// What a program does, in order.
#[derive(Debug, Clone, PartialEq)]
enum Event {
    Home,
    /// From and to, `None` where the place is not known.
    Move(Option<[f64; 3]>, [f64; 3]),
    /// To a height, X and Y not known.
    Height(f64),
    Wait,
    Word(String),
}

fn read_back(program: &str) -> Vec<Event> {
    let mut reader = Reader::new(Reading::default());
    let mut words = Line::default();
    let mut events = Vec::new();
    let mut number = 0;
    let mut sink = |piece: Piece<'_>| -> Result<(), Error> {
        let Piece::Line(bytes, _) = piece else { panic!("a long line") };
        number += 1;
        words.read(bytes);
        let text = String::from_utf8(bytes.to_vec()).unwrap();
        match reader.read(&words, bytes, number)? {
            Step::Move => {
                let m = reader.last_move();
                assert_eq!(m.e_delta(), 0.0, "{text}");
                let place = |axes: [crate::toolpath::Axis; 3]| axes.map(|a| a.place());
                let z_only = !words.has(b'X') && !words.has(b'Y');
                if m.after.iter().all(|a| a.known) {
                    events.push(Event::Move(m.before.iter().all(|a| a.known).then(|| place(m.before)), place(m.after)));
                } else {
                    assert!(z_only && m.after[2].known, "{text}");
                    events.push(Event::Height(m.after[2].place()));
                }
            }
            Step::Lost(mask, _) => {
                assert_eq!(mask & 0b111, 0b111, "{text}");
                events.push(Event::Home);
            }
            Step::Still if text == "M0" || text.starts_with("G4 S") => events.push(Event::Wait),
            Step::Still if text.starts_with(';') => {}
            Step::Still => events.push(Event::Word(text)),
            other => panic!("{text}: {other:?}"),
        }
        Ok(())
    };
    let mut lines = Lines::default();
    lines.push(program.as_bytes(), &mut sink).unwrap();
    lines.finish(&mut sink).unwrap();
    events
}

/// A bed with clips, points that may lie anywhere, and options.
#[derive(Debug, Clone)]
struct Case {
    card: Card,
    stops: Vec<Stop>,
    options: VisitOptions,
}

fn cases() -> impl Strategy<Value = Case> {
    let area = (0.0..1.0, 0.0..1.0, 0.02..0.4, 0.02..0.4);
    let shape = (-200.0..50.0, -200.0..50.0, 40.0..400.0, 40.0..400.0, any::<bool>());
    let how = (0_usize..4, 0.05..2.0, 4.0..30.0, any::<bool>(), [-40.0..40.0, -40.0..40.0]);
    let points = prop::collection::vec((0.0..1.0, 0.0..1.0), 1..12);
    (shape, prop::collection::vec(area, 0..6), how, points).prop_map(|(shape, areas, how, points)| {
        let (x0, y0, w, d, round) = shape;
        let (x0, y0): (f64, f64) = (x0, y0);
        let keep_out = areas
            .iter()
            .map(|(u, v, a, b): &(f64, f64, f64, f64)| [x0 + u * w, y0 + v * d, x0 + (u + a) * w, y0 + (v + b) * d])
            .collect();
        let outline = if round { Outline::Round } else { Outline::Rectangle };
        let (method, parked, safe, person, offset) = how;
        let method = [Method::Drag, Method::Gauge, Method::Patch, Method::Dial][method];
        let readings = Readings {
            method,
            sheet: Some(0.1),
            parked: Some(parked),
            offset: Some(offset),
            bed_celsius: Some(60.0),
            nozzle_celsius: Some(205.0),
            spread: None,
            right_at: None,
            predicted: false,
            points: Vec::new(),
            unread: Vec::new(),
        };
        let card = Card {
            bed: Bed { x: [x0, x0 + w], y: [y0, y0 + d], outline, keep_out },
            readings,
            screws: None,
            print: Print::default(),
            machine: Machine::default(),
        };
        let stops =
            points.iter().zip(1..).map(|((u, v), number)| Stop { number, x: x0 + u * w, y: y0 + v * d }).collect();
        let options = VisitOptions {
            safe_height: safe,
            dial_height: Some(parked),
            wait: if person { Wait::Person } else { Wait::Seconds(20.0) },
            ..VisitOptions::default()
        };
        Case { card, stops, options }
    })
}

/// Goes along a move and asks of every place whether it is in an area: slow, and shares nothing with the ways.
fn in_an_area(bed: &Bed, from: [f64; 3], to: [f64; 3], offset: [f64; 2]) -> bool {
    let steps = 400;
    (0..=steps).any(|n| {
        let t = f64::from(n) / f64::from(steps);
        let [x, y] = [0, 1].map(|k| from[k] + t * (to[k] - from[k]) + offset[k]);
        // Sums of doubles: a millionth of a millimetre inside is the edge.
        bed.keep_out.iter().any(|k| x > k[0] + 1e-6 && x < k[2] - 1e-6 && y > k[1] + 1e-6 && y < k[3] - 1e-6)
    })
}

/// Places of the grid along one axis.
const N: usize = 160;

/// The place of the grid with this number along an axis, mm.
fn cell(bed: &Bed, i: usize, axis: usize) -> f64 {
    let [low, high] = if axis == 0 { bed.x } else { bed.y };
    low + (high - low) * (f64::from(u32::try_from(i).unwrap()) + 0.5) / f64::from(u32::try_from(N).unwrap())
}

fn is_free(bed: &Bed, off: [f64; 2], [x, y]: [f64; 2]) -> bool {
    bed.reaches(x, y) && bed.keep_out_at(x, y).is_none() && bed.keep_out_at(x + off[0], y + off[1]).is_none()
}

/// Whether a straight way leads from a stop to a place of the grid beside it.
fn sees_the_grid(case: &Case, off: [f64; 2], stop: &Stop) -> bool {
    let bed = &case.card.bed;
    let near = |at: f64, axis: usize| {
        (0..N).map(move |i| cell(bed, i, axis)).min_by(|a, b| (a - at).abs().total_cmp(&(b - at).abs()))
    };
    let (Some(x), Some(y)) = (near(stop.x, 0), near(stop.y, 1)) else { return false };
    (0..=50)
        .map(|n| f64::from(n) / 50.0)
        .all(|t| is_free(bed, off, [stop.x + (x - stop.x) * t, stop.y + (y - stop.y) * t]))
}

/// Whether all stops lie in one free part of the bed, and every free part that is there is that one: by flooding a grid, which
/// misses narrow gaps but finds no way where there is none.
fn connected(case: &Case, off: [f64; 2]) -> bool {
    let bed = &case.card.bed;
    let cell = |i: usize, axis: usize| cell(bed, i, axis);
    let free = |x: f64, y: f64| is_free(bed, off, [x, y]);
    let mut open: Vec<Vec<bool>> = (0..N).map(|i| (0..N).map(|j| free(cell(i, 0), cell(j, 1))).collect()).collect();
    let Some(start) = (0..N * N).find(|n| open[n / N][n % N]) else { return false };
    let mut todo = vec![(start / N, start % N)];
    while let Some((i, j)) = todo.pop() {
        if std::mem::take(&mut open[i][j]) {
            let near = [(i.wrapping_sub(1), j), (i + 1, j), (i, j.wrapping_sub(1)), (i, j + 1)];
            todo.extend(near.into_iter().filter(|(i, j)| *i < N && *j < N && open[*i][*j]));
        }
    }
    open.iter().flatten().all(|free| !free)
}

fn check(case: &Case, program: &str) {
    let Case { card, stops, options } = case;
    let events = read_back(program);
    let safe = grained(options.safe_height);
    let low = match card.readings.method {
        Method::Drag => safe,
        Method::Gauge | Method::Patch => grained(card.readings.parked.unwrap()),
        Method::Dial => grained(options.dial_height.unwrap()),
    };
    let home = events.iter().position(|e| *e == Event::Home).unwrap();
    // Nothing moves before homing, and both heaters are waited for.
    assert!(events[..home].iter().all(|e| matches!(e, Event::Word(_))), "{program}");
    let words = |text: &str| events.iter().position(|e| *e == Event::Word(text.to_owned()));
    for text in ["M140 S60", "M190 S60", "M104 S205", "M109 S205"] {
        assert!(words(text).is_some_and(|n| n < home), "{text}\n{program}");
    }
    assert_eq!(events[home + 1], Event::Height(safe));
    // What holds of every move.
    let mut waits = Vec::new();
    let mut at = None;
    for (n, event) in events.iter().enumerate().skip(home + 1) {
        match event {
            Event::Move(from, to) => {
                assert!(to[2] >= low, "below the height for reading: {program}");
                assert!(card.bed.reaches(to[0], to[1]), "{program}");
                assert!(!in_an_area(&card.bed, *to, *to, [0.0, 0.0]), "{program}");
                if let Some(from) = from {
                    let travels = from[..2] != to[..2];
                    if travels {
                        assert!(from[2] >= safe && to[2] >= safe, "travel below the safe height: {program}");
                        let offsets =
                            [Some([0.0, 0.0]), card.readings.offset.filter(|_| card.readings.method == Method::Dial)];
                        for offset in offsets.into_iter().flatten() {
                            assert!(!in_an_area(&card.bed, *from, *to, offset), "{from:?} to {to:?}: {program}");
                        }
                    }
                }
                at = Some(*to);
            }
            Event::Height(z) => assert_eq!(*z, safe, "{program}"),
            Event::Wait => {
                waits.push(at.unwrap());
                // Whatever the person did: the next thing is to rise.
                let mut next = &events[n + 1];
                if options.wait == Wait::Person {
                    assert_eq!(*next, Event::Word("G90".to_owned()), "{program}");
                    next = &events[n + 2];
                }
                let Event::Move(_, to) = next else { panic!("no rise after a wait: {program}") };
                assert_eq!(to[2], safe, "{program}");
            }
            Event::Home => panic!("homes twice: {program}"),
            Event::Word(_) => {}
        }
    }
    if card.readings.method == Method::Dial {
        // The indicator is fixed up there, after homing.
        assert_eq!(waits.remove(0)[2], safe, "{program}");
    }
    let expected: Vec<[f64; 3]> = stops.iter().map(|s| [grained(s.x), grained(s.y), low]).collect();
    assert_eq!(waits, expected, "{program}");
    // The end: up, parked, then cold.
    let last_move = events.iter().rposition(|e| matches!(e, Event::Move(..))).unwrap();
    let end: Vec<Event> = ["M104 S0", "M140 S0", "M107", "M84"].map(|w| Event::Word(w.to_owned())).to_vec();
    assert_eq!(events[last_move + 1..], end, "{program}");
    assert_eq!(at.unwrap()[2], safe);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn never_low_never_kept_out_and_everywhere_it_should_be(case in cases()) {
        match visit(&case.card, &case.stops, &case.options) {
            Ok(program) => check(&case, &program),
            Err(error) => {
                // A refusal has its reason: a stop that nobody may go to, or areas that part the bed.
                let dial = case.card.readings.method == Method::Dial;
                let off = case.card.readings.offset.filter(|_| dial).unwrap_or_default();
                let bed = &case.card.bed;
                let bad = case.stops.iter().any(|s| {
                    let (x, y) = (grained(s.x), grained(s.y));
                    !bed.reaches(x, y) || bed.keep_out_at(x, y).is_some() || bed.keep_out_at(x + off[0], y + off[1]).is_some()
                });
                prop_assert!(bad || error.message().contains("leave no way") && !bed.keep_out.is_empty(), "{error}");
            }
        }
    }

    #[test]
    fn stops_that_may_be_visited_are(case in cases()) {
        // The same with the stops sorted out beforehand, so that programs come out and not only refusals.
        let mut case = case;
        let bed = case.card.bed.clone();
        let dial = case.card.readings.method == Method::Dial;
        let off = case.card.readings.offset.filter(|_| dial).unwrap_or_default();
        case.stops.retain(|s| {
            let (x, y) = (grained(s.x), grained(s.y));
            bed.reaches(x, y) && bed.keep_out_at(x, y).is_none() && bed.keep_out_at(x + off[0], y + off[1]).is_none()
        });
        prop_assume!(!case.stops.is_empty());
        match visit(&case.card, &case.stops, &case.options) {
            Ok(program) => check(&case, &program),
            Err(error) => {
                prop_assert!(error.message().contains("leave no way"), "{error}");
                // A stop in a sliver between an area and the bed's edge is out of the grid's sight: it may well be cut off.
                prop_assume!(case.stops.iter().all(|s| sees_the_grid(&case, off, s)));
                prop_assert!(!connected(&case, off), "there is a way: {error}");
            }
        }
    }

    #[test]
    fn no_number_makes_it_panic(a in any::<f64>(), b in any::<f64>(), c in any::<f64>(), d in any::<f64>()) {
        let card = card("gauge", "parked = 0.3");
        let stops = [Stop { number: 1, x: a, y: b }];
        let options = VisitOptions { safe_height: c, settle: d, park: Some([d, a]), travel_speed: Some(b), ..VisitOptions::default() };
        let _ = visit(&card, &stops, &options);
        let _ = visit(&card, &stops, &VisitOptions::default());
    }
}

fn card(method: &str, more: &str) -> Card {
    Card::parse(&format!(
        "[bed]\nx = [0, 200]\ny = [0, 200]\nkeep_out = [[0, 90, 12, 110]]\n[readings]\nmethod = \"{method}\"\n{more}\n\
         points = [\n[20, 30],\n[180, 30],\n[20, 170]]\n"
    ))
    .unwrap()
}

fn stops(card: &Card) -> Vec<Stop> {
    card.readings.unread.iter().map(Stop::from).collect()
}

fn refused(card: &Card, stops: &[Stop], options: &VisitOptions) -> Error {
    let error = visit(card, stops, options).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::Options, "{error}");
    error
}

#[test]
fn a_whole_program_for_a_sheet() {
    let card = card("drag", "sheet = 0.1\nbed_celsius = 60");
    let program = visit(&card, &stops(&card)[..2], &VisitOptions::default()).unwrap();
    let words: Vec<&str> = program.lines().filter(|l| !l.starts_with(';')).collect();
    let expected = "G21 G90 M82 M84 S0 M107 M140 S60 M190 S60 G28 G0 Z10 F600 G0 Z10 G0 X0 Y0 F4800 \
                    G0 Z10 F600 G0 X20 Y30 F4800 M117 Point 1 of 2: X20 Y30 M0 G90 G0 Z10 F600 \
                    G0 Z10 G0 X180 Y30 F4800 M117 Point 2 of 2: X180 Y30 M0 G90 G0 Z10 F600 \
                    G0 Z10 G0 X0 Y200 F4800 M104 S0 M140 S0 M107 M84";
    assert_eq!(words.join(" "), expected);
    assert!(program.contains("The card gives no nozzle temperature"));
    assert!(program.contains("; point 2: X 180 Y 30"));
    assert!(program.contains("power switch") && program.contains("unattended"));
}

#[test]
fn points_that_cannot_be_visited_are_refused_with_their_place() {
    let card = card("gauge", "parked = 0.3");
    let at = |x: f64, y: f64| [Stop { number: 7, x, y }];
    let options = VisitOptions::default();
    let error = refused(&card, &at(5.0, 100.0), &options);
    assert_eq!(error.message(), "point 7, (5, 100), lies in the keep-out area [0, 90, 12, 110]");
    assert_eq!(refused(&card, &at(-5.0, 100.0), &options).message(), "point 7, (-5, 100), is outside the bed");
    refused(&card, &at(f64::NAN, 100.0), &options);
    refused(&card, &[], &options);
    // The edge of an area is outside of it.
    visit(&card, &at(12.0, 100.0), &options).unwrap();
    // A point of the card has its line.
    let mut clipped = card.clone();
    clipped.bed.keep_out.push([170.0, 20.0, 190.0, 40.0]);
    let error = refused(&clipped, &stops(&clipped), &options);
    assert_eq!(error.place().map(|p| (p.line, p.column)), Some((10, 1)));
}

#[test]
fn heights_and_times_that_make_no_sense_are_refused() {
    let gauge = card("gauge", "parked = 0.3");
    let with = |change: fn(&mut VisitOptions)| {
        let mut options = VisitOptions::default();
        change(&mut options);
        refused(&gauge, &stops(&gauge), &options).message().to_owned()
    };
    assert!(with(|o| o.safe_height = 1.2).contains("is not 1 mm above the card's `parked`"));
    assert!(with(|o| o.safe_height = f64::NAN).contains("safe height"));
    assert!(with(|o| o.wait = Wait::Seconds(0.0)).contains("a wait of 0 seconds"));
    assert!(with(|o| o.travel_speed = Some(0.0)).contains("travel speed"));
    assert!(with(|o| o.park = Some([5.0, 100.0])).contains("the parking place"));
    assert!(with(|o| o.home = Some([500.0, 100.0])).contains("the home place"));
    let low = card("gauge", "parked = -0.3");
    assert!(refused(&low, &stops(&low), &VisitOptions::default()).message().contains("above Z = 0"));
    let dial = card("dial", "offset = [20, 0]\nright_at = [100, 100]");
    assert!(refused(&dial, &stops(&dial), &VisitOptions::default()).message().contains("is missing"));
}

#[test]
fn a_plunger_does_not_come_down_on_a_clip() {
    let dial = card("dial", "offset = [-30, 0]\nright_at = [100, 100]");
    let options = VisitOptions { dial_height: Some(5.0), ..VisitOptions::default() };
    let error = refused(&dial, &[Stop { number: 1, x: 40.0, y: 100.0 }], &options);
    assert_eq!(
        error.message(),
        "at point 1, (40, 100), the dial's plunger would be in the keep-out area [0, 90, 12, 110]"
    );
}

#[test]
fn temperatures_that_nobody_means_are_refused() {
    for more in ["bed_celsius = 600", "nozzle_celsius = 900"] {
        let card = card("drag", &format!("sheet = 0.1\n{more}"));
        let error = refused(&card, &stops(&card), &VisitOptions::default());
        assert!(error.message().contains("00 degrees for the"), "{error}");
    }
    let hot = card("drag", "sheet = 0.1\nbed_celsius = 200\nnozzle_celsius = 500");
    visit(&hot, &stops(&hot), &VisitOptions::default()).unwrap();
}

#[test]
fn an_indicator_is_fixed_after_homing() {
    let dial = card("dial", "offset = [20, 0]\nright_at = [100, 100]");
    for (wait, word) in [(Wait::Person, "M0\nG90"), (Wait::Seconds(5.0), "G4 S180")] {
        let options = VisitOptions { dial_height: Some(5.0), wait, ..VisitOptions::default() };
        let program = visit(&dial, &stops(&dial), &options).unwrap();
        let expected = format!("M117 Fix the indicator now\n{word}\nG0 Z10 F600\n; point 1");
        let (homing, fixing) = (program.find("\nG28\n").unwrap(), program.find(&expected).expect(&program));
        assert!(homing < fixing && !program[..fixing].contains("G0 Z5"), "{program}");
        assert!(program.contains("Caution: no indicator on the carriage before"));
        assert!(program.contains("higher than Z 5 the nozzle meets it"));
    }
}
