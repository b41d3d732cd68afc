//! The fewest straight pieces, joined end to end, that follow a curve within a tolerance: Imai and Iri, "Computational-geometric
//! methods for polygonal approximations of a curve", Computer Vision, Graphics, and Image Processing 36 (1986) 31-41, after O'Rourke,
//! "An on-line algorithm for fitting straight lines between data ranges", Communications of the ACM 24 (1981) 574-578.
//!
//! A vertex may lie anywhere in the tube around the curve. What n pieces reach is bounded, inside the tube, by the n-th piece of a
//! path whose every piece reaches as far as it can from some place of the piece before; so the next piece need only be sought from
//! the places of that one. Here these are many places along it, and the answer is the optimum but for their spacing: never too few.

/// Places along a piece from which the next one is sought.
const PLACES: u32 = 64;

/// The fewest pieces from the first sample `(t, value)` to the last, these two exactly, within `reach` of all between.
pub(super) fn pieces(samples: &[[f64; 2]], reach: f64) -> usize {
    let [start, .., end] = samples else { return 1 };
    let mut link = [*start, *start];
    let mut n = 1;
    loop {
        // From the end of the piece backwards: what reaches farthest from there is found first.
        let mut best: Option<[[f64; 2]; 2]> = None;
        let many = if n == 1 { 0 } else { PLACES };
        for k in 0..=many {
            let share = if many == 0 { 1.0 } else { 1.0 - f64::from(k) / f64::from(many) };
            let from = [0, 1].map(|axis| link[0][axis] + (link[1][axis] - link[0][axis]) * share);
            match farthest(samples, from, *end, reach) {
                None => return n,
                Some(exit) => {
                    if best.is_none_or(|[_, far]| exit[0] > far[0]) {
                        best = Some([from, exit]);
                    }
                }
            }
        }
        match best {
            // No progress: the start lies outside the tube. From sample to sample it is then.
            Some([_, far]) if far[0] <= link[1][0] => return samples.len() - 1,
            Some(better) => link = better,
            None => return n,
        }
        n += 1;
    }
}

/// Where the straight line from `from` that stays in the tube longest leaves it; `None` if one goes all the way to `end`.
fn farthest(samples: &[[f64; 2]], from: [f64; 2], end: [f64; 2], reach: f64) -> Option<[f64; 2]> {
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    let first = samples.partition_point(|[t, _]| *t <= from[0] + 1e-12);
    for (n, [t, v]) in samples.iter().enumerate().skip(first) {
        let run = t - from[0];
        let (l, h) = ((v - reach - from[1]) / run, (v + reach - from[1]) / run);
        let last = n + 1 == samples.len();
        let slope = if l > high {
            high
        } else if h < low {
            low
        } else if last {
            let slope = (end[1] - from[1]) / run;
            if slope >= low - 1e-12 && slope <= high + 1e-12 {
                return None;
            }
            // It reaches the end, but not that place: as near to it as it comes, and a sample short of it.
            let t = samples[n - 1][0].max(from[0]);
            return Some([t, from[1] + slope.clamp(low, high) * (t - from[0])]);
        } else {
            low = low.max(l);
            high = high.min(h);
            continue;
        };
        // Between this sample and the one before the line meets the wall that it leaves by.
        let wall = if l > high { -reach } else { reach };
        let [before, after] = [samples[n - 1], samples[n]].map(|[t, v]| [t, v + wall]);
        let gap = |[t, v]: [f64; 2]| from[1] + slope * (t - from[0]) - v;
        let (a, b) = if before[0] < from[0] { (0.0, gap(after)) } else { (gap(before), gap(after)) };
        let share = if (a - b).abs() > 0.0 { (a / (a - b)).clamp(0.0, 1.0) } else { 0.0 };
        let t = before[0].max(from[0]) + (after[0] - before[0].max(from[0])) * share;
        return Some([t, from[1] + slope * (t - from[0])]);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of a parabola f with second derivative c, in a tube of half-width r, a piece is 4 sqrt(r / c) long between two others, and
    /// (2 + sqrt 2) sqrt(r / c) where it begins on f itself: as steep as keeps it off the one wall, until it meets the other.
    #[test]
    fn a_parabola_by_theory() {
        let samples: Vec<[f64; 2]> = (0..=2000).map(|k| f64::from(k) / 2000.0).map(|t| [t, t * t]).collect();
        for reach in [0.2f64, 0.1, 0.03, 0.01, 0.003, 0.001] {
            let root = (reach / 2.0).sqrt();
            let ends = (2.0 + 2.0f64.sqrt()) * root;
            let want = match (1.0 - 2.0 * ends) / (4.0 * root) {
                inside if inside <= 0.0 => 2,
                inside => 2 + (0..1000).filter(|n| f64::from(*n) < inside).count(),
            };
            assert_eq!(pieces(&samples, reach), want, "{reach}");
        }
        assert_eq!(pieces(&samples, 0.251), 1);
        let line: Vec<[f64; 2]> = samples.iter().map(|[t, _]| [*t, 3.0 - 7.0 * t]).collect();
        assert_eq!(pieces(&line, 1e-9), 1);
    }

    /// A wave, where a piece that ends as far as it can may leave the next one a bad place: choosing along it may save one, and never
    /// costs one.
    #[test]
    fn a_place_along_the_piece_is_no_worse_than_its_end() {
        for waves in [1.0f64, 2.5, 4.0] {
            for reach in [0.3f64, 0.1, 0.05, 0.02] {
                let f = |t: f64| (t * waves * std::f64::consts::TAU).sin();
                let samples: Vec<[f64; 2]> = (0..=800).map(|k| f64::from(k) / 800.0).map(|t| [t, f(t)]).collect();
                let found = pieces(&samples, reach);
                assert!(found >= super::super::least::pieces(&samples, reach), "{waves} {reach}: {found}");
                assert!(found <= by_ends(&samples, reach), "{waves} {reach}: {found}");
            }
        }
    }

    /// Each piece from the very end of the one before.
    fn by_ends(samples: &[[f64; 2]], reach: f64) -> usize {
        let mut from = samples[0];
        let mut n = 1;
        while let Some(exit) = farthest(samples, from, samples[samples.len() - 1], reach) {
            from = exit;
            n += 1;
            assert!(n < 10_000);
        }
        n
    }
}
