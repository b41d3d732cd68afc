//! Words for places on the bed and for directions, the same everywhere.
//!
//! Front is low y, back is high y, left is low x, right is high x, as one stands before the machine.

use crate::card::Bed;

/// The words of directions, from the right round by the back, an eighth of a circle each.
const ROUND: [&str; 8] = ["right", "back right", "back", "back left", "left", "front left", "front", "front right"];

/// The nine places of the bed, by thirds of its reach, as [`third`] counts them: from the front left, row by row.
pub const THIRDS: [&str; 9] =
    ["front left", "front", "front right", "left", "middle", "right", "back left", "back", "back right"];

/// Where (x, y), mm, lies on the bed: `"middle"`, `"front left"`, `"back"` and so on, by thirds of the bed's reach. A
/// place beyond the reach counts as on its nearest third; a coordinate that is not a number as in the middle third.
///
/// ```
/// let bed = evengap::card::Bed::new([0.0, 300.0], [0.0, 300.0]);
/// assert_eq!(evengap::whereabouts::place(&bed, 150.0, 140.0), "middle");
/// assert_eq!(evengap::whereabouts::place(&bed, 20.0, 290.0), "back left");
/// assert_eq!(evengap::whereabouts::place(&bed, 150.0, 10.0), "front");
/// assert_eq!(evengap::whereabouts::third(&bed, 150.0, 10.0), 1);
/// ```
#[must_use]
pub fn place(bed: &Bed, x: f64, y: f64) -> &'static str {
    THIRDS[third(bed, x, y)]
}

/// As [`place`], by its number among [`THIRDS`].
#[must_use]
pub fn third(bed: &Bed, x: f64, y: f64) -> usize {
    let along = |value: f64, [low, high]: [f64; 2]| {
        let share = (value - low) / (high - low);
        if share < 1.0 / 3.0 {
            0
        } else if share > 2.0 / 3.0 {
            2
        } else {
            1
        }
    };
    3 * along(y, bed.y) + along(x, bed.x)
}

/// The side to which a slope (dh/dx, dh/dy) rises, by eighths of the circle; `None` where it rises by less than 0.001 mm
/// over the bed.
///
/// `rise`: mm over the bed.
pub(crate) fn direction(slope: [f64; 2], rise: f64) -> Option<&'static str> {
    if rise.is_nan() || rise < 0.001 {
        return None;
    }
    let eighths = libm::atan2(slope[1], slope[0]) / core::f64::consts::FRAC_PI_4;
    // From -4 to 4; the words start at the right and go round by the back.
    #[expect(clippy::cast_possible_truncation, reason = "between -4 and 4")]
    let index = (eighths + 0.5).floor() as i64;
    usize::try_from(index.rem_euclid(8)).ok().and_then(|i| ROUND.get(i).copied())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::Outline;

    #[test]
    fn thirds_of_the_bed_have_nine_names() {
        let bed = Bed { x: [-100.0, 100.0], y: [0.0, 90.0], outline: Outline::Rectangle, keep_out: vec![] };
        let names: Vec<&str> =
            [10.0, 45.0, 80.0].into_iter().flat_map(|y| [-90.0, 0.0, 90.0].map(|x| place(&bed, x, y))).collect();
        assert_eq!(names, THIRDS);
        assert_eq!(place(&bed, -1e9, f64::INFINITY), "back left");
        assert_eq!(place(&bed, f64::NAN, f64::NAN), "middle");
    }

    #[test]
    fn slopes_rise_to_the_side_that_is_higher() {
        assert_eq!(direction([1.0, 0.0], 1.0), Some("right"));
        assert_eq!(direction([1.0, 1.0], 1.0), Some("back right"));
        assert_eq!(direction([-1.0, -0.9], 1.0), Some("front left"));
        assert_eq!(direction([0.0, -1.0], 1.0), Some("front"));
        assert_eq!(direction([0.0, -1.0], 0.0), None);
    }
}
