//! Limits on the speed that stay what they are: speed limits, standstills, and what follows a stop.

use super::template::patience;
use super::{Book, CHANNELS, every_way, hold, ramp_of, stop, towards, windows_of};
use monitor_core::Speed;

use crate::setup::{LimitSetup, MonitorKind};
use crate::vectors::edge::{self, Pace};
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for number in 0..book.setup.monitors.len() {
        for (side, sign) in every_way() {
            let Some(limit) = constant_limit(book, number, sign) else { continue };
            edges(book, number, limit, side, sign);
            interrupted(book, number, limit, side, sign);
            if !is_stop(book, number) {
                story(book, number, limit, side, sign);
            }
        }
        for sign in [1, -1] {
            if let Some(limit) = constant_limit(book, number, sign) {
                again(book, number, limit, sign);
            }
        }
        if !is_stop(book, number)
            && ramp_of(&book.setup.monitors[number].kind).is_none()
            && let Some(limit) = constant_limit(book, number, 1)
        {
            warm_up(book, number, limit);
        }
    }
}

fn is_stop(book: &Book<'_>, monitor: usize) -> bool {
    matches!(book.setup.monitors[monitor].kind, MonitorKind::Stop { .. })
}

/// The limit that a monitor puts on the speed in a direction in the end, in ULP per second.
fn constant_limit(book: &Book<'_>, monitor: usize, sign: i128) -> Option<i128> {
    limit_of(&book.setup.monitors[monitor].kind, sign)
}

/// As a magnitude; `None` where there is none, or where the axis may not even stand.
pub(super) fn limit_of(kind: &MonitorKind, sign: i128) -> Option<i128> {
    let bits = |limit: Speed| i128::from(limit.to_bits());
    match kind {
        MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), .. } => Some(bits(limit.value)),
        MonitorKind::SpeedLimit { limit: LimitSetup::Each { positive, negative }, .. } => {
            Some(bits(if sign > 0 { positive.value } else { negative.value }))
        }
        MonitorKind::SpeedRange(range) => {
            Some(sign * bits(if sign > 0 { range.high.value } else { range.low.value }))
                .filter(|limit| *limit >= 0)
        }
        _ => Some(bits(windows_of(kind)?.speed_window.value)),
    }
}

/// Clearly more than a limit, also where that is zero.
fn beyond(book: &Book<'_>, limit: i128) -> i128 {
    let play = book.play();
    let count = play.sensors[0].nano.max(play.sensors[1].nano) / i128::from(book.window()) + 1;
    limit + (limit / 3).max(count * 4)
}

/// At rest, with that limit in force.
pub(super) fn in_force<'a>(book: &Book<'a>, monitor: usize) -> Play<'a> {
    let mut play = book.play();
    play.demand_monitor(monitor, true);
    play.both();
    if is_stop(book, monitor) {
        stop::rest_until_complete(&mut play, monitor);
        play.step(1);
        play.settle();
    } else if ramp_of(&book.setup.monitors[monitor].kind).is_some() {
        play.rest(patience(book, monitor));
    }
    play
}

/// How many equal steps a run over the window takes, and how long such a run may be so that its speed is taken from its begin.
pub(super) fn run_shape(play: &Play<'_>, window: u64) -> (u64, u64) {
    let steps = window / play.timeout() + 2;
    (steps, window + window / (steps - 1) - 2)
}

/// From the first frame on: a run of one source at `pace`, in equal steps, and of the other in proportion, a count less.
pub(super) fn run(play: &mut Play<'_>, side: Side, sign: i128, pace: Pace, steps: u64) {
    let begin = play.now;
    let other = 1 - side;
    let travel = pace.counts * play.sensors[side].nano;
    let followed = (travel / play.sensors[other].nano - 1).max(0) * play.sensors[other].nano;
    let home = play.x;
    for step in 1..=steps {
        let elapsed = if step == steps { pace.elapsed } else { pace.elapsed / steps * step };
        play.now = begin + elapsed;
        let part = |whole: i128| whole * i128::from(elapsed) / i128::from(pace.elapsed);
        play.x[side] = home[side] + sign * part(travel);
        play.x[other] = home[other] + sign * part(followed);
        play.both();
    }
}

/// The largest travel within the limit over exactly the window, the next one, and the closest to the limit that there are.
fn edges(book: &mut Book<'_>, monitor: usize, limit: i128, side: Side, sign: i128) {
    let window = book.window();
    let play = book.play();
    let (steps, longest) = run_shape(&play, window);
    let nano = play.sensors[side].nano;
    let counts = limit * i128::from(window) / nano;
    let close = edge::close(limit, nano, window, longest);
    let over = |counts| Pace { counts, elapsed: window };
    let mut paces = vec![
        ("the largest travel within the limit", over(counts)),
        ("one count more than the limit allows", over(counts + 1)),
        ("as fast, 1 ns less than the window", Pace { counts: counts + 1, elapsed: window - 1 }),
    ];
    paces.extend(close.at.map(|pace| ("at the limit", pace)));
    paces.extend(close.above.map(|pace| ("above the limit by less than is rounded", pace)));
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    for (what, pace) in paces {
        let mut play = in_force(book, monitor);
        run(&mut play, side, sign, pace, steps);
        let mut speeds = [0, 0];
        speeds[side] = sign * (limit + limit / 4);
        hold(&mut play, on_delay, speeds);
        book.keep(
            format!("{}, channel {}, {}: {what}", book.name(monitor), CHANNELS[side], towards(sign)),
            play,
        );
    }
}

