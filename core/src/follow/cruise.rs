//! Plain straight moves at one height, one after another: what files are made of, done quickly.
//!
//! A quick way beside [`Work::follow`](super::motion) and never instead of it: a line that may need more than one piece, a
//! warning, the marker before it or anything else out of the ordinary ends the run and is left to that. The bytes are the same
//! either way (a test holds that). What no plain line changes is looked up once a run; what each of them changes is kept at
//! hand and told at its end.

use super::held::{Ending, Written};
use super::ledger::{Axis, PLACE_DECIMALS, Rounded, Spelling};
use super::legs::{Course, Leg, Legs, Read, Room};
use super::looked::Plains;
use super::rewriter::Work;
use super::summary::{Offset, WarningKind};
use super::text::Text;
use crate::toolpath::PLACE_LIMIT;
use crate::toolpath::commands::Action;
use crate::toolpath::plain::begins;
use crate::toolpath::tidy::Tidy;
use crate::toolpath::words::Line;

/// Registers beyond this, mm, are near what no word may hold.
const FAR: f64 = PLACE_LIMIT / 2.0;

/// What is the same for all moves of a run.
pub(super) struct Level {
    pub(super) course: Course,
    /// The original's register of Z, mm.
    register: f64,
    pub(super) e_absolute: bool,
    /// Filament may belong to the lowest layers.
    is_low: bool,
    /// A line may be changed, for the marker stands already.
    marked: bool,
    /// A line may have to wait for the one after it.
    holds: bool,
    /// Offsets below this, mm, would lie under the floor.
    lowest: f64,
}

impl Level {
    /// How Z is written: in millimetres, and on lines that have no Z of their own.
    #[inline]
    pub(super) fn z_how(&self) -> Spelling {
        let decimals = PLACE_DECIMALS[0];
        Spelling { absolute: self.course.absolute, unit: 1.0, decimals, least: decimals }
    }
}

/// Where a run has come to.
struct Run {
    /// Registers of X, Y and E.
    at: [f64; 2],
    e: f64,
    offset: f64,
    ledgers: [Axis; 2],
    /// The ledger of Z before the last line.
    z_before: Axis,
    lines: u64,
    changed: u64,
    /// Lowest and highest offset but that of the last move, and the largest in size.
    range: [f64; 2],
    largest: Option<Offset>,
    /// The last line was changed.
    is_new: bool,
}

impl Work {
    /// Takes as many plain lines from the start of `bytes` as there are, and tells their length. `line` is the last line that
    /// was read in the other way; `desk` is empty.
    #[inline]
    pub(super) fn cruise(
        &mut self,
        plains: &mut Plains<'_>,
        bytes: &[u8],
        line: &Line,
        desk: &mut Desk,
        out: &mut Vec<u8>,
    ) -> usize {
        let Some(level) = begins(bytes).then(|| self.level(line)).flatten() else { return 0 };
        if self.may_coast(&level) {
            let told = plains.passed(bytes.len(), !level.e_absolute);
            let coasted = self.coast(told, &mut desk.read.reader, &level, bytes);
            if coasted > 0 {
                out.extend_from_slice(&bytes[..coasted]);
                return coasted;
            }
        }
        let mut run = self.set_out();
        // Up to `copied` all is in `out` or in `text`; from there to `done` stand lines that stay.
        let (mut done, mut copied, mut length) = (0, 0, 0);
        let Desk { read, legs, heights, text, .. } = desk;
        let mut last = None;
        'run: loop {
            let (legs, end) = plains.legs((legs, read, heights), &level.course, run.at, &mut self.bed, &bytes[done..]);
            for leg in legs {
                let Some(room) = bytes[done..].first_chunk() else { break 'run };
                let Some([z, e]) = self.take_leg(&level, &mut run, leg) else {
                    read.tell_fewer();
                    break 'run;
                };
                length = leg.seats.whole();
                if run.is_new {
                    text.stay(&bytes[copied..done], out);
                    length = text.spell(&leg.seats, room, z, e);
                    copied = done + leg.seats.whole();
                }
                done += leg.seats.whole();
                last = Some(*leg);
            }
            if end {
                break;
            }
        }
        text.append_to(out);
        out.extend_from_slice(&bytes[copied..done]);
        if let Some(last) = last {
            self.arrive(&level, run, &last, length, out);
        }
        done
    }

