//! What two threads write to: block after block in their order, each by whichever thread has time for it.

use crate::files::Target;
use crate::report::Failure;
use std::collections::VecDeque;
use std::mem;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError, TryLockError};

/// Bytes that may wait to be written; a block that is larger by itself is not used again.
const WAITING: usize = 1024 * 1024;

pub(super) struct Sink {
    /// None once it has failed, or is not to be written to any more.
    target: Mutex<Option<Target>>,
    blocks: Mutex<VecDeque<Vec<u8>>>,
    empty: Mutex<Vec<Vec<u8>>>,
    /// The thread that makes the blocks has nothing to do.
    waits: AtomicBool,
}

impl Sink {
    pub(super) fn of(target: Target) -> Sink {
        Sink {
            target: Mutex::new(Some(target)),
            blocks: Mutex::default(),
            empty: Mutex::default(),
            waits: AtomicBool::new(false),
        }
    }

    /// Takes a block, which is empty afterwards; it is written now, unless it may wait and there is room for that.
    pub(super) fn put(&self, block: &mut Vec<u8>, may_wait: bool) -> Result<(), Failure> {
        let empty = lock(&self.empty).pop().unwrap_or_default();
        lock(&self.blocks).push_back(mem::replace(block, empty));
        let most = if may_wait { WAITING } else { 0 };
        while lock(&self.blocks).iter().map(Vec::len).sum::<usize>() > most {
            self.write(lock(&self.target))?;
        }
        Ok(())
    }

    /// Writes all that waits.
    pub(super) fn write_all(&self) -> Result<(), Failure> {
        while self.write(lock(&self.target))? {}
        Ok(())
    }

    /// Writes the block that comes next, if one waits and the other thread is not writing; whether it did.
    pub(super) fn write_meanwhile(&self) -> Result<bool, Failure> {
        match self.target.try_lock() {
            Ok(target) => self.write(target),
            Err(TryLockError::Poisoned(target)) => self.write(target.into_inner()),
            Err(TryLockError::WouldBlock) => Ok(false),
        }
    }

    /// Writes the block that comes next, if one waits; whether one did.
    fn write(&self, mut target: MutexGuard<'_, Option<Target>>) -> Result<bool, Failure> {
        // It is taken only by who may write, so that they are written in their order.
        let Some(mut block) = lock(&self.blocks).pop_front() else { return Ok(false) };
        if let Some(open) = target.as_mut() {
            let put = open.put(&block);
            if put.is_err() {
                *target = None;
            }
            put?;
        }
        if block.capacity() <= WAITING {
            block.clear();
            lock(&self.empty).push(block);
        }
        Ok(true)
    }

    /// Nothing is written any more: the target, if it has not failed. What waits is thrown away.
    pub(super) fn close(&self) -> Option<Target> {
        let target = lock(&self.target).take();
        lock(&self.blocks).clear();
        lock(&self.empty).clear();
        target
    }

    /// The thread that makes the blocks has nothing to do from here on, or has.
    pub(super) fn waits(&self, waits: bool) {
        self.waits.store(waits, Ordering::Relaxed);
    }

    pub(super) fn is_waited_for(&self) -> bool {
        self.waits.load(Ordering::Relaxed)
    }
}

/// Nothing that is locked is left half done.
fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}
