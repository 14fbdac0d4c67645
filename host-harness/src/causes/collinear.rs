//! Which estimates hang together: condition indices and variance-decomposition proportions.
//!
//! Belsley, Kuh and Welsch, Regression Diagnostics (1980), chapter 3: columns scaled to length one, the constant included and nothing centred; X = UDVᵀ;
//! condition indices `η_j = d_max / d_j`; proportions `π_jk = (v_kj² / d_j²) / Σ_j (v_kj² / d_j²)`. An index of 30 and more with two proportions above
//! one half harms.

use nalgebra::DMatrix;

use super::found::Collinear;
use super::kind::CauseKind;

/// An index from which dependencies harm.
const HARMFUL: f64 = 30.0;

/// The groups of columns that hang together, as their places.
pub(super) fn groups(columns: &[Vec<f64>]) -> Vec<(f64, Vec<usize>)> {
    let (n, p) = (columns.first().map_or(0, Vec::len), columns.len());
    let lengths: Vec<f64> =
        columns.iter().map(|column| column.iter().map(|value| value * value).sum::<f64>().sqrt()).collect();
    if n < p || lengths.contains(&0.0) {
        return Vec::new();
    }
    // The singular values and right vectors of X are those of its R.
    let r = DMatrix::from_fn(n, p, |row, k| columns[k][row] / lengths[k]).qr().r();
    let svd = r.svd(false, true);
    let Some(v_t) = svd.v_t else { return Vec::new() };
    let d = svd.singular_values;
    let phi = |j: usize, k: usize| (v_t[(j, k)] / d[j].max(f64::MIN_POSITIVE.sqrt())).powi(2);
    let most = d.max();
    let mut found = Vec::new();
    for j in 0..p {
        let index = most / d[j].max(f64::MIN_POSITIVE);
        let members: Vec<usize> = (0..p)
            .filter(|&k| {
                let whole: f64 = (0..p).map(|j| phi(j, k)).sum();
                phi(j, k) > 0.5 * whole
            })
            .collect();
        if index >= HARMFUL && members.len() > 1 {
            found.push((index, members));
        }
    }
    found
}

/// The same with their names.
pub(super) fn named(columns: &[Vec<f64>], kinds: &[CauseKind]) -> Vec<Collinear> {
    groups(columns)
        .into_iter()
        .map(|(condition_index, members)| {
            let mut terms: Vec<CauseKind> = members.into_iter().map(|member| kinds[member]).collect();
            terms.dedup();
            Collinear { condition_index, terms }
        })
        .filter(|group| group.terms.len() > 1)
        .collect()
}
