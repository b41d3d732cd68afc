//! Splitting a move where the tolerance needs it, and nowhere else.
//!
//! The offset along a move is known at samples; between them it differs from straight by a bounded amount, so that a
//! polyline that keeps within a tube around the samples keeps the tolerance everywhere. Through the tube goes a path
//! of as few links as can be: each link is the line that reaches farthest, its end lies on the tube's wall (vertices
//! are free within the tube: Imai and Iri 1986), and the last two links meet where the wedge seen from the start of
//! one and the wedge seen from the end of the move overlap. The end itself may lie off too, where that saves a link.

/// The most samples along one move: a longer or rougher one is refused.
pub(crate) const SAMPLES_LIMIT: u32 = 100_000;

/// A vertex of the polyline: share of the move's length, and offset there.
pub(crate) type Vertex = (f64, f64);

/// Working memory, reused from move to move.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tube {
    /// Samples: t ascending from 0 to 1, offset.
    pub(crate) samples: Vec<Vertex>,
    back: Vec<[f64; 2]>,
    freed: Vec<Vertex>,
}

impl Tube {
    /// The vertices after the start, the last of them (1, `end`), of a polyline from (0, `start`) that keeps within
    /// `tau` of the samples (the first and last excepted, where it is what was asked for).
    #[inline]
    pub(crate) fn fewest(&mut self, start: f64, end: f64, tau: f64, into: &mut Vec<Vertex>) {
        into.clear();
        let last = self.samples.len() - 1;
        self.look_back(end, tau);
        let mut from = (0.0, start);
        let mut next = 1;
        loop {
            let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
            let mut meeting: Option<(f64, Vertex)> = None;
            let mut exit = None;
            for i in next..=last {
                let (t, f) = self.samples[i];
                let dt = t - from.0;
                if dt <= 0.0 {
                    continue;
                }
                if i == last {
                    let slope = (end - from.1) / dt;
                    if slope >= low && slope <= high {
                        into.push((1.0, end));
                        return;
                    }
                }
                let (l, h) = ((f - tau - from.1) / dt, (f + tau - from.1) / dt);
                if l > high || h < low {
                    exit = Some((i, if l > high { high } else { low }, if l > high { -tau } else { tau }));
                    break;
                }
                low = low.max(l);
                high = high.min(h);
                // Can the end be seen from here, through the wedge that has come this far?
                let [b_low, b_high] = self.back[i];
                if i < last && b_low <= b_high {
                    let (a, b) = ((from.1 + low * dt).max(b_low), (from.1 + high * dt).min(b_high));
                    if a <= b {
                        // Of all such places the one nearest to the middle of what is left.
                        let off = (t - (from.0 + 1.0) / 2.0).abs();
                        if meeting.is_none_or(|(best, _)| off < best) {
                            meeting = Some((off, (t, f64::midpoint(a, b))));
                        }
                    }
                }
            }
            if let Some((_, vertex)) = meeting {
                into.push(vertex);
                into.push((1.0, end));
                return;
            }
            let Some((i, slope, wall)) = exit else {
                // The wedge reaches the end but not its exact offset, and no place to meet was seen: take the last
                // sample but one, from which the end is always in sight.
                let (t, f) = self.samples[last - 1];
                if t > from.0 {
                    into.push((t, f));
                }
                into.push((1.0, end));
                return;
            };
            let (mut t, mut v) = self.leaves(from, slope, i, wall);
            if t <= from.0 {
                // No progress (the start lay outside the tube): go to the sample itself.
                (t, v) = self.samples[i];
            }
            if t >= 1.0 {
                into.push((1.0, end));
                return;
            }
            into.push((t, v));
            from = (t, v);
            next = if t >= self.samples[i].0 { i + 1 } else { i };
        }
    }

    /// As [`fewest`](Tube::fewest), but the end may lie off by `reach`. That is used where it saves a vertex and nowhere
    /// else; the end is then as near to the one that was asked for as the last link can come.
    #[inline]
    pub(crate) fn fewest_to_about(&mut self, start: f64, end: f64, tau: f64, reach: f64, into: &mut Vec<Vertex>) {
        self.fewest(start, end, tau, into);
        if into.len() > 1 && self.free(start, end, tau, reach, into.len() - 1) {
            core::mem::swap(into, &mut self.freed);
        }
    }

