//! Random setups.

use super::extras::extras;
use super::rng::Rng;
use super::{RESET_LINE, Timing};
use crate::model::{
    By, Demand, Discrepancy, Input, Kind, Lines, Monitor, OneSided, Pairing, Q, Ramp, Referencing, Setup,
    Source, SpeedDiscrepancy, Until, Way, decimal, q, seconds, ulp_down, ulps,
};
use num_traits::{Signed, ToPrimitive};

/// Scales that occur: a linear scale, a coarser one, a 4096-count turn in degrees, a wheel of 2048 edges, and one ULP,
/// which is a source that delivers positions.
fn scale(rng: &mut Rng, counter_bits: u32) -> Q {
    let scales = [
        decimal("0.0005").expect("a decimal"),
        decimal("0.001").expect("a decimal"),
        q(360, 4096),
        decimal("0.00951068").expect("a decimal"),
        ulps(1),
    ];
    // Mostly a scale at which the whole counter fits the range of a position, seldom one at which it does not.
    let reach = q(1_i128 << (counter_bits - 1), 1);
    let fitting: Vec<Q> = scales.iter().filter(|scale| *scale * &reach <= q(1 << 39, 1)).cloned().collect();
    let scale = if rng.once_in(200) { rng.pick(&scales) } else { rng.pick(&fitting) };
    if rng.flip() { -scale } else { scale }
}

fn source(rng: &mut Rng, timing: &Timing) -> Source {
    let counter_bits = match rng.range(0, 9) {
        0 => 8,
        1 => 64,
        2..=5 => rng.pick(&[10, 12, 16, 24, 32, 40, 48]),
        _ => u32::try_from(rng.range(9, 63)).expect("a width"),
    };
    let unit_per_count = scale(rng, counter_bits);
    let timeout_ns = rng.nanos(3 * timing.period_ns, 8 * timing.period_ns);
    // Two fifths of the counter in one timeout, so that the unwrapping is never ambiguous; and a mechanical limit.
    let turn = q(1_i128 << counter_bits, 1) * unit_per_count.abs();
    let unambiguous = turn * q(2, 5) / seconds(timeout_ns);
    let max_speed = ulp_down(&unambiguous.min(q(3000, 1))).max(ulps(1));
    Source { counter_bits, unit_per_count, max_speed, timeout_ns }
}

fn time(rng: &mut Rng, timing: &Timing, most_periods: u64) -> u64 {
    match rng.range(0, 5) {
        0 => 0,
        1 => timing.period_ns * rng.nanos(1, most_periods),
        2 => timing.period_ns * rng.nanos(1, most_periods) + 1,
        _ => rng.nanos(0, most_periods * timing.period_ns),
    }
}

fn inputs(rng: &mut Rng, timing: &Timing) -> Vec<Input> {
    let count = u8::try_from(rng.range(1, 4)).expect("a small number");
    (0..count)
        .map(|index| {
            let lines = if rng.once_in(3000) {
                Lines::One(2 * index)
            } else {
                Lines::Two {
                    first: 2 * index,
                    second: 2 * index + 1,
                    pairing: rng.pick(&[Pairing::Equivalent, Pairing::Antivalent]),
                    discrepancy_time_ns: time(rng, timing, 20),
                    one_sided: rng.pick(&[OneSided::Fault, OneSided::Fault, OneSided::Ignore]),
                }
            };
            let filter_ns = if rng.flip() { 0 } else { time(rng, timing, 3) };
            Input { lines, demand_high: rng.flip(), filter_ns }
        })
        .collect()
}

/// Draws settings around the typical speed `v` of the case.
struct Around<'a> {
    rng: &'a mut Rng,
    timing: &'a Timing,
    v: Q,
    window_ns: u64,
    /// The history is long enough for accelerations.
    has_acceleration: bool,
}

