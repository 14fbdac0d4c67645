//! What a source can do wrong, and what it can do at most.

use monitor_core::{Instant, Reading, Sample};

use super::{Book, CHANNELS, every_way, towards};
use crate::vectors::edge;
use crate::vectors::play::{Play, Side};

pub(super) fn cases(book: &mut Book<'_>) {
    for side in [0, 1] {
        never_read(book, side);
        stale(book, side);
        late(book, side);
        gap(book, side);
        invalid(book, side);
        out_of_order(book, side);
        range(book, side);
    }
    for (side, sign) in every_way() {
        plausible(book, side, sign);
        wraps(book, side, sign);
    }
}

/// After a fault: good readings, a reset that is refused while the speed is unknown if anything needs it, one that is accepted.
fn recover(play: &mut Play<'_>) {
    let short = (play.timeout() / 8).max(1);
    play.step(short);
    play.press_reset();
    play.settle();
    play.press_reset();
    play.rest(short);
}

fn never_read(book: &mut Book<'_>, side: Side) {
    let mut play = book.play();
    let begin = play.now;
    let other = |play: &mut Play<'_>, at: u64| {
        play.now = at;
        play.show_one(side, None);
    };
    other(&mut play, begin);
    let timeout = play.sensors[side].timeout;
    let stride = (play.timeout() / 2).max(1);
    while play.now + stride < begin + timeout {
        let at = play.now + stride;
        other(&mut play, at);
    }
    other(&mut play, begin + timeout);
    play.press_reset_of_one(side);
    let mut late = play.clone();
    late.step(1);
    recover(&mut late);
    book.keep(format!("channel {} is not read before its timeout, then it is", CHANNELS[side]), late);
    let at = begin + timeout + 1;
    let mut play = book.play();
    other(&mut play, begin);
    while play.now + stride < at {
        let next = play.now + stride;
        other(&mut play, next);
    }
    other(&mut play, begin + timeout);
    other(&mut play, at);
    recover(&mut play);
    book.keep(format!("channel {} is not read within its timeout", CHANNELS[side]), play);
}

/// The newest reading is as old as the timeout, and 1 ns older.
fn stale(book: &mut Book<'_>, side: Side) {
    let mut play = book.play();
    play.both();
    play.settle();
    let (captured, timeout) = (play.now, play.sensors[side].timeout);
    let stride = (play.timeout() / 2).max(1);
    for at in [captured + stride, captured + timeout, captured + timeout + 1, captured + timeout + stride] {
        if at > play.now {
            play.now = at;
            play.show_one(side, None);
        }
    }
    recover(&mut play);
    book.keep(
        format!("channel {} falls silent: as old as its timeout, and 1 ns older", CHANNELS[side]),
        play,
    );
}

/// A reading that is as old as the timeout when it arrives, and one that is 1 ns older.
fn late(book: &mut Book<'_>, side: Side) {
    for (more, what) in [(0, "as old as its timeout"), (1, "1 ns older than its timeout")] {
        for first in [true, false] {
            let mut play = book.play();
            if !first {
                play.both();
                play.settle();
            }
            let timeout = play.sensors[side].timeout;
            let old = play.now;
            // A step by step way there, so that nothing else is stale.
            let begin = old + 1;
            let stride = (play.timeout() / 2).max(1);
            let at = begin + timeout + more;
            while play.now + stride < at && !first {
                play.now += stride;
                play.show_one(side, None);
            }
            play.now = at;
            let reading = play.reading_at(side, begin);
            play.show_one(side, Some(reading));
            recover(&mut play);
            let which = if first { "the first reading" } else { "a reading" };
            book.keep(format!("channel {}: {which} arrives {what}", CHANNELS[side]), play);
        }
    }
}

