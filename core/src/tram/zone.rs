//! The surface with the smallest range: minimum zone (ISO 12781-1:2011, minimum zone reference plane: two
//! parallel planes that enclose the surface and have the least separation; here measured along Z, as slopes of a bed are
//! far below 1 in 1000).
//!
//! As a linear programme: the least t with s (h - x . c) <= t at every reading for s = 1 and s = -1, c the surface's
//! coefficients, x its terms' values there. As many of these sides as there are unknowns (c and t) are taken to touch:
//! their equations give c and t, and the weights of the dual programme (not negative, sum 1, the weighted s x adding up to
//! 0) say that over these sides nothing smaller can be had (V. F. Demyanov and V. N. Malozemov 1974, *Introduction to
//! Minimax*). A reading that stands out further comes in, and the side leaves that keeps the weights from turning
//! negative (the exchange method; G. A. Watson 1980, *Approximation Theory and Numerical Methods*, chapter 2; it is the
//! simplex method on the dual). So t only grows. Where a step does not raise it the next one is chosen by R. G. Bland's
//! rule (1977, *Mathematics of Operations Research* 2, 103-107): no choice of sides comes twice, and there are finitely
//! many. Each step solves its few equations anew, so that rounding does not pile up.
//!
//! The end is its own proof: the range found over all readings and the bound by the weights must agree within 1e-6 of the
//! range, else it is an error. Looking only at the facets of the readings' convex hull is not enough: the zone may rest on
//! two readings above and two below, on crossing edges.

use crate::{Error, ErrorKind};

/// A reading stands out where it is further off than this, as a share of the range.
const STANDS_OUT: f64 = 1e-12;
/// Less than this of a side in the one that comes in is rounding.
const NOTHING: f64 = 1e-10;
/// More steps than this are never needed; a limit all the same, as rounding knows no theorems.
const STEPS: usize = 20_000;
/// How near to the proof the answer must be, as a share of the range.
const PROVED: f64 = 1e-6;

/// Coefficients to add to a fit that leaves `left`, so that the range of what is left is the smallest, and the middle of
/// that range 0.
///
/// The first term is 1 at every reading.
pub(super) fn smallest(rows: &[Vec<f64>], left: &[f64]) -> Result<Vec<f64>, Error> {
    let columns = rows.first().map_or(0, Vec::len);
    let [low, high] = ends(left);
    let scale = 0.5 * (high - low);
    if columns == 0 || rows.len() <= columns || scale.is_nan() || scale < 1e-12 {
        // As many unknowns as readings, or nothing left: the fit goes through all.
        return Ok(vec![0.0; columns]);
    }
    let values: Vec<f64> = left.iter().map(|l| l / scale).collect();
    let (terms, back) = orthogonal(rows).ok_or_else(failed)?;
    let (found, bound) = exchange(&terms, &values).ok_or_else(failed)?;
    let mut best = up_the_triangle(&back, found);
    // Centred: the middle of the zone is 0.
    let [low, high] = ends(&rest(rows, &values, &best));
    best[0] += 0.5 * (low + high);
    if 0.5 * (high - low) - bound <= PROVED { Ok(best.into_iter().map(|c| c * scale).collect()) } else { Err(failed()) }
}

fn failed() -> Error {
    Error::new(ErrorKind::Readings, "the plane with the smallest range could not be found for these readings")
        .with_help("take the least-squares plane, which always can")
}

fn ends(values: &[f64]) -> [f64; 2] {
    values.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(*v), h.max(*v)])
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn rest(rows: &[Vec<f64>], values: &[f64], coefficients: &[f64]) -> Vec<f64> {
    rows.iter().zip(values).map(|(x, v)| v - dot(x, coefficients)).collect()
}

/// A matrix by its rows.
type Rows = Vec<Vec<f64>>;

/// The rows with their columns made orthogonal, the root mean square of each 1, and the upper triangle R with
/// rows = orthogonal R (modified Gram-Schmidt: Golub and Van Loan, *Matrix Computations*, section 5.2.8). Readings that
/// stand almost on one line are then as easy as any. `None` where a column is in the others' span.
fn orthogonal(rows: &[Vec<f64>]) -> Option<(Rows, Rows)> {
    let columns = rows.first()?.len();
    #[expect(clippy::cast_precision_loss, reason = "far fewer readings than 2^52")]
    let count = rows.len() as f64;
    let mut q = rows.to_vec();
    let mut r = vec![vec![0.0; columns]; columns];
    let mean = |q: &[Vec<f64>], a: usize, b: usize| q.iter().map(|row| row[a] * row[b]).sum::<f64>() / count;
    for j in 0..columns {
        let before = mean(&q, j, j).sqrt();
        for i in 0..j {
            r[i][j] = mean(&q, i, j);
            for row in &mut q {
                row[j] -= r[i][j] * row[i];
            }
        }
        r[j][j] = mean(&q, j, j).sqrt();
        if r[j][j].is_nan() || r[j][j] <= 1e-12 * before {
            return None;
        }
        for row in &mut q {
            row[j] /= r[j][j];
        }
    }
    Some((q, r))
}

