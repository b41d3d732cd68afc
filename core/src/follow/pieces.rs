//! Writing one motion as several pieces.

use super::compose::{Edits, Source, Value};
use super::held::{Ending, Written};
use super::ledger::{Decimal, MOST_DECIMALS, Spelling, exact};
use super::path::Path;
use super::rewriter::Work;
use super::split::Vertex;
use crate::toolpath::{AXES, Arc, Move};

/// All that the pieces of one move need.
pub(super) struct Plan<'a> {
    pub m: &'a Move,
    pub source: Source<'a>,
    pub path: Path,
    pub vertices: &'a [Vertex],
    pub z_how: Spelling,
    pub e_how: Spelling,
    pub e_delta: f64,
    pub factor: f64,
    /// The value of a line `G92 E` that comes first.
    pub before: Option<Decimal>,
}

impl Work {
    /// Writes a move as several pieces.
    #[inline]
    pub(super) fn pieces(&mut self, plan: &Plan<'_>, ending: &[u8], holds: Option<Ending>, out: &mut Vec<u8>) {
        let mut text = self.output.text();
        self.output.set_e_before(plan.source, plan.before, &mut text);
        let (absolute, unit) = (plan.z_how.absolute, plan.z_how.unit);
        let Plan { m, source, path, vertices, .. } = plan;
        let line = source.line;
        let is_arc = m.arc.is_some();
        let by_radius = m.arc.is_some_and(|a| !a.by_centre);
        let [z_before, z_after] = [m.before[2].register, m.after[2].register];
        let mut edits = core::mem::take(&mut self.edits);
        // For each of X, Y and the other axes: where the last piece ended, as written, from the move's start if relative.
        let mut told = [Decimal { units: 0, decimals: 0 }; 9];
        let mut start = [m.before[0].place(), m.before[1].place()];
        let mut share = 0.0;
        let (mut z_written, mut last_from) = (None, 0);
        let count = vertices.len();
        for (n, (t, offset)) in vertices.iter().enumerate() {
            let last = n + 1 == count;
            edits.clear();
            let place = path.at(*t);
            let mut end = place;
            for axis in [0, 1, 3, 4, 5, 6, 7, 8] {
                let letter = AXES[axis];
                let word = line.get(letter);
                let needed = axis < 2 && is_arc;
                if word.is_none() && !needed {
                    continue;
                }
                let [from, to] = match axis.checked_sub(3) {
                    Some(other) => [self.reader.others_before()[other], self.reader.state().others[other]],
                    None => [m.before[axis], m.after[axis]],
                };
                let [before, after] = [from.register, to.register];
                if axis > 2 && !from.known {
                    // Nobody knows where it starts: its word stays on the first piece.
                    if n == 0 {
                        edits.push((letter, Value::Own));
                    }
                    continue;
                }
                let spelt = plan.z_how.least + u8::from(is_arc);
                let decimals = word.and_then(|w| w.number).map_or(0, |n| n.decimals).clamp(spelt, MOST_DECIMALS);
                let target = match axis {
                    0 | 1 => place[axis] - from.shift,
                    _ => before + (after - before) * t,
                };
                let value = if last {
                    match (word, absolute) {
                        (Some(_), true) => Value::Own,
                        (Some(w), false) => Value::New(source.digits(w).minus(told[axis])),
                        (None, true) => Value::New(exact(after / unit)),
                        (None, false) => Value::New(exact((after - before) / unit).minus(told[axis])),
                    }
                } else {
                    let base = if absolute { 0.0 } else { before };
                    let d = Decimal::round((target - base) / unit, decimals);
                    let step = if absolute { d } else { d.minus(told[axis]) };
                    told[axis] = d;
                    if axis < 2 {
                        end[axis] = d.value() * unit + base + from.shift;
                    }
                    Value::New(step)
                };
                edits.push((letter, value));
            }
            // Z always stands on a piece: between vertices it is what changes.
            let z_from = z_before + (z_after - z_before) * share;
            let z_to = if last { z_after } else { z_before + (z_after - z_before) * t };
            let aim = offset + self.z.skew;
            z_written = Some(Written {
                z_before: self.z,
                register: z_to,
                delta: z_to - z_from,
                how: plan.z_how,
                changed: true,
            });
            let z_may_stay = last && line.has(b'Z') && absolute && self.z.may_stay(aim, plan.z_how);
            if z_may_stay {
                self.z.stay(plan.z_how);
                edits.push((b'Z', Value::Own));
            } else {
                edits.push((b'Z', Value::New(self.z.write(z_to, z_to - z_from, aim, plan.z_how).into())));
            }
            if let Some(arc) = m.arc
                && (n > 0 || by_radius)
            {
                self.centre(plan, &arc, start, &mut edits);
            }
            if line.has(b'E') {
                let piece = plan.e_delta * (t - share);
                self.e.aim += piece * (plan.factor - 1.0);
                let register = if last { m.e_after } else { m.e_before + plan.e_delta * t };
                let own = last && plan.e_how.absolute && self.e.may_stay(self.e.aim, plan.e_how);
                if own {
                    self.e.stay(plan.e_how);
                    edits.push((b'E', Value::Own));
                } else {
                    edits.push((b'E', Value::New(self.e.write(register, piece, self.e.aim, plan.e_how).into())));
                }
            }
            last_from = text.len() + if n == 0 { 0 } else { self.output.end_of_line().len() };
            if n == 0 {
                self.output.first_piece(*source, &edits, by_radius.then_some(b'R'), &mut text);
            } else {
                self.output.later_piece(*source, &edits, &mut text);
            }
            share = *t;
            start = end;
        }
        let length = text.len() - last_from;
        text.extend_from_slice(ending);
        self.output.changed(text, out);
        self.edits = edits;
        if let (Some(end), Some(written)) = (holds, z_written) {
            self.hold(end, written, None, [length, ending.len()], out);
        }
    }

    /// The words of an arc's centre, seen from where the piece starts.
    #[inline]
    fn centre(&self, plan: &Plan<'_>, arc: &Arc, start: [f64; 2], edits: &mut Edits) {
        let line = plan.source.line;
        let unit = plan.z_how.unit;
        let absolute = self.reader.state().centres_absolute;
        let decimals = |l| line.get(l).and_then(|w| w.number).map_or(0, |n| n.decimals);
        // A digit more than the ends, so that the pieces keep to one circle.
        let decimals = decimals(b'I').max(decimals(b'J')).clamp(plan.z_how.least + 1, MOST_DECIMALS);
        for (axis, letter) in [b'I', b'J'].into_iter().enumerate() {
            let from = if absolute { plan.m.before[axis].shift } else { start[axis] };
            let value = if absolute && line.has(letter) {
                Value::Own
            } else {
                Value::New(Decimal::round((arc.centre[axis] - from) / unit, decimals))
            };
            edits.push((letter, value));
        }
    }
}
