//! Whether what was changed had to be: lines that would have done as they were, and pieces that one could replace.

use super::definition::{count, offset, point, samples};
use super::walk::{Lost, Walk, text};
use super::{What, fewest, least};
use crate::dec::{Dec, places};
use crate::machine::{Motion, State, Step, X, Y, Z, step};
use crate::path::Path;

impl Walk<'_> {
    /// How few pieces could make this move, which need not join; and how few that do.
    pub(super) fn least(&self, motion: &Motion) -> [usize; 2] {
        let Some(path) = motion.path else { return [1; 2] };
        let samples: Vec<[f64; 2]> = (0..=400)
            .map(|k| {
                let t = count(k) / 400.0;
                let on = point(motion, &path, t);
                [t, on[2] + offset(on, self.h, self.rules)]
            })
            .collect();
        let free = least::pieces(&samples, self.rules.tolerance + self.rules.z_half_unit);
        [free, fewest::pieces(&samples, self.rules.tolerance)]
    }

    /// Counts neighbouring pieces that one piece could replace.
    pub(super) fn merge(
        &mut self,
        i: usize,
        motion: &Motion,
        path: &Path,
        begin: usize,
        pieces: usize,
    ) -> Result<(), Lost> {
        let mut fraction = 0.0;
        let mut joints = vec![(0.0, self.new[begin].motion().and_then(|m| m.start[Z]).unwrap_or_default().f64())];
        for k in 0..pieces {
            let after = &self.new[begin + k].after;
            let (Some(x), Some(y), Some(z)) = (after.at[X], after.at[Y], after.at[Z]) else { return Ok(()) };
            fraction = if k + 1 == pieces { 1.0 } else { path.fraction([x.f64(), y.f64()], fraction + 0.49) };
            joints.push((fraction, z.f64()));
        }
        for k in 0..pieces - 1 {
            let ((f0, a), (f1, b)) = (joints[k], joints[k + 2]);
            let n = samples(path.length() * (f1 - f0), self.rules);
            let fits = (0..=n).all(|s| {
                let t = count(s) / count(n);
                let on = point(motion, path, f0 + t * (f1 - f0));
                (a + t * (b - a) - on[2] - offset(on, self.h, self.rules)).abs() <= self.rules.tolerance
            });
            if fits {
                self.report.mergeable += 1;
                if self.rules.fewest {
                    self.j = begin + k;
                    self.fault(What::Split, i, "as few pieces as the tolerance allows", "two that could be one")?;
                    self.j = begin + pieces - 1;
                }
            }
        }
        Ok(())
    }

    /// A line that differs must have had to: executed as it was, on the rewritten machine, it would have been wrong; or the next
    /// move is so long that it matters where within the tolerance it begins.
    pub(super) fn needed(
        &mut self,
        i: usize,
        motion: &Motion,
        begin: usize,
        pieces: usize,
        before: &State,
        settled: bool,
    ) -> Result<(), Lost> {
        let (old, new) = (&self.old[i], &self.new[begin]);
        let numbers =
            |s: &Step<'_>| -> Vec<(u8, Option<Dec>)> { s.words.iter().map(|w| (w.letter, w.value)).collect() };
        let respelt = pieces == 1 && numbers(old) == numbers(new);
        let would = step(old.line.clone(), before, self.rules.setup);
        let idle = would.motion().is_some_and(|m| self.would_do(i, motion, m, begin, pieces, &would, settled));
        if respelt || idle && !self.next_is_bent(i) {
            let (expected, found) = (text(old), text(new));
            let why = if respelt { "the same numbers" } else { "it meets the definition as it is" };
            self.fault(What::Bytes, i, &format!("{expected}, as {why}"), &found)?;
        }
        Ok(())
    }

    /// Whether the next move that travels begins where line `i` ends and leaves, with both ends where the definition puts
    /// them, the definition by more than half the tolerance.
    fn next_is_bent(&self, i: usize) -> bool {
        for step in &self.old[i + 1..] {
            let Some(m) = step.motion() else { continue };
            let (true, Some(path)) = (m.known() && m.travels(), m.path) else {
                if step.words.iter().any(|w| b"XYZ".contains(&w.letter)) {
                    return false;
                }
                continue;
            };
            let lift = |t: f64| offset(point(m, &path, t), self.h, self.rules);
            let (a, b) = (lift(0.0), lift(1.0));
            let n = samples(path.length(), self.rules);
            return (0..=n).any(|s| {
                let t = count(s) / count(n);
                (a + t * (b - a) - lift(t)).abs() > self.rules.tolerance / 2.0
            });
        }
        false
    }

    #[expect(clippy::too_many_arguments, reason = "a line, its move, its pieces and the same line tried out")]
    fn would_do(
        &self,
        i: usize,
        motion: &Motion,
        would: &Motion,
        begin: usize,
        pieces: usize,
        after: &Step<'_>,
        settled: bool,
    ) -> bool {
        let Some(at) = self.old[i].after.xyz() else {
            // Nothing is known, so nothing but E can have needed a change.
            return (after.after.filament.f64() - self.exact).abs() < 0.45 * self.unit(b'E', 5, begin, pieces);
        };
        if (after.after.filament.f64() - self.exact).abs() > 0.45 * self.unit(b'E', 5, begin, pieces) {
            return false;
        }
        let lift = offset(at, self.h, self.rules);
        let unit = self.unit(b'Z', 3, begin, pieces);
        let Some(z) = would.end[Z].map(Dec::f64) else { return false };
        if (z - at[2] - lift).abs() > 0.45 * unit || would.end[X] != motion.end[X] || would.end[Y] != motion.end[Y] {
            return false;
        }
        if !motion.known() || !motion.travels() {
            return true;
        }
        let (true, Some(path), Some(a)) = (settled, motion.path, would.start[Z].map(Dec::f64)) else { return false };
        // Half the tolerance: a careful rewriter may be a little earlier in splitting than it must.
        let n = samples(path.length(), self.rules);
        (0..=n).all(|s| {
            let t = count(s) / count(n);
            let on = point(motion, &path, t);
            (a + t * (z - a) - on[2] - offset(on, self.h, self.rules)).abs() <= self.rules.tolerance / 2.0
        })
    }

    /// The last digit's unit of a word as written on these pieces, mm: of at least `least` places.
    fn unit(&self, letter: u8, least: usize, begin: usize, pieces: usize) -> f64 {
        let pieces = &self.new[begin..begin + pieces];
        let written = pieces.iter().filter_map(|s| s.word(letter)).map(|w| places(&w.text)).max().unwrap_or(0);
        let places = i32::try_from(written.max(least)).unwrap_or(i32::MAX);
        let inch = if pieces.iter().any(|s| s.after.modes.inches) { 25.4 } else { 1.0 };
        10.0_f64.powi(-places) * inch
    }
}
