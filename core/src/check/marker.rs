//! The marker comment of a rewritten toolpath, read a second time: what checks does not ask the rewriter.

use crate::SurfaceKind;
use crate::check::gaps::Followed;
use crate::check::proof::{MOST_SHIFT, MOST_TOLERANCE};
use crate::toolpath::number::scan;

/// What the marker comment tells: which card the toolpath was rewritten with, and how.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Marker {
    /// The version of the program that wrote it.
    pub version: String,
    /// The card's [digest](crate::Card::digest).
    pub card: String,
    /// The surface.
    pub surface: SurfaceKind,
    /// The taper and the shift.
    pub followed: Followed,
    /// How far Z may be from its definition, mm.
    pub tolerance: f64,
    /// Whether E follows the layers' thickness in the taper.
    pub flow: bool,
    /// The floor, mm.
    pub floor: f64,
}

impl Marker {
    /// Reads a line; `None` where it is no marker, or one that cannot be read in full.
    ///
    /// ```
    /// use evengap::check::Marker;
    /// let line = b"; evengap 0.1.0 card=0123456789ab surface=thin-plate taper=0.5..4.25 tolerance=0.005 flow=on floor=0 shift=-0.05";
    /// let marker = Marker::read(line).unwrap();
    /// assert_eq!((marker.followed.taper, marker.followed.shift), (Some([0.5, 4.25]), -0.05));
    /// assert_eq!(Marker::read(b"; a comment"), None);
    /// ```
    #[must_use]
    pub fn read(line: &[u8]) -> Option<Marker> {
        let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
        let text = std::str::from_utf8(line.strip_prefix(b"; evengap ")?).ok()?;
        let word = |key: &str| text.split_whitespace().find_map(|w| w.strip_prefix(key)?.strip_prefix('='));
        let number = |text: &str| {
            let (sign, digits) = text.strip_prefix('-').map_or((1.0, text), |rest| (-1.0, rest));
            scan(digits.as_bytes()).filter(|(_, length)| *length == digits.len()).map(|(n, _)| sign * n.value)
        };
        let taper = match word("taper")? {
            "none" => None,
            range => {
                let dots = range.as_bytes().windows(2).position(|two| two == b"..")?;
                let (from, to) = (number(range.get(..dots)?)?, number(range.get(dots + 2..)?)?);
                // Anyone can write a comment: what cannot have been is no marker.
                (from < to).then_some(Some([from, to]))?
            }
        };
        Some(Marker {
            version: text.split_whitespace().next()?.to_owned(),
            card: word("card")?.to_owned(),
            surface: match word("surface")? {
                "thin-plate" => SurfaceKind::ThinPlate,
                "bilinear" => SurfaceKind::Bilinear,
                _ => return None,
            },
            followed: Followed { taper, shift: number(word("shift")?).filter(|s| s.abs() <= MOST_SHIFT)? },
            // What is checked must not choose how closely: no file is rewritten with less care than this.
            tolerance: number(word("tolerance")?).filter(|t| (0.0005..=MOST_TOLERANCE).contains(t))?,
            flow: word("flow")? == "on",
            floor: number(word("floor")?)?,
        })
    }
}
