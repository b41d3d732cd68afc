//! The sliced file, piece by piece: read when one is asked for, or by a second thread that looks ahead.

use crate::files::Input;
use evengap::follow::{LookAhead, Looked};
use std::io::{self, Read as _};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, SyncSender, TryRecvError, channel, sync_channel};

/// Bytes read at a time.
const PIECE: usize = 64 * 1024;
/// Pieces that may lie ready.
const READY: usize = 4;
/// How often it is asked for a piece before this thread goes to sleep: some microseconds, less than to be woken takes.
const ASKED: u32 = 3_000;

/// Where pieces come from.
pub(super) enum Pieces {
    Here(Input),
    Ahead(Ahead),
}

/// The other thread.
pub(super) struct Ahead {
    ready: Receiver<Sent>,
    spent: Sender<Looked>,
    /// This thread has nothing to do.
    waits: Arc<AtomicBool>,
}

/// What the other thread sends. (That it sends nothing more is not the end: it may have died.)
enum Sent {
    Piece(Looked),
    End,
    Failed(io::Error),
}

impl Pieces {
    /// Of this input; looked at by a thread of their own, if there is somebody to look, and a thread to be had.
    pub(super) fn of(input: Input, look_ahead: Option<LookAhead>) -> Pieces {
        let Some(look_ahead) = look_ahead else { return Pieces::Here(input) };
        let (send, ready) = sync_channel(READY);
        let (spent, take_back) = channel();
        let waits = Arc::new(AtomicBool::new(false));
        // The input goes there with the first message, so that it is still here if no thread can be had.
        let (hand_over, take_over) = channel();
        let waited = Arc::clone(&waits);
        let run = move || {
            if let Ok(input) = take_over.recv() {
                read_ahead(input, look_ahead, &send, &take_back, &waited);
            }
        };
        match std::thread::Builder::new().name("look-ahead".into()).spawn(run) {
            Ok(_) => match hand_over.send(input) {
                Ok(()) => Pieces::Ahead(Ahead { ready, spent, waits }),
                Err(back) => Pieces::Here(back.0),
            },
            Err(_) => Pieces::Here(input),
        }
    }

    /// The next piece; `None` at the end. `spent` is one that is not needed any more: its memory is.
    pub(super) fn next(&mut self, spent: Looked) -> io::Result<Option<Looked>> {
        match self {
            Pieces::Here(input) => {
                let mut piece = spent;
                Ok(read(input, &mut piece)?.then_some(piece))
            }
            Pieces::Ahead(ahead) => ahead.next(spent),
        }
    }
}

impl Ahead {
    fn next(&mut self, spent: Looked) -> io::Result<Option<Looked>> {
        // Nobody takes it once all is read.
        let _ = self.spent.send(spent);
        self.waits.store(true, Ordering::Relaxed);
        let mut asked = 0;
        let sent = loop {
            match self.ready.try_recv() {
                Err(TryRecvError::Empty) if asked < ASKED => {
                    asked += 1;
                    std::hint::spin_loop();
                }
                Err(TryRecvError::Empty) => break self.ready.recv().ok(),
                other => break other.ok(),
            }
        };
        self.waits.store(false, Ordering::Relaxed);
        match sent {
            Some(Sent::Piece(piece)) => Ok(Some(piece)),
            Some(Sent::End) => Ok(None),
            Some(Sent::Failed(e)) => Err(e),
            None => Err(io::Error::other("the thread that reads has stopped")),
        }
    }
}

/// What the other thread does: until the end, or nobody takes what it sends.
fn read_ahead(
    mut input: Input,
    mut look_ahead: LookAhead,
    send: &SyncSender<Sent>,
    take_back: &Receiver<Looked>,
    waits: &AtomicBool,
) {
    loop {
        let mut piece = take_back.try_recv().unwrap_or_default();
        let sent = match read(&mut input, &mut piece) {
            Ok(true) => {
                look_ahead.look(&mut piece, || !waits.load(Ordering::Relaxed));
                Sent::Piece(piece)
            }
            Ok(false) => Sent::End,
            Err(e) => Sent::Failed(e),
        };
        let last = !matches!(sent, Sent::Piece(_));
        if send.send(sent).is_err() || last {
            return;
        }
    }
}

/// Reads one piece; false at the end.
fn read(input: &mut Input, piece: &mut Looked) -> io::Result<bool> {
    let bytes = piece.refill();
    bytes.resize(PIECE, 0);
    let length = loop {
        match input.read(bytes) {
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            other => break other?,
        }
    };
    bytes.truncate(length);
    Ok(length > 0)
}
