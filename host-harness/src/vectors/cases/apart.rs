//! The two channels against each other.

use super::{Book, CHANNELS, every_way, hold, speed, towards};
use crate::setup::{DiscrepancySetup, SpeedDiscrepancySetup};
use crate::vectors::edge::{self, Pace};
use crate::vectors::play::{Play, Side};

const NANO: i128 = 1_000_000_000;

pub(super) fn cases(book: &mut Book<'_>) {
    if let Some(rule) = &book.setup.discrepancy {
        for (side, sign) in every_way() {
            far_apart(book, rule, side, sign);
            close_to_the_tolerance(book, rule, side, sign);
            in_motion(book, rule, side, sign);
        }
        anew(book, rule);
    }
    if let Some(rule) = &book.setup.speed_discrepancy {
        for (side, sign) in every_way() {
            speeds_apart(book, rule, side, sign);
        }
    }
}

/// A travel in ULP, to the nearest.
fn nearest(travel: i128) -> i128 {
    (travel.abs() + NANO / 2) / NANO * travel.signum()
}

/// One source moves, the other does not: the farthest that is tolerated, and one count more.
fn far_apart(book: &mut Book<'_>, rule: &DiscrepancySetup, side: Side, sign: i128) {
    let (tolerance, time) =
        (i128::from(rule.tolerance.value.to_bits()), rule.discrepancy_time.value.as_nanos());
    for (more, what) in [(0, "as far as is tolerated"), (1, "one count more than is tolerated")] {
        let mut play = book.play();
        play.both();
        if rule.align {
            play.settle();
        }
        let nano = play.sensors[side].nano;
        let mut counts = tolerance * NANO / nano + 1;
        while nearest(counts * nano) > tolerance {
            counts -= 1;
        }
        together(&mut play, side, sign, [counts + more, 0]);
        hold(&mut play, time, [0, 0]);
        // Refused, back, apart while it is tripped, back, accepted; then apart again, for 1 ns less than the time, and for longer.
        play.press_reset();
        for span in [time, time.saturating_sub(1), time] {
            together(&mut play, side, sign, [0, 0]);
            play.settle();
            if span != time || time == 0 {
                play.press_reset();
            }
            together(&mut play, side, sign, [counts + 1, 0]);
            play.rest(span);
        }
        together(&mut play, side, sign, [counts, 0]);
        play.settle();
        book.keep(format!("discrepancy, channel {}, {}: {what}", CHANNELS[side], towards(sign)), play);
    }
}

/// Leads both sources to counts: first the one that is named.
fn together(play: &mut Play<'_>, side: Side, sign: i128, counts: [i128; 2]) {
    let stride = (play.timeout() / 2).max(1);
    let target = if side == 0 { counts } else { [counts[1], counts[0]] };
    loop {
        let mut done = true;
        for (one, target) in target.into_iter().enumerate() {
            let longest = (play.sensors[one].plausible(stride) - 1).max(1);
            let left = sign * target - play.counts(one);
            let home = play.counts(one);
            play.put(one, home + left.clamp(-longest, longest));
            done &= left.abs() <= longest;
        }
        play.step(stride);
        if done {
            return;
        }
    }
}

/// How many counts of each source, the named one first, come closest to a limit from below, and from above.
struct Closest {
    within: Option<([i128; 2], i128)>,
    beyond: Option<([i128; 2], i128)>,
}

/// `others` are the counts of the other source to try; `limit` says what is allowed when it has gone so far.
fn closest(
    play: &Play<'_>,
    side: Side,
    others: impl Iterator<Item = i128>,
    limit: impl Fn(i128) -> i128,
) -> Closest {
    let (ours, theirs) = (play.sensors[side].nano, play.sensors[1 - side].nano);
    let mut found = Closest { within: None, beyond: None };
    for other in others {
        let (gone, allowed) = (nearest(other * theirs), limit(other));
        let counts = (gone + allowed) * NANO / ours;
        for counts in counts - 1..=counts + 1 {
            let left = allowed - (nearest(counts * ours) - gone);
            let (place, miss) =
                if left >= 0 { (&mut found.within, left) } else { (&mut found.beyond, -left) };
            if place.is_none_or(|(_, best)| miss < best) {
                *place = Some(([counts, other], miss));
            }
        }
    }
    found
}

/// Both at rest again, far from where they began, and apart by the tolerance as exactly as the two counters can show it.
fn close_to_the_tolerance(book: &mut Book<'_>, rule: &DiscrepancySetup, side: Side, sign: i128) {
    let (tolerance, time) =
        (i128::from(rule.tolerance.value.to_bits()), rule.discrepancy_time.value.as_nanos());
    let play = book.play();
    let other = play.sensors[1 - side];
    let far = (other.max_speed * i128::from(other.timeout) * 16 / other.nano).min(100_000);
    let found = closest(&play, side, 0..far, |_| tolerance);
    for (found, what) in [(found.within, "just tolerated"), (found.beyond, "just not tolerated")] {
        let Some(([counts, other], _)) = found else { continue };
        let mut play = book.play();
        play.both();
        play.settle();
        together(&mut play, side, sign, [(counts - 8).max(0), other]);
        play.settle();
        together(&mut play, side, sign, [counts, other]);
        hold(&mut play, time, [0, 0]);
        play.press_reset();
        book.keep(
            format!("discrepancy, channel {} ahead, {}: {what}, at rest", CHANNELS[side], towards(sign)),
            play,
        );
    }
}