    /// What a run at this height needs, if all that no plain line changes is as nearly all files have it.
    #[inline]
    pub(super) fn level(&mut self, line: &Line) -> Option<Level> {
        let state = self.reader.state();
        #[expect(clippy::float_cmp, reason = "one of two constants")]
        let millimetres = state.unit == 1.0;
        let told = || self.summary.warnings.iter().any(|w| w.kind == WarningKind::EModeUnsaid);
        let usual = self.quick
            && self.number > 0
            && millimetres
            && state.axes.iter().all(|a| a.known && a.register.abs() < FAR)
            && !line.is_noise()
            && !self.output.muted
            && (state.e_said || told());
        // An end under the floor is to be told of before anything else is written.
        let sinks = self.held.as_ref().is_some_and(|held| held.offset() < self.floor.lowest(held.z()));
        let [x, y, z] = state.axes;
        let course = Course::at(&self.bed, z.place(), [x.shift, y.shift], state.absolute, self.options.flow)?;
        (usual && !sinks).then(|| Level {
            course,
            register: z.register,
            e_absolute: state.e_absolute,
            is_low: self.summary.footprint.takes(course.z),
            marked: self.output.marked,
            holds: course.weight > 0.0 && self.bed.is_bent(),
            lowest: self.floor.lowest(course.z),
        })
    }

    /// Where a run begins.
    #[inline]
    fn set_out(&mut self) -> Run {
        let state = self.reader.state();
        Run {
            at: [state.axes[0].register, state.axes[1].register],
            e: state.e,
            offset: 0.0,
            ledgers: [self.z, self.e],
            z_before: self.z,
            lines: 0,
            changed: 0,
            range: [f64::INFINITY, f64::NEG_INFINITY],
            largest: None,
            is_new: false,
        }
    }

    /// Follows one plain move: the numbers of Z and E to be written, where those of the line may not stay. `None` if the line is not
    /// for a run; nothing has changed then.
    #[inline(always)]
    fn take_leg(&mut self, level: &Level, run: &mut Run, leg: &Leg) -> Option<[Option<Rounded>; 2]> {
        let Level { course: Course { z, weight, .. }, e_absolute, .. } = *level;
        let has_e = leg.seats.has_e();
        let e_at = if !has_e {
            run.e
        } else if e_absolute {
            leg.e
        } else {
            run.e + leg.e
        };
        let e_delta = if has_e && e_absolute { e_at - run.e } else { leg.e };
        let pushes = e_delta > 0.0;
        // The first filament is compared with the card.
        if pushes && !self.card.compared {
            return None;
        }
        let factor = if pushes { leg.factor } else { 1.0 };
        let offset = self.bed.offset_at(leg.height, weight);
        let [mut z_ledger, mut e_ledger] = run.ledgers;
        let z_how = level.z_how();
        let z_aim = offset + z_ledger.skew;
        let z_stays = (z_ledger.gap - z_aim).abs() <= z_how.half();
        let e_how = Spelling::of_e(e_absolute, 1.0, leg.seats.e_decimals());
        let e_aim = e_ledger.aim + e_delta * (factor - 1.0);
        let e_stays = !has_e || e_ledger.may_stay(e_aim, e_how);
        // The taper has ended and E is to be set right, the marker goes first, or the floor is near.
        let drifts = has_e && e_absolute && weight == 0.0 && e_ledger.gap.abs() > 1e-9;
        let is_new = !(z_stays && e_stays);
        if !e_stays && (e_at + e_aim).abs() > FAR {
            return None;
        }
        if drifts || is_new && !level.marked || offset < level.lowest {
            return None;
        }

        // From here on it is the run's.
        if run.lines > 0 {
            run.account(level, self.number);
        }
        run.z_before = z_ledger;
        let z_new = (!z_stays).then(|| z_ledger.write(level.register, 0.0, z_aim, z_how));
        let mut e_new = None;
        if !e_stays {
            e_new = Some(e_ledger.write(e_at, e_delta, e_aim, e_how));
        } else if has_e {
            e_ledger.stay(e_how);
        }
        e_ledger.aim = e_aim;
        if pushes && level.is_low {
            let [from, to] = [level.course.place(run.at), level.course.place(leg.at)];
            let at = |t: f64| [from[0] + (to[0] - from[0]) * t, from[1] + (to[1] - from[1]) * t];
            self.summary.footprint.lay(leg.length, [z, z], at);
        }
        run.lines += 1;
        run.changed += u64::from(is_new);
        (run.at, run.e, run.ledgers) = (leg.at, e_at, [z_ledger, e_ledger]);
        (run.offset, run.is_new) = (offset, is_new);
        Some([z_new, e_new])
    }

