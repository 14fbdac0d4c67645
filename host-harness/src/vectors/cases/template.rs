//! Cases with a knob: the same motion with a reading that is captured some nanoseconds earlier, so that a speed or a line comes
//! out a little different.

use monitor_core::{Check, Frame, Instant, Levels};

use super::{Book, hold, ramp_of};
use crate::replay::ReplayAxis;
use crate::setup::{By, MonitorKind, Setup};
use crate::vectors::play::{Play, Side};

/// The speed from which a ramp is entered, in ULP per second: above its target, and possible.
pub(super) fn entry_speed(setup: &Setup, monitor: usize) -> i128 {
    let possible = setup.a.max_speed.value.min(setup.b.max_speed.value).to_bits();
    let target = match &setup.monitors[monitor].kind {
        MonitorKind::SpeedLimit { limit, .. } => limit.smaller().to_bits(),
        MonitorKind::Stop { by: By::Ramp { standstill_speed, .. }, .. } => standstill_speed.value.to_bits(),
        // So fast that it can brake for a while.
        MonitorKind::Stop { by: By::Deceleration { standstill_speed, .. }, .. } => {
            (possible / 5).max(standstill_speed.value.to_bits())
        }
        _ => 0,
    };
    let (possible, target) = (i128::from(possible), i128::from(target));
    // Fast enough to have something to lose, and within most limits.
    (target * 2).max(possible / 12).min((target + possible) / 2)
}

/// What a monitor finds on a channel at an instant at which nothing new is read.
pub(super) fn peek(play: &Play<'_>, at: u64, monitor: usize, side: Side) -> Option<Check> {
    peek_at(&play.axis, play, at, monitor, side)
}

/// The same on another axis that was shown the same.
pub(super) fn peek_at(
    axis: &ReplayAxis,
    play: &Play<'_>,
    at: u64,
    monitor: usize,
    side: Side,
) -> Option<Check> {
    let mut axis = axis.clone();
    let levels = Levels::from_bits(play.levels);
    let frame = Frame { now: Instant::from_nanos(at), a: None, b: None, levels };
    let mut found = None;
    let channel = [monitor_core::Channel::A, monitor_core::Channel::B][side];
    let _ = axis.step_watched(&frame, &mut |id, of, check| {
        if usize::from(id.index()) == monitor && of == channel {
            found = Some(*check);
        }
    });
    found
}

/// The first instant from the next one to `latest` at which `holds`, which stays so.
pub(super) fn first(play: &Play<'_>, latest: u64, holds: impl Fn(u64) -> bool) -> Option<u64> {
    let (mut low, mut high) = (play.now + 1, latest);
    if low > high || !holds(high) {
        return None;
    }
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Some(low)
}

/// The last reading of the source, captured `early` ns before its frame.
fn step_early(play: &mut Play<'_>, span: u64, side: Side, early: u64) {
    play.now += span;
    let captured_at = play.now - early;
    let reading = play.reading_at(side, captured_at);
    play.show_one(side, Some(reading));
}

/// In motion at the entry speed, the monitor demanded; the last reading before that counts is `early`.
pub(super) fn enter<'a>(book: &Book<'a>, monitor: usize, side: Side, sign: i128, early: u64) -> Play<'a> {
    let mut play = book.play();
    let speed = sign * entry_speed(book.setup, monitor);
    let speeds = [speed, speed];
    play.both();
    play.glide(speeds, play.now + book.window() + play.timeout());
    let filter = play.demand_filter(monitor);
    play.demand_monitor(monitor, true);
    let short = (play.timeout() / 4).max(1);
    if filter > 0 {
        play.glide(speeds, play.now + 1);
        play.glide(speeds, play.now + filter.saturating_sub(short).max(1));
    }
    let span = if filter > short { short } else { filter.max(short) };
    for x in &mut play.x {
        *x += speed * i128::from(span);
    }
    step_early(&mut play, span, side, early.min(span - 1));
    play
}

/// A ramp is entered and one source stays as fast: until its line falls below the speed. `early` moves the last reading.
pub(super) fn overrun<'a>(book: &Book<'a>, monitor: usize, side: Side, sign: i128, early: u64) -> Play<'a> {
    overrun_to(book, monitor, side, sign, early).0
}

/// How many readings are tried until one comes out on the line.
const TRIES: u64 = 500;

/// As [`overrun`], with a reading by which the speed 1 ns before the violation is exactly the line.
pub(super) fn on_the_line<'a>(book: &Book<'a>, monitor: usize, side: Side, sign: i128) -> Option<Play<'a>> {
    let mut tries = (0..TRIES).map(|early| overrun_to(book, monitor, side, sign, early));
    tries.find_map(|(play, hits)| hits.then_some(play))
}

/// The play, and whether the speed was exactly that of the line 1 ns before it was above.
fn overrun_to<'a>(book: &Book<'a>, monitor: usize, side: Side, sign: i128, early: u64) -> (Play<'a>, bool) {
    let mut play = enter(book, monitor, side, sign, 0);
    let speed = sign * entry_speed(book.setup, monitor);
    let mut speeds = [speed * 9 / 10; 2];
    speeds[side] = speed;
    let stride = (play.timeout() / 2).max(1);
    let end = play.now + patience(book, monitor);
    let violated =
        |play: &Play<'_>, at| peek(play, at, monitor, side).is_some_and(|check| check.is_violated());
    let mut crossing = None;
    while play.now < end && crossing.is_none() {
        let mut next = play.clone();
        for (x, speed) in next.x.iter_mut().zip(speeds) {
            *x += speed * i128::from(stride);
        }
        step_early(&mut next, stride, side, early.min(stride - 1));
        let latest = next.now + next.timeout() - stride;
        crossing = first(&next, latest, |at| violated(&next, at));
        if crossing.is_some() {
            play = next;
        } else {
            play.glide(speeds, play.now + stride);
        }
    }
    let mut hits = false;
    if let Some(at) = crossing {
        let read_at = play.now;
        if at - 1 > play.now {
            let last = peek(&play, at - 1, monitor, side).and_then(|check| check.speed);
            hits = last.is_some_and(|bound| bound.observed == bound.limit);
            play.bare(at - 1);
        }
        play.bare(at);
        // It has moved on since it was read.
        for (x, speed) in play.x.iter_mut().zip(speeds) {
            *x += speed * i128::from(at - read_at);
        }
        hold(&mut play, book.setup.monitors[monitor].on_delay.value.as_nanos(), speeds);
    }
    (play, hits)
}

/// How long a ramp can take, from its demand on.
pub(super) fn patience(book: &Book<'_>, monitor: usize) -> u64 {
    let Some(ramp) = ramp_of(&book.setup.monitors[monitor].kind) else { return 0 };
    let high = entry_speed(book.setup, monitor) + i128::from(ramp.margin.value.to_bits());
    let deceleration = i128::from(ramp.deceleration.value.to_bits()).max(1);
    // With rounded corners it takes longer.
    let corners = ramp
        .jerk
        .as_ref()
        .map_or(0, |jerk| deceleration * 1_000_000_000 / i128::from(jerk.value.to_bits()).max(1));
    let fall = high * 1_000_000_000 / deceleration + corners;
    ramp.delay.value.as_nanos() + u64::try_from(fall).unwrap_or(u64::MAX / 4) + 4 * book.window()
}
