//! Speeds so far beyond their limit that the distance which is allowed for is used up before the on-delay is over.

use monitor_core::{Frame, Instant, Levels};

use super::template::{enter, entry_speed, first};
use super::{Book, CHANNELS, every_way, ramp_of, speed, stop, towards};
use crate::setup::MonitorKind;
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        let Some(allowed) = &monitor.allowed_overrun else { continue };
        let on_delay = monitor.on_delay.value.as_nanos();
        // So fast that half of the on-delay is enough.
        let allowed = i128::from(allowed.value.to_bits());
        let excess = allowed * 2_000_000_000 / i128::from(on_delay.max(1));
        for ((side, sign), before) in every_way().flat_map(|way| [true, false].map(|before| (way, before))) {
            let (mut play, limit) = match (&monitor.kind, ramp_of(&monitor.kind)) {
                (MonitorKind::Stop { .. }, _) if monitor.by_reactions_only => continue,
                (MonitorKind::Stop { .. }, Some(ramp)) => {
                    let margin = i128::from(ramp.margin.value.to_bits());
                    (enter(book, number, side, sign, 0), entry_speed(book.setup, number) + margin)
                }
                (kind, _) => match speed::limit_of(kind, sign) {
                    Some(limit) => (speed::in_force(book, number), limit),
                    None => continue,
                },
            };
            exceed(&mut play, number, side, sign, limit + excess.min((limit / 4).max(1)), before);
            if let MonitorKind::Stop { .. } = monitor.kind {
                stop::rest_until_complete(&mut play, number);
            }
            super::calm(&mut play, number);
            play.press_reset();
            let what = if before { ", not 1 ns before" } else { "" };
            book.keep(
                format!(
                    "{}, channel {}, {}: farther beyond the limit than is allowed for{what}",
                    book.name(number),
                    CHANNELS[side],
                    towards(sign)
                ),
                play,
            );
        }
    }
}

/// Whether a monitor trips at an instant at which nothing new is read.
fn trips(play: &Play<'_>, at: u64, monitor: usize, side: Side) -> bool {
    let levels = Levels::from_bits(play.levels);
    let outcome = play.axis.clone().step(&Frame { now: Instant::from_nanos(at), a: None, b: None, levels });
    [outcome.tripped.a, outcome.tripped.b][side].to_bits() >> monitor & 1 == 1
}

/// Gets so fast on one channel over a window, and not earlier; then a frame 1 ns before the distance is used up, if there is to be one,
/// and one at it.
fn exceed(play: &mut Play<'_>, monitor: usize, side: Side, sign: i128, speed: i128, before: bool) {
    let window = play.setup.speed.window.value.as_nanos();
    let (steps, _) = speed::run_shape(play, window);
    let begin = play.now;
    let home = play.x;
    for step in 1..=steps {
        let gone = if step == steps { window } else { window / steps * step };
        if step == steps {
            // The first frame of a violation counts with all of the time before it.
            play.bare(begin + gone - 1000);
        }
        play.now = begin + gone;
        for (which, x) in play.x.iter_mut().enumerate() {
            let speed = if which == side { speed } else { speed / 2 };
            *x = home[which] + sign * speed * i128::from(gone);
        }
        play.both();
    }
    let latest = play.now + play.timeout().min(play.setup.monitors[monitor].on_delay.value.as_nanos());
    if let Some(at) = first(play, latest, |at| trips(play, at, monitor, side)) {
        if before && at - 1 > play.now {
            play.bare(at - 1);
        }
        play.bare(at);
    }
}
