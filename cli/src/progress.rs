//! A bar on standard error while a long file is worked on, and only where a person is looking.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal as _;
use std::time::{Duration, Instant};

/// Work that ends sooner shows nothing.
const PATIENCE: Duration = Duration::from_secs(1);

pub(crate) struct Progress {
    began: Instant,
    total: Option<u64>,
    done: u64,
    wanted: bool,
    bar: Option<ProgressBar>,
}

impl Progress {
    /// `total` in bytes, where it is known.
    pub(crate) fn new(total: Option<u64>, quiet: bool) -> Progress {
        let wanted = !quiet && std::io::stderr().is_terminal();
        Progress { began: Instant::now(), total, done: 0, wanted, bar: None }
    }

    pub(crate) fn add(&mut self, bytes: usize) {
        self.done += u64::try_from(bytes).unwrap_or(0);
        if !self.wanted {
            return;
        }
        if self.bar.is_none() && self.began.elapsed() >= PATIENCE {
            self.bar = Some(bar(self.total));
        }
        if let Some(bar) = &self.bar {
            bar.set_position(self.done);
        }
    }

    /// Takes the bar away, so that the report stands on clean lines.
    pub(crate) fn finish(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

fn bar(total: Option<u64>) -> ProgressBar {
    let (bar, look) = match total {
        Some(total) => (ProgressBar::new(total), "{wide_bar} {bytes} of {total_bytes}"),
        None => (ProgressBar::new_spinner(), "{bytes} so far"),
    };
    bar.set_draw_target(ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template(look) {
        bar.set_style(style);
    }
    bar
}
