//! Round numbers for an axis: 1, 2 or 5 times a power of ten apart.

/// The least such step of which no more than `most` fit into a span.
fn step(span: f64, most: usize) -> f64 {
    let least = span / most.max(1) as f64;
    let power = 10_f64.powf(least.log10().floor());
    // The power may be a little off: the last one is for that.
    [1.0, 2.0, 5.0, 10.0, 20.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|step| *step >= least)
        .unwrap_or(power * 10.0)
}

/// Values between two, with what is written at each.
pub(super) fn values((low, high): (f64, f64), most: usize) -> Vec<(f64, String)> {
    let span = high - low;
    if !span.is_finite() || span <= 0.0 {
        return Vec::new();
    }
    let step = step(span, most);
    let places = (-(step * 1.000_001).log10().floor()).clamp(0.0, 12.0) as usize;
    let (first, last) = ((low / step).ceil() as i64, (high / step).floor() as i64);
    (first..=last)
        .map(|number| {
            let value = number as f64 * step;
            (value, format!("{value:.places$}"))
        })
        .collect()
}

/// Times on the clock of a trace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Times {
    /// Seconds that every tick counts from, where the clock counts from an epoch.
    pub(super) base_s: Option<i128>,
    /// In ns on that clock, with what is written there.
    pub(super) ticks: Vec<(i128, String)>,
}

const SECOND: i128 = 1_000_000_000;

/// From here on a clock counts from an epoch.
const EPOCH: i128 = 1_000_000 * SECOND;

/// Exactly: a time goes through no float.
pub(super) fn times(from: i128, to: i128, most: i128) -> Times {
    let least = ((to - from) / most.max(1)).max(1);
    let mut power = 1_i128;
    while power * 10 <= least {
        power *= 10;
    }
    let step = [1, 2, 5, 10].into_iter().map(|by| by * power).find(|step| *step >= least).unwrap_or(power);
    let base_s = (from.abs() >= EPOCH).then(|| from.div_euclid(SECOND));
    let base = base_s.map_or(0, |base| base * SECOND);
    let places = least_places(step);
    let first = -(-from).div_euclid(step);
    let ticks = (first..=to.div_euclid(step)).map(|number| {
        let at = number * step;
        (at, seconds(at - base, places, base_s.is_some()))
    });
    Times { base_s, ticks: ticks.collect() }
}

/// How many decimals tell a step in ns.
fn least_places(step: i128) -> u32 {
    let mut places = 9;
    let mut step = step;
    while places > 0 && step % 10 == 0 {
        step /= 10;
        places -= 1;
    }
    places
}

fn seconds(nanos: i128, places: u32, with_plus: bool) -> String {
    let size = nanos.unsigned_abs();
    let sign = if nanos < 0 {
        "-"
    } else if with_plus {
        "+"
    } else {
        ""
    };
    let (whole, rest) = (size / SECOND.unsigned_abs(), size % SECOND.unsigned_abs());
    if places == 0 {
        return format!("{sign}{whole}");
    }
    let rest = format!("{rest:09}");
    format!("{sign}{whole}.{}", rest.get(..places as usize).unwrap_or(&rest))
}
