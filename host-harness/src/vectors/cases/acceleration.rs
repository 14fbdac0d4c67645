//! Limits on the acceleration: the speed of one window against that of the one before.

use super::{Book, CHANNELS, calm, every_way, hold, speed, towards};
use crate::setup::MonitorKind;
use crate::vectors::edge::{self, Change, Pace};
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        for (side, sign) in every_way() {
            let Some(limit) = limit_of(&monitor.kind, sign) else { continue };
            edges(book, number, limit, side, sign);
            story(book, number, limit, side, sign);
        }
    }
}

/// The limit on the acceleration in a direction, in ULP per second squared; `None` where an axis may not even stand.
pub(super) fn limit_of(kind: &MonitorKind, sign: i128) -> Option<i128> {
    let limit = match kind {
        MonitorKind::AccelerationLimit { limit } => i128::from(limit.value.to_bits()),
        MonitorKind::AccelerationRange(range) if sign > 0 => i128::from(range.high.value.to_bits()),
        MonitorKind::AccelerationRange(range) => -i128::from(range.low.value.to_bits()),
        _ => return None,
    };
    (limit >= 0).then_some(limit)
}

/// So many counts in a window from rest are within the limit.
fn most(book: &Book<'_>, limit: i128, side: Side) -> i128 {
    let (window, nano) = (i128::from(book.window()), book.play().sensors[side].nano);
    limit * window / 1_000_000_000 * window / nano
}

/// At rest over one window, in motion over the next.
fn jolt(play: &mut Play<'_>, side: Side, sign: i128, change: Change) {
    let (steps, _) = speed::run_shape(play, play.setup.speed.window.value.as_nanos());
    speed::run(play, side, sign, change.first, steps);
    speed::run(play, side, sign, change.second, steps);
}

/// A window at rest, one in which a source makes these counts.
fn pace(window: u64, counts: i128) -> Change {
    Change { first: Pace { counts: 0, elapsed: window }, second: Pace { counts, elapsed: window } }
}

/// Slows down from speeds, by a quarter of the limit, to rest.
fn ease(play: &mut Play<'_>, limit: i128, speeds: [i128; 2]) {
    let stride = (play.timeout() / 2).max(1);
    let less = (limit / 4 * i128::from(stride) / 1_000_000_000).max(1);
    let mut speeds = speeds;
    // A limit of zero is left anyhow.
    for _ in 0..1000 {
        if speeds == [0, 0] {
            break;
        }
        for speed in &mut speeds {
            *speed -= (*speed).clamp(-less, less);
        }
        play.glide(speeds, play.now + stride);
    }
    play.settle();
    play.settle();
}

/// The most that is allowed, a count more, and the closest to the limit that there are.
fn edges(book: &mut Book<'_>, monitor: usize, limit: i128, side: Side, sign: i128) {
    let window = book.window();
    let (_, longest) = speed::run_shape(&book.play(), window);
    let nano = book.play().sensors[side].nano;
    let counts = most(book, limit, side);
    let close = edge::close_rise(limit, nano, window, longest);
    let mut changes = vec![
        ("the largest change of the speed within the limit", pace(window, counts)),
        ("one count more than the limit allows", pace(window, counts + 1)),
    ];
    changes.extend(close.at.map(|change| ("at the limit", change)));
    changes.extend(close.beyond.map(|change| ("beyond the limit by the last place", change)));
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    for (what, change) in changes {
        let mut play = book.play();
        play.demand_monitor(monitor, true);
        play.both();
        jolt(&mut play, side, sign, change);
        // It goes on at the speed of the last window; without anything new that stays what is known.
        hold(&mut play, on_delay, [0, 0]);
        book.keep(
            format!("{}, channel {}, {}: {what}", book.name(monitor), CHANNELS[side], towards(sign)),
            play,
        );
    }
}

/// Too hard for less than the on-delay; for as long; on the other channel too; then again while tripped, and after a reset.
fn story(book: &mut Book<'_>, monitor: usize, limit: i128, side: Side, sign: i128) {
    let window = book.window();
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let mut play = book.play();
    play.both();
    play.switch(monitor, true, [0, 0]);
    play.settle();
    play.settle();
    let hard = |play: &mut Play<'_>, side: Side, more: i128, lasts: u64| {
        let counts = most(book, limit, side) + more;
        jolt(play, side, sign, pace(window, counts));
        hold(play, lasts, [0, 0]);
        let span = i128::from(window);
        let gone = counts * play.sensors[side].nano;
        let mut speeds = [sign * gone / span; 2];
        // The other one followed a count behind.
        speeds[1 - side] -= sign * (play.sensors[1 - side].nano / span).min(gone / span);
        // What was held without a reading is made up for.
        for (x, speed) in play.x.iter_mut().zip(speeds) {
            *x += speed * i128::from(lasts);
        }
        play.glide(speeds, play.now + (play.timeout() / 4).max(1));
        play.glide(speeds, play.now + 2 * window);
        ease(play, limit, speeds);
    };
    hard(&mut play, side, 1, on_delay.saturating_sub(1));
    for (which, more) in [(side, 1), (1 - side, 2), (side, 2)] {
        hard(&mut play, which, more, on_delay);
    }
    calm(&mut play, monitor);
    play.press_reset();
    hard(&mut play, side, 1, on_delay);
    calm(&mut play, monitor);
    play.press_reset();
    play.switch(monitor, false, [0, 0]);
    play.settle();
    book.keep(
        format!(
            "{}, channel {}, {}: too hard, confirmed, reset, too hard again",
            book.name(monitor),
            CHANNELS[side],
            towards(sign)
        ),
        play,
    );
}

/// Changes its speed on one channel so hard that it trips.
pub(super) fn provoke(play: &mut Play<'_>, book: &Book<'_>, monitor: usize, side: Side) -> Option<()> {
    let limit = limit_of(&book.setup.monitors[monitor].kind, 1)?;
    jolt(play, side, 1, pace(book.window(), most(book, limit, side) + 2));
    hold(play, book.setup.monitors[monitor].on_delay.value.as_nanos(), [0, 0]);
    Some(())
}
