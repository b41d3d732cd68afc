//! What a corrected card remembers of the patches that it was corrected by, so that they do not correct it twice.
//!
//! One comment a correction: `# Corrected by 9 measured patches (list 0123456789abcdef) from the card ...`. Comments stay when a card is
//! edited or filled in; a card that is written anew as JSON forgets them.

use evengap::trial::Measured;
use sha2::{Digest as _, Sha256};

const BEGINS: &str = "# Corrected by ";

/// Names a list of patches by its places and thicknesses, in any order.
pub(crate) fn list_mark(list: &[Measured]) -> String {
    let mut patches: Vec<[u64; 3]> = list.iter().map(|m| [m.x, m.y, m.thickness].map(f64::to_bits)).collect();
    patches.sort_unstable();
    let mut sum = Sha256::new();
    for number in patches.iter().flatten() {
        sum.update(number.to_le_bytes());
    }
    sum.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}

/// The comment for a card corrected by a list.
pub(crate) fn line(patches: usize, mark: &str, from: &str) -> String {
    format!("{BEGINS}{patches} measured patches (list {mark}) from the card {from} (`evengap trial --measured`).\n")
}

/// The comments of the corrections so far, for the card that takes over.
pub(crate) fn lines_of(card: &str) -> String {
    card.lines().filter(|l| l.starts_with(BEGINS)).map(|l| format!("{l}\n")).collect()
}

/// Whether the card was corrected by that list before.
pub(crate) fn bears(card: &str, mark: &str) -> bool {
    card.lines().any(|l| l.starts_with(BEGINS) && l.contains(&format!("(list {mark})")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn patch(x: f64, thickness: f64) -> Measured {
        Measured { x, y: 1.0, thickness, spread: None, line: None, column: None }
    }

    #[test]
    fn a_list_is_known_again_in_any_order_and_no_other() {
        let mark = list_mark(&[patch(1.0, 0.2), patch(2.0, 0.3)]);
        assert_eq!(mark, list_mark(&[patch(2.0, 0.3), patch(1.0, 0.2)]));
        assert_ne!(mark, list_mark(&[patch(1.0, 0.3), patch(2.0, 0.2)]));
        let card = format!("# mine\n{}[bed]\n", line(2, &mark, "abc"));
        assert!(bears(&card, &mark) && !bears(&card, "00") && !bears("[bed]\n", &mark));
        assert_eq!(lines_of(&card), line(2, &mark, "abc"));
    }
}
