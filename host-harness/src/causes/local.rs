//! Speed and acceleration of one source around one frame: least squares of a parabola over its neighbours.

use super::sampler::Raw;

/// About as many neighbours as a fit looks at.
const POINTS: u64 = 24;

/// What the neighbours of a frame say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Local {
    /// Speed at the capture of the reading, in the axis unit per second.
    pub(super) v: f64,
    /// Acceleration there.
    pub(super) a: f64,
    /// By how much the reading was moved to the instant of the frame; 0 without `align`.
    pub(super) lead: f64,
    /// Their standard errors, from what the counts are off the parabola.
    pub(super) v_error: f64,
    pub(super) a_error: f64,
}

/// Fits a parabola through the readings of one side in either reach: the speed from the first, the acceleration from the second.
pub(super) fn fit(
    here: Raw,
    side: usize,
    unit: f64,
    reaches: [(u64, u64); 2],
    raw: impl Fn(u64) -> Raw,
) -> Local {
    let [speed, acceleration] = reaches.map(|(first, last)| parabola(here, side, (first, last), &raw));
    Local {
        v: speed.slope * unit,
        v_error: speed.slope_error * unit.abs(),
        a: 2.0 * acceleration.bend * unit,
        lead: 0.0,
        a_error: 2.0 * acceleration.bend_error * unit.abs(),
    }
}

/// `counts = level + slope t + bend t²`.
#[derive(Clone, Copy, Debug, Default)]
struct Parabola {
    slope: f64,
    bend: f64,
    slope_error: f64,
    bend_error: f64,
}

/// The abscissa is scaled to about ±1, so that the 3 × 3 normal equations are harmless: their condition is below a hundred.
fn parabola(here: Raw, side: usize, (first, last): (u64, u64), raw: &impl Fn(u64) -> Raw) -> Parabola {
    let centre = here.captured_at[side] as i64;
    let scale = {
        let ends = [raw(first), raw(last)].map(|end| (end.captured_at[side] as i64 - centre).abs());
        ends[0].max(ends[1]) as f64
    };
    let stride = ((last - first) / POINTS).max(1);
    if scale == 0.0 || last - first < 2 {
        return Parabola::default();
    }
    let mut sums = [0.0; 5];
    let mut right = [0.0; 3];
    let mut square = 0.0;
    let mut before = i64::MIN;
    let mut k = first;
    while k <= last {
        let raw = raw(k);
        k += stride;
        let at = raw.captured_at[side] as i64;
        // A reading that is handed in again says nothing new.
        if at == before {
            continue;
        }
        before = at;
        let t = (at - centre) as f64 / scale;
        let y = raw.counts[side].wrapping_sub(here.counts[side]) as f64;
        let mut power = 1.0;
        for (order, sum) in sums.iter_mut().enumerate() {
            *sum += power;
            if let Some(right) = right.get_mut(order) {
                *right += power * y;
            }
            power *= t;
        }
        square += y * y;
    }
    solve(sums, right, square, scale / 1e9)
}

fn solve(sums: [f64; 5], right: [f64; 3], square: f64, scale: f64) -> Parabola {
    let [n, s1, s2, s3, s4] = sums;
    // Cofactors of the symmetric matrix (n s1 s2; s1 s2 s3; s2 s3 s4).
    let c = [
        s2 * s4 - s3 * s3,
        s2 * s3 - s1 * s4,
        s1 * s3 - s2 * s2,
        n * s4 - s2 * s2,
        s1 * s2 - n * s3,
        n * s2 - s1 * s1,
    ];
    let determinant = n * c[0] + s1 * c[1] + s2 * c[2];
    if n < 3.5 || determinant <= 1e-9 * n * n * n {
        // A straight line, where there are too few or they lie to one side.
        let spread = n * s2 - s1 * s1;
        let slope = if n > 1.5 && spread > 0.0 { (n * right[1] - s1 * right[0]) / spread } else { 0.0 };
        return Parabola { slope: slope / scale, ..Parabola::default() };
    }
    let [r0, r1, r2] = right;
    let level = (c[0] * r0 + c[1] * r1 + c[2] * r2) / determinant;
    let slope = (c[1] * r0 + c[3] * r1 + c[4] * r2) / determinant;
    let bend = (c[2] * r0 + c[4] * r1 + c[5] * r2) / determinant;
    let rest = (square - level * r0 - slope * r1 - bend * r2).max(0.0);
    // Rounding to whole counts alone leaves a twelfth.
    let variance = (rest / (n - 3.0)).max(1.0 / 12.0);
    Parabola {
        slope: slope / scale,
        bend: bend / (scale * scale),
        slope_error: (variance * c[3] / determinant).sqrt() / scale,
        bend_error: (variance * c[5] / determinant).sqrt() / (scale * scale),
    }
}
