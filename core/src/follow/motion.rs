//! One motion: where it should go, how much filament it should push, and whether its line may stay.

use super::bed::Way;
use super::compose::{Source, Value};
use super::held::{Ending, Written};
use super::ledger::exact;
use super::path::Path;
use super::pieces::Plan;
use super::rewriter::Work;
use super::split::Vertex;
use super::summary::{Offset, WarningKind};
use super::survey::Survey;
use crate::Error;
use crate::number::Shown;
use crate::toolpath::commands::{Action, g_word};
use crate::toolpath::words::Line;
use crate::toolpath::{AXES, Move, code, long_move};

/// Card and file may differ by this much before it is said, degrees Celsius.
const WARM: f64 = 10.0;

impl Work {
    /// Rewrites one motion line.
    #[inline]
    pub(super) fn follow(
        &mut self,
        m: &Move,
        source: Source<'_>,
        ending: &[u8],
        out: &mut Vec<u8>,
    ) -> Result<(), Error> {
        let line = source.line;
        let e_word = line.get(b'E');
        let names_axis = m.arc.is_some() || AXES.iter().any(|l| line.has(*l));
        if !names_axis && e_word.is_none() {
            self.output.unchanged(source, ending, out);
            return Ok(());
        }
        let state = self.reader.state();
        let (absolute, unit) = (state.absolute, state.unit);
        let e_delta = match e_word.and_then(|w| w.number) {
            Some(n) if !state.e_absolute => n.value * unit,
            Some(_) => m.e_delta(),
            None => 0.0,
        };
        self.summary.moves_in += 1;
        let known_after = m.after.iter().all(|a| a.known);
        let known = known_after && m.before.iter().all(|a| a.known);
        let travels = known && m.travels();
        let way = Way { path: Path::of(m), z: [m.before[2].place(), m.after[2].place()] };
        if travels {
            long_move(way.path.length(), self.number)?;
        }
        if e_word.is_some() {
            self.first_extrusion(m, e_delta);
        }
        if travels && e_delta > 0.0 {
            self.summary.footprint.lay(way.path.length(), way.z, |t| way.path.at(t));
        }
        // Filament first: it looks at the start, which is where the last move ended.
        let pushes = travels && e_delta > 0.0 && self.options.flow;
        let told = || source.survey.and_then(|survey| survey.flow(&way));
        let factor = if pushes { told().unwrap_or_else(|| self.bed.flow(&way)) } else { 1.0 };

        let mut holds = None;
        // Where the nozzle should be at the end, and by which vertices it gets there.
        let mut vertices = core::mem::take(&mut self.vertices);
        vertices.clear();
        let z_word = line.get(b'Z');
        let names_place = m.arc.is_some() || [b'X', b'Y', b'Z'].iter().any(|l| line.has(*l));
        let follows = known_after && names_place;
        let z_aim = if follows {
            let end = self.bed.offset([m.after[0].place(), m.after[1].place()], way.z[1]);
            if travels {
                self.choose((&way, source.survey), end, &mut vertices, out)?;
            } else {
                vertices.push((1.0, end));
                self.bed.stands(end);
            }
            self.settle();
            let (last, others) = vertices.split_last().map_or(((1.0, end), &[][..]), |(last, others)| (*last, others));
            let z = |t: f64| if known { way.z[0] + (way.z[1] - way.z[0]) * t } else { way.z[1] };
            for (t, offset) in others {
                self.account(Ending { place: way.path.at(*t), z: z(*t), offset: *offset, number: self.number });
            }
            let place = [m.after[0].place(), m.after[1].place()];
            let ending = Ending { place, z: way.z[1], offset: last.1, number: self.number };
            if known && self.may_hold(line, way.z[1]) {
                holds = Some(ending);
            } else {
                self.account(ending);
            }
            self.meant = Some(last.1);
            last.1 + self.z.skew
        } else {
            if names_place || z_word.is_some() {
                self.settle();
            }
            vertices.push((1.0, 0.0));
            // E or another axis alone, or a place that is not known: the line's own word stays, if it has one.
            if z_word.is_some() && absolute { 0.0 } else { self.z.gap }
        };
        self.summary.moves_out += vertices.len() as u64;

        let z_how = self.place_spelling(absolute, z_word);
        let e_how = self.e_spelling(e_word);
        let mut before = None;
        if e_word.is_some() && e_how.absolute && self.e.gap.abs() > 1e-9 && self.past_taper(m) && !says_units(line) {
            // The taper has ended, and with it the drift of E: one line sets it right. (Before a line that changes the
            // units it would be read in the old ones: it waits for the next.)
            let gap = self.e.gap;
            self.e.agree();
            self.filament.told_anew([m.e_before, gap], [m.e_before, 0.0]);
            before = Some(exact(m.e_before / unit));
        }
        if vertices.len() > 1 {
            let plan = Plan { m, source, path: way.path, vertices: &vertices, z_how, e_how, e_delta, factor, before };
            self.pieces(&plan, ending, holds, out);
        } else {
            let z_before = self.z;
            let delta = m.after[2].register - m.before[2].register;
            let z_stays = match z_word {
                Some(_) => self.z.may_stay(z_aim, z_how),
                None => (self.z.gap - z_aim).abs() <= z_how.half(),
            };
            let e_aim = self.e.aim + e_delta * (factor - 1.0);
            let e_stays = e_word.is_none() || self.e.may_stay(e_aim, e_how);
            let mut edits = core::mem::take(&mut self.edits);
            edits.clear();
            if !z_stays {
                edits.push((b'Z', Value::New(self.z.write(m.after[2].register, delta, z_aim, z_how).into())));
            } else if z_word.is_some() {
                self.z.stay(z_how);
            }
            if !e_stays {
                edits.push((b'E', Value::New(self.e.write(m.e_after, e_delta, e_aim, e_how).into())));
            } else if e_word.is_some() {
                self.e.stay(e_how);
            }
            self.e.aim = e_aim;
            let changed = !(edits.is_empty() && before.is_none());
            let mut length = source.bytes.len();
            if changed {
                let mut text = self.output.text();
                self.output.set_e_before(source, before, &mut text);
                let from = text.len();
                self.output.first_piece(source, &edits, None, &mut text);
                length = text.len() - from;
                text.extend_from_slice(ending);
                self.output.changed(text, out);
            } else {
                self.output.unchanged(source, ending, out);
            }
            self.edits = edits;
            if let Some(end) = holds {
                let written = Written { z_before, register: m.after[2].register, delta, how: z_how, changed };
                let own = z_word.map(|w| (w, &source.bytes[w.from..w.to]));
                self.hold(end, written, own, [length, ending.len()], out);
            }
        }
        self.vertices = vertices;
        Ok(())
    }