/// Too fast on one channel, confirmed by the other, then slow, a reset, and too fast again: for less than the on-delay, and longer.
fn story(book: &mut Book<'_>, monitor: usize, limit: i128, side: Side, sign: i128) {
    let mut play = book.play();
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let (slow, fast) = (sign * limit / 2, sign * beyond(book, limit));
    let settle = book.window() + play.timeout();
    let mut one = [slow, slow];
    one[side] = fast;
    play.both();
    play.switch(monitor, true, [slow, slow]);
    play.glide([slow, slow], play.now + settle);
    play.glide(one, play.now + settle + on_delay);
    play.glide([fast, fast], play.now + settle + on_delay);
    // Refused: it is still violated.
    press_in_motion(&mut play, [fast, fast]);
    play.settle();
    play.press_reset();
    for stretch in [settle, settle + on_delay] {
        play.glide(one, play.now + stretch);
        play.settle();
    }
    // While it is active a standstill counts from where it became so: begin again.
    if windows_of(&book.setup.monitors[monitor].kind).is_some() {
        play.switch(monitor, false, [0, 0]);
        play.switch(monitor, true, [0, 0]);
    }
    play.settle();
    play.press_reset();
    play.glide(one, play.now + settle / 2);
    play.switch(monitor, false, one);
    play.settle();
    book.keep(
        format!(
            "{}, channel {}, {}: too fast, confirmed, reset, too fast again",
            book.name(monitor),
            CHANNELS[side],
            towards(sign)
        ),
        play,
    );
}

/// Both channels too fast, twice in one demand; released, reset; and all of that again.
fn again(book: &mut Book<'_>, monitor: usize, limit: i128, sign: i128) {
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let fast = sign * beyond(book, limit);
    let mut play = book.play();
    play.both();
    play.settle();
    for _ in 0..2 {
        play.switch(monitor, true, [0, 0]);
        if is_stop(book, monitor) {
            stop::rest_until_complete(&mut play, monitor);
        } else {
            play.rest(patience(book, monitor));
        }
        for _ in 0..2 {
            play.glide([fast, fast], play.now + book.window() + play.timeout() + on_delay);
            play.settle();
        }
        play.switch(monitor, false, [0, 0]);
        play.settle();
        play.press_reset();
        play.rest(1);
    }
    book.keep(format!("{}, {}: too fast twice; reset, again", book.name(monitor), towards(sign)), play);
}

/// A violation that ends 1 ns before the on-delay does, and comes back.
fn interrupted(book: &mut Book<'_>, monitor: usize, limit: i128, side: Side, sign: i128) {
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let window = book.window();
    let mut play = in_force(book, monitor);
    let (steps, _) = run_shape(&play, window);
    let counts = limit * i128::from(window) / play.sensors[side].nano + 1;
    run(&mut play, side, sign, Pace { counts, elapsed: window }, steps);
    if on_delay > 1 {
        if on_delay < play.timeout() {
            play.step(on_delay - 1);
        } else {
            play.settle();
        }
    }
    play.step((play.timeout() / 4).max(1));
    let speed = sign * (limit + limit / 2);
    play.glide([speed, speed], play.now + 2 * window + on_delay);
    book.keep(
        format!(
            "{}, channel {}, {}: a violation is interrupted before it trips",
            book.name(monitor),
            CHANNELS[side],
            towards(sign)
        ),
        play,
    );
}

/// Presses and releases the reset while both sources move.
pub(super) fn press_in_motion(play: &mut Play<'_>, speeds: [i128; 2]) {
    let Some(reset) = &play.setup.reset else { return };
    let (line, filter) = (reset.line, reset.filter.value.as_nanos());
    let short = (play.timeout() / 4).max(1);
    for high in [true, false] {
        play.set_line(line, high);
        play.glide(speeds, play.now + short);
        play.glide(speeds, play.now + filter);
    }
}

/// Readings of one source only: the other one is warming up; then a window that is filled exactly, and one that lacks 1 ns.
fn warm_up(book: &mut Book<'_>, monitor: usize, limit: i128) {
    let window = book.window();
    for (side, name) in CHANNELS.into_iter().enumerate() {
        for lack in [1, 0] {
            let mut play = book.play();
            play.demand_monitor(monitor, true);
            play.both();
            let (steps, _) = run_shape(&play, window);
            let counts = limit * i128::from(window) / play.sensors[side].nano / 2;
            run(&mut play, side, 1, Pace { counts, elapsed: window - lack }, steps);
            let next = play.now + 1;
            play.bare(next);
            play.step(1);
            let what = if lack == 0 { "exactly the window" } else { "1 ns less than the window" };
            book.keep(format!("{}, channel {name}: readings over {what}", book.name(monitor)), play);
        }
    }
}
