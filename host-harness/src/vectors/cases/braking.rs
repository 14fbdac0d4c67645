//! Stops that watch how hard the axis brakes.

use super::template::entry_speed;
use super::{Book, CHANNELS, every_way, hold, speed, stop, towards};
use crate::setup::{By, MonitorKind};
use crate::vectors::edge::{self, Change, Pace};
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        let Some(limit) = limit_of(&monitor.kind).filter(|_| !monitor.by_reactions_only) else { continue };
        let MonitorKind::Stop { by: By::Deceleration { standstill_speed, .. }, .. } = &monitor.kind else {
            continue;
        };
        for (side, sign) in every_way() {
            edges(book, number, limit, side, sign);
            interrupted(book, number, limit, side, sign);
            story(book, number, limit, side, sign);
            stands(book, number, i128::from(standstill_speed.value.to_bits()), side, sign);
        }
    }
}

/// How hard a stop must brake at least, in ULP per second squared.
pub(super) fn limit_of(kind: &MonitorKind) -> Option<i128> {
    match kind {
        MonitorKind::Stop { by: By::Deceleration { braking, .. }, .. } => Some(
            i128::from(braking.deceleration.value.to_bits()) - i128::from(braking.margin.value.to_bits()),
        ),
        _ => None,
    }
}

fn delay_of(book: &Book<'_>, monitor: usize) -> u64 {
    match &book.setup.monitors[monitor].kind {
        MonitorKind::Stop { by: By::Deceleration { braking, .. }, .. } => braking.delay.value.as_nanos(),
        _ => 0,
    }
}

/// In motion; demanded so that the end of the second window is the first frame that is compared.
fn brake<'a>(book: &Book<'a>, monitor: usize, side: Side, sign: i128, change: Change) -> Option<Play<'a>> {
    let mut play = book.play();
    let (steps, _) = speed::run_shape(&play, book.window());
    let pace = change.first;
    let fast = sign * pace.counts * play.sensors[side].nano / i128::from(pace.elapsed);
    let speeds = [fast, fast];
    play.both();
    play.glide(speeds, play.now + book.window() + play.timeout());
    let lead = delay_of(book, monitor).checked_sub(change.first.elapsed + change.second.elapsed)?;
    let filter = play.demand_filter(monitor);
    play.demand_monitor(monitor, true);
    play.glide(speeds, play.now + 1);
    play.glide(speeds, play.now + filter);
    play.glide(speeds, play.now + lead);
    speed::run(&mut play, side, sign, change.first, steps);
    // Up to 1 ns before the end, at which nothing is compared yet.
    let mut last = change.second;
    let end = play.now + last.elapsed;
    let before = Pace {
        counts: last.counts * i128::from(steps - 1) / i128::from(steps),
        elapsed: last.elapsed / steps * (steps - 1),
    };
    last = Pace { counts: last.counts - before.counts, elapsed: last.elapsed - before.elapsed };
    speed::run(&mut play, side, sign, before, steps - 1);
    play.bare(end - 1);
    play.now = end - last.elapsed;
    speed::run(&mut play, side, sign, last, 1);
    Some(play)
}

/// So many counts over the second of two windows brake hard enough.
fn most(book: &Book<'_>, monitor: usize, limit: i128, side: Side) -> Change {
    let (window, nano) = (i128::from(book.window()), book.play().sensors[side].nano);
    let first = entry_speed(book.setup, monitor) * window / nano;
    let fast = first * nano / window;
    let slow = fast - (limit * window + 999_999_999) / 1_000_000_000;
    let pace = |counts: i128| Pace { counts, elapsed: book.window() };
    Change { first: pace(first), second: pace((slow * window / nano).max(0)) }
}

fn more(change: Change, counts: i128) -> Change {
    Change { second: Pace { counts: change.second.counts + counts, ..change.second }, ..change }
}

/// Just hard enough, a count too little, and the closest to the limit that there are.
fn edges(book: &mut Book<'_>, monitor: usize, limit: i128, side: Side, sign: i128) {
    let window = book.window();
    let (_, longest) = speed::run_shape(&book.play(), window);
    let nano = book.play().sensors[side].nano;
    let longest = longest.min(delay_of(book, monitor) / 2);
    let close = edge::close_fall(limit, entry_speed(book.setup, monitor), nano, window, longest.max(window));
    let most = most(book, monitor, limit, side);
    let mut changes = vec![("brakes just hard enough", most), ("brakes a count too little", more(most, 1))];
    changes.extend(close.at.map(|change| ("brakes as hard as it must", change)));
    changes.extend(close.beyond.map(|change| ("brakes too little by the last place", change)));
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    for (what, change) in changes {
        let Some(mut play) = brake(book, monitor, side, sign, change) else { continue };
        hold(&mut play, on_delay, [0, 0]);
        book.keep(
            format!("{}, channel {}, {}: {what}", book.name(monitor), CHANNELS[side], towards(sign)),
            play,
        );
    }
}

