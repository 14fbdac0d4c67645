//! Positions that an event declares: not yet, again, while nothing can be seen, and lost with the count.

use super::{Book, CHANNELS};
use crate::setup::ReferenceSetup;
use crate::vectors::play::Play;

pub(super) fn cases(book: &mut Book<'_>) {
    let Some(event) = &book.setup.reference else { return };
    let input = event.input;
    let channels = [&book.setup.a, &book.setup.b];
    for side in [0, 1].into_iter().filter(|&side| channels[side].reference == ReferenceSetup::Event) {
        let name = CHANNELS[side];
        let mut play = ready(book, input);
        play.settle();
        play.press_reset();
        declare(&mut play, input);
        play.settle();
        play.press_reset();
        play.settle();
        book.keep(format!("channel {name}: its position is declared late; resets before and after"), play);

        let mut play = ready(book, input);
        declare(&mut play, input);
        play.settle();
        play.demand(input, false);
        play.settle();
        let speed = play.sensors[side].max_speed / 4;
        play.glide([speed, speed], play.now + 4 * play.timeout());
        declare(&mut play, input);
        play.settle();
        book.keep(format!("channel {name}: its position is declared again at another place"), play);

        for invalid in [true, false] {
            let mut play = ready(book, input);
            declare(&mut play, input);
            play.settle();
            play.demand(input, false);
            play.settle();
            // Faulted from here on, either way; only one of them breaks the count.
            if !invalid {
                play.now += play.sensors[side].timeout;
            }
            play.demand(input, true);
            let filter = play.setup.inputs[input].filter.value.as_nanos();
            for span in [1, filter] {
                play.now += span;
                let reading = if invalid { play.invalid() } else { None };
                play.show_one(side, reading);
            }
            play.step(1);
            play.settle();
            play.press_reset();
            play.demand(input, false);
            play.settle();
            declare(&mut play, input);
            play.settle();
            play.press_reset();
            play.settle();
            let what = if invalid { "marked invalid" } else { "stale" };
            book.keep(
                format!("channel {name}: its position is declared while it is {what}, and again"),
                play,
            );
        }
    }
}

/// Seen, and declared to be nowhere.
fn ready<'a>(book: &Book<'a>, input: usize) -> Play<'a> {
    let mut play = book.play();
    play.demand(input, false);
    // What needs a position is active.
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        if monitor.kind.needs_reference() {
            play.demand_monitor(number, true);
        }
    }
    play.demand(input, false);
    play.both();
    play
}

fn declare(play: &mut Play<'_>, input: usize) {
    play.demand(input, true);
    play.step(1);
    play.rest(play.setup.inputs[input].filter.value.as_nanos());
}
