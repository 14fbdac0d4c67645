//! Stops: how they end, and that they are carried through; and torque off.

use super::template::{enter, entry_speed, first, patience, peek};
use super::{Book, CHANNELS, every_way, hold, ramp_of, towards, windows_of};
use crate::setup::{By, MonitorKind};
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        match &monitor.kind {
            MonitorKind::TorqueOff => torque_off(book, number),
            // Trips alone demand it.
            MonitorKind::Stop { .. } if monitor.by_reactions_only => {}
            MonitorKind::Stop { .. } => {
                for (side, sign) in every_way() {
                    let play = complete(book, number, side, sign, 0);
                    let about = format!(
                        "{}, channel {}, {}: stops as wanted",
                        book.name(number),
                        CHANNELS[side],
                        towards(sign)
                    );
                    book.keep(about, play);
                }
                within(book, number);
                within_unseen(book, number);
                released_early(book, number);
                too_fast_again(book, number);
                after(book, number);
                blind(book, number);
            }
            _ => {}
        }
    }
}

fn within_of(book: &Book<'_>, monitor: usize) -> Option<u64> {
    match &book.setup.monitors[monitor].kind {
        MonitorKind::Stop {
            by:
                By::Time { within }
                | By::Ramp { within: Some(within), .. }
                | By::Deceleration { within: Some(within), .. },
            ..
        } => Some(within.value.as_nanos()),
        _ => None,
    }
}

/// The longest that a stop can take.
fn longest(book: &Book<'_>, monitor: usize) -> u64 {
    let ramp = ramp_of(&book.setup.monitors[monitor].kind).map(|_| patience(book, monitor));
    within_of(book, monitor).unwrap_or(u64::MAX).min(ramp.unwrap_or(u64::MAX))
}

/// Rests until a stop that has been demanded is complete on both channels, or over.
pub(super) fn rest_until_complete(play: &mut Play<'_>, monitor: usize) {
    let done = |play: &Play<'_>| {
        [0, 1]
            .into_iter()
            .all(|side| peek(play, play.now + 1, monitor, side).is_none_or(|check| check.complete))
    };
    let stride = (play.timeout() / 2).max(1);
    while !done(play) {
        play.step(stride);
    }
}

/// From motion; the demand is released at once, so that the end of the stop is the end of the monitor. One frame 1 ns before the
/// end of the line, and one at it. `early` moves the reading at the demand.
pub(super) fn complete<'a>(book: &Book<'a>, monitor: usize, side: Side, sign: i128, early: u64) -> Play<'a> {
    let mut play = enter(book, monitor, side, sign, early);
    play.demand_monitor(monitor, false);
    let deceleration = ramp_of(&book.setup.monitors[monitor].kind)
        .map_or(entry_speed(book.setup, monitor) * 50, |ramp| i128::from(ramp.deceleration.value.to_bits()));
    let begin = play.now;
    let stride = (play.timeout() / 2).max(2);
    let mut speed = entry_speed(book.setup, monitor);
    let end = begin + longest(book, monitor) + 4 * book.window();
    while play.now < end {
        let is_complete = |at| peek(&play, at, monitor, side).is_some_and(|check| check.complete);
        if let Some(at) = first(&play, play.now + stride, is_complete) {
            if at - 1 > play.now {
                play.bare(at - 1);
            }
            play.bare(at);
            play.step(1);
            break;
        }
        play.glide([sign * speed, sign * speed], play.now + stride);
        let lost = deceleration * i128::from(play.now - begin) / 1_000_000_000;
        speed = (entry_speed(book.setup, monitor) - lost).max(0);
    }
    play.settle();
    play
}

/// Complete by time: 1 ns before, and then.
fn within(book: &mut Book<'_>, monitor: usize) {
    let Some(within) = within_of(book, monitor) else { return };
    for moving in [false, true] {
        let mut play = book.play();
        // So fast that no line gets there first.
        let speed = if moving { play.sensors[0].max_speed.min(play.sensors[1].max_speed) / 2 } else { 0 };
        play.demand_monitor(monitor, true);
        play.both();
        let begin = play.now;
        play.glide([speed, speed], begin + within - 1);
        play.glide([speed, speed], begin + within);
        play.step(1);
        // What holds it from now on.
        let hold_speed = windows_of(&book.setup.monitors[monitor].kind)
            .map_or(0, |windows| i128::from(windows.speed_window.value.to_bits()) * 2);
        play.glide([hold_speed, 0], play.now + book.window());
        play.glide([0, hold_speed], play.now + book.window());
        play.switch(monitor, false, [0, 0]);
        play.settle();
        play.press_reset();
        let what = if moving { "in motion" } else { "at rest" };
        book.keep(
            format!("{}: complete by its time, demanded from the first frame on, {what}", book.name(monitor)),
            play,
        );
    }
    let mut play = enter(book, monitor, 0, 1, 0);
    let begin = play.now;
    play.glide([0, 0], begin + within - 1);
    play.glide([0, 0], begin + within);
    play.rest(1);
    play.switch(monitor, false, [0, 0]);
    play.settle();
    book.keep(format!("{}: complete by its time", book.name(monitor)), play);
}

