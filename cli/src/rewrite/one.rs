//! One file: read piece by piece, rewritten, proven if that is asked for, and put in place when it is whole.

use super::{Shared, crew};
use crate::files::{self, Name, Target};
use crate::prove::Prover;
use crate::report::{Failure, Refusal, Source};
use evengap::HeightMap;
use evengap::check::Window;
use evengap::check::proof::Verdict;
use evengap::follow::{Options, Rewriter, Sink, Stopped, Summary};
use evengap::known::{Enough, Known};
use std::mem;
use std::num::NonZeroUsize;
use std::path::Path;

/// What was done, whether the card is good enough for it, and the proof where it was asked for.
pub(super) struct Done {
    pub(super) summary: Summary,
    pub(super) enough: Option<Enough>,
    pub(super) proof: Option<Verdict>,
}

/// One file to be rewritten, and where it goes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Job {
    pub(super) input: Name,
    pub(super) output: Name,
}

/// What is the same for every file: made once, for a map takes longer to prepare than a small file to rewrite.
pub(super) struct Ready<'a> {
    rewriter: Rewriter,
    map: &'a HeightMap,
    known: Option<Known>,
    options: Options,
    prove: bool,
}

impl Ready<'_> {
    pub(super) fn new(map: &HeightMap, options: Options, prove: bool) -> Result<Ready<'_>, Failure> {
        let rewriter = Rewriter::new(map, options).map_err(|e| Refusal::by_engine(&e, Source::default()))?;
        Ok(Ready { rewriter, map, known: Known::of(map), options, prove })
    }

    /// Rewrites one file on so many threads: whole, or its target stays as it was. `progress` is told of every piece.
    pub(super) fn rewrite(&self, job: &Job, threads: NonZeroUsize, progress: &Shared) -> Result<Done, Failure> {
        let (input, _) = job.input.open()?;
        let target = Target::create(&job.output)?.made_from(input.seen().as_ref());
        let rewriter = self.rewriter.clone();
        let prover = self.prove.then(|| Prover::new(self.map, &self.options, rewriter.taper()));
        let out = Out { target, prover, tail: Tail::default(), progress: progress.clone(), written: false };
        let (out, summary) = crew::rewrite(threads, rewriter, input, out);
        let summary = summary.map_err(|why| match why {
            Stopped::Read(e) => Failure::io("cannot read", Path::new(&job.input.shown()), e),
            Stopped::Sink(Fault::Write(failure)) => failure,
            Stopped::Sink(Fault::Proof(error)) | Stopped::Toolpath(error) => out.refuse(job, &error),
        })?;
        let proof = out.prover.map(Prover::finish).transpose()?;
        out.target.commit()?;
        let enough = self.known.as_ref().and_then(|known| known.enough(&summary.footprint, &Window::default()));
        Ok(Done { summary, enough, proof })
    }
}

/// Where what comes out goes.
struct Out {
    target: Target,
    prover: Option<Prover>,
    tail: Tail,
    progress: Shared,
    written: bool,
}

/// Why nothing more goes there.
enum Fault {
    /// The prover cannot read one of the two.
    Proof(evengap::Error),
    Write(Failure),
}

impl Sink for Out {
    type Fault = Fault;

    fn take(&mut self, original: &mut Vec<u8>, rewritten: Option<&[u8]>) -> Result<(), Fault> {
        if let (Some(prover), Some(rewritten)) = (&mut self.prover, rewritten) {
            prover.take(original, rewritten).map_err(Fault::Proof)?;
        }
        self.progress.add(original.len());
        self.tail.turn(original);
        let rewritten = rewritten.unwrap_or_default();
        self.written |= !rewritten.is_empty();
        self.target.put(rewritten).map_err(Fault::Write)
    }
}

impl Out {
    /// What the engine refuses, told of the lines as they stand in the file.
    fn refuse(&self, job: &Job, error: &evengap::Error) -> Failure {
        let lines = error.places().iter().filter_map(|p| Some((p.line, job.line(p.line, &self.tail)?))).collect();
        let source = Source { name: job.input.shown(), lines };
        let note = (self.target.is_gone() && self.written).then_some(PARTLY_WRITTEN);
        Refusal::by_engine(error, source).with_note(note).into()
    }
}

const PARTLY_WRITTEN: &str = "part of the output was already written: throw it away";

impl Job {
    /// A line of the input, for a message: from what was read last, or from the file itself.
    fn line(&self, line: u64, tail: &Tail) -> Option<Vec<u8>> {
        tail.line(line).or_else(|| match &self.input {
            Name::Standard => None,
            // What is read from a pipe is gone.
            Name::Path(path) if path.is_file() => files::line_of(std::fs::File::open(path).ok()?, line),
            Name::Path(_) => None,
        })
    }
}

/// The last two pieces that were read, so that a refusal can show the line it speaks of even where the input is a pipe.
#[derive(Default)]
struct Tail {
    before: Vec<u8>,
    fresh: Vec<u8>,
    /// Lines that ended before these, and whether anything stood there.
    lines: u64,
    forgot: bool,
}

impl Tail {
    /// Takes a piece, and leaves the memory of one that is forgotten in its place.
    fn turn(&mut self, piece: &mut Vec<u8>) {
        let ends = memchr::memchr_iter(b'\n', &self.before).count();
        self.lines += u64::try_from(ends).unwrap_or(0);
        self.forgot |= !self.before.is_empty();
        mem::swap(&mut self.before, &mut self.fresh);
        mem::swap(&mut self.fresh, piece);
    }

    fn line(&self, wanted: u64) -> Option<Vec<u8>> {
        let skip = usize::try_from(wanted.checked_sub(self.lines + 1)?).ok()?;
        // The first line kept may lack its beginning.
        if skip == 0 && self.forgot {
            return None;
        }
        let bytes = [&self.before[..], &self.fresh].concat();
        bytes.split(|b| *b == b'\n').nth(skip).map(<[u8]>::to_vec)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_finds_lines_of_the_last_two_pieces() {
        let mut tail = Tail::default();
        for piece in [&b"one\ntw"[..], b"o\nthree\nfo", b"ur\nfive"] {
            tail.turn(&mut piece.to_vec());
            assert_eq!(tail.fresh, piece);
        }
        assert_eq!(tail.line(1), None);
        assert_eq!(tail.line(2), None, "its beginning is gone");
        assert_eq!(tail.line(3).as_deref(), Some(&b"three"[..]));
        assert_eq!(tail.line(4).as_deref(), Some(&b"four"[..]));
        assert_eq!(tail.line(5).as_deref(), Some(&b"five"[..]));
        assert_eq!(tail.line(6), None);
    }
}
