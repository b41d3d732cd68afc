//! N words and checksums of a whole file.

use super::{Fault, What};
use crate::dec::Dec;
use crate::machine::Step;

/// Whether the line sets the line number anew (M110).
fn resets(step: &Step<'_>) -> bool {
    step.words.first().is_some_and(|w| w.letter == b'M' && w.value == Some(Dec::new(110, 0)))
}

/// Whether numbers go up by one from numbered line to numbered line.
fn tight(steps: &[Step<'_>]) -> bool {
    first_gap(steps).is_none()
}

fn first_gap<'s, 'a>(steps: &'s [Step<'a>]) -> Option<(Dec, &'s Step<'a>)> {
    let mut last: Option<Dec> = None;
    for step in steps {
        let Some(n) = step.line.n else { continue };
        if !resets(step)
            && let Some(last) = last
            && n != last + Dec::new(1, 0)
        {
            return Some((last + Dec::new(1, 0), step));
        }
        last = Some(n);
    }
    None
}

/// Faults in the numbering of `new`, which was made from `old`.
pub(super) fn faults(old: &[Step<'_>], new: &[Step<'_>]) -> Vec<Fault> {
    let mut out = Vec::new();
    if tight(old)
        && let Some((expected, step)) = first_gap(new)
    {
        out.push(Fault {
            what: What::Number,
            original: 0,
            rewritten: Some(step.line.number),
            expected: format!("N{expected}, as numbers go up by one in the original"),
            found: format!("N{}", step.line.n.unwrap_or_default()),
        });
    }
    let first = |steps: &[Step<'_>]| steps.iter().find_map(|s| s.line.n);
    if first(old) != first(new) {
        out.push(Fault {
            what: What::Number,
            original: 0,
            rewritten: None,
            expected: format!("the first number to be {:?}", first(old)),
            found: format!("{:?}", first(new)),
        });
    }
    let good = |s: &Step<'_>| s.line.checksum.is_none_or(|(given, right)| given == u32::from(right));
    if old.iter().all(good) {
        for step in new.iter().filter(|s| !good(s)) {
            let (given, right) = step.line.checksum.unwrap_or_default();
            out.push(Fault {
                what: What::Checksum,
                original: 0,
                rewritten: Some(step.line.number),
                expected: format!("*{right}"),
                found: format!("*{given}"),
            });
        }
    }
    out
}