/// Complete by time though a line is there that would be first: no speed is known to start it from.
fn within_unseen(book: &mut Book<'_>, monitor: usize) {
    let Some(within) = within_of(book, monitor) else { return };
    for (side, name) in CHANNELS.into_iter().enumerate() {
        let mut play = book.play();
        let stride = (play.timeout() / 2).max(1);
        play.demand_monitor(monitor, true);
        let begin = play.now;
        while play.now < begin + within - 1 {
            let invalid = play.invalid();
            play.show_one(side, invalid);
            // Carried through: that it is complete shows in its end.
            play.demand_monitor(monitor, false);
            play.now = (play.now + stride).min(begin + within - 1);
        }
        play.both();
        play.step(1);
        play.step(1);
        play.settle();
        play.press_reset();
        let name = format!("{}, channel {name}: complete by its time, not seen before", book.name(monitor));
        book.keep(name, play);
    }
}

/// The demand ends and comes again before the stop is complete: carried through, and no new stop.
fn released_early(book: &mut Book<'_>, monitor: usize) {
    let mut play = enter(book, monitor, 0, 1, 0);
    let pause = longest(book, monitor) / 4;
    play.demand_monitor(monitor, false);
    play.rest(pause);
    play.demand_monitor(monitor, true);
    play.rest(pause);
    play.demand_monitor(monitor, false);
    rest_until_complete(&mut play, monitor);
    play.rest(1);
    play.settle();
    play.demand_monitor(monitor, true);
    play.rest(pause);
    play.demand_monitor(monitor, false);
    rest_until_complete(&mut play, monitor);
    play.settle();
    book.keep(format!("{}: released and demanded again before it is complete", book.name(monitor)), play);
}

/// As fast as before the demand, so that the line is exceeded; reset; and that again.
fn too_fast_again(book: &mut Book<'_>, monitor: usize) {
    if ramp_of(&book.setup.monitors[monitor].kind).is_none() {
        return;
    }
    let speed = entry_speed(book.setup, monitor);
    for sign in [1, -1] {
        let speeds = [sign * speed; 2];
        let mut play = book.play();
        play.both();
        for _ in 0..2 {
            play.glide(speeds, play.now + book.window() + play.timeout());
            play.switch(monitor, true, speeds);
            let span = longest(book, monitor);
            play.glide(speeds, play.now + span * 7 / 8);
            // Slow for a moment, and fast again: no second trip.
            play.glide([0, 0], play.now + book.window().min(span / 32));
            play.glide(speeds, play.now + span / 8);
            play.settle();
            play.switch(monitor, false, [0, 0]);
            play.settle();
            play.press_reset();
            play.rest(1);
        }
        book.keep(format!("{}, {}: too fast; reset, again", book.name(monitor), towards(sign)), play);
    }
}

/// Complete, still demanded: what holds then, its edges in speed, and its end.
fn after(book: &mut Book<'_>, monitor: usize) {
    for (side, sign) in every_way() {
        let mut play = enter(book, monitor, side, sign, 0);
        rest_until_complete(&mut play, monitor);
        play.settle();
        if let Some(windows) = windows_of(&book.setup.monitors[monitor].kind) {
            let limit = i128::from(windows.speed_window.value.to_bits());
            let mut speeds = [0, 0];
            speeds[side] = sign * limit * 3 / 2;
            let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
            play.glide(speeds, play.now + book.window());
            hold(&mut play, on_delay, speeds);
            // The other channel too.
            let both = [sign * limit * 3 / 2; 2];
            play.glide(both, play.now + book.window() + play.timeout() + on_delay);
            play.settle();
            play.press_reset();
        }
        play.rest(1);
        play.switch(monitor, false, [0, 0]);
        play.settle();
        play.press_reset();
        play.switch(monitor, true, [0, 0]);
        rest_until_complete(&mut play, monitor);
        play.switch(monitor, false, [0, 0]);
        play.settle();
        book.keep(
            format!(
                "{}, channel {}, {}: held, released, demanded again",
                book.name(monitor),
                CHANNELS[side],
                towards(sign)
            ),
            play,
        );
    }
}

/// One channel cannot be seen while the stop is completed.
fn blind(book: &mut Book<'_>, monitor: usize) {
    for (side, name) in CHANNELS.into_iter().enumerate() {
        let mut play = enter(book, monitor, side, 1, 0);
        play.demand_monitor(monitor, false);
        let stride = (play.timeout() / 2).max(1);
        let end = play.now + longest(book, monitor) + book.window();
        while play.now < end {
            play.now += stride;
            let invalid = play.invalid();
            play.show_one(side, invalid);
        }
        play.settle();
        play.press_reset();
        play.settle();
        book.keep(
            format!("{}, channel {name}: faulted until the stop is complete", book.name(monitor)),
            play,
        );
    }
}

fn torque_off(book: &mut Book<'_>, monitor: usize) {
    let mut play = book.play();
    play.both();
    play.settle();
    for _ in 0..2 {
        play.switch(monitor, true, [0, 0]);
        play.settle();
        play.switch(monitor, false, [0, 0]);
        play.settle();
    }
    play.switch(monitor, true, [0, 0]);
    play.press_reset();
    play.settle();
    book.keep(format!("{}: demanded, released, demanded, a reset meanwhile", book.name(monitor)), play);
}
