//! The plan's tints: one even sequence from a cool, darker low to a warm, lighter high.
//!
//! The sequence is a curve in OKLab (B. Ottosson, "A perceptual color space for image processing", 2020), walked in equal steps
//! of its own length, so that neighbouring tints differ alike everywhere. Its lightness only rises: the plan reads in grey.
//! Its hues run from blue to yellow, the axis that red-green colour blindness leaves alone; the tests look at the tints as
//! a dichromat would (Viénot, Brettel and Mollon 1999).

use crate::number;

/// Low, middle and high control points of the curve: lightness, a, b.
const LOW: [f64; 3] = [0.700, -0.030, -0.085];
const MIDDLE: [f64; 3] = [0.830, -0.065, 0.005];
const HIGH: [f64; 3] = [0.968, -0.012, 0.060];

/// Steps in which the curve's length is measured.
const STEPS: usize = 64;

/// An sRGB colour, 8 bits a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Rgb(pub(super) [u8; 3]);

impl Rgb {
    /// `#rrggbb`.
    pub(super) fn hex(self) -> String {
        let [r, g, b] = self.0;
        format!("#{r:02x}{g:02x}{b:02x}")
    }
}

/// `count` tints from low to high, evenly spaced to the eye. One tint is the middle of the sequence.
pub(super) fn tints(count: usize) -> Vec<Rgb> {
    let lengths = curve_lengths();
    let total = lengths[STEPS];
    (0..count)
        .map(|i| {
            let share = if count > 1 { ratio(i, count - 1) } else { 0.5 };
            rgb_of_oklab(curve(parameter_at(&lengths, share * total)))
        })
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "both are small counts")]
fn ratio(i: usize, n: usize) -> f64 {
    i as f64 / n as f64
}

fn curve(t: f64) -> [f64; 3] {
    let s = 1.0 - t;
    core::array::from_fn(|k| s * s * LOW[k] + 2.0 * s * t * MIDDLE[k] + t * t * HIGH[k])
}

fn curve_lengths() -> [f64; STEPS + 1] {
    let mut lengths = [0.0; STEPS + 1];
    for i in 1..=STEPS {
        let (p, q) = (curve(ratio(i - 1, STEPS)), curve(ratio(i, STEPS)));
        let step: f64 = (0..3).map(|k| (q[k] - p[k]) * (q[k] - p[k])).sum::<f64>().sqrt();
        lengths[i] = lengths[i - 1] + step;
    }
    lengths
}

fn parameter_at(lengths: &[f64; STEPS + 1], length: f64) -> f64 {
    let i = lengths.partition_point(|l| *l < length).clamp(1, STEPS);
    let within = (length - lengths[i - 1]) / (lengths[i] - lengths[i - 1]);
    number::within(ratio(i - 1, STEPS) + within / 64.0, 0.0, 1.0)
}

