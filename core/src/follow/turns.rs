//! What several threads do one after another: each step of a work is done to every piece, in the order of the pieces, by whichever thread has
//! the piece in hand.

use std::hint::spin_loop;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError, TryLockError};
use std::thread::yield_now;

/// How often it is asked whether a turn has come before others may have the core: about a microsecond,
const ASKED: u32 = 50;
/// and how often before the thread goes to sleep: longer than nearly any turn takes where each thread has a core. Where there are fewer, who has the turn
/// has the core meanwhile.
const ASKED_MORE: u32 = 1_000;

/// Waits until something is so, but not for ever.
fn wait_for(mut is_so: impl FnMut() -> bool) {
    for asked in 0..ASKED_MORE {
        if is_so() {
            return;
        }
        if asked < ASKED { spin_loop() } else { yield_now() }
    }
}

/// No turn comes any more.
const OVER: u64 = u64::MAX;

/// One step, and what it is done with: only by whose turn it is.
#[derive(Debug)]
pub(super) struct Stage<T> {
    /// The number of the piece whose turn it is.
    turn: AtomicU64,
    state: Mutex<T>,
    /// How many sleep until a turn has ended, and what wakes them: which is asked of the system only where there are any.
    asleep: AtomicU32,
    ended: Condvar,
}

impl<T> Stage<T> {
    /// The first turn is that of piece 0.
    pub(super) fn new(state: T) -> Self {
        Stage { turn: AtomicU64::new(0), state: Mutex::new(state), asleep: AtomicU32::new(0), ended: Condvar::new() }
    }

    /// Whether the turn of piece `n` has come, or none comes any more.
    #[inline]
    pub(super) fn has_come(&self, n: u64) -> bool {
        self.turn.load(Ordering::Acquire) >= n
    }

    /// No turn comes any more, after the one that somebody has.
    pub(super) fn end(&self) {
        let state = lock(&self.state);
        drop(Turn { stage: self, state, next: OVER });
    }

    /// Waits for the turn of piece `n`; `None` if none comes any more.
    pub(super) fn wait(&self, n: u64) -> Option<Turn<'_, T>> {
        wait_for(|| self.has_come(n));
        let mut state = lock_soon(&self.state);
        while !self.has_come(n) {
            self.asleep.fetch_add(1, Ordering::Relaxed);
            state = self.ended.wait(state).unwrap_or_else(PoisonError::into_inner);
            self.asleep.fetch_sub(1, Ordering::Relaxed);
        }
        (self.turn.load(Ordering::Acquire) == n).then_some(Turn { stage: self, state, next: OVER })
    }
}

/// A turn. When it is dropped without having been passed on, no other comes.
#[derive(Debug)]
pub(super) struct Turn<'a, T> {
    stage: &'a Stage<T>,
    pub(super) state: MutexGuard<'a, T>,
    next: u64,
}

impl<T> Turn<'_, T> {
    /// The next piece's turn has come.
    pub(super) fn pass_on(mut self) {
        // Only who has the turn changes it.
        self.next = self.stage.turn.load(Ordering::Relaxed) + 1;
    }
}

impl<T> Drop for Turn<'_, T> {
    fn drop(&mut self) {
        // The state is still locked: who is about to sleep has not asked yet, or sleeps and is counted.
        self.stage.turn.store(self.next, Ordering::Release);
        if self.stage.asleep.load(Ordering::Relaxed) > 0 {
            self.stage.ended.notify_all();
        }
    }
}

/// As [`lock`], where who has it has it for a while: asks for some time before the thread goes to sleep.
pub(super) fn lock_soon<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    wait_for(|| !matches!(of.try_lock(), Err(TryLockError::WouldBlock)));
    lock(of)
}

/// Nothing that is locked is left half done by who goes on.
pub(super) fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
#[expect(clippy::disallowed_methods, reason = "a test's threads, and its patience")]
mod tests {
    use super::*;
    use std::thread;
    use std::time::Duration;

    /// Three threads, two steps: all pieces come to both in their order, also where a thread sleeps that waits.
    #[test]
    fn every_piece_has_its_turn() {
        let [one, two] = [Stage::new(Vec::new()), Stage::new(Vec::new())];
        let next = AtomicU64::new(0);
        thread::scope(|scope| {
            for _ in 0..3 {
                scope.spawn(|| {
                    loop {
                        let n = next.fetch_add(1, Ordering::Relaxed);
                        if n >= 300 {
                            break;
                        }
                        for stage in [&one, &two] {
                            let mut turn = stage.wait(n).unwrap();
                            turn.state.push(n);
                            if n % 50 == 7 {
                                thread::sleep(Duration::from_millis(2));
                            }
                            turn.pass_on();
                        }
                    }
                });
            }
        });
        for stage in [one, two] {
            assert_eq!(stage.state.into_inner().unwrap(), (0..300).collect::<Vec<u64>>());
        }
    }

    /// Who waits for a turn that does not come is told, asleep or not; so it is where a thread fell.
    #[test]
    fn an_end_is_told_to_all() {
        let stage = Stage::new(());
        thread::scope(|scope| {
            let late = scope.spawn(|| {
                let first = stage.wait(0).unwrap();
                thread::sleep(Duration::from_millis(20));
                drop(first);
            });
            let waiting: Vec<_> = (1..4)
                .map(|n| {
                    scope.spawn({
                        let stage = &stage;
                        move || stage.wait(n).is_none()
                    })
                })
                .collect();
            assert!(waiting.into_iter().all(|thread| thread.join().unwrap()));
            late.join().unwrap();
        });
        assert!(stage.wait(1).is_none() && stage.wait(0).is_none() && stage.has_come(9));

        let fallen = Stage::new(());
        thread::scope(|scope| {
            let first = scope.spawn(|| {
                let _turn = fallen.wait(0).unwrap();
                panic!("it falls");
            });
            assert!(first.join().is_err());
        });
        assert!(fallen.wait(1).is_none());
    }
}
