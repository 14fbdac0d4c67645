//! Everything at once: motion, demands, bad readings and resets in a sequence that looks random and is always the same.

use super::Book;
use super::source::any_reading;
use crate::vectors::play::Play;

/// How many sequences, and frames in each.
const CASES: u64 = 48;
const FRAMES: usize = 90;

/// A generator of pseudo-random numbers (xorshift64, G. Marsaglia, Xorshift RNGs, Journal of Statistical Software 8(14), 2003; from
/// memory).
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, n: u64) -> u64 {
        (self.roll() >> 20) % n.max(1)
    }
}

pub(super) fn cases(book: &mut Book<'_>) {
    for number in 0..CASES {
        let mut dice = Dice(0x9E37_79B9_7F4A_7C15 ^ (number + 1));
        for _ in 0..8 {
            dice.roll();
        }
        let mut play = book.play();
        let bad = number % 2 == 1;
        play.both();
        let mut speeds = [0, 0];
        for _ in 0..FRAMES {
            change(&mut play, &mut dice, &mut speeds);
            let stride = play.timeout() / 2;
            let span = 1 + if dice.below(8) == 0 { dice.below(3) } else { dice.below(stride) };
            play.now += span;
            for (x, speed) in play.x.iter_mut().zip(speeds) {
                *x += speed * i128::from(span);
            }
            if bad {
                let readings = [0, 1].map(|side| any_reading(&play, side, dice.roll() >> 8));
                play.show(readings);
            } else {
                play.both();
            }
        }
        let what = if bad { "with bad readings" } else { "with good readings" };
        book.keep(format!("everything at once {what}, sequence {}", number + 1), play);
    }
}

/// Now and then other speeds, other levels.
fn change(play: &mut Play<'_>, dice: &mut Dice, speeds: &mut [i128; 2]) {
    let inputs = play.setup.inputs.len() as u64;
    if dice.below(12) == 0 {
        let fastest = play.sensors[0].max_speed.min(play.sensors[1].max_speed);
        let size = fastest >> dice.below(9);
        let sign = if dice.below(2) == 0 { 1 } else { -1 };
        let one = sign * size * i128::from(dice.below(8)) / 8;
        *speeds = [one, if dice.below(6) == 0 { 0 } else { one }];
    }
    if inputs > 0 && dice.below(6) == 0 {
        let input = usize::try_from(dice.below(inputs)).unwrap_or(0);
        play.demand(input, dice.below(2) == 0);
    }
    if inputs > 0 && dice.below(30) == 0 {
        let input = usize::try_from(dice.below(inputs)).unwrap_or(0);
        play.demand_line(input, usize::from(dice.below(2) == 0), dice.below(2) == 0);
    }
    if let Some(reset) = &play.setup.reset
        && dice.below(8) == 0
    {
        play.set_line(reset.line, dice.below(2) == 0);
    }
}
