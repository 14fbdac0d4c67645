//! Speed limits that are entered along a ramp.

use super::template::{enter, entry_speed, on_the_line, overrun, patience};
use super::{Book, CHANNELS, every_way, ramp_of, towards};
use crate::setup::MonitorKind;
use crate::vectors::play::Play;

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        if ramp_of(&monitor.kind).is_none() || monitor.by_reactions_only {
            continue;
        }
        let name = book.name(number);
        for (side, sign) in every_way() {
            let play = overrun(book, number, side, sign, 0);
            let about = format!(
                "{name}, channel {}, {}: as fast as before, the line falls",
                CHANNELS[side],
                towards(sign)
            );
            book.keep(about, play);
            if let Some(play) = on_the_line(book, number, side, sign) {
                let about = format!(
                    "{name}, channel {}, {}: exactly as fast as the line allows",
                    CHANNELS[side],
                    towards(sign)
                );
                book.keep(about, play);
            }
            blind(book, number, side, sign);
        }
        for sign in [1, -1] {
            waiting(book, number, sign);
            capped(book, number, sign);
            if let MonitorKind::SpeedLimit { .. } = &monitor.kind
                && let Some(limit) = super::speed::limit_of(&monitor.kind, sign)
            {
                landing(book, number, sign, limit);
            }
        }
    }
}

/// Slows down from the entry speed to a target as the ramp wants it.
pub(super) fn follow(play: &mut Play<'_>, book: &Book<'_>, monitor: usize, sign: i128, target: i128) {
    let Some(ramp) = ramp_of(&book.setup.monitors[monitor].kind) else { return };
    let deceleration = i128::from(ramp.deceleration.value.to_bits());
    let begin = play.now;
    let end = begin + patience(book, monitor);
    let stride = (play.timeout() / 2).max(1);
    let mut speed = entry_speed(book.setup, monitor);
    while play.now < end && speed > target {
        play.glide([sign * speed, sign * speed], play.now + stride);
        let lost = deceleration * i128::from(play.now - begin) / 1_000_000_000;
        speed = entry_speed(book.setup, monitor) - lost;
    }
}

/// Follows the line into the limit, stays at most of it, exceeds it after it has landed.
fn landing(book: &mut Book<'_>, monitor: usize, sign: i128, limit: i128) {
    let mut play = enter(book, monitor, 0, sign, 0);
    follow(&mut play, book, monitor, sign, limit * 3 / 4);
    let slow = sign * limit * 3 / 4;
    play.glide([slow, slow], play.now + patience(book, monitor) / 4 + book.window());
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let fast = sign * limit * 9 / 8;
    let settle = book.window() * 2 + play.timeout() + on_delay;
    play.glide([fast, slow], play.now + settle);
    play.glide([slow, slow], play.now + settle);
    play.glide([slow, fast], play.now + settle);
    play.glide([slow, slow], play.now + settle);
    play.press_reset();
    play.glide([fast, fast], play.now + settle);
    play.glide([0, 0], play.now + settle);
    play.press_reset();
    play.glide([slow, slow], play.now + settle);
    play.glide([fast, fast], play.now + settle);
    play.switch(monitor, false, [fast, fast]);
    play.switch(monitor, true, [slow, slow]);
    play.settle();
    book.keep(
        format!(
            "{}, {}: follows the ramp, then exceeds the limit; reset, again",
            book.name(monitor),
            towards(sign)
        ),
        play,
    );
}

/// Demanded from the first frame on, in motion: no line before the speed is known.
fn waiting(book: &mut Book<'_>, monitor: usize, sign: i128) {
    let mut play = book.play();
    play.demand_monitor(monitor, true);
    play.both();
    let speed = sign * entry_speed(book.setup, monitor);
    play.glide([speed, speed], play.now + patience(book, monitor) + book.window());
    play.switch(monitor, false, [speed, speed]);
    play.settle();
    book.keep(format!("{}, {}: demanded before the speed is known", book.name(monitor), towards(sign)), play);
}

/// Demanded while another monitor with a limit on the speed is in force: the line starts no higher than that.
fn capped(book: &mut Book<'_>, monitor: usize, sign: i128) {
    let possible = i128::from(book.setup.a.max_speed.value.min(book.setup.b.max_speed.value).to_bits());
    for (other, setup) in book.setup.monitors.iter().enumerate() {
        if other == monitor || matches!(setup.kind, MonitorKind::TorqueOff) {
            continue;
        }
        one_capped(book, monitor, other, sign, entry_speed(book.setup, monitor));
        if let MonitorKind::SpeedLimit { limit, .. } = &setup.kind {
            let fast = (i128::from(limit.smaller().to_bits()) * 5 / 4).min(possible * 15 / 16);
            one_capped(book, monitor, other, sign, fast);
        }
    }
}

fn one_capped(book: &mut Book<'_>, monitor: usize, other: usize, sign: i128, size: i128) {
    let mut play = book.play();
    let speed = sign * size;
    play.both();
    play.glide([speed, speed], play.now + book.window() + play.timeout());
    play.switch(other, true, [speed, speed]);
    play.glide([speed, speed], play.now + book.window());
    play.switch(monitor, true, [speed, speed]);
    let end = play.now + patience(book, monitor).min(book.window() * 8);
    play.glide([speed, speed], end);
    play.glide([speed / 2, speed / 2], end + patience(book, monitor).min(book.window() * 4));
    play.switch(other, false, [speed / 4, speed / 4]);
    play.settle();
    play.press_reset();
    book.keep(
        format!(
            "{}, {}: demanded while \"{}\" is active",
            book.name(monitor),
            towards(sign),
            book.name(other)
        ),
        play,
    );
}

/// A channel is faulted while the line falls; the line goes on.
fn blind(book: &mut Book<'_>, monitor: usize, side: usize, sign: i128) {
    let mut play = enter(book, monitor, side, sign, 0);
    let speed = sign * entry_speed(book.setup, monitor);
    let stride = (play.timeout() / 2).max(1);
    play.glide([speed, speed], play.now + 2 * stride);
    let move_on = |play: &mut Play<'_>, span: u64| {
        play.now += span;
        for x in &mut play.x {
            *x += speed * i128::from(span);
        }
    };
    for _ in 0..5 {
        move_on(&mut play, stride);
        let invalid = play.invalid();
        play.show_one(side, invalid);
    }
    let end = play.now + patience(book, monitor);
    play.glide([speed, speed], end);
    play.settle();
    play.demand_monitor(monitor, false);
    play.settle();
    play.press_reset();
    book.keep(
        format!(
            "{}, channel {}, {}: faulted while the line falls",
            book.name(monitor),
            CHANNELS[side],
            towards(sign)
        ),
        play,
    );
}
