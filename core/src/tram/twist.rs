//! Whether a card shows that the plate is twisted between its four screws.

use super::plate::Plate;
use crate::HeightMap;
use crate::card::Screws;
use crate::least_squares::fit;

/// What the card shows of a twist between four screws.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Twist {
    /// How far the plate stands higher at the two screws of `high` than at the other two, mm, after the tilt is gone;
    /// not negative.
    pub twist_mm: f64,
    /// One standard deviation of that, mm: from the readings' spread, or from what tilt, twist and bow leave of the
    /// readings where that is more.
    pub spread_mm: f64,
    /// The two screws, diagonally across, where the plate stands higher.
    pub high: [String; 2],
    /// Whether the readings show it: it is more than [`SHOWS`] standard deviations.
    pub shows: bool,
    /// Whether the plan uses it.
    pub used: bool,
    /// Highest minus lowest reading that four heights would leave, by least squares, mm.
    pub range_after_mm: f64,
}

/// A twist of more standard deviations than this is shown by the readings: by chance it would be on 3 cards in 1,000 of
/// plates without twist.
pub const SHOWS: f64 = 3.0;

/// The least part of its length that a term must have outside the others' span to be told from them.
pub(super) const TOLD: f64 = 0.1;

/// `None` where there are not four screws round the plate, or the readings cannot tell.
///
/// A bow must not be taken for a twist: 1, u, v, u v, u^2 and v^2 are fitted together where the readings can tell them
/// apart, else u^2 + v^2 with the first four, else those alone. u and v as in [`Plate`].
pub(super) fn shown(map: &HeightMap, screws: &Screws, noise: f64, used: bool) -> Option<Twist> {
    let (plate, round) = Plate::twisting(&screws.at)?;
    let readings = map.readings();
    let heights: Vec<f64> = readings.iter().map(|r| r.height).collect();
    let weights = map.card().readings.weights();
    let rows = |more: fn([f64; 2]) -> Vec<f64>| -> Vec<Vec<f64>> {
        let row = |x, y| [plate.terms(x, y), more(plate.place(x, y))].concat();
        readings.iter().map(|r| row(r.x, r.y)).collect()
    };
    let four = rows(|_| vec![]);
    let plain = fit(&four, &heights, weights.as_deref()).filter(|f| f.told > TOLD)?;
    let with_bow: [fn([f64; 2]) -> Vec<f64>; 2] = [|[u, v]| vec![u * u, v * v], |[u, v]| vec![u * u + v * v]];
    let (rows, found) = with_bow
        .into_iter()
        .find_map(|more| {
            let rows = rows(more);
            let found = fit(&rows, &heights, weights.as_deref()).filter(|f| f.told > TOLD)?;
            Some((rows, found))
        })
        .unwrap_or_else(|| (four.clone(), plain.clone()));
    let free = crate::surface::places::count(readings.len().saturating_sub(found.coefficients.len()));
    let weight = |k: usize| weights.as_ref().and_then(|w| w.get(k).copied()).unwrap_or(1.0);
    let squares: f64 = (0..rows.len()).map(|k| weight(k) * (heights[k] - found.value(&rows[k])).powi(2)).sum();
    let scatter = if free > 0.0 { (squares / free).sqrt() } else { 0.0 };
    // The last of the four terms at the screws: the mean over one diagonal less that over the other.
    let q = round.map(|i| plate.terms(screws.at[i].x, screws.at[i].y)[3]);
    let span = 0.5 * (q[0] + q[2] - q[1] - q[3]);
    let twist = found.coefficients[3] * span;
    let spread_mm = noise.max(scatter) * found.covariance[(3, 3)].sqrt() * span.abs();
    let high = if twist >= 0.0 { [round[0], round[2]] } else { [round[1], round[3]] };
    let left: Vec<f64> = four.iter().zip(&heights).map(|(row, h)| h - plain.value(row)).collect();
    Some(Twist {
        twist_mm: twist.abs(),
        spread_mm,
        high: high.map(|i| screws.at[i].name.clone()),
        shows: twist.abs() > SHOWS * spread_mm,
        used,
        range_after_mm: super::range(&left),
    })
}