/// OKLab to 8-bit sRGB: Ottosson's matrices, then the transfer curve of IEC 61966-2-1.
fn rgb_of_oklab([l, a, b]: [f64; 3]) -> Rgb {
    let cone = [
        l + 0.396_337_777_4 * a + 0.215_803_757_3 * b,
        l - 0.105_561_345_8 * a - 0.063_854_172_8 * b,
        l - 0.089_484_177_5 * a - 1.291_485_548_0 * b,
    ]
    .map(|c| c * c * c);
    let linear = [
        4.076_741_662_1 * cone[0] - 3.307_711_591_3 * cone[1] + 0.230_969_929_2 * cone[2],
        -1.268_438_004_6 * cone[0] + 2.609_757_401_1 * cone[1] - 0.341_319_396_5 * cone[2],
        -0.004_196_086_3 * cone[0] - 0.703_418_614_7 * cone[1] + 1.707_614_701_0 * cone[2],
    ];
    Rgb(linear.map(|v| {
        let v = number::within(v, 0.0, 1.0);
        let shown = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * libm::pow(v, 1.0 / 2.4) - 0.055 };
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=255")]
        let byte = number::within(shown * 255.0 + 0.5, 0.0, 255.0) as u8;
        byte
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn linear(rgb: Rgb) -> [f64; 3] {
        rgb.0.map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.040_45 { c / 12.92 } else { libm::pow((c + 0.055) / 1.055, 2.4) }
        })
    }

    fn oklab([r, g, b]: [f64; 3]) -> [f64; 3] {
        let l = libm::cbrt(0.412_221_470_8 * r + 0.536_332_536_3 * g + 0.051_445_992_9 * b);
        let m = libm::cbrt(0.211_903_498_2 * r + 0.680_699_545_1 * g + 0.107_396_956_6 * b);
        let s = libm::cbrt(0.088_302_461_9 * r + 0.281_718_837_6 * g + 0.629_978_700_5 * b);
        [
            0.210_454_255_3 * l + 0.793_617_785_0 * m - 0.004_072_046_8 * s,
            1.977_998_495_1 * l - 2.428_592_205_0 * m + 0.450_593_709_9 * s,
            0.025_904_037_1 * l + 0.782_771_766_2 * m - 0.808_675_766_0 * s,
        ]
    }

    fn distance(p: [f64; 3], q: [f64; 3]) -> f64 {
        (0..3).map(|k| (p[k] - q[k]) * (p[k] - q[k])).sum::<f64>().sqrt()
    }

    /// Viénot, Brettel and Mollon 1999, "Digital video colourmaps for checking the legibility of displays by dichromats", eq. 4 to 6:
    /// linear RGB to LMS, the missing cone filled from the other two, and back.
    fn as_dichromat(rgb: [f64; 3], deutan: bool) -> [f64; 3] {
        let [r, g, b] = rgb;
        let l = 17.8824 * r + 43.5161 * g + 4.11935 * b;
        let m = 3.45565 * r + 27.1554 * g + 3.86714 * b;
        let s = 0.029_956_6 * r + 0.184_309 * g + 1.467_09 * b;
        let (l, m) = if deutan { (l, 0.494_207 * l + 1.248_27 * s) } else { (2.023_44 * m - 2.525_81 * s, m) };
        [
            0.080_944_4 * l - 0.130_504 * m + 0.116_721 * s,
            -0.010_248_5 * l + 0.054_019_3 * m - 0.113_615 * s,
            -0.000_365_297 * l - 0.004_121_61 * m + 0.693_511 * s,
        ]
        .map(|v| number::within(v, 0.0, 1.0))
    }

    fn luminance([r, g, b]: [f64; 3]) -> f64 {
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    #[test]
    fn lightness_only_rises_and_steps_are_even() {
        for count in 2..=16 {
            let lab: Vec<_> = tints(count).into_iter().map(|c| oklab(linear(c))).collect();
            assert!(lab.windows(2).all(|w| w[1][0] > w[0][0] + 0.01), "{count}");
            let steps: Vec<f64> = lab.windows(2).map(|w| distance(w[0], w[1])).collect();
            let mean = steps.iter().sum::<f64>() / ratio(steps.len(), 1);
            // 8 bits a channel are steps of about 0.003 in OKLab: an even sequence cannot be written closer than that.
            assert!(steps.iter().all(|s| (s - mean).abs() < 0.003 + 0.02 * mean), "{count}: {steps:?}");
        }
    }

    #[test]
    fn neighbours_stay_apart_in_grey_and_for_dichromats() {
        let seen = tints(13);
        for pair in seen.windows(2) {
            let (p, q) = (linear(pair[0]), linear(pair[1]));
            assert!(luminance(q) > luminance(p) + 0.02, "{pair:?}");
            for deutan in [false, true] {
                let (p, q) = (oklab(as_dichromat(p, deutan)), oklab(as_dichromat(q, deutan)));
                // 0.02 is about one just noticeable difference in OKLab (Ottosson 2020).
                assert!(distance(p, q) > 0.02, "{pair:?} deutan {deutan}: {}", distance(p, q));
                assert!(q[0] > p[0], "{pair:?}");
            }
        }
    }

    #[test]
    fn ink_reads_on_every_tint() {
        // WCAG 2.2, success criterion 1.4.3: at least 4.5 : 1.
        for ink in [super::super::style::INK, super::super::style::CONTOUR, super::super::style::SCREW] {
            let byte = |i: usize| u8::from_str_radix(&ink[i..i + 2], 16).unwrap();
            let ink = luminance(linear(Rgb([byte(1), byte(3), byte(5)]))) + 0.05;
            for tint in tints(13) {
                let ratio = (luminance(linear(tint)) + 0.05) / ink;
                assert!(ratio > 4.5, "{tint:?}: {ratio}");
            }
        }
    }

    #[test]
    fn one_tint_is_the_middle() {
        assert_eq!(tints(1), vec![tints(3)[1]]);
        assert!(tints(0).is_empty());
    }
}