/// Two readings as far apart as the timeout with nothing evaluated in between, and 1 ns farther.
fn gap(book: &mut Book<'_>, side: Side) {
    for (more, what) in [(0, "by its timeout"), (1, "by 1 ns more than its timeout")] {
        let mut play = book.play();
        play.both();
        play.settle();
        let timeout = play.sensors[side].timeout;
        play.step(timeout + more);
        recover(&mut play);
        book.keep(format!("readings of channel {} are apart {what}, no frame between", CHANNELS[side]), play);
    }
    let mut play = book.play();
    play.both();
    play.settle();
    let timeout = play.sensors[side].timeout;
    // Evaluated in between, and never too old: but the source was blind for longer than it may be.
    let begin = play.now;
    let early = play.reading_at(side, begin + 1);
    play.now = begin + timeout / 2;
    play.show_one(side, Some(early));
    play.now = begin + timeout;
    play.show_one(side, None);
    let next = play.reading_at(side, begin + timeout + 2);
    play.now = begin + timeout + 2;
    play.show_one(side, Some(next));
    recover(&mut play);
    book.keep(format!("channel {} is blind for longer than its timeout", CHANNELS[side]), play);
}

fn invalid(book: &mut Book<'_>, side: Side) {
    let mut play = book.play();
    play.both();
    play.settle();
    let short = (play.timeout() / 8).max(1);
    play.now += short;
    let invalid = play.invalid();
    play.show_one(side, invalid);
    // None came since: still invalid.
    play.now += short;
    play.show_one(side, None);
    play.press_reset_of_one(side);
    // The reading before the invalid one again says nothing new.
    recover(&mut play);
    book.keep(
        format!("channel {}: a reading is marked invalid, none follows, then good ones", CHANNELS[side]),
        play,
    );
    let mut play = book.play();
    let invalid = play.invalid();
    play.show_one(side, invalid);
    recover(&mut play);
    book.keep(format!("channel {}: the first reading is marked invalid", CHANNELS[side]), play);
}

fn out_of_order(book: &mut Book<'_>, side: Side) {
    let short = (book.play().timeout() / 8).max(2);
    let count = |counts: i128| move |play: &mut Play<'_>| play.x[side] += counts * play.sensors[side].nano;
    let ways: [(&str, i64, i128); 5] = [
        ("captured 1 ns after the frame", 1, 0),
        ("captured at the frame", 0, 0),
        ("captured 1 ns before the one before", -(short as i64) - 1, 0),
        ("captured with the one before, one count more", -(short as i64), 1),
        ("captured with the one before, the same again", -(short as i64), 0),
    ];
    for (what, shift, counts) in ways {
        let mut play = book.play();
        play.both();
        play.settle();
        play.now += short;
        let captured_at = play.now.saturating_add_signed(shift);
        let home = play.x[side];
        count(counts)(&mut play);
        let reading = play.reading_at(side, captured_at);
        play.show_one(side, Some(reading));
        play.x[side] = home;
        play.step(short);
        play.press_reset();
        play.settle();
        book.keep(format!("channel {}: a reading {what}", CHANNELS[side]), play);
    }
    let mut play = book.play();
    let now = play.now;
    let reading = play.reading_at(side, now + 1);
    play.show_one(side, Some(reading));
    recover(&mut play);
    book.keep(format!("channel {}: the first reading is captured after its frame", CHANNELS[side]), play);
}

/// The largest plausible change, and one count more.
fn plausible(book: &mut Book<'_>, side: Side, sign: i128) {
    let sensor = book.play().sensors[side];
    let timeout = sensor.timeout;
    let near = edge::close(sensor.max_speed, sensor.nano, 1, timeout);
    // Fine counts are too many to try all of them.
    let late = edge::close(sensor.max_speed, sensor.nano, timeout / 2, timeout);
    let usual = timeout / 3 + 1;
    let mut changes = vec![
        ("the largest plausible change".to_owned(), usual, sensor.plausible(usual)),
        ("one count more than is plausible".to_owned(), usual, sensor.plausible(usual) + 1),
        ("one count in 1 ns".to_owned(), 1, 1),
        ("the largest plausible change over the timeout".to_owned(), timeout, sensor.plausible(timeout)),
        (
            "one count more than is plausible over the timeout".to_owned(),
            timeout,
            sensor.plausible(timeout) + 1,
        ),
    ];
    for (what, pace) in [("just reaches", near.at.or(late.at)), ("just exceeds", near.above.or(late.above))] {
        // One count of a change is not asked for.
        changes.extend(pace.map(|pace| {
            (
                format!("a change that, one count aside, {what} the fastest speed"),
                pace.elapsed,
                pace.counts + 1,
            )
        }));
    }
    for (what, elapsed, counts) in changes {
        let mut play = book.play();
        play.both();
        play.settle();
        let home = play.counts(side);
        play.put(side, home + sign * counts);
        play.step(elapsed);
        recover(&mut play);
        book.keep(format!("channel {}, {}: {what}", CHANNELS[side], towards(sign)), play);
    }
}

