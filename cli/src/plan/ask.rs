//! Readings typed at prompts, one point after another. Each value is on the medium before the next is asked for.

use super::edit::Draft;
use crate::report::Failure;
use crate::wrap::wrapped;
use evengap::card::Point;
use evengap::plan::{about, doubt, steps, value_from_text};
use evengap::whereabouts;
use std::io::{self, BufRead, Write};

/// What came of it.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Tally {
    pub(super) typed: usize,
    pub(super) unread: usize,
}

/// What a line that was typed means.
enum Answer {
    Skip,
    Back,
    Quit,
    Value(f64),
    /// Not taken; the reason.
    Wrong(String),
}

/// Asks for the card's points in their order: those not read yet, or with `again` all of them.
///
/// `save` puts the card's text in place and returns when it is safe; it is called after every value. Nothing is kept back, so the
/// process may be ended at any prompt. At the end of the input the loop ends.
pub(super) fn ask(
    draft: &mut Draft,
    again: bool,
    input: &mut dyn BufRead,
    out: &mut dyn Write,
    save: &mut dyn FnMut(&str) -> Result<(), Failure>,
) -> Result<Tally, Failure> {
    let mut dialogue = Dialogue { out, doubted: None };
    dialogue.say(&introduction(draft))?;
    let mut tally = Tally::default();
    let count = draft.card().readings.all_points().count();
    let mut number = match next(draft, 0, again) {
        Some(number) => number,
        None => {
            dialogue.say("Every point of the card is read: --replace asks for all of them again.\n")?;
            return Ok(tally);
        }
    };
    loop {
        dialogue.say(&prompt(draft, number, count))?;
        let Some(line) = line(input)? else {
            dialogue.say("\n")?;
            break;
        };
        match dialogue.answer(draft, number, &line) {
            Answer::Quit => break,
            Answer::Back => match number {
                1 => dialogue.say("This is the first point.\n")?,
                _ => number -= 1,
            },
            Answer::Wrong(why) => dialogue.say(&format!("  {why}\n"))?,
            Answer::Skip => match next(draft, number, again) {
                Some(n) => number = n,
                None => break,
            },
            Answer::Value(value) => {
                draft.set_value(number, value)?;
                save(draft.text())?;
                tally.typed += 1;
                match next(draft, number, again) {
                    Some(n) => number = n,
                    None => break,
                }
            }
        }
    }
    tally.unread = draft.card().readings.unread.len();
    Ok(tally)
}

/// The number of the next point to ask for after `number`.
fn next(draft: &Draft, number: usize, again: bool) -> Option<usize> {
    let mut later = draft.card().readings.all_points().zip(1..).skip(number);
    later.find(|(point, _)| again || matches!(point, Point::Unread(_))).map(|(_, n)| n)
}

fn introduction(draft: &Draft) -> String {
    let readings = &draft.card().readings;
    let mut text = String::from("At each point:\n");
    for (step, number) in steps(readings).iter().zip(1..) {
        text.push_str(&format!("  {number}. {}\n", wrapped(step, WIDTH, "\n     ")));
    }
    let about = about(readings.method);
    text.push_str(&format!("Type {}; {}.\n", about.value, about.sign));
    let keys =
        "An empty line leaves the point as it is, b goes back, q ends. Each value is written to the card at once.";
    text.push_str(&format!("{}\n\n", wrapped(keys, WIDTH, "\n")));
    text
}

/// Letters of a line: with a number before it, as long as the help's.
const WIDTH: usize = 90;

fn prompt(draft: &Draft, number: usize, count: usize) -> String {
    let card = draft.card();
    let Some(point) = card.readings.all_points().nth(number - 1) else { return String::new() };
    let ([x, y], has) = match point {
        Point::Read(r) => ([r.x, r.y], format!(", now {} mm", r.value)),
        Point::Unread(u) => ([u.x, u.y], String::new()),
    };
    format!("Point {number} of {count}, X {x} Y {y} ({}){has}: ", whereabouts::place(&card.bed, x, y))
}

/// A line without its end; `None` at the end of the input.
fn line(input: &mut dyn BufRead) -> Result<Option<String>, Failure> {
    let mut bytes = Vec::new();
    let length = input
        .read_until(b'\n', &mut bytes)
        .map_err(|e| Failure::io("cannot read", std::path::Path::new("standard input"), e))?;
    // A line that the end of the input cuts off may be half a number: it is not taken.
    Ok((length > 0 && bytes.ends_with(b"\n")).then(|| String::from_utf8_lossy(&bytes).trim().to_owned()))
}

struct Dialogue<'a> {
    out: &'a mut dyn Write,
    /// A doubtful value that is taken if it is typed again, and for which point.
    doubted: Option<(usize, f64)>,
}

