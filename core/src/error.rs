//! The crate's one error type: a kind, a text a person can act on, and the place it speaks of.

use core::fmt;

/// A place in the text or toolpath that was given: both numbers count from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[expect(clippy::exhaustive_structs, reason = "nothing can be added to it")]
pub struct Place {
    /// Line, counted from 1.
    pub line: u64,
    /// Column in bytes, counted from 1.
    pub column: u64,
}

/// What sort of fault an [`Error`] tells of, so that a program can choose what to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum ErrorKind {
    /// The card's text cannot be read, or a value in it makes no sense.
    Card,
    /// The readings do not make a surface (too few, on one line, contradictory, an incomplete grid).
    Readings,
    /// A toolpath line holds a number that cannot be trusted, or breaks off.
    Toolpath,
    /// The toolpath holds motion or a state that is refused unless it is allowed by name.
    Refused,
    /// The rewritten path would go below the floor.
    Floor,
    /// The options contradict each other or the map (a taper that would fold Z, say).
    Options,
    /// A documented limit was passed.
    Limit,
}

/// What went wrong, where, and what to do about it.
///
/// [`Display`](fmt::Display) gives the message alone, in one line; [`Error::help`] what to do, where there is something.
///
/// ```
/// use evengap::{Card, ErrorKind};
///
/// let error = Card::parse("[bed]\nx = [0, 200]\ny = [0, two hundred]\n").unwrap_err();
/// assert_eq!(error.kind(), ErrorKind::Card);
/// assert!(!error.message().contains('\n'));
/// assert_eq!(error.place().map(|at| at.line), Some(3));
/// assert_eq!(error.places().len(), 1);
/// if let Some(help) = error.help() {
///     println!("{error}: {help}");
/// }
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Error(Box<Inner>);

#[derive(Debug, Clone, PartialEq)]
struct Inner {
    kind: ErrorKind,
    message: String,
    help: Option<String>,
    places: Vec<Place>,
}

impl Error {
    pub(crate) fn new(kind: ErrorKind, message: impl Into<String>) -> Self {
        Error(Box::new(Inner { kind, message: message.into(), help: None, places: Vec::new() }))
    }

    pub(crate) fn at(mut self, line: u64, column: u64) -> Self {
        self.0.places.push(Place { line, column });
        self
    }

    pub(crate) fn with_help(mut self, help: impl Into<String>) -> Self {
        self.0.help = Some(help.into());
        self
    }

    /// The sort of fault.
    #[must_use]
    pub fn kind(&self) -> ErrorKind {
        self.0.kind
    }

    /// What is wrong, in one line without its place.
    #[must_use]
    pub fn message(&self) -> &str {
        &self.0.message
    }

    /// What to do about it, where that is known.
    #[must_use]
    pub fn help(&self) -> Option<&str> {
        self.0.help.as_deref()
    }

    /// The first place that the message speaks of.
    #[must_use]
    pub fn place(&self) -> Option<Place> {
        self.0.places.first().copied()
    }

    /// All places that the message speaks of (two readings that contradict each other, say).
    #[must_use]
    pub fn places(&self) -> &[Place] {
        &self.0.places
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.message)
    }
}

impl core::error::Error for Error {}
