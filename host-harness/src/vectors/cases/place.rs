//! Windows on the position: standstills, and those that follow a stop; travels, directions, and ranges of positions.

use super::{Book, CHANNELS, calm, every_way, hold, towards, windows_of};
use crate::setup::{Allowed, MonitorKind, ReferenceSetup, Setup};
use crate::vectors::play::{Play, Sensor, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    windows(book);
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        for (side, sign) in every_way() {
            let Some(counts) = farthest(book, number, side, sign) else { continue };
            for more in [0, 1] {
                let about = words(book, number, side, sign, more) + " at once";
                jump_to(book, number, side, sign * (counts + more), about);
            }
            story(book, number, side, sign);
            if let MonitorKind::Direction { .. } = monitor.kind {
                from_the_furthest(book, number, side, sign, counts);
            }
        }
        match &monitor.kind {
            MonitorKind::TravelLimit { increment: window }
            | MonitorKind::Direction { tolerance: window, .. } => {
                first_reading_later(book, number, i128::from(window.value.to_bits()));
            }
            _ => {}
        }
    }
}

/// Where a channel is at a count of zero, in ULP; `None` where its position means no place.
fn origin(setup: &Setup, side: Side) -> Option<i128> {
    let place = match &setup.channel(monitor_core::Channel::BOTH[side]).reference {
        ReferenceSetup::None => return None,
        ReferenceSetup::Absolute { offset } => offset.value,
        // Every play begins there.
        ReferenceSetup::Event => setup.reference.as_ref()?.position.value,
    };
    Some(i128::from(place.to_bits()))
}

/// The last count that is not above a place that is the upper end of something, or the first that is not below a lower one.
pub(super) fn reach(setup: &Setup, side: Side, place: i128, is_upper: bool) -> Option<i128> {
    let nano = Sensor::of(setup.channel(monitor_core::Channel::BOTH[side])).nano;
    let away = (place - origin(setup, side)?) * 1_000_000_000;
    Some(if is_upper { away.div_euclid(nano) } else { -(-away).div_euclid(nano) })
}

/// How far a rule lets an axis go in a direction from where it begins, in ULP; `None` for a rule on something else, or where it may go on.
pub(super) fn distance(setup: &Setup, monitor: usize, side: Side, sign: i128) -> Option<i128> {
    match &setup.monitors[monitor].kind {
        MonitorKind::TravelLimit { increment } => Some(increment.value),
        MonitorKind::Direction { allowed, tolerance } => {
            ((*allowed == Allowed::Positive) != (sign > 0)).then_some(tolerance.value)
        }
        MonitorKind::PositionRange(range) => {
            let end = if sign > 0 { range.high.value } else { range.low.value };
            let away = sign * (i128::from(end.to_bits()) - origin(setup, side)?);
            return Some(away).filter(|away| *away >= 0);
        }
        _ => None,
    }
    .map(|window| i128::from(window.to_bits()))
}

/// The same in counts.
pub(super) fn farthest(book: &Book<'_>, monitor: usize, side: Side, sign: i128) -> Option<i128> {
    let distance = distance(book.setup, monitor, side, sign)?;
    Some(distance * 1_000_000_000 / book.play().sensors[side].nano)
}

/// Too far for less than the on-delay; for as long; on the other channel too; again while tripped; and after a reset.
fn story(book: &mut Book<'_>, monitor: usize, side: Side, sign: i128) {
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let mut play = book.play();
    play.both();
    play.switch(monitor, true, [0, 0]);
    let home = [play.counts(0), play.counts(1)];
    let go = |play: &mut Play<'_>, which: Side, far: i128| {
        let counts = farthest(book, monitor, which, sign).unwrap_or(0);
        // Near the end, but for one.
        leap(play, which, home[which] + sign * (counts + far).max(0));
    };
    for which in [1 - side, side] {
        go(&mut play, which, -1);
    }
    play.settle();
    go(&mut play, side, 1);
    if on_delay > 1 {
        play.bare(play.now + on_delay - 1);
    }
    let home_again = home[side] + sign * farthest(book, monitor, side, sign).unwrap_or(0);
    play.put(side, home_again);
    play.step(1);
    // Read again at once: the next reading may take its time.
    let stay = |play: &mut Play<'_>| {
        hold(play, on_delay, [0, 0]);
        play.step(1);
    };
    go(&mut play, side, 1);
    stay(&mut play);
    go(&mut play, 1 - side, 1);
    stay(&mut play);
    play.press_reset();
    go(&mut play, side, -1);
    play.rest(1);
    go(&mut play, side, 1);
    stay(&mut play);
    for which in [side, 1 - side] {
        go(&mut play, which, -1);
    }
    calm(&mut play, monitor);
    play.press_reset();
    go(&mut play, side, 1);
    stay(&mut play);
    go(&mut play, side, -1);
    calm(&mut play, monitor);
    play.press_reset();
    play.switch(monitor, false, [0, 0]);
    play.settle();
    book.keep(
        format!(
            "{}, channel {}, {}: too far, confirmed, reset, too far again",
            book.name(monitor),
            CHANNELS[side],
            towards(sign)
        ),
        play,
    );
}

/// On in the allowed direction first: what may be travelled back is counted from there.
fn from_the_furthest(book: &mut Book<'_>, monitor: usize, side: Side, sign: i128, counts: i128) {
    for more in [0, 1] {
        let mut play = book.play();
        play.demand_monitor(monitor, true);
        play.both();
        let on = -sign * (counts / 2 + 3);
        leap(&mut play, side, on);
        leap(&mut play, side, on + sign * (counts / 2));
        leap(&mut play, side, on + sign * (counts + more));
        hold(&mut play, book.setup.monitors[monitor].on_delay.value.as_nanos(), [0, 0]);
        let about = words(book, monitor, side, sign, more) + " from the furthest point";
        book.keep(about, play);
    }
}

fn windows(book: &mut Book<'_>) {
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
    let target = most(&book.play(), side, window) + more;
    let about = words(book, monitor, side, sign, more) + " at once";
    jump_to(book, monitor, side, sign * target, about);
}

fn jump_to(book: &mut Book<'_>, monitor: usize, side: Side, target: i128, about: String) {
    let mut play = book.play();
    play.demand_monitor(monitor, true);
    play.both();
    leap(&mut play, side, target);
    hold(&mut play, book.setup.monitors[monitor].on_delay.value.as_nanos(), [0, 0]);
    play.settle();
    play.put(side, 0);
    play.step((play.timeout() / 2).max(1));
    play.settle();
    play.press_reset();
    book.keep(about, play);
}

/// Goes to a count as fast as is plausible.
pub(super) fn leap(play: &mut Play<'_>, side: Side, target: i128) {
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
