//! Whether a card's readings are good enough for a file.

use super::{Known, NextPoint, Over, next};
use crate::Footprint;
use crate::check::Window;
use crate::check::judge::percent;
use crate::number::Shown;
use crate::plan::Room;

/// How well the bed is known under a file's first layer, and whether that is enough for it.
///
/// As [`Display`](core::fmt::Display): what it is, without a full stop: `"good enough: the bed under the first layer is known to ..."`.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Enough {
    /// Whether [`Over::within`] is at most `allowed`.
    pub enough: bool,
    /// The Z of the first layer as it was sliced, mm: the gap that the slicer meant.
    pub z: f64,
    /// So far the gap may be from that one, mm, either way, with the filament still sticking.
    pub allowed: f64,
    /// Under the first layer, each part of it by the length of path in it.
    pub under: Over,
    /// The share of its path, 0 to 1, that lies outside the rectangle that the readings bound.
    pub unmeasured: f64,
    /// Where it is not enough: the reading that would help most.
    pub next: Option<NextPoint>,
}

impl Known {
    /// Holds what is known of the bed under a first layer against the window in which it sticks: `Window::default()` is common practice, no
    /// source. `None` where there is no first layer, or it was sliced at 0 or below.
    ///
    /// ```
    /// use evengap::check::Window;
    /// use evengap::follow::{Options, Rewriter};
    /// use evengap::known::Known;
    /// # let card = evengap::Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\nspread = 0.02\npoints = [[20, 20, 0.16], [180, 20, 0.12], [20, 180, 0.15], [180, 180, 0.05], [100, 100, 0.12]]")?;
    /// # let map = evengap::HeightMap::fit(&card, evengap::SurfaceKind::ThinPlate)?;
    /// let mut rewriter = Rewriter::new(&map, Options::default())?;
    /// let mut out = Vec::new();
    /// rewriter.push(b"G28\nM83\nG1 Z0.05 F600\nG1 X20 Y20\nG1 X180 Y180 E12\n", &mut out)?;
    /// let summary = rewriter.finish(&mut out)?;
    /// let enough = Known::of(&map).and_then(|known| known.enough(&summary.footprint, &Window::default()));
    /// // 0.3 of 0.05 mm is finer than five readings by hand can tell.
    /// assert!(enough.is_some_and(|e| !e.enough && e.allowed < e.under.within));
    /// # Ok::<(), evengap::Error>(())
    /// ```
    #[must_use]
    pub fn enough(&self, first: &Footprint, window: &Window) -> Option<Enough> {
        let z = first.z().filter(|z| *z > 0.0)?;
        let places = first.places();
        let under = self.over(&places);
        let allowed = z * (1.0 - window.near).min(window.far - 1.0);
        let unmeasured = first.unmeasured() / first.length();
        let enough = under.within <= allowed;
        let next = match enough {
            true => None,
            false => next(self.map().card(), Some(&places), 1, Room::default()).ok(),
        };
        let next = next.and_then(|next| next.points.first().copied());
        Some(Enough { enough, z, allowed, under, unmeasured, next })
    }
}

impl core::fmt::Display for Enough {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let not = if self.enough { "" } else { "not " };
        let [within, allowed] = [self.under.within, self.allowed].map(Shown);
        write!(
            f,
            "{not}good enough: the bed under the first layer is known to +-{within:.3} mm (95 %), and it sticks within +-{allowed:.3} mm"
        )?;
        if self.unmeasured > 0.0 {
            write!(f, "; {} of it lies outside the readings", percent(self.unmeasured))?;
        }
        if let Some(next) = self.next {
            let again = if next.again { "to read once more" } else { "a reading" };
            let [x, y] = [next.x, next.y].map(Shown);
            write!(f, "; {again} at X {x} Y {y} would help most")?;
            if let Some(after) = next.after {
                write!(f, ", to +-{:.3} mm", Shown(after.within))?;
            }
        }
        Ok(())
    }
}
