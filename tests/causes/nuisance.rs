//! Invented nuisance trips: a machine with the small errors that all machines have, and one large one.

use std::fmt::Write as _;

use host_harness::causes::{Cause, CauseKind, Estimate, Side};

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

/// A 64-bit xorshift.
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        let mut random = Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
        for _ in 0..8 {
            random.next();
        }
        random
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 >> 11
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() as f64 / (1_u64 << 53) as f64)
    }

    fn below(&mut self, most: u64) -> u64 {
        self.next() % most
    }

    fn sign(&mut self) -> f64 {
        if self.below(2) == 0 { 1.0 } else { -1.0 }
    }
}

/// What is planted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Main {
    Jump,
    Spike,
    Scale,
    Skew,
    Late,
    Compliance,
    Backlash,
    Eccentricity,
    Drift,
    Step,
    Creep,
    LostCounts,
    Frozen,
    Reversed,
}

impl Main {
    pub const ALL: [Self; 14] = [
        Self::Jump,
        Self::Spike,
        Self::Scale,
        Self::Skew,
        Self::Late,
        Self::Compliance,
        Self::Backlash,
        Self::Eccentricity,
        Self::Drift,
        Self::Step,
        Self::Creep,
        Self::LostCounts,
        Self::Frozen,
        Self::Reversed,
    ];

    /// The cause that has to be named.
    pub const fn kind(self) -> CauseKind {
        match self {
            Self::Jump => CauseKind::Jump,
            Self::Spike => CauseKind::Spike,
            Self::Scale => CauseKind::Scale,
            Self::Skew | Self::Late => CauseKind::TimeSkew,
            Self::Compliance => CauseKind::Compliance,
            Self::Backlash => CauseKind::Backlash,
            Self::Eccentricity => CauseKind::Eccentricity,
            Self::Drift => CauseKind::Drift,
            Self::Step | Self::Creep => CauseKind::Slip,
            Self::LostCounts => CauseKind::LostCounts,
            Self::Frozen => CauseKind::Frozen,
            Self::Reversed => CauseKind::Reversed,
        }
    }
}

/// A trip and the truth about it.
pub struct Nuisance {
    pub main: Main,
    pub scenario: String,
    /// The channel that fails, where one does.
    pub side: Option<Side>,
    /// The size of the main cause, as its estimate has it; of the small ones too.
    truths: Vec<(CauseKind, f64)>,
}

/// The numbers of an encoder.
#[derive(Clone, Copy, Default)]
struct Encoder {
    latency_ms: f64,
    scale_ppm: f64,
    backlash: f64,
    compliance: f64,
    amplitude: f64,
    period: f64,
    noise_um: f64,
}

