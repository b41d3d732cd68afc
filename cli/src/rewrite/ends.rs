//! Both ends of one rewriting: the sliced file, piece by piece, and the rewritten one, block by block. Pieces are read when one is asked for, or by
//! a second thread, which looks ahead in them; blocks are then written by that one as it goes on, by whichever of the two has nothing else to do,
//! and by this one where too much waits: [`Sink`].

use super::sink::Sink;
use crate::files::{Input, Target};
use crate::report::Failure;
use evengap::follow::{LookAhead, Looked};
use std::io::{self, Read as _};
use std::mem;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, SyncSender, TryRecvError, TrySendError, channel, sync_channel};
use std::thread::{Builder, JoinHandle};

/// Bytes read at a time.
const PIECE: usize = 64 * 1024;
/// Pieces that may lie ready.
const READY: usize = 4;
/// How often it is asked for a piece before this thread goes to sleep: some microseconds,
const ASKED: u32 = 3_000;
/// and how often in between for something to be written.
const ASKED_TO_WRITE: u32 = 100;

/// Where pieces come from and blocks go.
pub(super) struct Ends {
    /// The name of what is read, for messages.
    name: String,
    source: Source,
    sink: Arc<Sink>,
    /// What is written is out of our hands at once.
    gone: bool,
    begun: bool,
}

enum Source {
    Here(Pieces),
    Ahead(Ahead),
    Ended,
}

/// What is read, and its name.
pub(super) struct Pieces {
    pub(super) input: Input,
    pub(super) name: String,
}

/// The other thread. It comes to its end with the input, when nobody takes what it sends, or when it cannot read or write. (Nobody waits for it after
/// a refusal, but for a block that it is writing: it may be waiting for a pipe.)
struct Ahead {
    ready: Receiver<Looked>,
    spent: Sender<Looked>,
    thread: JoinHandle<Result<(), Failure>>,
}

impl Ends {
    /// Of this input and this target; with a thread of its own, if there is somebody to look ahead, and a thread to be had.
    pub(super) fn of(pieces: Pieces, target: Target, look_ahead: Option<LookAhead>) -> Ends {
        let (name, gone) = (pieces.name.clone(), target.is_gone());
        let sink = Arc::new(Sink::of(target));
        let source = match look_ahead {
            Some(look_ahead) => Source::ahead(pieces, &sink, look_ahead),
            None => Source::Here(pieces),
        };
        Ends { name, source, sink, gone, begun: false }
    }

    /// The next piece; `None` at the end. `spent` is one that is not needed any more: its memory is.
    pub(super) fn next(&mut self, spent: Looked) -> Result<Option<Looked>, Failure> {
        let piece = match &mut self.source {
            Source::Here(pieces) => {
                let mut piece = spent;
                return Ok(pieces.read(&mut piece)?.then_some(piece));
            }
            Source::Ahead(ahead) => ahead.next(spent, &self.sink)?,
            Source::Ended => None,
        };
        let Some(piece) = piece else {
            self.join()?;
            return Err(Failure::io(
                "cannot read",
                Path::new(&self.name),
                io::Error::other("the thread that reads has stopped"),
            ));
        };
        Ok((!piece.bytes().is_empty()).then_some(piece))
    }

    /// Writes a block, which is empty afterwards, or sees to it that it is written.
    pub(super) fn put(&mut self, block: &mut Vec<u8>) -> Result<(), Failure> {
        self.begun = true;
        self.sink.put(block, matches!(self.source, Source::Ahead(_)))
    }

    /// Lets all go that was put, where it goes out of our hands at once, so that it is the same however many threads there are: whether any did.
    pub(super) fn let_go(&self) -> bool {
        if self.gone {
            // Why it can't is not what is told then.
            let _ = self.sink.write_all();
        }
        self.gone && self.begun
    }

    /// Nothing more is to come: the target, when all is written to it.
    pub(super) fn end(mut self) -> Result<Target, Failure> {
        self.join()?;
        self.sink.write_all()?;
        let stopped = || Failure::io("cannot rewrite", Path::new(&self.name), io::Error::other("writing has stopped"));
        self.sink.close().ok_or_else(stopped)
    }

