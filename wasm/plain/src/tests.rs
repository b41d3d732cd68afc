//! The exported functions, called natively: right calls, wrong ones, and calls made up at random. The host's part, writing
//! into its buffers, is played through the table, so that no test needs unsafe code either.

use crate::buffers::{MOST_BUFFERS, MOST_BYTES};
use crate::exports::{instance as host, *};
use crate::handles::MOST_OPEN;
use evengap::follow::{self, Options};
use evengap::{Card, HeightMap, SurfaceKind};
use proptest::prelude::*;
use serde_json::Value;

/// Addresses are multiples of this, so that a host may look at a buffer as `f64`: what the allocator gives. Nothing in the module
/// depends on it.
const ALIGNMENT: usize = 8;
const CARD: &str = include_str!("../../../tests/example/bed.toml");
const PART: &[u8] = include_bytes!("../../../tests/example/part.gcode");

/// A buffer that holds the bytes, and one byte if they are none.
fn given(bytes: &[u8]) -> usize {
    let ptr = evengap_allocate(bytes.len().max(1));
    assert_ne!(ptr, 0);
    host(|instance| instance.buffers.get_mut(ptr, bytes.len()).expect("it was made").copy_from_slice(bytes));
    ptr
}

fn result() -> Vec<u8> {
    host(|instance| instance.result.clone())
}

fn json() -> Value {
    serde_json::from_slice(&result()).expect("JSON")
}

/// The kind of the last failure; nothing was made ready by it.
fn failed(answer: u32) -> String {
    assert_eq!(answer, 0, "it should have failed");
    assert_eq!(evengap_error(), 1);
    let told = json();
    assert!(!told["message"].as_str().expect("text").is_empty());
    told["kind"].as_str().expect("text").to_owned()
}

fn open_map() -> u32 {
    let card = given(CARD.as_bytes());
    let map = evengap_map_open(card, CARD.len(), 0);
    assert_ne!(map, 0);
    assert_eq!(evengap_free(card), 1);
    map
}

fn native() -> HeightMap {
    HeightMap::fit(&Card::parse(CARD).expect("the example"), SurfaceKind::ThinPlate).expect("the example")
}

/// Nothing is left behind.
fn all_given_back() {
    host(|instance| {
        assert!(format!("{:?}", instance.buffers).ends_with("Buffers([])"));
        assert!(format!("{:?}", instance.handles).contains("open: []"));
    });
}

#[test]
fn heights_are_the_librarys_to_the_bit() {
    let (map, native) = (open_map(), native());
    let points: Vec<[f64; 2]> =
        (0..40).flat_map(|i| (0..40).map(move |j| [f64::from(i) * 6.1, f64::from(j) * 6.3 - 5.0])).collect();
    let mut points = points;
    points.extend([[f64::NAN, 1.0], [f64::INFINITY, f64::NEG_INFINITY], [1e308, -1e308]]);
    let xy = given(&points.iter().flatten().flat_map(|n| n.to_le_bytes()).collect::<Vec<u8>>());
    let out = evengap_allocate(8 * points.len());
    assert_eq!(evengap_map_heights(map, xy, points.len(), out), 1);
    let heights = host(|i| i.buffers.get(out, 8 * points.len()).expect("it was made").to_vec());
    for (bytes, [x, y]) in heights.as_chunks::<8>().0.iter().zip(points) {
        assert_eq!(f64::from_le_bytes(*bytes).to_bits(), native.height(x, y).to_bits());
    }
    assert_eq!((evengap_free(xy), evengap_free(out), evengap_map_close(map)), (1, 1, 1));
    all_given_back();
}

