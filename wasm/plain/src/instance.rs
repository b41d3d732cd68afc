//! What each exported function does.

use crate::buffers::Buffers;
use crate::fault::Fault;
use crate::handles::{Handles, Map, Object, Stage};
use evengap::figures::Figures;
use evengap::follow::{Options, Rewriter};
use evengap::known::Known;
use evengap::{Card, ErrorKind, HeightMap, Place, SurfaceKind};

/// All that there is between one call and the next.
#[derive(Debug)]
pub(crate) struct Instance {
    pub(crate) buffers: Buffers,
    pub(crate) handles: Handles,
    /// What the last call made ready.
    pub(crate) result: Vec<u8>,
    /// Of the last call that failed.
    pub(crate) fault: Option<Fault>,
}

impl Instance {
    pub(crate) const fn new() -> Instance {
        Instance { buffers: Buffers::new(), handles: Handles::new(), result: Vec::new(), fault: None }
    }

    pub(crate) fn map_open(&mut self, ptr: usize, len: usize, surface: u32) -> Result<u32, Fault> {
        let text = text(self.buffers.get(ptr, len)?, ErrorKind::Card, "the card")?;
        let kind = match surface {
            0 => Some(SurfaceKind::ThinPlate),
            1 => Some(SurfaceKind::Bilinear),
            2 => None,
            n => {
                return Err(Fault::call(format!(
                    "no surface has the number {n}: 0 thin-plate, 1 bilinear, 2 the better"
                )));
            }
        };
        let card = Card::parse(text)?;
        let (map, choice) = match kind {
            Some(kind) => (HeightMap::fit(&card, kind)?, None),
            None => HeightMap::fit_chosen(&card).map(|(map, choice)| (map, Some(choice)))?,
        };
        self.handles.add(Object::Map(Box::new(Map { map, choice })))
    }

    pub(crate) fn map_describe(&mut self, map: u32) -> Result<(), Fault> {
        self.result.clear();
        let Map { map, choice } = self.handles.map(map)?;
        let figures = Figures::of(map, *choice, Known::of(map).as_ref());
        self.result = evengap::json::write(&figures).into_bytes();
        Ok(())
    }

    pub(crate) fn map_heights(&mut self, map: u32, xy_ptr: usize, count: usize, out_ptr: usize) -> Result<(), Fault> {
        let map = &self.handles.map(map)?.map;
        let bytes =
            |each: usize| count.checked_mul(each).ok_or_else(|| Fault::call(format!("no memory holds {count} points")));
        let (xy, out) = self.buffers.two((xy_ptr, bytes(16)?), (out_ptr, bytes(8)?))?;
        let number = |bytes: &[u8; 8]| f64::from_le_bytes(*bytes);
        let (points, _) = xy.as_chunks::<8>().0.as_chunks::<2>();
        for ([x, y], height) in points.iter().zip(out.as_chunks_mut::<8>().0) {
            *height = map.height(number(x), number(y)).to_le_bytes();
        }
        Ok(())
    }

    pub(crate) fn rewriter_open(&mut self, map: u32, ptr: usize, len: usize) -> Result<u32, Fault> {
        let options = match text(self.buffers.get(ptr, len)?, ErrorKind::Options, "the options' text")? {
            "" => Options::default(),
            given => evengap::json::read(given).map_err(|message| {
                Fault::engine(ErrorKind::Options, format!("the options cannot be used: {message}"), None)
            })?,
        };
        let rewriter = Rewriter::new(&self.handles.map(map)?.map, options)?;
        self.handles.add(Object::Rewriter(Stage::Running(Box::new(rewriter))))
    }

    pub(crate) fn rewriter_push(&mut self, rewriter: u32, ptr: usize, len: usize) -> Result<(), Fault> {
        self.result.clear();
        let stage = self.handles.rewriter(rewriter)?;
        let Stage::Running(engine) = stage else { return Err(ended(stage)) };
        let bytes = self.buffers.get(ptr, len)?;
        if let Err(refusal) = evengap_quick::push(engine, bytes, &mut self.result) {
            *stage = Stage::Refused;
            self.result.clear();
            return Err(refusal.into());
        }
        Ok(())
    }

    pub(crate) fn rewriter_finish(&mut self, rewriter: u32) -> Result<(), Fault> {
        self.result.clear();
        let stage = self.handles.rewriter(rewriter)?;
        match core::mem::replace(stage, Stage::Refused) {
            Stage::Running(engine) => match evengap_quick::finish(*engine, &mut self.result) {
                Ok(summary) => {
                    *stage = Stage::Finished(Box::new(summary));
                    Ok(())
                }
                Err(refusal) => {
                    self.result.clear();
                    Err(refusal.into())
                }
            },
            other => {
                *stage = other;
                Err(ended(stage))
            }
        }
    }

    pub(crate) fn rewriter_summary(&mut self, rewriter: u32) -> Result<(), Fault> {
        self.result.clear();
        match self.handles.rewriter(rewriter)? {
            Stage::Finished(summary) => self.result = evengap::json::write(summary).into_bytes(),
            Stage::Running(_) => return Err(Fault::call("the toolpath has not been finished".to_owned())),
            stage @ Stage::Refused => return Err(ended(stage)),
        }
        Ok(())
    }

    pub(crate) fn error(&mut self) -> bool {
        self.result.clear();
        if let Some(fault) = &self.fault {
            self.result = fault.told().into_bytes();
        }
        self.fault.is_some()
    }

    pub(crate) fn result_address(&self) -> usize {
        if self.result.is_empty() { 0 } else { self.result.as_ptr().expose_provenance() }
    }
}

#[cold]
fn ended(stage: &Stage) -> Fault {
    let how = if matches!(stage, Stage::Refused) { "was refused" } else { "has been finished" };
    Fault::call(format!("this toolpath {how}: open a new rewriter for each"))
}

fn text<'a>(bytes: &'a [u8], kind: ErrorKind, what: &str) -> Result<&'a str, Fault> {
    core::str::from_utf8(bytes).map_err(|e| {
        let before = bytes.get(..e.valid_up_to()).unwrap_or_default();
        let line = before.split(|&b| b == b'\n');
        let column = line.clone().next_back().map_or(0, <[u8]>::len);
        let place = Place { line: line.count() as u64, column: column as u64 + 1 };
        Fault::engine(kind, format!("{what} is not UTF-8"), Some(place))
    })
}
