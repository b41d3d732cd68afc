//! The sheet to print, as a file.

use crate::files;
use crate::files::{Name, Target};
use crate::pdf::pdf;
use crate::picture::{png, undrawable};
use crate::report::Failure;
use evengap::Card;
use evengap::draw::{Paper, reading_sheet};
use std::path::{Path, PathBuf};

/// A file to write the sheet to; the kind follows the name's ending.
#[derive(Debug, Clone)]
pub(crate) struct Sheet {
    path: PathBuf,
    kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Pdf,
    Svg,
    Png,
}

/// PNG pixels a CSS pixel: 192 an inch.
const SCALE: f32 = 2.0;

impl Sheet {
    /// For clap: the ending must be one that can be written.
    pub(crate) fn parse(text: &str) -> Result<Sheet, String> {
        let path = PathBuf::from(text);
        let ending = path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase());
        let kind = match ending.as_deref() {
            Some("pdf") if cfg!(feature = "pdf") => Kind::Pdf,
            Some("svg") => Kind::Svg,
            Some("png") if cfg!(feature = "png") => Kind::Png,
            Some("pdf" | "png") => return Err("this build draws SVG only".to_owned()),
            _ => return Err("the name must end in .pdf, .svg or .png".to_owned()),
        };
        Ok(Sheet { path, kind })
    }

    /// The name, to hold it against others.
    pub(crate) fn name(&self) -> Name {
        Name::Path(self.path.clone())
    }

    /// Draws the sheet; returns the files, to be put in place. A PDF holds all pages; pictures are one file a page, the first with the
    /// name given.
    pub(crate) fn ready(&self, card: &Card, paper: Paper) -> Result<Vec<(PathBuf, Target)>, Failure> {
        if let Some(parked) = card.readings.parked.filter(|z| *z <= 0.0) {
            return Err(Failure::plain(format!(
                "the card's `parked` is {parked} mm, and the nozzle must stay above Z = 0: a feeler gauge or a patch wants a few \
                 tenths of a millimetre under the nozzle"
            )));
        }
        if let (Some(name), true) = (undrawable(card), self.kind != Kind::Svg) {
            files::say(&format!(
                "Note: the sheet cannot show every letter of \"{name}\"; as SVG it can, where the reader has them.\n"
            ));
        }
        let pages = reading_sheet(card, paper);
        let files: Vec<(PathBuf, Vec<u8>)> = match self.kind {
            Kind::Pdf => vec![(self.path.clone(), pdf(&pages, &format!("Reading the bed, card {}", card.digest()))?)],
            Kind::Svg => self.numbered(pages.into_iter().map(String::into_bytes)),
            Kind::Png => {
                let drawn: Result<Vec<Vec<u8>>, Failure> = pages.iter().map(|page| png(page, SCALE)).collect();
                self.numbered(drawn?.into_iter())
            }
        };
        files
            .into_iter()
            .map(|(path, bytes)| {
                let target = files::ready(&Name::Path(path.clone()), &bytes)?;
                Ok((path, target))
            })
            .collect()
    }

    fn numbered(&self, pages: impl Iterator<Item = Vec<u8>>) -> Vec<(PathBuf, Vec<u8>)> {
        pages.zip(1..).map(|(bytes, number)| (page_path(&self.path, number), bytes)).collect()
    }
}

/// `sheet.svg`, then `sheet-2.svg` and so on.
fn page_path(path: &Path, number: usize) -> PathBuf {
    if number == 1 {
        return path.to_path_buf();
    }
    let mut name = path.file_stem().unwrap_or_default().to_os_string();
    name.push(format!("-{number}"));
    if let Some(ending) = path.extension() {
        name.push(".");
        name.push(ending);
    }
    path.with_file_name(name)
}
