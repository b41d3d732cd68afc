//! The plan as a file: SVG as the core draws it, or PNG.

use crate::files::{self, Name, Target};
use crate::report::Failure;
use evengap::Card;
use evengap::draw::PlanOptions;
use std::path::{Path, PathBuf};

/// A picture to write; the kind follows the file name's ending.
#[derive(Debug, Clone)]
pub(crate) struct Picture {
    path: PathBuf,
    kind: Kind,
}

#[derive(Debug, Clone, Copy)]
enum Kind {
    Svg,
    Png,
}

impl Picture {
    /// For clap: the ending must be one that can be written.
    pub(crate) fn parse(text: &str) -> Result<Picture, String> {
        let path = PathBuf::from(text);
        let ending = path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase());
        match ending.as_deref() {
            Some("svg") => Ok(Picture { path, kind: Kind::Svg }),
            Some("png") if cfg!(feature = "png") => Ok(Picture { path, kind: Kind::Png }),
            Some("png") => Err("this build draws SVG only".to_owned()),
            _ => Err("the name must end in .svg or .png".to_owned()),
        }
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// The name, to hold it against others.
    pub(crate) fn name(&self) -> Name {
        Name::Path(self.path.clone())
    }

    /// Draws any SVG of a card's bed and puts the file in place.
    pub(crate) fn draw(&self, card: &Card, svg: impl Fn(&PlanOptions) -> String) -> Result<(), Failure> {
        files::commit([self.ready(card, svg)?])
    }

    /// Draws any SVG of a card's bed, to be put in place together with other files.
    pub(crate) fn ready(&self, card: &Card, svg: impl Fn(&PlanOptions) -> String) -> Result<Target, Failure> {
        let bytes = match self.kind {
            Kind::Svg => svg(&PlanOptions::default()).into_bytes(),
            Kind::Png => {
                if let Some(name) = undrawable(card) {
                    files::say(&format!(
                        "Note: the PNG cannot show every letter of \"{name}\"; the SVG can, where the reader has them.\n"
                    ));
                }
                png(&svg(&PlanOptions { width: PNG_WIDTH, ..PlanOptions::default() }), 1.0)?
            }
        };
        files::ready(&self.name(), &bytes)
    }
}

/// Pixels across: 200 an inch on A4 with 10 mm margins.
const PNG_WIDTH: f64 = 1500.0;

/// A screw's name with a letter that the fonts brought along do not have: they have Latin, Greek and Cyrillic.
pub(crate) fn undrawable(card: &Card) -> Option<&str> {
    let has = |c: char| matches!(c, '\u{20}'..='\u{7e}' | '\u{a0}'..='\u{17f}' | '\u{384}'..='\u{3ce}' | '\u{400}'..='\u{45f}');
    card.screws.iter().flat_map(|s| &s.at).map(|s| s.name.as_str()).find(|n| !n.chars().all(has))
}

/// The two fonts that come with the command: what is drawn with them and no others is the same on every machine.
#[cfg(any(feature = "png", feature = "pdf"))]
pub(crate) const FONTS: [&[u8]; 2] =
    [include_bytes!("../assets/plan-regular.ttf"), include_bytes!("../assets/plan-semibold.ttf")];

/// Reads SVG with [`FONTS`].
#[cfg(any(feature = "png", feature = "pdf"))]
pub(crate) fn tree(svg: &str) -> Result<resvg::usvg::Tree, String> {
    use resvg::usvg;
    let mut options = usvg::Options { font_family: "Evengap Plan".to_owned(), ..usvg::Options::default() };
    let fonts = options.fontdb_mut();
    for font in FONTS {
        fonts.load_font_data(font.to_vec());
    }
    fonts.set_sans_serif_family("Evengap Plan");
    usvg::Tree::from_str(svg, &options).map_err(|e| e.to_string())
}

/// Draws SVG as PNG, enlarged.
#[cfg(feature = "png")]
pub(crate) fn png(svg: &str, scale: f32) -> Result<Vec<u8>, Failure> {
    use resvg::tiny_skia;
    let failed = |what: &str| Failure::plain(format!("cannot draw the PNG: {what}"));
    let tree = tree(svg).map_err(|e| failed(&e))?;
    let size = tree.size().to_int_size().scale_by(scale).ok_or_else(|| failed("no size"))?;
    let mut pixels = tiny_skia::Pixmap::new(size.width(), size.height()).ok_or_else(|| failed("no memory"))?;
    resvg::render(&tree, tiny_skia::Transform::from_scale(scale, scale), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| failed(&e.to_string()))
}

#[cfg(not(feature = "png"))]
pub(crate) fn png(_svg: &str, _scale: f32) -> Result<Vec<u8>, Failure> {
    Err(Failure::plain("this build draws SVG only"))
}