    /// Whether at most `most` links from (0, `start`) come within `reach` of (1, `end`); they are in `freed` then.
    #[inline]
    fn free(&mut self, start: f64, end: f64, tau: f64, reach: f64, most: usize) -> bool {
        self.freed.clear();
        let mut from = (0.0, start);
        let mut next = 1;
        while self.freed.len() < most {
            let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
            let mut exit = None;
            for (i, (t, f)) in self.samples.iter().enumerate().skip(next) {
                let dt = t - from.0;
                if dt <= 0.0 {
                    continue;
                }
                let (l, h) = ((f - tau - from.1) / dt, (f + tau - from.1) / dt);
                if l > high || h < low {
                    exit = Some((i, if l > high { high } else { low }, if l > high { -tau } else { tau }));
                    break;
                }
                low = low.max(l);
                high = high.min(h);
            }
            let Some((i, slope, wall)) = exit else {
                let dt = 1.0 - from.0;
                let (a, b) = ((from.1 + low * dt).max(end - reach), (from.1 + high * dt).min(end + reach));
                if a <= b {
                    self.freed.push((1.0, crate::number::within(end, a, b)));
                }
                return a <= b;
            };
            let at = self.leaves(from, slope, i, wall);
            if at.0 <= from.0 || at.0 >= 1.0 {
                return false;
            }
            self.freed.push(at);
            next = if at.0 >= self.samples[i].0 { i + 1 } else { i };
            from = at;
        }
        false
    }

    /// The offsets at the end, lowest and highest, that one link from `from` reaches within the tube.
    #[inline]
    pub(crate) fn seen_from(&self, from: Vertex, tau: f64) -> [f64; 2] {
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for (t, f) in &self.samples {
            let dt = t - from.0;
            if dt > 0.0 {
                low = low.max((f - tau - from.1) / dt);
                high = high.min((f + tau - from.1) / dt);
            }
        }
        let dt = 1.0 - from.0;
        [from.1 + low * dt, from.1 + high * dt]
    }

    /// Where the line from `from` leaves the tube by the wall at offset `wall`, between samples `i - 1` and `i`.
    #[inline]
    fn leaves(&self, from: Vertex, slope: f64, i: usize, wall: f64) -> Vertex {
        let (ta, fa) = self.samples[i - 1];
        let (tb, fb) = self.samples[i];
        let gap = |t: f64, f: f64| from.1 + slope * (t - from.0) - (f + wall);
        let (ga, gb) = (gap(ta, fa), gap(tb, fb));
        let share = if (ga - gb).abs() > 0.0 { crate::number::within(ga / (ga - gb), 0.0, 1.0) } else { 0.0 };
        (ta + (tb - ta) * share, fa + (fb - fa) * share + wall)
    }

