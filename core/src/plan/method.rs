//! The four ways to read, told once: what is done, what is written down, its sign and how well it repeats.

use crate::card::{Method, Readings};
use crate::number::Shown;

/// All methods, in the order in which they are told of.
pub const METHODS: [Method; 4] = [Method::Drag, Method::Gauge, Method::Patch, Method::Dial];

/// What holds of a method whatever the card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[non_exhaustive]
pub struct About {
    /// The method's word on a card.
    pub word: &'static str,
    /// With what it is done.
    pub tool: &'static str,
    /// What is written down, with its unit.
    pub value: &'static str,
    /// Which way the value goes.
    pub sign: &'static str,
    /// How the value becomes a height, mm.
    pub height: &'static str,
}

/// What holds of a method whatever the card.
#[must_use]
pub fn about(method: Method) -> About {
    match method {
        Method::Drag => About {
            word: "drag",
            tool: "a sheet of paper under the nozzle",
            value: "the nozzle's Z when the sheet just drags, in mm",
            sign: "a higher bed reads higher; below Z = 0 it is negative, keep the minus",
            height: "value - sheet",
        },
        Method::Gauge => About {
            word: "gauge",
            tool: "feeler gauge leaves under the parked nozzle",
            value: "the thickest leaf that slides through, in mm",
            sign: "a higher bed reads lower; never negative",
            height: "parked - value",
        },
        Method::Patch => About {
            word: "patch",
            tool: "single-layer patches and calipers or a micrometer",
            value: "the patch's thickness, in mm",
            sign: "a higher bed reads lower; never negative",
            height: "parked - value",
        },
        Method::Dial => About {
            word: "dial",
            tool: "a dial indicator on the carriage",
            value: "what the indicator shows, in mm",
            sign: "plunger pushed up is positive: if yours counts the other way, change the sign",
            height: "value, less the map at right_at",
        },
    }
}

/// The steps of a card's method, in plain words with the card's own figures, mm and degrees Celsius.
///
/// What to do is common practice, no source.
#[must_use]
pub fn steps(readings: &Readings) -> Vec<String> {
    let heat = heating(readings);
    let parked = Shown(readings.parked.unwrap_or(0.0));
    let mut steps = match readings.method {
        Method::Drag => {
            let sheet = Shown(readings.sheet.unwrap_or(0.0));
            vec![
                format!("Home the printer. {heat} Wipe the nozzle: a drip counts as height."),
                format!("Measure your sheet; the card says {sheet} mm. Raise the nozzle, move to the point, lay the sheet under it."),
                "Lower the nozzle in steps of 0.05 mm, then 0.01 or 0.02 mm, moving the sheet all the while, until it just drags and still slides.".to_owned(),
                "Write down the nozzle's Z in mm. Below zero it has a minus.".to_owned(),
            ]
        }
        Method::Gauge => vec![
            format!("Home the printer. {heat} Wipe the nozzle: a drip counts as height."),
            format!(
                "Raise the nozzle, move to the point, then lower it to Z = {parked} mm. If it would touch the bed there, stop and choose a higher Z for all points."
            ),
            "Find the thickest leaf that slides through between nozzle and bed without lifting or bending.".to_owned(),
            "Write down that leaf's thickness in mm. Leave the point empty if not even the thinnest goes through."
                .to_owned(),
        ],
        Method::Patch => vec![
            format!("Home the printer. {heat}"),
            format!(
                "Print a patch of one layer at each point with the nozzle at Z = {parked} mm, the same Z everywhere and nothing following the bed."
            ),
            "Let the bed cool. Number the patches as you take them off: which lay where is all that matters."
                .to_owned(),
            "Measure each in its middle, at three places away from edges and strings, and write down the mean in mm."
                .to_owned(),
        ],
        Method::Dial => {
            let [dx, dy] = readings.offset.unwrap_or([0.0, 0.0]);
            vec![
                format!("Home the printer. {heat} Fix the indicator to the carriage, plunger down, {} of the nozzle.", beside(dx, dy)),
                "Choose one Z at which the plunger is pressed in everywhere and the nozzle stays clear of the bed. Take every reading at this Z.".to_owned(),
                format!("Raise, move the nozzle to the point's X and Y (the plunger then stands at X {:+}, Y {:+} from it), and lower to the chosen Z.", Shown(dx), Shown(dy)),
                "Set the indicator to 0 at the first point only. Write down what it shows in mm; plunger pushed up is positive.".to_owned(),
            ]
        }
    };
    steps.push(match readings.method {
        Method::Patch => "Leave a point empty if its patch came loose, tore or cannot be told from another.".to_owned(),
        Method::Drag | Method::Gauge | Method::Dial => {
            "Raise the nozzle by at least 5 mm before you move on. Leave a point empty if you cannot read it."
                .to_owned()
        }
    });
    steps
}

