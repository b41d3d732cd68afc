//! Against the library for JSON.

use super::*;
use crate::check::GapOptions;
use crate::follow::{Options, Taper};
use crate::surface::SurfaceKind;
use crate::tram;
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeMap;

/// What is written says what the library's text says.
fn like_the_library<T: Serialize>(value: &T) {
    let (ours, theirs) = (write(value), serde_json::to_string(value).expect("JSON"));
    let [a, b] =
        [&ours, &theirs].map(|text| serde_json::from_str::<Value>(text).unwrap_or_else(|e| panic!("{e}: {text}")));
    assert!(same(&a, &b), "{ours}\n{theirs}");
}

/// `5` and `5.0` are one number.
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        // The library's quick way of reading numbers may miss the nearest by one.
        (Value::Number(a), Value::Number(b)) => match (a.as_f64(), b.as_f64()) {
            (Some(a), Some(b)) => (a - b).abs() <= 1e-15 * b.abs(),
            _ => false,
        },
        (Value::Array(a), Value::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b)),
        (Value::Object(a), Value::Object(b)) => {
            a.len() == b.len() && a.iter().all(|(key, a)| b.get(key).is_some_and(|b| same(a, b)))
        }
        _ => a == b,
    }
}

#[derive(Serialize)]
enum Every {
    Unit,
    One(i8),
    Two(u64, char),
    Named { a: Option<f32>, b: () },
}

#[derive(Serialize)]
struct Flat {
    first: bool,
    #[serde(flatten)]
    more: BTreeMap<u16, [i64; 2]>,
}

#[test]
fn every_kind_is_written() {
    let all = [
        Every::Unit,
        Every::One(-7),
        Every::Two(u64::MAX, '"'),
        Every::Named { a: Some(0.5), b: () },
        Every::Named { a: None, b: () },
    ];
    let flat = Flat { first: true, more: [(1, [i64::MIN, i64::MAX]), (2, [0, -1])].into() };
    like_the_library(&(all, flat, [0_u8; 0], Vec::<()>::new(), BTreeMap::<&str, u8>::new()));
    like_the_library(&("\u{0}\u{1f}\u{7f}\"\\/\n\u{1F600}é", [f64::NAN, f64::INFINITY, -0.0, 1e308, 5e-324, 0.1]));
}

#[test]
fn options_are_read_as_the_library_reads_them() {
    for text in [
        "{}",
        "null",
        "[]",
        "1",
        "\"x\"",
        "{\"tolerance\": 0.01}",
        "{\"tolerance\": 1}",
        "{\"tolerance\": -0}",
        "{\"tolerance\": \"1\"}",
        "{\"tolerance\": null}",
        "{\"tolerances\": 1}",
        "{\"flow\": false}",
        "{\"flow\": 0}",
        "{\"taper\": \"none\"}",
        "{\"taper\": \"auto\"}",
        "{\"taper\": \"nothing\"}",
        "{\"taper\": {\"range\": [0.5, 2]}}",
        "{\"taper\": {\"none\": 1}}",
        "{\"taper\": {}}",
        "{\"taper\": {\"from\": 1, \"to\": 2}}",
        "{\"taper\": {\"range\": {\"from\": 1, \"to\": 2}}}",
        "{\"taper\": {\"range\": 1}}",
        "{\"line_limit\": 1000}",
        "{\"line_limit\": 1.5}",
        "{\"line_limit\": -1}",
        "{\"line_limit\": 1e3}",
        "{\"line_limit\": 1e30}",
        "{\"allow\": {\"unknown_motion\": true}}",
        "{\"allow\": {\"unknown\": true}}",
        "{\"allow\": []}",
        "{\"e_start\": \"relative\"}",
    ] {
        let (ours, theirs) = (read::<Options>(text), serde_json::from_str::<Options>(text));
        match theirs {
            // The library takes a list's elements for a table's, in their order.
            Ok(_) if text.contains('[') => assert!(ours.is_err(), "{text}"),
            Ok(theirs) => assert_eq!(ours, Ok(theirs), "{text}"),
            // `1e3` is a whole number here, as it is in JavaScript.
            Err(e) => assert!(ours.is_err() || text.contains("1e3}"), "{text}: {e}: {ours:?}"),
        }
    }
    for text in [
        "{}",
        "{\"layers\": [0.2, 1]}",
        "{\"followed\": {\"taper\": [1, 2]}}",
        "{\"followed\": {\"taper\": [1]}}",
        "{\"followed\": null}",
        "{\"keep\": \"all\"}",
    ] {
        assert_eq!(read::<GapOptions>(text).ok(), serde_json::from_str(text).ok(), "{text}");
    }
    for text in ["{\"hold\": \"front \\\"left\\\"\"}", "{\"hold\": 1}", "{\"fit\": \"plane\"}"] {
        assert_eq!(read::<tram::Options>(text).ok(), serde_json::from_str(text).ok(), "{text}");
    }
    for text in ["\"thin-plate\"", "\"bilinear\"", "\"flat\"", "null", "{\"bilinear\": null}"] {
        let theirs = serde_json::from_str::<SurfaceKind>(text).ok();
        assert!(read::<SurfaceKind>(text).ok() == theirs || text.contains('{'), "{text}");
    }
}

#[test]
fn refusals_have_their_words() {
    for (text, words) in [
        ("{\"tolerence\": 1}", "the key `tolerence` is not known; one of: taper, tolerance, "),
        ("{\"tolerance\": \"thin\"}", "`tolerance`: a number is needed, and this is `thin`"),
        ("{\"flow\": []}", "true or false is needed, and this is a list"),
        ("{\"taper\": \"slow\"}", "`slow` is not known; one of: "),
        ("{\"taper\": 1}", "a word in quotes is needed, and this is the number 1"),
        ("{\"a\"", "a colon is missing"),
        ("", "a value is missing"),
    ] {
        let told = read::<Options>(text).expect_err(text);
        assert!(told.contains(words) && !told.contains("card"), "{text}: {told}");
    }
}

proptest! {
    #[test]
    fn numbers_and_texts(n in any::<f64>(), i in any::<i64>(), text in any::<String>()) {
        like_the_library(&(n, i, &text, Taper::Range { from: n, to: 1.0 }));
        prop_assert_eq!(read::<String>(&write(&text)), Ok(text));
        if n.is_finite() {
            prop_assert_eq!(read::<f64>(&write(&n)).map(f64::to_bits), Ok(n.to_bits()));
        }
    }
}
