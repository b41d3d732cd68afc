//! The walk along both files, side by side.

use super::definition::{count, flow, offset, point, samples};
use super::{Fault, Report, Rules, What, numbering};
use crate::dec::Dec;
use crate::machine::{Kind, LETTERS, Motion, State, Step, Word, X, Y, Z, run};
use crate::path::Path;

/// The two files cannot be laid side by side any more, or there are faults enough.
pub(super) struct Lost;

pub(super) struct Walk<'a> {
    pub(super) rules: &'a Rules,
    pub(super) h: &'a dyn Fn(f64, f64) -> f64,
    pub(super) old: Vec<Step<'a>>,
    pub(super) new: Vec<Step<'a>>,
    /// The next line of the rewritten file.
    pub(super) j: usize,
    /// Exact filament so far, mm.
    pub(super) exact: f64,
    /// Half a unit of E at the last change, mm.
    pub(super) e_slack: f64,
    /// The rewritten machine stands where the definition wants it, as far as is known.
    pub(super) settled: bool,
    /// Something differed already.
    pub(super) changed: bool,
    /// From this index on lines must be the same: the taper has ended for good.
    pub(super) tail: Option<usize>,
    pub(super) tail_g92: usize,
    pub(super) faults: Vec<Fault>,
    pub(super) report: Report,
}

