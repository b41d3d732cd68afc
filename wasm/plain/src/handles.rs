//! The maps and rewriters that a host holds. A handle is a number that is given once: one that was closed never means
//! something else.

use crate::fault::Fault;
use evengap::HeightMap;
use evengap::follow::{Rewriter, Summary};
use evengap::surface::Choice;

/// Maps and rewriters at a time: who has more forgets to close them.
pub(crate) const MOST_OPEN: usize = 1000;

/// What is open, by handle.
#[derive(Debug)]
pub(crate) struct Handles {
    /// In the order of their handles.
    open: Vec<(u32, Object)>,
    last: u32,
}

#[derive(Debug)]
pub(crate) enum Object {
    Map(Box<Map>),
    Rewriter(Stage),
}

/// A map, and why it has its surface where that was to be chosen.
#[derive(Debug)]
pub(crate) struct Map {
    pub(crate) map: HeightMap,
    pub(crate) choice: Option<Choice>,
}

/// How far a rewriter is.
#[derive(Debug)]
pub(crate) enum Stage {
    Running(Box<Rewriter>),
    Finished(Box<Summary>),
    /// A call has failed: what came out is of no use.
    Refused,
}

impl Handles {
    pub(crate) const fn new() -> Handles {
        Handles { open: Vec::new(), last: 0 }
    }

    pub(crate) fn add(&mut self, object: Object) -> Result<u32, Fault> {
        if self.open.len() >= MOST_OPEN {
            return Err(Fault::call(format!("{MOST_OPEN} maps and rewriters are open: close what is not needed")));
        }
        let Some(handle) = self.last.checked_add(1) else {
            return Err(Fault::call("all handles have been given: make a new instance".to_owned()));
        };
        self.last = handle;
        self.open.push((handle, object));
        Ok(handle)
    }

    pub(crate) fn map(&self, handle: u32) -> Result<&Map, Fault> {
        match &self.open[self.find(handle)?].1 {
            Object::Map(map) => Ok(map),
            Object::Rewriter(_) => Err(no_map(handle)),
        }
    }

    pub(crate) fn rewriter(&mut self, handle: u32) -> Result<&mut Stage, Fault> {
        let at = self.find(handle)?;
        match &mut self.open[at].1 {
            Object::Rewriter(stage) => Ok(stage),
            Object::Map(_) => Err(no_rewriter(handle)),
        }
    }

    pub(crate) fn close_map(&mut self, handle: u32) -> Result<(), Fault> {
        self.map(handle)?;
        self.close(handle)
    }

    pub(crate) fn close_rewriter(&mut self, handle: u32) -> Result<(), Fault> {
        self.rewriter(handle)?;
        self.close(handle)
    }

    fn close(&mut self, handle: u32) -> Result<(), Fault> {
        let at = self.find(handle)?;
        self.open.remove(at);
        Ok(())
    }

    fn find(&self, handle: u32) -> Result<usize, Fault> {
        self.open
            .binary_search_by_key(&handle, |o| o.0)
            .map_err(|_| Fault::call(format!("the handle {handle} is not open")))
    }
}

#[cold]
fn no_map(handle: u32) -> Fault {
    Fault::call(format!("the handle {handle} is a rewriter's, and a map's is needed"))
}

#[cold]
fn no_rewriter(handle: u32) -> Fault {
    Fault::call(format!("the handle {handle} is a map's, and a rewriter's is needed"))
}
