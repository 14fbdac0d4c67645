//! What lets a frame pass without looking at every monitor again.
//!
//! A monitor is calm on a channel when it was not violated, and until its demand ends nothing but the motion can change what
//! it finds: a fixed speed limit, a landed envelope, a standstill with its reference. All calm monitors together
//! come down to one limit on the speed and one range of counts. While the motion is within both, none of them
//! can be violated, and none needs to be looked at. The limit on the speed is held as counts per time, rounded down, so that
//! not even a speed has to be worked out: near the limit the answer may be "not certain", and then the frame is looked at closely.
//!
//! A falling envelope is calm for a while: as long as the speed is below what the line will have come down to by then. A direction is
//! calm while the way back from the furthest point is short, an acceleration while the travels of the two windows differ by little, an
//! analogue value while it is within the limits on it.

use crate::history::Spacing;
use crate::monitor::{Check, Lull, Monitor, Ramp, Rule, RuleState, Steady};
use crate::names::MonitorId;
use crate::outcome::MonitorSet;
use crate::scale::{CountRate, WindowTravel};
use crate::source::{Source, SourceConfig};
use crate::units::{Instant, Span, Speed};

/// The calm monitors of one channel, and what keeps them calm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Calm {
    pub(crate) monitors: MonitorSet,
    /// Those of them that go by an analogue value.
    pub(crate) on_values: MonitorSet,
    /// The smallest limit that they put on the speed.
    pub(crate) in_force: Speed,
    /// A speed in counts that is within all of their limits.
    pub(crate) rate: CountRate,
    /// A speed in counts beyond which it is as fast as it has to stay; 0 where it need not be.
    pub(crate) least: CountRate,
    /// The counts, from `low` to `high`, at which each of them is within its position window.
    low: i64,
    high: i64,
    /// How far it may come back from the largest and the smallest count.
    pub(crate) back: Reach,
    /// One of them goes by that, or by how much the speed changes.
    pub(crate) turns: bool,
    /// How much the speed may change.
    pub(crate) bend: Bend,
    /// Readings less than a window and at most a timeout apart keep calm: in nanoseconds. While it is 0, nothing does.
    pub(crate) interval: u32,
    /// One of them withdraws the permit as planned.
    pub(crate) withdraws: bool,
    /// A limit among them falls; then all active monitors are calm.
    pub(crate) falls: bool,
    /// What one of them observes, or what it is held against, cannot be told from the motion alone.
    pub(crate) hides: bool,
}

/// How many counts a position window goes to either side of its reference; negative when that is outside. Of an acceleration, how far
/// it goes to either side of none, as a [`Bend`] has it; negative when no speed may stay what it is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Reach {
    /// Towards smaller counts.
    pub(crate) down: i64,
    /// Towards larger counts.
    pub(crate) up: i64,
}

impl Reach {
    /// The way on of a direction: further is no violation, but then the furthest point moves on.
    pub(crate) const FREE: i64 = i64::MAX;

    const ANYWHERE: Self = Self { down: Self::FREE, up: Self::FREE };

    fn common(self, other: Self) -> Self {
        Self { down: self.down.min(other.down), up: self.up.min(other.up) }
    }
}

/// The counts reached since all monitors were looked at, those that are calm among them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Reached {
    pub(crate) smallest: i64,
    pub(crate) largest: i64,
}

impl Reached {
    /// Nothing but this count.
    pub(crate) const fn only(count: i64) -> Self {
        Self { smallest: count, largest: count }
    }

    /// This count too.
    #[inline(always)]
    pub(crate) fn with(self, count: i64) -> Self {
        Self { smallest: self.smallest.min(count), largest: self.largest.max(count) }
    }
}

/// How far apart the travels of two windows may be: c₁ · t₂ − c₂ · t₁ for c₁ counts in t₁ nanoseconds after c₂ counts in t₂. Over the
/// product of the times that is the change of the speed, and neither time is shorter than the window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Bend(Reach);

