//! What must hold for any bytes: each function takes what a fuzzer made up and panics where the engine breaks a promise.
//!
//! `tests/fuzz` calls them with bytes without end, `tests/made_up.rs` with the inputs that are kept in `tests/fuzz/corpus`.

use crate::proving::to_prove;
use evengap::check::proof::{Proof, ProofOptions, Verdict};
use evengap::check::{Followed, GapOptions, GapReport, Gaps, Judgement, Keep, Limits, judge};
use evengap::follow::{EMode, Looked, Options, Rewriter, Summary, Taper};
use evengap::known::{Known, robust};
use evengap::{Card, Error, ErrorKind, HeightMap, SurfaceKind, surface};

/// What a function of this module is called.
type Named = (&'static str, fn(&[u8]));

/// Every function of this module by its name.
pub const ALL: [Named; 5] = [("card", card), ("toolpath", toolpath), ("cut", cut), ("proven", proven), ("pair", pair)];

/// More bytes than this tell nothing new.
const MOST: usize = 1 << 16;

/// A card's text: an error with a place, or a card that is the same when it is written and read again, and a map of numbers.
///
/// # Panics
/// Where that does not hold.
pub fn card(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let card = match Card::parse_without_points(text) {
        Ok(card) => card,
        Err(error) => {
            assert!(matches!(error.kind(), ErrorKind::Card | ErrorKind::Limit), "{error}");
            let lines = u64::try_from(text.split('\n').count()).unwrap_or(u64::MAX);
            for place in error.places() {
                assert!(place.line >= 1 && place.line <= lines + 1 && place.column >= 1, "{error}");
            }
            return;
        }
    };
    let again = Card::parse_without_points(&card.to_toml()).expect("its own text");
    assert_eq!((card.digest(), card.machine), (again.digest(), again.machine), "{text}");
    if card.readings.points.len() > 30 {
        return;
    }
    for kind in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
        let Ok(map) = HeightMap::fit(&card, kind) else { continue };
        let [x0, y0, x1, y1] = map.measured();
        for (x, y) in [(x0, y0), (x1, y1), (0.5 * (x0 + x1), 0.3 * y0 + 0.7 * y1), (x0 - 1e9, y1 + 1e-9)] {
            assert!(map.height(x, y).is_finite(), "{text}");
        }
        let shape = evengap::shape::describe(&map);
        assert!(shape.range.is_finite() && shape.bend.range.is_finite(), "{text}");
        if card.screws.is_some() {
            // Turns, or a reason why not.
            let _ = evengap::tram::tram(&map, &evengap::tram::Options::default());
        }
        if text.len() % 4 == 0 {
            known_in_numbers(&map);
        }
        // Drawing takes longest by far.
        if text.len() % 16 != 0 {
            continue;
        }
        let svg = evengap::draw::plan(&card, &map, &evengap::draw::PlanOptions::default());
        assert!(svg.ends_with("</svg>\n") && !svg.contains("NaN") && !svg.contains("inf "), "{text}");
    }
}

/// How well such a bed is known, if anything can be said; and a card of less weight for what is odd, which is a card.
fn known_in_numbers(map: &HeightMap) {
    if let Some(known) = Known::of(map) {
        let [x0, y0, x1, y1] = map.measured();
        for (x, y) in [(x0, y0), (0.4 * x0 + 0.6 * x1, 0.3 * y0 + 0.7 * y1), (x1 + 1e3, y0 - 1e9)] {
            let at = known.at(x, y);
            assert!(at.standard_error.is_finite() && at.within.is_finite() && at.within >= 0.0, "{at:?}");
        }
        assert!(known.noise() > 0.0 && known.bend().is_finite());
    }
    let (card, less) = robust(map);
    assert!(less.len() <= card.readings.points.len());
    assert_eq!(Card::parse(&card.to_toml()).expect("a card").digest(), card.digest());
    // What has one map has a surface that suits.
    assert!(surface::choose(map.card()).is_ok());
}

