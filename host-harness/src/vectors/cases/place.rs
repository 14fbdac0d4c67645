//! Windows on the position: standstills, and those that follow a stop.

use super::{Book, CHANNELS, every_way, hold, towards, windows_of};
use crate::setup::MonitorKind;
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        let Some(windows) = windows_of(&monitor.kind) else { continue };
        let (place, speed) = (windows.position_window.value.to_bits(), windows.speed_window.value.to_bits());
        let jumps = matches!(monitor.kind, MonitorKind::Standstill(_));
        for (side, sign) in every_way() {
            for more in [0, 1] {
                if jumps {
                    jump(book, number, side, sign, i128::from(place), more);
                }
                creep(book, number, side, sign, (i128::from(place), i128::from(speed)), more);
            }
        }
        if jumps {
            first_reading_later(book, number, i128::from(place));
        }
    }
}

fn most(play: &Play<'_>, side: Side, window: i128) -> i128 {
    window * 1_000_000_000 / play.sensors[side].nano
}

fn words(book: &Book<'_>, monitor: usize, side: Side, sign: i128, more: i128) -> String {
    let edge = if more == 0 { "the farthest place in the window" } else { "one count beyond the window" };
    format!("{}, channel {}, {}: {edge}", book.name(monitor), CHANNELS[side], towards(sign))
}

/// As far as a few plausible steps need, before any speed is known.
fn jump(book: &mut Book<'_>, monitor: usize, side: Side, sign: i128, window: i128, more: i128) {
    let mut play = book.play();
    play.demand_monitor(monitor, true);
    play.both();
    let target = most(&play, side, window) + more;
    leap(&mut play, side, sign * target);
    hold(&mut play, book.setup.monitors[monitor].on_delay.value.as_nanos(), [0, 0]);
    play.settle();
    play.put(side, 0);
    play.step((play.timeout() / 2).max(1));
    play.settle();
    play.press_reset();
    let about = words(book, monitor, side, sign, more) + " at once";
    book.keep(about, play);
}

/// Goes to a count as fast as is plausible.
fn leap(play: &mut Play<'_>, side: Side, target: i128) {
    let stride = (play.timeout() / 2).max(1);
    let longest = (play.sensors[side].plausible(stride) - 1).max(1);
    loop {
        let left = target - play.counts(side);
        let change = left.clamp(-longest, longest);
        let home = play.counts(side);
        play.put(side, home + change);
        play.step(stride);
        if change == left {
            return;
        }
    }
}

/// Comes to a stop where there is one, then so slowly that the window on the speed is kept, as far as it is fine enough for that.
fn creep(
    book: &mut Book<'_>,
    monitor: usize,
    side: Side,
    sign: i128,
    (place, speed): (i128, i128),
    more: i128,
) {
    let mut play = book.play();
    play.both();
    play.settle();
    play.switch(monitor, true, [0, 0]);
    if let MonitorKind::Stop { .. } = book.setup.monitors[monitor].kind {
        super::stop::rest_until_complete(&mut play, monitor);
    }
    play.step(1);
    // What was left of a count would be a part of the travel.
    let home = play.counts(side);
    play.put(side, home);
    let target = home + sign * (most(&play, side, place) + more);
    let nano = play.sensors[side].nano;
    let slow = (speed * 3 / 4).max(1);
    let stride = (play.timeout() / 2).max(1);
    while play.counts(side) != target {
        let left = (target - play.counts(side)).abs() * nano;
        // Not a count further than wanted.
        let travel = (slow * i128::from(stride)).min(left);
        let place = play.x[side] + sign * travel;
        play.x[side] = if travel == left { target * nano } else { place };
        play.step(stride);
    }
    hold(&mut play, book.setup.monitors[monitor].on_delay.value.as_nanos(), [0, 0]);
    play.settle();
    let mut again = [0, 0];
    again[side] = sign * (speed + speed / 2);
    play.glide(again, play.now + book.window());
    play.settle();
    play.switch(monitor, false, [0, 0]);
    play.press_reset();
    play.settle();
    let about = words(book, monitor, side, sign, more) + " slowly";
    book.keep(about, play);
}

/// Activated while one source has not been read: its place is where it is first seen.
fn first_reading_later(book: &mut Book<'_>, monitor: usize, window: i128) {
    for (side, name) in CHANNELS.into_iter().enumerate() {
        for more in [0, 1] {
            let mut play = book.play();
            play.demand_monitor(monitor, true);
            play.show_one(side, None);
            let far = most(&play, side, window);
            play.put(side, far * 2);
            play.step(1);
            leap(&mut play, side, far * 3 + more);
            play.rest(1);
            // Anew after a fault.
            play.now += 1;
            let invalid = play.invalid();
            play.show_one(side, invalid);
            play.put(side, 0);
            play.step(1);
            leap(&mut play, side, -far - more);
            play.rest(1);
            let what = if more == 0 { "within" } else { "beyond" };
            book.keep(
                format!("{}, channel {name}: first read after the demand, and anew after a fault; {what} the window", book.name(monitor)),
                play,
            );
        }
    }
}
