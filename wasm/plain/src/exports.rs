//! The exported functions, each one line: what it does is in `instance.rs`, what it means to a host in `README.md`.
//!
//! **Why unsafe.** `#[unsafe(no_mangle)]` is all of it: there is no unsafe block in this crate. A name that is not mangled
//! could collide with another one of the whole program; these begin with `evengap_`, and nothing else in the module does.
//! No pointer is followed here or anywhere else: see `buffers.rs`.
//!
//! An answer of 0 means that the call failed, but for [`evengap_result_len`] and [`evengap_result_ptr`] (there is nothing to
//! read) and [`evengap_error`] (nothing has failed).

use crate::fault::Fault;
use crate::instance::Instance;
use std::cell::RefCell;

thread_local! {
    /// A module without threads has one; natively each thread has its own.
    static INSTANCE: RefCell<Instance> = const { RefCell::new(Instance::new()) };
}

/// Of what this page promises: a change that a host must know of makes it one more.
const ABI_VERSION: u32 = 1;

/// Calls the instance. A trap amid a call leaves it borrowed for good: every call after that answers 0 (but [`evengap_abi_version`], which
/// does not ask it), and nothing that was left half done is touched again. (`tests/plain/check.py` makes one by lack of memory.)
fn with<T: Default>(call: impl FnOnce(&mut Instance) -> T) -> T {
    INSTANCE
        .try_with(|cell| cell.try_borrow_mut().map(|mut instance| call(&mut instance)))
        .map_or_else(|_| T::default(), |answer| answer.unwrap_or_default())
}

/// What stands in for the host in tests.
#[cfg(test)]
pub(crate) fn instance<T>(look: impl FnOnce(&mut Instance) -> T) -> T {
    INSTANCE.with_borrow_mut(look)
}

/// Calls the instance and keeps what went wrong.
fn answer<T: Default>(call: impl FnOnce(&mut Instance) -> Result<T, Fault>) -> T {
    with(|instance| {
        let answer = call(instance);
        answer.unwrap_or_else(|fault| {
            instance.fault = Some(fault);
            T::default()
        })
    })
}

fn done(call: impl FnOnce(&mut Instance) -> Result<(), Fault>) -> u32 {
    answer(|instance| call(instance).map(|()| 1))
}

/// Which functions there are, and what they take: 1.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_abi_version() -> u32 {
    ABI_VERSION
}

/// Makes a buffer of so many bytes, all 0, and answers its address.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_allocate(bytes: usize) -> usize {
    answer(|instance| instance.buffers.make(bytes))
}

/// Gives a buffer back.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_free(ptr: usize) -> u32 {
    done(|instance| instance.buffers.free(ptr))
}

/// Reads a card, fits its map and answers the map's handle.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_map_open(card_ptr: usize, card_len: usize, surface: u32) -> u32 {
    answer(|instance| instance.map_open(card_ptr, card_len, surface))
}

/// Makes JSON ready that describes a map.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_map_describe(map: u32) -> u32 {
    done(|instance| instance.map_describe(map))
}

/// Writes the heights at `count` points into another buffer.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_map_heights(map: u32, xy_ptr: usize, count: usize, out_ptr: usize) -> u32 {
    done(|instance| instance.map_heights(map, xy_ptr, count, out_ptr))
}

/// Ends a map. Rewriters that were opened with it go on.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_map_close(map: u32) -> u32 {
    done(|instance| instance.handles.close_map(map))
}

/// Prepares to rewrite one toolpath and answers the rewriter's handle.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_rewriter_open(map: u32, options_ptr: usize, options_len: usize) -> u32 {
    answer(|instance| instance.rewriter_open(map, options_ptr, options_len))
}

/// Takes the next bytes of the toolpath and makes ready what can be had of the rewritten one.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_rewriter_push(rewriter: u32, ptr: usize, len: usize) -> u32 {
    done(|instance| instance.rewriter_push(rewriter, ptr, len))
}

/// The toolpath has ended: makes ready what is left of the rewritten one.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_rewriter_finish(rewriter: u32) -> u32 {
    done(|instance| instance.rewriter_finish(rewriter))
}

/// Makes JSON ready that tells what a finished rewriter did.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_rewriter_summary(rewriter: u32) -> u32 {
    done(|instance| instance.rewriter_summary(rewriter))
}

/// Ends a rewriter, finished or not.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_rewriter_close(rewriter: u32) -> u32 {
    done(|instance| instance.handles.close_rewriter(rewriter))
}

/// Where the bytes are that the last call made ready; 0 where there are none.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_result_ptr() -> usize {
    with(|instance| instance.result_address())
}

/// How many bytes the last call made ready.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_result_len() -> usize {
    with(|instance| instance.result.len())
}

/// Makes JSON ready that tells of the last call that failed; 0 where none has.
#[unsafe(no_mangle)]
pub extern "C" fn evengap_error() -> u32 {
    with(|instance| u32::from(instance.error()))
}