/// The first byte chooses the bed and the options, the rest is the toolpath.
fn asked(bytes: &[u8]) -> Option<(&'static HeightMap, Options, &[u8])> {
    let (first, rest) = bytes.split_first()?;
    let mut options = Options::default();
    options.taper = match first & 3 {
        0 => Taper::Auto,
        1 => Taper::None,
        2 => Taper::Range { from: 0.3, to: 2.0 },
        _ => Taper::Range { from: 0.0, to: 0.7 },
    };
    options.e_start = if first & 4 == 0 { EMode::Absolute } else { EMode::Relative };
    options.g90_sets_e = first & 8 != 0;
    options.floor = if first & 16 == 0 { -1e4 } else { 0.0 };
    options.flow = first & 32 == 0;
    options.allow.unknown_motion = first & 64 != 0;
    options.allow.own_levelling = first & 64 != 0;
    options.allow.already_rewritten = first & 64 != 0;
    options.shift = if first & 128 == 0 { 0.0 } else { 0.03 };
    // A thin plate takes long to prepare: one in four.
    Some((bed(first & 0xc0 != 0xc0), options, &rest[..rest.len().min(MOST)]))
}

/// A bent bed, made once.
fn bed(bilinear: bool) -> &'static HeightMap {
    static BEDS: std::sync::OnceLock<[HeightMap; 2]> = std::sync::OnceLock::new();
    let beds = BEDS.get_or_init(|| {
        [SurfaceKind::ThinPlate, SurfaceKind::Bilinear].map(|kind| {
            crate::beds::map(4, 0.0, 150.0, kind, |x, y| {
                0.1 * ((x - 70.0) / 60.0).powi(2) - 0.15 * ((y - 80.0) / 70.0).powi(2) + 0.05
            })
        })
    });
    &beds[usize::from(bilinear)]
}

/// What one push, or more, made of a toolpath: as far as it came, and the error if there was one.
#[derive(Debug, PartialEq)]
struct Made {
    out: Vec<u8>,
    end: Result<Summary, Error>,
}

fn rewritten<'a>(map: &HeightMap, options: Options, pushes: impl Iterator<Item = &'a [u8]>) -> Made {
    let mut out = Vec::new();
    let end = (|| {
        let mut rewriter = Rewriter::new(map, options)?;
        for push in pushes {
            rewriter.push(push, &mut out)?;
        }
        rewriter.finish(&mut out)
    })();
    Made { out, end }
}

/// The same in pieces that were looked at before, each as far as the bytes in it happen to say.
fn looked<'a>(map: &HeightMap, options: Options, pushes: impl Iterator<Item = &'a [u8]>) -> Made {
    let mut out = Vec::new();
    let end = (|| {
        let mut rewriter = Rewriter::new(map, options)?;
        let mut ahead = rewriter.look_ahead();
        let mut piece = Looked::default();
        for push in pushes {
            piece.refill().extend_from_slice(push);
            let mut asked = push.first().map_or(0, |b| b % 4);
            ahead.look(&mut piece, || {
                asked = asked.wrapping_add(1);
                asked % 4 != 3
            });
            rewriter.push_looked(&mut piece, &mut out)?;
        }
        rewriter.finish(&mut out)
    })();
    Made { out, end }
}

/// Any bytes are rewritten, or refused with a place; what comes out is bounded by what went in; the gap along them is told in numbers.
///
/// # Panics
/// Where that does not hold.
pub fn toolpath(bytes: &[u8]) {
    let Some((map, options, file)) = asked(bytes) else { return };
    let made = rewritten(map, options, std::iter::once(file));
    match &made.end {
        Ok(summary) => {
            assert!(summary.moves_out >= summary.moves_in, "{summary:?}");
            assert!(summary.extrusion_in.is_finite() && summary.extrusion_out.is_finite(), "{summary:?}");
            assert!(summary.z_range.iter().flatten().all(|z| z.is_finite()), "{summary:?}");
        }
        Err(error) => assert!(!error.message().is_empty() && error.places().iter().all(|p| p.line >= 1), "{error}"),
    }
    for followed in [None, Some(Followed { taper: Some([0.5, 4.0]), shift: 0.1 })] {
        let mut asked = GapOptions::default();
        asked.reading.e_start = options.e_start;
        asked.reading.g90_sets_e = options.g90_sets_e;
        asked.reading.unknown_motion = options.allow.unknown_motion;
        asked.reading.own_levelling = options.allow.own_levelling;
        asked.followed = followed;
        asked.keep = Keep::Lowest;
        asked.most_kept = 1000;
        if let Ok(report) = looked_at(map, asked, std::iter::once(file)) {
            let judgement = judge(&report, &Limits::default(), &map.card().machine);
            of_numbers(&report, &judgement);
            if let (Ok(summary), None, None) = (&made.end, followed, &report.marker) {
                // Both lay the first layer at the same place.
                let [a, b] = [&summary.footprint, &report.footprint].map(evengap::Footprint::length);
                assert!((a - b).abs() <= 1e-6 * (1.0 + a), "{a} {b}");
            }
        }
    }
}

