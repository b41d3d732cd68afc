//! A card whose readings make no map yet: what is read first, far apart.

use super::{Choice, apart, bounds, read_at, refused};
use crate::Error;
use crate::card::Card;
use crate::known::data;
use crate::known::model::Data;
use crate::plan::start;
use crate::surface::places::Places;
use crate::surface::thin_plate::ON_ONE_LINE;

/// What the model is made from.
pub(super) struct Opening {
    /// The card's readings, and where they make no map, points that make one.
    pub(super) data: Data,
    /// The card's points that are still to be read, but for those.
    pub(super) unread: Vec<[f64; 2]>,
    /// The choices among those.
    pub(super) taken: Vec<usize>,
    /// Of a card without any points, the choice that comes next: far apart as well.
    pub(super) fourth: Option<usize>,
}

impl Opening {
    pub(super) fn of(card: &Card, choices: &[Choice], places: &[[f64; 3]]) -> Result<Opening, Error> {
        let spots = card.spot_heights();
        let mut points: Vec<[f64; 2]> = spots.iter().map(|s| [s.x, s.y]).collect();
        let mut heights: Vec<f64> = spots.iter().map(|s| s.height).collect();
        let mut unread: Vec<[f64; 2]> = card.readings.unread.iter().map(|u| read_at(card, [u.x, u.y])).collect();
        let all: Vec<[f64; 2]> = choices.iter().map(|c| read_at(card, c.at)).collect();
        let start = read_at(card, start(card));
        let [across, along] = bounds(places);
        // Far apart, but no farther than what matters; beyond it where there is no room.
        let inside = |at: &[f64; 2]| across[0] <= at[0] && at[0] <= across[1] && along[0] <= at[1] && at[1] <= along[1];
        let near: Vec<usize> = (0..all.len()).filter(|k| inside(&all[*k])).collect();
        let near_at: Vec<[f64; 2]> = near.iter().map(|&k| all[k]).collect();
        let mut taken = Vec::new();
        for _ in 0..=3 {
            if spans(&points) {
                let fourth = if taken.len() == 3 { loneliest(&points, &near_at).map(|k| near[k]) } else { None };
                return Ok(Opening { data: data(&card.readings, points, heights), unread, taken, fourth });
            }
            let at = if let Some(k) = farthest(&points, &unread, start) {
                unread.remove(k)
            } else if let Some(k) =
                farthest(&points, &near_at, start).map(|k| near[k]).or_else(|| farthest(&points, &all, start))
            {
                taken.push(k);
                all[k]
            } else {
                break;
            };
            // Its height makes no difference: a plane passes through it, whatever the others are.
            points.push(at);
            heights.push(0.0);
        }
        Err(refused("the bed leaves no room for three readings that are not on one line".to_owned()))
    }
}

/// Whether readings at these places make a map.
pub(super) fn spans(points: &[[f64; 2]]) -> bool {
    if points.len() < 3 {
        return false;
    }
    let places = Places::pool(points, &vec![0.0; points.len()], None);
    places.at.len() >= 3 && places.breadth() >= ON_ONE_LINE
}

/// Of a list the place that lies farthest from the line through some points on one line, or from their place if they have but one; without any the
/// place next to `start`. `None` where it is no millimetre away.
pub(super) fn farthest(points: &[[f64; 2]], from: &[[f64; 2]], start: [f64; 2]) -> Option<usize> {
    let Some(&a) = points.first() else { return most(from, |at| -apart(at, start)).map(|(k, _)| k) };
    let b = points.iter().fold(a, |b, p| if apart(*p, a) > apart(b, a) { *p } else { b });
    let length = apart(a, b);
    let found = most(from, |at| {
        let across = (b[0] - a[0]) * (at[1] - a[1]) - (b[1] - a[1]) * (at[0] - a[0]);
        if length < 1.0 { apart(at, a) } else { across.abs() / length }
    });
    found.filter(|(_, distance)| *distance >= 1.0).map(|(k, _)| k)
}

/// Of a list the place whose nearest point is farthest from it.
pub(super) fn loneliest(points: &[[f64; 2]], from: &[[f64; 2]]) -> Option<usize> {
    let nearest = |at| points.iter().fold(f64::INFINITY, |least, p| least.min(apart(*p, at)));
    most(from, nearest).map(|(k, _)| k)
}

/// The first of the places where a measure is largest, and what it is there.
pub(super) fn most(from: &[[f64; 2]], measure: impl Fn([f64; 2]) -> f64) -> Option<(usize, f64)> {
    let mut most: Option<(usize, f64)> = None;
    for (k, at) in from.iter().enumerate() {
        let value = measure(*at);
        if most.is_none_or(|(_, m)| value > m) {
            most = Some((k, value));
        }
    }
    most
}
