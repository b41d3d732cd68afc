//! The surface with the smallest range: minimum zone (ISO 12781-1:2011, minimum zone reference plane: two
//! parallel planes that enclose the surface and have the least separation; here measured along Z, as slopes of a bed are
//! far below 1 in 1000).
//!
//! As a linear programme: the least t with |h - x . c| <= t at every reading, c the surface's coefficients, x its terms' values
//! there. Solved by the simplex method on what least squares leaves, so that numbers are near 1. With many readings on a
//! part of them, to which the worst are added until none is worse: the range over that part can only be smaller than
//! over all, so equality proves both.
//!
//! The simplex method works with a tolerance (1e-7 here of the range). Its answer is therefore made exact where as many
//! readings as there are unknowns touch the zone's two sides: the equations of those are solved directly. And it is
//! proved: weights from the dual programme (not negative, sum 1, those of the upper side and of the lower side with one
//! common centre) give a range that no surface can go below (V. F. Demyanov and V. N. Malozemov 1974, *Introduction to
//! Minimax*); the two must agree within 1e-6 of the range, else it is an error. Looking only at the facets of the readings' convex hull is not enough: the zone may rest on two
//! readings above and two below, on crossing edges.

use crate::{Error, ErrorKind};
use microlp::{ComparisonOp, OptimizationDirection, Problem};
use nalgebra::{DMatrix, DVector};

/// Readings up to this number go to the solver at once.
const AT_ONCE: usize = 200;
/// More rounds than this are never needed; a limit all the same.
const ROUNDS: usize = 200;
/// How near to the proof the answer must be, as a share of the range.
const PROVED: f64 = 1e-6;

/// Coefficients to add to a fit that leaves `left`, so that the range of what is left is the smallest, and the middle of
/// that range 0.
pub(super) fn smallest(rows: &[Vec<f64>], left: &[f64]) -> Result<Vec<f64>, Error> {
    let columns = rows.first().map_or(0, Vec::len);
    let [low, high] = ends(left);
    let scale = 0.5 * (high - low);
    if columns == 0 || rows.len() <= columns || scale.is_nan() || scale < 1e-12 {
        // As many unknowns as readings, or nothing left: the fit goes through all.
        return Ok(vec![0.0; columns]);
    }
    let values: Vec<f64> = left.iter().map(|l| l / scale).collect();
    let mut part = if rows.len() <= AT_ONCE { (0..rows.len()).collect() } else { start(rows, &values) };
    for _ in 0..ROUNDS {
        let simplex = primal(rows, &values, &part, columns).ok_or_else(failed)?;
        let best = exact(rows, &values, &part, simplex);
        let over_part = half_range(rows, &values, &best, part.iter().copied());
        let over_all = half_range(rows, &values, &best, 0..rows.len());
        if over_all <= over_part + 1e-12 {
            prove(rows, &values, &part, &best, over_all)?;
            // Centred: the middle of the zone is 0.
            let [low, high] = ends(&rest(rows, &values, &best));
            let mut best = best;
            best[0] += 0.5 * (low + high);
            return Ok(best.into_iter().map(|c| c * scale).collect());
        }
        let rest = rest(rows, &values, &best);
        let worst = |sign: f64| (0..rest.len()).max_by(|a, b| (sign * rest[*a]).total_cmp(&(sign * rest[*b])));
        for k in [worst(1.0), worst(-1.0)].into_iter().flatten() {
            if !part.contains(&k) {
                part.push(k);
            }
        }
    }
    Err(failed())
}

fn failed() -> Error {
    Error::new(ErrorKind::Readings, "the plane with the smallest range could not be found for these readings")
        .with_help("take the least-squares plane, which always can")
}

fn ends(values: &[f64]) -> [f64; 2] {
    values.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(*v), h.max(*v)])
}

fn rest_at(row: &[f64], value: f64, coefficients: &[f64]) -> f64 {
    value - row.iter().zip(coefficients).map(|(x, c)| x * c).sum::<f64>()
}

fn rest(rows: &[Vec<f64>], values: &[f64], coefficients: &[f64]) -> Vec<f64> {
    rows.iter().zip(values).map(|(x, v)| rest_at(x, *v, coefficients)).collect()
}

fn half_range(rows: &[Vec<f64>], values: &[f64], c: &[f64], which: impl Iterator<Item = usize>) -> f64 {
    let [low, high] = which
        .map(|k| rest_at(&rows[k], values[k], c))
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(v), h.max(v)]);
    0.5 * (high - low)
}

