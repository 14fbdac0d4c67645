//! Outputs: where a cam begins and ends, how slow is slow, and how long a brake stays released.

use super::place::{leap, reach};
use super::{Book, CHANNELS, every_way, speed, towards};
use crate::setup::MonitorKind;
use crate::vectors::edge::{self, Pace};
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        match &monitor.kind {
            MonitorKind::CamOutput { range, hysteresis } => {
                let bits = |setting: monitor_core::Position| i128::from(setting.to_bits());
                let ends = [bits(range.low.value), bits(range.high.value)];
                for side in [0, 1] {
                    for inside in [true, false] {
                        cam(book, number, ends, bits(hysteresis.value), side, inside);
                    }
                }
            }
            MonitorKind::SpeedOutput { threshold, hysteresis } => {
                let (threshold, by) =
                    (i128::from(threshold.value.to_bits()), i128::from(hysteresis.value.to_bits()));
                for (side, sign) in every_way() {
                    for place in [threshold - by, threshold, threshold + by] {
                        for fast in [false, true] {
                            slow(book, number, place, (threshold + by) * 3 / 2, (side, sign), fast);
                        }
                    }
                }
            }
            MonitorKind::BrakeOutput { delay } => brake(book, number, delay.value.as_nanos()),
            _ => {}
        }
    }
}

/// A source goes through the range and back, with a frame at the last count before and the first behind each place where something
/// changes. The other one is inside all the time, so that the output shows what this one does; or outside, so that what is demanded does.
fn cam(book: &mut Book<'_>, output: usize, [low, high]: [i128; 2], by: i128, side: Side, inside: bool) {
    let mut play = book.play();
    play.demand_monitor(output, true);
    play.both();
    let other = 1 - side;
    let places = [
        (low - by, false),
        (low, false),
        (low + by, false),
        (high - by, true),
        (high, true),
        (high + by, true),
    ];
    // The count before a place and the one behind it, going up.
    let Some(mut counts) = places
        .into_iter()
        .map(|(place, is_end)| {
            let last = reach(book.setup, side, place, is_end)?;
            Some(if is_end { [last, last + 1] } else { [last - 1, last] })
        })
        .collect::<Option<Vec<_>>>()
    else {
        return;
    };
    let elsewhere = if inside { (low + high) / 2 } else { high + 3 * by + (high - low) };
    let Some(elsewhere) = reach(book.setup, other, elsewhere, true) else { return };
    leap(&mut play, other, elsewhere);
    let below = counts[0][0] - 2;
    leap(&mut play, side, below);
    play.settle();
    let go = |play: &mut Play<'_>, counts: &[[i128; 2]], up: bool| {
        for &[before, behind] in counts {
            leap(play, side, if up { before } else { behind });
            leap(play, side, if up { behind } else { before });
            // And back and forth again: only beyond the hysteresis does that change anything.
            leap(play, side, if up { before } else { behind });
            leap(play, side, if up { behind } else { before });
        }
    };
    go(&mut play, &counts, true);
    let beyond = counts[5][1] + 2;
    leap(&mut play, side, beyond);
    play.settle();
    counts.reverse();
    go(&mut play, &counts, false);
    leap(&mut play, side, below);
    play.settle();
    let what = if inside { "inside" } else { "outside" };
    book.keep(
        format!(
            "{}, channel {} goes there and back, channel {} is {what}",
            book.name(output),
            CHANNELS[side],
            CHANNELS[other]
        ),
        play,
    );
}

