//! Plain straight moves at one height, one after another: what files are made of, done quickly.
//!
//! A quick way beside [`Work::follow`](super::motion) and never instead of it: a line that may need more than one piece, a
//! warning, the marker before it or anything else out of the ordinary ends the run and is left to that. The bytes are the same
//! either way (a test holds that). What no plain line changes is looked up once a run; what each of them changes is kept at
//! hand and told at its end.

use super::ahead::{Heights, Plains, Read};
use super::bed::{Way, flow_between};
use super::held::{Ending, Written};
use super::ledger::{Axis, PLACE_DECIMALS, Rounded, Spelling};
use super::path::Path;
use super::rewriter::Work;
use super::summary::{Offset, WarningKind};
use super::text::Text;
use crate::toolpath::PLACE_LIMIT;
use crate::toolpath::plain::{Plain, begins};
use crate::toolpath::words::Line;

/// Registers beyond this, mm, are near what no word may hold.
const FAR: f64 = PLACE_LIMIT / 2.0;

/// What is the same for all moves of a run.
pub(super) struct Level {
    /// The original's Z, mm, and its register.
    pub(super) z: f64,
    register: f64,
    pub(super) weight: f64,
    /// How the weight changes with Z, 1/mm.
    slope: f64,
    /// Between coordinates and registers of X and Y, mm.
    shift: [f64; 2],
    pub(super) absolute: bool,
    pub(super) e_absolute: bool,
    /// E may be scaled here: its factor is 1 elsewhere.
    scaled: bool,
    /// Filament may belong to the lowest layers.
    is_low: bool,
    /// A line may be changed, for the marker stands already.
    marked: bool,
    /// The longest move that is sure to need one piece, mm.
    longest: f64,
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
        Spelling { absolute: self.absolute, unit: 1.0, decimals, least: decimals }
    }
}

/// Where a run has come to.
struct Run {
    /// Registers of X, Y and E.
    at: [f64; 2],
    e: f64,
    /// Where X and Y are, the height there and the offset, mm.
    place: [f64; 2],
    height: f64,
    offset: f64,
    ledgers: [Axis; 2],
    /// The ledger of Z before the last line.
    z_before: Axis,
    lines: u64,
    changed: u64,
    filament: [f64; 2],
    /// Lowest and highest offset but that of the last move, and the largest in size.
    range: [f64; 2],
    largest: Option<Offset>,
    /// Of the last line: the length of its move, mm, its own with what ends it, what of that ends it, and whether it was changed.
    way: f64,
    length: usize,
    ending: usize,
    is_new: bool,
}

impl Work {
    /// Takes as many plain lines from the start of `bytes` as there are, and tells their length. `line` is the last line that
    /// was read in the other way; `text` is empty.
    #[inline]
    pub(super) fn cruise(
        &mut self,
        plains: &mut Plains<'_>,
        bytes: &[u8],
        line: &Line,
        text: &mut Text,
        out: &mut Vec<u8>,
    ) -> usize {
        let Some(level) = begins(bytes).then(|| self.level(line)).flatten() else { return 0 };
        let coasted = self.coast(plains, &level, bytes);
        if coasted > 0 {
            out.extend_from_slice(&bytes[..coasted]);
            return coasted;
        }
        let mut run = self.set_out(&level);
        // Up to `copied` all is in `out` or in `text`; from there to `done` stand lines that stay.
        let (mut done, mut copied) = (0, 0);
        let mut read = Read::default();
        while let Some((plain, heights)) = plains.next(&bytes[done..], &mut read)
            && let Some(room) = bytes[done..].first_chunk()
            && let Some([z, e]) = self.plain_move(&level, &mut run, plain, heights)
        {
            if run.is_new {
                text.stay(&bytes[copied..done], out);
                run.length = text.spell(plain, room, z, e);
                copied = done + plain.whole();
            }
            done += plain.whole();
        }
        text.append_to(out);
        out.extend_from_slice(&bytes[copied..done]);
        self.arrive(&level, run, out);
        done
    }