    /// Said once: how E is meant, and whether the file is for the temperatures of the card. Said of each line: filament
    /// outside the readings.
    #[inline]
    fn first_extrusion(&mut self, m: &Move, e_delta: f64) {
        let state = self.reader.state();
        if !state.e_said && self.summary.warnings.iter().all(|w| w.kind != WarningKind::EModeUnsaid) {
            let how = if state.e_absolute { "positions (absolute)" } else { "amounts (relative)" };
            self.summary.warn(WarningKind::EModeUnsaid, self.number, || {
                format!("neither M82 nor M83 has been said: E words are read as {how}")
            });
        }
        if e_delta <= 0.0 || !m.known() || !m.travels() {
            return;
        }
        let [x0, y0, x1, y1] = self.bed.sheet.rect();
        let [x, y, z] = [m.after[0].place(), m.after[1].place(), m.after[2].place()];
        if !(x >= x0 && x <= x1 && y >= y0 && y <= y1) && self.bed.weight.at(z) > 0.0 {
            self.summary.warn(WarningKind::OutsideReadings, self.number, || {
                "filament is laid outside the readings' rectangle, where the height at its edge is held".into()
            });
        }
        if self.card.compared {
            return;
        }
        self.card.compared = true;
        let state = self.reader.state();
        let pairs = [
            (self.card.bed_celsius, state.bed_celsius, WarningKind::BedTemperature, "bed"),
            (self.card.nozzle_celsius, state.nozzle_celsius, WarningKind::NozzleTemperature, "nozzle"),
        ];
        for (card, file, kind, what) in pairs {
            if let (Some(card), Some(file)) = (card, file)
                && (card - file).abs() > WARM
            {
                self.summary.warn(kind, self.number, || {
                    let [card, file] = [card, file].map(Shown);
                    format!("the card was read with the {what} at {card} degrees Celsius, the file prints at {file}")
                });
            }
        }
    }

    /// The whole move lies where nothing is compensated any more, or where nobody knows.
    #[inline]
    fn past_taper(&self, m: &Move) -> bool {
        [&m.before[2], &m.after[2]].iter().all(|z| !z.known || self.bed.weight.at(z.place()) == 0.0)
    }

    /// The offset at which the next move begins: what was meant where that was written, so that nothing hangs on how it was
    /// rounded.
    #[inline]
    fn start(&self) -> f64 {
        let written = self.z.offset();
        match self.meant {
            Some(meant) if (written - meant).abs() <= self.place_spelling(true, None).half() * 1.01 => meant,
            _ => written,
        }
    }

    /// The vertices of a move to about offset `end`. Where they would be fewer if the move before ended elsewhere within its
    /// tolerance, and that is still held, it ends there.
    #[inline]
    fn choose(
        &mut self,
        (way, survey): (&Way, Option<&Survey>),
        end: f64,
        vertices: &mut Vec<Vertex>,
        out: &mut Vec<u8>,
    ) -> Result<(), Error> {
        let number = self.number;
        let start = self.start();
        self.bed.vertices(way, survey, start, end, vertices).map_err(|e| e.at(number, 1))?;
        if vertices.len() > 1
            && let Some(held) = &self.held
        {
            let lowest = self.floor.level() - held.z();
            if let Some(better) = self.bed.better_start(start, vertices.len(), lowest) {
                self.end_elsewhere(better, out);
                self.bed.moved();
                vertices.clear();
                let start = self.start();
                self.bed.vertices(way, survey, start, end, vertices).map_err(|e| e.at(number, 1))?;
            }
        }
        Ok(())
    }

    /// Keeps the summary's figures and watches the floor: a vertex at a place, the original's Z there, and its offset.
    #[inline]
    pub(super) fn account(&mut self, Ending { place, z, offset, number }: Ending) {
        // An offset of less is not written at all.
        let half = self.place_spelling(true, None).half();
        let told = z + offset;
        self.summary.goes_between([told; 2]);
        let [x, y] = place;
        self.summary.goes_off(Offset { offset, x, y, line: number });
        if offset.abs() > half && !self.floor.watch(number, z, told, self.bed.weight.at(z)) {
            self.output.muted = true;
        }
    }
}

/// Whether the line has G20 or G21.
#[inline]
fn says_units(line: &Line) -> bool {
    line.words()
        .iter()
        .filter(|w| w.letter == b'G')
        .filter_map(|w| g_word(code(w)?))
        .any(|row| matches!(row.action, Action::Units { .. }))
}
