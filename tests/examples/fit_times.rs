//! Times thin-plate fits, for `tests/reference/time_scipy_fits.py`, which runs it side by side with SciPy on the same readings.
//!
//! `fit_times SMOOTHING REPEATS`, readings `x,y,h` on standard input, a line each; SMOOTHING as SciPy has it (r^2 ln r, s = 8 pi N
//! lambda), or `auto=0.02` for the amount that follows from a spread of 0.02 mm. Prints the seconds of each fit, a line each,
//! and then the surface's heights at the readings.

use evengap::Error;
use evengap::surface::thin_plate::{Smoothing, ThinPlate};
use std::io::Read as _;
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let smoothing = words.next().ok_or("no smoothing")?;
    let repeats: u32 = words.next().ok_or("no repeats")?.parse()?;
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text)?;
    let (mut points, mut heights) = (Vec::new(), Vec::new());
    for line in text.lines() {
        let numbers: Vec<f64> = line.split(',').map(str::parse).collect::<Result<_, _>>()?;
        let [x, y, h] = numbers[..] else { return Err("a line is not x,y,h".into()) };
        points.push([x, y]);
        heights.push(h);
    }
    #[expect(clippy::cast_precision_loss, reason = "thousands")]
    let count = points.len() as f64;
    let how = match smoothing.strip_prefix("auto=") {
        Some(spread) => Smoothing::KnownNoise(spread.parse()?),
        None => match smoothing.parse()? {
            0.0 => Smoothing::None,
            s => Smoothing::Lambda(s / (8.0 * std::f64::consts::PI * count)),
        },
    };
    let fit = || -> Result<ThinPlate, Error> { ThinPlate::fit(&points, &heights, None, how) };
    for _ in 0..repeats {
        let start = Instant::now();
        std::hint::black_box(fit()?);
        println!("{:.6}", start.elapsed().as_secs_f64());
    }
    let spline = fit()?;
    println!("heights");
    for [x, y] in points {
        println!("{:?}", spline.value(x, y));
    }
    Ok(())
}
