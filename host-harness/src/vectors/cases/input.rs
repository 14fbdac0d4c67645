//! Inputs: filter, two lines that disagree, one-sided cycles, faults and what clears them.

use super::Book;
use crate::setup::InputLines;
use crate::vectors::play::Play;

pub(super) fn cases(book: &mut Book<'_>) {
    for (number, input) in book.setup.inputs.iter().enumerate() {
        let filter = input.filter.value.as_nanos();
        pulses(book, number, filter);
        from_the_first_frame(book, number);
        if let InputLines::Dual { dual, .. } = &input.lines {
            let time = dual.discrepancy_time.value.as_nanos();
            disagreement(book, number, filter, time);
            one_sided(book, number, filter, time);
            clearing(book, number, filter, time);
            disagree_from_the_first_frame(book, number, time);
        }
    }
}

fn ready<'a>(book: &Book<'a>, input: usize) -> Play<'a> {
    let mut play = book.play();
    play.demand(input, false);
    play.both();
    play.settle();
    play
}

fn lines(book: &Book<'_>, input: usize) -> usize {
    match &book.setup.inputs[input].lines {
        InputLines::Single(_) => 1,
        InputLines::Dual { .. } => 2,
    }
}

/// Lets a level be read for so long, with a frame 1 ns before the end of it too.
fn last(play: &mut Play<'_>, span: u64) {
    play.step(1);
    if span > 1 {
        play.rest(span - 1);
    }
    if span > 0 {
        play.rest(1);
    }
}

/// Demands and releases that last 1 ns less than the filter, and as long as it.
fn pulses(book: &mut Book<'_>, input: usize, filter: u64) {
    let mut play = ready(book, input);
    for span in [filter.saturating_sub(1), filter] {
        play.demand(input, true);
        play.step(1);
        play.rest(span);
        play.demand(input, false);
        last(&mut play, filter);
        play.rest(filter + 1);
    }
    play.demand(input, true);
    last(&mut play, filter);
    play.rest(filter + 1);
    for span in [filter.saturating_sub(1), filter] {
        play.demand(input, false);
        play.step(1);
        play.rest(span);
        play.demand(input, true);
        last(&mut play, filter);
        play.rest(filter + 1);
    }
    play.demand(input, false);
    play.settle();
    let name = &book.setup.inputs[input].name;
    book.keep(format!("input {name}: levels 1 ns shorter than the filter, and as long as it"), play);
    for which in 0..lines(book, input) {
        let mut play = ready(book, input);
        play.demand_line(input, which, true);
        last(&mut play, filter);
        play.demand_line(input, which, false);
        last(&mut play, filter);
        play.rest(filter + 1);
        let name = &book.setup.inputs[input].name;
        book.keep(format!("input {name}: line {} alone, for as long as its filter", which + 1), play);
    }
}

fn from_the_first_frame(book: &mut Book<'_>, input: usize) {
    let mut play = book.play();
    play.demand(input, true);
    play.both();
    play.settle();
    play.demand(input, false);
    play.settle();
    let name = &book.setup.inputs[input].name;
    book.keep(format!("input {name}: demands from the first frame on"), play);
}

/// One line moves, the other follows 1 ns before the end of the discrepancy time, or at it.
fn disagreement(book: &mut Book<'_>, input: usize, filter: u64, time: u64) {
    for which in [0, 1] {
        for (early, what) in [(1, "1 ns before the end of"), (0, "at the end of")] {
            let mut play = ready(book, input);
            // Each passes the same filter, so what is between the first reads is between the effects.
            for on in [true, false] {
                play.demand_line(input, which, on);
                play.step(1);
                let gap = time.saturating_sub(early);
                if gap > 1 {
                    play.rest(gap - 1);
                }
                play.demand_line(input, 1 - which, on);
                play.rest(1);
                play.rest(filter);
                play.rest(time + 1);
            }
            book.keep(
                format!(
                    "input {}: line {} moves first, the other {what} the discrepancy time",
                    book.setup.inputs[input].name,
                    which + 1
                ),
                play,
            );
        }
        let mut play = ready(book, input);
        play.demand_line(input, which, true);
        play.step(1);
        play.rest(filter);
        last_after(&mut play, time);
        play.press_reset();
        book.keep(
            format!(
                "input {}: line {} demands alone for the discrepancy time",
                book.setup.inputs[input].name,
                which + 1
            ),
            play,
        );
    }
}