    /// The end of a run: what it changed is told to all that the next line asks. The last line, with its ending, is the last `length` bytes.
    #[inline]
    fn arrive(&mut self, level: &Level, run: Run, last: &Leg, length: usize, out: &[u8]) {
        #[cfg(test)]
        {
            self.cruised += run.lines;
        }
        let Course { z, weight, .. } = level.course;
        let ending = last.seats.ending();
        // What was held before the run stays where it is.
        self.settle();
        self.number += run.lines;
        self.output.bom = false;
        self.output.lines_changed += run.changed;
        self.reader.went(Action::Straight, run.at, run.e);
        self.output.learn_ending(&out[out.len() - ending..]);
        self.summary.moves_in += run.lines;
        self.summary.moves_out += run.lines;
        if run.lines > 1 {
            self.summary.goes_between([z + run.range[0], z + run.range[1]]);
        }
        if let Some(largest) = run.largest {
            self.summary.goes_off(largest);
        }
        let place = level.course.place(run.at);
        if weight > 0.0 {
            self.bed.is_told(place, last.height);
        }
        self.bed.went_plainly(weight, run.offset, last.length);
        self.meant = Some(run.offset);
        [self.z, self.e] = run.ledgers;
        let end = Ending { place, z, offset: run.offset, number: self.number };
        if level.holds {
            let Run { z_before, is_new: changed, .. } = run;
            let written = Written { z_before, register: level.register, delta: 0.0, how: level.z_how(), changed };
            self.hold(end, written, None, [length - ending, ending], out);
        } else {
            self.account(end);
        }
    }
}

impl Run {
    /// What the end of the last move says of the whole, when it is settled; `number` is that of the line before the run.
    #[inline]
    fn account(&mut self, level: &Level, number: u64) {
        let offset = self.offset;
        let [low, high] = &mut self.range;
        *low = if offset < *low { offset } else { *low };
        *high = if offset > *high { offset } else { *high };
        if self.largest.is_none_or(|o| offset.abs() > o.offset.abs()) {
            let [x, y] = level.course.place(self.at);
            self.largest = Some(Offset { offset, x, y, line: number + self.lines });
        }
    }
}

/// Where lines are read, told and put together: empty between them, and memory for the next ones.
#[derive(Debug, Clone, Default)]
pub(super) struct Desk {
    pub(super) tidy: Tidy,
    pub(super) read: Read,
    pub(super) legs: Legs,
    heights: Room,
    text: Text,
}

#[cfg(test)]
mod tests {
    use crate::follow::{EMode, Looked, Options, Rewriter, Taper};
    use crate::{Card, HeightMap, SurfaceKind};
    use proptest::prelude::*;
    use std::sync::OnceLock;

    const CARD: &str = r#"
        [bed]
        x = [0, 100]
        y = [0, 100]
        [readings]
        method = "gauge"
        parked = 0.3
        points = [
            [10, 10, 0.30], [50, 10, 0.10], [90, 10, 0.32],
            [10, 50, 0.12], [50, 50, 0.00], [90, 50, 0.14],
            [10, 90, 0.28], [50, 90, 0.08], [90, 90, 0.33],
        ]
    "#;

