//! Errors, options and results across the border.

use evengap::{ErrorKind, Place};
use js_sys::{ArrayBuffer, JSON, Reflect, Uint8Array};
use serde::Serialize;
use serde::de::DeserializeOwned;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// The JavaScript form of an engine's type, by its name in TypeScript.
pub(crate) type Js<T> = <T as Tsify>::JsType;

/// What an `EvengapError` holds, as a plain object: it can be sent between a page and its Workers, and a new
/// `EvengapError` made of it there.
#[derive(Debug, Serialize, Tsify)]
#[tsify(missing_as_null)]
pub(crate) struct Fault<'a> {
    /// The sort of fault.
    kind: ErrorKind,
    /// What is wrong, in one line without its place.
    message: &'a str,
    /// What to do about it, where that is known.
    help: Option<&'a str>,
    /// The places that the message speaks of, lines and columns counted from 1: in the card's text or CSV, or in the
    /// toolpath. Empty where none is known.
    places: &'a [Place],
}

#[wasm_bindgen(raw_module = "./error.js")]
extern "C" {
    /// The package's class of errors: see `js/error.js`.
    type EvengapError;

    #[wasm_bindgen(constructor)]
    fn new(fault: &JsValue) -> EvengapError;
}

/// The engine's error, to be thrown.
#[expect(clippy::needless_pass_by_value, reason = "the end of every error that is mapped")]
pub(crate) fn thrown(error: evengap::Error) -> JsValue {
    fault(&Fault { kind: error.kind(), message: error.message(), help: error.help(), places: error.places() })
}

fn fault(fault: &Fault<'_>) -> JsValue {
    match plain(fault) {
        Ok(plain) => EvengapError::new(&plain).into(),
        Err(e) => e,
    }
}

/// A value as the plain object that `--json` would have printed.
pub(crate) fn plain<T: Serialize>(value: &T) -> Result<JsValue, JsValue> {
    JSON::parse(&evengap::json::write(value))
}

/// A result as a plain object, typed.
pub(crate) fn result<T: Serialize + Tsify>(value: &T) -> Result<Js<T>, JsValue> {
    Ok(plain(value)?.unchecked_into())
}

/// A list of results.
#[cfg(feature = "engine")]
pub(crate) fn list<T: Serialize>(values: &[T]) -> Result<JsValue, JsValue> {
    plain(&values)
}

/// Options: a plain object; what is left out, or `undefined`, has its default.
pub(crate) fn options<T: DeserializeOwned + Default + Tsify>(given: Option<Js<T>>) -> Result<T, JsValue> {
    let Some(given) = given else { return Ok(T::default()) };
    from_plain(&given.into())
}

/// A plain value of the engine's.
pub(crate) fn from_plain<T: DeserializeOwned>(given: &JsValue) -> Result<T, JsValue> {
    let text = match JSON::stringify(given).ok().and_then(|text| text.as_string()) {
        Some(text) => text,
        None => "a value that is not plain data".to_owned(),
    };
    evengap::json::read(&text).map_err(|message| {
        let message = format!("the options cannot be used: {message}");
        fault(&Fault { kind: ErrorKind::Options, message: &message, help: None, places: &[] })
    })
}

/// Points that are given as x, y, x, y and so on.
pub(crate) fn pairs(points: &[f64]) -> Result<&[[f64; 2]], JsValue> {
    let (pairs, rest) = points.as_chunks::<2>();
    if rest.is_empty() { Ok(pairs) } else { Err(js_sys::RangeError::new("the last point has an x and no y").into()) }
}

/// Copies bytes in. Any view of a buffer will do, also one from another window.
pub(crate) fn bytes(given: &JsValue, into: &mut Vec<u8>) -> Result<(), JsValue> {
    if !ArrayBuffer::is_view(given) {
        return Err(js_sys::TypeError::new("a toolpath is given as bytes: a Uint8Array").into());
    }
    let field = |name: &str| Reflect::get(given, &name.into());
    let number = |name: &str| field(name).map(|n| n.as_f64().map_or(0, whole));
    let view =
        Uint8Array::new_with_byte_offset_and_length(&field("buffer")?, number("byteOffset")?, number("byteLength")?);
    into.resize(view.length() as usize, 0);
    view.copy_to(into);
    Ok(())
}

/// Bytes where they lie.
#[cfg(feature = "engine")]
pub(crate) fn view(bytes: &[u8]) -> Uint8Array {
    let memory: js_sys::WebAssembly::Memory = wasm_bindgen::memory().unchecked_into();
    let [from, length] = [bytes.as_ptr().addr(), bytes.len()].map(|n| u32::try_from(n).unwrap_or(0));
    Uint8Array::new_with_byte_offset_and_length(&memory.buffer(), from, length)
}

/// Copies the next bytes of a toolpath in and hands them to the engine, which is gone once it has refused any.
#[cfg(feature = "workshop")]
pub(crate) fn push<E>(
    engine: &mut Option<E>,
    given: &JsValue,
    chunk: &mut Vec<u8>,
    take: impl FnOnce(&mut E, &[u8]) -> Result<(), evengap::Error>,
) -> Result<(), JsValue> {
    let with = engine.as_mut().ok_or_else(spent)?;
    bytes(given, chunk)?;
    let taken = take(with, chunk);
    if taken.is_err() {
        *engine = None;
    }
    taken.map_err(thrown)
}

/// Whoever pushes or finishes once more than there is.
pub(crate) fn spent() -> JsValue {
    js_sys::TypeError::new("this toolpath has come to its end: make a new object for each").into()
}

/// A count from JavaScript, as exact as it was.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number of at most 32 bits there")]
fn whole(n: f64) -> u32 {
    n as u32
}
