//! Measured thicknesses as CSV.

use crate::report::{Failure, Refusal};
use evengap::Place;
use evengap::trial::{Measured, Patch};

/// Reads lines of `number,thickness` or `x,y,thickness`, mm. A first line that names the columns is passed over, so are blank lines, a
/// BOM, and lines whose thickness is empty: patches that came loose. A number stands for the middle of its patch.
pub(crate) fn read(text: &str, name: &str, patches: &[Patch]) -> Result<Vec<Measured>, Failure> {
    let mut out = Vec::new();
    let mut first = true;
    for (line, number) in text.trim_start_matches('\u{feff}').lines().zip(1_u64..) {
        if line.trim().is_empty() {
            continue;
        }
        let header = std::mem::take(&mut first) && is_header(line);
        if !header {
            out.extend(measured(line, number, name, patches)?);
        }
    }
    Ok(out)
}

fn is_header(line: &str) -> bool {
    let names: Vec<String> = line.split(',').map(|f| f.trim().trim_matches('"').to_ascii_lowercase()).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    matches!(names.as_slice(), ["number", "thickness"] | ["x", "y", "thickness"])
}

fn measured(line: &str, number: u64, name: &str, patches: &[Patch]) -> Result<Option<Measured>, Failure> {
    let column = |at: usize| 1 + u64::try_from(at).unwrap_or(0);
    let refuse = |message: String, at: usize| {
        Failure::from(Refusal::of_line(message, name.to_owned(), Place { line: number, column: column(at) }, line))
    };
    let mut fields = Vec::new();
    let mut at = 0;
    for field in line.split(',') {
        fields.push((at + (field.len() - field.trim_start().len()), field.trim()));
        at += field.len() + 1;
    }
    let (&(start, thickness), before) = match fields.split_last() {
        Some((last, before)) if matches!(before.len(), 1 | 2) => (last, before),
        _ => {
            let message =
                format!("there are {} fields on the line: number,thickness or x,y,thickness is expected", fields.len());
            return Err(refuse(message, 0));
        }
    };
    if thickness.is_empty() {
        return Ok(None);
    }
    let value = |(at, text): (usize, &str)| match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(refuse(format!("\"{text}\" is not a number of millimetres"), at)),
    };
    let [x, y] = match before {
        [(at, text)] => {
            let patch = text.parse::<usize>().ok().and_then(|n| patches.iter().find(|p| p.number == n));
            let Some(patch) = patch else {
                return Err(refuse(format!("there is no patch of the number \"{text}\""), *at));
            };
            [patch.x, patch.y]
        }
        _ => [value(before[0])?, value(before[1])?],
    };
    let (line, column) = (Some(number), Some(column(start)));
    Ok(Some(Measured { x, y, thickness: value((start, thickness))?, spread: None, line, column }))
}

#[cfg(test)]
mod tests {
    use super::*;

    const PATCHES: [Patch; 2] = [
        Patch { number: 1, x: 20.0, y: 30.0, point: [20.0, 30.0], side: 20.0 },
        Patch { number: 4, x: 50.0, y: 30.0, point: [50.0, 31.0], side: 20.0 },
    ];

    fn places(text: &str) -> Vec<[f64; 3]> {
        read(text, "t", &PATCHES).unwrap().iter().map(|m| [m.x, m.y, m.thickness]).collect()
    }

    #[test]
    fn by_number_and_by_place() {
        let both = [[20.0, 30.0, 0.21], [50.0, 30.0, 0.18]];
        for text in
            ["number,thickness\n1,0.21\n4,0.18\n", "1, 0.21\r\n\r\n 4 ,0.18", "x,y,thickness\n20,30,0.21\n50,30,.18\n"]
        {
            assert_eq!(places(text), both, "{text:?}");
        }
        assert_eq!(places("1,\n4,0.18\n"), both[1..]);
        assert!(places("").is_empty());
        let m = read("number,thickness\n\n4, 0.18\n", "t", &PATCHES).unwrap();
        assert_eq!((m[0].line, m[0].column), (Some(3), Some(4)));
    }

    #[test]
    fn a_wrong_line_is_refused() {
        for text in [
            "2,0.2\n",
            "1\n",
            "1,2,3,4\n",
            "a,0.2\n",
            "1,thick\n",
            "1.5,0.2\n",
            "1,2,nan\n",
            "1,0.2\nnumber,thickness\n",
        ] {
            assert!(matches!(read(text, "t", &PATCHES), Err(Failure::Refused(_))), "{text:?}");
        }
    }
}
