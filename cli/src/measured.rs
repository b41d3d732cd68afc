//! Measured thicknesses as CSV.

use crate::report::Failure;
use crate::rows::{Row, rows};
use evengap::trial::{Measured, Patch};

/// Reads lines of `number,thickness` or `x,y,thickness`, mm; see [`rows`] for what is passed over. So are lines whose thickness is
/// empty: patches that came loose. A number stands for the middle of its patch.
pub(crate) fn read(text: &str, name: &str, patches: &[Patch]) -> Result<Vec<Measured>, Failure> {
    rows(text, name).filter_map(|row| measured(&row, patches).transpose()).collect()
}

fn measured(row: &Row<'_>, patches: &[Patch]) -> Result<Option<Measured>, Failure> {
    let (before, thickness) = match row.fields.as_slice() {
        [before @ .., thickness] if matches!(before.len(), 1 | 2) => (before, *thickness),
        fields => {
            let message =
                format!("there are {} fields on the line: number,thickness or x,y,thickness is expected", fields.len());
            return Err(row.refuse(1, message));
        }
    };
    if thickness.text.is_empty() {
        return Ok(None);
    }
    let [x, y] = match before {
        [number] => {
            let patch = number.text.parse::<usize>().ok().and_then(|n| patches.iter().find(|p| p.number == n));
            let Some(patch) = patch else {
                return Err(row.refuse(number.column, format!("there is no patch of the number \"{}\"", number.text)));
            };
            [patch.x, patch.y]
        }
        _ => [row.millimetres(before[0])?, row.millimetres(before[1])?],
    };
    let (line, column) = (Some(row.number), Some(thickness.column));
    Ok(Some(Measured { x, y, thickness: row.millimetres(thickness)?, spread: None, line, column }))
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
