//! Settings against what the sensors can resolve.

use monitor_core::{Acceleration, Position};

use super::MAX_WINDOW_NS;
use super::check::{NANO, Parts, Threshold, count, owner};
use super::model::{AxisUnit, BrakingSetup, MonitorKind, Setting};
use super::section::{Got, Reader};
use super::value::{short_time_text, time_text};
use crate::decimal::{Exact, NANO_ULPS_PER_UNIT, Rounding, ULPS_PER_UNIT, short_text};

/// A step between two places or two speeds at which an output switches.
const HYSTERESIS: &str = "hysteresis";

/// Why a speed must not be finer than one count.
const FROM_NONE: &str = "a speed below it can never be told from standstill";

/// An acceleration that the setup compares with.
struct Slope<'a> {
    /// For a message, as in "`limit` of monitor \"soft\"".
    what: String,
    setting: &'a Setting<Acceleration>,
    /// What must not be finer than can be resolved, with its sign.
    size: Acceleration,
    /// What makes it coarser, as in "raise `limit` to at least that".
    raise: String,
}

impl<'a> Parts<'a> {
    /// The source with the longer counts: its letter, and the travel of one count in steps of 10⁻⁹ ULP.
    fn coarsest(&self) -> Option<(&'static str, i128)> {
        self.channels().map(|(letter, channel)| (letter, count(channel))).max_by_key(|(_, count)| *count)
    }

    /// Every acceleration that is compared with one that was measured, but for the ends of a range that are zero: any
    /// change of the speed tells on which side of them it is.
    fn slopes(&self) -> Vec<Slope<'a>> {
        let mut slopes = Vec::new();
        for monitor in self.monitors {
            let settings = match &monitor.kind {
                MonitorKind::AccelerationLimit { limit } => vec![("limit", limit)],
                MonitorKind::AccelerationRange(range) => vec![("low", &range.low), ("high", &range.high)],
                _ => continue,
            };
            for (key, setting) in settings.into_iter().filter(|(_, one)| one.value != Acceleration::ZERO) {
                let what = format!("`{key}` of {}", owner(monitor));
                let raise = match &monitor.kind {
                    MonitorKind::AccelerationRange(_) => {
                        format!("move `{key}` to zero or at least that far from it")
                    }
                    _ => format!("raise `{key}` to at least that"),
                };
                slopes.push(Slope { what, setting, size: setting.value, raise });
            }
        }
        slopes.extend(self.brakings().map(|(owner, braking)| {
            let BrakingSetup { deceleration, margin, .. } = braking;
            let size = deceleration.value.to_bits().saturating_sub(margin.value.to_bits());
            Slope {
                what: format!("`deceleration` less `margin` of the braking of {owner}"),
                setting: deceleration,
                size: Acceleration::from_bits(size),
                raise: "raise `deceleration` or lower `margin` until at least that is between them"
                    .to_owned(),
            }
        }));
        slopes
    }

    /// Every distance that is compared with a travel, or is a step between two places; these are rounded up.
    fn distances(&self) -> Vec<(&'static str, String, &'a Setting<Position>)> {
        let windows =
            self.standstills().map(|(owner, windows)| ("position_window", owner, &windows.position_window));
        let tolerance =
            self.discrepancy.map(|watch| ("tolerance", "[discrepancy]".to_owned(), &watch.tolerance));
        let others = self.monitors.iter().filter_map(|monitor| match &monitor.kind {
            MonitorKind::Direction { tolerance, .. } => Some(("tolerance", owner(monitor), tolerance)),
            MonitorKind::TravelLimit { increment } => Some(("increment", owner(monitor), increment)),
            MonitorKind::CamOutput { hysteresis, .. } if hysteresis.value > Position::ZERO => {
                Some((HYSTERESIS, owner(monitor), hysteresis))
            }
            _ => None,
        });
        let overruns = self.monitors.iter().filter_map(|monitor| {
            Some(("allowed_overrun", owner(monitor), monitor.allowed_overrun.as_ref()?))
        });
        windows.chain(tolerance).chain(others).chain(overruns).collect()
    }
}

fn travel_text(nano_ulps: i128, axis: AxisUnit) -> String {
    let travel = Exact::new(nano_ulps, i128::from(NANO_ULPS_PER_UNIT));
    format!("{} {}", short_text(&travel, Rounding::Up), axis.symbol())
}

