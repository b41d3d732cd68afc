//! Which surface suits a card: the one that predicts readings better which it has not seen.

use super::grid::{Grid, lines_of};
use super::places::{Places, count};
use super::thin_plate::{MAX_THIN_PLATE_PLACES, Smoothing, ThinPlate};
use super::{HeightMap, SurfaceKind};
use crate::number::Shown;
use crate::{Card, Error};

/// Which surface was chosen, and why.
///
/// As [`Display`](core::fmt::Display): the surface and the reason, in one line without a full stop.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Choice {
    /// The surface.
    pub surface: SurfaceKind,
    /// What it was chosen by.
    pub because: Because,
}

/// Why a surface was chosen.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(tag = "what", rename_all = "kebab-case", rename_all_fields = "snake_case")]
#[non_exhaustive]
pub enum Because {
    /// The readings are no full grid: there is no bilinear surface.
    NoGrid,
    /// The grid has no line between others: nothing can be left out of it.
    NoInnerLine,
    /// There are more places than a thin plate is fitted to.
    TooManyPlaces,
    /// Of the two its error is smaller. Root mean square of readings left out, less what the surface without them says, mm.
    Predicts {
        /// The thin plate's.
        thin_plate: f64,
        /// The bilinear surface's.
        bilinear: f64,
        /// Of so many readings' places.
        places: usize,
    },
}

/// Inner lines are left out in so many lots, each line with both of its neighbours kept.
const LOTS: usize = 3;

/// Chooses a card's surface by cross-validation (Stone 1974, "Cross-validatory choice and assessment of statistical predictions", Journal of
/// the Royal Statistical Society B 36, 111-147).
///
/// A bilinear surface without one of its nodes is none. So whole lines of the grid are left out: of its inner columns every third, three times,
/// and the same with its rows. Each time both surfaces are made of the rest, the thin plate smoothed as the card says, and asked for the
/// heights that were left out. The one with the smaller root mean square error (places by their weight) is chosen, the thin plate
/// where they are alike.
///
/// Measured on 1,080 invented beds, of the families that [`crate::known`] speaks of and creased ones, grids of 16, 25 and 49 readings with
/// spreads of 0.01 and 0.02 mm (`tests/tests/which_surface.rs`): between the readings the thin plate is off by 0.0115 mm (root mean square), the
/// bilinear surface by 0.0133 mm, the chosen one by 0.0116 mm. So the thin plate, which is the default, is hardly ever the wrong one; the bilinear one
/// was better by a seventh at most, on twists and saddles read 16 times.
///
/// Both are asked across twice the distance at which the bed was read: a bed with a crease or a ripple as short as that may be told better by
/// the other one.
///
/// # Errors
/// As [`HeightMap::fit`].
///
/// ```
/// use evengap::{Card, SurfaceKind, surface};
/// # let mut text = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\nspread = 0.01\npoints = [".to_owned();
/// # for n in 0..25 {
/// #     let (x, y) = (20 + 40 * (n % 5), 20 + 40 * (n / 5));
/// #     text += &format!("[{x}, {y}, {:.2}],", f64::from((x - 100) * (x - 100)) * 1e-5);
/// # }
/// # let card = Card::parse(&(text + "]"))?;
/// // A bed that is bowed like a tunnel, read on a grid of 5 by 5.
/// let choice = surface::choose(&card)?;
/// assert_eq!(choice.surface, SurfaceKind::ThinPlate);
/// println!("{choice}");
/// # Ok::<(), evengap::Error>(())
/// ```
pub fn choose(card: &Card) -> Result<Choice, Error> {
    let places = super::taken(card)?.places;
    let because = match Grid::of(&places) {
        Err(_) => Because::NoGrid,
        Ok(_) if places.at.len() > MAX_THIN_PLATE_PLACES => Because::TooManyPlaces,
        Ok(_) => {
            let smoothing = card.readings.noise().map_or(Smoothing::None, Smoothing::KnownNoise);
            cross_validated(&places, smoothing).unwrap_or(Because::NoInnerLine)
        }
    };
    let surface = match because {
        Because::TooManyPlaces => SurfaceKind::Bilinear,
        Because::Predicts { thin_plate, bilinear, .. } if bilinear < thin_plate => SurfaceKind::Bilinear,
        _ => SurfaceKind::ThinPlate,
    };
    Ok(Choice { surface, because })
}

fn cross_validated(places: &Places, smoothing: Smoothing) -> Option<Because> {
    let (mut squares, mut weight, mut asked) = ([0.0; 2], 0.0, 0);
    for (lines, line_of) in lines_of(places) {
        let inner = 1..lines.len().saturating_sub(1);
        for lot in 0..LOTS.min(inner.len()) {
            let is_out = |k: usize| inner.contains(&line_of[k]) && (line_of[k] - 1) % LOTS == lot;
            let (out, rest): (Vec<usize>, Vec<usize>) = (0..places.at.len()).partition(|&k| is_out(k));
            let of = |values: &[f64]| rest.iter().map(|&k| values[k]).collect::<Vec<f64>>();
            let at: Vec<[f64; 2]> = rest.iter().map(|&k| places.at[k]).collect();
            let (means, weights) = (of(&places.mean), of(&places.weight));
            let plate = ThinPlate::fit(&at, &means, Some(&weights), smoothing).ok()?;
            let grid = Grid::of(&Places::pool(&at, &means, Some(&weights))).ok()?;
            for k in out {
                let [x, y] = places.at[k];
                for (sum, said) in squares.iter_mut().zip([plate.value(x, y), grid.value(x, y)]) {
                    *sum += places.weight[k] * (places.mean[k] - said) * (places.mean[k] - said);
                }
                weight += places.weight[k];
                asked += 1;
            }
        }
    }
    let [thin_plate, bilinear] = squares.map(|sum| (sum / weight).sqrt());
    (asked > 0).then_some(Because::Predicts { thin_plate, bilinear, places: asked })
}

impl HeightMap {
    /// Fits the surface that [`choose`] chooses.
    ///
    /// # Errors
    /// As [`HeightMap::fit`].
    pub fn fit_chosen(card: &Card) -> Result<(HeightMap, Choice), Error> {
        let choice = choose(card)?;
        Ok((HeightMap::fit(card, choice.surface)?, choice))
    }
}

impl core::fmt::Display for Choice {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let [own, other] = match self.surface {
            SurfaceKind::ThinPlate => ["thin-plate", "bilinear"],
            SurfaceKind::Bilinear => ["bilinear", "thin-plate"],
        };
        match self.because {
            Because::NoGrid => write!(f, "{own}: the readings are no full grid, as the other surface needs"),
            Because::NoInnerLine => write!(f, "{own}: a grid of two lines cannot tell which is better"),
            Because::TooManyPlaces => {
                let most = count(MAX_THIN_PLATE_PLACES);
                write!(f, "{own}: the other surface takes at most {} places", Shown(most))
            }
            Because::Predicts { thin_plate, bilinear, .. } => {
                let errors = [thin_plate, bilinear].map(Shown);
                let [a, b] = if self.surface == SurfaceKind::ThinPlate { errors } else { [errors[1], errors[0]] };
                write!(
                    f,
                    "{own}: rows and columns left out of the readings are predicted to {a:.3} mm (root mean square), by {other} to {b:.3} mm"
                )
            }
        }
    }
}