impl Bend {
    /// Whether they are no further apart; false also when that cannot be told.
    #[inline(always)]
    pub(crate) fn allows(self, before: WindowTravel, now: WindowTravel) -> bool {
        let spare = (before.elapsed | now.elapsed).leading_zeros();
        let most = before.counts.unsigned_abs() | now.counts.unsigned_abs();
        if most >> spare.wrapping_add(30) != 0 {
            return false;
        }
        // Bounded because counts are below 2^(30 + spare), and times below 2^(32 − spare).
        let (c1, c2) = (
            now.counts.wrapping_mul(i64::from(before.elapsed)),
            before.counts.wrapping_mul(i64::from(now.elapsed)),
        );
        let apart = c1.wrapping_sub(c2);
        // Bounded because neither is negative.
        self.0.down.wrapping_neg() <= apart && apart <= self.0.up
    }
}

/// No calm count is further off to either side: the difference of two does not overflow.
const FAR: i64 = 1 << 62;

/// How long a falling envelope is calm at a time: 2 to this power of nanoseconds (8.4 ms). While the speed is within the limit that it
/// falls to, it is calm for good.
const WHILE: u32 = 23;

/// Later than any frame.
pub(crate) const FOR_GOOD: Instant = Instant::from_nanos(u64::MAX);

/// What became calm at one frame asks of the speed.
pub(crate) struct Found {
    /// A magnitude within all limits.
    limit: Speed,
    /// A magnitude to stay above; 0 without one.
    above: Speed,
    /// Monitors whose limit falls, and were within it.
    pub(crate) falling: MonitorSet,
    /// The smallest of the limits that they fall to.
    target: Speed,
    /// What none of them falls below meanwhile.
    falling_limit: Speed,
    /// What is calm with a falling limit is so until this frame.
    pub(crate) until: Instant,
}

impl Found {
    /// It asks nothing.
    pub(crate) const NOTHING: Self = Self {
        limit: Speed::MAX,
        above: Speed::ZERO,
        falling: MonitorSet::NONE,
        target: Speed::MAX,
        falling_limit: Speed::MAX,
        until: FOR_GOOD,
    };

    /// One more whose limit falls, and is `line` at this frame.
    fn add_falling(&mut self, id: MonitorId, ramp: &Ramp, line: Speed, target: Speed) {
        self.falling = self.falling.with(id);
        self.target = self.target.min(target);
        self.falling_limit = ramp.no_lower(line, WHILE).max(target).min(self.falling_limit);
    }
}

impl Calm {
    /// Without a monitor. Until it is closed, no motion is calm.
    pub(crate) const NONE: Self = Self {
        monitors: MonitorSet::NONE,
        on_values: MonitorSet::NONE,
        in_force: Speed::MAX,
        rate: CountRate::MAX,
        least: CountRate::ZERO,
        low: i64::MIN,
        high: i64::MAX,
        back: Reach::ANYWHERE,
        bend: Bend(Reach::ANYWHERE),
        turns: false,
        interval: 0,
        withdraws: false,
        falls: false,
        hides: false,
    };

    /// Whether none of its monitors would find a violation now. Only for a channel without a fault.
    ///
    /// Without regard to a falling limit. It need not ask whether the count was broken since: the first frame after that knows no speed.
    #[inline]
    pub(crate) fn holds<const POINTS: usize>(
        &self,
        source: &Source<POINTS>,
        before: Option<WindowTravel>,
    ) -> bool {
        self.interval > 0
            && source.window_travel().is_some_and(|travel| {
                travel.is_within(self.rate)
                    && self.is_fast_enough(travel.counts, travel.elapsed)
                    && (!self.bends() || before.is_some_and(|before| self.bend.allows(before, travel)))
            })
            && self.reaches(source.count())
            && self.is_near_enough(source.reached(), source.count())
    }

    /// Whether one of its monitors goes by how much the speed changes.
    pub(crate) fn bends(&self) -> bool {
        self.bend.0 != Reach::ANYWHERE
    }

    /// Whether so far back from the counts reached is not too far.
    #[inline(always)]
    pub(crate) fn is_near_enough(&self, reached: Reached, count: i64) -> bool {
        reached.largest.saturating_sub(count) <= self.back.down
            && count.saturating_sub(reached.smallest) <= self.back.up
    }

    /// Whether so many counts within so many nanoseconds are above what the speed has to stay above.
    #[inline(always)]
    pub(crate) fn is_fast_enough(&self, counts: i64, elapsed: u32) -> bool {
        self.least.is_zero() || !self.least.allows(counts, elapsed)
    }

