//! Readings pooled into places: readings at one place become their mean, with the weight of all of them.

/// Readings nearer than this part of the readings' extent are at one place.
pub(crate) const SAME_PLACE: f64 = 1e-6;

/// Distinct places and what was read there.
#[derive(Debug, Clone)]
pub(crate) struct Places {
    /// Where, in the caller's unit: the first reading's place of each group.
    pub(crate) at: Vec<[f64; 2]>,
    /// Weighted mean of the values there.
    pub(crate) mean: Vec<f64>,
    /// Sum of the weights there.
    pub(crate) weight: Vec<f64>,
    /// The place of each reading.
    pub(crate) of: Vec<usize>,
    /// Whether a single reading was taken there.
    pub(crate) alone: Vec<bool>,
    /// Weighted sum of squares of the readings about their place's mean.
    pub(crate) within: f64,
    /// `[x0, y0, x1, y1]` of the places.
    pub(crate) bounds: [f64; 4],
}

impl Places {
    /// Pools readings. All numbers must be finite, weights positive, and there must be one at least.
    pub(crate) fn pool(points: &[[f64; 2]], values: &[f64], weights: Option<&[f64]>) -> Places {
        let mut bounds = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        for p in points {
            bounds = [bounds[0].min(p[0]), bounds[1].min(p[1]), bounds[2].max(p[0]), bounds[3].max(p[1])];
        }
        let near = SAME_PLACE * (bounds[2] - bounds[0]).max(bounds[3] - bounds[1]);
        let weight_of = |k: usize| weights.and_then(|w| w.get(k).copied()).unwrap_or(1.0);

        // Squares of the tolerance's size: a reading's place can only be in its own or a neighbouring one. Places are numbered
        // in the order of their first reading.
        let cell = |p: &[f64; 2]| [0, 1].map(|k| if near > 0.0 { ((p[k] - bounds[k]) / near).floor() } else { 0.0 });
        #[expect(clippy::cast_possible_truncation, reason = "at most a million squares a side")]
        let key = |c: [f64; 2]| (c[0] as i64, c[1] as i64);
        let mut squares: Vec<(i64, i64)> = points.iter().map(|p| key(cell(p))).collect();
        crate::order::sort_by(&mut squares, Ord::cmp);
        squares.dedup();
        let mut first_there: Vec<Vec<usize>> = vec![vec![]; squares.len()];
        let mut places =
            Places { at: vec![], mean: vec![], weight: vec![], of: vec![], alone: vec![], within: 0.0, bounds };
        for (k, p) in points.iter().enumerate() {
            let (i, j) = key(cell(p));
            let close = |place: &usize| libm::hypot(p[0] - places.at[*place][0], p[1] - places.at[*place][1]) <= near;
            let found = (i - 1..=i + 1)
                .flat_map(|i| (j - 1..=j + 1).map(move |j| (i, j)))
                .filter_map(|square| squares.binary_search(&square).ok())
                .flat_map(|at| first_there[at].iter().copied())
                .filter(close)
                .min();
            if let Some(place) = found {
                places.alone[place] = false;
            }
            let place = found.unwrap_or_else(|| {
                let new = places.at.len();
                places.at.push(*p);
                places.mean.push(0.0);
                places.weight.push(0.0);
                places.alone.push(true);
                if let Ok(at) = squares.binary_search(&(i, j)) {
                    first_there[at].push(new);
                }
                new
            });
            places.of.push(place);
            places.weight[place] += weight_of(k);
        }
        for (k, &place) in places.of.iter().enumerate() {
            // A place read once keeps its value to the bit.
            places.mean[place] += values[k] * (weight_of(k) / places.weight[place]);
        }
        for (k, &place) in places.of.iter().enumerate() {
            let d = values[k] - places.mean[place];
            places.within += weight_of(k) * d * d;
        }
        places
    }

    /// The larger side of the bounding rectangle.
    pub(crate) fn extent(&self) -> f64 {
        (self.bounds[2] - self.bounds[0]).max(self.bounds[3] - self.bounds[1])
    }

    /// How far the places are from lying on one line: the second singular value of their centred coordinates over the
    /// first, 0 for a line (or a single point), 1 for a spread that is the same all ways.
    pub(crate) fn breadth(&self) -> f64 {
        let n = count(self.at.len());
        let scale = self.extent();
        if scale <= 0.0 {
            return 0.0;
        }
        let (mx, my) = self.at.iter().fold((0.0, 0.0), |(x, y), p| (x + p[0] / n, y + p[1] / n));
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for p in &self.at {
            let (x, y) = ((p[0] - mx) / scale, (p[1] - my) / scale);
            xx += x * x;
            xy += x * y;
            yy += y * y;
        }
        // Eigenvalues of the 2 x 2 scatter matrix; the smaller one by the scatter about the long axis itself, which keeps
        // its digits where `trace - root` would lose them.
        let angle = 0.5 * libm::atan2(2.0 * xy, xx - yy);
        let (c, s) = (libm::cos(angle), libm::sin(angle));
        let (mut along, mut across) = (0.0, 0.0);
        for p in &self.at {
            let (x, y) = ((p[0] - mx) / scale, (p[1] - my) / scale);
            along += (c * x + s * y) * (c * x + s * y);
            across += (c * y - s * x) * (c * y - s * x);
        }
        if along > 0.0 { (across / along).sqrt() } else { 0.0 }
    }
}

/// A count as a number: exact below 2^53.
pub(crate) fn count(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "no card has 2^53 readings")]
    let n = n as f64;
    n
}