/// The same in motion, where the skew allows more.
fn in_motion(book: &mut Book<'_>, rule: &DiscrepancySetup, side: Side, sign: i128) {
    if rule.align {
        return;
    }
    let (tolerance, skew) =
        (i128::from(rule.tolerance.value.to_bits()), rule.skew_allowance.value.as_nanos());
    let window = book.window();
    let play = book.play();
    let other = play.sensors[1 - side];
    let span = i128::from(window);
    let fastest = other.max_speed.min(play.sensors[side].max_speed) * span / other.nano;
    let speed = |counts: i128| counts * other.nano / span;
    let allowed = |counts: i128| tolerance + i128::from(skew) * speed(counts) / NANO;
    let found = closest(&play, side, fastest / 3..fastest / 3 + (fastest / 3).min(50_000), allowed);
    let time = rule.discrepancy_time.value.as_nanos();
    for (found, what) in [(found.within, "just tolerated"), (found.beyond, "just not tolerated")] {
        let Some((counts, _)) = found else { continue };
        let mut play = book.play();
        play.both();
        let (steps, _) = speed::run_shape(&play, window);
        run(&mut play, side, sign, counts, window, steps);
        hold(&mut play, time, [0, 0]);
        book.keep(
            format!("discrepancy, channel {} ahead, {}: {what}, in motion", CHANNELS[side], towards(sign)),
            play,
        );
    }
}

/// Both sources in equal steps, the named one first.
fn run(play: &mut Play<'_>, side: Side, sign: i128, counts: [i128; 2], elapsed: u64, steps: u64) {
    let begin = play.now;
    let home = [play.counts(0), play.counts(1)];
    for step in 1..=steps {
        let gone = if step == steps { elapsed } else { elapsed / steps * step };
        play.now = begin + gone;
        for (which, counts) in [side, 1 - side].into_iter().zip(counts) {
            let part = counts * i128::from(gone) / i128::from(elapsed);
            play.put(which, home[which] + sign * part);
        }
        play.both();
    }
}

/// A channel fault: both count from a new start.
fn anew(book: &mut Book<'_>, rule: &DiscrepancySetup) {
    for (side, name) in CHANNELS.into_iter().enumerate() {
        let mut play = book.play();
        play.both();
        play.settle();
        let counts = i128::from(rule.tolerance.value.to_bits()) * NANO / play.sensors[side].nano;
        together(&mut play, side, 1, [counts * 3 / 4, 0]);
        play.now += 1;
        let invalid = play.invalid();
        play.show_one(side, invalid);
        play.step(1);
        together(&mut play, side, 1, [counts * 3 / 2, 0]);
        play.settle();
        together(&mut play, side, 1, [counts * 2, 0]);
        play.rest(rule.discrepancy_time.value.as_nanos() + 1);
        together(&mut play, side, 1, [counts, 0]);
        play.settle();
        play.press_reset();
        play.settle();
        book.keep(format!("discrepancy: counted anew after a fault of channel {name}"), play);
    }
}

/// One source moves, the other does not or the other way.
fn speeds_apart(book: &mut Book<'_>, rule: &SpeedDiscrepancySetup, side: Side, sign: i128) {
    let (tolerance, time) =
        (i128::from(rule.tolerance.value.to_bits()), rule.discrepancy_time.value.as_nanos());
    let window = book.window();
    let play = book.play();
    let (steps, longest) = speed::run_shape(&play, window);
    let nano = play.sensors[side].nano;
    let close = edge::close(tolerance, nano, window, longest);
    let counts = tolerance * i128::from(window) / nano;
    let over = |counts| Pace { counts, elapsed: window };
    let mut paces = vec![
        ("as far as is tolerated", over(counts)),
        ("one count more than is tolerated", over(counts + 1)),
    ];
    paces.extend(close.at.map(|pace| ("at the tolerance", pace)));
    paces.extend(close.above.map(|pace| ("above the tolerance by less than is rounded", pace)));
    for (what, pace) in paces {
        let mut play = book.play();
        play.both();
        run(&mut play, side, sign, [pace.counts, 0], pace.elapsed, steps);
        let mut speeds = [0, 0];
        speeds[side] = sign * (tolerance + tolerance / 4);
        hold(&mut play, time, speeds);
        play.press_reset();
        play.settle();
        play.press_reset();
        book.keep(format!("speed discrepancy, channel {}, {}: {what}", CHANNELS[side], towards(sign)), play);
    }
    for (part, what) in [(3, "together within"), (5, "together beyond")] {
        let mut play = book.play();
        play.both();
        if book.setup.discrepancy.as_ref().is_some_and(|rule| rule.align) {
            // Its references are taken once the speeds are known: here, so that home is no distance.
            play.settle();
        }
        let speed = tolerance * part / 8;
        let mut speeds = [-sign * speed; 2];
        speeds[side] = sign * speed;
        let back = speeds.map(|speed| -speed);
        let span = book.window() + time + 2 * play.timeout();
        // Out and home again while it is tripped; then a reset, and the same again.
        for _ in 0..2 {
            play.glide(speeds, play.now + span);
            play.settle();
            play.glide(back, play.now + span);
            play.settle();
            play.press_reset();
        }
        play.glide(speeds, play.now + book.window() + time.saturating_sub(play.timeout()));
        play.settle();
        book.keep(
            format!(
                "speed discrepancy, channel {} {}, the other the other way: {what}",
                CHANNELS[side],
                towards(sign)
            ),
            play,
        );
    }
}
