//! What is planted in an invented machine: large causes, and the small errors that all machines have.

use std::fmt::Write as _;

use host_harness::causes::{CauseKind, Side};

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

    pub fn below(&mut self, most: u64) -> u64 {
        self.next() % most
    }

    pub fn sign(&mut self) -> f64 {
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

    /// Whether it begins at an instant.
    pub const fn begins(self) -> bool {
        !matches!(
            self,
            Self::Scale | Self::Skew | Self::Compliance | Self::Backlash | Self::Eccentricity | Self::Drift
        )
    }

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

/// The numbers of an encoder.
#[derive(Clone, Copy, Default)]
pub struct Encoder {
    pub latency_ms: f64,
    pub scale_ppm: f64,
    pub backlash: f64,
    pub compliance: f64,
    pub amplitude: f64,
    pub period: f64,
    pub noise_um: f64,
}

impl Encoder {
    pub fn text(self, channel: &str, unit: &str, bits: u8) -> String {
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

/// How large a cause is to be: as large as it comes, or so that it brings the two apart by about so much.
#[derive(Clone, Copy)]
pub enum Size {
    Any,
    Peak(f64),
}

impl Size {
    /// A number of a cause, of which one brings the two apart by `each`.
    fn draw(self, random: &mut Random, low: f64, high: f64, each: f64) -> f64 {
        match self {
            Self::Any => random.between(low, high),
            Self::Peak(peak) => peak / each,
        }
    }
}

/// What the machine does meanwhile, as far as the size of a cause depends on it: mm, s.
#[derive(Clone, Copy, Default)]
pub struct Course {
    pub travel: f64,
    pub speed: f64,
    /// m/s^2.
    pub acceleration: f64,
    /// When what begins at an instant begins.
    pub at: f64,
    /// How long counts are lost before the trip.
    pub meanwhile: f64,
}

/// A planted cause.
pub struct Planted {
    pub main: Main,
    /// The channel that it has to be named of, where it is of one.
    pub side: Option<Side>,
    /// As its estimate has it; not a number where it has none.
    pub size: f64,
    /// When it begins, where it does.
    pub at: Option<f64>,
    /// Its table in the scenario, where it has one.
    pub fault: String,
}

/// Plants a cause in one of the encoders.
pub fn plant(
    main: Main,
    random: &mut Random,
    size: Size,
    encoders: &mut [Encoder; 2],
    (side, course): (Side, Course),
) -> Planted {
    let Course { travel, speed, acceleration, at, meanwhile } = course;
    let letter = side.letter();
    let sign = random.sign();
    let mut planted = Planted { main, side: None, size: f64::NAN, at: None, fault: String::new() };
    // What the other one has of the same would add to it.
    let mut alone = |change: &dyn Fn(&mut Encoder)| {
        change(&mut encoders[side.other().index()]);
        encoders[side.index()]
    };
    let mut own = match main {
        Main::Scale => alone(&|other| other.scale_ppm = 0.0),
        Main::Compliance => alone(&|other| other.compliance = 0.0),
        Main::Backlash => alone(&|other| other.backlash = 0.0),
        Main::Eccentricity => alone(&|other| other.amplitude = 0.0),
        _ => encoders[side.index()],
    };
    // A reading of b shows a fault of the sensor 0.25 ms later, which is at the next row.
    let fault = |kind: &str, more: &str| {
        format!("[[fault]]\nsource = \"{letter}\"\nkind = \"{kind}\"\nat = \"{at:.3} s\"\n{more}\n")
    };
    match main {
        Main::Jump => {
            let by = sign * size.draw(random, 1.5, 4.0, 1.0);
            planted.fault = fault("jump", &format!("by = \"{by:.4} mm\""));
            (planted.side, planted.size) = (Some(side), side.sign() * by);
        }
        Main::Spike => {
            let by = sign * size.draw(random, 1.5, 4.0, 1.0);
            let until = at + random.between(0.03, 0.06);
            planted.fault = fault("jump", &format!("by = \"{by:.4} mm\"\nuntil = \"{until:.3} s\""));
            (planted.side, planted.size) = (Some(side), side.sign() * by);
        }
        Main::Scale => {
            own.scale_ppm = sign * size.draw(random, 1500.0, 4000.0, 1e-6 * travel);
            // In parts of the travel of channel a.
            planted.size = if side == Side::A {
                own.scale_ppm / 1e-6_f64.mul_add(own.scale_ppm, 1.0)
            } else {
                -own.scale_ppm
            };
        }
        Main::Skew => {
            let by = size.draw(random, 3.0, 8.0, speed / 1000.0);
            own.latency_ms += by;
            (planted.side, planted.size) = (Some(side), by / 1000.0);
        }
        Main::Late => {
            let by = size.draw(random, 3.0, 8.0, speed / 1000.0);
            let to = by + own.latency_ms;
            planted.fault = fault("latency", &format!("to = \"{to:.4} ms\""));
            (planted.side, planted.size) = (Some(side), by / 1000.0);
        }
        Main::Compliance => {
            own.compliance = size.draw(random, 0.8, 1.5, acceleration);
            planted.size = side.sign() * own.compliance / 1000.0;
        }
        Main::Backlash => {
            own.backlash = size.draw(random, 2.4, 4.0, 0.5);
            (planted.side, planted.size) = (Some(side), own.backlash);
        }
        Main::Eccentricity => {
            own.amplitude = size.draw(random, 1.3, 2.5, 1.0);
            own.period = random.between(100.0, 300.0);
            planted.size = own.amplitude;
        }
        Main::Drift => {
            let speed = sign * size.draw(random, 0.2, 1.0, at);
            planted.fault = format!(
                "[[fault]]\nsource = \"{letter}\"\nkind = \"drift\"\nat = \"0 s\"\nspeed = \"{speed:.4} mm/s\"\n"
            );
            planted.size = side.sign() * speed;
        }
        Main::Step | Main::Creep => {
            let is_step = main == Main::Step;
            let (low, high) = if is_step { (2.0, 5.0) } else { (5.0, 10.0) };
            let by = sign * size.draw(random, low, high, 1.0);
            let mut over = if is_step { random.between(20.0, 80.0) } else { random.between(300.0, 800.0) };
            if matches!(size, Size::Peak(_)) {
                // So far it comes meanwhile.
                over = over.min(900.0 * meanwhile);
            }
            planted.fault = fault("slip", &format!("by = \"{by:.4} mm\"\nover = \"{over:.1} ms\""));
            planted.size = -side.sign() * by;
        }
        Main::LostCounts => {
            let rate = size.draw(random, 0.02, 0.2, speed * meanwhile);
            planted.fault = fault("lost-counts", &format!("rate = \"{:.4} %\"", 100.0 * rate));
            (planted.side, planted.size) = (Some(side), rate);
        }
        Main::Frozen => {
            planted.fault = fault("stuck", "");
            planted.side = Some(side);
        }
        Main::Reversed => {
            planted.fault = fault("reversed", "");
            (planted.side, planted.size) = (Some(side), -1.0);
        }
    }
    planted.at = (main.begins()).then_some(at);
    encoders[side.index()] = own;
    planted
}

/// The small errors that all machines have.
pub fn usual(random: &mut Random, noise: impl Fn(&mut Random) -> f64) -> [Encoder; 2] {
    let a =
        Encoder { compliance: random.between(0.005, 0.03), noise_um: noise(random), ..Encoder::default() };
    let b = Encoder {
        latency_ms: 0.25,
        scale_ppm: random.between(-100.0, 100.0),
        backlash: random.between(0.0, 0.03),
        amplitude: random.between(0.005, 0.02),
        period: random.between(60.0, 140.0),
        noise_um: noise(random),
        ..Encoder::default()
    };
    [a, b]
}

/// The truth about the small errors of channel b, and the compliance of a.
pub fn small([a, b]: &[Encoder; 2]) -> [(CauseKind, f64); 4] {
    [
        (CauseKind::Scale, -b.scale_ppm),
        (CauseKind::Compliance, a.compliance / 1000.0),
        (CauseKind::Backlash, b.backlash),
        (CauseKind::Eccentricity, b.amplitude),
    ]
}
