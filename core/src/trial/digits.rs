//! Numbers as strokes that a nozzle can draw: seven bars in a box one wide and two high.

/// Corners of the strokes, in the box: x 0 to 1, y 0 (front) to 2.
const STROKES: [&[&[[f64; 2]]]; 10] = [
    &[&[[0.0, 2.0], [1.0, 2.0], [1.0, 0.0], [0.0, 0.0], [0.0, 2.0]]],
    &[&[[0.5, 2.0], [0.5, 0.0]]],
    &[&[[0.0, 2.0], [1.0, 2.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0], [1.0, 0.0]]],
    &[&[[0.0, 2.0], [1.0, 2.0], [1.0, 0.0], [0.0, 0.0]], &[[0.0, 1.0], [1.0, 1.0]]],
    &[&[[0.0, 2.0], [0.0, 1.0], [1.0, 1.0]], &[[1.0, 2.0], [1.0, 0.0]]],
    &[&[[1.0, 2.0], [0.0, 2.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]]],
    &[&[[1.0, 2.0], [0.0, 2.0], [0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]],
    &[&[[0.0, 2.0], [1.0, 2.0], [1.0, 0.0]]],
    &[&[[0.0, 2.0], [1.0, 2.0], [1.0, 0.0], [0.0, 0.0], [0.0, 2.0]], &[[0.0, 1.0], [1.0, 1.0]]],
    &[&[[1.0, 1.0], [0.0, 1.0], [0.0, 2.0], [1.0, 2.0], [1.0, 0.0], [0.0, 0.0]]],
];

/// Width of a digit in line widths: its strokes stay well apart.
const WIDE: f64 = 6.0;
/// From digit to digit.
const STEP: f64 = 10.0;

/// Width and depth of a number's strokes, mm, for lines of this width.
pub(super) fn size(number: usize, line_width: f64) -> [f64; 2] {
    let digits = number.to_string().len();
    let steps = crate::surface::places::count(digits.saturating_sub(1));
    [line_width * (WIDE + STEP * steps), line_width * 2.0 * WIDE]
}

/// The strokes of a number whose front left corner is at `at`, mm.
pub(super) fn strokes(number: usize, line_width: f64, at: [f64; 2]) -> Vec<Vec<[f64; 2]>> {
    let mut out = Vec::new();
    let mut x = at[0];
    for digit in number.to_string().bytes() {
        for stroke in STROKES.get(usize::from(digit.wrapping_sub(b'0'))).into_iter().copied().flatten() {
            out.push(stroke.iter().map(|p| [x + p[0] * WIDE * line_width, at[1] + p[1] * WIDE * line_width]).collect());
        }
        x += STEP * line_width;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_stay_in_their_box_and_digits_differ() {
        let mut all = Vec::new();
        for number in 0..10 {
            let lines = strokes(number, 0.5, [0.0, 0.0]);
            assert!(lines.iter().all(|l| l.len() >= 2));
            assert!(lines.iter().flatten().all(|p| p[0] >= 0.0 && p[0] <= 3.0 && p[1] >= 0.0 && p[1] <= 6.0));
            assert!(!all.contains(&lines));
            all.push(lines);
        }
        assert_eq!(size(7, 0.5).to_vec(), [3.0, 6.0]);
        assert_eq!(size(107, 0.5).to_vec(), [13.0, 6.0]);
        // 107: its last stroke belongs to the 7.
        assert_eq!(strokes(107, 0.5, [10.0, 20.0]).last(), Some(&vec![[20.0, 26.0], [23.0, 26.0], [23.0, 20.0]]));
    }
}
