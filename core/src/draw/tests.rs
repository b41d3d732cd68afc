//! The plan as a document.

use super::*;
use crate::card::{Bed, Method, Outline, Reading, Readings};

fn card(n: u8, outline: Outline) -> Card {
    let mut points = Vec::new();
    for j in 0..n {
        for i in 0..n {
            let at = |k: u8| 20.0 + 195.0 * f64::from(k) / f64::from(n - 1);
            let (x, y) = (at(i), at(j));
            let value = 0.1 + libm::round(100.0 * (0.2 - 2e-5 * ((x - 120.0) * (x - 100.0) + 0.5 * x * y * 0.3))) / 100.0;
            points.push(Reading { x, y, value, line: None });
        }
    }
    Card {
        bed: Bed { x: [0.0, 235.0], y: [0.0, 235.0], outline, keep_out: vec![[0.0, 100.0, 12.0, 130.0]] },
        readings: Readings {
            method: Method::Drag,
            sheet: Some(0.1),
            parked: None,
            offset: None,
            bed_celsius: Some(60.0),
            nozzle_celsius: Some(205.0),
            spread: None,
            right_at: None,
            points,
        },
        screws: None,
    }
}

#[test]
fn tmp_view() {
    for (name, n, outline) in [("five", 5, Outline::Rectangle), ("seven", 7, Outline::Rectangle), ("round", 5, Outline::Round)] {
        let mut card = card(n, outline);
        card.screws = Some(crate::card::Screws { pitch: 0.7, raise: crate::card::Turn::Clockwise, at: [("front left", 20.0, 20.0), ("front right", 215.0, 20.0), ("back left", 20.0, 215.0), ("back right", 215.0, 215.0)].map(|(n, x, y)| crate::card::Screw { name: n.into(), x, y }).to_vec() });
        let f = |x: f64, y: f64| {let (x,y)=(x.clamp(20.0,215.0),y.clamp(20.0,215.0)); 0.2 - 2e-5 * ((x - 120.0) * (x - 100.0) + 0.5 * x * y * 0.3)};
        let spots = pooled(card.readings.points.iter().map(|p| Spot { at: [p.x, p.y], height: p.value - 0.1 }));
        let svg = Survey::new(&card, "0123456789ab".into(), spots, [20.0, 20.0, 215.0, 215.0], &f).draw(&PlanOptions::default());
        std::fs::write(format!("/tmp/team/{name}.svg"), svg).unwrap();
    }
}
