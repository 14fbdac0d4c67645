//! Trips that demand a stop, and keep the permit until it is over.

use super::{Book, CHANNELS, acceleration, hold, place, speed, stop};
use crate::setup::{By, MonitorKind};
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        let Some(stop) = monitor.reaction else { continue };
        for side in [0, 1] {
            wanted(book, number, stop, side);
            blind(book, number, stop, side);
            unheeded(book, number, stop, side);
        }
    }
}

/// Demanded, then tripped on one channel; the last frame is that of the trip. `None` for a rule for which nothing is known to do so.
fn tripped<'a>(book: &Book<'a>, monitor: usize, side: Side) -> Option<Play<'a>> {
    let kind = &book.setup.monitors[monitor].kind;
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let mut play = book.play();
    play.both();
    play.switch(monitor, true, [0, 0]);
    play.settle();
    play.settle();
    let ways = [1, -1];
    if let Some((sign, counts)) =
        ways.into_iter().find_map(|sign| Some((sign, place::farthest(book, monitor, side, sign)?)))
    {
        let home = play.counts(side);
        place::leap(&mut play, side, home + sign * (counts + 1));
        hold(&mut play, on_delay, [0, 0]);
    } else if acceleration::limit_of(kind, 1).is_some() {
        acceleration::provoke(&mut play, book, monitor, side)?;
    } else if let (MonitorKind::SpeedLimit { .. } | MonitorKind::SpeedRange(_), Some(limit)) =
        (kind, speed::limit_of(kind, 1))
    {
        let mut speeds = [0, 0];
        speeds[side] = limit + limit / 2;
        play.glide(speeds, play.now + book.window() + play.timeout() + on_delay);
    } else {
        return None;
    }
    Some(play)
}

fn within_of(book: &Book<'_>, stop: usize) -> Option<u64> {
    match &book.setup.monitors[stop].kind {
        MonitorKind::Stop { by: By::Time { within }, .. } => Some(within.value.as_nanos()),
        MonitorKind::Stop { by: By::Ramp { within, .. } | By::Deceleration { within, .. }, .. } => {
            within.as_ref().map(|within| within.value.as_nanos())
        }
        _ => None,
    }
}

/// It stops as the trip wants it; resets while it does and after, and the time of the stop to the nanosecond.
fn wanted(book: &mut Book<'_>, monitor: usize, stop: usize, side: Side) {
    let Some(mut play) = tripped(book, monitor, side) else { return };
    let mut pressed = play.clone();
    play.step(1);
    if let Some(within) = within_of(book, stop) {
        play.rest(within - 1);
        play.rest(1);
    }
    for (mut play, what) in [(play, "the stop to the nanosecond"), {
        pressed.press_reset();
        (pressed, "a reset while it stops")
    }] {
        stop::rest_until_complete(&mut play, stop);
        play.step(1);
        play.settle();
        play.press_reset();
        play.settle();
        play.switch(monitor, false, [0, 0]);
        play.settle();
        play.press_reset();
        play.settle();
        book.keep(
            format!("{}, channel {}: its trip demands a stop; {what}", book.name(monitor), CHANNELS[side]),
            play,
        );
    }
}

/// At rest until the stop is over; then the demand ends, and a reset.
fn rest_and_reset(play: &mut Play<'_>, monitor: usize, stop: usize) {
    stop::rest_until_complete(play, stop);
    play.switch(monitor, false, [0, 0]);
    play.settle();
    play.press_reset();
    play.settle();
}

/// One channel cannot be seen until the stop is complete.
fn blind(book: &mut Book<'_>, monitor: usize, stop: usize, side: Side) {
    for faulted in [0, 1] {
        let Some(mut play) = tripped(book, monitor, side) else { return };
        let stride = (play.timeout() / 2).max(1);
        play.step(1);
        let end = play.now + within_of(book, stop).unwrap_or(0) + book.window();
        while play.now < end {
            play.now += stride;
            let invalid = play.invalid();
            play.show_one(faulted, invalid);
        }
        play.settle();
        rest_and_reset(&mut play, monitor, stop);
        book.keep(
            format!(
                "{}, channel {}: its trip demands a stop, in which channel {} is faulted",
                book.name(monitor),
                CHANNELS[side],
                CHANNELS[faulted]
            ),
            play,
        );
    }
}

/// It goes on as if nothing had been demanded.
fn unheeded(book: &mut Book<'_>, monitor: usize, stop: usize, side: Side) {
    let Some(mut play) = tripped(book, monitor, side) else { return };
    let fast = play.sensors[0].max_speed.min(play.sensors[1].max_speed) / 4;
    let end = play.now + within_of(book, stop).unwrap_or(book.window() * 8);
    play.glide([fast, fast], end);
    play.settle();
    rest_and_reset(&mut play, monitor, stop);
    book.keep(
        format!(
            "{}, channel {}: its trip demands a stop that does not come",
            book.name(monitor),
            CHANNELS[side]
        ),
        play,
    );
}