    /// What a run at this height needs, if all that no plain line changes is as nearly all files have it.
    #[inline]
    fn level(&mut self, line: &Line) -> Option<Level> {
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
        let [x, y, z] = state.axes;
        let weight = self.bed.weight.at(z.place());
        let longest = self.bed.plain_length(weight)?;
        usual.then(|| Level {
            z: z.place(),
            register: z.register,
            weight,
            slope: self.bed.weight.slope(z.place()),
            shift: [x.shift, y.shift],
            absolute: state.absolute,
            e_absolute: state.e_absolute,
            scaled: self.options.flow && self.bed.scales(z.place()),
            is_low: self.summary.footprint.takes(z.place()),
            marked: self.output.marked,
            longest,
            holds: weight > 0.0 && self.bed.is_bent(),
            lowest: self.floor.lowest(z.place()),
        })
    }

    /// Where a run begins.
    #[inline]
    fn set_out(&mut self, level: &Level) -> Run {
        let state = self.reader.state();
        let [x, y, _] = state.axes;
        let (at, e) = ([x.register, y.register], state.e);
        let place = [at[0] + level.shift[0], at[1] + level.shift[1]];
        Run {
            at,
            e,
            place,
            height: if level.scaled { self.bed.height(place) } else { 0.0 },
            offset: 0.0,
            ledgers: [self.z, self.e],
            z_before: self.z,
            lines: 0,
            changed: 0,
            filament: [self.summary.extrusion_in, self.summary.extrusion_out],
            range: [f64::INFINITY, f64::NEG_INFINITY],
            largest: None,
            way: 0.0,
            length: 0,
            ending: 0,
            is_new: false,
        }
    }

    /// Follows one plain line: the numbers of Z and E to be written, where those of the line may not stay. `None` if the line is not
    /// for a run; nothing has changed then.
    #[inline(always)]
    fn plain_move(
        &mut self,
        level: &Level,
        run: &mut Run,
        plain: &Plain,
        heights: &Heights,
    ) -> Option<[Option<Rounded>; 2]> {
        let Level { z, weight, shift, absolute, e_absolute, .. } = *level;
        let from = run.place;
        let register = |word: Option<f64>, at: f64| word.map_or(at, |n| if absolute { n } else { at + n });
        let at = [register(plain.x(), run.at[0]), register(plain.y(), run.at[1])];
        let to = [at[0] + shift[0], at[1] + shift[1]];
        let e_word = plain.e();
        let e_at = e_word.map_or(run.e, |n| if e_absolute { n } else { run.e + n });
        let e_delta = e_word.map_or(0.0, |n| if e_absolute { e_at - run.e } else { n });
        let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
        let length = (dx * dx + dy * dy).sqrt();
        let pushes = e_delta > 0.0;
        // Not one that stands still, crosses a break line, or lays filament where that is to be told.
        if !(length > 0.0 && length <= level.longest)
            || weight > 0.0 && !(self.bed.no_break(from, to) && (!pushes || self.bed.is_within(to)))
            || pushes && !self.card.compared
        {
            return None;
        }
        let (mut height, mut factor) = (0.0, 1.0);
        if weight > 0.0 {
            let told = heights.of(from, to);
            height = told.map_or_else(|| self.bed.sheet.height(to[0], to[1]), |told| told.end);
            if pushes && level.scaled {
                factor = if length <= 1.0 {
                    let middle = told.map(|told| told.middle).filter(|middle| !middle.is_nan());
                    let middle = middle.unwrap_or_else(|| self.bed.middle(from, to));
                    flow_between([run.height, middle, height], level.slope)
                } else {
                    self.bed.is_told(from, run.height);
                    self.bed.flow(&Way { path: Path::Straight { from, to, length }, z: [z, z] })
                };
            }
        }
        let offset = self.bed.offset_at(height, weight);
        let [mut z_ledger, mut e_ledger] = run.ledgers;
        let z_how = level.z_how();
        let z_aim = offset + z_ledger.skew;
        let z_stays = (z_ledger.gap - z_aim).abs() <= z_how.half();
        let e_how = Spelling::of_e(e_absolute, 1.0, plain.e_decimals());
        let e_aim = e_ledger.aim + e_delta * (factor - 1.0);
        let e_stays = e_word.is_none() || e_ledger.may_stay(e_aim, e_how);
        // The taper has ended and E is to be set right, the marker goes first, or the floor is near.
        let drifts = e_word.is_some() && e_absolute && weight == 0.0 && e_ledger.gap.abs() > 1e-9;
        let is_new = !(z_stays && e_stays);
        if !e_stays && (e_at + e_aim).abs() > FAR {
            return None;
        }
        if drifts || is_new && !level.marked || offset < level.lowest {
            return None;
        }

        // From here on it is the run's.
        if run.lines > 0 {
            run.account(self.number);
        }
        run.z_before = z_ledger;
        let e_gap = e_ledger.gap;
        let z_new = (!z_stays).then(|| z_ledger.write(level.register, 0.0, z_aim, z_how));
        let mut e_new = None;
        if !e_stays {
            e_new = Some(e_ledger.write(e_at, e_delta, e_aim, e_how));
        } else if e_word.is_some() {
            e_ledger.stay(e_how);
        }
        e_ledger.aim = e_aim;
        if pushes && level.is_low {
            self.summary.footprint.lay(length, [z, z], |t| [from[0] + dx * t, from[1] + dy * t]);
        }
        if e_word.is_some() {
            run.filament[0] += e_delta;
            run.filament[1] += e_delta + (e_ledger.gap - e_gap);
        }
        run.lines += 1;
        run.changed += u64::from(is_new);
        (run.at, run.e, run.ledgers) = (at, e_at, [z_ledger, e_ledger]);
        (run.place, run.height, run.offset) = (to, height, offset);
        (run.way, run.is_new) = (length, is_new);
        (run.length, run.ending) = (plain.whole(), plain.whole() - plain.length());
        Some([z_new, e_new])
    }