/// Over both ends of the counter: where its bits run over, and where its sign does.
fn wraps(book: &mut Book<'_>, side: Side, sign: i128) {
    let sensor = book.play().sensors[side];
    let half = 1_i128 << (sensor.bits - 1);
    for (edge, what) in [(half, "where the sign changes"), (0, "where all bits change")] {
        if edge + 10 > sensor.most_counts() {
            continue;
        }
        let mut play = book.play();
        let begin = if sensor.reversed == (sign > 0) { -edge } else { edge };
        // The end that lies ahead.
        let begin = if edge == 0 { 0 } else { begin.abs() * sign };
        play.put(side, begin - sign * 3);
        play.both();
        for change in [2, 2, 5, 1] {
            let home = play.counts(side);
            play.put(side, home + sign * change);
            let short = (play.timeout() / 2).max(1);
            play.step(short);
        }
        play.settle();
        book.keep(format!("channel {}, {}: the counter wraps {what}", CHANNELS[side], towards(sign)), play);
    }
}

/// The farthest count that has a position, and the next one.
fn range(book: &mut Book<'_>, side: Side) {
    let sensor = book.play().sensors[side];
    let (most, half) = (sensor.most_counts(), 1_i128 << (sensor.bits - 1));
    if most >= half {
        return;
    }
    for sign in [1, -1] {
        for (begin, walk, what) in [
            (most, 0, "the first reading is the farthest that has a position"),
            (most + 1, 0, "the first reading is beyond every position"),
            (half - 1, 0, "the first reading is as far as the counter goes"),
            (most - 1, 1, "up to the farthest position"),
            (most - 1, 2, "beyond the farthest position"),
        ] {
            let mut play = book.play();
            play.put(side, sign * begin);
            play.both();
            let short = (play.timeout() / 2).max(1);
            for _ in 0..walk {
                let home = play.counts(side);
                play.put(side, home + sign);
                play.step(short);
            }
            play.step(short);
            play.put(side, 0);
            play.step(short);
            recover(&mut play);
            book.keep(format!("channel {}, {}: {what}", CHANNELS[side], towards(sign)), play);
        }
    }
}

impl Play<'_> {
    /// Presses and releases the reset while one source shows nothing new.
    fn press_reset_of_one(&mut self, side: Side) {
        let Some(reset) = &self.setup.reset else { return };
        let (line, filter) = (reset.line, reset.filter.value.as_nanos());
        for high in [true, false] {
            self.set_line(line, high);
            for span in [1, filter.max(1)] {
                self.now += span;
                self.show_one(side, None);
            }
        }
    }
}

/// What a source of a random case delivers: mostly a reading, sometimes one that is late, repeated, missing or bad.
pub(super) fn any_reading(play: &Play<'_>, side: Side, dice: u64) -> Option<Reading> {
    match dice % 64 {
        0 => None,
        1 => play.invalid(),
        2 => Some(play.reading_at(side, play.now + 1)),
        3 => Some(Reading {
            captured_at: Instant::from_nanos(play.now),
            sample: Sample::Count(play.raw(side) ^ (1 << (dice / 64 % u64::from(play.sensors[side].bits)))),
        }),
        4..=9 => Some(play.reading_at(side, play.now - play.timeout() / 16)),
        10..=16 => None,
        _ => play.reading(side),
    }
}
