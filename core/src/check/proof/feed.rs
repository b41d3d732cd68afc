//! One of the two toolpaths: its lines as they come, and what is in force after the last that was read.

use super::ProofOptions;
use crate::Error;
use crate::sha256::Sha256;
use crate::toolpath::lines::{Lines, Piece as Part};
use crate::toolpath::words::{Kind, Line};
use crate::toolpath::{Reader, Step, long_line};
use std::collections::VecDeque;

/// A line that waits for its turn.
#[derive(Debug)]
pub(super) struct Row {
    pub(super) bytes: Vec<u8>,
    pub(super) ending: Vec<u8>,
    /// The rest of a line that is too long to hold: what is compared of it.
    pub(super) long: Option<Box<Sha256>>,
    pub(super) number: u64,
}

/// One toolpath's lines, as they come.
#[derive(Debug)]
pub(super) struct Feed {
    pub(super) lines: Lines,
    pub(super) rows: VecDeque<Row>,
    pub(super) number: u64,
    pub(super) reader: Reader,
    pub(super) line: Line,
    pub(super) moves: u64,
}

impl Feed {
    pub(super) fn new(options: &ProofOptions) -> Feed {
        let reader = Reader::new(options.reading);
        Feed { lines: Lines::default(), rows: VecDeque::new(), number: 0, reader, line: Line::default(), moves: 0 }
    }

    fn take(rows: &mut VecDeque<Row>, number: &mut u64, part: Part<'_>) {
        match part {
            Part::Line(bytes, ending) => {
                *number += 1;
                rows.push_back(Row { bytes: bytes.to_vec(), ending: ending.to_vec(), long: None, number: *number });
            }
            Part::LongStart(bytes) => {
                *number += 1;
                let mut sum = Sha256::new();
                sum.update(bytes);
                let long = Some(Box::new(sum));
                rows.push_back(Row { bytes: bytes.to_vec(), ending: Vec::new(), long, number: *number });
            }
            Part::LongMore(bytes) => {
                if let Some(Row { long: Some(hash), .. }) = rows.back_mut() {
                    hash.update(bytes);
                }
            }
            Part::LongEnd(ending) => {
                if let Some(row) = rows.back_mut() {
                    row.ending = ending.to_vec();
                }
            }
        }
    }

    pub(super) fn push(&mut self, bytes: &[u8]) {
        let Feed { lines, rows, number, .. } = self;
        let Ok(()) = lines.push(bytes, |part| -> Result<(), std::convert::Infallible> {
            Feed::take(rows, number, part);
            Ok(())
        });
    }

    pub(super) fn end(&mut self) {
        let Feed { lines, rows, number, .. } = self;
        let Ok(()) = lines.finish(|part| -> Result<(), std::convert::Infallible> {
            Feed::take(rows, number, part);
            Ok(())
        });
    }

    /// Whether the first row is whole: a long one may still grow.
    pub(super) fn ready(&self, ended: bool) -> bool {
        match self.rows.front() {
            Some(row) => row.long.is_none() || !row.ending.is_empty() || self.rows.len() > 1 || ended,
            None => false,
        }
    }

    /// Reads a row.
    pub(super) fn read(&mut self, row: &Row) -> Result<Step, Error> {
        self.line.read(&row.bytes);
        if row.long.is_some() {
            long_line(&self.line, &row.bytes, row.number)?;
            return Ok(Step::Still);
        }
        if self.line.kind == Kind::Blank {
            return Ok(Step::Still);
        }
        let step = self.reader.read(&self.line, &row.bytes, row.number)?;
        if step == Step::Move && names_axis_or_e(&self.line) {
            self.moves += 1;
        }
        Ok(step)
    }
}

fn names_axis_or_e(line: &Line) -> bool {
    b"XYZABCUVWEIJR".iter().any(|l| line.has(*l))
}
