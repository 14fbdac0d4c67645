//! Whether the rows of a trace are apart as if its times were in another unit than the setup says.

use super::Outcome;
use crate::report::short;
use crate::setup::Setup;
use crate::trace::TimeUnit;

/// From fine to coarse; each is a thousand of the one before.
const UNITS: [TimeUnit; 4] = [TimeUnit::Nanos, TimeUnit::Micros, TimeUnit::Millis, TimeUnit::Seconds];
/// Beyond so many rows within a timeout, they are told of: nobody waits so long for a reading.
const MANY: u64 = 2_000;
/// Of fewer rows nothing is said.
const LEAST: u64 = 5;

/// A remark in one line where another unit of the time would explain how far apart the rows are; `None` where nothing is odd.
#[must_use]
pub fn doubtful_unit(setup: &Setup, unit: TimeUnit, outcome: &Outcome) -> Option<String> {
    let rows = outcome.rows.as_ref().map_or(outcome.frames, |rows| rows.rows);
    let passed = outcome.last?.since(outcome.first?)?.as_nanos();
    if rows < LEAST {
        return None;
    }
    // What they are apart on the average.
    let apart = passed / (rows - 1);
    let timeout = setup.a.timeout.value.min(setup.b.timeout.value).as_nanos();
    let set = match (&setup.cycle, &setup.machine.frame_period) {
        (Some(cycle), _) => Some(("`cycle`", cycle.value.as_nanos())),
        (None, Some(period)) => Some(("`frame_period` of [machine]", period.value.as_nanos())),
        (None, None) => None,
    };
    let (what, wanted, steps) = if let Some((what, period)) = set
        && let Some(steps) = thousands(apart, period)
    {
        (what, period, steps)
    } else {
        let gaps = outcome.gaps.kept.len() as u64 + outcome.gaps.left_out;
        let steps = if gaps == rows - 1 {
            // The fewest thousands that bring the rows within the timeout.
            let steps = (1..=3_u32).find(|&steps| apart / 1000_u64.pow(steps) <= timeout)?;
            -isize::try_from(steps).ok()?
        } else if apart > 0 && timeout / apart >= MANY {
            1
        } else {
            return None;
        };
        ("the shorter `timeout`", timeout, steps)
    };
    let place = UNITS.iter().position(|one| *one == unit)?;
    let other = UNITS.get(place.checked_add_signed(steps)?)?;
    let shown = |ns: u64| short(i128::from(ns));
    Some(format!(
        "the rows are {} s apart on the average, and {what} is {} s; if the times of the trace are in {other} and not in {unit}, correct `unit` of [time]",
        shown(apart),
        shown(wanted)
    ))
}

/// By how many thousands a period has to be longer to be about the other one, up to a factor of two; `None` for none.
fn thousands(apart: u64, period: u64) -> Option<isize> {
    let is_near = |one: u64, other: u64| one / 2 <= other && other / 2 <= one;
    let scaled = |value: u64, steps: u32| value.checked_mul(1000_u64.pow(steps));
    (1..=3_u32).find_map(|steps| {
        let sign = isize::try_from(steps).ok()?;
        if scaled(apart, steps).is_some_and(|longer| is_near(longer, period)) {
            return Some(sign);
        }
        scaled(period, steps).is_some_and(|longer| is_near(longer, apart)).then_some(-sign)
    })
}
