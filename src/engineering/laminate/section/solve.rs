//! Symmetric positive definite equations: a handful of unknowns, one a circuit.

/// A Cholesky factor, row by row up to the diagonal.
#[derive(Debug, Clone)]
pub(super) struct Factor(Vec<Vec<f64>>);

impl Factor {
    /// Factors a matrix; `None` where it is not positive definite to double precision.
    pub(super) fn new(matrix: &[Vec<f64>]) -> Option<Factor> {
        let mut rows: Vec<Vec<f64>> = Vec::with_capacity(matrix.len());
        for (i, row) in matrix.iter().enumerate() {
            let mut made: Vec<f64> = Vec::with_capacity(i + 1);
            for (before, value) in rows.iter().zip(row) {
                let rest = value - dot(&made, before);
                made.push(rest / before.last()?);
            }
            let diagonal = row.get(i)?;
            let rest = diagonal - dot(&made, &made);
            // Below this share of the diagonal the pivot is rounding, not stiffness.
            if rest.is_nan() || rest <= 1e-13 * diagonal {
                return None;
            }
            made.push(rest.sqrt());
            rows.push(made);
        }
        Some(Factor(rows))
    }

    /// Solves for one right side of the same size.
    pub(super) fn solve(&self, right: &[f64]) -> Vec<f64> {
        let mut x: Vec<f64> = Vec::with_capacity(right.len());
        for (row, value) in self.0.iter().zip(right) {
            let pivot = row.last().copied().unwrap_or(1.0);
            x.push((value - dot(row, &x)) / pivot);
        }
        for row in self.0.iter().rev() {
            let Some((pivot, rest)) = row.split_last() else { continue };
            let Some((value, above)) = x.get_mut(..row.len()).and_then(<[f64]>::split_last_mut) else {
                continue;
            };
            *value /= pivot;
            for (other, factor) in above.iter_mut().zip(rest) {
                *other -= factor * *value;
            }
        }
        x
    }
}

/// The product of two rows, as far as the shorter goes.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