#[test]
fn a_toolpath_is_rewritten_as_the_library_does() {
    let map = open_map();
    let (whole, summary) = follow::rewrite(PART, &native(), Options::default()).expect("the example");
    for size in [1021, 65536, PART.len()] {
        let rewriter = evengap_rewriter_open(map, 0, 0);
        assert_ne!(rewriter, 0);
        let mut out = Vec::new();
        for chunk in PART.chunks(size) {
            let ptr = given(chunk);
            assert_eq!(evengap_rewriter_push(rewriter, ptr, chunk.len()), 1);
            assert_eq!(evengap_free(ptr), 1);
            out.extend(result());
        }
        assert_eq!(evengap_rewriter_push(rewriter, 0, 0), 1, "nothing may be pushed");
        out.extend(result());
        assert_eq!(evengap_rewriter_finish(rewriter), 1);
        out.extend(result());
        assert!(out == whole, "in chunks of {size}");
        assert_eq!(failed(evengap_rewriter_finish(rewriter)), "call");
        assert_eq!(evengap_rewriter_summary(rewriter), 1);
        assert_eq!(result(), evengap::json::write(&summary).into_bytes());
        assert_eq!(evengap_rewriter_close(rewriter), 1);
    }
    assert_eq!(evengap_map_close(map), 1);
    all_given_back();
}

#[test]
fn a_rewriter_outlives_its_map() {
    let map = open_map();
    let rewriter = evengap_rewriter_open(map, 0, 0);
    assert_eq!(evengap_map_close(map), 1);
    assert_eq!(failed(evengap_map_describe(map)), "call");
    let line = given(b"G1 X60 Y60 Z0.2 E1\n");
    assert_eq!((evengap_rewriter_push(rewriter, line, 19), evengap_rewriter_finish(rewriter)), (1, 1));
    assert_eq!((evengap_free(line), evengap_rewriter_close(rewriter)), (1, 1));
    all_given_back();
}

#[test]
fn a_map_is_described() {
    let card = given(CARD.as_bytes());
    for (surface, name) in [(0, "thin-plate"), (1, "bilinear"), (2, "thin-plate")] {
        let map = evengap_map_open(card, CARD.len(), surface);
        assert_eq!(evengap_map_describe(map), 1);
        let told = json();
        assert_eq!(told["surface"], name);
        assert_eq!(told["chosen"].is_null(), surface < 2);
        assert!(told["known"]["bed"]["within"].as_f64().expect("a number") > 0.0);
        assert_eq!(told["readings"].as_array().expect("a list").len(), 25);
    }
    assert_eq!(failed(evengap_map_open(card, CARD.len(), 3)), "call");
}

#[test]
fn what_the_engine_refuses_has_its_place() {
    let refused = |text: &[u8]| {
        let ptr = given(text);
        let kind = failed(evengap_map_open(ptr, text.len(), 0));
        let told = json();
        (kind, told["line"].as_u64(), told["column"].as_u64())
    };
    assert_eq!(refused(b"[bed]\nx = [0, 235]\nwidth = 3\n"), ("card".to_owned(), Some(3), Some(1)));
    assert_eq!(refused(b"[bed]\n# \xff\n"), ("card".to_owned(), Some(2), Some(3)));
    assert_eq!(refused(&b"#\n".repeat(5 << 20)).0, "limit");
    assert_eq!(refused(b"").0, "card");
    let map = open_map();
    let options = |text: &str| {
        let ptr = given(text.as_bytes());
        failed(evengap_rewriter_open(map, ptr, text.len()))
    };
    assert_eq!(options("{\"tolerence\": 1}"), "options");
    assert_eq!(options("{\"tolerance\": 5}"), "options");
    let rewriter = evengap_rewriter_open(map, 0, 0);
    let lines = b"G1 X60 Y60 Z0.2\nG18\nG2 X70 Y60 I5\n";
    let ptr = given(lines);
    assert_eq!(failed(evengap_rewriter_push(rewriter, ptr, lines.len())), "refused");
    assert_eq!((json()["line"].as_u64(), json()["places"][0]["line"].as_u64()), (Some(3), Some(3)));
    for answer in [
        evengap_rewriter_push(rewriter, ptr, lines.len()),
        evengap_rewriter_finish(rewriter),
        evengap_rewriter_summary(rewriter),
    ] {
        assert_eq!(failed(answer), "call");
    }
    assert_eq!(evengap_rewriter_close(rewriter), 1);
}