/// Where the plunger is, in words.
fn beside(dx: f64, dy: f64) -> String {
    let part = |v: f64, plus: &str, minus: &str| match v {
        v if v > 0.0 => Some(format!("{} mm {plus}", Shown(v))),
        v if v < 0.0 => Some(format!("{} mm {minus}", Shown(-v))),
        _ => None,
    };
    let parts: Vec<String> = [part(dx, "to the right", "to the left"), part(dy, "to the back", "to the front")]
        .into_iter()
        .flatten()
        .collect();
    if parts.is_empty() { "in the place".to_owned() } else { parts.join(" and ") }
}

fn heating(readings: &Readings) -> String {
    match (readings.bed_celsius, readings.nozzle_celsius) {
        (None, None) => {
            "Heat bed and nozzle as for a print, and wait ten minutes: the plate moves while it warms.".to_owned()
        }
        (bed, nozzle) => {
            let parts: Vec<String> = [("the bed", bed), ("the nozzle", nozzle)]
                .into_iter()
                .filter_map(|(what, t)| t.map(|t| format!("{what} to {} \u{b0}C", Shown(t))))
                .collect();
            format!("Heat {} and wait ten minutes: the plate moves while it warms.", parts.join(" and "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Card;

    fn readings(extra: &str) -> Readings {
        let text = format!("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\n{extra}\n");
        Card::parse_without_points(&text).unwrap().readings
    }

    #[test]
    fn steps_hold_the_cards_own_figures() {
        let all = |extra: &str| steps(&readings(extra)).join("\n");
        let drag = all("method = 'drag'\nsheet = 0.08\nbed_celsius = 61\nnozzle_celsius = 207");
        assert!(drag.contains("0.08 mm") && drag.contains("61 \u{b0}C") && drag.contains("207 \u{b0}C"), "{drag}");
        for method in ["gauge", "patch"] {
            assert!(all(&format!("method = '{method}'\nparked = 0.35")).contains("Z = 0.35 mm"));
        }
        let dial = all("method = 'dial'\noffset = [-35, 22]\nright_at = [100, 100]");
        assert!(dial.contains("35 mm to the left and 22 mm to the back"), "{dial}");
    }

    /// The words about signs against the card's own sums.
    #[test]
    fn signs_are_told_as_they_are_reckoned() {
        for (extra, higher) in [
            ("method = 'drag'\nsheet = 0.1", true),
            ("method = 'gauge'\nparked = 0.3", false),
            ("method = 'patch'\nparked = 0.3", false),
            ("method = 'dial'\noffset = [0, 0]\nright_at = [1, 1]", true),
        ] {
            let r = readings(extra);
            let rises = r.height_of(0.2) > r.height_of(0.1);
            assert_eq!(rises, higher);
            let sign = about(r.method).sign;
            assert_eq!(sign.contains("higher bed reads higher") || sign.contains("up is positive"), higher, "{sign}");
            assert_eq!(about(r.method).word, r.method.word());
        }
    }
}