/// Solves R c = z from the last row up.
fn up_the_triangle(r: &[Vec<f64>], mut z: Vec<f64>) -> Vec<f64> {
    for i in (0..z.len()).rev() {
        let known: f64 = (i + 1..z.len()).map(|j| r[i][j] * z[j]).sum();
        z[i] = (z[i] - known) / r[i][i];
    }
    z
}

/// One side of one reading: sign (value - row . c) <= t.
type Side = (usize, f64);

/// The coefficients with the smallest zone, and the half range that no others go below.
fn exchange(rows: &[Vec<f64>], values: &[f64]) -> Option<(Vec<f64>, f64)> {
    let mut basis = start(rows)?;
    let columns = basis.len() - 1;
    // (sign row, 1) . (c, t) >= sign value: a side as an equation where it touches.
    let side = |(k, sign): Side| -> Vec<f64> { rows[k].iter().map(|x| sign * x).chain([1.0]).collect() };
    let unit: Vec<f64> = (0..=columns).map(|j| if j == columns { 1.0 } else { 0.0 }).collect();
    let mut stuck = false;
    for _ in 0..STEPS {
        let sides: Vec<Vec<f64>> = basis.iter().map(|s| side(*s)).collect();
        let across: Vec<Vec<f64>> = (0..=columns).map(|j| sides.iter().map(|s| s[j]).collect()).collect();
        let mut found = solve(sides, basis.iter().map(|&(k, sign)| sign * values[k]).collect())?;
        let weights = solve(across.clone(), unit.clone())?;
        let t = found.pop()?;
        let left = rest(rows, values, &found);
        let out = |k: usize| left[k].abs() - t;
        // Sides that touch almost alike give large coefficients, and those their rounding.
        let rounding = STANDS_OUT * found.iter().fold(1.0, |most: f64, c| most.max(c.abs()));
        let touches = |k: usize| basis.contains(&(k, 1_f64.copysign(left[k])));
        let mut standing = (0..left.len()).filter(|&k| out(k) > rounding && !touches(k));
        let next = if stuck { standing.next() } else { standing.reduce(|a, b| if out(b) > out(a) { b } else { a }) };
        let Some(next) = next else {
            // A weight below 0 proves nothing.
            return weights.iter().all(|w| *w > -PROVED).then_some((found, t));
        };
        let comes = (next, 1_f64.copysign(left[next]));
        let shares = solve(across, side(comes))?;
        let until = |i: usize| weights[i].max(0.0) / shares[i];
        let may = || (0..basis.len()).filter(|&i| shares[i] > NOTHING);
        let step = may().map(until).fold(f64::INFINITY, f64::min);
        // Of equals the first one by reading and side, as Bland's rule asks; else the one with the largest share.
        let equal = may().filter(|&i| until(i) <= step + f64::EPSILON);
        let leaves = if stuck {
            equal.min_by(|&a, &b| basis[a].0.cmp(&basis[b].0).then(basis[b].1.total_cmp(&basis[a].1)))
        } else {
            equal.reduce(|a, b| if shares[b] > shares[a] { b } else { a })
        }?;
        stuck = step * out(next) <= rounding;
        basis[leaves] = comes;
    }
    None
}

/// Sides to begin with: both of one reading, weight 1/2 each, and as many others, weight 0, as make the equations
/// solvable. They are found by elimination with full pivoting.
fn start(rows: &[Vec<f64>]) -> Option<Vec<Side>> {
    let columns = rows.first()?.len();
    let mut rest = rows.to_vec();
    let mut basis = Vec::with_capacity(columns + 1);
    let mut free: Vec<usize> = (0..columns).collect();
    while !free.is_empty() {
        let places = (0..rest.len()).flat_map(|k| (0..free.len()).map(move |f| (k, f)));
        let size = |(k, f): (usize, usize)| rest[k][free[f]].abs();
        let (k, f) = places.reduce(|a, b| if size(b) > size(a) { b } else { a })?;
        let j = free.swap_remove(f);
        let pivot = rest[k].clone();
        if pivot[j].is_nan() || pivot[j].abs() <= NOTHING {
            return None;
        }
        for row in &mut rest {
            let share = row[j] / pivot[j];
            row.iter_mut().zip(&pivot).for_each(|(x, p)| *x -= share * p);
            row[j] = 0.0;
        }
        basis.push((k, 1.0));
    }
    basis.push((basis.first()?.0, -1.0));
    Some(basis)
}

/// Gauss's elimination with partial pivoting; `None` where the equations have no single answer.
fn solve(mut matrix: Vec<Vec<f64>>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let n = right.len();
    for j in 0..n {
        let p = (j..n).reduce(|a, b| if matrix[b][j].abs() > matrix[a][j].abs() { b } else { a })?;
        matrix.swap(j, p);
        right.swap(j, p);
        let pivot = matrix[j].clone();
        if pivot[j].is_nan() || pivot[j].abs() < f64::MIN_POSITIVE {
            return None;
        }
        for i in j + 1..n {
            let share = matrix[i][j] / pivot[j];
            matrix[i].iter_mut().zip(&pivot).for_each(|(x, p)| *x -= share * p);
            right[i] -= share * right[j];
        }
    }
    Some(up_the_triangle(&matrix, right))
}