impl Around<'_> {
    /// A tenth of the typical speed times 3 to 13: exactly met by some stretches of the motion, or one ULP beside
    /// that, or a decimal that has to be rounded.
    fn limit(&mut self) -> Q {
        let tenths = &self.v * q(self.rng.range(3, 13), 10);
        match self.rng.range(0, 3) {
            0 => ulp_down(&tenths),
            1 => ulp_down(&tenths) + ulps(self.rng.range(-1, 1)),
            2 => tenths,
            _ => &self.v * q(self.rng.range(300, 1300), 1000),
        }
        .max(ulps(0))
    }

    /// What the typical speed travels in a few periods.
    fn window(&mut self) -> Q {
        &self.v * seconds(self.timing.period_ns) * q(self.rng.range(1, 400), 20)
    }

    fn ramp(&mut self) -> Ramp {
        let fall_ns = self.rng.nanos(5 * self.timing.period_ns, 80 * self.timing.period_ns);
        let deceleration = &self.v / seconds(fall_ns);
        // From corners that hardly show to ones that meet before the deceleration is reached.
        let corner_ns = self.rng.nanos(fall_ns / 20 + 1, 2 * fall_ns);
        Ramp {
            // The core takes none from 2³⁷ units on.
            jerk: self.rng.once_in(3000).then(|| (&deceleration / seconds(corner_ns)).min(q(1 << 36, 1))),
            delay_ns: time(self.rng, self.timing, 10),
            deceleration,
            margin: if self.rng.flip() { ulps(0) } else { &self.v * q(self.rng.range(0, 30), 100) },
        }
    }

    /// The change of the typical speed over a few windows.
    fn acceleration(&mut self) -> Q {
        &self.v / seconds(self.window_ns) * q(self.rng.range(1, 200), 100)
    }

    /// A range with 0 mostly inside, or an empty one, or one that standing still is outside of.
    fn range(&mut self, mut end: impl FnMut(&mut Self) -> Q) -> [Q; 2] {
        let (one, other) = (ulp_down(&end(self)), ulp_down(&end(self)));
        match self.rng.range(0, 5) {
            0 => [-one.clone(), -one],
            1 => [one.clone().min(other.clone()), one.max(other)],
            _ => [-one, other],
        }
    }

    fn kind(&mut self) -> Kind {
        let kinds = if self.has_acceleration { 27 } else { 23 };
        match self.rng.range(0, kinds) {
            0 => Kind::TorqueOff,
            1..=5 => Kind::Standstill { position_window: self.window(), speed_window: self.limit() },
            6..=8 => Kind::SpeedLimit { limit: self.limit(), ramp: None },
            9..=12 => {
                let ramp = self.ramp();
                Kind::SpeedLimit { limit: self.limit(), ramp: Some(ramp) }
            }
            13..=15 => {
                let ramp = self.rng.flip().then(|| self.ramp());
                let (positive, negative) = (self.limit(), self.limit());
                Kind::SpeedLimitEachWay { positive, negative, ramp }
            }
            16..=17 => {
                let [low, high] = self.range(Self::limit);
                Kind::SpeedRange { low, high }
            }
            18..=19 => {
                let allowed = self.rng.pick(&[Way::Positive, Way::Negative]);
                Kind::Direction { allowed, tolerance: self.window() }
            }
            20..=21 => Kind::TravelLimit { increment: self.window() * q(5, 1) },
            24 => Kind::AccelerationLimit { limit: self.acceleration() },
            25 => {
                let [low, high] = self.range(Self::acceleration);
                Kind::AccelerationRange { low, high }
            }
            _ => self.stop(),
        }
    }

    fn stop(&mut self) -> Kind {
        let until = if self.rng.flip() {
            Until::TorqueOff
        } else {
            Until::Standstill { position_window: self.window(), speed_window: self.limit() }
        };
        let within_ns = time(self.rng, self.timing, 80);
        let by = if self.rng.once_in(3000) {
            By::Time { within_ns }
        } else if self.has_acceleration && self.rng.flip() {
            let deceleration = self.acceleration();
            By::Deceleration {
                delay_ns: time(self.rng, self.timing, 40),
                margin: &deceleration * q(self.rng.range(0, 90), 100),
                deceleration,
                standstill_speed: &self.v / q(20, 1),
                within_ns: self.rng.flip().then_some(within_ns),
            }
        } else {
            let within_ns = self.rng.flip().then_some(within_ns);
            By::Ramp { ramp: self.ramp(), standstill_speed: &self.v / q(20, 1), within_ns }
        };
        Kind::Stop { until, by }
    }
}

