//! The engine as a plain WebAssembly module: linear memory in, linear memory out, no imports, no glue. Any runtime, and so any
//! language, can host it. What each function takes and answers: `README.md` beside this; conversions only, no logic.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `exports.rs` | the exported functions: the one place with `unsafe`, and why |
//! | `buffers.rs` | all memory that a host writes to or reads from |
//! | `handles.rs` | the maps and rewriters that a host holds by their numbers |
//! | `instance.rs` | what each function does |
//! | `fault.rs` | what went wrong, as JSON |
//!
//! No pointer that a host gives is ever followed. A host writes into buffers that the module made; they are kept in a table
//! with their addresses, and an address that is not in the table is an error, like a number that is no handle.
//!
//! Natively the same functions can be called, one instance a thread; the tests do.

mod buffers;
#[allow(unsafe_code, reason = "says itself, at its head, what for")]
mod exports;
mod fault;
mod handles;
mod instance;
#[cfg(test)]
mod tests;

pub use exports::*;
