//! What lets a frame pass without looking at every monitor again.
//!
//! A monitor is calm on a channel when it was not violated, and until its demand ends nothing but the motion can change what
//! it finds: a fixed speed limit, a landed envelope, a standstill with its reference. All calm monitors together
//! come down to one limit on the speed and one range of counts. While the motion is within both, none of them
//! can be violated, and none needs to be looked at. The limit on the speed is held as counts per time, rounded down, so that
//! not even a speed has to be worked out: near the limit the answer may be "not certain", and then the frame is looked at closely.
//!
//! A falling envelope is calm for a while: as long as the speed is below what the line will have come down to by then.

use crate::history::Spacing;
use crate::monitor::{Check, Lull, Monitor, Ramp, Rule, RuleState, Steady};
use crate::names::MonitorId;
use crate::outcome::MonitorSet;
use crate::scale::CountRate;
use crate::source::{Source, SourceConfig};
use crate::units::{Instant, Span, Speed};

/// The calm monitors of one channel, and what keeps them calm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Calm {
    pub(crate) monitors: MonitorSet,
    /// A magnitude of the speed within all of their limits.
    pub(crate) limit: Speed,
    /// The smallest limit that they put on the speed.
    pub(crate) in_force: Speed,
    /// A speed in counts that is within it.
    pub(crate) rate: CountRate,
    /// A magnitude that the speed has to stay above; 0 without one.
    above: Speed,
    /// A speed in counts beyond which it is.
    pub(crate) least: CountRate,
    /// The counts, from `low` to `high`, at which each of them is within its position window.
    low: i64,
    high: i64,
    /// Readings less than a window and at most a timeout apart keep calm: in nanoseconds. While it is 0, nothing does.
    pub(crate) interval: u32,
    /// One of them withdraws the permit as planned.
    pub(crate) withdraws: bool,
    /// A limit among them falls; then all active monitors are calm.
    pub(crate) falls: bool,
    /// And only until this frame.
    pub(crate) until: Instant,
}

/// How many counts a position window goes to either side of its reference; negative when that is outside.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Reach {
    /// Towards smaller counts.
    pub(crate) down: i64,
    /// Towards larger counts.
    pub(crate) up: i64,
}

/// No calm count is further off to either side: the difference of two does not overflow.
const FAR: i64 = 1 << 62;

/// How long a falling envelope is calm at a time: 2 to this power of nanoseconds (8.4 ms). While the speed is within the limit that it
/// falls to, it is calm for good.
const WHILE: u32 = 23;

/// The monitors of one frame whose limit falls, and were within it.
pub(crate) struct Falling {
    pub(crate) monitors: MonitorSet,
    /// The smallest of the limits that they fall to.
    target: Speed,
    /// What none of them falls below meanwhile.
    limit: Speed,
}

impl Falling {
    pub(crate) const NONE: Self = Self { monitors: MonitorSet::NONE, target: Speed::MAX, limit: Speed::MAX };

    /// One more, whose limit is `line` at this frame.
    fn add(&mut self, id: MonitorId, ramp: &Ramp, line: Speed, target: Speed) {
        self.monitors = self.monitors.with(id);
        self.target = self.target.min(target);
        self.limit = ramp.no_lower(line, WHILE).max(target).min(self.limit);
    }
}

impl Calm {
    /// Without a monitor. Until it is closed, no motion is calm.
    pub(crate) const NONE: Self = Self {
        monitors: MonitorSet::NONE,
        limit: Speed::MAX,
        in_force: Speed::MAX,
        rate: CountRate::ZERO,
        above: Speed::ZERO,
        least: CountRate::ZERO,
        low: i64::MIN,
        high: i64::MAX,
        interval: 0,
        withdraws: false,
        falls: false,
        until: Instant::from_nanos(u64::MAX),
    };

    /// Whether none of its monitors would find a violation now. Only for a channel without a fault.
    ///
    /// Without regard to a falling limit. It need not ask whether the count was broken since: the first frame after that knows no speed.
    #[inline]
    pub(crate) fn holds<const POINTS: usize>(&self, source: &Source<POINTS>) -> bool {
        self.interval > 0
            && source.window_travel().is_some_and(|travel| {
                travel.is_within(self.rate) && self.is_fast_enough(travel.counts, travel.elapsed)
            })
            && self.reaches(source.count())
    }

    /// Whether so many counts within so many nanoseconds are above what the speed has to stay above.
    #[inline(always)]
    pub(crate) fn is_fast_enough(&self, counts: i64, elapsed: u32) -> bool {
        self.least.is_zero() || !self.least.allows(counts, elapsed)
    }

