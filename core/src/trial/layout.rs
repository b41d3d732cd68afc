//! Where the patches, their numbers, the purge line and the skirt go.

use super::bead::line_spacing;
use super::{MAX_PATCHES, SMALLEST_PATCH, TrialOptions, digits};
use crate::card::{Bed, Card, Method, Point, Print};
use crate::program::{grained, place};
use crate::{Error, ErrorKind};

/// Free room between two printed things, mm: what is measured must come off the bed by itself.
const GAP: f64 = 1.0;
/// Room kept from a keep-out area, mm.
const AWAY: f64 = 1.0;
/// Steps in which a patch is moved inward, mm.
const STEP: f64 = 0.5;
/// The purge line's length, mm: the longest that finds room.
const PURGE: [f64; 4] = [120.0, 80.0, 50.0, 30.0];
/// The purge line from the bed's edge, mm.
const FROM_EDGE: f64 = 3.0;
/// The skirt from what it goes round, mm: patches and numbers.
const SKIRT: f64 = 4.0;

/// A patch of the test print.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[expect(clippy::exhaustive_structs, reason = "a program writes it down whole")]
pub struct Patch {
    /// Its number: the point's number on the card, or in the list of chosen points.
    pub number: usize,
    /// X of its middle, mm.
    pub x: f64,
    /// Y of its middle, mm.
    pub y: f64,
    /// The point that it was wanted at, mm: the middle, unless it had to be moved inward.
    pub point: [f64; 2],
    /// Its side, mm.
    pub side: f64,
}

/// `[x0, y0, x1, y1]`, mm.
type Area = [f64; 4];

impl Patch {
    /// What it covers.
    pub(super) fn area(&self) -> Area {
        square([self.x, self.y], self.side)
    }

    /// Whether it had to be moved.
    #[expect(clippy::float_cmp, reason = "a place that was not touched is the same bits")]
    pub(super) fn moved(&self) -> bool {
        [self.x, self.y] != self.point
    }
}

/// Everything on the bed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    pub(super) patches: Vec<Patch>,
    /// Front left corner of each patch's number, where it has one.
    pub(super) numbers: Vec<Option<[f64; 2]>>,
    /// Start and end.
    pub(super) purge: Option<[[f64; 2]; 2]>,
    /// The skirt's middle line.
    pub(super) skirt: Option<Area>,
    /// What had to be left out or moved.
    pub(super) notes: Vec<String>,
}

fn square(middle: [f64; 2], side: f64) -> Area {
    let half = 0.5 * side;
    [middle[0] - half, middle[1] - half, middle[0] + half, middle[1] + half]
}

fn wider(a: Area, by: f64) -> Area {
    [a[0] - by, a[1] - by, a[2] + by, a[3] + by]
}

fn meet(a: &Area, b: &Area) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

/// Whether all of it lies on the bed and away from keep-out areas. (Both outlines are convex: the corners tell.)
fn fits(bed: &Bed, area: Area) -> bool {
    let corners = [[area[0], area[1]], [area[2], area[1]], [area[2], area[3]], [area[0], area[3]]];
    corners.iter().all(|c| bed.reaches(c[0], c[1])) && !bed.keep_out.iter().any(|k| meet(&wider(area, AWAY), k))
}

/// The side that whole lines give, at most what was asked for.
fn whole_side(side: f64, width: f64, height: f64) -> f64 {
    let spacing = line_spacing(width, height);
    libm::floor((side - width) / spacing + 1e-9) * spacing + width
}

fn points(card: &Card, options: &TrialOptions) -> Result<Vec<(usize, [f64; 2])>, Error> {
    // What a dial reads lies beside the nozzle, and that is where the map is known.
    let [dx, dy] = card.readings.offset.filter(|_| card.readings.method == Method::Dial).unwrap_or([0.0, 0.0]);
    let listed: Vec<[f64; 2]> = match &options.at {
        Some(at) => at.clone(),
        None => card
            .readings
            .all_points()
            .map(|p| match p {
                Point::Read(r) => [r.x + dx, r.y + dy],
                Point::Unread(u) => [u.x + dx, u.y + dy],
            })
            .collect(),
    };
    let mut out: Vec<(usize, [f64; 2])> = Vec::new();
    for (p, number) in listed.iter().zip(1..) {
        if !p.iter().all(|v| v.is_finite()) {
            return Err(Error::new(ErrorKind::Options, format!("the place of patch {number} is not a usable number")));
        }
        let p = p.map(grained);
        // A place that was read twice gets one patch.
        #[expect(clippy::float_cmp, reason = "rounded to the same grain")]
        let again = out.iter().any(|(_, q)| *q == p);
        if !again {
            out.push((number, p));
        }
        if out.len() > MAX_PATCHES {
            return Err(Error::new(ErrorKind::Limit, format!("more than {MAX_PATCHES} patches are asked for"))
                .with_help("choose some of the points"));
        }
    }
    if out.is_empty() {
        return Err(Error::new(ErrorKind::Options, "there is no point to print a patch at"));
    }
    Ok(out)
}