impl<'a> Walk<'a> {
    pub(super) fn new(
        original: &'a [u8],
        rewritten: &'a [u8],
        h: &'a dyn Fn(f64, f64) -> f64,
        rules: &'a Rules,
    ) -> Walk<'a> {
        let old = run(original, rules.setup);
        let new = run(rewritten, rules.setup);
        let tail = tail(&old, rules);
        Walk {
            rules,
            h,
            old,
            new,
            j: 0,
            exact: 0.0,
            e_slack: rules.e_half_unit,
            settled: false,
            changed: false,
            tail,
            tail_g92: 0,
            faults: Vec::new(),
            report: Report::default(),
        }
    }

    pub(super) fn judge(mut self, original: &[u8], rewritten: &[u8]) -> Result<Report, Vec<Fault>> {
        let bom = |bytes: &[u8]| bytes.starts_with(b"\xef\xbb\xbf");
        if bom(original) != bom(rewritten) {
            let say = |b| if b { "a BOM" } else { "no BOM" }.to_owned();
            self.faults.push(Fault {
                what: What::Bytes,
                original: 1,
                rewritten: Some(1),
                expected: say(bom(original)),
                found: say(bom(rewritten)),
            });
        }
        self.report.moves_in = self.old.iter().filter(|s| s.motion().is_some()).count();
        self.report.moves_out = self.new.iter().filter(|s| s.motion().is_some()).count();
        let whole = self.all().is_ok();
        if whole {
            let numbering = numbering::faults(&self.old, &self.new);
            self.faults.extend(numbering);
            if self.report.largest_offset == 0.0 && original != rewritten {
                self.faults.push(Fault {
                    what: What::Bytes,
                    original: 1,
                    rewritten: Some(1),
                    expected: "the original's bytes, as no point of it is to be moved".into(),
                    found: "others".into(),
                });
            }
            if self.changed && self.report.marker.is_none() {
                self.faults.push(Fault {
                    what: What::Marker,
                    original: 1,
                    rewritten: None,
                    expected: "a marker comment before the first line that changes".into(),
                    found: "none".into(),
                });
            }
        }
        self.report.filament_in = self.old.last().map_or(0.0, |s| s.after.filament.f64());
        self.report.filament_out = self.new.last().map_or(0.0, |s| s.after.filament.f64());
        if self.faults.is_empty() && whole { Ok(self.report) } else { Err(self.faults) }
    }

    fn all(&mut self) -> Result<(), Lost> {
        for i in 0..self.old.len() {
            let changed = self.changed;
            let marker = self.insertions(i)?;
            match &self.old[i].kind {
                Kind::Motion(m) => {
                    let motion = (**m).clone();
                    self.motion(i, &motion)?;
                }
                _ => self.plain(i)?,
            }
            if marker && (changed || !self.changed) {
                let found = if changed { "something changed before it" } else { "the next line is not changed" };
                self.fault(What::Marker, i, "the marker right before the first line that changes", found)?;
            }
        }
        if self.insertions(self.old.len())? {
            self.fault(What::Marker, self.old.len() - 1, "the marker before a line that changes", "it at the end")?;
        }
        if let Some(extra) = self.new.get(self.j) {
            let found = text(extra);
            self.fault(What::Extra, self.old.len().saturating_sub(1), "the end of the file", &found)?;
            return Err(Lost);
        }
        Ok(())
    }

    /// Notes a fault at original line index `i` and the rewritten line at hand.
    pub(super) fn fault(&mut self, what: What, i: usize, expected: &str, found: &str) -> Result<(), Lost> {
        self.faults.push(Fault {
            what,
            original: self.old.get(i).map_or(0, |s| s.line.number),
            rewritten: self.new.get(self.j).map(|s| s.line.number),
            expected: expected.to_owned(),
            found: found.to_owned(),
        });
        if self.faults.len() >= self.rules.most_faults { Err(Lost) } else { Ok(()) }
    }

    /// Original state before line index `i`.
    fn old_before(&self, i: usize) -> State {
        if i == 0 { State::new(self.rules.setup) } else { self.old[i - 1].after.clone() }
    }

    /// Rewritten state before the line at hand.
    fn new_before(&self) -> State {
        if self.j == 0 { State::new(self.rules.setup) } else { self.new[self.j - 1].after.clone() }
    }

    /// Steps over the marker and inserted `G92 E` lines that stand before original line index `i`.
    fn insertions(&mut self, i: usize) -> Result<bool, Lost> {
        let mut marker = false;
        while let Some(new) = self.new.get(self.j) {
            if self.old.get(i).is_some_and(|old| same(old, new)) {
                break;
            }
            if matches!(new.kind, Kind::Blank) && !new.line.comments.is_empty() {
                if self.report.marker.is_some() {
                    break;
                }
                self.report.marker = Some(new.line.number);
                marker = true;
            } else if new.is_g92_of(b"E") {
                let register = self.old_before(i).e;
                if (new.after.e - register).f64().abs() > self.e_slack + 1e-9 {
                    let found = new.after.e.to_string();
                    self.fault(What::G92, i, &format!("an E register of {register}, as in the original"), &found)?;
                }
                self.report.inserted_g92 += 1;
                self.changed = true;
                if self.tail.is_some_and(|tail| i >= tail) {
                    self.tail_g92 += 1;
                    if self.tail_g92 > 1 {
                        self.fault(What::Extra, i, "at most one G92 E after the taper", "another")?;
                    }
                }
            } else {
                break;
            }
            self.j += 1;
        }
        Ok(marker)
    }

    /// A line of the original that is no motion.
    fn plain(&mut self, i: usize) -> Result<(), Lost> {
        let expected = text(&self.old[i]);
        if self.new.get(self.j).is_none_or(|new| new.motion().is_some()) {
            let found = self.new.get(self.j).map_or("the end of the file".to_owned(), text);
            self.fault(What::Missing, i, &expected, &found)?;
            return Err(Lost);
        }
        let before = self.old_before(i);
        let (old, new) = (&self.old[i], &self.new[self.j]);
        let found = text(new);
        let identical = same(old, new);
        let moved = before.at[Z] != self.new_before().at[Z];
        if matches!(old.kind, Kind::Doubt(_)) {
            self.report.doubts += 1;
        }
        if old.is_g92() && old.word(b'Z').is_some() && before.at[Z].is_some() && new.is_g92() {
            let wrong = (new.after.offset[Z] - old.after.offset[Z]).f64();
            let right = new.after.at[Z].unwrap_or_default() - old.after.offset[Z];
            let others = |s: &Step<'_>| -> Vec<Word> { s.words.iter().filter(|w| w.letter != b'Z').cloned().collect() };
            let others_differ = others(old) != others(new) || old.line.comments != new.line.comments;
            let respelt = old.words == new.words && !identical;
            if wrong.abs() > self.rules.z_half_unit + 1e-9 {
                self.fault(What::G92, i, &format!("Z at {right} mm, to keep the compensation"), &found)?;
            }
            if others_differ {
                self.fault(What::Command, i, &expected, &found)?;
            }
            if (respelt || !moved) && !identical {
                self.fault(What::Bytes, i, &expected, &found)?;
            }
        } else if !identical {
            self.fault(What::Command, i, &expected, &found)?;
            if std::mem::discriminant(&self.old[i].kind) != std::mem::discriminant(&self.new[self.j].kind) {
                return Err(Lost);
            }
        }
        self.line_end(i, self.j, true)?;
        self.modes(i)?;
        self.tally(i, identical)?;
        let known = before.xyz().is_some() && self.old[i].after.xyz().is_some();
        self.settled &= known;
        self.j += 1;
        Ok(())
    }

    /// Counts a line as the same or changed, and holds the tail to be the same.
    fn tally(&mut self, i: usize, identical: bool) -> Result<(), Lost> {
        if identical {
            self.report.same_lines += 1;
            return Ok(());
        }
        self.report.changed_lines += 1;
        self.changed = true;
        if self.tail.is_some_and(|tail| i >= tail) {
            let (expected, found) = (text(&self.old[i]), self.new.get(self.j).map_or(String::new(), text));
            self.fault(What::Bytes, i, &format!("{expected}, as the taper has ended"), &found)?;
        }
        Ok(())
    }

    fn line_end(&mut self, i: usize, j: usize, last: bool) -> Result<(), Lost> {
        let (want, have) = (self.old[i].line.end, self.new[j].line.end);
        let right = if want.is_empty() && !last { !have.is_empty() } else { want == have };
        if right { Ok(()) } else { self.fault(What::LineEnd, i, &format!("{want:?}"), &format!("{have:?}")) }
    }

    /// Whatever stays in force must be the same after the line.
    fn modes(&mut self, i: usize) -> Result<(), Lost> {
        let (want, have) = (&self.old[i].after.modes, &self.new[self.j].after.modes);
        if want == have {
            return Ok(());
        }
        let what = if want.feed == have.feed { What::Mode } else { What::Feed };
        let (want, have) = (format!("{want:?}"), format!("{have:?}"));
        self.fault(what, i, &want, &have)
    }

    fn motion(&mut self, i: usize, motion: &Motion) -> Result<(), Lost> {
        let begin = self.j;
        let before = self.new_before();
        let travels = motion.known() && motion.travels();
        let pieces = if travels { self.pieces(i, motion)? } else { 1 };
        if self.new.get(begin).is_none_or(|new| new.motion().is_none()) {
            let expected = text(&self.old[i]);
            let found = self.new.get(begin).map_or("the end of the file".to_owned(), text);
            self.fault(What::Missing, i, &expected, &found)?;
            return Err(Lost);
        }
        let factor = flow(motion, self.h, self.rules);
        let start_exact = self.exact;
        self.exact += motion.e.f64() * factor;
        self.e_unit(i, begin, pieces);
        let [least, fewest] = if pieces > 1 { self.least(motion) } else { [1; 2] };
        self.report.moves_least += least;
        if pieces > 1 {
            self.report.pieces += pieces;
            self.report.pieces_fewest += fewest;
        }
        let was_settled = self.settled;
        let identical = pieces == 1 && same(&self.old[i], &self.new[begin]);
        self.tally(i, identical)?;

        if travels {
            self.report.judged += 1;
            self.follow(i, motion, begin, pieces, start_exact)?;
        } else {
            self.stay(i, motion)?;
        }
        for k in 0..pieces {
            self.j = begin + k;
            self.piece_words(i, motion, k, k + 1 == pieces)?;
        }
        self.comments(i, begin, pieces)?;
        self.j = begin + pieces - 1;
        self.total(i)?;
        self.modes(i)?;
        self.floor(i)?;
        if !identical {
            self.needed(i, motion, begin, pieces, &before, was_settled)?;
        }
        self.j = begin + pieces;
        Ok(())
    }

    /// How many rewritten motions in a row make this one: up to the first that ends at its end.
    fn pieces(&mut self, i: usize, motion: &Motion) -> Result<usize, Lost> {
        let begin = self.j;
        let target = [motion.end[X], motion.end[Y]];
        let Some(path) = motion.path else { return Ok(1) };
        let mut fraction = 0.0;
        while let Some(piece) = self.new.get(self.j).and_then(Step::motion).cloned() {
            let pieces = self.j - begin + 1;
            if at_one_place(piece.end[X], target[0]) && at_one_place(piece.end[Y], target[1]) {
                self.j = begin;
                return Ok(pieces + self.steep(i, motion, &path, begin + pieces));
            }
            let (Some(x), Some(y)) = (piece.end[X], piece.end[Y]) else { break };
            let end = [x.f64(), y.f64()];
            // Looking ahead by nearly half: a piece may be most of a full circle, whose places come round again.
            fraction = path.fraction(end, fraction + 0.49);
            let next_hits = self
                .new
                .get(self.j + 1)
                .and_then(Step::motion)
                .is_some_and(|next| at_one_place(next.end[X], target[0]) && at_one_place(next.end[Y], target[1]));
            if path.distance(end, 1.0) < 0.001_5 && fraction > 0.5 && !next_hits {
                let found = format!("X{x} Y{y}");
                self.fault(What::WrongEnd, i, &shown(target), &found)?;
                self.j = begin;
                return Ok(pieces);
            }
            if path.distance(end, fraction.clamp(0.0, 1.0)) > 0.05 {
                break;
            }
            self.j += 1;
        }
        let found = self.new.get(self.j).map_or("the end of the file".to_owned(), text);
        let expected = format!("{} to end at {}", text(&self.old[i]), shown(target));
        self.fault(What::Missing, i, &expected, &found)?;
        Err(Lost)
    }

    /// More pieces from index `j` on that stay at the end in X and Y: where a move is so steep that its split points
    /// fall on the end when they are rounded.
    fn steep(&self, i: usize, motion: &Motion, path: &Path, j: usize) -> usize {
        let climb = motion.start[Z].zip(motion.end[Z]).map_or(0.0, |(a, b)| (b - a).f64().abs());
        let next_stays = self.old.get(i + 1).and_then(Step::motion).is_some_and(|next| !next.travels());
        if climb < path.length() || next_stays {
            return 0;
        }
        self.new[j..].iter().take_while(|s| s.motion().is_some_and(|m| !m.travels())).count()
    }

    /// Half a unit of E from here on, where E was changed on this line.
    fn e_unit(&mut self, i: usize, begin: usize, pieces: usize) {
        let e = |s: &Step<'_>| s.word(b'E').map(|w| w.text.clone());
        let inches = self.new[begin].after.modes.inches;
        let changed = pieces > 1 || e(&self.old[i]) != e(&self.new[begin]);
        // An unchanged word may be the exact value rounded, which shows only where the unit is coarse.
        if (changed || inches) && self.new[begin].word(b'E').is_some() {
            self.e_slack = self.rules.e_half_unit * if inches { 25.4 } else { 1.0 };
        }
    }

    /// A motion with XY travel of which all is known: every piece along the path.
    fn follow(&mut self, i: usize, motion: &Motion, begin: usize, pieces: usize, start_exact: f64) -> Result<(), Lost> {
        let Some(path) = motion.path else { return Ok(()) };
        let length = path.length();
        let slack = match path {
            Path::Straight { .. } => self.rules.xy_slack,
            Path::Arc(_) => 2.0 * self.rules.xy_slack + path.mismatch(),
        } + 1e-9;
        let (z0, z1) = (motion.start[Z].unwrap_or_default().f64(), motion.end[Z].unwrap_or_default().f64());
        // A split point is rounded in X and Y, so its place on the path is known to this fraction only.
        let loose = if length > 0.0 { self.rules.xy_slack / length } else { 0.0 };
        let z_slack = self.rules.tolerance + self.rules.z_half_unit + (z1 - z0).abs() * loose.min(1.0) + 1e-9;
        let mut fraction = 0.0_f64;
        let mut settled = self.settled;
        // What is missing at the start where the nozzle was not yet brought to the definition. A move in one piece
        // cannot but fade it out evenly along the way; a move in several may, too.
        let first = self.new[begin].motion().and_then(|m| m.start[Z]).map_or(0.0, Dec::f64);
        let on = point(motion, &path, 0.0);
        let missing = if settled { 0.0 } else { first - on[2] - offset(on, self.h, self.rules) };
        for k in 0..pieces {
            self.j = begin + k;
            let Some(piece) = self.new[self.j].motion().cloned() else { return Err(Lost) };
            let Some(way) = piece.path else {
                return self.fault(What::OffPath, i, "a piece in known X and Y", "an unknown one");
            };
            // Start, end and centre are each rounded.
            let unround = 3.0 * self.rules.xy_slack + path.mismatch();
            if way.mismatch() > unround + 1e-9 {
                let found = format!("{:.5}", way.mismatch());
                self.fault(What::OffPath, i, &format!("radii at the ends within {unround:.5} mm"), &found)?;
            }
            let (a, b) = (piece.start[Z], piece.end[Z]);
            let (Some(a), Some(b)) = (a.map(Dec::f64), b.map(Dec::f64)) else {
                return self.fault(What::Z, i, "a known Z", "an unknown one");
            };
            if !piece.travels() && (z1 - z0).abs() < length {
                let found = text(&self.new[self.j]);
                self.fault(What::Extra, i, "pieces that each go on in X or Y", &found)?;
            }
            let share = if length > 0.0 { way.length() / length } else { 1.0 };
            let n = samples(way.length(), self.rules).max(scaled(64, share));
            let last = k + 1 == pieces;
            let (mut told_xy, mut told_back, mut told_z) = (false, false, false);
            for s in 0..=n {
                let t = count(s) / count(n);
                let at = way.at(t);
                let f = if last && s == n { 1.0 } else { path.fraction(at, fraction) };
                let inside = f.clamp(0.0, 1.0);
                let off = path.distance(at, inside);
                self.report.worst_xy = self.report.worst_xy.max(off);
                if off > slack && !told_xy {
                    told_xy = true;
                    let want = path.at(inside);
                    let found = format!("{at:?}, {off:.6} mm off");
                    self.fault(What::OffPath, i, &format!("{want:?} within {slack:.6} mm"), &found)?;
                }
                if f < fraction - 2.0 * loose - 1e-9 && !told_back {
                    told_back = true;
                    let found = format!("{f:.6}");
                    self.fault(What::Backwards, i, &format!("more than {fraction:.6} of the way"), &found)?;
                }
                fraction = f;
                let on = point(motion, &path, inside);
                let lift = offset(on, self.h, self.rules);
                self.report.largest_offset = self.report.largest_offset.max(lift.abs());
                let (want, have) = (on[2] + lift, a + t * (b - a));
                let faded = (have - want - missing * (1.0 - inside)).abs();
                let wrong = (have - want).abs().min(faded);
                if settled || s == n {
                    self.report.worst_z = self.report.worst_z.max(wrong);
                    if wrong > z_slack && !told_z {
                        told_z = true;
                        let found = format!("{have:.5}, {wrong:.5} mm off");
                        let place = format!("Z {want:.5} within {z_slack:.5} mm at X {:.3} Y {:.3}", on[0], on[1]);
                        self.fault(What::Z, i, &place, &found)?;
                    }
                }
            }
            settled = true;
            if !last {
                self.share(i, motion, fraction, start_exact, length)?;
            }
        }
        self.settled = true;
        if pieces > 1 {
            self.merge(i, motion, &path, begin, pieces)?;
        }
        self.end(i, motion)
    }

    /// A motion without XY travel, or of which not all is known: one line.
    fn stay(&mut self, i: usize, motion: &Motion) -> Result<(), Lost> {
        let Some(piece) = self.new[self.j].motion().cloned() else { return Err(Lost) };
        let start_known = self.old_before(i).xyz().is_some();
        let elsewhere = [X, Y].iter().any(|&axis| {
            let off = piece.end[axis].zip(motion.end[axis]).map_or(0.0, |(a, b)| (a - b).f64().abs());
            off > 0.001_5
        });
        if start_known && elsewhere {
            let (expected, found) = (text(&self.old[i]), text(&self.new[self.j]));
            self.fault(What::Missing, i, &expected, &found)?;
            return Err(Lost);
        }
        let at = self.old[i].after.xyz();
        let want = at.map(|at| {
            let lift = offset(at, self.h, self.rules);
            self.report.largest_offset = self.report.largest_offset.max(lift.abs());
            at[2] + lift
        });
        let have = piece.end[Z].map(Dec::f64);
        let wrong = want.zip(have).map(|(want, have)| (want - have).abs());
        let right = wrong.is_some_and(|wrong| wrong <= self.rules.tolerance + self.rules.z_half_unit + 1e-9);
        // A line that commands no axis is left alone where the nozzle has not yet been brought to the definition.
        let commands = self.old[i].words.iter().any(|w| b"XYZ".contains(&w.letter));
        if start_known && (self.settled || commands) {
            if let (false, Some(want)) = (right, want) {
                let found = format!("{have:?}");
                self.fault(What::Z, i, &format!("Z {want:.5}"), &found)?;
            }
            self.report.worst_z = self.report.worst_z.max(wrong.unwrap_or(0.0));
        } else {
            self.report.passed_unknown += usize::from(!start_known);
            let strip = |s: &Step<'_>, letters: &[u8]| -> Vec<Word> {
                s.words.iter().filter(|w| !letters.contains(&w.letter)).cloned().collect()
            };
            let (old, new) = (&self.old[i], &self.new[self.j]);
            let same_words = strip(old, b"E") == strip(new, b"E");
            let same_but_z = strip(old, b"EZ") == strip(new, b"EZ");
            let allowed = same_words || (right && same_but_z);
            if !allowed {
                let (expected, found) = (text(old), text(new));
                let expected = match want {
                    Some(want) => format!("{expected}, or it with Z at {want:.5} mm"),
                    None => expected,
                };
                self.fault(What::Unknown, i, &expected, &found)?;
            }
        }
        self.settled = right;
        if start_known { self.end(i, motion) } else { Ok(()) }
    }

    /// The move's end: X, Y and the other axes to the digit.
    fn end(&mut self, i: usize, motion: &Motion) -> Result<(), Lost> {
        let Some(piece) = self.new[self.j].motion().cloned() else { return Err(Lost) };
        for axis in [X, Y] {
            let line = self.old[i].line.number;
            let told = self.faults.iter().any(|f| f.what == What::WrongEnd && f.original == line);
            if !at_one_place(piece.end[axis], motion.end[axis]) && !told {
                let (want, have) = (show_axis(axis, motion.end[axis]), show_axis(axis, piece.end[axis]));
                self.fault(What::WrongEnd, i, &want, &have)?;
            }
        }
        for axis in (0..LETTERS.len()).skip(Z + 1) {
            if piece.end[axis] != motion.end[axis] {
                let (want, have) = (show_axis(axis, motion.end[axis]), show_axis(axis, piece.end[axis]));
                self.fault(What::Axis, i, &want, &have)?;
            }
        }
        Ok(())
    }

    /// At a split point: filament and other axes in proportion to the way.
    fn share(&mut self, i: usize, motion: &Motion, fraction: f64, start_exact: f64, length: f64) -> Result<(), Lost> {
        let loose = if length > 0.0 { self.rules.xy_slack / length } else { 1.0 };
        let whole = self.exact - start_exact;
        let want = start_exact + whole * fraction;
        let have = self.new[self.j].after.filament.f64();
        let slack = self.e_slack + whole.abs() * loose + 1e-7;
        if (want - have).abs() > slack {
            let expected = format!("{want:.6} mm of filament at {fraction:.4} of the way, within {slack:.7}");
            self.fault(What::EShare, i, &expected, &format!("{have:.6}"))?;
        }
        for (axis, letter) in LETTERS.iter().enumerate().skip(Z + 1) {
            let (Some(from), Some(to)) = (motion.start[axis], motion.end[axis]) else { continue };
            let Some(have) = self.new[self.j].after.at[axis] else { continue };
            // A, B and C are degrees in the standard and lengths on many machines: in inches that matters.
            if b"ABC".contains(letter) && self.new[self.j].after.modes.inches {
                continue;
            }
            let way = (to - from).f64();
            let want = from.f64() + way * fraction;
            if (have.f64() - want).abs() > 0.000_5 + way.abs() * loose + 1e-9 {
                let expected = format!("{} {want:.5} at {fraction:.4} of the way", char::from(*letter));
                self.fault(What::Axis, i, &expected, &have.to_string())?;
            }
        }
        Ok(())
    }

    /// What a piece says besides where it goes.
    fn piece_words(&mut self, i: usize, motion: &Motion, k: usize, last: bool) -> Result<(), Lost> {
        let Some(piece) = self.new[self.j].motion().cloned() else { return Err(Lost) };
        if piece.g != motion.g {
            self.fault(What::G, i, &format!("G{}", motion.g), &format!("G{}", piece.g))?;
        }
        let (want, have) = (self.old[i].after.modes.feed.clone(), self.new[self.j].after.modes.feed.clone());
        if want != have {
            self.fault(What::Feed, i, &format!("{want:?}"), &format!("{have:?}"))?;
        }
        // P on an arc counts turns; whether a piece keeps its `P1` changes nothing.
        let arc = motion.g >= 2;
        let others = |s: &Step<'_>| -> Vec<Word> {
            let place = |l: u8| LETTERS.contains(&l) || b"EFIJRN".contains(&l) || (arc && l == b'P');
            let motion_word = |w: &Word| w.letter == b'G' && w.value.is_some_and(|v| v < Dec::new(4, 0));
            s.words.iter().filter(|w| !place(w.letter) && !motion_word(w)).cloned().collect()
        };
        let want = if k == 0 { others(&self.old[i]) } else { Vec::new() };
        let have = others(&self.new[self.j]);
        if want != have {
            self.fault(What::Word, i, &format!("{want:?}"), &format!("{have:?}"))?;
        }
        let (old, new) = (&self.old[i].line, &self.new[self.j].line);
        let (n, sum) = (old.n.is_some() != new.n.is_some(), old.checksum.is_some() != new.checksum.is_some());
        if sum {
            self.fault(What::Checksum, i, "a checksum where the original has one, and only there", "otherwise")?;
        }
        // A number may be left out of a piece where there are no checksums: it is a label then.
        if n && (k == 0 || self.old[i].line.checksum.is_some()) {
            self.fault(What::Number, i, "an N word where the original has one, and only there", "otherwise")?;
        }
        self.line_end(i, self.j, last)
    }

    fn comments(&mut self, i: usize, begin: usize, pieces: usize) -> Result<(), Lost> {
        let have: Vec<Vec<u8>> =
            self.new[begin..begin + pieces].iter().flat_map(|s| s.line.comments.iter().cloned()).collect();
        if have == self.old[i].line.comments {
            return Ok(());
        }
        let say = |c: &[Vec<u8>]| String::from_utf8_lossy(&c.concat()).into_owned();
        let (want, have) = (say(&self.old[i].line.comments), say(&have));
        self.fault(What::Command, i, &format!("the comments {want:?}"), &format!("{have:?}"))
    }

    /// The filament after the line.
    fn total(&mut self, i: usize) -> Result<(), Lost> {
        let have = self.new[self.j].after.filament.f64();
        let wrong = (have - self.exact).abs();
        self.report.worst_e = self.report.worst_e.max(wrong);
        // 1e-7: what adding floats and Simpson's rule may cost over a long file.
        if wrong > self.e_slack + 1e-7 {
            let (want, have) = (format!("{:.6} mm of filament so far", self.exact), format!("{have:.6}"));
            self.fault(What::E, i, &want, &have)?;
            // Told once: go on from what is there.
            self.exact = self.new[self.j].after.filament.f64();
        }
        Ok(())
    }

    fn floor(&mut self, i: usize) -> Result<(), Lost> {
        let Some(floor) = self.rules.floor else { return Ok(()) };
        let (Some(was), Some(is)) = (self.old[i].after.at[Z], self.new[self.j].after.at[Z]) else { return Ok(()) };
        if was.f64() >= floor && is.f64() < floor {
            let found = format!("Z {is}");
            self.fault(What::Floor, i, &format!("Z not below {floor}"), &found)?;
        }
        Ok(())
    }
}

