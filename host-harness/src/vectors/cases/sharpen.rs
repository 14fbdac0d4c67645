//! For every setting whose smallest step no case has noticed so far: a search for one that does.
//!
//! The line of a ramp falls by many units in the last place in one nanosecond, so that a step of its settings shows at few instants only.
//! A reading that is captured a few nanoseconds earlier or later gives another speed, and with it another instant.

use monitor_core::Channel;

use super::template::{enter, entry_speed, overrun, peek_at};
use super::{Book, CHANNELS, every_way, ramp_of, stop, towards};
use crate::setup::MonitorKind;
use crate::vectors::play::{Play, Side};
use crate::vectors::variation::{Subject, Variation, variations};
use crate::vectors::{Case, Row};

/// How many nanoseconds the reading is moved by at most.
const TRIES: u64 = 3000;

/// Farther, where it is certain beforehand which of them can matter.
const FAR: u64 = 1_000_000;

/// How many instants of a corner are looked at: where none of so many shows a step, hardly any other does.
const INSTANTS: u64 = 600_000;

/// How many of those at which the line is another one are tried: where it is at all of them, others have shown it.
const ATTEMPTS: usize = 24;

pub(super) fn cases(book: &mut Book<'_>) {
    for variation in variations(book.setup, book.points) {
        let Some(axis) = &variation.axis else { continue };
        if !book.cases.iter().any(|case| notices(case, axis)) {
            search(book, &variation);
        }
    }
}

fn notices(case: &Case, axis: &crate::replay::ReplayAxis) -> bool {
    let mut axis = axis.clone();
    let differs = |row: &Row| axis.step(&row.frame) != row.outcome;
    case.rows.iter().any(differs)
}

fn search(book: &mut Book<'_>, variation: &Variation) {
    let found = match variation.subject {
        Subject::Monitor(monitor) => of_monitor(book, monitor, variation),
        Subject::Source(side) => of_source(book, side, variation),
        _ => None,
    };
    book.cases.extend(found);
}

fn try_one(play: Play<'_>, about: String, variation: &Variation) -> Option<Case> {
    let case = play.into_case(about);
    let axis = variation.axis.as_ref()?;
    notices(&case, axis).then_some(case)
}

fn of_monitor(book: &Book<'_>, monitor: usize, variation: &Variation) -> Option<Case> {
    let kind = &book.setup.monitors[monitor].kind;
    ramp_of(kind).filter(|_| !book.setup.monitors[monitor].by_reactions_only)?;
    let name = book.name(monitor);
    for early in 0..TRIES {
        for (side, sign) in every_way().filter(|(_, sign)| *sign > 0) {
            let way = format!("{name}, channel {}, {}", CHANNELS[side], towards(sign));
            let found = if let MonitorKind::Stop { .. } = kind {
                let play = stop::complete(book, monitor, side, sign, early);
                try_one(
                    play,
                    format!("{way}: stops as wanted, the end of its line to the nanosecond"),
                    variation,
                )
            } else {
                let play = overrun(book, monitor, side, sign, early);
                try_one(play, format!("{way}: as fast as before, the line to the last place"), variation)
            };
            if found.is_some() {
                return found;
            }
        }
    }
    of_corner(book, monitor, variation)
}