/// Nothing is asked for that is finer than the coarser of the two sources.
///
/// Settings were rounded down, so that one of exactly one count may now lie less than a ULP below it: what counts
/// is the next ULP.
pub(super) fn resolution(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let Some((letter, coarsest)) = parts.coarsest() else {
        return Ok(());
    };
    let mut all = Ok(());
    let one_count = travel_text(coarsest, parts.axis);
    for (key, owner, setting) in parts.distances() {
        let bits = i128::from(setting.value.to_bits());
        let (is_finer, or_none) = match key {
            HYSTERESIS => (bits * NANO < coarsest, ", leave it out"),
            _ => ((bits + 1) * NANO <= coarsest, ""),
        };
        if is_finer {
            all = Err(reader.refuse(
                setting.span.clone(),
                format!("`{key}` of {owner} is finer than channel {letter} can resolve"),
                format!("less than one count of {one_count}"),
                format!(
                    "one count of channel {letter} is {one_count}: raise `{key}` to at least that{or_none}, or use a finer \
                     sensor"
                ),
            ));
        }
    }
    let Some(window) = parts.window().map(|window| window.value.as_nanos()) else {
        return all;
    };
    for threshold in parts.thresholds() {
        let Threshold { key, owner, setting, .. } = &threshold;
        let bits = i128::from(threshold.size().to_bits());
        // Any motion at all is a speed above zero.
        if bits == 0 && threshold.has_direction() {
            continue;
        }
        let (what, raise) = match (threshold.has_direction(), threshold.is_hysteresis()) {
            (true, _) => (FROM_NONE, format!("move `{key}` to zero or at least that far from it")),
            (_, true) => (
                "with less, an axis that runs at one speed could switch the output on and off",
                format!("raise `{key}` to at least that, leave it out"),
            ),
            _ => (FROM_NONE, format!("raise `{key}` to at least that")),
        };
        // Steps of 10⁻⁹ ULP over nanoseconds are ULP over seconds. A hysteresis was rounded up: one that is exactly one count is enough.
        let (least, is_enough) = match threshold.is_hysteresis() {
            true => (bits, bits * i128::from(window) >= coarsest),
            false => (bits + 1, (bits + 1) * i128::from(window) > coarsest),
        };
        if is_enough {
            continue;
        }
        let resolved = Exact::new(coarsest, i128::from(window) * i128::from(ULPS_PER_UNIT));
        let needed = u64::try_from(coarsest / least + 1).ok().filter(|nanos| *nanos <= MAX_WINDOW_NS);
        let longer = needed.map_or(String::new(), |nanos| {
            format!(", lengthen `window` of [speed] to at least {}", short_time_text(nanos, Rounding::Up))
        });
        all = Err(reader.refuse(
            setting.span.clone(),
            format!("`{key}` of {owner} is finer than channel {letter} can resolve"),
            "less than one count over the window",
            format!(
                "one count of channel {letter} over the {} window is {} {}/s; {what}: {raise}{longer}, or use a finer \
                 sensor",
                time_text(window),
                short_text(&resolved, Rounding::Up),
                parts.axis.symbol(),
            ),
        ));
    }
    all
}

/// An acceleration is the difference of two speeds, each of them a count too high or too low, over a window.
pub(super) fn resolution_of_accelerations(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let (Some((letter, coarsest)), Some(window)) = (parts.coarsest(), parts.window()) else {
        return Ok(());
    };
    let window = window.value.as_nanos();
    // Steps of 10⁻⁹ ULP over square nanoseconds are 10⁹ ULP over square seconds. Below 2⁹⁵.
    let two_counts = 2 * coarsest * NANO;
    let mut all = Ok(());
    for Slope { what, setting, size, raise } in parts.slopes() {
        let bits = i128::from(size.to_bits()).abs();
        // As for a speed, the next ULP counts. A window is below 2³¹ ns, so that the product is below 2¹²⁶.
        if (bits + 1) * i128::from(window).pow(2) > two_counts {
            continue;
        }
        let resolved = Exact::new(two_counts, i128::from(window).pow(2) * i128::from(ULPS_PER_UNIT));
        let needed =
            u64::try_from((two_counts / (bits + 1)).isqrt() + 1).ok().filter(|nanos| *nanos <= MAX_WINDOW_NS);
        let longer = needed.map_or(String::new(), |nanos| {
            format!(", lengthen `window` of [speed] to at least {}", short_time_text(nanos, Rounding::Up))
        });
        all = Err(reader.refuse(
            setting.span.clone(),
            format!("{what} is finer than channel {letter} can resolve"),
            "less than two counts over the square of the window",
            format!(
                "two counts of channel {letter} over the square of the {} window are {} {}/s^2; an acceleration below it \
                 can never be told from none: {raise}{longer}, or use a finer sensor",
                time_text(window),
                short_text(&resolved, Rounding::Up),
                parts.axis.symbol(),
            ),
        ));
    }
    all
}
