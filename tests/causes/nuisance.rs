//! Invented nuisance trips: a machine with the small errors that all machines have, and one large one.

use std::fmt::Write as _;

use host_harness::causes::{Cause, CauseKind, Estimate, Side};

use super::planted::{Course, Main, Random, Size, plant, small, usual};

/// The axis: 1 mm of tolerance, and channel b known to be 0.25 ms late.
pub const SETUP: &str = r#"
title = "Invented axis"
unit  = "mm"

[time]
column = "time"
unit   = "s"

[channel.a]
column         = "a"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "8 m/s"
timeout        = "40 ms"

[channel.b]
column         = "b"
counter_bits   = 24
unit_per_count = "0.001 mm"
latency        = "0.25 ms"
max_speed      = "8 m/s"
timeout        = "40 ms"

[speed]
window = "8 ms"

[discrepancy]
tolerance        = "1 mm"
skew_allowance   = "0 ms"
discrepancy_time = "20 ms"

[[monitor]]
name  = "fastest"
kind  = "speed-limit"
limit = "2 m/s"
"#;

/// A trip and the truth about it.
pub struct Nuisance {
    pub scenario: String,
    /// The channel that fails, where one does.
    pub side: Option<Side>,
    /// The size of the main cause, as its estimate has it; of the small ones too.
    truths: Vec<(CauseKind, f64)>,
}

/// When the failures begin, in seconds: in the third move.
fn failure(random: &mut Random, cruise: f64) -> f64 {
    (cruise + random.between(0.0, 0.2)).mul_add(1000.0, 0.5).floor() / 1000.0
}

/// Moves there and back at one speed or two; some machines brake after the failure.
fn motion(random: &mut Random, main: Main) -> (String, f64) {
    let is_short = matches!(main, Main::Backlash | Main::Compliance);
    let (speed, acceleration) = if is_short {
        (random.between(300.0, 600.0), random.between(2.0, 4.0))
    } else {
        (random.between(400.0, 1000.0), random.between(1.5, 4.0))
    };
    let travel = if is_short { 300.0 } else { 1200.0 };
    let slow = if random.below(2) == 0 { speed } else { 0.5 * speed };
    let jerk = random.between(20.0, 60.0);
    let mut text = format!(
        "[motion]\nspeed = \"{speed:.0} mm/s\"\nacceleration = \"{acceleration:.2} m/s^2\"\njerk = \"{jerk:.0} m/s^3\"\n"
    );
    // Four seconds are enough for each of the long moves at the lower speed and 1.5 m/s^2.
    let every = if is_short { 2.5 } else { 7.0 };
    let mut moves = Vec::new();
    for k in 0..4 {
        let to = if k % 2 == 0 { travel } else { 0.0 };
        let speed = if k == 1 { slow } else { speed };
        moves.push((0.4 + every * f64::from(k), to, speed));
    }
    let third = moves[2].0;
    let at = failure(random, third + speed / (1000.0 * acceleration) + acceleration / jerk + 0.05);
    let brakes = random.below(2) == 0;
    for (start, to, speed) in moves {
        if brakes && start > at && !is_short {
            break;
        }
        let _ = writeln!(
            text,
            "[[move]]\nat = \"{start:.3} s\"\nto = \"{to:.0} mm\"\nspeed = \"{speed:.0} mm/s\""
        );
    }
    if brakes && !is_short {
        let stop = at + random.between(0.06, 0.3);
        let _ = writeln!(
            text,
            "[[move]]\nat = \"{stop:.3} s\"\nspeed = \"0 mm/s\"\nacceleration = \"4 m/s^2\"\njerk = \"100 m/s^3\""
        );
    }
    (text, at)
}

impl Nuisance {
    pub fn new(main: Main, seed: u64) -> Self {
        let mut random = Random::new(seed * 100 + main as u64);
        let random = &mut random;
        let (motion, at) = motion(random, main);
        let mut encoders = usual(random, |random| random.between(0.2, 1.0));
        let side = if random.below(2) == 0 { Side::A } else { Side::B };
        let side = match main {
            Main::Compliance => Side::A,
            Main::Scale | Main::Skew | Main::Backlash | Main::Eccentricity => Side::B,
            _ => side,
        };
        let course = Course { at, ..Course::default() };
        let planted = plant(main, random, Size::Any, &mut encoders, (side, course));
        let mut truths = vec![(main.kind(), planted.size)];
        truths.extend(small(&encoders).into_iter().filter(|(kind, _)| *kind != main.kind()));
        let (seed, fault) = (random.below(1000), &planted.fault);
        let scenario = format!(
            "title = \"Invented axis\"\nseed = {seed}\nunit = \"mm\"\nduration = \"{:.3} s\"\nrate = \"1 kHz\"\n{motion}{}{}{fault}\
             [output]\ntime_decimals = 3\n",
            at + 8.0,
            encoders[0].text("a", "0.0005", 32),
            encoders[1].text("b", "0.001", 24)
        );
        Self { scenario, side: planted.side, truths }
    }

    /// The truth about an estimate, where it is known.
    pub fn truth(&self, cause: &Cause) -> Option<(Estimate, f64)> {
        let (_, truth) = self.truths.iter().find(|(kind, _)| *kind == cause.kind())?;
        let estimate = cause.size()?;
        (!truth.is_nan()).then_some((estimate, *truth))
    }
}