impl Dialogue<'_> {
    fn say(&mut self, text: &str) -> Result<(), Failure> {
        self.out.write_all(text.as_bytes()).and_then(|()| self.out.flush()).map_err(lost)
    }

    fn answer(&mut self, draft: &Draft, number: usize, text: &str) -> Answer {
        let doubted = self.doubted.take();
        let card = draft.card();
        match text {
            "" => return Answer::Skip,
            "b" | "B" => return Answer::Back,
            "q" | "Q" => return Answer::Quit,
            _ => {}
        }
        let value = match value_from_text(card.readings.method, text) {
            Ok(value) => value,
            Err(why) => return Answer::Wrong(format!("{why}: type it again.")),
        };
        let points: Vec<Point> = card.readings.all_points().collect();
        let at = match points.get(number - 1) {
            Some(Point::Read(r)) => [r.x, r.y],
            Some(Point::Unread(u)) => [u.x, u.y],
            None => return Answer::Skip,
        };
        // A point that is read again is held against the others.
        let mut others = card.clone();
        if matches!(points.get(number - 1), Some(Point::Read(_))) {
            let own = points.iter().take(number).filter(|p| matches!(p, Point::Read(_))).count();
            others.readings.points.remove(own - 1);
        }
        match doubt(&others, at, value) {
            Some(why) if !confirms(doubted, number, value) => {
                self.doubted = Some((number, value));
                Answer::Wrong(format!("{why}. Type it once more if it is right, or type another value."))
            }
            _ => Answer::Value(value),
        }
    }
}

fn confirms(doubted: Option<(usize, f64)>, number: usize, value: f64) -> bool {
    doubted.is_some_and(|(n, v)| n == number && v.to_bits() == value.to_bits())
}

fn lost(error: io::Error) -> Failure {
    Failure::io("cannot write", std::path::Path::new("the terminal"), error)
}

#[cfg(test)]
mod tests {
    use super::*;

    const CARD: &str = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\npoints = [\n  [10, 10], # one\n  [190, 10],\n  [100, 100, 0.12],\n  [10, 190],\n]\n";

    struct Talk {
        tally: Tally,
        said: String,
        saved: Vec<String>,
    }

    fn talk(typed: &str, again: bool) -> Talk {
        let mut draft = Draft::read(CARD.to_owned(), "card".to_owned()).unwrap();
        let (mut out, mut saved) = (Vec::new(), Vec::new());
        let mut save = |text: &str| {
            saved.push(text.to_owned());
            Ok(())
        };
        let tally = ask(&mut draft, again, &mut typed.as_bytes(), &mut out, &mut save).unwrap();
        if let Some(last) = saved.last() {
            assert_eq!(last, draft.text());
        }
        Talk { tally, said: String::from_utf8(out).unwrap(), saved }
    }

    #[test]
    fn each_value_is_saved_before_the_next_prompt() {
        let talk = talk("0.16\n0.14\n0.11\n", false);
        assert_eq!(talk.tally, Tally { typed: 3, unread: 0 });
        assert_eq!(talk.saved.len(), 3);
        assert_eq!(talk.saved[0], CARD.replace("[10, 10]", "[10, 10, 0.16]"));
        assert!(talk.saved[2].contains("[10, 190, 0.11]") && talk.saved[2].contains("# one"));
        assert!(talk.said.contains("Point 1 of 4, X 10 Y 10 (front left): "), "{}", talk.said);
        assert!(!talk.said.contains("Point 3 of 4"), "{}", talk.said);
    }

    #[test]
    fn an_empty_line_skips_and_b_goes_back() {
        // Skips 1, reads 2, back from 4 to 3 (read already) to 2, reads it again, then 4.
        let talk = talk("\n0.14\nb\nb\n0.15\n0.11\n", false);
        assert_eq!(talk.tally, Tally { typed: 3, unread: 1 });
        let last = talk.saved.last().unwrap();
        assert!(
            last.contains("[10, 10],") && last.contains("[190, 10, 0.15]") && last.contains("[100, 100, 0.12]"),
            "{last}"
        );
        assert!(talk.said.contains("Point 2 of 4, X 190 Y 10 (front right), now 0.14 mm: "), "{}", talk.said);
    }

    #[test]
    fn b_at_the_first_point_stays_and_q_ends() {
        let talk = talk("b\n0.16\nq\n0.5\n", false);
        assert!(talk.said.contains("This is the first point."));
        assert_eq!(talk.tally, Tally { typed: 1, unread: 2 });
    }

    #[test]
    fn what_is_mistyped_is_told_and_asked_again() {
        let talk = talk("o.16\n0,16\n16\n0.16\n", false);
        assert_eq!(talk.saved.len(), 1);
        assert!(talk.saved[0].contains("[10, 10, 0.16]"));
        for why in ["\"o.16\" is not a number", "write 0.16", "15.88 mm above its neighbours"] {
            assert!(talk.said.contains(why), "{why}: {}", talk.said);
        }
        assert_eq!(talk.said.matches("Point 1 of 4").count(), 4);
    }

    #[test]
    fn a_doubtful_value_is_taken_when_it_is_typed_again() {
        let talk = talk("3.5\n3.6\n3.6\n", false);
        assert_eq!(talk.saved.len(), 1);
        assert!(talk.saved[0].contains("[10, 10, 3.6]"));
        // Not by typing it later, for another point.
        assert_eq!(self::talk("3.5\n\n3.5\n", false).saved.len(), 0);
    }

    #[test]
    fn half_a_line_at_the_end_is_not_taken() {
        let talk = talk("0.16\n0.1", false);
        assert_eq!((talk.tally.typed, talk.saved.len()), (1, 1));
    }

    #[test]
    fn all_points_can_be_asked_for_again() {
        let talk = talk("0.1\n0.2\n0.3\n0.4\n", true);
        assert_eq!(talk.tally, Tally { typed: 4, unread: 0 });
        assert!(talk.saved[3].contains("[100, 100, 0.3]"));
    }
}