#[test]
fn wrong_calls_are_errors() {
    assert_eq!((evengap_error(), evengap_result_len(), evengap_result_ptr()), (0, 0, 0));
    let map = open_map();
    let rewriter = evengap_rewriter_open(map, 0, 0);
    let buffer = evengap_allocate(16);
    let call = |answer: u32| assert_eq!(failed(answer), "call");
    // Handles that are none, or another thing's.
    for other in [0, rewriter, rewriter + 1, u32::MAX] {
        call(evengap_map_describe(other));
        call(evengap_map_heights(other, buffer, 1, buffer));
        call(evengap_rewriter_open(other, 0, 0));
        call(evengap_map_close(other));
    }
    for other in [0, map, rewriter + 1, u32::MAX] {
        call(evengap_rewriter_push(other, buffer, 1));
        call(evengap_rewriter_finish(other));
        call(evengap_rewriter_summary(other));
        call(evengap_rewriter_close(other));
    }
    call(evengap_rewriter_summary(rewriter));
    // Addresses that are none, lengths that are too great.
    for ptr in [0, 1, buffer + 1, buffer.wrapping_sub(8), usize::MAX] {
        call(evengap_map_open(ptr, 1, 0));
        call(evengap_map_open(ptr, usize::MAX, 0));
        call(evengap_rewriter_open(map, ptr, 2));
        call(evengap_rewriter_push(rewriter, ptr, 1));
        call(evengap_map_heights(map, ptr, 1, buffer));
        call(evengap_map_heights(map, buffer, 1, ptr));
        call(evengap_free(ptr));
    }
    for len in [17, 1 << 31, usize::MAX] {
        call(evengap_map_open(buffer, len, 0));
        call(evengap_rewriter_open(map, buffer, len));
        call(evengap_rewriter_push(rewriter, buffer, len));
        call(evengap_map_heights(map, buffer, len, buffer));
    }
    let out = evengap_allocate(8);
    assert_eq!(evengap_map_heights(map, buffer, 1, out), 1);
    call(evengap_map_heights(map, buffer, 1, buffer));
    call(evengap_map_heights(map, buffer, 2, out));
    call(evengap_map_heights(map, out, 1, buffer));
    assert_eq!(evengap_map_heights(map, 0, 0, 0), 1, "no points at all");
    for bytes in [0, MOST_BYTES + 1, usize::MAX] {
        call(u32::from(evengap_allocate(bytes) != 0));
    }
    // What was given back or closed.
    assert_eq!((evengap_free(out), evengap_free(buffer)), (1, 1));
    call(evengap_free(buffer));
    call(evengap_rewriter_push(rewriter, buffer, 1));
    // A call that was wrong leaves the rewriter as it was.
    assert_eq!(
        (evengap_rewriter_finish(rewriter), evengap_rewriter_close(rewriter), evengap_map_close(map)),
        (1, 1, 1)
    );
    call(evengap_rewriter_close(rewriter));
    call(evengap_map_close(map));
    assert_ne!(open_map(), map, "a handle is given once");
    assert_eq!(evengap_abi_version(), 1);
}

#[test]
fn a_failure_is_told_until_the_next_one() {
    let map = open_map();
    assert_eq!(evengap_map_describe(map), 1);
    assert_ne!((evengap_result_len(), evengap_result_ptr()), (0, 0));
    assert_eq!(evengap_map_describe(0), 0);
    assert_eq!((evengap_result_len(), evengap_result_ptr()), (0, 0), "nothing is left of an earlier result");
    assert_eq!(evengap_map_describe(map), 1);
    assert_eq!(evengap_error(), 1);
    assert!(json()["message"].as_str().expect("text").contains("handle 0"));
    assert_eq!(evengap_error(), 1);
}

#[test]
fn who_gives_nothing_back_is_told() {
    let buffers: Vec<usize> = (0..MOST_BUFFERS).map(|_| evengap_allocate(1)).collect();
    assert!(!buffers.contains(&0));
    assert_eq!(failed(u32::from(evengap_allocate(1) != 0)), "call");
    assert!(buffers.iter().all(|&b| evengap_free(b) == 1));
    let map = open_map();
    for _ in 1..MOST_OPEN {
        assert_ne!(evengap_rewriter_open(map, 0, 0), 0);
    }
    assert_eq!(failed(evengap_rewriter_open(map, 0, 0)), "call");
}

/// A call with what may be right or wrong: which function, which of the buffers or handles, how long.
type Step = (u8, usize, usize, usize);