/// A source comes to a speed at which something changes: from rest, or from beyond everything, where the other one stays.
fn slow(
    book: &mut Book<'_>,
    output: usize,
    place: i128,
    beyond: i128,
    (side, sign): (Side, i128),
    fast: bool,
) {
    let window = book.window();
    let play = book.play();
    let (steps, longest) = speed::run_shape(&play, window);
    let nano = play.sensors[side].nano;
    // The last count that is slower.
    let last = (place * i128::from(window) + nano - 1) / nano - 1;
    let over = |counts| Pace { counts, elapsed: window };
    let mut paces = vec![over(last), over(last + 1)];
    for limit in [place, place - 1] {
        let close = edge::close(limit, nano, window, longest);
        paces.extend(close.at);
        paces.extend(close.above);
    }
    for pace in paces {
        for together in [false, true] {
            let mut play = book.play();
            play.demand_monitor(output, true);
            play.both();
            let begin = if fast { sign * beyond } else { 0 };
            let mut speeds = [begin; 2];
            // The other one stays slow, so that the output shows; or fast, so that what is demanded does.
            speeds[1 - side] = if together { 0 } else { sign * beyond };
            play.glide(speeds, play.now + window + 2 * play.timeout());
            let home = (play.now, play.counts(side));
            for step in 1..=steps {
                let gone = if step == steps { pace.elapsed } else { pace.elapsed / steps * step };
                let span = home.0 + gone - play.now;
                play.now += span;
                play.x[1 - side] += speeds[1 - side] * i128::from(span);
                let part = pace.counts * i128::from(gone) / i128::from(pace.elapsed);
                play.put(side, home.1 + sign * part);
                play.both();
            }
            // What has changed stays so.
            let speed = sign * pace.counts * nano / i128::from(pace.elapsed);
            speeds[side] = speed;
            play.glide(speeds, play.now + play.timeout());
            let (from, what) =
                (if fast { "from fast" } else { "from rest" }, if together { "at rest" } else { "fast" });
            book.keep(
                format!(
                    "{}, channel {}, {}: {from} to {} counts in {} ns, the other channel {what}",
                    book.name(output),
                    CHANNELS[side],
                    towards(sign),
                    pace.counts,
                    pace.elapsed
                ),
                play,
            );
        }
    }
}

/// The permit goes; frames so far apart that the next one is due at the end of the delay, or 1 ns later.
fn brake(book: &mut Book<'_>, output: usize, delay: u64) {
    let begin = |play: &mut Play<'_>| {
        play.both();
        play.settle();
        play.settle();
    };
    let name = book.name(output).to_owned();
    let fault = |play: &mut Play<'_>, span: u64| {
        let end = play.now + span;
        // Seen often enough on the way there.
        let stride = (play.timeout() / 2).max(1);
        if span > stride {
            play.rest(span - stride);
        }
        play.now = end;
        let invalid = play.invalid();
        play.show_one(0, invalid);
    };
    let short = (book.play().timeout() / 2).max(1);
    for more in [0, 1] {
        // At once: the time since the frame before counts.
        if delay < short {
            let mut play = book.play();
            begin(&mut play);
            fault(&mut play, delay + more);
            play.step(1);
            play.settle();
            play.press_reset();
            play.settle();
            let what = if more == 0 { "that is its delay" } else { "that is 1 ns more than its delay" };
            book.keep(format!("{name}: the permit goes after a time without a frame {what}"), play);
        }
        // Later: that long after the permit went, and as long again.
        let mut play = book.play();
        begin(&mut play);
        play.step(1);
        fault(&mut play, 1);
        let mut left = delay;
        while left > 2 * short {
            play.step(short);
            left -= short;
        }
        let last = play.now;
        let span = left / 2 + more;
        play.step(span.max(1));
        // The next one comes as soon, and a short one after that.
        play.step((play.now - last).max(1));
        play.step(1);
        play.step(1);
        play.settle();
        play.press_reset();
        play.settle();
        let what = if more == 0 { "within" } else { "beyond" };
        book.keep(format!("{name}: the permit goes, and the next frame but one is {what} its delay"), play);
        // Whatever the delay is: two frames of unequal distance, so that the next one is due at its end, or 1 ns later.
        let mut play = book.play();
        begin(&mut play);
        play.step(1);
        fault(&mut play, 1);
        let second = delay * 3 / 8;
        if delay > 8 && second < 2 * short {
            play.step(delay - 2 * second + more);
            play.step(second);
            play.step(1);
        }
        play.settle();
        book.keep(
            format!("{name}: the permit goes, then frames of unequal distance, {what} its delay"),
            play,
        );
    }
    let mut play = book.play();
    begin(&mut play);
    let now = play.now;
    play.bare(now);
    play.step(1);
    play.step(1);
    play.settle();
    play.press_reset();
    play.settle();
    book.keep(format!("{name}: closes with a clock fault, and is released after a reset"), play);
}
