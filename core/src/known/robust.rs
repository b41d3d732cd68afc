//! A card on which readings that are far off weigh less.
//!
//! Readings are taken to scatter as Student's t with four degrees of freedom, which has room for a slip of the hand: each is a normal one of a
//! weight of its own, and the weights are found by expectation and maximisation (Lange, Little and Taylor 1989, "Robust statistical modeling
//! using the t distribution", Journal of the American Statistical Association 84, 881-896, section 3). A reading's weight becomes
//! 5 / (4 + d), d the expected square of its distance from the bed, in spreads. Likelihoods of t have more maxima than one, and a bed that is bent
//! enough passes through any slip: the first round takes each reading's distance from what the others say of its place.

use super::deletion::deletions;
use super::model::{MAX_PLACES, Model};
use crate::card::Card;
use crate::number::within;
use crate::{HeightMap, known};

/// Degrees of freedom of the t distribution: Lange, Little and Taylor's own choice where nothing is known of the tails.
const FREEDOM: f64 = 4.0;

/// Rounds; the weights hardly move after five.
const ROUNDS: usize = 10;

/// Readings that keep half of their weight or more are left as they are.
const LESS: f64 = 0.5;

/// Largest spread that a card takes for a reading, mm.
const WIDEST: f64 = 0.5;

/// The card with a spread of its own for each reading that is to weigh less than half of what it did, and the numbers of these readings
/// on it, from 0. Nothing else is changed; a map of it that follows all readings follows those less.
///
/// Only a thin-plate map smooths, and a bilinear one takes no notice. On a card without any spread the map passes through every reading;
/// with the new ones it smooths, all others having the method's [usual spread](crate::card::Method::usual_spread).
///
/// It is never done unless it is asked for: a reading may be odd because the bed is.
///
/// ```
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let mut points = String::new();
/// # for k in 0..25 {
/// #     let value = if k == 12 { 0.5 } else { 0.1 };
/// #     points += &format!("[{}, {}, {value}],", 20 + 40 * (k % 5), 20 + 40 * (k / 5));
/// # }
/// # let text = format!("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\nspread = 0.02\npoints = [{points}]\n");
/// // A flat bed, and a slip of 0.4 mm at the thirteenth of 25 points.
/// let map = HeightMap::fit(&Card::parse(&text)?, SurfaceKind::ThinPlate)?;
/// let (card, less) = evengap::known::robust(&map);
/// assert_eq!(less, [12]);
/// assert!(card.readings.points[12].spread.is_some_and(|spread| spread > 0.02));
/// # Ok::<(), evengap::Error>(())
/// ```
#[must_use]
pub fn robust(map: &HeightMap) -> (Card, Vec<usize>) {
    let mut data = known::readings(map);
    let before = data.weights.clone().unwrap_or_else(|| vec![1.0; data.points.len()]);
    let against = deletions(&data);
    let mut squares: Vec<f64> =
        against.iter().map(|d| d.map_or(1.0, |d| (d.error / d.deviation) * (d.error / d.deviation))).collect();
    let mut kept = vec![1.0; before.len()];
    // Too many for one model: the first round alone.
    let rounds = if data.points.len() > MAX_PLACES { 1 } else { ROUNDS };
    for round in 0..rounds {
        if round > 0 {
            let Some(model) = Model::of(&data) else { break };
            squares = model.squares(&data, &before);
        }
        for (slot, square) in kept.iter_mut().zip(&squares) {
            *slot = (FREEDOM + 1.0) / (FREEDOM + square);
        }
        data.weights = Some(before.iter().zip(&kept).map(|(w, k)| w * k).collect());
    }
    let mut card = map.card().clone();
    let mut less = Vec::new();
    for (index, (point, kept)) in card.readings.points.iter_mut().zip(&kept).enumerate() {
        if *kept < LESS {
            let spread = data.noise / (before[index] * kept).sqrt();
            // Four decimals, as one writes a spread.
            point.spread = Some(within(libm::round(spread * 1e4) / 1e4, 1e-4, WIDEST));
            less.push(index);
        }
    }
    (card, less)
}

impl Model {
    /// The expected square of each reading's distance from the bed, over its variance as the weights `own` have it.
    fn squares(&self, data: &known::Data, own: &[f64]) -> Vec<f64> {
        let root = self.basis.root();
        let mut out = vec![0.0; own.len()];
        for node in &self.nodes {
            let left_out = node.left_out(self);
            for (k, slot) in out.iter_mut().enumerate() {
                let i = self.places.of[k];
                let [diagonal, signal] = left_out[i];
                let off = data.heights[k] - self.places.mean[i] + node.noise2 * signal / root[i];
                let open = node.noise2 / self.places.weight[i] * (1.0 - node.noise2 * diagonal).max(0.0);
                *slot += node.share * own[k] * (off * off + open) / node.noise2;
            }
        }
        out
    }
}
