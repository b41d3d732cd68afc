//! Places on the bed in words.

use crate::card::Bed;

/// Where a place lies on the bed, in words: "front left", "back", "middle" and so on, by thirds of the bed.
///
/// Left, right, front and back are as seen by someone who stands in front of the printer.
#[must_use]
pub fn place_in_words(bed: &Bed, [x, y]: [f64; 2]) -> &'static str {
    const WORDS: [[&str; 3]; 3] =
        [["front left", "front", "front right"], ["left", "middle", "right"], ["back left", "back", "back right"]];
    let third = |v: f64, [low, high]: [f64; 2]| {
        let share = (v - low) / (high - low);
        usize::from(share >= 1.0 / 3.0) + usize::from(share > 2.0 / 3.0)
    };
    WORDS[third(y, bed.y)][third(x, bed.x)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::Outline;

    #[test]
    fn thirds_of_the_bed_have_names() {
        let bed = Bed { x: [-100.0, 100.0], y: [0.0, 300.0], outline: Outline::Rectangle, keep_out: vec![] };
        assert_eq!(place_in_words(&bed, [-90.0, 10.0]), "front left");
        assert_eq!(place_in_words(&bed, [0.0, 150.0]), "middle");
        assert_eq!(place_in_words(&bed, [0.0, 290.0]), "back");
        assert_eq!(place_in_words(&bed, [99.0, 150.0]), "right");
        assert_eq!(place_in_words(&bed, [f64::NAN, f64::NAN]), "front left");
    }
}