proptest! {
    /// Whatever is called: an answer, and what is open and what a host may read stays what this list has.
    #[test]
    fn any_calls_are_answered(steps in prop::collection::vec((0..13u8, 0..6usize, 0..6usize, 0..60usize), 1..80)) {
        any_calls(&steps);
    }
}

fn any_calls(steps: &[Step]) {
    const SMALL: &str =
        "[bed]\nx=[0,9]\ny=[0,9]\n[readings]\nmethod='drag'\nsheet=0.1\npoints=[[1,1,0.1],[8,1,0.2],[1,8,0.3]]\n";
    host(|instance| *instance = crate::instance::Instance::new());
    let (mut buffers, mut maps, mut running, mut ended) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for &(what, a, b, len) in steps {
        // Past the end of each list stand numbers that are none.
        let buffer = |n: usize| buffers.get(n).copied().unwrap_or((n.wrapping_sub(3).wrapping_mul(8), 0));
        let ((from, has), (to, room)) = (buffer(a), buffer(b));
        let map = maps.get(a).copied().unwrap_or([0, 1000, u32::MAX][len % 3]);
        let rewriter: Option<u32> = running.get(a).copied();
        let fits = len == 0 || len <= has;
        match what {
            0 => {
                let ptr = evengap_allocate(len);
                assert_eq!((ptr != 0, ptr % ALIGNMENT), (len > 0, 0));
                buffers.extend((ptr != 0).then_some((ptr, len)));
            }
            1 => {
                assert_eq!(evengap_free(from) == 1, has > 0);
                buffers.retain(|b| b.0 != from);
            }
            2 | 3 => {
                let card = given(SMALL.as_bytes());
                let handle = evengap_map_open(card, SMALL.len() - len, u32::from(b != 0));
                // A grid is wanted of the second surface; a card that is cut off has its third point or not.
                assert_eq!(handle != 0, len <= 1 && b == 0, "{len} {b}");
                maps.extend((handle != 0).then_some(handle));
                assert_eq!(evengap_free(card), 1);
            }
            4 => {
                assert_eq!(evengap_map_close(map) == 1, maps.contains(&map));
                maps.retain(|m| *m != map);
            }
            5 => assert_eq!(evengap_map_describe(map) == 1, maps.contains(&map)),
            6 => {
                let right = len == 0 || (16 * len <= has && 8 * len <= room && from != to);
                assert_eq!(evengap_map_heights(map, from, len, to) == 1, maps.contains(&map) && right);
            }
            7 | 8 => {
                let handle = evengap_rewriter_open(map, 0, 0);
                assert_eq!(handle != 0, maps.contains(&map));
                running.extend((handle != 0).then_some(handle));
            }
            9 | 10 => match rewriter {
                // Buffers are all zeros, which is a comment of sorts: it passes.
                Some(rewriter) => assert_eq!(evengap_rewriter_push(rewriter, from, len) == 1, fits),
                None => assert_eq!(evengap_rewriter_push(map, from, len), 0),
            },
            11 => match rewriter {
                Some(rewriter) => {
                    assert_eq!(evengap_rewriter_finish(rewriter), 1);
                    running.retain(|r| *r != rewriter);
                    ended.push(rewriter);
                }
                None => assert_eq!(evengap_rewriter_finish(ended.first().copied().unwrap_or(0)), 0),
            },
            _ => match ended.pop() {
                Some(rewriter) => {
                    assert_eq!((evengap_rewriter_summary(rewriter), evengap_rewriter_close(rewriter)), (1, 1));
                }
                None => assert_eq!((evengap_rewriter_summary(0), evengap_rewriter_close(0)), (0, 0)),
            },
        }
        let (address, length) = (evengap_result_ptr(), evengap_result_len());
        assert_eq!(address == 0, length == 0);
        assert_eq!(result().len(), length);
    }
    for (ptr, len) in buffers {
        assert_eq!(host(|i| i.buffers.get(ptr, len).map(<[u8]>::len).unwrap_or(0)), len);
        assert_eq!(evengap_free(ptr), 1);
    }
    assert!(maps.into_iter().all(|m| evengap_map_close(m) == 1));
    assert!(running.into_iter().chain(ended).all(|r| evengap_rewriter_close(r) == 1));
    all_given_back();
}