/// The line where its corner is rounded: an instant at which it is another one, and a reading that comes out at the higher of the two.
fn of_corner(book: &Book<'_>, monitor: usize, variation: &Variation) -> Option<Case> {
    let ramp = ramp_of(&book.setup.monitors[monitor].kind)?;
    let jerk = i128::from(ramp.jerk.as_ref()?.value.to_bits());
    let fresh = variation.axis.as_ref()?;
    if ramp_of(&variation.setup.monitors[monitor].kind) == Some(ramp) {
        return None;
    }
    let corner = i128::from(ramp.deceleration.value.to_bits()) * 1_000_000_000 / jerk.max(1);
    let corner = u64::try_from(corner).ok()?;
    for side in [0, 1] {
        let mut attempts = 0..ATTEMPTS;
        let mut play = enter(book, monitor, side, 1, 0);
        let speeds = [entry_speed(book.setup, monitor); 2];
        let begin = play.now + ramp.delay.value.as_nanos();
        // Where it has fallen for a while a step of the jerk makes the most of a difference.
        let end = begin + corner;
        let from = end.saturating_sub(INSTANTS).max(begin + corner / 2);
        while play.now < end {
            play.glide(speeds, play.now + (play.timeout() / 2).max(1));
            let other = play.shown_to(fresh);
            let latest = end.min(play.now + play.timeout() / 2);
            for at in from.max(play.now + 1)..latest {
                let limit = |axis| peek_at(axis, &play, at, monitor, side)?.speed.map(|bound| bound.limit);
                let limits = [limit(&play.axis), limit(&other)];
                let Some(higher) = limits.into_iter().max().flatten().filter(|_| limits[0] != limits[1])
                else {
                    continue;
                };
                if attempts.next().is_none() {
                    break;
                }
                let found = at_speed(&play, at, side, i128::from(higher.to_bits()), |play| {
                    let name = book.name(monitor);
                    let about =
                        format!("{name}, channel {}: its rounded corner to the last place", CHANNELS[side]);
                    try_one(play, about, variation)
                });
                if found.is_some() {
                    return found;
                }
            }
        }
    }
    None
}

/// Tries readings at an instant whose speed comes out at `speed` exactly.
fn at_speed(
    play: &Play<'_>,
    at: u64,
    side: Side,
    speed: i128,
    attempt: impl Fn(Play<'_>) -> Option<Case>,
) -> Option<Case> {
    let (home, sensor) = (play.counts(side), play.sensors[side]);
    let read = |early: u64, counts: i128| {
        let mut play = play.clone();
        play.now = at;
        play.put(side, counts);
        let reading = play.reading_at(side, at - early);
        play.show_one(side, Some(reading));
        play
    };
    // How far back the speed is taken from.
    let travel = |play: &Play<'_>| {
        let travel = play.axis.state().glimpse(Channel::BOTH[side])?.travel?;
        let counts = i128::from(travel.counts());
        Some((if sensor.reversed { -counts } else { counts }, travel.elapsed().as_nanos()))
    };
    for early in 0..TRIES.min(at.saturating_sub(play.now + 1)) {
        let (gone, elapsed) = travel(&read(early, home))?;
        let counts = speed * i128::from(elapsed) / sensor.nano;
        if (counts * sensor.nano + i128::from(elapsed) - 1) / i128::from(elapsed) != speed {
            continue;
        }
        if let Some(found) = attempt(read(early, home - gone + counts)) {
            return Some(found);
        }
    }
    None
}

/// A count that is a little longer or shorter changes a speed, rounded up, only where the exact one is nearly a whole number of units
/// in the last place.
fn of_source(book: &Book<'_>, side: Side, variation: &Variation) -> Option<Case> {
    let nano = book.play().sensors[side].nano;
    let other =
        crate::vectors::play::Sensor::of(variation.setup.channel([Channel::A, Channel::B][side])).nano;
    if nano == other {
        return None;
    }
    for monitor in 0..book.setup.monitors.len() {
        let kind = &book.setup.monitors[monitor].kind;
        if ramp_of(kind).is_none() || matches!(kind, MonitorKind::Stop { .. }) {
            continue;
        }
        let plain = overrun(book, monitor, side, 1, 0);
        let channel = [Channel::A, Channel::B][side];
        let travel = plain.axis.state().glimpse(channel).and_then(|glimpse| glimpse.travel)?;
        let (counts, elapsed) = (i128::from(travel.counts()).abs(), travel.elapsed().as_nanos());
        let speed =
            |nano: i128, elapsed: u64| (counts * nano + i128::from(elapsed) - 1) / i128::from(elapsed);
        for early in 0..FAR.min(book.play().timeout() / 4) {
            let elapsed = elapsed - early;
            if speed(nano, elapsed) == speed(other, elapsed) {
                continue;
            }
            let name = book.name(monitor);
            let about =
                format!("{name}, channel {}: as fast as before, a count to the last place", CHANNELS[side]);
            let found = try_one(overrun(book, monitor, side, 1, early), about, variation);
            if found.is_some() {
                return found;
            }
        }
    }
    None
}