fn looked_at<'a>(
    map: &HeightMap,
    options: GapOptions,
    pushes: impl Iterator<Item = &'a [u8]>,
) -> Result<GapReport, Error> {
    let mut gaps = Gaps::new(map, options);
    for push in pushes {
        gaps.push(push)?;
    }
    gaps.finish()
}

/// serde_json writes what is no number as null.
fn of_numbers(report: &GapReport, judgement: &Judgement) {
    let told = serde_json::to_string(&(&report.layers, &report.pace, judgement)).expect("JSON");
    assert!(!told.contains("null"), "{told}");
    assert!(report.kept.points.iter().flatten().all(|v| v.is_finite()));
    for text in judgement.findings.iter().map(|f| &f.text) {
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
    }
}

/// The same bytes in pieces, looked at ahead or not: the same result. The second byte says how they are cut.
///
/// # Panics
/// Where that does not hold.
pub fn cut(bytes: &[u8]) {
    let Some((map, options, rest)) = asked(bytes) else { return };
    let Some((seed, file)) = rest.split_first() else { return };
    let whole = rewritten(map, options, std::iter::once(file));
    let pieces = || {
        let mut state = u32::from(*seed) + 1;
        let mut left = file;
        std::iter::from_fn(move || {
            if left.is_empty() {
                return None;
            }
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let size = (state >> 27) as usize * (state >> 24 & 7) as usize;
            let (piece, rest) = left.split_at(size.min(left.len()));
            left = rest;
            Some(piece)
        })
    };
    let ways = [
        rewritten(map, options, pieces()),
        looked(map, options, pieces()),
        looked(map, options, std::iter::once(file)),
    ];
    for made in ways {
        // What came out before a refusal must be thrown away, and may be more or less of it.
        if whole.end.is_ok() || made.end.is_ok() {
            assert_eq!(whole, made);
        } else {
            assert_eq!(whole.end, made.end);
        }
    }
    let asked = || GapOptions::default();
    assert_eq!(looked_at(map, asked(), std::iter::once(file)), looked_at(map, asked(), pieces()));
}

fn verdict(map: &HeightMap, asked: ProofOptions, original: &[u8], rewritten: &[u8]) -> Result<Verdict, Error> {
    let mut proof = Proof::new(map, asked);
    proof.push_original(original)?;
    proof.push_rewritten(rewritten)?;
    proof.finish()
}

/// Whatever the rewriter accepts is proven.
///
/// # Panics
/// Where it is not.
pub fn proven(bytes: &[u8]) {
    let Some((map, options, file)) = asked(bytes) else { return };
    // A marker of another rewriting that stays in the file is no fault of this one.
    if options.allow.already_rewritten && file.windows(10).any(|w| w == b"; evengap ") {
        return;
    }
    let Made { out, end: Ok(summary) } = rewritten(map, options, std::iter::once(file)) else { return };
    match verdict(map, to_prove(&options, &summary), file, &out) {
        Ok(verdict) => assert!(
            verdict.is_proven(),
            "{:?}\n--- original\n{}\n--- rewritten\n{}",
            verdict.faults.first(),
            String::from_utf8_lossy(file),
            String::from_utf8_lossy(&out)
        ),
        Err(error) => panic!("it was rewritten and cannot be read: {error}"),
    }
}

/// Any two files, parted by a byte 0: a verdict or an error, and numbers.
///
/// # Panics
/// Where there is neither.
pub fn pair(bytes: &[u8]) {
    let Some((map, options, rest)) = asked(bytes) else { return };
    let at = rest.iter().position(|b| *b == 0).unwrap_or(rest.len());
    let (original, rewritten) = (&rest[..at], rest.get(at + 1..).unwrap_or_default());
    let mut asked = ProofOptions::default();
    asked.reading.unknown_motion = options.allow.unknown_motion;
    asked.followed = Followed { taper: Some([0.5, 4.0]), shift: options.shift };
    if let Ok(verdict) = verdict(map, asked, original, rewritten) {
        let told = [verdict.height.by, verdict.path.by, verdict.filament.by];
        assert!(told.iter().all(|v| v.is_finite()), "{verdict:?}");
    }
}
