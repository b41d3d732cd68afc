//! Weighted least squares with few columns: coefficients, what is left, and how well the coefficients are known.

use nalgebra::{DMatrix, DVector};

/// A fit of `values` by the columns of `rows`.
#[derive(Debug, Clone)]
pub(crate) struct Fit {
    /// One for each column.
    pub(crate) coefficients: Vec<f64>,
    /// (X' W X)^-1: the coefficients' covariance for readings of weight 1 and standard deviation 1.
    pub(crate) covariance: DMatrix<f64>,
    /// The least share of its length that a column has outside the others' span: 0 where they cannot be told apart, 1
    /// where all are orthogonal.
    pub(crate) told: f64,
}

impl Fit {
    /// What the fit says where the columns have these values.
    pub(crate) fn value(&self, row: &[f64]) -> f64 {
        self.coefficients.iter().zip(row).map(|(c, v)| c * v).sum()
    }

    /// The variance of that, for readings of weight 1 and standard deviation 1.
    pub(crate) fn variance(&self, row: &[f64]) -> f64 {
        let row = DVector::from_column_slice(&row[..self.coefficients.len().min(row.len())]);
        (row.transpose() * &self.covariance * &row)[(0, 0)]
    }
}

/// Fits by QR (Golub and Van Loan, *Matrix Computations*, section 5.3.2), each column scaled to length 1.
///
/// `rows`: each reading's values of the columns; `weights`: 1 / variance, up to a factor, all 1 where there are none.
/// `None` where the columns cannot be told apart or there are fewer rows than columns.
pub(crate) fn fit(rows: &[Vec<f64>], values: &[f64], weights: Option<&[f64]>) -> Option<Fit> {
    let columns = rows.first()?.len();
    if rows.len() < columns || columns == 0 {
        return None;
    }
    let root = |k: usize| weights.and_then(|w| w.get(k)).map_or(1.0, |w| w.sqrt());
    let mut x = DMatrix::from_fn(rows.len(), columns, |i, j| rows[i].get(j).copied().unwrap_or(0.0) * root(i));
    let y = DVector::from_fn(rows.len(), |i, _| values.get(i).copied().unwrap_or(0.0) * root(i));
    let lengths: Vec<f64> = x.column_iter().map(|c| c.norm()).collect();
    if !lengths.iter().all(|l| l.is_finite() && *l > 0.0) {
        return None;
    }
    for (mut column, length) in x.column_iter_mut().zip(&lengths) {
        column /= *length;
    }
    let (q, r) = x.qr().unpack();
    // Below this a column is in the others' span but for rounding.
    if !(0..columns).all(|i| r[(i, i)].abs() > 1e-9) {
        return None;
    }
    let scaled = r.solve_upper_triangular(&(q.transpose() * y))?;
    let inverse = r.solve_upper_triangular(&DMatrix::identity(columns, columns))?;
    let covariance = &inverse * inverse.transpose();
    // The diagonal of the inverse is 1 over the square of what the other columns do not span.
    let told = (0..columns).map(|i| 1.0 / covariance[(i, i)].sqrt()).fold(1.0, f64::min);
    Some(Fit {
        coefficients: scaled.iter().zip(&lengths).map(|(c, l)| c / l).collect(),
        covariance: DMatrix::from_fn(columns, columns, |i, j| covariance[(i, j)] / (lengths[i] * lengths[j])),
        told,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_by_hand() {
        // y = 1 + 2 x with one reading off by 0.6, by hand: slope 2.0, intercept 1.2 of (0, 1.3), (1, 3), (2, 5.3) is
        // 1.2 + 2 x.
        let rows = [vec![1.0, 0.0], vec![1.0, 1.0], vec![1.0, 2.0]];
        let fit = fit(&rows, &[1.3, 3.0, 5.3], None).unwrap();
        assert!((fit.coefficients[0] - 1.2).abs() < 1e-12 && (fit.coefficients[1] - 2.0).abs() < 1e-12);
        // sum of squares about the mean is 2: the slope's variance is 1/2; the mean's, at x = 1, is 1/3.
        assert!((fit.variance(&[0.0, 1.0]) - 0.5).abs() < 1e-12);
        assert!((fit.variance(&[1.0, 1.0]) - 1.0 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn weights_are_repeats() {
        let once = [vec![1.0, 0.0], vec![1.0, 1.0], vec![1.0, 3.0]];
        let twice = [vec![1.0, 0.0], vec![1.0, 1.0], vec![1.0, 1.0], vec![1.0, 3.0]];
        let a = fit(&once, &[0.0, 2.0, 1.0], Some(&[1.0, 2.0, 1.0])).unwrap();
        let b = fit(&twice, &[0.0, 2.0, 2.0, 1.0], None).unwrap();
        for (a, b) in a.coefficients.iter().zip(&b.coefficients) {
            assert!((a - b).abs() < 1e-12);
        }
    }

    #[test]
    fn columns_that_are_alike_cannot_be_told() {
        assert!(fit(&[vec![1.0, 2.0], vec![1.0, 2.0], vec![1.0, 2.0]], &[1.0, 2.0, 3.0], None).is_none());
        assert!(fit(&[vec![1.0, 2.0]], &[1.0], None).is_none());
        assert!(fit(&[], &[], None).is_none());
        assert!(fit(&[vec![f64::NAN], vec![1.0]], &[1.0, 1.0], None).is_none());
    }
}
