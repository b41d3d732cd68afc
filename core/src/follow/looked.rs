//! What was told of a piece of the toolpath before it is followed, and how it is taken then.

use super::bed::{Bed, Way};
use super::legs::{Course, Leg, Legs, Read, Room};
use super::path::Path;
use super::survey::Survey;
use crate::surface::sheet::Sheet;
use crate::toolpath::plain::{Passed, Passing, PlainLines};
use crate::toolpath::words::Line;
use crate::toolpath::{Arc, code};

/// A piece of a toolpath, and what was told of it. Of 64 KB, as the command reads them, it takes up to 3 MB.
#[derive(Debug, Default)]
pub struct Looked {
    pub(super) bytes: Vec<u8>,
    /// Whose heights they are.
    pub(super) sheet: Option<std::sync::Arc<Sheet>>,
    /// Plain moves that are followed, as far as `runs`: the rest is memory for more.
    pub(super) legs: Vec<Legs>,
    pub(super) runs: usize,
    /// Other lines of commands, as far as `many`: the rest is memory for more.
    pub(super) others: Vec<Told>,
    pub(super) many: usize,
    /// Lines that pass, and the E words of those that have amounts.
    pub(super) passed: Vec<Gone>,
    pub(super) amounts: Vec<f64>,
    /// Lines that would pass if nothing were followed where they stand, the last first.
    pub(super) glanced: Vec<Gone>,
}

/// Lines that pass where nothing is followed.
#[derive(Debug)]
pub(super) struct Gone {
    /// Bytes of the piece from the first of them on.
    pub(super) left: usize,
    pub(super) lines: Passed,
    /// The numbers of X, Y and E that came last; of E where it is a place.
    pub(super) numbers: [Option<f64>; 3],
    /// Which amounts are theirs, where E words are amounts.
    pub(super) amounts: Option<[usize; 2]>,
}

/// A line that was read ahead.
#[derive(Debug, Default)]
pub(super) struct Told {
    /// Bytes of the piece from this line on.
    pub(super) left: usize,
    pub(super) line: Line,
    /// Where it begins and ends, as far as it is guessed.
    pub(super) at: [[Option<f64>; 3]; 2],
    /// What was told of its way.
    pub(super) survey: Survey,
}

impl Told {
    /// Where it leads, if it is a motion from a place to another, and the bed is followed.
    pub(super) fn way(&self, bed: &Bed) -> Option<Way> {
        let [[x0, y0, z0], [x1, y1, z1]] = self.at;
        let (start, end, z) = ([x0?, y0?], [x1?, y1?], [z0?, z1?]);
        if !bed.is_followed(z) {
            return None;
        }
        let g = self.line.get(b'G').and_then(code)?;
        let closed = [(x0, x1), (y0, y1)].iter().all(|(a, b)| a.map(f64::to_bits) == b.map(f64::to_bits));
        let path = match g {
            0 | 10 => Path::straight(start, end),
            20 | 30 => {
                let [i, j] = [b'I', b'J'].map(|letter| self.line.number(letter));
                i.or(j)?;
                let centre = [start[0] + i.unwrap_or(0.0), start[1] + j.unwrap_or(0.0)];
                Path::arc(&Arc::about(centre, start, end, g == 20, closed), start, end)
            }
            _ => return None,
        };
        Some(Way { path, z })
    }
}

impl Gone {
    /// Lines that pass at the start of `rest`, if there are any; their E words are kept where they are amounts.
    pub(super) fn at(rest: &[u8], reader: &mut PlainLines, amounts: Option<&mut Vec<f64>>) -> Option<Gone> {
        let from = amounts.as_ref().map(|all| all.len());
        let (lines, amounts) = match amounts {
            Some(all) => (reader.pass_all(rest, Some(|amount| all.push(amount))), from.map(|from| [from, all.len()])),
            None => (reader.pass_all(rest, None::<fn(f64)>), None),
        };
        let [x, y, e] = lines.places();
        let e = if amounts.is_some() { 0 } else { e };
        let numbers = [x, y, e].map(|place| Passing::number(rest, place));
        (lines.lines() > 0).then_some(Gone { left: rest.len(), lines, numbers, amounts })
    }
}

impl Looked {
    /// The bytes, to be filled anew: what was told of them is forgotten. (The memory stays, for many pieces one after another.)
    pub fn refill(&mut self) -> &mut Vec<u8> {
        self.forget();
        self.bytes.clear();
        &mut self.bytes
    }

    pub(super) fn forget(&mut self) {
        self.sheet = None;
        (self.runs, self.many) = (0, 0);
        self.passed.clear();
        self.amounts.clear();
        self.glanced.clear();
    }

    /// The bytes.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The bytes, and what was told of them for who follows the bed of this sheet.
    pub(super) fn told(&mut self, sheet: &std::sync::Arc<Sheet>) -> (&[u8], Plains<'_>) {
        let same = self.sheet.as_ref().is_some_and(|own| std::sync::Arc::ptr_eq(own, sheet));
        if !same {
            return (&self.bytes, Plains::default());
        }
        let plains = Plains {
            legs: &mut self.legs[..self.runs],
            next: 0,
            others: &self.others[..self.many],
            passed: &self.passed,
            amounts: &self.amounts,
        };
        (&self.bytes, plains)
    }
}

/// The lines of the bytes in hand: read when they come, where they were not read ahead.
#[derive(Default)]
pub(super) struct Plains<'a> {
    legs: &'a mut [Legs],
    /// Legs before these lie behind.
    next: usize,
    others: &'a [Told],
    passed: &'a [Gone],
    amounts: &'a [f64],
}

impl<'a> Plains<'a> {
    /// The plain moves at the start of `rest`, all that is left of the bytes in hand: as they were told ahead, or as `own` tells them now;
    /// and whether the line behind them is none.
    #[inline]
    pub(super) fn legs<'p>(
        &'p mut self,
        (own, read, room): (&'p mut Legs, &mut Read, &mut Room),
        course: &Course,
        from: [f64; 2],
        bed: &mut Bed,
        rest: &[u8],
    ) -> (&'p [Leg], bool) {
        let left = rest.len();
        while let Some(first) = self.legs.get(self.next)
            && !cfg!(target_family = "wasm")
        {
            if !first.lie_before(left) {
                let Some(n) = first.find(left, course, from) else { break };
                let first = &mut self.legs[self.next];
                first.look_up(bed, room);
                return first.rest(n);
            }
            self.next += 1;
        }
        own.place(*course, from, bed, read, rest);
        own.look_up(bed, room);
        own.rest(0)
    }

    /// The lines that pass at the start of what is left, if they were told of, and their E words if these are amounts.
    #[inline]
    pub(super) fn passed(&mut self, left: usize, amounts: bool) -> Option<(&'a Gone, &'a [f64])> {
        while let Some((first, more)) = self.passed.split_first()
            && !cfg!(target_family = "wasm")
        {
            if first.left > left {
                self.passed = more;
                continue;
            }
            let told = first.left == left && first.amounts.is_some() == amounts;
            let [from, to] = first.amounts.unwrap_or_default();
            return told.then_some((first, self.amounts.get(from..to)?));
        }
        None
    }

    /// The line that is not plain at the start of what is left, if it was read ahead: after one that is no noise, it reads so.
    #[inline]
    pub(super) fn other(&mut self, left: usize) -> Option<&'a Told> {
        while let Some((first, more)) = self.others.split_first()
            && !cfg!(target_family = "wasm")
        {
            if first.left <= left {
                return (first.left == left).then_some(first);
            }
            self.others = more;
        }
        None
    }
}
