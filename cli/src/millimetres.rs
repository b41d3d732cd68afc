//! Lengths on the command line, mm.

use evengap::follow::HEIGHT_LIMIT;

pub(crate) fn parse_millimetres(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("give a number of millimetres, such as 0.005".to_owned()),
    }
}

pub(crate) fn parse_tolerance(text: &str) -> Result<f64, String> {
    parse_from_to(text, 0.0005, 0.1)
}

pub(crate) fn parse_shift(text: &str) -> Result<f64, String> {
    parse_from_to(text, -HEIGHT_LIMIT, HEIGHT_LIMIT)
}

pub(crate) fn parse_from_to(text: &str, low: f64, high: f64) -> Result<f64, String> {
    let value = parse_millimetres(text)?;
    if (low..=high).contains(&value) { Ok(value) } else { Err(format!("it must be from {low} to {high} mm")) }
}
