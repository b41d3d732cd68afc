//! The core's own proof, asked for what a rewriting was asked for.

use evengap::check::Followed;
use evengap::check::proof::{Proof, ProofOptions, Side, Verdict};
use evengap::follow::{Options, Summary};
use evengap::{Error, HeightMap};

/// What is to be proven of a toolpath that was rewritten with these options.
#[must_use]
pub fn to_prove(options: &Options, summary: &Summary) -> ProofOptions {
    let mut out = ProofOptions::default();
    out.reading.e_start = options.e_start;
    out.reading.g90_sets_e = options.g90_sets_e;
    out.reading.unknown_motion = options.allow.unknown_motion;
    out.reading.own_levelling = options.allow.own_levelling;
    out.followed = Followed { taper: summary.taper, shift: options.shift };
    out.tolerance = options.tolerance;
    out.flow = options.flow;
    out.floor = options.floor;
    out
}

/// Walks both, in chunks, whichever is behind first.
///
/// # Errors
/// Where the original cannot be read.
pub fn prove(original: &[u8], rewritten: &[u8], map: &HeightMap, options: ProofOptions) -> Result<Verdict, Error> {
    let mut proof = Proof::new(map, options);
    let (mut a, mut b) = (original.chunks(1000), rewritten.chunks(1000));
    loop {
        let pushed = match proof.behind() {
            Side::Original => {
                a.next().map(|c| proof.push_original(c)).or_else(|| b.next().map(|c| proof.push_rewritten(c)))
            }
            Side::Rewritten => {
                b.next().map(|c| proof.push_rewritten(c)).or_else(|| a.next().map(|c| proof.push_original(c)))
            }
        };
        match pushed {
            Some(done) => done?,
            None => return proof.finish(),
        }
    }
}
