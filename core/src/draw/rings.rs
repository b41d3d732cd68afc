//! Rings round all that is at or above a level, by marching squares (Lorensen and Cline 1987, in the plane): straight between
//! the nodes of a grid, closed half a cell outside it.

/// The sides of a square of four nodes, from its first node, in half cells.
const LEFT: [usize; 2] = [1, 2];
const ABOVE: [usize; 2] = [2, 3];
const RIGHT: [usize; 2] = [3, 2];
const BELOW: [usize; 2] = [2, 1];

/// From side to side of a square, with what is high on the left hand. Which nodes are high: 1 the upper left one, 2 the upper
/// right, 4 the lower right, 8 the lower left. Two that face each other are kept apart.
const STEPS: [&[[[usize; 2]; 2]]; 16] = [
    &[],
    &[[ABOVE, LEFT]],
    &[[RIGHT, ABOVE]],
    &[[RIGHT, LEFT]],
    &[[BELOW, RIGHT]],
    &[[ABOVE, LEFT], [BELOW, RIGHT]],
    &[[BELOW, ABOVE]],
    &[[BELOW, LEFT]],
    &[[LEFT, BELOW]],
    &[[ABOVE, BELOW]],
    &[[LEFT, BELOW], [RIGHT, ABOVE]],
    &[[RIGHT, BELOW]],
    &[[LEFT, RIGHT]],
    &[[ABOVE, RIGHT]],
    &[[LEFT, ABOVE]],
    &[],
];

/// The rings of `level` on a grid of heights, row by row, in cells from the first node, which lies at (0.5, 0.5). The last point of
/// a ring is its first one again.
pub(super) fn rings(heights: &[f64], columns: usize, level: f64) -> Vec<Vec<[f64; 2]>> {
    let rows = heights.len().checked_div(columns).unwrap_or(0);
    let node = |i: usize, j: usize| heights[j * columns + i];
    let is_high = |i: usize, j: usize| {
        // Outside the grid all is low; the square's first node comes before the grid's.
        (1..=columns).contains(&i) && (1..=rows).contains(&j) && node(i - 1, j - 1) >= level
    };
    // Places in half cells: at each, at most one step begins.
    let width = 2 * columns + 3;
    let at = |[x, y]: [usize; 2]| y * width + x;
    let mut next: Vec<Option<[usize; 2]>> = vec![None; width * (2 * rows + 3)];
    let mut steps = Vec::new();
    for j in 0..=rows {
        for i in 0..=columns {
            let high = [is_high(i, j + 1), is_high(i + 1, j + 1), is_high(i + 1, j), is_high(i, j)];
            let which = high.iter().rev().fold(0, |which, high| 2 * which + usize::from(*high));
            for step in STEPS[which] {
                let [from, to] = step.map(|[x, y]| [2 * i + x - 1, 2 * j + y - 1]);
                next[at(from)] = Some(to);
                steps.push(to);
            }
        }
    }
    // Along the side of a square the height is straight between its ends. Outside the grid it stays half-way.
    let place = |[x, y]: [usize; 2]| {
        let share = |before: f64, after: f64| (level - before) / (after - before);
        let [i, j] = [x / 2, y / 2];
        let mut place = [x, y].map(|n| 0.5 * to_f64(n) - 0.5);
        if x % 2 == 1 && i > 0 && i < columns && y > 0 && j <= rows {
            place[0] = place[0] + share(node(i - 1, j - 1), node(i, j - 1)) - 0.5;
        }
        if y % 2 == 1 && j > 0 && j < rows && x > 0 && i <= columns {
            place[1] = place[1] + share(node(i - 1, j - 1), node(i - 1, j)) - 0.5;
        }
        place
    };
    // Each ring begins where its last step ends.
    let mut rings = Vec::new();
    for last in steps.into_iter().rev() {
        let mut ring = Vec::new();
        let mut here = last;
        while let Some(to) = next[at(here)].take() {
            ring.push(place(here));
            here = to;
        }
        if let Some(first) = ring.first() {
            ring.push(*first);
            rings.push(ring);
        }
    }
    rings.reverse();
    rings
}

#[expect(clippy::cast_precision_loss, reason = "counts of grid nodes")]
fn to_f64(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// As the library `contour` draws them, bit by bit and in its order.
        #[test]
        fn as_the_library(columns in 1..12_usize, heights in prop::collection::vec(-3..4_i8, 1..150), level in -3..4_i8, half in any::<bool>()) {
            let rows = heights.len() / columns;
            prop_assume!(rows > 0);
            let heights: Vec<f64> = heights[..rows * columns].iter().map(|h| f64::from(*h) * 0.7).collect();
            let level = f64::from(level) * 0.7 + if half { 0.31 } else { 0.0 };
            let theirs = contour::ContourBuilder::new(columns, rows, true).lines(&heights, &[level]).unwrap();
            let theirs: Vec<Vec<[f64; 2]>> =
                theirs[0].geometry().0.iter().map(|ring| ring.0.iter().map(|c| [c.x, c.y]).collect()).collect();
            prop_assert_eq!(rings(&heights, columns, level), theirs);
        }
    }
}
