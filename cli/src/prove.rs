//! `--prove`: what was rewritten is walked against the original before it takes its place.

use crate::report::{Failure, Refusal};
use evengap::check::Followed;
use evengap::check::proof::{Fault, Proof, ProofOptions, Verdict};
use evengap::follow::Options;
use evengap::{Error, HeightMap};

/// Both files, as they come.
pub(crate) struct Prover(Proof);

impl Prover {
    /// For a file that is rewritten with these options, and this taper.
    pub(crate) fn new(map: &HeightMap, options: &Options, taper: Option<[f64; 2]>) -> Prover {
        let mut asked = ProofOptions::default();
        asked.reading.e_start = options.e_start;
        asked.reading.g90_sets_e = options.g90_sets_e;
        asked.reading.unknown_motion = options.allow.unknown_motion;
        asked.reading.own_levelling = options.allow.own_levelling;
        asked.followed = Followed { taper, shift: options.shift };
        asked.tolerance = options.tolerance;
        asked.flow = options.flow;
        asked.floor = options.floor;
        Prover(Proof::new(map, asked))
    }

    /// The next bytes of the original, and what became of them so far.
    pub(crate) fn take(&mut self, original: &[u8], rewritten: &[u8]) -> Result<(), Error> {
        self.0.push_original(original)?;
        self.0.push_rewritten(rewritten)
    }

    /// Both have ended: the proof, or the first fault.
    pub(crate) fn finish(self) -> Result<Verdict, Failure> {
        let verdict = self.0.finish().map_err(|e| Failure::plain(e.message()))?;
        match verdict.faults.first() {
            None if verdict.is_proven() => Ok(verdict),
            fault => Err(Refusal::unproven(&told(fault)).into()),
        }
    }
}

pub(crate) fn told(fault: Option<&Fault>) -> String {
    let Some(fault) = fault else { return "the two could not be laid side by side".to_owned() };
    let line = |what: &str, line: Option<u64>| line.map_or(String::new(), |l| format!("{what} line {l}"));
    let places = [line("original", fault.original), line("rewritten", fault.rewritten)];
    let places: Vec<&str> = places.iter().map(String::as_str).filter(|p| !p.is_empty()).collect();
    format!("{} ({})", fault.message, places.join(", "))
}

/// The proof in one line.
pub(crate) fn report(verdict: &Verdict) -> String {
    format!("  Proven      {}", proven(verdict))
}

/// What is proven.
pub(crate) fn proven(verdict: &Verdict) -> String {
    format!(
        "path, order, feed and filament are the original's; Z is within {:.4} mm of the bed's shape on {} moves",
        verdict.height.by, verdict.bounded
    )
}
