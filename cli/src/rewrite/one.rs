//! One file: read piece by piece, rewritten, proven if that is asked for, and put in place when it is whole.

use crate::files::{self, Input, Name, Target};
use crate::prove::Prover;
use crate::report::{Failure, Refusal, Source};
use evengap::HeightMap;
use evengap::check::Window;
use evengap::check::proof::Verdict;
use evengap::follow::{Options, Rewriter, Summary};
use evengap::known::{Enough, Known};
use std::io::{self, Read as _};
use std::path::PathBuf;

/// Bytes read at a time.
const CHUNK: usize = 256 * 1024;

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

    /// Rewrites one file: whole, or its target stays as it was. `progress` is told of every piece that was read.
    pub(super) fn rewrite(&self, job: &Job, progress: impl Fn(usize)) -> Result<Done, Failure> {
        let (input, _) = job.input.open()?;
        let mut target = Target::create(&job.output)?.made_from(input.seen().as_ref());
        let done = self.stream(job, input, &mut target, progress)?;
        target.commit()?;
        Ok(done)
    }

    fn stream(
        &self,
        job: &Job,
        mut input: Input,
        target: &mut Target,
        progress: impl Fn(usize),
    ) -> Result<Done, Failure> {
        let refuse = |error: evengap::Error, tail: &Tail, written: bool| {
            let lines = error.places().iter().filter_map(|p| Some((p.line, job.line(p.line, tail)?))).collect();
            let source = Source { name: job.input.shown(), lines };
            Failure::from(Refusal::by_engine(&error, source).with_note(written.then_some(PARTLY_WRITTEN)))
        };
        let mut tail = Tail::default();
        let mut rewritten = Vec::with_capacity(2 * CHUNK);
        let mut written = false;
        let mut rewriter = self.rewriter.clone();
        let mut prover = self.prove.then(|| Prover::new(self.map, &self.options, rewriter.taper()));
        loop {
            tail.turn();
            match input.read(tail.room()) {
                Ok(0) => {
                    tail.fill(0);
                    break;
                }
                Ok(n) => {
                    tail.fill(n);
                    let from = rewritten.len();
                    rewriter.push(tail.fresh(), &mut rewritten).map_err(|e| refuse(e, &tail, written))?;
                    if let Some(prover) = prover.as_mut().filter(|_| !rewriter.is_refused()) {
                        prover.take(tail.fresh(), &rewritten[from..]).map_err(|e| refuse(e, &tail, written))?;
                    }
                    progress(n);
                }
                Err(e) if e.kind() == io::ErrorKind::Interrupted => tail.fill(0),
                Err(e) => return Err(Failure::io("cannot read", &PathBuf::from(job.input.shown()), e)),
            }
            if rewritten.len() >= CHUNK {
                target.put(&rewritten)?;
                written |= target.is_gone();
                rewritten.clear();
            }
        }
        let from = rewritten.len();
        let summary = rewriter.finish(&mut rewritten).map_err(|e| refuse(e, &tail, written))?;
        let proof = match prover {
            Some(mut prover) => {
                prover.take(&[], &rewritten[from..]).map_err(|e| refuse(e, &tail, written))?;
                Some(prover.finish()?)
            }
            None => None,
        };
        target.put(&rewritten)?;
        let enough = self.known.as_ref().and_then(|known| known.enough(&summary.footprint, &Window::default()));
        Ok(Done { summary, enough, proof })
    }
}

const PARTLY_WRITTEN: &str = "part of the output was already written: throw it away";

impl Job {
    /// A line of the input, for a message: from what was read last, or from the file itself.
    fn line(&self, line: u64, tail: &Tail) -> Option<Vec<u8>> {
        tail.line(line).or_else(|| match &self.input {
            Name::Standard => None,
            Name::Path(path) => files::line_of(std::fs::File::open(path).ok()?, line),
        })
    }
}

/// The last two pieces that were read, so that a refusal can show the line it speaks of even where the input is a pipe.
#[derive(Default)]
struct Tail {
    /// The piece before, then the fresh one.
    bytes: Vec<u8>,
    fresh: usize,
    /// The line at the start of `bytes`.
    first_line: u64,
}

impl Tail {
    /// The fresh piece becomes the one before, and that one is forgotten.
    fn turn(&mut self) {
        if self.first_line == 0 {
            self.first_line = 1;
        }
        let forgotten = self.bytes[..self.fresh].iter().filter(|b| **b == b'\n').count();
        self.first_line += u64::try_from(forgotten).unwrap_or(0);
        self.bytes.drain(..self.fresh);
        self.fresh = self.bytes.len();
        self.bytes.resize(self.fresh + CHUNK, 0);
    }

    fn room(&mut self) -> &mut [u8] {
        &mut self.bytes[self.fresh..]
    }

    fn fill(&mut self, n: usize) {
        self.bytes.truncate(self.fresh + n);
    }

    fn fresh(&self) -> &[u8] {
        &self.bytes[self.fresh..]
    }

    fn line(&self, wanted: u64) -> Option<Vec<u8>> {
        let skip = usize::try_from(wanted.checked_sub(self.first_line)?).ok()?;
        // The first line kept may lack its beginning.
        if skip == 0 && self.first_line > 1 {
            return None;
        }
        self.bytes.split(|b| *b == b'\n').nth(skip).map(<[u8]>::to_vec)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tail_finds_lines_of_the_last_two_pieces() {
        let mut tail = Tail::default();
        for piece in [&b"one\ntw"[..], b"o\nthree\nfo", b"ur\nfive"] {
            tail.turn();
            tail.room()[..piece.len()].copy_from_slice(piece);
            tail.fill(piece.len());
            assert_eq!(tail.fresh(), piece);
        }
        assert_eq!(tail.line(1), None);
        assert_eq!(tail.line(2), None, "its beginning is gone");
        assert_eq!(tail.line(3).as_deref(), Some(&b"three"[..]));
        assert_eq!(tail.line(4).as_deref(), Some(&b"four"[..]));
        assert_eq!(tail.line(5).as_deref(), Some(&b"five"[..]));
        assert_eq!(tail.line(6), None);
    }
}
