//! How far the channels come apart over a trace: the largest difference, and the smallest headroom.

use monitor_core::{
    AnalogueId, Bound, Channel, Glimpse, Instant, PerChannel, Position, Speed, Value, WindowTravel,
};

use super::axis::ReplayAxis;
use super::margin::{Margin, Raw};
use super::outcome::Apart;

/// One discrepancy.
#[derive(Clone, Copy, Debug)]
struct Extremes {
    margin: Margin,
    /// In ULPs, with its first frame.
    largest: (i64, Instant),
}

impl Extremes {
    const NEW: Self = Self { margin: Margin::NEW, largest: (-1, Instant::from_nanos(0)) };

    /// Takes the comparison of one frame, if there was one.
    #[inline]
    fn update<T: Raw>(&mut self, now: Instant, bound: Option<Bound<T>>) {
        let Some(bound) = bound else { return self.margin.interrupt() };
        if bound.observed.raw() > self.largest.0 {
            self.largest = (bound.observed.raw(), now);
        }
        self.margin.update(now, bound);
    }

    /// What it came to; `None` when nothing was ever compared.
    fn apart<T>(&self, of_ulps: impl Fn(i64) -> T) -> Option<Apart<T>> {
        self.margin.seen.then(|| Apart {
            largest: (of_ulps(self.largest.0), self.largest.1),
            headroom: (of_ulps(self.margin.headroom), self.margin.at),
        })
    }
}

/// The discrepancy of the speeds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Speeds(Extremes);

impl Speeds {
    pub(super) const NEW: Self = Self(Extremes::NEW);

    /// Takes in one frame.
    #[inline]
    pub(super) fn frame(&mut self, axis: &ReplayAxis, now: Instant) {
        self.0.update(now, axis.speeds_apart());
    }

    /// What it is compared by.
    pub(super) const fn margin(&self) -> &Margin {
        &self.0.margin
    }

    pub(super) fn apart(&self) -> Option<Apart<Speed>> {
        self.0.apart(Speed::from_bits)
    }
}

/// The discrepancy of the two lines of an analogue value.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lines {
    extremes: Extremes,
    tolerance: Value,
}

impl Lines {
    pub(super) const fn new(tolerance: Value) -> Self {
        Self { extremes: Extremes::NEW, tolerance }
    }

    /// Takes in one frame.
    pub(super) fn frame(&mut self, axis: &ReplayAxis, id: AnalogueId, now: Instant) {
        self.extremes.update(now, lines_apart(axis, id, self.tolerance));
    }

    /// What it is compared by.
    pub(super) const fn margin(&self) -> &Margin {
        &self.extremes.margin
    }

    pub(super) fn apart(&self) -> Option<Apart<Value>> {
        self.extremes.apart(Value::from_bits)
    }
}

/// How far the two lines of an analogue value are apart at this frame, and may be; `None` where one of them cannot be seen.
pub(crate) fn lines_apart(axis: &ReplayAxis, id: AnalogueId, tolerance: Value) -> Option<Bound<Value>> {
    let value = |line| match axis.state().analogue_fault(id, line) {
        None => axis.state().analogue_reading(id, line)?.value.map(Value::to_bits),
        Some(_) => None,
    };
    let apart =
        value(Channel::A).zip(value(Channel::B)).map(|(a, b)| a.saturating_sub(b).saturating_abs())?;
    Some(Bound::at_most(Value::from_bits(apart), tolerance))
}

/// What tells quickly that the channels are at a quiet frame neither further apart than ever nor closer to what is allowed.
#[derive(Clone, Copy, Debug)]
struct Amid {
    within: Position,
    /// With as much travel over as long a window, on both channels, as much is allowed.
    travels: [WindowTravel; 2],
}

impl Amid {
    #[inline(always)]
    fn holds(&self, axis: &ReplayAxis, travels: [Option<WindowTravel>; 2]) -> bool {
        let is_as_fast = |now: Option<WindowTravel>, then: WindowTravel| {
            now.is_some_and(|now| {
                now.elapsed() == then.elapsed() && now.counts().unsigned_abs() >= then.counts().unsigned_abs()
            })
        };
        is_as_fast(travels[0], self.travels[0])
            && is_as_fast(travels[1], self.travels[1])
            && axis.config().distance(axis.state()).is_some_and(|distance| distance <= self.within)
    }
}

/// The discrepancy of the positions.
#[derive(Clone, Copy, Debug)]
pub(super) struct Positions {
    extremes: Extremes,
    amid: Option<Amid>,
    /// The last frame was passed over: nothing was apart as far, or as close to what is allowed, as before.
    is_passed: bool,
}

impl Positions {
    pub(super) const NEW: Self = Self { extremes: Extremes::NEW, amid: None, is_passed: false };

    /// Takes in a quiet frame, at which the channels were `seen` so.
    #[inline(always)]
    pub(super) fn quiet_frame(&mut self, axis: &ReplayAxis, now: Instant, seen: [Option<Glimpse>; 2]) {
        let travels = [seen[0].and_then(|seen| seen.travel), seen[1].and_then(|seen| seen.travel)];
        if self.amid.as_ref().is_some_and(|amid| amid.holds(axis, travels)) {
            self.is_passed = true;
            return;
        }
        self.closely(axis, now, travels);
    }

    fn closely(&mut self, axis: &ReplayAxis, now: Instant, travels: [Option<WindowTravel>; 2]) {
        let apart = self.frame(axis, now);
        self.amid = apart.zip(travels[0].zip(travels[1])).map(|(apart, (a, b))| {
            let Extremes { margin, largest } = &self.extremes;
            let most = apart.bound.limit.to_bits().saturating_sub(margin.headroom);
            Amid { within: Position::from_bits(most.min(largest.0)), travels: [a, b] }
        });
    }

    /// Takes in any frame.
    pub(super) fn frame(&mut self, axis: &ReplayAxis, now: Instant) -> Option<monitor_core::Apart> {
        self.is_passed = false;
        let apart = axis.apart();
        self.extremes.update(now, apart.map(|apart| apart.bound));
        apart
    }

    /// To be called before a frame that is not quiet: when the one before it, at which the channels were `seen` so, was passed over, its
    /// comparison is made up for. A crossing is interpolated from there.
    pub(super) fn recall(&mut self, axis: &ReplayAxis, then: Option<Instant>, seen: [Option<Glimpse>; 2]) {
        if !std::mem::take(&mut self.is_passed) {
            return;
        }
        self.extremes.margin.interrupt();
        if let ([Some(a), Some(b)], Some(then)) = (seen, then)
            && let Some(apart) = axis.config().apart_then(axis.state(), then, &PerChannel { a, b })
        {
            self.extremes.margin.pass(then, apart.bound);
        }
    }

    /// What it is compared by.
    pub(super) const fn margin(&self) -> &Margin {
        &self.extremes.margin
    }

    pub(super) fn apart(&self) -> Option<Apart<Position>> {
        self.extremes.apart(Position::from_bits)
    }
}