fn monitors(
    rng: &mut Rng,
    timing: &Timing,
    v: &Q,
    inputs: usize,
    (window_ns, points): (u64, usize),
) -> Vec<Monitor> {
    let count = rng.range(1, 6);
    (0..count)
        .map(|_| {
            let mut demand: Vec<usize> = (0..inputs).filter(|_| rng.once_in(4000)).collect();
            // Seldom enough that most axes keep the readings of one window.
            let has_acceleration = points >= 7 && rng.once_in(4000);
            let mut around = Around { rng, timing, v: v.clone(), window_ns, has_acceleration };
            let kind = around.kind();
            let allowed_overrun =
                (kind.can_overrun() && around.rng.once_in(3000)).then(|| around.window() * q(1, 4));
            let shuts_down = matches!(kind, Kind::TorqueOff | Kind::Stop { .. });
            if demand.is_empty() && shuts_down {
                // Without a demand it would hold the permit down, and hide everything else, for the whole trace.
                demand.push(0);
            }
            let demand = Demand::inputs(&demand);
            Monitor { demand, reaction: None, on_delay_ns: time(rng, timing, 6), allowed_overrun, kind }
        })
        .collect()
}

/// A random setup for `timing` with a history of `points`, and the typical speed of its motion in millionths of a
/// unit per second. With `has_extras` it may have what is in [`extras`].
pub(super) fn setup(rng: &mut Rng, timing: &Timing, points: usize, has_extras: bool) -> (Setup, i128) {
    let a = source(rng, timing);
    let b = source(rng, timing);
    let fastest = a.max_speed.clone().min(b.max_speed.clone());
    // Some three quarters of what the slower source can see, or less, as a whole number of millionths.
    let share = q(rng.range(5, 75), 100);
    let micro =
        (&fastest * share * q(1_000_000, 1)).to_integer().to_i128().expect("a speed is not that large");
    // A speed of many whole units a second is met exactly by whole counts, so exact ties with limits occur.
    let micro = if micro > 20_000_000 { micro / 10_000_000 * 10_000_000 } else { micro.max(1) };
    let v = q(micro, 1_000_000);
    let inputs = inputs(rng, timing);
    let window_ns = match rng.range(0, 3) {
        0 => timing.period_ns * rng.nanos(1, 16),
        1 => timing.period_ns * rng.nanos(1, 4) + rng.nanos(1, timing.period_ns - 1),
        2 => timing.period_ns * 8,
        _ => rng.nanos(timing.period_ns / 2, 30 * timing.period_ns),
    };
    let discrepancy = (!rng.once_in(2500)).then(|| Discrepancy {
        tolerance: &v * seconds(timing.period_ns) * q(rng.range(1, 100), 10),
        skew_allowance_ns: if rng.flip() { 0 } else { time(rng, timing, 3) },
        align: rng.flip(),
        discrepancy_time_ns: time(rng, timing, 10),
    });
    let speed_discrepancy = rng.once_in(5000).then(|| SpeedDiscrepancy {
        tolerance: &v * q(rng.range(1, 20), 100),
        discrepancy_time_ns: time(rng, timing, 10),
    });
    let monitors = monitors(rng, timing, &v, inputs.len(), (window_ns.max(10_000), points));
    let reset_filter_ns = if rng.flip() { 0 } else { time(rng, timing, 3) };
    let mut setup = Setup {
        a,
        b,
        referencing: [Referencing::None, Referencing::None],
        analogues: Vec::new(),
        window_ns: window_ns.max(10_000),
        points,
        warm_up_withholds: !rng.once_in(3000),
        discrepancy,
        speed_discrepancy,
        inputs,
        reset_line: Some(RESET_LINE),
        reset_filter_ns,
        monitors,
    };
    // Drawn from a copy: a setup without them is the same, and so are its frames.
    let mut extra = rng.clone().split();
    if has_extras && extra.once_in(2500) {
        extras(&mut extra, timing, &v, &mut setup);
    }
    (setup.as_held(), micro)
}
