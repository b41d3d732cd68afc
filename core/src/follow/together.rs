//! One toolpath on several threads, which are the caller's.
//!
//! A piece is read, looked at, followed and handed on. Each of these steps is done to all pieces in their order, by [turns](super::turns), and different
//! steps to different pieces at the same time, with what needs no order in between: mostly by the thread that read the piece, so that what is read need not go from one core to another.
//! Where it is not the turn of its piece to be followed, a thread puts it aside and reads another, and whoever is free when its turn comes takes it: so
//! nobody has to wait while there is something to do, and no piece lies while a thread waits for a pipe.

use super::ahead::{Glance, Teller};
use super::turns::{Stage, lock, lock_soon};
use super::{LookAhead, Looked, Rewriter, Summary};
use crate::Error;
use std::io::{self, Read};
use std::mem;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;

/// Bytes of a piece, at most.
const PIECE: usize = 1 << 16;

/// Where a rewritten toolpath goes.
pub trait Sink {
    /// Why it can take no more.
    type Fault;

    /// Takes the next piece of the original, and what comes out by then: `None` where nothing comes out any more, for the toolpath is going to be
    /// refused. At the end comes what is left, with no more of the original. `original` may be kept, if other memory is left in its place.
    ///
    /// # Errors
    /// What is in the way: it is told to who rewrites.
    fn take(&mut self, original: &mut Vec<u8>, rewritten: Option<&[u8]>) -> Result<(), Self::Fault>;
}

/// Why a rewriting came to no end.
#[derive(Debug)]
#[expect(clippy::exhaustive_enums, reason = "a source, a toolpath and a sink are all that there is")]
pub enum Stopped<F> {
    /// The toolpath was refused. All that stands before the piece in which that was found was handed on, and then the piece with nothing.
    Toolpath(Error),
    /// Reading failed. All that had been read was handed on.
    Read(io::Error),
    /// The sink failed.
    Sink(F),
}

impl<F: core::fmt::Display> core::fmt::Display for Stopped<F> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Stopped::Toolpath(e) => e.fmt(f),
            Stopped::Read(e) => write!(f, "reading failed: {e}"),
            Stopped::Sink(e) => e.fmt(f),
        }
    }
}

impl<F: core::error::Error + 'static> core::error::Error for Stopped<F> {
    fn source(&self) -> Option<&(dyn core::error::Error + 'static)> {
        match self {
            Stopped::Toolpath(e) => Some(e),
            Stopped::Read(e) => Some(e),
            Stopped::Sink(e) => Some(e),
        }
    }
}

/// A rewriting that several threads take part in: the same bytes come out however many they are, and memory does not grow with the toolpath.
///
/// ```
/// use evengap::follow::{Options, Rewriter, Sink, Stopped, Together};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = r#"
/// # [bed]
/// # x = [0, 200]
/// # y = [0, 200]
/// # [readings]
/// # method = "patch"
/// # parked = 0.3
/// # points = [[20, 20, 0.3], [180, 20, 0.3], [20, 180, 0.2], [180, 180, 0.2]]
/// # "#;
/// # let map = HeightMap::fit(&Card::parse(card)?, SurfaceKind::ThinPlate)?;
/// struct Text(Vec<u8>);
///
/// impl Sink for Text {
///     type Fault = std::convert::Infallible;
///     fn take(&mut self, _: &mut Vec<u8>, rewritten: Option<&[u8]>) -> Result<(), Self::Fault> {
///         self.0.extend_from_slice(rewritten.unwrap_or_default());
///         Ok(())
///     }
/// }
///
/// let rewriter = Rewriter::new(&map, Options::default())?;
/// let together = Together::new(2, rewriter, &b"G1 X100 Y100 Z0.2\n"[..], Text(Vec::new()));
/// let ends = std::thread::scope(|scope| {
///     let other = scope.spawn(|| together.take_part());
///     [together.take_part(), other.join().unwrap()]
/// });
/// // One of the two came to the end.
/// let (text, done) = ends.into_iter().flatten().next().unwrap();
/// let summary = match done {
///     Ok(summary) => summary,
///     Err(Stopped::Toolpath(refusal)) => return Err(refusal.into()),
///     Err(Stopped::Read(error)) => return Err(error.into()),
///     Err(Stopped::Sink(never)) => match never {},
/// };
/// assert_eq!(summary.lines_in, 1);
/// assert!(text.0.ends_with(b"G1 X100 Y100 Z0.250\n"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Together<R, S> {
    source: Mutex<Source<R>>,
    /// Nothing is read any more.
    over: AtomicBool,
    /// `None` where one thread is alone: it would tell itself what it sees soon enough.
    look: Option<Stage<LookAhead>>,
    teller: Teller,
    /// How lines passed where it was looked last.
    glance: Mutex<Option<Glance>>,
    /// Pieces that were put aside.
    shelf: Mutex<Shelf>,
    /// The number of the first of them, or `NONE`, for who looks at a piece: it is asked for too often for a lock.
    first: AtomicU64,
    follow: Stage<Option<Rewriter>>,
    sink: Stage<Option<S>>,
}

