//! What is chosen already, as orthonormal columns, and what it leaves.

/// Orthonormal columns and the residual of y.
#[derive(Clone, Debug)]
pub(super) struct Basis {
    pub(super) q: Vec<Vec<f64>>,
    pub(super) rest: Vec<f64>,
    pub(super) rss: f64,
}

/// Less than this part of a column left after projection says nothing of its own.
const LEAST_LEFT: f64 = 1e-7;

impl Basis {
    pub(super) fn new(y: &[f64]) -> Self {
        let mut basis = Self { q: Vec::new(), rest: y.to_vec(), rss: dot(y, y) };
        basis.add(vec![1.0; y.len()]);
        basis
    }

    /// The part of a column that is perpendicular to all, of length one; `None`: hardly any.
    pub(super) fn perpendicular(&self, mut z: Vec<f64>) -> Option<Vec<f64>> {
        let whole = dot(&z, &z);
        // Twice is enough (Kahan, after Parlett, The Symmetric Eigenvalue Problem, 6.9).
        for _ in 0..2 {
            for q in &self.q {
                let along = dot(q, &z);
                axpy(&mut z, -along, q);
            }
        }
        let left = dot(&z, &z);
        if whole == 0.0 || left <= LEAST_LEFT * whole {
            return None;
        }
        let scale = 1.0 / left.sqrt();
        z.iter_mut().for_each(|value| *value *= scale);
        Some(z)
    }

    pub(super) fn add(&mut self, z: Vec<f64>) -> bool {
        let Some(q) = self.perpendicular(z) else { return false };
        let along = dot(&q, &self.rest);
        axpy(&mut self.rest, -along, &q);
        self.rss = dot(&self.rest, &self.rest);
        self.q.push(q);
        true
    }

    /// How much less the sum of squares is with one more column.
    pub(super) fn gain(&self, z: &[f64]) -> f64 {
        self.gain_within(z, f64::INFINITY)
    }

    /// The same, and nothing where its coefficient would be larger than `most`.
    pub(super) fn gain_within(&self, z: &[f64], most: f64) -> f64 {
        let along = dot(z, &self.rest);
        let whole = dot(z, z);
        let mut left = whole;
        for q in &self.q {
            left -= dot(q, z).powi(2);
        }
        if along.abs() > most * left { 0.0 } else { gain(along, left, whole) }
    }
}

/// The gain of a column with this product with the residual, of this square, of which so much is left.
pub(super) fn gain(along: f64, left: f64, whole: f64) -> f64 {
    if left > LEAST_LEFT * whole && whole > 0.0 { along * along / left } else { 0.0 }
}

/// In four sums, which the processor takes side by side.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (a, b) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest: f64 = a.remainder().iter().zip(b.remainder()).map(|(a, b)| a * b).sum();
    for (a, b) in a.zip(b) {
        for k in 0..4 {
            sums[k] += a[k] * b[k];
        }
    }
    sums[0] + sums[1] + sums[2] + sums[3] + rest
}

pub(super) fn axpy(y: &mut [f64], factor: f64, x: &[f64]) {
    for (y, x) in y.iter_mut().zip(x) {
        *y += factor * x;
    }
}