/// The highest and the lowest of what is left in each of 8 by 8 squares of the terms' second and third values: enough to
/// pin the surface from the first round on.
fn start(rows: &[Vec<f64>], values: &[f64]) -> Vec<usize> {
    const SQUARES: f64 = 8.0;
    let place = |k: usize, column: usize| {
        let of = |row: &Vec<f64>| row.get(column).copied().unwrap_or(0.0);
        let [low, high] =
            rows.iter().map(of).fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(v), h.max(v)]);
        let (low, width) = (low, (high - low).max(f64::MIN_POSITIVE));
        (SQUARES * (of(&rows[k]) - low) / width).floor().clamp(0.0, SQUARES - 1.0)
    };
    let mut squares: std::collections::BTreeMap<[u64; 2], [usize; 2]> = std::collections::BTreeMap::new();
    let columns: Vec<Vec<f64>> = (1..=2).map(|c| (0..rows.len()).map(|k| place(k, c)).collect()).collect();
    for k in 0..rows.len() {
        let found = squares.entry([columns[0][k].to_bits(), columns[1][k].to_bits()]).or_insert([k, k]);
        if values[k] < values[found[0]] {
            found[0] = k;
        }
        if values[k] > values[found[1]] {
            found[1] = k;
        }
    }
    let mut part: Vec<usize> = squares.into_values().flatten().collect();
    part.sort_unstable();
    part.dedup();
    part
}

fn primal(rows: &[Vec<f64>], values: &[f64], part: &[usize], columns: usize) -> Option<Vec<f64>> {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let t = problem.add_var(1.0, (0.0, f64::INFINITY));
    let c: Vec<_> = (0..columns).map(|_| problem.add_var(0.0, (f64::NEG_INFINITY, f64::INFINITY))).collect();
    for &k in part {
        for (sign, op) in [(1.0, ComparisonOp::Ge), (-1.0, ComparisonOp::Le)] {
            let mut terms: Vec<_> = c.iter().copied().zip(rows[k].iter().copied()).collect();
            terms.push((t, sign));
            problem.add_constraint(terms.as_slice(), op, values[k]);
        }
    }
    let solution = problem.solve().ok()?.into_solution().ok()?;
    Some(c.into_iter().map(|c| solution.var_value(c)).collect())
}

/// The simplex answer, made exact by the equations of the readings that touch the zone, where that gives a smaller range.
fn exact(rows: &[Vec<f64>], values: &[f64], part: &[usize], simplex: Vec<f64>) -> Vec<f64> {
    const TOUCHES: f64 = 1e-5;
    const MOST: usize = 12;
    let columns = simplex.len();
    let over_part = |c: &[f64]| half_range(rows, values, c, part.iter().copied());
    let left: Vec<f64> = part.iter().map(|&k| rest_at(&rows[k], values[k], &simplex)).collect();
    let [low, high] = ends(&left);
    let touching: Vec<(usize, f64)> = part
        .iter()
        .zip(&left)
        .filter_map(|(&k, &l)| match (high - l < TOUCHES, l - low < TOUCHES) {
            (true, false) => Some((k, 1.0)),
            (false, true) => Some((k, -1.0)),
            _ => None,
        })
        .collect();
    let mut best = (over_part(&simplex), simplex);
    if touching.len() > MOST || touching.len() <= columns {
        return best.1;
    }
    let mut chosen: Vec<usize> = (0..=columns).collect();
    loop {
        let pick: Vec<(usize, f64)> = chosen.iter().map(|&i| touching[i]).collect();
        let system = DMatrix::from_fn(columns + 1, columns + 1, |i, j| {
            let (k, sign) = pick[i];
            if j < columns { rows[k][j] } else { sign }
        });
        let right = DVector::from_fn(columns + 1, |i, _| values[pick[i].0]);
        if let Some(found) = system.lu().solve(&right) {
            let found: Vec<f64> = found.iter().take(columns).copied().collect();
            let range = over_part(&found);
            if range < best.0 {
                best = (range, found);
            }
        }
        if !next(&mut chosen, touching.len()) {
            return best.1;
        }
    }
}

/// The next choice of as many numbers below `n`, in lexical order; false after the last.
fn next(chosen: &mut [usize], n: usize) -> bool {
    let m = chosen.len();
    let Some(i) = (0..m).rev().find(|&i| chosen[i] < n - m + i) else { return false };
    chosen[i] += 1;
    for j in i + 1..m {
        chosen[j] = chosen[j - 1] + 1;
    }
    true
}

