//! Linear least squares: Householder QR of scaled columns, and standard errors.

use nalgebra::{DMatrix, DVector};

/// A solved least-squares problem `y ≈ Σ coefficient × column`.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// One for each column.
    pub coefficients: Vec<f64>,
    /// `y` less what the columns explain.
    pub residuals: Vec<f64>,
    /// Sum of the squares of the residuals.
    pub rss: f64,
    /// `(XᵀX)⁻¹`, row by row.
    pub inverse: Vec<Vec<f64>>,
}

impl Fit {
    /// `s = sqrt(RSS / (n − p))`; 0 without a degree of freedom.
    #[must_use]
    pub fn residual_deviation(&self) -> f64 {
        match self.residuals.len().checked_sub(self.coefficients.len()) {
            Some(free @ 1..) => (self.rss / free as f64).sqrt(),
            _ => 0.0,
        }
    }

    /// The standard errors of independent residuals of one size: those of a textbook.
    #[must_use]
    pub fn standard_errors(&self) -> Vec<f64> {
        let s = self.residual_deviation();
        self.inverse.iter().enumerate().map(|(k, row)| s * row[k].max(0.0).sqrt()).collect()
    }
}

/// Solves a least-squares problem. `None`: fewer rows than columns, a column of another length, one that is zero, or columns that are
/// dependent to the last digits (a diagonal of R below 10⁻¹³ of the column).
///
/// Every column is divided by its length, X = QR by Householder reflections, and R c = Qᵀy solved by back substitution; one step of iterative
/// refinement follows. No normal equations: the error grows with the condition of X, not with its square (Golub and Van Loan, Matrix
/// Computations, 5.3).
#[must_use]
pub fn solve(columns: &[&[f64]], y: &[f64]) -> Option<Fit> {
    let (n, p) = (y.len(), columns.len());
    if p == 0 || n < p || columns.iter().any(|column| column.len() != n) {
        return None;
    }
    let scales: Vec<f64> = columns.iter().map(|column| length(column)).collect();
    if scales.iter().any(|&scale| scale == 0.0 || !scale.is_finite()) {
        return None;
    }
    let x = DMatrix::from_fn(n, p, |row, k| columns[k][row] / scales[k]);
    let qr = x.qr();
    let r = qr.r();
    if (0..p).any(|k| r[(k, k)].abs() < 1e-13) {
        return None;
    }
    let mut coefficients = vec![0.0; p];
    let mut residuals = y.to_vec();
    for _ in 0..2 {
        let mut right = DVector::from_column_slice(&residuals);
        qr.q_tr_mul(&mut right);
        let step = r.solve_upper_triangular(&right.rows(0, p).into_owned())?;
        for (k, coefficient) in coefficients.iter_mut().enumerate() {
            *coefficient += step[k] / scales[k];
        }
        residuals = rest(columns, y, &coefficients);
    }
    let inverse_r = r.solve_upper_triangular(&DMatrix::identity(p, p))?;
    let inverse = &inverse_r * inverse_r.transpose();
    let inverse =
        (0..p).map(|i| (0..p).map(|j| inverse[(i, j)] / (scales[i] * scales[j])).collect()).collect();
    let rss = residuals.iter().map(|rest| rest * rest).sum();
    Some(Fit { coefficients, residuals, rss, inverse })
}

/// `y − Σ coefficient × column`.
fn rest(columns: &[&[f64]], y: &[f64], coefficients: &[f64]) -> Vec<f64> {
    let mut rest = y.to_vec();
    for (column, coefficient) in columns.iter().zip(coefficients) {
        for (rest, value) in rest.iter_mut().zip(*column) {
            *rest -= coefficient * value;
        }
    }
    rest
}

/// The Euclidean length, without overflow.
fn length(column: &[f64]) -> f64 {
    let largest = column.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
    if largest == 0.0 {
        return 0.0;
    }
    largest * column.iter().map(|value| (value / largest).powi(2)).sum::<f64>().sqrt()
}

/// The covariance of the coefficients with residuals that are correlated over up to `lags` rows and of any size, after Newey and West, "A simple,
/// positive semi-definite, heteroskedasticity and autocorrelation consistent covariance matrix", Econometrica 55 (1987): weights
/// `1 − lag / (lags + 1)`, no correction for small samples.
#[must_use]
pub fn newey_west(columns: &[&[f64]], fit: &Fit, lags: usize) -> Vec<Vec<f64>> {
    let p = columns.len();
    let scores: Vec<Vec<f64>> = columns
        .iter()
        .map(|column| column.iter().zip(&fit.residuals).map(|(value, rest)| value * rest).collect())
        .collect();
    // With a triangular kernel the double sum is that of moving sums over `lags + 1` scores.
    let mut sums = DMatrix::<f64>::zeros(p, p);
    let width = lags + 1;
    let n = fit.residuals.len();
    let mut moving = vec![0.0; p];
    let mut fresh = vec![0.0; p];
    for end in 0..n + lags {
        for k in 0..p {
            if end < n {
                moving[k] += scores[k][end];
            }
            if let Some(start) = end.checked_sub(width) {
                moving[k] -= scores[k][start];
            }
            fresh[k] = moving[k];
        }
        for i in 0..p {
            for j in 0..=i {
                sums[(i, j)] += fresh[i] * fresh[j];
            }
        }
    }
    for i in 0..p {
        for j in 0..=i {
            sums[(i, j)] /= width as f64;
            sums[(j, i)] = sums[(i, j)];
        }
    }
    let inverse = DMatrix::from_fn(p, p, |i, j| fit.inverse[i][j]);
    let covariance = &inverse * sums * &inverse;
    (0..p).map(|i| (0..p).map(|j| covariance[(i, j)]).collect()).collect()
}

#[cfg(test)]
mod tests;