    /// Takes in an output that stays what it is.
    pub(crate) fn consider_output(&mut self, id: MonitorId, steady: &Steady, here: i64) {
        match *steady {
            Steady::No | Steady::Counts(0) => return,
            Steady::Counts(counts) => {
                self.low = self.low.max(here.saturating_sub(counts));
                self.high = self.high.min(here.saturating_add(counts));
            }
            Steady::Speeds(above, below) => {
                self.limit = self.limit.min(below);
                self.above = self.above.max(above);
            }
        }
        self.monitors = self.monitors.with(id);
    }

    /// Whether each of its monitors is within its position window there.
    #[inline(always)]
    pub(crate) fn reaches(&self, count: i64) -> bool {
        self.low <= count && count <= self.high
    }

    /// When all monitors have been considered.
    pub(crate) fn close(&mut self, source: &SourceConfig, spacing: Spacing) {
        let reach = source.max_count().min(FAR);
        // Bounded because a reach is not negative.
        self.low = self.low.max(reach.wrapping_neg());
        self.high = self.high.min(reach);
        self.interval =
            match u32::try_from(spacing.window().saturating_sub(1).min(source.timeout().as_nanos())) {
                Ok(interval) if self.low <= self.high => interval,
                _ => 0,
            };
        self.rate = source.scale().rate_within(self.limit);
        self.least = CountRate::ZERO;
        if self.above > Speed::ZERO {
            match source.scale().rate_beyond(self.above) {
                Some(least) => self.least = least,
                None => self.interval = 0,
            }
        }
    }

    /// Takes in a monitor when it is calm, or hands it on to `falling` when its limit falls. `check` found neither a violation nor
    /// anything unknown; `reach` is how far its position window goes. One that only the core itself can follow is left out with
    /// `is_followed`.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) fn consider<Own: Monitor>(
        &mut self,
        id: MonitorId,
        (rule, state): (&Rule<Own>, &RuleState<Own::State>),
        check: &Check,
        reach: Reach,
        is_followed: bool,
        falling: &mut Falling,
    ) {
        let limit = match rule.calm(state, check) {
            None => return,
            Some(Lull::Falling { ramp, target }) => {
                if let Some(bound) = check.speed {
                    falling.add(id, ramp, bound.limit, target);
                }
                return;
            }
            Some(Lull::Within(_)) if is_followed => return,
            Some(Lull::Within(limit)) => Some(limit),
            Some(Lull::Constant) => check.speed.map(|bound| bound.limit),
        };
        if check.position.is_some() {
            let Some(from) = check.from else { return };
            self.low = self.low.max(from.count().saturating_sub(reach.down));
            self.high = self.high.min(from.count().saturating_add(reach.up));
        }
        if let Some(limit) = limit {
            self.limit = self.limit.min(limit);
        }
        if let Some(in_force) = check.in_force {
            self.in_force = self.in_force.min(in_force);
        }
        self.withdraws |= check.withdraws;
        self.monitors = self.monitors.with(id);
    }

    /// Takes in the monitors whose limit falls, for as long as `speed` certainly stays calm.
    pub(crate) fn add_falling(&mut self, falling: &Falling, now: Instant, speed: Speed) {
        let for_good = Instant::from_nanos(u64::MAX);
        let (limit, until) = if speed <= falling.target {
            (falling.target, for_good)
        } else {
            (falling.limit, now.after(Span::from_nanos(1 << WHILE)).unwrap_or(for_good))
        };
        if speed <= limit {
            self.limit = self.limit.min(limit);
            self.in_force = self.in_force.min(limit);
            self.monitors = self.monitors.union(falling.monitors);
            self.falls = true;
            self.until = until;
        }
    }
}

/// Whether a frame needs no closer look that brings nothing but motion within all limits.
///
/// So it is when every active monitor is calm, no input can change without a level, no on-delay runs, and there is a common start
/// to count a discrepancy from. Made at every frame that was looked at closely.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Quiet {
    /// The last instant at which it is so.
    pub(crate) until: Instant,
    /// A limit falls meanwhile.
    pub(crate) falls: bool,
    /// The permit meanwhile.
    pub(crate) permit: bool,
}

impl Quiet {
    /// Every frame needs a closer look: none is as early.
    pub(crate) const NOT: Self = Self { until: Instant::from_nanos(0), falls: false, permit: false };
}

/// What became of the last frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) enum Last {
    /// At least one channel could not be seen.
    Blind,
    /// Both channels could.
    Seen,
    /// And it was quiet.
    Quiet,
}