/// Patches that would lie on one another are a matter for the person who chose them.
fn check_overlap(points: &[(usize, [f64; 2])], side: f64) -> Result<(), Error> {
    let mut nearest: Option<(f64, usize, usize)> = None;
    for (n, (a, p)) in points.iter().enumerate() {
        for (b, q) in &points[n + 1..] {
            let apart = (p[0] - q[0]).abs().max((p[1] - q[1]).abs());
            if apart < side + GAP && nearest.is_none_or(|(least, ..)| apart < least) {
                nearest = Some((apart, *a, *b));
            }
        }
    }
    let Some((apart, a, b)) = nearest else { return Ok(()) };
    let room = libm::floor((apart - GAP) * 10.0) / 10.0;
    let help = if room >= SMALLEST_PATCH {
        format!("patches of {} mm have room, or choose points further apart", place(room))
    } else {
        "choose points further apart".to_owned()
    };
    let message = format!("patches {a} and {b} would lie on one another: their points are {} mm apart", place(apart));
    Err(Error::new(ErrorKind::Options, message).with_help(help))
}

pub(super) fn layout(card: &Card, options: &TrialOptions, print: &Print) -> Result<Layout, Error> {
    let (bed, width) = (&card.bed, print.line_width());
    let side = whole_side(options.patch, width, print.layer_height());
    let points = points(card, options)?;
    check_overlap(&points, side)?;
    let mut out = Layout { patches: vec![], numbers: vec![], purge: None, skirt: None, notes: vec![] };
    // Those that fit where they belong come first: a moved one makes way for them.
    let mut places: Vec<Option<[f64; 2]>> =
        points.iter().map(|(_, p)| fits(bed, square(*p, side)).then_some(*p)).collect();
    for n in 0..points.len() {
        if places[n].is_none() {
            let taken: Vec<Area> = places.iter().flatten().map(|p| wider(square(*p, side), GAP)).collect();
            places[n] = inward(bed, points[n].1, side, &taken);
        }
    }
    for ((number, point), at) in points.iter().zip(&places) {
        let (x, y) = (place(point[0]), place(point[1]));
        match at {
            Some([px, py]) => {
                let patch = Patch { number: *number, x: *px, y: *py, point: *point, side };
                if patch.moved() {
                    let note = format!(
                        "patch {number} does not fit at X {x} Y {y}: it is at X {} Y {}",
                        place(*px),
                        place(*py)
                    );
                    out.notes.push(note);
                }
                out.patches.push(patch);
            }
            None => out.notes.push(format!("patch {number} is left out: there is no room for it near X {x} Y {y}")),
        }
    }
    if out.patches.is_empty() {
        return Err(Error::new(ErrorKind::Options, "no patch fits on the bed").with_help("print smaller patches"));
    }
    let mut taken: Vec<Area> = out.patches.iter().map(|p| wider(p.area(), GAP)).collect();
    // A number can stand on any side of its patch; the purge line, which is worth more, has the first choice.
    out.purge = purge(bed, width, &taken);
    match out.purge {
        Some([from, to]) => taken.push(purge_area(from, to, width)),
        None => {
            let note = "the purge line is left out: there is no room for it; the first patch may start thin";
            out.notes.push(note.to_owned());
        }
    }
    number_places(bed, options, width, &mut out, &mut taken);
    if options.skirt {
        let purge = out.purge.map(|[from, to]| purge_area(from, to, width));
        taken.retain(|t| purge != Some(*t));
        out.skirt = skirt(bed, width, &taken, purge);
        if out.skirt.is_none() {
            out.notes.push("the skirt is left out: there is no room for it round all patches".to_owned());
        }
    }
    Ok(out)
}