    /// For each sample the interval of offsets from which the end is seen, empty (low > high) where it is not.
    #[inline]
    fn look_back(&mut self, end: f64, tau: f64) {
        self.back.clear();
        self.back.resize(self.samples.len(), [f64::INFINITY, f64::NEG_INFINITY]);
        // Slopes of lines through the end, seen backwards.
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for i in (1..self.samples.len() - 1).rev() {
            let (t, f) = self.samples[i];
            let dt = 1.0 - t;
            if dt <= 0.0 {
                continue;
            }
            low = low.max((end - f - tau) / dt);
            high = high.min((end - f + tau) / dt);
            if low > high {
                return;
            }
            self.back[i] = [end - high * dt, end - low * dt];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn offset(vertices: &[Vertex], start: f64, t: f64) -> f64 {
        let mut a = (0.0, start);
        for b in vertices {
            if t <= b.0 {
                return a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0);
            }
            a = *b;
        }
        a.1
    }

    #[test]
    fn a_parabola_takes_the_links_that_theory_tells() {
        // f = 4 s t (1 - t): with vertices free in a tube of half-width tau, links are 4 sqrt(tau / f'') long inside,
        // and 2 + 2 sqrt 2 times sqrt(tau / f'') together with the end at either side, where the offset is given.
        for sag in [0.004f64, 0.02, 0.1, 0.5, 2.0] {
            let tau: f64 = 0.005;
            let n = 4000;
            let samples =
                (0..=n).map(|i| f64::from(i) / f64::from(n)).map(|t| (t, 4.0 * sag * t * (1.0 - t))).collect();
            let mut tube = Tube { samples, ..Tube::default() };
            let mut out = Vec::new();
            tube.fewest(0.0, 0.0, tau, &mut out);
            let root = (tau / (8.0 * sag)).sqrt();
            let end = (2.0f64.sqrt() + 2.0) * root;
            let mut fewest = 1;
            if sag > tau {
                let inside = ((1.0 - 2.0 * end) / (4.0 * root)).ceil().max(0.0);
                fewest = 2 + (0..100).filter(|n| f64::from(*n) < inside).count();
            }
            assert_eq!(out.len(), fewest, "{sag}");
        }
    }

    #[test]
    fn an_end_lies_off_only_where_that_saves_a_link() {
        // f = 4 s t (1 - t), from 0 to the end at c tau: the chord is off by at most s - c tau / 2 + (c tau)^2 / (16 s),
        // which is tau for s = (2 + c + sqrt(4 + 4 c)) tau / 4: with c = 1 for s = 1.457 tau, and s = tau where c = 0.
        let tau: f64 = 0.005;
        let reach = 0.9 * tau;
        let most = (2.0 + 0.9 + (4.0f64 + 4.0 * 0.9).sqrt()) / 4.0;
        for (s, links, off) in [(0.99, 1, false), (1.01, 1, true), (most - 0.01, 1, true), (most + 0.01, 2, false)] {
            let samples =
                (0..=4000).map(|i| f64::from(i) / 4000.0).map(|t| (t, 4.0 * s * tau * t * (1.0 - t))).collect();
            let mut tube = Tube { samples, ..Tube::default() };
            let mut out = Vec::new();
            tube.fewest_to_about(0.0, 0.0, tau, reach, &mut out);
            assert_eq!((out.len(), out[out.len() - 1].1.abs() > 0.0), (links, off), "{s}");
        }
    }

    proptest! {
        #[test]
        fn stays_in_the_tube_and_reaches_the_end(
            steps in proptest::collection::vec((0.01f64..1.0, -0.01f64..0.01), 1..60),
            tau in 0.001f64..0.02, start in -1.0f64..1.0, end in -1.0f64..1.0,
        ) {
            let total: f64 = steps.iter().map(|s| s.0).sum();
            let mut at = (0.0, 0.0);
            let mut samples = vec![at];
            for (dt, df) in &steps {
                at = (at.0 + dt / total, at.1 + df);
                samples.push(at);
            }
            let n = samples.len();
            samples[n - 1].0 = 1.0;
            let (start, end) = (samples[0].1 + start * tau, samples[n - 1].1 + end * tau);
            let mut tube = Tube { samples: samples.clone(), ..Tube::default() };
            let mut out = Vec::new();
            tube.fewest(start, end, tau, &mut out);
            prop_assert!(out.windows(2).all(|w| w[0].0 < w[1].0));
            prop_assert_eq!(*out.last().unwrap(), (1.0, end));
            for (t, f) in &samples {
                let v = offset(&out, start, *t);
                prop_assert!((v - f).abs() <= tau * (1.0 + 1e-9) + 1e-12, "{} at {}", v - f, t);
            }
            // Vertices between samples too: the tube is straight there.
            prop_assert!(out.len() < n);

            let mut about = Vec::new();
            tube.fewest_to_about(start, end, tau, tau / 2.0, &mut about);
            prop_assert!(about.windows(2).all(|w| w[0].0 < w[1].0));
            prop_assert!(about.len() < out.len() || about == out);
            let (t, v) = *about.last().unwrap();
            prop_assert!(t >= 1.0 && (v - end).abs() <= tau / 2.0 * (1.0 + 1e-9));
            for (t, f) in &samples[..n - 1] {
                let v = offset(&about, start, *t);
                prop_assert!((v - f).abs() <= tau * (1.0 + 1e-9) + 1e-12, "{} at {}", v - f, t);
            }
        }
    }
}
