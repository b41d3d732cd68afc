//! The plan as a document.

use super::*;
use crate::surface::SurfaceKind;

const FIVE: &str = r#"
[bed]
x = [0, 235]
y = [0, 235]
keep_out = [[0, 100, 12, 130]]
[readings]
method = "drag"
sheet = 0.1
bed_celsius = 60
points = [
  [30, 30, 0.16], [117, 30, 0.08], [205, 30, 0.02],
  [30, 117, 0.20], [117, 117, 0.25], [205, 117, 0.12],
  [30, 205, 0.05], [117, 205, 0.11], [205, 205, 0.31],
]
[screws]
thread = "M4"
raise = "anticlockwise"
at = { "front <left> & \"low\"" = [30, 30], "back right" = [205, 205] }
"#;

fn drawn(text: &str) -> String {
    let card = Card::parse(text).unwrap();
    let map = HeightMap::fit(&card, SurfaceKind::ThinPlate).unwrap();
    plan(&card, &map, &PlanOptions::default())
}

/// Texts of all elements of that name, unescaped only as far as the tests need.
fn texts<'a>(svg: &'a str, tag: &str) -> Vec<&'a str> {
    svg.split(&format!("<{tag}"))
        .skip(1)
        .filter_map(|s| s.split_once('>')?.1.split_once(&format!("</{tag}>")).map(|(t, _)| t))
        .collect()
}

#[test]
fn every_reading_has_its_signed_height_and_every_screw_its_escaped_name() {
    let svg = drawn(FIVE);
    let texts = texts(&svg, "text");
    for height in ["+0.06", "\u{2212}0.02", "\u{2212}0.08", "+0.10", "+0.15", "+0.02", "\u{2212}0.05", "+0.01", "+0.21"]
    {
        assert!(texts.contains(&height), "{height}: {texts:?}");
    }
    assert!(texts.contains(&"front &lt;left&gt; &amp; &quot;low&quot;"));
    assert!(texts.contains(&"back right") && texts.contains(&"FRONT") && texts.contains(&"back"));
    assert!(texts.contains(&"bed 60 \u{b0}C"));
}

#[test]
fn contours_carry_their_heights() {
    let svg = drawn(FIVE);
    let figures: Vec<&str> =
        svg.split("rotate(").skip(1).filter_map(|s| s.split_once('>')?.1.split_once('<').map(|(t, _)| t)).collect();
    assert!(figures.contains(&"0"), "{figures:?}");
    assert!(figures.contains(&"+0.05") && figures.contains(&"+0.10") && figures.contains(&"+0.15"), "{figures:?}");
}

#[test]
fn the_same_card_gives_the_same_bytes_and_only_the_size_follows_the_width() {
    assert_eq!(drawn(FIVE), drawn(FIVE));
    let card = Card::parse(FIVE).unwrap();
    let map = HeightMap::fit(&card, SurfaceKind::ThinPlate).unwrap();
    let wide = plan(&card, &map, &PlanOptions { width: 2000.0, ..PlanOptions::default() });
    assert!(wide.contains("width=\"2000.00\""));
    let rest = |svg: &str| svg.split_once("role=").map(|(_, rest)| rest.to_owned());
    assert_eq!(rest(&wide), rest(&drawn(FIVE)));
}

#[test]
fn decimals_follow_what_the_readings_know() {
    let fine = FIVE.replace("0.16]", "0.163]");
    assert!(texts(&drawn(&fine), "text").contains(&"+0.063"));
    let coarse = fine.replace("bed_celsius", "spread = 0.02\nbed_celsius");
    assert!(texts(&drawn(&coarse), "text").contains(&"+0.06"));
}

#[test]
fn a_level_bed_says_so() {
    let card = "[bed]\nx=[0,100]\ny=[0,100]\n[readings]\nmethod='drag'\nsheet=0.1\npoints=[[10,10,0.1],[90,10,0.1],[50,90,0.1]]";
    let svg = drawn(card);
    assert!(texts(&svg, "text").contains(&"none: the bed is level to 0.001 mm"), "{svg}");
    assert!(texts(&svg, "text").contains(&"0.00"));
}

#[test]
fn shifted_maps_show_shifted_heights() {
    let shifted = FIVE.replace("bed_celsius", "right_at = [117, 117]\nbed_celsius");
    assert!(texts(&drawn(&shifted), "text").contains(&"\u{2212}0.09"));
    assert!(texts(&drawn(&shifted), "text").contains(&"X 117, Y 117"));
}

#[test]
fn repeats_are_drawn_once_with_their_mean() {
    let spot = |height| Spot { at: [1.0, 2.0], height };
    let pooled = pooled([spot(0.1), Spot { at: [3.0, 2.0], height: 0.5 }, spot(0.2)].into_iter());
    assert_eq!(pooled.len(), 2);
    assert!((pooled[0].height - 0.15).abs() < 1e-15);
}

#[test]
fn a_crowd_of_readings_stays_legible_and_says_what_is_left_out() {
    let points: Vec<String> = (0..40)
        .flat_map(|j| (0..40).map(move |i| format!("[{}, {}, {:.3}]", 2 + 5 * i, 2 + 5 * j, 0.001 * f64::from(i + j))))
        .collect();
    let text = format!(
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\npoints = [{}]",
        points.join(", ")
    );
    let card = Card::parse(&text).unwrap();
    let map = HeightMap::fit(&card, SurfaceKind::Bilinear).unwrap();
    let svg = plan(&card, &map, &PlanOptions::default());
    assert!(texts(&svg, "text").contains(&"1600 readings stand without their height, for want of room"));
    assert!(texts(&svg, "text").contains(&"bilinear between the readings"));
}
