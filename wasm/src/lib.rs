//! The engine for JavaScript.
