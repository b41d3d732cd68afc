//! `evengap map`: a card in, its height map out, in figures and as a plan.

use crate::cautions;
use crate::files::{self, Name};
use crate::picture::Picture;
use crate::report::Failure;
use clap::CommandFactory as _;
use clap::ValueEnum;
use clap::error::ErrorKind as Usage;
use evengap::{Card, HeightMap, SurfaceKind};

/// Show the bed's height map: the readings as the bed lies, its tilt, twist and bow, and a plan
#[derive(Debug, clap::Args)]
#[command(after_help = AFTER_HELP)]
pub(crate) struct Args {
    /// The bed's probe card (TOML or JSON), or - for standard input
    #[arg(value_name = "CARD", env = "EVENGAP_CARD", hide_env_values = true)]
    card: Name,
    /// The surface through the readings
    #[arg(long, value_enum, default_value_t = Surface::ThinPlate)]
    surface: Surface,
    /// Print the heights at these places instead of the report: a CSV file of x,y in mm, or - for standard input
    #[arg(long, value_name = "POINTS.csv")]
    at: Option<Name>,
    /// Draw a contour plan; the name's ending says whether as SVG or PNG
    #[arg(long, value_name = "FILE.svg|FILE.png", value_parser = Picture::parse)]
    picture: Option<Picture>,
    /// Report as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

const AFTER_HELP: &str = "\
With --at, standard output is CSV \"x,y,height\" in mm, in the order given, with 17 significant digits; a header line in
POINTS.csv is passed over.

Examples:
  evengap map bed.toml
  evengap map bed.toml --picture bed.svg
  evengap map bed.toml --at points.csv > heights.csv
  evengap map - --json < bed.toml

Cautions:
  Readings are taken on a hot bed with a hot nozzle; axes move and pinch. A reading with the wrong sign or datum drives
  the nozzle into the bed when a file is rewritten with it. The printer maker's instructions come first.";

/// The surface through the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Surface {
    /// Smooth, for any scatter of three or more readings
    ThinPlate,
    /// Straight between neighbours, for a full grid
    Bilinear,
}

impl From<Surface> for SurfaceKind {
    fn from(surface: Surface) -> Self {
        match surface {
            Surface::ThinPlate => SurfaceKind::ThinPlate,
            Surface::Bilinear => SurfaceKind::Bilinear,
        }
    }
}

/// Reads a card and fits its map; errors show the card's line.
pub(crate) fn read_map(name: &Name, surface: Surface) -> Result<HeightMap, Failure> {
    let text = name.text(LARGEST)?;
    let refuse = |error| Failure::card(error, name.shown(), &text);
    let card = Card::parse(&text).map_err(refuse)?;
    HeightMap::fit(&card, surface.into()).map_err(refuse)
}

/// The core refuses what is larger than its own limit; this only bounds what is read.
const LARGEST: u64 = 16 << 20;

pub(crate) fn run(args: &Args) -> Result<(), Failure> {
    if args.card == Name::Standard && args.at == Some(Name::Standard) {
        let error = crate::Cli::command().error(Usage::ArgumentConflict, "CARD and POINTS.csv cannot both be standard input");
        return Err(Failure::Usage(error));
    }
    let map = read_map(&args.card, args.surface)?;
    if let Some(picture) = &args.picture {
        picture.write(map.card(), &map)?;
        files::say(&format!("Drew {}.\n", picture.path().display()));
    }
    let _ = cautions::SHORT;
    Ok(())
}
