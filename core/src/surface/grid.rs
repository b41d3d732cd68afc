//! The bilinear surface over a full grid of nodes.

use super::places::{Places, SAME_PLACE, count};
use crate::{Error, ErrorKind};
use ndarray::Array2;

/// Heights at the nodes of a full grid, bilinear between them.
#[derive(Debug, Clone)]
pub(crate) struct Grid {
    /// Columns, rising, mm.
    pub(crate) xs: Vec<f64>,
    /// Rows, rising, mm.
    pub(crate) ys: Vec<f64>,
    /// `heights[[row, column]]`, mm.
    pub(crate) heights: Array2<f64>,
}

impl Grid {
    /// A grid from places that stand in full rows and columns.
    ///
    /// Coordinates within 1e-6 of the extent are one row or column, which stands at their mean.
    pub(crate) fn of(places: &Places) -> Result<Grid, Error> {
        let [(xs, column), (ys, row)] = lines_of(places);
        if xs.len() < 2 || ys.len() < 2 {
            return Err(Error::new(
                ErrorKind::Readings,
                format!(
                    "a bilinear surface needs two columns and two rows or more, and the readings stand in {} and {}",
                    counted(xs.len(), "column"),
                    counted(ys.len(), "row")
                ),
            )
            .with_help("read a full grid, or use the thin-plate surface"));
        }
        // No two places share a node: they would be nearer than the pooling distance, or one step of rounding beyond it.
        let nodes = xs.len() * ys.len();
        if nodes > places.at.len() {
            let mut filled: Vec<(usize, usize)> = row.iter().copied().zip(column.iter().copied()).collect();
            crate::order::sort_by(&mut filled, Ord::cmp);
            return Err(missing(&xs, &ys, &filled));
        }
        let mut heights = Array2::zeros((ys.len(), xs.len()));
        let mut weight: Array2<f64> = Array2::zeros((ys.len(), xs.len()));
        for (k, mean) in places.mean.iter().enumerate() {
            let node = [row[k], column[k]];
            weight[node] += places.weight[k];
            heights[node] += (mean - heights[node]) * (places.weight[k] / weight[node]);
        }
        if weight.iter().any(|w| *w <= 0.0) {
            let mut filled: Vec<(usize, usize)> = row.iter().copied().zip(column.iter().copied()).collect();
            crate::order::sort_by(&mut filled, Ord::cmp);
            return Err(missing(&xs, &ys, &filled));
        }
        Ok(Grid { xs, ys, heights })
    }

    /// Height at a place inside the grid.
    pub(crate) fn value(&self, x: f64, y: f64) -> f64 {
        let (i, s, _) = cell(&self.xs, x);
        let (j, t, _) = cell(&self.ys, y);
        let h = |b: usize, a: usize| self.heights[[j + b, i + a]];
        // Weights of the four corners: exact at the nodes, and never beyond the corners' heights but for rounding.
        (h(0, 0) * (1.0 - s) + h(0, 1) * s) * (1.0 - t) + (h(1, 0) * (1.0 - s) + h(1, 1) * s) * t
    }

    /// Slope at a place inside the grid; on a grid line that of the cell above or to the right of it.
    pub(crate) fn slope(&self, x: f64, y: f64) -> [f64; 2] {
        let (i, s, dx) = cell(&self.xs, x);
        let (j, t, dy) = cell(&self.ys, y);
        let h = |b: usize, a: usize| self.heights[[j + b, i + a]];
        [
            ((h(0, 1) - h(0, 0)) * (1.0 - t) + (h(1, 1) - h(1, 0)) * t) / dx,
            ((h(1, 0) - h(0, 0)) * (1.0 - s) + (h(1, 1) - h(0, 1)) * s) / dy,
        ]
    }
}

/// The cell that holds `x`, how far into it from 0 to 1, and its width.
fn cell(lines: &[f64], x: f64) -> (usize, f64, f64) {
    let i = lines.partition_point(|&l| l <= x).clamp(1, lines.len() - 1) - 1;
    let width = lines[i + 1] - lines[i];
    (i, crate::number::within((x - lines[i]) / width, 0.0, 1.0), width)
}

/// The columns and the rows that places stand in, rising, and the one of each place.
pub(super) fn lines_of(places: &Places) -> [(Vec<f64>, Vec<usize>); 2] {
    let near = SAME_PLACE * places.extent();
    [0, 1].map(|axis| lines(places.at.iter().map(|p| p[axis]), near))
}

/// Groups coordinates into grid lines: the lines, rising, and each coordinate's line.
fn lines(coordinates: impl Iterator<Item = f64>, near: f64) -> (Vec<f64>, Vec<usize>) {
    let coordinates: Vec<f64> = coordinates.collect();
    let mut order: Vec<usize> = (0..coordinates.len()).collect();
    crate::order::sort_by(&mut order, |&a, &b| coordinates[a].total_cmp(&coordinates[b]).then(a.cmp(&b)));
    let mut line_of = vec![0; coordinates.len()];
    // Each group as (first, sum of distances from the first, how many): equal coordinates keep their value to the bit.
    let mut groups: Vec<(f64, f64, usize)> = Vec::new();
    for k in order {
        let x = coordinates[k];
        match groups.last_mut() {
            Some((first, sum, many)) if x - *first <= near => {
                *sum += x - *first;
                *many += 1;
            }
            _ => groups.push((x, 0.0, 1)),
        }
        line_of[k] = groups.len() - 1;
    }
    (groups.into_iter().map(|(first, sum, many)| first + sum / count(many)).collect(), line_of)
}

fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// The refusal that names the nodes without a reading: the first ten and how many there are.
fn missing(xs: &[f64], ys: &[f64], filled: &[(usize, usize)]) -> Error {
    let nodes = xs.len().saturating_mul(ys.len());
    let mut distinct = filled.to_vec();
    distinct.dedup();
    let lack = nodes.saturating_sub(distinct.len());
    let named: Vec<String> = (0..ys.len())
        .flat_map(|j| (0..xs.len()).map(move |i| (j, i)))
        .filter(|node| distinct.binary_search(node).is_err())
        .take(10)
        .map(|(j, i)| crate::number::pair([xs[i], ys[j]]))
        .collect();
    let rest = match lack.saturating_sub(named.len()) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let help = if lack * 2 > nodes {
        "the readings do not stand in a grid: use the thin-plate surface, or read a full grid"
    } else {
        "read the missing places too, or use the thin-plate surface, which takes any scatter"
    };
    Error::new(
        ErrorKind::Readings,
        format!(
            "the grid of {} and {} has no reading at {}{rest}",
            counted(xs.len(), "column"),
            counted(ys.len(), "row"),
            named.join(", ")
        ),
    )
    .with_help(help)
}
