//! Plain straight moves at one height, one after another: what files are made of, done quickly.
//!
//! A quick way beside [`Work::follow`](super::motion) and never instead of it: a line that may need more than one piece, a
//! warning, the marker before it or anything else out of the ordinary is left to that. The bytes are the same either way (a
//! test holds that).

use super::bed::Way;
use super::held::{Ending, Written};
use super::ledger::Decimal;
use super::path::Path;
use super::rewriter::Work;
use super::summary::WarningKind;
use crate::toolpath::plain::Plain;
use crate::toolpath::words::Line;

impl Work {
    /// Takes as many plain lines from the start of `bytes` as there are, and tells their length. `line` is the last line that
    /// was read in the other way.
    pub(super) fn cruise(&mut self, bytes: &[u8], line: &Line, out: &mut Vec<u8>) -> usize {
        let mut done = 0;
        if self.may_cruise(line) {
            while let Some(plain) = Plain::read(&bytes[done..])
                && self.plain_move(&plain, &bytes[done..done + plain.whole], out)
            {
                done += plain.whole;
            }
        }
        done
    }

    /// Whether what no plain line changes is as nearly all files have it.
    fn may_cruise(&self, line: &Line) -> bool {
        let state = self.reader.state();
        #[expect(clippy::float_cmp, reason = "one of two constants")]
        let millimetres = state.unit == 1.0;
        let told = || self.summary.warnings.iter().any(|w| w.kind == WarningKind::EModeUnsaid);
        self.quick
            && self.number > 0
            && millimetres
            && state.absolute
            && state.axes.iter().all(|a| a.known)
            && !line.is_noise()
            && (state.e_said || told())
    }

    /// Follows one plain line, or leaves everything as it is and says so.
    #[inline]
    fn plain_move(&mut self, plain: &Plain, whole: &[u8], out: &mut Vec<u8>) -> bool {
        let state = self.reader.state();
        let [x, y, z] = state.axes;
        let z = z.place();
        let from = [x.place(), y.place()];
        let to = [(plain.get(b'X'), x, from[0]), (plain.get(b'Y'), y, from[1])]
            .map(|(word, axis, from)| word.map_or(from, |n| n.value + axis.shift));
        let (e_word, e_before, e_absolute) = (plain.get(b'E'), state.e, state.e_absolute);
        let e_after = e_word.map_or(e_before, |n| if e_absolute { n.value } else { e_before + n.value });
        let e_delta = e_word.map_or(0.0, |n| if e_absolute { e_after - e_before } else { n.value });
        let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
        let length = (dx * dx + dy * dy).sqrt();
        let weight = self.bed.weight.at(z);
        let travels = dx != 0.0 || dy != 0.0;
        if !travels || self.output.muted || !self.bed.is_plain(weight, from, to, length) {
            return false;
        }
        let pushes = e_delta > 0.0;
        if pushes && !(self.card.compared && (weight == 0.0 || self.bed.is_within(to))) {
            return false;
        }
        let way = Way { path: Path::Straight { from, to, length }, z: [z, z] };
        let factor = if pushes && self.options.flow { self.bed.flow(&way) } else { 1.0 };
        let offset = self.bed.offset(to, z);
        let z_how = self.place_spelling(true, None);
        let z_aim = offset + self.z.skew;
        let z_stays = (self.z.gap - z_aim).abs() <= z_how.half();
        let e_how = self.e_spelling_of(e_word.map_or(0, |n| n.decimals));
        let e_aim = self.e.aim + e_delta * (factor - 1.0);
        let e_stays = e_word.is_none() || self.e.may_stay(e_aim, e_how);
        let changed = !(z_stays && e_stays);
        // The taper has ended and E is to be set right, or the marker goes first.
        let drifts = e_word.is_some() && e_absolute && weight == 0.0 && self.e.gap.abs() > 1e-9;
        if drifts || changed && !self.output.marked {
            return false;
        }

        // From here on it is this line's way.
        self.number += 1;
        #[cfg(test)]
        {
            self.cruised += 1;
        }
        self.output.bom = false;
        self.output.learn_ending(&whole[plain.length..]);
        self.reader.goes(plain);
        self.summary.moves_in += 1;
        self.summary.moves_out += 1;
        self.summary.extrusion_in += e_delta;
        self.bed.went_plainly(weight, offset, length);
        self.settle();
        let end = Ending { place: to, z, offset, number: self.number };
        let muted = self.output.muted;
        let holds = weight > 0.0 && self.bed.is_bent() && !muted;
        if !holds {
            self.account(end);
        }
        self.meant = Some(offset);
        let (z_before, e_gap) = (self.z, self.e.gap);
        let register = self.reader.state().axes[2].register;
        let z_new = (!z_stays).then(|| self.z.write(register, 0.0, z_aim, z_how));
        let mut e_new = None;
        if !e_stays {
            e_new = Some(self.e.write(e_after, e_delta, e_aim, e_how));
        } else if e_word.is_some() {
            self.e.stay(e_how);
        }
        self.e.aim = e_aim;
        let before = out.len();
        self.output.lines_changed += u64::from(changed);
        if muted {
            // Refused: only the reason is still being gathered.
        } else if changed {
            spell(plain, whole, z_new, e_new, out);
        } else {
            out.extend_from_slice(whole);
        }
        if holds {
            let written = Written { z_before, register, delta: 0.0, how: z_how, changed };
            let ending = plain.whole - plain.length;
            self.hold(end, written, None, [out.len() - before - ending, ending], out);
        }
        if e_word.is_some() {
            self.summary.extrusion_out += e_delta + (self.e.gap - e_gap);
        }
        true
    }
}

/// Writes the line with a Z word behind X and Y, and another number for E.
fn spell(plain: &Plain, whole: &[u8], z: Option<Decimal>, e: Option<Decimal>, out: &mut Vec<u8>) {
    let mut done = 0;
    let [e_from, e_to] = plain.e_at;
    let filament = |done: &mut usize, out: &mut Vec<u8>| {
        if let Some(e) = e {
            out.extend_from_slice(&whole[*done..e_from]);
            e.write(out);
            *done = e_to;
        }
    };
    let e_first = e_from < plain.anchor;
    if e_first {
        filament(&mut done, out);
    }
    if let Some(z) = z {
        out.extend_from_slice(&whole[done..plain.anchor]);
        out.extend_from_slice(b" Z");
        z.write(out);
        done = plain.anchor;
    }
    if !e_first {
        filament(&mut done, out);
    }
    out.extend_from_slice(&whole[done..]);
}

#[cfg(test)]
mod tests {
    use crate::follow::{EMode, Options, Rewriter, Taper};
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
    fn run(text: &[u8], map: &HeightMap, options: Options, quick: bool, sizes: &[usize]) -> (String, usize) {
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
            floor in prop_oneof![4 => Just(0.0), 1 => Just(0.3)],
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
