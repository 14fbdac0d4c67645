//! The clock, and resets that are refused.

use super::Book;

pub(super) fn cases(book: &mut Book<'_>) {
    for (back, what) in [(0, "stands still"), (1, "goes back by 1 ns"), (1_000_000, "goes back by 1 ms")] {
        let mut play = book.play();
        play.both();
        play.settle();
        let now = play.now;
        play.bare(now - back);
        play.bare(now);
        play.now = now;
        play.step(1);
        play.settle();
        play.press_reset();
        play.rest(1);
        book.keep(format!("the clock {what}; then a reset"), play);
    }
    from_the_beginning_of_time(book);
    from_its_first_frame(book);
    for (number, monitor) in book.setup.monitors.iter().enumerate() {
        if monitor.first_input().is_some() {
            warming_up(book, number);
        }
    }
}

fn from_the_beginning_of_time(book: &mut Book<'_>) {
    let mut play = book.play();
    play.now = 0;
    play.both();
    play.settle();
    book.keep("the first frame is at 0 ns", play);
}

/// A line that falls between the first two frames, and one that is high at the first.
fn from_its_first_frame(book: &mut Book<'_>) {
    let Some(reset) = &book.setup.reset else { return };
    let (line, filter) = (reset.line, reset.filter.value.as_nanos());
    let mut play = book.play();
    play.set_line(line, true);
    play.both();
    play.settle();
    for span in [filter.saturating_sub(1), filter] {
        play.set_line(line, false);
        play.rest(1);
        play.rest(span);
        play.set_line(line, true);
        play.rest(1);
        play.rest(filter);
    }
    for span in [filter.saturating_sub(1), filter] {
        play.set_line(line, false);
        play.settle();
        play.set_line(line, true);
        play.rest(1);
        play.rest(span);
    }
    play.set_line(line, false);
    play.settle();
    book.keep(
        "the reset is pressed for 1 ns less than its filter, for its filter, and from the first frame on",
        play,
    );
}

fn warming_up(book: &mut Book<'_>, monitor: usize) {
    let mut play = book.play();
    play.demand_monitor(monitor, true);
    play.both();
    let short = (play.timeout() / 8).max(1);
    if let Some(reset) = &book.setup.reset {
        play.set_line(reset.line, true);
        play.step(short);
        play.rest(reset.filter.value.as_nanos());
        play.set_line(reset.line, false);
        play.step(short);
        play.rest(reset.filter.value.as_nanos());
    }
    let name = book.name(monitor);
    book.keep(format!("{name}: demanded from the first frame on, a reset before the speed is known"), play);
}