impl Encoder {
    fn text(self, channel: &str, unit: &str, bits: u8) -> String {
        let mut text = format!(
            "[encoder.{channel}]\ncolumn = \"{channel}\"\nunit_per_count = \"{unit} mm\"\ncounter_bits = {bits}\n\
             start_count = 100_000\nnoise = \"{:.3} um\"\n",
            self.noise_um
        );
        if self.latency_ms > 0.0 {
            let _ = writeln!(text, "latency = \"{:.4} ms\"", self.latency_ms);
        }
        if self.scale_ppm != 0.0 {
            let _ = writeln!(text, "scale_error = \"{:.3} ppm\"", self.scale_ppm);
        }
        if self.backlash > 0.0 {
            let _ = writeln!(text, "backlash = \"{:.5} mm\"", self.backlash);
        }
        if self.compliance > 0.0 {
            let by = self.compliance;
            let _ = writeln!(text, "compliance = {{ by = \"{by:.5} mm\", per = \"1 m/s^2\" }}");
        }
        if self.amplitude > 0.0 {
            let (amplitude, period) = (self.amplitude, self.period);
            let _ = writeln!(
                text,
                "eccentricity = {{ amplitude = \"{amplitude:.5} mm\", period = \"{period:.3} mm\" }}"
            );
        }
        text
    }
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
        let mut a = Encoder {
            compliance: random.between(0.005, 0.03),
            noise_um: random.between(0.2, 1.0),
            ..Encoder::default()
        };
        let mut b = Encoder {
            latency_ms: 0.25,
            scale_ppm: random.between(-100.0, 100.0),
            backlash: random.between(0.0, 0.03),
            amplitude: random.between(0.005, 0.02),
            period: random.between(60.0, 140.0),
            noise_um: random.between(0.2, 1.0),
            ..Encoder::default()
        };
        let side = if random.below(2) == 0 { Side::A } else { Side::B };
        let mut nuisance = Self { main, scenario: String::new(), side: None, truths: Vec::new() };
        let mut fault = String::new();
        let size = nuisance.plant(random, (&mut a, &mut b), (side, at), &mut fault);
        nuisance.truths.push((main.kind(), size));
        for (kind, small) in [
            (CauseKind::Scale, -b.scale_ppm),
            (CauseKind::Compliance, a.compliance / 1000.0),
            (CauseKind::Backlash, b.backlash),
            (CauseKind::Eccentricity, b.amplitude),
        ] {
            if kind != main.kind() {
                nuisance.truths.push((kind, small));
            }
        }
        let seed = random.below(1000);
        nuisance.scenario = format!(
            "title = \"Invented axis\"\nseed = {seed}\nunit = \"mm\"\nduration = \"{:.3} s\"\nrate = \"1 kHz\"\n{motion}{}{}{fault}\
             [output]\ntime_decimals = 3\n",
            at + 8.0,
            a.text("a", "0.0005", 32),
            b.text("b", "0.001", 24)
        );
        nuisance
    }

    /// Plants the main cause; returns its size as the estimate has it.
    fn plant(
        &mut self,
        random: &mut Random,
        (a, b): (&mut Encoder, &mut Encoder),
        (side, at): (Side, f64),
        fault: &mut String,
    ) -> f64 {
        let letter = side.letter();
        let sign = random.sign();
        let mut plant = |kind: &str, more: &str| {
            *fault =
                format!("[[fault]]\nsource = \"{letter}\"\nkind = \"{kind}\"\nat = \"{at:.3} s\"\n{more}\n");
        };
        // A reading of b shows a fault of the sensor 0.25 ms later, which is at the next row.
        match self.main {
            Main::Jump => {
                let by = sign * random.between(1.5, 4.0);
                plant("jump", &format!("by = \"{by:.4} mm\""));
                self.side = Some(side);
                side.sign() * by
            }
            Main::Spike => {
                let by = sign * random.between(1.5, 4.0);
                let until = at + random.between(0.03, 0.06);
                plant("jump", &format!("by = \"{by:.4} mm\"\nuntil = \"{until:.3} s\""));
                self.side = Some(side);
                side.sign() * by
            }
            Main::Scale => {
                b.scale_ppm = sign * random.between(1500.0, 4000.0);
                -b.scale_ppm
            }
            Main::Skew => {
                let by = random.between(3.0, 8.0);
                b.latency_ms += by;
                self.side = Some(Side::B);
                by / 1000.0
            }
            Main::Late => {
                let by = random.between(3.0, 8.0);
                let to = by + if side == Side::A { 0.0 } else { b.latency_ms };
                plant("latency", &format!("to = \"{to:.4} ms\""));
                self.side = Some(side);
                by / 1000.0
            }
            Main::Compliance => {
                a.compliance = random.between(0.8, 1.5);
                a.compliance / 1000.0
            }
            Main::Backlash => {
                b.backlash = random.between(2.4, 4.0);
                self.side = Some(Side::B);
                b.backlash
            }
            Main::Eccentricity => {
                b.amplitude = random.between(1.3, 2.5);
                b.period = random.between(100.0, 300.0);
                b.amplitude
            }
            Main::Drift => {
                let speed = sign * random.between(0.2, 1.0);
                *fault = format!(
                    "[[fault]]\nsource = \"{letter}\"\nkind = \"drift\"\nat = \"0 s\"\nspeed = \"{speed:.4} mm/s\"\n"
                );
                side.sign() * speed
            }
            Main::Step | Main::Creep => {
                let is_step = self.main == Main::Step;
                let by = sign * if is_step { random.between(2.0, 5.0) } else { random.between(5.0, 10.0) };
                let over = if is_step { random.between(20.0, 80.0) } else { random.between(300.0, 800.0) };
                plant("slip", &format!("by = \"{by:.4} mm\"\nover = \"{over:.1} ms\""));
                -side.sign() * by
            }
            Main::LostCounts => {
                let rate = random.between(0.02, 0.2);
                plant("lost-counts", &format!("rate = \"{:.4} %\"", 100.0 * rate));
                self.side = Some(side);
                rate
            }
            Main::Frozen => {
                plant("stuck", "");
                self.side = Some(side);
                f64::NAN
            }
            Main::Reversed => {
                plant("reversed", "");
                self.side = Some(side);
                -1.0
            }
        }
    }

    /// The truth about an estimate, where it is known.
    pub fn truth(&self, cause: &Cause) -> Option<(Estimate, f64)> {
        let (_, truth) = self.truths.iter().find(|(kind, _)| *kind == cause.kind())?;
        let estimate = match cause {
            Cause::Scale { ppm } => *ppm,
            Cause::TimeSkew { by, .. }
            | Cause::Slip { by, .. }
            | Cause::Jump { by, .. }
            | Cause::Spike { by, .. } => *by,
            Cause::Compliance { per_acceleration } => *per_acceleration,
            Cause::Backlash { width, .. } => *width,
            Cause::Eccentricity { amplitude, .. } => *amplitude,
            Cause::Drift { rate } => *rate,
            Cause::LostCounts { part, .. } => *part,
            Cause::Reversed { ratio, .. } => *ratio,
            _ => return None,
        };
        (!truth.is_nan()).then_some((estimate, *truth))
    }
}
