//! An axis on which everything is a whole number: a count is a ULP, frames and windows are a second, so a step is a speed in ULP per
//! second and the difference of two steps an acceleration. What is one more than allowed is one ULP more.

use monitor_core::{
    Axis, AxisConfig, Channel, Demand, Frame, InputConfig, InputId, InputSet, Instant, Levels, Outcome,
    Position, Referencing, Rule, Scale, SourceConfig, Span, Speed, WarmUp,
};
use proptest::prelude::*;

use crate::axis::{Config, POINTS, reading};

/// A second in nanoseconds.
pub const S: u64 = 1_000_000_000;

/// The axis without rules. Both counters know their position: it is their count.
pub fn bare() -> Config {
    let scale = Scale::from_ratio(1, 1 << 24).expect("in range");
    let max_speed = Speed::from_int(1 << 20).expect("in range");
    let source = SourceConfig::try_new(64, scale, max_speed, Span::from_nanos(S + S / 2)).expect("in range");
    let mut config =
        AxisConfig::try_new(source, source, Span::from_nanos(S), WarmUp::Permit).expect("in range");
    for channel in Channel::BOTH {
        config.set_referencing(channel, Referencing::Absolute { offset: Position::ZERO }).expect("a channel");
    }
    config
}

/// The axis with one rule that is always active and has no on-delay.
pub fn with(rule: Rule) -> Config {
    let mut config = bare();
    config.add_monitor(rule, Demand::Always, Span::ZERO).expect("room for one");
    config
}

/// The input of a line that demands while it is high.
pub fn button(config: &mut Config, line: u8) -> InputId {
    config.add_input(InputConfig::single(line, true, Span::ZERO).expect("a line")).expect("room for one")
}

/// The demand of that input alone.
pub fn by(input: InputId) -> Demand {
    Demand::AnyOf(InputSet::NONE.with(input))
}

/// What the axis says at one frame after the other.
pub struct Grid {
    pub axis: Axis<POINTS>,
    pub now: u64,
}

impl Grid {
    pub fn new(config: Config) -> Self {
        Self { axis: Axis::new(config), now: 0 }
    }

    /// A second later, with the counts of both channels and the levels of the lines.
    pub fn step(&mut self, [a, b]: [i64; 2], levels: u32) -> Outcome {
        self.now += S;
        let (a, b) = (reading(self.now, a), reading(self.now, b));
        let levels = Levels::from_bits(levels);
        let outcome = self.axis.step(&Frame { now: Instant::from_nanos(self.now), a, b, levels });
        assert!(outcome.faults.a.is_none() && outcome.faults.b.is_none(), "the motion is plausible");
        outcome
    }

    /// The same with both channels at one count and every line low.
    pub fn at(&mut self, count: i64) -> Outcome {
        self.step([count; 2], 0)
    }
}

/// Nothing is violated on either channel.
pub fn is_kept(outcome: &Outcome) -> bool {
    outcome.violated.a.is_empty() && outcome.violated.b.is_empty() && !outcome.has_trip()
}

/// Something is, on both channels.
pub fn is_broken(outcome: &Outcome) -> bool {
    !outcome.violated.a.is_empty() && !outcome.violated.b.is_empty()
}

/// The places of steps from a place on.
pub fn places(from: i64, steps: &[i64]) -> Vec<i64> {
    let more = steps.iter().scan(from, |place, step| {
        *place += step;
        Some(*place)
    });
    std::iter::once(from).chain(more).collect()
}

/// A whole number from `low` to `high`, often one of the two.
pub fn between(low: i64, high: i64) -> impl Strategy<Value = i64> {
    prop_oneof![1 => Just(low), 1 => Just(high), 4 => low..=high]
}

/// So many of them that a motion is made of.
pub fn some_between(low: i64, high: i64) -> impl Strategy<Value = Vec<i64>> {
    prop::collection::vec(between(low, high), 1..40)
}