    /// Takes in an output that stays what it is.
    pub(crate) fn consider_output(&mut self, id: MonitorId, steady: &Steady, here: i64, found: &mut Found) {
        match *steady {
            Steady::No | Steady::Counts(0) => return,
            Steady::Counts(counts) => {
                self.low = self.low.max(here.saturating_sub(counts));
                self.high = self.high.min(here.saturating_add(counts));
            }
            Steady::Speeds(above, below) => {
                found.limit = found.limit.min(below);
                found.above = found.above.max(above);
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
    pub(crate) fn close(&mut self, source: &SourceConfig, spacing: Spacing, found: &Found) {
        let reach = source.max_count().min(FAR);
        // Bounded because a reach is not negative.
        self.low = self.low.max(reach.wrapping_neg());
        self.high = self.high.min(reach);
        self.interval =
            match u32::try_from(spacing.window().saturating_sub(1).min(source.timeout().as_nanos())) {
                Ok(interval) if self.low <= self.high => interval,
                _ => 0,
            };
        self.rate = self.rate.min(source.scale().rate_within(found.limit));
        if found.above > Speed::ZERO {
            self.least = self.least.max(source.scale().rate_beyond(found.above));
        }
    }

    /// Takes in a monitor when it is calm, or notes it in `found` when its limit falls. `check` found neither a violation nor
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
        found: &mut Found,
    ) {
        let mut reach = reach;
        let limit = match rule.calm(state, check) {
            None => return,
            Some(Lull::Falling { ramp, target }) => {
                if let Some(bound) = check.speed {
                    found.add_falling(id, ramp, bound.limit, target);
                }
                return;
            }
            Some(Lull::OneWay) if is_followed => {
                // The furthest point stays where it was shown.
                let there = |counts| if counts == Reach::FREE { 0 } else { counts };
                reach = Reach { down: there(reach.down), up: there(reach.up) };
                None
            }
            Some(Lull::Within(_) | Lull::Bent | Lull::OnValue) if is_followed => return,
            Some(Lull::OneWay) => {
                self.back = self.back.common(reach);
                self.turns = true;
                self.hides = true;
                None
            }
            Some(Lull::Bent) => {
                if reach.down < 0 || reach.up < 0 {
                    return;
                }
                self.bend = Bend(self.bend.0.common(reach));
                self.turns = true;
                self.hides = true;
                None
            }
            Some(Lull::OnValue) => {
                self.on_values = self.on_values.with(id);
                self.hides = true;
                None
            }
            Some(Lull::Within(limit)) => {
                self.hides = true;
                Some(limit)
            }
            Some(Lull::Constant) => check.speed.map(|bound| bound.limit),
        };
        if check.position.is_some() {
            let Some(from) = check.from else { return };
            self.low = self.low.max(from.count().saturating_sub(reach.down));
            self.high = self.high.min(from.count().saturating_add(reach.up));
        }
        if let Some(limit) = limit {
            found.limit = found.limit.min(limit);
        }
        if let Some(in_force) = check.in_force {
            self.in_force = self.in_force.min(in_force);
        }
        self.withdraws |= check.withdraws;
        self.monitors = self.monitors.with(id);
    }

    /// Takes in the monitors whose limit falls, for as long as `speed` certainly stays calm.
    pub(crate) fn add_falling(&mut self, found: &mut Found, now: Instant, speed: Speed) {
        let (limit, until) = if speed <= found.target {
            (found.target, FOR_GOOD)
        } else {
            (found.falling_limit, now.after(Span::from_nanos(1 << WHILE)).unwrap_or(FOR_GOOD))
        };
        if speed <= limit {
            found.limit = found.limit.min(limit);
            found.until = until;
            self.in_force = self.in_force.min(limit);
            self.monitors = self.monitors.union(found.falling);
            self.falls = true;
            self.hides = true;
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
    /// What a monitor observes meanwhile cannot be told from the motion.
    pub(crate) hides: bool,
    /// Directions, accelerations or analogue values are to be looked at.
    pub(crate) asks_more: bool,
    /// The permit meanwhile.
    pub(crate) permit: bool,
}

impl Quiet {
    /// Every frame needs a closer look: none is as early.
    pub(crate) const NOT: Self =
        Self { until: Instant::from_nanos(0), hides: false, asks_more: false, permit: false };
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
