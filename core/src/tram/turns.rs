//! mm at a screw as a person turns it: turns, a direction and an angle.

use crate::card::{Screws, Turn};
use crate::number::Shown;

/// What one screw has to do.
///
/// Its text is a line for a person: `front left: raise 0.14 mm, 0.20 turn anticlockwise, 72 degrees (3/16 turn)`.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct ScrewTurn {
    /// Its name on the card.
    pub name: String,
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// How far the bed goes up at the screw, mm; down is negative.
    pub raise_mm: f64,
    /// One standard deviation of that, mm, as it follows from the readings' spread; the least-squares plane's, whichever
    /// plane is asked for.
    pub spread_mm: f64,
    /// Turns of the knob, 0 or more: |raise| / pitch.
    pub turns: f64,
    /// Which way, seen from above. For 0 turns the way that raises.
    pub direction: Turn,
    /// `turns` times 360, degrees.
    pub angle_degrees: f64,
    /// The nearest number of sixteenths of a turn.
    pub sixteenths: u32,
    /// What those leave undone, mm: `raise_mm` less what they raise.
    pub leftover_mm: f64,
}

/// ```
/// use evengap::tram::{Options, tram};
/// # let card = evengap::Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.10], [20, 180, 0.31], [180, 180, 0.31]]\n\
/// #   [screws]\npitch = 0.7\nraise = 'anticlockwise'\nat = { 'front left' = [20, 20], 'front right' = [180, 20], back = [100, 180] }\n")?;
/// # let map = evengap::HeightMap::fit(&card, evengap::SurfaceKind::ThinPlate)?;
///
/// // The back stands 0.21 mm high; the front screws are left alone.
/// let mut options = Options::default();
/// options.hold = Some("front left".to_owned());
/// let tram = tram(&map, &options)?;
/// let back = tram.screws.iter().find(|s| s.name == "back").unwrap();
/// assert_eq!(back.fraction(), "5/16 turn");
/// assert!(!back.is_still());
/// assert!(!tram.verdict.stop());
/// // What reading the same points afterwards should give, and its map.
/// assert!(tram.predicted().readings.predicted);
/// let [low, high] = tram.predicted_map().extremes();
/// assert!(high.height - low.height < 1e-9);
/// assert!(evengap::draw::tram_plan(&map, &tram, &Default::default()).starts_with("<svg"));
/// # Ok::<(), evengap::Error>(())
/// ```
impl ScrewTurn {
    /// `raise_mm` at the screw `index` of `screws`.
    pub(crate) fn new(screws: &Screws, index: usize, raise_mm: f64, spread_mm: f64) -> ScrewTurn {
        let screw = &screws.at[index];
        // Adding 0 makes one zero of two.
        let raise_mm = raise_mm + 0.0;
        let turns = raise_mm.abs() / screws.pitch;
        let sixteenths = (turns * 16.0).round();
        let done = (sixteenths / 16.0 * screws.pitch).copysign(raise_mm);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "not negative, and a cast saturates"
        )]
        let sixteenths = sixteenths as u32;
        ScrewTurn {
            name: screw.name.clone(),
            x: screw.x,
            y: screw.y,
            raise_mm,
            spread_mm,
            turns,
            direction: direction(screws.raise, raise_mm),
            angle_degrees: turns * 360.0,
            sixteenths,
            leftover_mm: raise_mm - done,
        }
    }

    /// What the nearest sixteenths of a turn raise, mm.
    pub(super) fn done_in_sixteenths(&self) -> f64 {
        self.raise_mm - self.leftover_mm
    }

    /// Whether there is anything to turn: 0.005 mm or more, which the line for a person would show.
    #[must_use]
    pub fn is_still(&self) -> bool {
        self.raise_mm.abs() < 0.005
    }

    /// The sixteenths as a fraction in words: `"3/16 turn"`, `"1 1/2 turns"`, `"less than 1/32 turn"`.
    #[must_use]
    pub fn fraction(&self) -> String {
        let (whole, mut part, mut of) = (self.sixteenths / 16, self.sixteenths % 16, 16);
        while part > 0 && part % 2 == 0 {
            (part, of) = (part / 2, of / 2);
        }
        match (whole, part) {
            (0, 0) => "less than 1/32 turn".to_owned(),
            (1, 0) => "1 turn".to_owned(),
            (whole, 0) => format!("{whole} turns"),
            (0, part) => format!("{part}/{of} turn"),
            (whole, part) => format!("{whole} {part}/{of} turns"),
        }
    }
}

impl core::fmt::Display for ScrewTurn {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        if self.is_still() {
            return write!(f, "{}: leave it as it is", self.name);
        }
        let way = if self.raise_mm > 0.0 { "raise" } else { "lower" };
        let [mm, turns, degrees] = [self.raise_mm.abs(), self.turns, self.angle_degrees].map(Shown);
        let (direction, fraction) = (self.direction.word(), self.fraction());
        let word = if self.turns < 1.005 { "turn" } else { "turns" };
        write!(f, "{}: {way} {mm:.2} mm, {turns:.2} {word} {direction}, {degrees:.0} degrees ({fraction})", self.name)
    }
}

/// The way to turn for a move of that sign.
fn direction(raise: Turn, mm: f64) -> Turn {
    match (mm >= 0.0, raise) {
        (true, way) => way,
        (false, Turn::Clockwise) => Turn::Anticlockwise,
        (false, Turn::Anticlockwise) => Turn::Clockwise,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::Screw;

    fn turn(raise: Turn, pitch: f64, mm: f64) -> ScrewTurn {
        let at = vec![Screw { name: "front left".to_owned(), x: 30.0, y: 30.0, travel: None }];
        ScrewTurn::new(&Screws { pitch, thread: None, raise, at }, 0, mm, 0.01)
    }

    #[test]
    fn the_line_is_the_one_that_a_person_needs() {
        let line = |raise, pitch, mm| turn(raise, pitch, mm).to_string();
        assert_eq!(
            line(Turn::Anticlockwise, 0.7, 0.14),
            "front left: raise 0.14 mm, 0.20 turn anticlockwise, 72 degrees (3/16 turn)"
        );
        assert_eq!(
            line(Turn::Anticlockwise, 0.7, -0.14),
            "front left: lower 0.14 mm, 0.20 turn clockwise, 72 degrees (3/16 turn)"
        );
        assert_eq!(
            line(Turn::Clockwise, 0.5, 0.75),
            "front left: raise 0.75 mm, 1.50 turns clockwise, 540 degrees (1 1/2 turns)"
        );
        assert_eq!(line(Turn::Clockwise, 0.5, -0.001), "front left: leave it as it is");
        assert_eq!(
            line(Turn::Clockwise, 0.7, -0.01),
            "front left: lower 0.01 mm, 0.01 turn anticlockwise, 5 degrees (less than 1/32 turn)"
        );
    }

    #[test]
    fn sixteenths_and_their_leftover_add_up() {
        for k in -400..=400 {
            let t = turn(Turn::Clockwise, 0.7, 0.0113 * f64::from(k));
            assert!(t.leftover_mm.abs() <= 0.5 * 0.7 / 16.0 + 1e-12);
            let done = f64::from(t.sixteenths) / 16.0 * 0.7 * if t.raise_mm < 0.0 { -1.0 } else { 1.0 };
            assert!((done + t.leftover_mm - t.raise_mm).abs() < 1e-12);
            assert!((t.angle_degrees - 360.0 * t.turns).abs() < 1e-9 && t.turns >= 0.0);
        }
    }
}
