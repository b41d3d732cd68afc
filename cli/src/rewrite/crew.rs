//! The threads that take part in one rewriting.

use evengap::follow::{Ended, Rewriter, Sink, Together};
use std::io::Read;
use std::num::NonZeroUsize;
use std::panic::resume_unwind;
use std::sync::Arc;
use std::sync::mpsc::channel;
use std::thread::Builder;

/// Rewrites all that `from` gives into `to`: on this thread alone, or on others, as many as are wanted and can be had and have something to do.
///
/// After a refusal it is not waited for a thread that reads: the pipe that it reads from may stay open for long.
pub(super) fn rewrite<R, S>(threads: NonZeroUsize, rewriter: Rewriter, from: R, to: S) -> Ended<S>
where
    R: Read + Send + 'static,
    S: Sink + Send + 'static,
    S::Fault: Send,
{
    let wanted = threads.get().min(Together::<R, S>::MOST_THREADS);
    let together = Arc::new(Together::new(wanted, rewriter, from, to));
    let (tell, told) = channel();
    let start = |_| {
        let (together, tell) = (Arc::clone(&together), tell.clone());
        let part = move || {
            if let Some(end) = together.take_part() {
                // It is waited for, or somebody fell.
                let _ = tell.send(end);
            }
        };
        Builder::new().name("rewrite".into()).spawn(part).ok()
    };
    let crew: Vec<_> = (0..wanted).filter(|_| wanted > 1).map_while(start).collect();
    if crew.is_empty()
        && let Some(end) = together.take_part()
    {
        return end;
    }
    drop(tell);
    let end = told.recv();
    if !matches!(end, Ok((_, Err(_)))) {
        for thread in crew {
            thread.join().unwrap_or_else(|fall| resume_unwind(fall));
        }
    }
    end.unwrap_or_else(|_| resume_unwind(Box::new("a rewriting came to no end")))
}
