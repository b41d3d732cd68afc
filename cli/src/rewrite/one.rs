//! One file: read piece by piece, rewritten, proven if that is asked for, and put in place when it is whole.

use super::ends::{Ends, Pieces};
use crate::files::{self, Name, Target};
use crate::prove::Prover;
use crate::report::{Failure, Refusal, Source};
use evengap::HeightMap;
use evengap::check::Window;
use evengap::check::proof::Verdict;
use evengap::follow::{Looked, Options, Rewriter, Summary};
use evengap::known::{Enough, Known};

/// Bytes written at a time, or a few more.
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

    /// Rewrites one file, on one thread or with a second that looks ahead: whole, or its target stays as it was. `progress` is told of every
    /// piece that was read.
    pub(super) fn rewrite(&self, job: &Job, on_two: bool, progress: impl Fn(usize)) -> Result<Done, Failure> {
        let (input, _) = job.input.open()?;
        let target = Target::create(&job.output)?.made_from(input.seen().as_ref());
        let rewriter = self.rewriter.clone();
        let pieces = Pieces { input, name: job.input.shown() };
        let mut ends = Ends::of(pieces, target, on_two.then(|| rewriter.look_ahead()));
        let done = self.pass(job, rewriter, &mut ends, progress)?;
        ends.end()?.commit()?;
        Ok(done)
    }

    fn pass(
        &self,
        job: &Job,
        mut rewriter: Rewriter,
        ends: &mut Ends,
        progress: impl Fn(usize),
    ) -> Result<Done, Failure> {
        let refuse = |error: evengap::Error, tail: &Tail, ends: &Ends| {
            let lines = error.places().iter().filter_map(|p| Some((p.line, job.line(p.line, tail)?))).collect();
            let source = Source { name: job.input.shown(), lines };
            let note = ends.let_go().then_some(PARTLY_WRITTEN);
            Failure::from(Refusal::by_engine(&error, source).with_note(note))
        };
        let mut tail = Tail::default();
        let mut rewritten = Vec::with_capacity(2 * CHUNK);
        let mut prover = self.prove.then(|| Prover::new(self.map, &self.options, rewriter.taper()));
        let mut spent = Looked::default();
        loop {
            let Some(piece) = ends.next(spent)? else { break };
            spent = tail.turn(piece);
            let from = rewritten.len();
            rewriter.push_looked(&tail.fresh, &mut rewritten).map_err(|e| refuse(e, &tail, ends))?;
            let fresh = tail.fresh.bytes();
            if let Some(prover) = prover.as_mut().filter(|_| !rewriter.is_refused()) {
                prover.take(fresh, &rewritten[from..]).map_err(|e| refuse(e, &tail, ends))?;
            }
            progress(fresh.len());
            if rewritten.len() >= CHUNK {
                ends.put(&mut rewritten)?;
            }
        }
        let from = rewritten.len();
        let summary = rewriter.finish(&mut rewritten).map_err(|e| refuse(e, &tail, ends))?;
        let proof = match prover {
            Some(mut prover) => {
                prover.take(&[], &rewritten[from..]).map_err(|e| refuse(e, &tail, ends))?;
                Some(prover.finish()?)
            }
            None => None,
        };
        ends.put(&mut rewritten)?;
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
            // What is read from a pipe is gone.
            Name::Path(path) if path.is_file() => files::line_of(std::fs::File::open(path).ok()?, line),
            Name::Path(_) => None,
        })
    }
}

/// The last two pieces that were read, so that a refusal can show the line it speaks of even where the input is a pipe.
#[derive(Default)]
struct Tail {
    before: Looked,
    fresh: Looked,
    /// Lines that ended before these, and whether anything stood there.
    lines: u64,
    forgot: bool,
}

impl Tail {
    /// The fresh piece becomes the one before, and that one is given back.
    fn turn(&mut self, fresh: Looked) -> Looked {
        let before = std::mem::replace(&mut self.fresh, fresh);
        let forgotten = std::mem::replace(&mut self.before, before);
        let ends = memchr::memchr_iter(b'\n', forgotten.bytes()).count();
        self.lines += u64::try_from(ends).unwrap_or(0);
        self.forgot |= !forgotten.bytes().is_empty();
        forgotten
    }

    fn line(&self, wanted: u64) -> Option<Vec<u8>> {
        let skip = usize::try_from(wanted.checked_sub(self.lines + 1)?).ok()?;
        // The first line kept may lack its beginning.
        if skip == 0 && self.forgot {
            return None;
        }
        let bytes = [self.before.bytes(), self.fresh.bytes()].concat();
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
            let mut fresh = Looked::default();
            fresh.refill().extend_from_slice(piece);
            tail.turn(fresh);
            assert_eq!(tail.fresh.bytes(), piece);
        }
        assert_eq!(tail.line(1), None);
        assert_eq!(tail.line(2), None, "its beginning is gone");
        assert_eq!(tail.line(3).as_deref(), Some(&b"three"[..]));
        assert_eq!(tail.line(4).as_deref(), Some(&b"four"[..]));
        assert_eq!(tail.line(5).as_deref(), Some(&b"five"[..]));
        assert_eq!(tail.line(6), None);
    }
}