    /// The card's two maps, fitted once.
    fn maps() -> &'static [HeightMap; 2] {
        static MAPS: OnceLock<[HeightMap; 2]> = OnceLock::new();
        MAPS.get_or_init(|| {
            let card = Card::parse(CARD).unwrap();
            [SurfaceKind::ThinPlate, SurfaceKind::Bilinear].map(|kind| HeightMap::fit(&card, kind).unwrap())
        })
    }

    /// What comes out, or the refusal, and how many lines were taken in the quick way.
    fn run(text: &[u8], map: &HeightMap, options: Options, quick: bool, sizes: &[usize]) -> (String, u64) {
        let mut rewriter = Rewriter::new(map, options).unwrap();
        rewriter.work.quick = quick;
        let mut out = Vec::new();
        let mut rest = text;
        for size in sizes.iter().cycle() {
            let (chunk, more) = rest.split_at((*size).min(rest.len()));
            if let Err(e) = rewriter.push(chunk, &mut out) {
                return (format!("{e:?}"), rewriter.work.cruised);
            }
            rest = more;
            if rest.is_empty() {
                break;
            }
        }
        let cruised = rewriter.work.cruised;
        let summary = rewriter.finish(&mut out);
        (format!("{}\n{summary:?}", String::from_utf8_lossy(&out)), cruised)
    }

    /// The same for pieces that were looked at, each as far as `patience` says in turn, from where `begins` guesses.
    fn looked(
        text: &[u8],
        map: &HeightMap,
        options: Options,
        sizes: &[usize],
        patience: &[usize],
        begins: &str,
    ) -> String {
        let mut rewriter = Rewriter::new(map, options).unwrap();
        let mut ahead = rewriter.look_ahead();
        let mut piece = Looked::default();
        let mut look = |piece: &mut Looked, bytes: &[u8], patience: usize| {
            piece.refill().extend_from_slice(bytes);
            let mut left = patience;
            ahead.look(piece, || left.checked_sub(1).inspect(|n| left = *n).is_some());
        };
        look(&mut piece, begins.as_bytes(), 1);
        let mut out = Vec::new();
        let mut rest = text;
        for (size, patience) in sizes.iter().cycle().zip(patience.iter().cycle()) {
            let (chunk, more) = rest.split_at((*size).min(rest.len()));
            look(&mut piece, chunk, *patience);
            if let Err(e) = rewriter.push_looked(&mut piece, &mut out) {
                return format!("{e:?}");
            }
            rest = more;
            if rest.is_empty() {
                break;
            }
        }
        let summary = rewriter.finish(&mut out);
        format!("{}\n{summary:?}", String::from_utf8_lossy(&out))
    }

    /// How far pieces are looked at, and what is guessed of where they begin.
    fn looks() -> impl Strategy<Value = (Vec<usize>, String)> {
        let begins = "(G1 X4[5-9]\\.[0-9]{2} Y50\n)?(G1 Z(0\\.3|1|9)\n)?(G91\n)?";
        (proptest::collection::vec(0usize..6, 1..4), begins)
    }

    fn lines() -> impl Strategy<Value = String> {
        let place = 0..12_000i32;
        let near = prop_oneof![6 => place.clone().prop_map(|v| v / 100 + 4500), 1 => place];
        let number = |v: i32| format!("{:.2}", f64::from(v) / 100.0);
        prop_oneof![
            12 => (near.clone(), near.clone(), 0..400i32).prop_map(move |(x, y, e)| {
                format!("G1 X{} Y{} E{:.5}\n", number(x), number(y), f64::from(e) / 1e3)
            }),
            2 => (near.clone(), 0..300i32).prop_map(move |(x, e)| format!("G1 X{} E{e} F1200\n", number(x))),
            2 => (near.clone(), 0..300i32).prop_map(move |(y, e)| format!("G1 E.{e} Y{}\r\n", number(y))),
            2 => (near.clone(), near.clone()).prop_map(move |(x, y)| format!("G0 F7200 X{} Y{}\n", number(x), number(y))),
            2 => (0..500i32).prop_map(move |z| format!("G1 Z{}\n", number(z))),
            1 => near.prop_map(move |x| format!("G1 X{} Z0.3 ; up\n", number(x))),
            1 => "(G92 E0|G92 Z0.2|G92 X40|M82|M83|G91|G90|G20|G21|G28|G28 X|; layer|G1 F900|X50.5 Y50|N5 T0|M117 X|\u{1}\u{1}\u{1}\u{1}|G1 X50 X51|M104 S200|M190 S60)\n",
            1 => "G1 X50.001 Y50.001 E[0-9]{1,2}\\.[0-9]{0,9}\n",
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        #[test]
        fn the_bytes_are_the_same(
            body in proptest::collection::vec(lines(), 1..120),
            sizes in proptest::collection::vec(prop_oneof![3 => 200usize..5000, 1 => 1usize..60], 1..4),
            taper in 0usize..3, bilinear in any::<bool>(), flow in any::<bool>(), relative in any::<bool>(),
            floor in prop_oneof![4 => Just(0.0), 1 => Just(0.3)], (patience, begins) in looks(),
        ) {
            let map = &maps()[usize::from(bilinear)];
            let mut options = Options { flow, floor, ..Options::default() };
            options.taper = [Taper::Auto, Taper::None, Taper::Range { from: 0.4, to: 2.5 }][taper % 3];
            options.e_start = if relative { EMode::Relative } else { EMode::Absolute };
            options.allow.unknown_motion = true;
            let text = format!("G28\nG1 Z0.25 F600\nG1 X50 Y50\n{}", body.concat());
            let slow = run(text.as_bytes(), map, options, false, &[usize::MAX]);
            let quick = run(text.as_bytes(), map, options, true, &sizes);
            prop_assert_eq!(slow.1, 0);
            prop_assert_eq!(&slow.0, &quick.0);
            prop_assert_eq!(&slow.0, &looked(text.as_bytes(), map, options, &sizes, &patience, &begins));
        }
    }

    /// Arcs, most of them whole: a quarter, full circles, and some that are not what they seem.
    fn arcs() -> impl Strategy<Value = String> {
        let quarter = "G1 X20 Y30\nG2 X30 Y20 I0(\\.0)? J-10 E[0-9]\\.[0-9]{5}( F[0-9]{3})?\r?\n";
        let full = "G3 (F600 )?I[0-9]\\.[0-9] J-?[0-9]\\.[0-9]( E[0-9])?( ; on)?\n";
        let other = "G0[23] (X50 Y50 I1 J1|X50 I0.001|R5 X52 Y52|I3 J3 P1|I3 J3 K1|I3 I3|I1e5|I200000|I5 Z9|I J3|I2 J1 A4)\n(I2 J1 E3\n)?";
        prop_oneof![3 => quarter, 3 => full, 1 => other]
    }

    /// Six layers in the taper and above it, so that what follows high above belongs to none of the lowest.
    fn begun(relative: bool) -> String {
        let mut text = String::from(if relative { "M83\n" } else { "M82\n" });
        text += "G28\nG1 Z0.2 F600\nG1 X20 Y50\n";
        for layer in 1..=6u8 {
            let z = f64::from(layer) * 0.2;
            text += &format!("G92 E0\nG1 Z{z:.1}\nG1 X60 Y52 E2\nG1 X60.3 Y52.4 E2.1\nG1 X20 Y50 E3\n");
        }
        text + "G1 Z9\n"
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        #[test]
        fn above_the_taper_the_bytes_are_the_same(
            body in proptest::collection::vec(prop_oneof![
                60 => lines(),
                1 => Just("G1 Z8\n".to_string()), 1 => Just("G1 Z0.9\nG1 X30 E4\n".to_string()),
                1 => Just("G1 X1234567 Y3\n".to_string()), 1 => Just("G1 X123456 Y3\n".to_string()),
                2 => "G1 E-?[0-9]{1,6}(\\.[0-9]{1,5})?( F1200)?\r?\n", 2 => "G0 F[0-9]{1,5}\n", 2 => "(G1 X20|G1 Y20.5) E1\n",
                12 => arcs(),
            ], 1..200),
            sizes in proptest::collection::vec(prop_oneof![3 => 200usize..5000, 1 => 1usize..60], 1..4),
            range in any::<bool>(), bilinear in any::<bool>(), flow in any::<bool>(), relative in any::<bool>(),
            shift in prop_oneof![4 => Just(0.0), 1 => Just(0.02)], (patience, begins) in looks(),
        ) {
            let map = &maps()[usize::from(bilinear)];
            let mut options = Options { flow, shift, floor: -10.0, ..Options::default() };
            options.taper = if range { Taper::Range { from: 0.4, to: 1.1 } } else { Taper::Auto };
            options.allow.unknown_motion = true;
            let text = begun(relative) + &body.concat();
            let slow = run(text.as_bytes(), map, options, false, &[usize::MAX]);
            let quick = run(text.as_bytes(), map, options, true, &sizes);
            prop_assert_eq!(slow.1, 0);
            prop_assert_eq!(&slow.0, &quick.0);
            prop_assert_eq!(&slow.0, &looked(text.as_bytes(), map, options, &sizes, &patience, &begins));
        }
    }

    /// What came out before a file was refused is the same too: a line that is held and ends below the floor, and plain ones behind it that do not.
    #[test]
    fn an_end_below_the_floor_ends_all() {
        let shift = -maps()[0].height(70.0, 50.0);
        let options = Options { floor: 0.2, shift, taper: Taper::None, ..Options::default() };
        let mut refused = 0;
        for n in 0..160 {
            // Outwards and inwards.
            let way = if n % 2 == 0 { 1.0 } else { -1.0 };
            let x = 50.0 + f64::from(n / 2) * 0.5;
            let lines = |from: f64| {
                let line = |k| format!("G1 X{} Y50 E0.01\n", from + way * f64::from(k));
                (1..20).map(line).collect::<String>()
            };
            let (start, end) = (x - 20.0 * way, x + 0.3 * way);
            let (above, below) = (lines(start), lines(end));
            let text = format!("M83\nG28\nG1 Z0.9 F600\nG1 X{start} Y50\n{above}G1 X{end} Z0.2\n{below}");
            let [slow, quick] = [false, true].map(|quick| {
                let mut rewriter = Rewriter::new(&maps()[0], options).unwrap();
                rewriter.work.quick = quick;
                let mut out = Vec::new();
                rewriter.push(text.as_bytes(), &mut out).unwrap();
                refused += u32::from(rewriter.is_refused());
                (String::from_utf8(out).unwrap(), rewriter.finish(&mut Vec::new()).map_err(|e| e.to_string()))
            });
            assert_eq!(slow, quick);
        }
        assert!(refused > 0 && refused < 320, "{refused}");
    }

    #[test]
    fn plain_lines_above_the_taper_pass() {
        let map = &maps()[0];
        for relative in [false, true] {
            let mut text = begun(relative);
            for n in 0..600 {
                text += &format!("G1 X{:.2} Y50 E{n}\n", 20.0 + f64::from(n) * 0.1);
            }
            text += &"G3 X80 Y50 I0.05 J0\nG2 X80 Y50 I4 J3 E1\n".repeat(300);
            let mut rewriter = Rewriter::new(map, Options::default()).unwrap();
            let mut out = Vec::new();
            rewriter.push(text.as_bytes(), &mut out).unwrap();
            assert!(rewriter.work.coasted > 1190, "{relative}: {}", rewriter.work.coasted);
        }
    }

    #[test]
    fn plain_lines_are_taken_quickly() {
        let map = HeightMap::fit(&Card::parse(CARD).unwrap(), SurfaceKind::ThinPlate).unwrap();
        let mut text = String::from("M83\nG28\nG1 Z0.2 F600\nG1 X20 Y50\n");
        for n in 0..600 {
            text += &format!("G1 X{:.2} Y50 E0.01\n", 20.0 + f64::from(n) * 0.1);
        }
        let (out, cruised) = run(text.as_bytes(), &map, Options::default(), true, &[usize::MAX]);
        assert!(cruised > 590, "{cruised}");
        assert_eq!(out, run(text.as_bytes(), &map, Options::default(), false, &[usize::MAX]).0);
    }
}
