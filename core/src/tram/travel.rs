//! Springs have limits: what every screw can still move, and the common shift that makes a plan fit.

use crate::card::Screw;

/// Whether the screws' travel allows the plan.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Travel {
    /// Whether every screw has the travel that it needs, the shift included.
    pub fits: bool,
    /// What was added to every screw's move alike so that all fit, mm; the bed stays as even, and stands that much
    /// higher. 0 where no shift is needed, and where one screw is held and none is allowed. Where nothing fits: the
    /// shift with which the screws lack the least.
    pub shift_mm: f64,
    /// How much travel the worst screw lacks, mm, the shift included; 0 where all fit.
    pub lacks_mm: f64,
    /// The screws that lack travel.
    pub lacking: Vec<String>,
}

/// Finds the shift. `moves` in mm, up positive, one for each screw; `may_shift`: false where one screw is held. `None`
/// where no screw has a limit.
///
/// All screws turned alike keep the bed's tilt. The shifts that fit screw i are those from low(i) - move(i) to high(i) -
/// move(i); the nearest to 0 that lies in all of them is taken.
pub(super) fn fit(screws: &[Screw], moves: &[f64], may_shift: bool) -> Option<Travel> {
    /// A millionth of a millimetre beyond is rounding.
    const SLACK: f64 = 1e-6;
    let limits: Vec<(&Screw, f64, [f64; 2])> =
        screws.iter().zip(moves).filter_map(|(s, m)| s.travel.map(|t| (s, *m, t))).collect();
    if limits.is_empty() {
        return None;
    }
    let low = limits.iter().map(|(_, m, t)| t[0] - m).fold(f64::NEG_INFINITY, f64::max);
    let high = limits.iter().map(|(_, m, t)| t[1] - m).fold(f64::INFINITY, f64::min);
    let shift_mm = match may_shift {
        false => 0.0,
        true if low <= high => 0.0_f64.max(low).min(high),
        true => 0.5 * (low + high),
    };
    // A shift that only mends rounding is none.
    let shift_mm = if shift_mm.abs() <= SLACK { 0.0 } else { shift_mm };
    let lack = |m: f64, t: [f64; 2]| (m + shift_mm - t[1]).max(t[0] - m - shift_mm).max(0.0);
    let lacking: Vec<&(&Screw, f64, [f64; 2])> = limits.iter().filter(|(_, m, t)| lack(*m, *t) > SLACK).collect();
    Some(Travel {
        fits: lacking.is_empty(),
        shift_mm,
        lacks_mm: lacking.iter().map(|(_, m, t)| lack(*m, *t)).fold(0.0, f64::max),
        lacking: lacking.iter().map(|(s, _, _)| s.name.clone()).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn screws(travel: &[Option<[f64; 2]>]) -> Vec<Screw> {
        travel.iter().enumerate().map(|(i, t)| Screw { name: format!("{i}"), x: 0.0, y: 0.0, travel: *t }).collect()
    }

    #[test]
    fn the_shift_is_the_smallest_that_fits() {
        let four = screws(&[Some([-1.0, 0.2]); 4]);
        let fits = fit(&four, &[0.1, -0.1, 0.2, -0.2], true).unwrap();
        assert!(fits.fits && fits.shift_mm.abs() < 1e-15);
        let shifted = fit(&four, &[0.5, -0.1, 0.0, -0.2], true).unwrap();
        assert!(shifted.fits && (shifted.shift_mm + 0.3).abs() < 1e-12, "{shifted:?}");
        let raised = fit(&screws(&[Some([-0.1, 3.0]), None]), &[-0.4, 9.0], true).unwrap();
        assert!(raised.fits && (raised.shift_mm - 0.3).abs() < 1e-12);
    }

    #[test]
    fn what_cannot_fit_says_by_how_much() {
        // From -0.2 to 0.2 is 0.4 of room, and the moves differ by 0.6: 0.1 lacks at each end.
        let cannot = fit(&screws(&[Some([-0.2, 0.2]); 2]), &[0.3, -0.3], true).unwrap();
        assert!(!cannot.fits && (cannot.lacks_mm - 0.1).abs() < 1e-12, "{cannot:?}");
        assert_eq!(cannot.lacking, ["0", "1"]);
        let held = fit(&screws(&[Some([-0.2, 0.2]); 2]), &[0.3, 0.0], false).unwrap();
        assert!(!held.fits && (held.lacks_mm - 0.1).abs() < 1e-12 && held.lacking == ["0"]);
        assert_eq!(fit(&screws(&[None, None]), &[5.0, 5.0], true), None);
    }
}