#[cfg(test)]
mod tests {
    use super::*;
    use microlp::{ComparisonOp, OptimizationDirection, Problem};
    use proptest::prelude::*;

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

    /// Half the smallest range by a general simplex method: an independent solver.
    fn by_another_solver(rows: &[Vec<f64>], values: &[f64]) -> f64 {
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let t = problem.add_var(1.0, (0.0, f64::INFINITY));
        let free = (f64::NEG_INFINITY, f64::INFINITY);
        let c: Vec<_> = rows[0].iter().map(|_| problem.add_var(0.0, free)).collect();
        for (row, value) in rows.iter().zip(values) {
            for (sign, op) in [(1.0, ComparisonOp::Ge), (-1.0, ComparisonOp::Le)] {
                let mut terms: Vec<_> = c.iter().copied().zip(row.iter().copied()).collect();
                terms.push((t, sign));
                problem.add_constraint(terms.as_slice(), op, *value);
            }
        }
        problem.solve().unwrap().into_solution().unwrap().var_value(t)
    }

    /// Places and heights: rough; on coarse grids with coarse heights, where much touches at once; many readings at few
    /// places; almost on one line.
    fn readings() -> impl Strategy<Value = Vec<[f64; 3]>> {
        let place = -1.5..1.5_f64;
        let rough = prop::collection::vec((place.clone(), place.clone(), -1.0..1.0_f64), 3..60);
        let coarse = || (-3..=3_i8).prop_map(|n| f64::from(n) / 2.0);
        let grid = prop::collection::vec((coarse(), coarse(), coarse()), 3..80);
        let few =
            prop::collection::vec((coarse().prop_map(f64::trunc), coarse().prop_map(f64::trunc), coarse()), 3..40);
        let line = (prop::collection::vec((place, -1.0..1.0_f64, -1.0..1.0_f64), 3..40), -5..-1_i32).prop_map(
            |(all, width)| {
                all.into_iter().map(|(u, v, h)| (u, 0.3 * u + v * libm::exp10(f64::from(width)), h)).collect()
            },
        );
        prop_oneof![rough, grid, few, line]
            .prop_map(|all: Vec<(f64, f64, f64)>| all.into_iter().map(|(u, v, h)| [u, v, h]).collect())
    }

    fn terms(u: f64, v: f64, columns: usize) -> Vec<f64> {
        [1.0, u, v, u * v][..columns].to_vec()
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 4 * ProptestConfig::default().cases, ..ProptestConfig::default() })]

        /// The range is the other solver's, at any size of what is left, for ramps, planes and twists.
        #[test]
        fn no_surface_has_a_smaller_range(all in readings(), columns in 2..=4_usize, size in -9..=3_i32) {
            let rows: Vec<Vec<f64>> = all.iter().map(|[u, v, _]| terms(*u, *v, columns)).collect();
            let heights: Vec<f64> = all.iter().map(|[.., h]| *h).collect();
            // As in use: what least squares leaves, where that can tell the coefficients.
            let Some(fit) = crate::least_squares::fit(&rows, &heights, None) else { return Ok(()) };
            let size = libm::exp10(f64::from(size));
            let left: Vec<f64> = rows.iter().zip(&heights).map(|(row, h)| h - fit.value(row)).collect();
            let scaled: Vec<f64> = left.iter().map(|l| size * l).collect();
            let c = smallest(&rows, &scaled).unwrap();
            let [low, high] = ends(&rest(&rows, &scaled, &c)).map(|l| l / size);
            let want = by_another_solver(&rows, &left);
            // The other solver works to about 1e-8; least squares itself knows a narrow line less well.
            prop_assert!((0.5 * (high - low) - want).abs() < 1e-7, "{} and {want}", 0.5 * (high - low));
            prop_assert!((high + low).abs() < 1e-7);
        }

        /// A planted zone comes back exactly, whatever tilt was put on it: two readings up and two down on crossing edges.
        #[test]
        fn a_planted_zone_comes_back(tilt in prop::array::uniform3(-1.0..1.0_f64), inner in prop::collection::vec((-1.0..1.0_f64, -1.0..1.0_f64, -1.0..1.0_f64), 0..50)) {
            let corners = [(-1.0, -1.0, 1.0), (1.0, 1.0, 1.0), (-1.0, 1.0, -1.0), (1.0, -1.0, -1.0)];
            let all: Vec<(f64, f64, f64)> = corners.into_iter().chain(inner).collect();
            let rows: Vec<Vec<f64>> = all.iter().map(|(u, v, _)| terms(*u, *v, 3)).collect();
            let left: Vec<f64> = all.iter().zip(&rows).map(|((.., h), row)| h + dot(row, &tilt)).collect();
            let c = smallest(&rows, &left).unwrap();
            let [low, high] = ends(&rest(&rows, &left, &c));
            prop_assert!((high - low - 2.0).abs() < 1e-12, "{low} {high}");
            for (c, tilt) in c.iter().zip(tilt) {
                prop_assert!((c - tilt).abs() < 1e-12);
            }
        }
    }
}