/// Too little, and hard enough again before the on-delay is over.
fn interrupted(book: &mut Book<'_>, monitor: usize, limit: i128, side: Side, sign: i128) {
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let most = most(book, monitor, limit, side);
    let Some(mut play) = brake(book, monitor, side, sign, more(most, 1)) else { return };
    // It stands still for a moment.
    play.step((on_delay / 2).max(1));
    stop::rest_until_complete(&mut play, monitor);
    play.settle();
    book.keep(
        format!(
            "{}, channel {}, {}: brakes too little for less than its delay",
            book.name(monitor),
            CHANNELS[side],
            towards(sign)
        ),
        play,
    );
}

/// One channel does not brake any more, then it does, and does not again; the other one follows; a reset, and all of that again.
fn story(book: &mut Book<'_>, monitor: usize, limit: i128, side: Side, sign: i128) {
    let on_delay = book.setup.monitors[monitor].on_delay.value.as_nanos();
    let window = book.window();
    let mut play = book.play();
    let stride = (play.timeout() / 2).max(1);
    play.both();
    for _ in 0..2 {
        let fast = sign * entry_speed(book.setup, monitor);
        let mut speeds = [fast, fast];
        play.glide(speeds, play.now + window + play.timeout());
        play.switch(monitor, true, speeds);
        let less = limit * 3 / 2 * i128::from(stride) / 1_000_000_000;
        let mut brake = |play: &mut Play<'_>, brakes: [bool; 2], span: u64| {
            let end = play.now + span;
            while play.now < end {
                for (speed, brakes) in speeds.iter_mut().zip(brakes) {
                    *speed -= if brakes { (*speed).clamp(-less, less) } else { 0 };
                }
                play.glide(speeds, play.now + stride);
            }
        };
        let mut lapse = [true, true];
        lapse[side] = false;
        brake(&mut play, [true, true], delay_of(book, monitor) + stride);
        brake(&mut play, lapse, window + on_delay + stride);
        brake(&mut play, [true, true], window + 2 * stride);
        brake(&mut play, [false, false], window + on_delay + 2 * stride);
        brake(&mut play, [true, true], window);
        stop::rest_until_complete(&mut play, monitor);
        play.settle();
        play.press_reset();
        play.switch(monitor, false, [0, 0]);
        play.settle();
    }
    book.keep(
        format!(
            "{}, channel {}, {}: brakes too little, confirmed; reset, again",
            book.name(monitor),
            CHANNELS[side],
            towards(sign)
        ),
        play,
    );
}

/// Complete at the standstill speed, not a count before; the other channel is complete by then, so that the end shows.
fn stands(book: &mut Book<'_>, monitor: usize, standstill: i128, side: Side, sign: i128) {
    let window = book.window();
    let nano = book.play().sensors[side].nano;
    let (steps, longest) = speed::run_shape(&book.play(), window);
    let counts = standstill * i128::from(window) / nano;
    let over = |counts| Pace { counts, elapsed: window };
    let close = edge::close(standstill, nano, window, longest);
    let mut paces =
        vec![("comes to its standstill speed", over(counts)), ("is a count too fast", over(counts + 1))];
    paces.extend(close.at.map(|pace| ("comes to exactly its standstill speed", pace)));
    paces.extend(close.above.map(|pace| ("is too fast by less than is rounded", pace)));
    for (what, pace) in paces {
        let mut play = book.play();
        let mut speeds = [0, 0];
        speeds[side] = sign * entry_speed(book.setup, monitor) / 2;
        play.both();
        play.glide(speeds, play.now + window + play.timeout());
        play.switch(monitor, true, speeds);
        play.demand_monitor(monitor, false);
        // A count of the other one in a window is slower than what stands.
        speed::run(&mut play, side, sign, pace, steps);
        play.bare(play.now + 1);
        play.step((play.timeout() / 2).max(1));
        stop::rest_until_complete(&mut play, monitor);
        play.settle();
        book.keep(
            format!("{}, channel {}, {}: {what}", book.name(monitor), CHANNELS[side], towards(sign)),
            play,
        );
    }
}