/// No piece was put aside.
const NONE: u64 = u64::MAX;

/// A piece in somebody's hand.
#[derive(Debug)]
struct Hand {
    n: u64,
    /// How many bytes were read: none at the end.
    read: io::Result<usize>,
    piece: Looked,
    out: Vec<u8>,
}

/// Pieces that were put aside until it is their turn to be followed, at most so many; and others that are done with, for their memory.
#[derive(Debug)]
struct Shelf {
    waiting: Vec<Hand>,
    most: usize,
    spent: Vec<Hand>,
}

/// How a rewriting ended: where it went to, and what was done, or why not; what went there by then must be thrown away then.
pub type Ended<S> = (S, Result<Summary, Stopped<<S as Sink>::Fault>>);

#[derive(Debug)]
struct Source<R> {
    from: R,
    /// The number of the next piece.
    next: u64,
}

impl Shelf {
    /// The number of the first piece.
    fn first(&self) -> u64 {
        self.waiting.iter().map(|hand| hand.n).min().unwrap_or(NONE)
    }
}

/// A piece was followed.
#[derive(Debug)]
struct Followed {
    /// Nothing comes out any more.
    silent: bool,
    /// What was done, where it was the last.
    end: Option<Summary>,
}

impl<R: Read, S: Sink> Together<R, S> {
    /// Of more threads than these the rest would only wait: of what is done to a piece, two fifths are done to one at a time.
    pub const MOST_THREADS: usize = 4;

    /// Rewrites all that `from` gives into `to`. So many threads are going to take part.
    pub fn new(threads: usize, rewriter: Rewriter, from: R, to: S) -> Self {
        let look_ahead = rewriter.look_ahead();
        Together {
            source: Mutex::new(Source { from, next: 0 }),
            over: AtomicBool::new(false),
            teller: look_ahead.teller(),
            look: (threads > 1).then(|| Stage::new(look_ahead)),
            shelf: Mutex::new(Shelf { waiting: Vec::new(), most: threads.saturating_sub(1), spent: Vec::new() }),
            first: AtomicU64::new(NONE),
            glance: Mutex::new(None),
            follow: Stage::new(Some(rewriter)),
            sink: Stage::new(Some(to)),
        }
    }

    /// Does what there is to do, one piece after another, as long as there is any. One thread comes to the end and has it to tell, all others `None`; others
    /// may still read then, or wait for a reader, whose piece is not asked for any more where the end is a refusal.
    pub fn take_part(&self) -> Option<Ended<S>> {
        let _fall = Fall(self);
        let mut teller = self.teller.clone();
        loop {
            let hand = match self.due() {
                Some(hand) => hand,
                None => match self.read() {
                    Some(mut hand) => {
                        self.look(&mut hand, &mut teller)?;
                        match self.put_aside(hand) {
                            Some(hand) => hand,
                            None => continue,
                        }
                    }
                    // All is read.
                    None => self.take_from_shelf(|_| true)?,
                },
            };
            if let Some(end) = self.finish(hand)? {
                return Some(end);
            }
        }
    }

    /// Reads the next piece. `None` if none is to be read.
    fn read(&self) -> Option<Hand> {
        let spent = lock(&self.shelf).spent.pop();
        let mut hand = spent.unwrap_or_else(|| Hand { n: 0, read: Ok(0), piece: Looked::default(), out: Vec::new() });
        let mut source = lock_soon(&self.source);
        if self.over.load(Ordering::Relaxed) {
            return None;
        }
        hand.n = source.next;
        source.next += 1;
        let bytes = hand.piece.refill();
        bytes.resize(PIECE, 0);
        hand.read = loop {
            match source.from.read(bytes) {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                read => break read,
            }
        };
        bytes.truncate(*hand.read.as_ref().unwrap_or(&0));
        if bytes.is_empty() {
            self.over.store(true, Ordering::Relaxed);
        }
        Some(hand)
    }