    /// Waits for the other thread, which has come to its end, or soon will.
    fn join(&mut self) -> Result<(), Failure> {
        let Source::Ahead(Ahead { ready, spent, thread }) = mem::replace(&mut self.source, Source::Ended) else {
            return Ok(());
        };
        drop((ready, spent));
        thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}

impl Drop for Ends {
    /// What is not whole goes, although the other thread may still wait for something to read.
    fn drop(&mut self) {
        drop(self.sink.close());
    }
}

impl Source {
    fn ahead(pieces: Pieces, sink: &Arc<Sink>, look_ahead: LookAhead) -> Source {
        let (send, ready) = sync_channel(READY);
        let (spent, take_back) = channel();
        // The input goes there with the first message, so that it is still here if no thread can be had.
        let (hand_over, take_over) = channel();
        let sink = Arc::clone(sink);
        let run = move || match take_over.recv() {
            Ok(pieces) => read_ahead(pieces, look_ahead, &send, &take_back, &sink),
            Err(_) => Ok(()),
        };
        match Builder::new().name("look-ahead".into()).spawn(run) {
            Ok(thread) => match hand_over.send(pieces) {
                Ok(()) => Source::Ahead(Ahead { ready, spent, thread }),
                Err(back) => Source::Here(back.0),
            },
            Err(_) => Source::Here(pieces),
        }
    }
}

impl Ahead {
    /// The next piece, an empty one at the end; `None` if the other thread has stopped.
    fn next(&mut self, spent: Looked, sink: &Sink) -> Result<Option<Looked>, Failure> {
        // Nobody takes it once all is read.
        let _ = self.spent.send(spent);
        let mut asked = 0;
        let piece = loop {
            match self.ready.try_recv() {
                Err(TryRecvError::Empty) if asked < ASKED => {
                    if asked % ASKED_TO_WRITE == 0 && sink.write_meanwhile()? {
                        continue;
                    }
                    sink.waits(true);
                    asked += 1;
                    std::hint::spin_loop();
                }
                Err(TryRecvError::Empty) => break self.ready.recv().ok(),
                other => break other.ok(),
            }
        };
        sink.waits(false);
        Ok(piece)
    }
}

/// What the other thread does: until the end, or nobody takes what it sends.
fn read_ahead(
    mut pieces: Pieces,
    mut look_ahead: LookAhead,
    send: &SyncSender<Looked>,
    take_back: &Receiver<Looked>,
    sink: &Sink,
) -> Result<(), Failure> {
    loop {
        // One for each piece that is read: a block is made of one or more. And all, before this waits for a pipe, if the other sleeps.
        loop {
            let written = sink.write_meanwhile()?;
            if !(written && sink.is_waited_for()) {
                break;
            }
        }
        let mut piece = take_back.try_recv().unwrap_or_default();
        let more = pieces.read(&mut piece)?;
        if more {
            look_ahead.look(&mut piece, || !sink.is_waited_for());
        }
        loop {
            match send.try_send(piece) {
                Ok(()) => break,
                Err(TrySendError::Disconnected(_)) => return Ok(()),
                Err(TrySendError::Full(back)) => piece = back,
            }
            if !sink.write_meanwhile()? {
                match send.send(piece) {
                    Ok(()) => break,
                    Err(_) => return Ok(()),
                }
            }
        }
        if !more {
            return Ok(());
        }
    }
}

impl Pieces {
    /// Reads one piece; false, and nothing in it, at the end.
    fn read(&mut self, piece: &mut Looked) -> Result<bool, Failure> {
        let bytes = piece.refill();
        bytes.resize(PIECE, 0);
        let length = loop {
            match self.input.read(bytes) {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(Failure::io("cannot read", Path::new(&self.name), e)),
                Ok(length) => break length,
            }
        };
        bytes.truncate(length);
        Ok(length > 0)
    }
}