/// The nearest place where a patch fits, less than half its side away.
fn inward(bed: &Bed, point: [f64; 2], side: f64, taken: &[Area]) -> Option<[f64; 2]> {
    let reach = 0.5 * side;
    let steps = libm::ceil(reach / STEP);
    let mut best: Option<(f64, [f64; 2])> = None;
    let mut dy = -steps;
    while dy <= steps {
        let mut dx = -steps;
        while dx <= steps {
            let away = STEP * libm::hypot(dx, dy);
            if away < reach && best.is_none_or(|(least, _)| away < least) {
                let at = [grained(point[0] + STEP * dx), grained(point[1] + STEP * dy)];
                let area = square(at, side);
                if fits(bed, area) && !taken.iter().any(|t| meet(t, &area)) {
                    best = Some((away, at));
                }
            }
            dx += 1.0;
        }
        dy += 1.0;
    }
    best.map(|(_, at)| at)
}

/// A number stands in front of its patch, or behind, right or left of it, wherever there is room.
fn number_places(bed: &Bed, options: &TrialOptions, width: f64, out: &mut Layout, taken: &mut Vec<Area>) {
    let Layout { patches, numbers, notes, .. } = out;
    let mut without = Vec::new();
    for p in patches.iter() {
        let [w, d] = digits::size(p.number, width);
        let away = 0.5 * p.side + GAP + width;
        let found = [
            [p.x - 0.5 * w, p.y - away - d],
            [p.x - 0.5 * w, p.y + away],
            [p.x + away, p.y - 0.5 * d],
            [p.x - away - w, p.y - 0.5 * d],
        ]
        .into_iter()
        .map(|at| at.map(grained))
        .find(|at| {
            let area = wider([at[0], at[1], at[0] + w, at[1] + d], 0.5 * width);
            options.numbers && fits(bed, area) && !taken.iter().any(|t| meet(t, &area))
        });
        match found {
            Some(at) => taken.push(wider([at[0], at[1], at[0] + w, at[1] + d], 0.5 * width + GAP)),
            None => without.push(p.number.to_string()),
        }
        numbers.push(found);
    }
    if options.numbers && !without.is_empty() {
        notes.push(format!("no room for the number beside patch {}", without.join(", ")));
    }
}

/// What a purge line needs, both its lines and the gap beside them.
fn purge_area(from: [f64; 2], to: [f64; 2], width: f64) -> Area {
    wider([from[0], from[1], to[0], to[1] + width], 0.5 * width + GAP)
}

fn skirt(bed: &Bed, width: f64, taken: &[Area], purge: Option<Area>) -> Option<Area> {
    let all = taken.iter().copied().reduce(|a, b| [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])])?;
    let line = wider(all, SKIRT - GAP).map(grained);
    let [x0, y0, x1, y1] = line;
    let half = 0.5 * width;
    let sides = [[x0, y0, x1, y0], [x0, y1, x1, y1], [x0, y0, x0, y1], [x1, y0, x1, y1]];
    let free = |s: &Area| fits(bed, wider(*s, half)) && !purge.is_some_and(|p| meet(&p, &wider(*s, half)));
    sides.iter().all(free).then_some(line)
}

/// Two lines side by side, as near to the front edge as there is room.
fn purge(bed: &Bed, width: f64, taken: &[Area]) -> Option<[[f64; 2]; 2]> {
    for length in PURGE {
        let mut y = bed.y[0] + FROM_EDGE;
        while y < bed.y[1] - FROM_EDGE {
            let mut x = bed.x[0] + FROM_EDGE;
            while x + length < bed.x[1] - FROM_EDGE {
                let area = wider([x, y, x + length, y + width], 0.5 * width);
                if fits(bed, area) && !taken.iter().any(|t| meet(t, &area)) {
                    return Some([[grained(x), grained(y)], [grained(x + length), grained(y)]]);
                }
                x += 5.0;
            }
            y += 2.0;
        }
    }
    None
}

/// The corners of the lines that fill a patch, one after another.
pub(super) fn fill(patch: &Patch, width: f64, height: f64) -> Vec<[f64; 2]> {
    let spacing = line_spacing(width, height);
    let lines = libm::round((patch.side - width) / spacing) + 1.0;
    let half = 0.5 * (patch.side - width);
    let (left, right) = (patch.x - half, patch.x + half);
    let mut out = Vec::new();
    let mut n = 0.0;
    while n < lines {
        let y = patch.y - half + n * spacing;
        let mut ends = [[left, y], [right, y]];
        if out.len() % 4 == 2 {
            ends.reverse();
        }
        out.extend(ends);
        n += 1.0;
    }
    out
}
