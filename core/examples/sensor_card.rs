//! A card built in code from what a sensor on the carriage told, without any text: its map, and what the readings are worth.
//!
//!     cargo run -p evengap --example sensor_card

use evengap::card::{Bed, Card, Method, Reading, Readings};
use evengap::known::Known;
use evengap::{Error, HeightMap, SurfaceKind};

/// Stands in for a sensor: the bed's height at (x, y), mm, as it reads it. Yours talks to hardware here.
fn sensor(x: f64, y: f64) -> f64 {
    let (u, v) = (x / 150.0 - 1.0, y / 150.0 - 1.0);
    // Its last digit is 0.01 mm.
    ((0.12 - 0.15 * u * u + 0.06 * v) * 100.0).round() / 100.0
}

fn main() -> Result<(), Error> {
    // A sensor 25 mm to the right of the nozzle: its heights are relative, and right where a first layer was made to be.
    let mut readings = Readings::new(Method::Dial);
    readings.offset = Some([25.0, 0.0]);
    readings.right_at = Some([150.0, 150.0]);
    readings.spread = Some(0.01);
    for row in 0..4 {
        for column in 0..4 {
            let (x, y) = (15.0 + 80.0 * f64::from(column), 15.0 + 90.0 * f64::from(row));
            readings.points.push(Reading::new(x, y, sensor(x + 25.0, y)));
        }
    }
    let card = Card::new(Bed::new([0.0, 300.0], [0.0, 300.0]), readings);

    // Everything that a card from text would be refused for is refused here.
    let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
    for [x, y] in [[30.0, 150.0], [150.0, 150.0], [270.0, 150.0]] {
        println!("X {x} Y {y}: {:+.3} mm", map.height(x, y));
    }
    if let Some(known) = Known::of(&map) {
        let over = known.over_bed();
        println!("known to +-{:.3} mm (95 %), worst {}", over.within, over.worst.place);
    }
    // The card as text, for a person or for the next program: it has the same name, the digest of what it says.
    assert_eq!(Card::parse(&card.to_toml())?.digest(), card.digest());
    println!("card {}", card.digest());
    Ok(())
}
