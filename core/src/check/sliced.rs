//! The layers that a rewritten toolpath was sliced with, told from the toolpath alone.
//!
//! Undoing the definition gives back the slicer's Z but for the tolerance and the digits: the Zs of one layer lie close
//! together, and what is sliced in layers has nothing between them. Their middle, by length of path, is the layer.

/// Bins of this width, mm.
const BIN: f64 = 0.001;
/// Nothing for so many bins, and a layer has ended.
const EMPTY: i32 = 15;
/// A layer is no wider than so many bins: twice the default tolerance on either side. What is wider rises all the while, as in a spiral.
const WIDEST: i32 = 40;
/// In what rises all the while there is a layer every so many bins.
const STEP: i32 = 10;
/// About so many bins are held at the most: a metre and a half of Z, all filled. What comes after is left out.
const MOST: usize = 1_500_000;

/// Undone Zs by length of path.
#[derive(Debug, Clone, Default)]
pub(super) struct Sliced {
    /// Length, mm, by bin, ascending.
    bins: Vec<(i32, f64)>,
    /// What belongs to bins that were not among them, in the order that it came. It is sorted in when there is much of it.
    new: Vec<(i32, f64)>,
    /// The bin of what was noted last, and the length that is still to be put there.
    last: Option<(i32, f64)>,
}

impl Sliced {
    /// Filament was laid over so many mm at this Z.
    #[inline]
    pub(super) fn note(&mut self, z: f64, length: f64) {
        let bin = libm::round(z / BIN);
        if bin.is_nan() || bin.abs() > 1e9 {
            return;
        }
        #[expect(clippy::cast_possible_truncation, reason = "within 10^9")]
        let bin = bin as i32;
        match &mut self.last {
            Some((last, sum)) if *last == bin => *sum += length,
            _ => {
                self.put();
                self.last = Some((bin, length));
            }
        }
    }

    /// What was noted last goes to its bin.
    #[inline]
    fn put(&mut self) {
        let Some((bin, length)) = self.last.take() else { return };
        if let Ok(at) = self.bins.binary_search_by_key(&bin, |(bin, _)| *bin) {
            self.bins[at].1 += length;
        } else if self.bins.len() < MOST {
            self.new.push((bin, length));
            if self.new.len() > 100 + self.bins.len() / 8 {
                self.sort_in();
            }
        }
    }

    /// The new ones to the others: sums go in the order that they came.
    fn sort_in(&mut self) {
        self.bins.append(&mut self.new);
        crate::order::sort_by_key(&mut self.bins, |(bin, _)| *bin);
        self.bins.dedup_by(|next, first| {
            let same = next.0 == first.0;
            if same {
                first.1 += next.1;
            }
            same
        });
    }

    /// The layers' Z, mm, ascending.
    pub(super) fn layers(&mut self) -> Vec<f64> {
        self.put();
        self.sort_in();
        let mut layers = Vec::new();
        let mut rest = self.bins.as_slice();
        while let Some((first, _)) = rest.first() {
            let end = rest.windows(2).position(|w| w[1].0 - w[0].0 > EMPTY).map_or(rest.len(), |at| at + 1);
            let (layer, after) = rest.split_at(end);
            let last = layer.last().map_or(*first, |(b, _)| *b);
            if last - first <= WIDEST {
                layers.push(f64::from(middle(layer)) * BIN);
            } else {
                let mut bin = *first;
                while bin < last + STEP {
                    layers.push(f64::from(bin) * BIN);
                    bin += STEP;
                }
            }
            rest = after;
        }
        layers
    }
}

/// The bin on either side of which half the length lies.
fn middle(bins: &[(i32, f64)]) -> i32 {
    let all: f64 = bins.iter().map(|(_, length)| length).sum();
    let mut sum = 0.0;
    let half = bins.iter().find(|(_, length)| {
        sum += length;
        sum >= 0.5 * all
    });
    half.or(bins.first()).map_or(0, |(bin, _)| *bin)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn layers_are_the_middles_of_what_lies_close_together() {
        let mut sliced = Sliced::default();
        for (z, length) in [(0.196, 2.0), (0.2, 10.0), (0.2041, 3.0), (0.4, 5.0), (0.404, 1.0), (0.3, 0.5)] {
            sliced.note(z, length);
        }
        let layers = sliced.layers();
        assert_eq!(layers.len(), 3, "{layers:?}");
        for (layer, z) in layers.iter().zip([0.2, 0.3, 0.4]) {
            assert!((layer - z).abs() < 1e-9, "{layers:?}");
        }
    }

    #[test]
    fn a_spiral_has_layers_all_the_way() {
        let mut sliced = Sliced::default();
        for n in 0..2000 {
            sliced.note(0.2 + f64::from(n) * 0.0007, 1.0);
        }
        let layers = sliced.layers();
        assert!(layers.windows(2).all(|w| (w[1] - w[0] - 0.01).abs() < 1e-9), "{layers:?}");
        assert!(layers[0] <= 0.2001 && layers.last().is_some_and(|l| *l >= 1.599));
        sliced.note(f64::NAN, 1.0);
        sliced.note(1e300, 1.0);
        assert_eq!(sliced.layers(), layers);
    }

    #[test]
    fn many_bins_downwards_take_no_longer() {
        // In a sorted list each would have to be put first: a minute and more.
        let mut sliced = Sliced::default();
        for n in (0..1_200_000).rev() {
            sliced.note(f64::from(n) * BIN, 1.0);
        }
        assert_eq!(sliced.layers().len(), 120_001);
    }
}