/// Checks half a range against the dual programme's lower bound.
fn prove(rows: &[Vec<f64>], values: &[f64], part: &[usize], c: &[f64], found: f64) -> Result<(), Error> {
    let mut problem = Problem::new(OptimizationDirection::Maximize);
    let left: Vec<f64> = part.iter().map(|&k| rest_at(&rows[k], values[k], c)).collect();
    let pairs: Vec<_> = left
        .iter()
        .map(|l| (problem.add_var(*l, (0.0, f64::INFINITY)), problem.add_var(-*l, (0.0, f64::INFINITY))))
        .collect();
    for (j, _) in c.iter().enumerate() {
        let terms: Vec<_> =
            pairs.iter().zip(part).flat_map(|(&(up, down), &k)| [(up, rows[k][j]), (down, -rows[k][j])]).collect();
        problem.add_constraint(terms.as_slice(), ComparisonOp::Eq, 0.0);
    }
    let sum: Vec<_> = pairs.iter().flat_map(|&(up, down)| [(up, 1.0), (down, 1.0)]).collect();
    problem.add_constraint(sum.as_slice(), ComparisonOp::Eq, 1.0);
    let solution = problem.solve().ok().and_then(|s| s.into_solution().ok()).ok_or_else(failed)?;
    let bound: f64 = pairs
        .iter()
        .zip(&left)
        .map(|(&(up, down), l)| l * (solution.var_value(up).max(0.0) - solution.var_value(down).max(0.0)))
        .sum();
    if found - bound <= PROVED { Ok(()) } else { Err(failed()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plane_rows(at: &[[f64; 2]]) -> Vec<Vec<f64>> {
        at.iter().map(|[u, v]| vec![1.0, *u, *v]).collect()
    }

    /// By hand: four corners twisted by 1 up, 1 down. No plane does better than range 2 between the two diagonals.
    #[test]
    fn a_twisted_square_rests_on_crossing_edges() {
        let rows = plane_rows(&[[-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [1.0, 1.0], [0.3, 0.2]]);
        let left = [1.0, -1.0, -1.0, 1.0, 0.1];
        let c = smallest(&rows, &left).unwrap();
        let [low, high] = ends(&rest(&rows, &left, &c));
        assert!((high - low - 2.0).abs() < 1e-12 && (high + low).abs() < 1e-12, "{low} {high}");
    }

    /// By hand: a line of three, 0, 1, 0: the zone is 1 high, its sides at 0 and 1.
    #[test]
    fn three_on_a_ramp() {
        let rows = vec![vec![1.0, -1.0], vec![1.0, 0.0], vec![1.0, 1.0]];
        let c = smallest(&rows, &[0.0, 1.0, 0.0]).unwrap();
        assert!((c[0] - 0.5).abs() < 1e-12 && c[1].abs() < 1e-12, "{c:?}");
    }

    /// Thousands of readings come to the same range as all at once would: the planted zone is known. A wave of 1 either
    /// way touches both sides all over, so no plane can take anything off it.
    #[test]
    fn many_readings_by_parts() {
        let mut at = Vec::new();
        let mut left = Vec::new();
        for i in 0..60_u8 {
            for j in 0..60_u8 {
                let (u, v) = (f64::from(i) / 29.5 - 1.0, f64::from(j) / 29.5 - 1.0);
                at.push([u, v]);
                left.push([1.0, 0.3, -1.0, -0.2][(usize::from(i) * 7 + usize::from(j) * 3) % 4] + 0.4 * u - 0.1 * v);
            }
        }
        let c = smallest(&plane_rows(&at), &left).unwrap();
        assert!((c[1] - 0.4).abs() < 0.02 && (c[2] + 0.1).abs() < 0.02, "{c:?}");
        let [low, high] = ends(&rest(&plane_rows(&at), &left, &c));
        assert!(high - low <= 2.0 + 1e-9 && high - low > 1.9, "{}", high - low);
    }

    #[test]
    fn as_many_unknowns_as_readings_need_nothing() {
        let rows = plane_rows(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]);
        assert!(smallest(&rows, &[0.0; 3]).unwrap().iter().all(|c| c.abs() < 1e-15));
        assert!(smallest(&[], &[]).unwrap().is_empty());
    }
}
