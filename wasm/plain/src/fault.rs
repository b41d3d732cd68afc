//! What went wrong, as JSON.

use evengap::{Error, ErrorKind, Place};
use serde::Serialize;

/// Why a call failed.
#[derive(Debug)]
pub(crate) enum Fault {
    /// The engine refused.
    Engine(Error),
    /// Its kind, the message and where.
    Here(Kind, String, Option<Place>),
}

/// The engine's kinds, and two more.
#[derive(Debug, Clone, Copy, Serialize)]
#[serde(untagged)]
pub(crate) enum Kind {
    Engine(ErrorKind),
    Here(More),
}

#[derive(Debug, Clone, Copy, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum More {
    /// A call that no program should make.
    Call,
    /// There is no room in memory.
    Memory,
}

#[derive(Serialize)]
struct Told<'a> {
    kind: Kind,
    message: &'a str,
    help: Option<&'a str>,
    /// The first of the places.
    line: Option<u64>,
    column: Option<u64>,
    places: &'a [Place],
}

impl Fault {
    #[cold]
    pub(crate) fn call(message: String) -> Fault {
        Fault::Here(Kind::Here(More::Call), message, None)
    }

    #[cold]
    pub(crate) fn memory(message: String) -> Fault {
        Fault::Here(Kind::Here(More::Memory), message, None)
    }

    #[cold]
    pub(crate) fn engine(kind: ErrorKind, message: String, place: Option<Place>) -> Fault {
        Fault::Here(Kind::Engine(kind), message, place)
    }

    /// The JSON text.
    pub(crate) fn told(&self) -> String {
        let (kind, message, help, places) = match self {
            Fault::Engine(e) => (Kind::Engine(e.kind()), e.message(), e.help(), e.places()),
            Fault::Here(kind, message, place) => (*kind, message.as_str(), None, place.as_slice()),
        };
        let first = places.first();
        let (line, column) = (first.map(|p| p.line), first.map(|p| p.column));
        evengap::json::write(&Told { kind, message, help, line, column, places })
    }
}

impl From<Error> for Fault {
    fn from(error: Error) -> Fault {
        Fault::Engine(error)
    }
}