    /// Tells of a piece what can be told before it is followed: as far as that is not due, or another that was put aside. `None` if all has ended.
    fn look(&self, hand: &mut Hand, teller: &mut Teller) -> Option<()> {
        let (Ok(1..), Some(look)) = (&hand.read, &self.look) else { return Some(()) };
        let goes_on = || !self.follow.has_come(self.first.load(Ordering::Relaxed).min(hand.n));
        // (Not locked while it glances.)
        let glance = *lock(&self.glance);
        if let Some(glance) = glance {
            teller.glance(&mut hand.piece, glance);
        }
        let mut turn = look.wait(hand.n)?;
        turn.state.place(&mut hand.piece, goes_on);
        *lock(&self.glance) = turn.state.glance();
        turn.pass_on();
        teller.tell(&mut hand.piece, goes_on);
        Some(())
    }

    /// The piece that is to be followed now, if it was put aside. (Who puts one aside asks then, and who has followed one asks then, both behind the same lock:
    /// one of the two finds it.)
    fn due(&self) -> Option<Hand> {
        self.take_from_shelf(|first| self.follow.has_come(first))
    }

    /// The first piece that was put aside, if its number is right.
    fn take_from_shelf(&self, right: impl Fn(u64) -> bool) -> Option<Hand> {
        let mut shelf = lock(&self.shelf);
        let first = shelf.first();
        let at = shelf.waiting.iter().position(|hand| hand.n == first && right(first))?;
        let hand = shelf.waiting.swap_remove(at);
        self.first.store(shelf.first(), Ordering::Relaxed);
        Some(hand)
    }

    /// Puts a piece aside, if it is not due and there is room; gives back what is to be followed next, or to be waited for.
    fn put_aside(&self, hand: Hand) -> Option<Hand> {
        if self.follow.has_come(hand.n) {
            return Some(hand);
        }
        let mut shelf = lock(&self.shelf);
        shelf.waiting.push(hand);
        self.first.store(shelf.first(), Ordering::Relaxed);
        let full = shelf.waiting.len() > shelf.most;
        drop(shelf);
        if full { self.take_from_shelf(|_| true) } else { None }
    }

    /// Follows the bed through a piece and hands on what comes out: the end, if it was that. `None` if another came to the end.
    fn finish(&self, mut hand: Hand) -> Option<Option<Ended<S>>> {
        let followed = self.follow(&mut hand)?;
        let mut turn = self.sink.wait(hand.n)?;
        let sink = turn.state.as_mut()?;
        let silent = followed.as_ref().map_or(true, |followed| followed.silent);
        let taken = sink.take(&mut hand.piece.bytes, (!silent).then_some(&hand.out)).map_err(Stopped::Sink);
        let end = match followed.and_then(|followed| taken.map(|()| followed.end)) {
            Ok(None) => {
                turn.pass_on();
                lock(&self.shelf).spent.push(hand);
                return Some(None);
            }
            Ok(Some(summary)) => Ok(summary),
            Err(why) => Err(why),
        };
        self.over.store(true, Ordering::Relaxed);
        Some(Some((turn.state.take()?, end)))
    }

    /// Follows the bed through a piece, or to the end. `None` if that was come to before.
    fn follow(&self, hand: &mut Hand) -> Option<Result<Followed, Stopped<S::Fault>>> {
        // A turn that is not passed on is the last.
        let mut turn = self.follow.wait(hand.n)?;
        hand.out.clear();
        let followed = match mem::replace(&mut hand.read, Ok(0)) {
            Ok(1..) => {
                let rewriter = turn.state.as_mut()?;
                let pushed = rewriter.push_looked(&mut hand.piece, &mut hand.out);
                pushed.map(|()| Followed { silent: rewriter.is_refused(), end: None })
            }
            Ok(0) => turn.state.take()?.finish(&mut hand.out).map(|end| Followed { silent: false, end: Some(end) }),
            Err(e) => return Some(Err(Stopped::Read(e))),
        };
        if matches!(followed, Ok(Followed { end: None, .. })) {
            turn.pass_on();
        }
        Some(followed.map_err(Stopped::Toolpath))
    }

    /// No thread waits for another any more.
    fn end(&self) {
        self.over.store(true, Ordering::Relaxed);
        if let Some(look) = &self.look {
            look.end();
        }
        self.follow.end();
        self.sink.end();
    }
}

/// Ends all, where a thread falls: nobody else would do what it had in hand.
struct Fall<'a, R: Read, S: Sink>(&'a Together<R, S>);