/// Frames 1 ns before so much time has passed, and then.
fn last_after(play: &mut Play<'_>, time: u64) {
    if time > 1 {
        play.rest(time - 1);
    }
    play.rest(1);
}

/// One line demands and comes back while the other stays at rest.
fn one_sided(book: &mut Book<'_>, input: usize, filter: u64, time: u64) {
    let name = book.setup.inputs[input].name.clone();
    for which in [0, 1] {
        let mut play = ready(book, input);
        play.demand_line(input, which, true);
        play.step(1);
        play.rest(filter);
        // The disagreement begins here.
        let begin = play.now;
        play.demand_line(input, which, false);
        play.rest(1);
        play.rest(filter);
        let mut together = play.clone();
        let end = begin + time;
        if end - 1 > play.now {
            play.glide([0, 0], end - 1);
        }
        play.glide([0, 0], end.max(play.now + 1));
        play.press_reset();
        play.settle();
        book.keep(format!("input {name}: line {} makes a cycle alone", which + 1), play);
        for (early, what) in [(1, "1 ns before"), (0, "at")] {
            let mut both = together.clone();
            let moves = end.saturating_sub(filter + early);
            if moves <= both.now {
                continue;
            }
            both.glide([0, 0], moves.saturating_sub(1));
            both.demand(input, true);
            both.glide([0, 0], moves);
            both.rest(filter);
            both.rest(2);
            both.demand(input, false);
            both.settle();
            both.press_reset();
            book.keep(
                format!(
                    "input {name}: line {} makes a cycle alone, then both demand {what} the end of the time",
                    which + 1
                ),
                both,
            );
        }
        // Another disagreement does not restart the timer.
        let again = filter + 2;
        together.demand_line(input, 1 - which, true);
        together.rest(again);
        together.demand_line(input, 1 - which, false);
        together.rest(again);
        together.rest(time);
        book.keep(
            format!("input {name}: line {} makes a cycle alone, then the other one does", which + 1),
            together,
        );
    }
}

/// A fault, resets that are refused until both lines have demanded together and agree, then one that is accepted.
fn clearing(book: &mut Book<'_>, input: usize, filter: u64, time: u64) {
    for which in [0, 1] {
        let mut play = ready(book, input);
        play.demand_line(input, which, true);
        play.step(1);
        play.rest(filter);
        play.rest(time);
        play.demand_line(input, which, false);
        play.rest(filter + 1);
        play.settle();
        play.press_reset();
        play.demand(input, true);
        play.settle();
        play.rest(filter);
        let mut demanding = play.clone();
        play.demand_line(input, which, false);
        play.rest(filter + 1);
        play.press_reset();
        play.demand(input, false);
        play.settle();
        play.rest(filter);
        play.press_reset();
        play.settle();
        let name = book.setup.inputs[input].name.clone();
        book.keep(
            format!("input {name}: line {} is stuck; resets before and after both demand", which + 1),
            play,
        );
        demanding.press_reset();
        demanding.demand(input, false);
        demanding.settle();
        book.keep(
            format!("input {name}: line {} was stuck; a reset while both demand", which + 1),
            demanding,
        );
    }
}

fn disagree_from_the_first_frame(book: &mut Book<'_>, input: usize, time: u64) {
    for which in [0, 1] {
        let mut play = book.play();
        play.demand(input, false);
        play.demand_line(input, which, true);
        play.both();
        last_after(&mut play, time);
        play.rest(1);
        let name = book.setup.inputs[input].name.clone();
        book.keep(
            format!("input {name}: its lines disagree from the first frame on, line {} demands", which + 1),
            play,
        );
    }
}