/// The first line index from which no motion lies below the taper's end and one is known to lie above it. `None` where
/// there is no taper, or a shift that outlives it.
fn tail(old: &[Step<'_>], rules: &Rules) -> Option<usize> {
    let (_, to) = rules.taper?;
    if rules.shift != 0.0 {
        return None;
    }
    let below = |z: Option<Dec>| z.is_some_and(|z| z.f64() < to);
    let low = old.iter().rposition(|s| s.motion().is_some_and(|m| below(m.start[Z]) || below(m.end[Z])));
    let from = low.map_or(0, |low| low + 1);
    old[from..].iter().position(|s| s.motion().is_some_and(Motion::known)).map(|k| from + k)
}

/// The same line, but for its number and checksum.
fn same(old: &Step<'_>, new: &Step<'_>) -> bool {
    if old.line.n.is_some() && new.line.n.is_some() {
        old.line.body == new.line.body
    } else {
        old.line.raw == new.line.raw
    }
}

pub(super) fn text(step: &Step<'_>) -> String {
    format!("{:?}", String::from_utf8_lossy(step.line.raw))
}

fn shown(target: [Option<Dec>; 2]) -> String {
    format!("{} {}", show_axis(X, target[0]), show_axis(Y, target[1]))
}

fn show_axis(axis: usize, at: Option<Dec>) -> String {
    let letter = char::from(LETTERS[axis]);
    at.map_or(format!("{letter} unknown"), |at| format!("{letter} {at}"))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small, non-negative count")]
fn scaled(n: usize, share: f64) -> usize {
    (count(n) * share.clamp(0.0, 1.0)).ceil() as usize
}

/// The same place. A picometre (1e-9 mm) is allowed for: a place told in mm cannot always be told again in inches, where a full
/// circle is closed without the original's own words.
fn at_one_place(a: Option<Dec>, b: Option<Dec>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).f64().abs() <= 1e-9,
        (a, b) => a == b,
    }
}