    /// The end of a run: what it changed is told to all that the next line asks.
    #[inline]
    fn arrive(&mut self, level: &Level, run: Run, out: &[u8]) {
        if run.lines == 0 {
            return;
        }
        #[cfg(test)]
        {
            self.cruised += run.lines;
        }
        // What was held before the run stays where it is.
        self.settle();
        self.number += run.lines;
        self.output.bom = false;
        self.output.lines_changed += run.changed;
        self.reader.went_straight(run.at, run.e);
        self.output.learn_ending(&out[out.len() - run.ending..]);
        self.summary.moves_in += run.lines;
        self.summary.moves_out += run.lines;
        [self.summary.extrusion_in, self.summary.extrusion_out] = run.filament;
        if run.lines > 1 {
            self.summary.goes_between([level.z + run.range[0], level.z + run.range[1]]);
        }
        if let Some(largest) = run.largest {
            self.summary.goes_off(largest);
        }
        if level.weight > 0.0 {
            self.bed.is_told(run.place, run.height);
        }
        self.bed.went_plainly(level.weight, run.offset, run.way);
        self.meant = Some(run.offset);
        [self.z, self.e] = run.ledgers;
        let end = Ending { place: run.place, z: level.z, offset: run.offset, number: self.number };
        if level.holds {
            let Run { z_before, is_new: changed, .. } = run;
            let written = Written { z_before, register: level.register, delta: 0.0, how: level.z_how(), changed };
            self.hold(end, written, None, [run.length - run.ending, run.ending], out);
        } else {
            self.account(end);
        }
    }
}

impl Run {
    /// What the end of the last move says of the whole, when it is settled; `number` is that of the line before the run.
    #[inline]
    fn account(&mut self, number: u64) {
        let (offset, [x, y]) = (self.offset, self.place);
        self.range = [self.range[0].min(offset), self.range[1].max(offset)];
        if self.largest.is_none_or(|o| offset.abs() > o.offset.abs()) {
            self.largest = Some(Offset { offset, x, y, line: number + self.lines });
        }
    }
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
            if let Err(e) = rewriter.push_looked(&piece, &mut out) {
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

    #[test]
    fn plain_lines_above_the_taper_pass() {
        let map = &maps()[0];
        for relative in [false, true] {
            let mut text = begun(relative);
            for n in 0..600 {
                text += &format!("G1 X{:.2} Y50 E{n}\n", 20.0 + f64::from(n) * 0.1);
            }
            let mut rewriter = Rewriter::new(map, Options::default()).unwrap();
            let mut out = Vec::new();
            rewriter.push(text.as_bytes(), &mut out).unwrap();
            assert!(rewriter.work.coasted > 590, "{relative}: {}", rewriter.work.coasted);
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