impl<R: Read, S: Sink> Drop for Fall<'_, R, S> {
    fn drop(&mut self) {
        if thread::panicking() {
            self.0.end();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::follow::Options;
    use crate::{Card, HeightMap, SurfaceKind};
    use std::fmt::Write as _;
    use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
    use std::sync::mpsc::{Receiver, channel};

    const CARD: &str = "[bed]\nx = [0, 200]\ny = [0, 100]\n[readings]\nmethod = 'drag'\nsheet = 0\n\
                        points = [[20, 20, 0], [180, 20, 0.1], [20, 80, 0.1], [180, 80, 0.05], [100, 50, 0.12]]\n";

    fn ready() -> Rewriter {
        let map = HeightMap::fit(&Card::parse(CARD).unwrap(), SurfaceKind::ThinPlate).unwrap();
        Rewriter::new(&map, Options::default()).unwrap()
    }

    /// Layers in the taper and above it, straight moves, long ones and arcs, in coordinates and relative.
    fn tower() -> String {
        let mut text = String::from("M83\nG28\nG1 X0 Y0 Z0 F3000\n");
        for layer in 0..40 {
            writeln!(text, "G90\nG1 Z{:.1}\nG1 X30 Y30\n; layer {layer}", 0.2 + 0.2 * f64::from(layer)).unwrap();
            text += if layer % 3 == 0 { "G91\n" } else { "" };
            for n in 0..200 {
                let x = if layer % 3 == 0 { 0.3 } else { 30.0 + 0.3 * f64::from(n) };
                let y = if layer % 3 == 0 { 0.1 } else { 40.1 };
                match n % 50 {
                    7 => text += if layer % 3 == 0 { "G2 X5 Y3 R9 E0.4\n" } else { "G2 X60 Y40 R60 E0.4\n" },
                    9 => text += "G90\nG1 X150 Y70 E2\nG1 X33 Y35\n",
                    11 => text += "G1 E-1 ; back\nM104 S200\n",
                    _ => writeln!(text, "G1 X{x:.2} Y{:.2} E0.02", if n % 7 == 3 { y + 2.5 } else { y }).unwrap(),
                }
            }
        }
        text
    }

    /// Gives a text by pieces of any size, and then an error, or falls.
    struct From {
        text: Vec<u8>,
        at: usize,
        sizes: [usize; 3],
        error: bool,
        falls: bool,
    }

    impl Read for From {
        fn read(&mut self, to: &mut [u8]) -> io::Result<usize> {
            let rest = &self.text[self.at..];
            if rest.is_empty() && (self.error || self.falls) {
                assert!(!self.falls, "the source falls");
                return Err(io::Error::other("the cable is out"));
            }
            let size = self.sizes[self.at % 3].min(rest.len()).min(to.len());
            to[..size].copy_from_slice(&rest[..size]);
            self.at += size;
            Ok(size)
        }
    }

    /// Keeps all, and fails or falls where that is asked for.
    #[derive(Default)]
    struct To {
        original: Vec<u8>,
        rewritten: Vec<u8>,
        nothing: u32,
        fails_after: Option<usize>,
        falls_after: Option<usize>,
    }

    impl Sink for To {
        type Fault = &'static str;

        fn take(&mut self, original: &mut Vec<u8>, rewritten: Option<&[u8]>) -> Result<(), Self::Fault> {
            self.original.append(original);
            self.rewritten.extend_from_slice(rewritten.unwrap_or_default());
            self.nothing += u32::from(rewritten.is_none());
            assert!(self.falls_after.is_none_or(|n| self.rewritten.len() < n), "the sink falls");
            if self.fails_after.is_some_and(|n| self.rewritten.len() >= n) { Err("no room") } else { Ok(()) }
        }
    }

    fn from(text: &str, sizes: [usize; 3]) -> From {
        From { text: text.as_bytes().to_vec(), at: 0, sizes, error: false, falls: false }
    }

    /// On so many threads.
    #[expect(clippy::disallowed_methods, reason = "a test's threads")]
    fn rewrite_on<R: Read + Send, S: Sink + Send>(threads: usize, rewriter: Rewriter, from: R, to: S) -> Ended<S>
    where
        S::Fault: Send,
    {
        let together = Together::new(threads, rewriter, from, to);
        let ends = thread::scope(|scope| {
            let all: Vec<_> = (0..threads).map(|_| scope.spawn(|| together.take_part())).collect();
            all.into_iter().map(|thread| thread.join().unwrap_or_else(|fall| resume_unwind(fall))).collect::<Vec<_>>()
        });
        let mut ends = ends.into_iter().flatten();
        let end = ends.next().unwrap();
        assert!(ends.next().is_none());
        end
    }

    #[test]
    fn any_number_of_threads_gives_the_same() {
        let (ready, text) = (ready(), tower());
        let mut one = Vec::new();
        let mut rewriter = ready.clone();
        rewriter.push(text.as_bytes(), &mut one).unwrap();
        let summary = format!("{:?}", rewriter.finish(&mut one).unwrap());
        for n in [1, 2, 3, 4, 9] {
            for sizes in [[PIECE; 3], [900, 5000, 31], [97, 200, 4000]] {
                let (to, done) = rewrite_on(n, ready.clone(), from(&text, sizes), To::default());
                assert_eq!(format!("{:?}", done.unwrap()), summary);
                assert!(to.rewritten == one && to.original == text.as_bytes(), "{n} {sizes:?}");
                assert_eq!(to.nothing, 0);
            }
        }
    }

    #[test]
    fn what_stood_before_an_end_was_handed_on() {
        let (ready, text) = (ready(), tower());
        for n in [1, 2, 4] {
            // Reading fails: all that was read comes before it.
            let mut source = from(&text, [3000, 400, 5000]);
            source.error = true;
            let (to, done) = rewrite_on(n, ready.clone(), source, To::default());
            assert!(matches!(done, Err(Stopped::Read(e)) if e.to_string() == "the cable is out"));
            assert!(to.original == text.as_bytes());
            // A line is refused: all pieces before its own come out, and that one as nothing.
            let wrong = text.clone() + "G1 X1 Ynan\n" + &text;
            let mut told = Vec::new();
            for _ in 0..5 {
                let (to, done) = rewrite_on(n, ready.clone(), from(&wrong, [3000, 400, 5000]), To::default());
                let Err(Stopped::Toolpath(error)) = done else { panic!("it is refused") };
                assert_eq!(error.place().map(|p| p.line), Some(1 + text.lines().count() as u64));
                assert!(to.nothing == 1 && to.original.len() > text.len() && !to.rewritten.is_empty());
                told.push((to.original, to.rewritten));
            }
            assert!(told.iter().all(|t| *t == told[0]));
            // The sink fails.
            let full = To { fails_after: Some(20_000), ..To::default() };
            let (to, done) = rewrite_on(n, ready.clone(), from(&text, [3000; 3]), full);
            assert!(matches!(done, Err(Stopped::Sink("no room"))));
            assert!(to.rewritten.len() < 30_000, "{}", to.rewritten.len());
        }
    }

    /// A source that waits holds nobody up once the toolpath is refused, but who reads there.
    #[test]
    #[expect(clippy::disallowed_methods, reason = "a test's threads")]
    fn a_refusal_does_not_wait_for_more() {
        struct Waits(u8, Receiver<()>);
        impl Read for Waits {
            fn read(&mut self, to: &mut [u8]) -> io::Result<usize> {
                self.0 += 1;
                if self.0 > 1 {
                    self.1.recv().unwrap();
                }
                to[..11].copy_from_slice(b"G1 X1 Ynan\n");
                Ok(11)
            }
        }
        let (goes_on, waits) = channel();
        let together = Together::new(2, ready(), Waits(0, waits), To::default());
        thread::scope(|scope| {
            let (told, end) = channel();
            for _ in 0..2 {
                let (told, together) = (told.clone(), &together);
                scope.spawn(move || together.take_part().map(|end| told.send(end).unwrap()));
            }
            let (to, done) = end.recv().unwrap();
            assert!(matches!(done, Err(Stopped::Toolpath(_))) && to.nothing == 1);
            // Only now the other thread has something to read, if it began to.
            goes_on.send(()).unwrap();
        });
    }

    /// Who falls takes nobody else with him into waiting, and is heard of.
    #[test]
    fn a_fall_is_told() {
        let (ready, text) = (ready(), tower());
        for n in [1, 2, 3] {
            let mut source = from(&text, [3000, 400, 5000]);
            source.falls = true;
            let sink = To { falls_after: Some(20_000), ..To::default() };
            for (source, sink) in [(source, To::default()), (from(&text, [3000; 3]), sink)] {
                let fall = catch_unwind(AssertUnwindSafe(|| rewrite_on(n, ready.clone(), source, sink)));
                let told = *fall.err().unwrap().downcast::<&str>().unwrap();
                assert!(told.ends_with(" falls"), "{told}");
            }
        }
    }
}
