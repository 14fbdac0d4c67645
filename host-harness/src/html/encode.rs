//! The numbers of a plot, packed into the page: differences as whole numbers of seven bits a byte, compressed, as text.

use std::io::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::write::ZlibEncoder;

use crate::plot::{Decided, Extent, Plot, Series, State, Stretch};

/// Which numbers are packed, and in steps of what.
#[derive(Clone, Copy, Debug)]
pub(super) struct Packed {
    pub(super) series: Series,
    pub(super) step: f64,
}

/// Those that ever have a value.
pub(super) fn packed(plot: &Plot) -> Vec<Packed> {
    let stretches = || std::iter::once(&plot.overview).chain(&plot.closeups);
    let used = plot.series.iter().copied().filter(|series| stretches().any(|of| of.has(*series)));
    used.map(|series| {
        let like = alike(series);
        let mut joined = Extent { low: f64::INFINITY, high: f64::NEG_INFINITY };
        for extent in stretches().flat_map(|stretch| stretch.extents(like)) {
            joined.low = joined.low.min(extent.low);
            joined.high = joined.high.max(extent.high);
        }
        let parts = if matches!(like, Series::Position(_)) { 1e7 } else { 1e5 };
        Packed { series, step: step(joined.high - joined.low, parts) }
    })
    .collect()
}

/// The number whose steps are right for a limit of it.
const fn alike(series: Series) -> Series {
    match series {
        Series::SpeedLow(channel) | Series::SpeedHigh(channel) => Series::Speed(channel),
        Series::WindowLow(channel) | Series::WindowHigh(channel) => Series::Position(channel),
        Series::Allowed => Series::Apart,
        other => other,
    }
}

/// A power of ten, so that the range has about so many steps: 10⁻⁷ to 1.
pub(super) fn step(range: f64, parts: f64) -> f64 {
    let exponent = if range > 0.0 { (range / parts).log10().floor() } else { -4.0 };
    10_f64.powf(exponent.clamp(-7.0, 0.0))
}

/// All of it, compressed and as text.
pub(super) fn numbers(
    plot: &Plot,
    packed: &[Packed],
    steps: &[f64],
    first_ns: u64,
) -> std::io::Result<String> {
    let mut bytes = Vec::new();
    for stretch in std::iter::once(&plot.overview).chain(&plot.closeups) {
        pack(&mut bytes, plot, stretch, packed, first_ns);
    }
    for (decided, step) in plot.decided.iter().zip(steps) {
        pack_decided(&mut bytes, decided, *step, first_ns);
    }
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(&bytes)?;
    Ok(STANDARD.encode(encoder.finish()?))
}

/// A whole number, the lowest seven bits first.
fn whole(out: &mut Vec<u8>, mut value: u64) {
    while value >= 128 {
        out.push((value % 128) as u8 | 128);
        value /= 128;
    }
    out.push(value as u8);
}

/// A number in steps, as far from the one before; nothing is 0.
fn number(out: &mut Vec<u8>, last: &mut i64, value: Option<i64>) {
    let Some(value) = value else { return whole(out, 0) };
    let by = value.wrapping_sub(*last);
    *last = value;
    let token = if by >= 0 { by.unsigned_abs() * 2 } else { by.unsigned_abs() * 2 - 1 };
    whole(out, token + 1);
}

/// The most steps that a page counts exactly.
const MOST: f64 = 9e15;

fn steps(value: f64, step: f64, round: fn(f64) -> f64) -> i64 {
    round((value / step).clamp(-MOST, MOST)) as i64
}

fn times(out: &mut Vec<u8>, times: impl Iterator<Item = u64>, first_ns: u64) {
    let mut last = first_ns;
    for time in times {
        whole(out, time.saturating_sub(last));
        last = time;
    }
}

fn pack(out: &mut Vec<u8>, plot: &Plot, stretch: &Stretch, packed: &[Packed], first_ns: u64) {
    let is_thin = stretch.per() > 1;
    times(out, stretch.buckets().iter().map(|bucket| bucket.first), first_ns);
    if is_thin {
        for bucket in stretch.buckets() {
            whole(out, bucket.last.saturating_sub(bucket.first));
        }
    }
    for Packed { series, step } in packed {
        let mut last = 0;
        // Least and greatest are rounded away from each other: an extreme is never made smaller.
        let low_round: fn(f64) -> f64 = if is_thin { f64::floor } else { f64::round };
        let ends: Vec<_> = (stretch.extents(*series))
            .map(|extent| {
                let low = steps(extent.low, *step, low_round);
                extent.is_any().then(|| (low, steps(extent.high, *step, f64::ceil).max(low)))
            })
            .collect();
        for end in &ends {
            number(out, &mut last, end.map(|(low, _)| low));
        }
        if is_thin {
            for (low, high) in ends.into_iter().flatten() {
                whole(out, high.abs_diff(low));
            }
        }
    }
    for lane in &plot.lanes {
        let mut run = (State::Off, 0_u64);
        let flush = |out: &mut Vec<u8>, (state, length): (State, u64)| {
            if length > 0 {
                whole(out, length * 3 + u64::from(state as u8));
            }
        };
        for bucket in stretch.buckets() {
            let state = lane.state(bucket);
            if state == run.0 {
                run.1 += 1;
            } else {
                flush(out, run);
                run = (state, 1);
            }
        }
        flush(out, run);
    }
}

fn pack_decided(out: &mut Vec<u8>, decided: &Decided, step: f64, first_ns: u64) {
    times(out, decided.frames.iter().map(|frame| frame.at), first_ns);
    for side in 0..2 {
        let observed =
            decided.frames.iter().map(|frame| Some(frame.of.get(side).copied().flatten()?.observed));
        let (high, low) = (decided.limits(side, false), decided.limits(side, true));
        for values in [observed.collect(), high, low] {
            let mut last = 0;
            for value in values {
                number(out, &mut last, value.map(|value| steps(value, step, f64::round)));
            }
        }
    }
}

/// The steps for what a trip was decided by.
pub(super) fn step_of(decided: &Decided) -> f64 {
    let values = decided
        .frames
        .iter()
        .flat_map(|frame| frame.of.into_iter().flatten())
        .map(|against| against.observed);
    let (low, high) = values
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    step(high - low, 1e5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_powers_of_ten_and_fine_enough() {
        for (range, parts, expected) in
            [(1000.0, 1e5, 1e-2), (2.0, 1e5, 1e-5), (0.0, 1e5, 1e-4), (1e-9, 1e5, 1e-7)]
        {
            assert!((step(range, parts) - expected).abs() < expected * 1e-9, "{range}");
        }
    }

    #[test]
    fn numbers_are_packed_as_the_page_unpacks_them() {
        // By hand: 300 is 0b10_0101100; a difference of -1 is the token 2, none is 0.
        let mut out = Vec::new();
        whole(&mut out, 300);
        let mut last = 5;
        number(&mut out, &mut last, Some(4));
        number(&mut out, &mut last, None);
        number(&mut out, &mut last, Some(4));
        assert_eq!(out, [0b1010_1100, 0b10, 2, 0, 1]);
    }
}
