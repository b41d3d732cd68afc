//! Several files: each by itself, on as many cores as there are; what is refused is named, and the others are done.

use super::one::{Done, Job, Ready};
use super::report::{Report, told_briefly};
use super::{Args, Shared, as_json};
use crate::cautions;
use crate::files;
use crate::report::{self, Failure};
use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

type Outcome = Result<Done, Failure>;

/// Rewrites all, and tells of each in the order in which they were given.
pub(super) fn run(
    args: &Args,
    jobs: &[Job],
    threads: NonZeroUsize,
    ready: &Ready<'_>,
    progress: &Shared,
) -> Result<(), Failure> {
    let at_once = threads.get().min(jobs.len());
    let for_each = NonZeroUsize::new(threads.get() / at_once).unwrap_or(NonZeroUsize::MIN);
    let next = AtomicUsize::new(0);
    let outcomes: Vec<Mutex<Option<Outcome>>> = jobs.iter().map(|_| Mutex::new(None)).collect();
    let work = || {
        while let Some(n) = Some(next.fetch_add(1, Ordering::Relaxed)).filter(|n| *n < jobs.len()) {
            let outcome = ready.rewrite(&jobs[n], for_each, progress);
            *outcomes[n].lock().unwrap_or_else(PoisonError::into_inner) = Some(outcome);
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..at_once {
            scope.spawn(work);
        }
        work();
    });
    progress.finish();
    let outcomes = outcomes.into_iter().map(|o| o.into_inner().unwrap_or_else(PoisonError::into_inner));
    // Every one was taken by some thread.
    let outcomes: Vec<Outcome> = outcomes.map(|o| o.unwrap_or(Err(Failure::Told))).collect();
    if args.json {
        tell_as_json(jobs, &outcomes)?
    } else {
        tell(args, jobs, &outcomes)
    }
    if outcomes.iter().any(Result::is_err) { Err(Failure::Told) } else { Ok(()) }
}

fn tell(args: &Args, jobs: &[Job], outcomes: &[Outcome]) {
    let mut done = 0;
    for (job, outcome) in jobs.iter().zip(outcomes) {
        match outcome {
            Ok(what) => {
                done += 1;
                files::say(&told_briefly(job, what, args.is_quiet()));
            }
            Err(failure) => {
                report::tell(failure, args.tells());
            }
        }
    }
    let failed = outcomes.len() - done;
    if failed > 0 && !args.is_quiet() {
        files::say(&format!("{done} of {} files were rewritten, {failed} not: see above.\n", outcomes.len()));
    }
    if !args.is_quiet() && done > 0 {
        files::say(&(cautions::lines(&cautions::PRINTING) + "\n"));
    }
}

/// What became of one file.
#[derive(serde::Serialize)]
#[serde(untagged)]
enum Told<'a> {
    Done(Report<'a>),
    Failed { input: String, error: serde_json::Value },
}

#[derive(serde::Serialize)]
struct All<'a> {
    files: Vec<Told<'a>>,
}

fn tell_as_json(jobs: &[Job], outcomes: &[Outcome]) -> Result<(), Failure> {
    let mut files = Vec::new();
    for (job, outcome) in jobs.iter().zip(outcomes) {
        files.push(match outcome {
            Ok(done) => Told::Done(Report::of(job, done)),
            Err(failure) => Told::Failed { input: job.input.shown(), error: report::value(failure) },
        });
    }
    files::print(&as_json(&All { files })).map_err(|e| e.although("what could be rewritten"))
}
