//! What lets a frame pass without looking at every monitor again.
//!
//! A monitor is calm on a channel when it was not violated, and until its demand ends nothing but the motion can change what
//! it finds: a fixed speed limit, a landed envelope, a standstill with its reference. All calm monitors together
//! come down to one limit on the speed and one range of counts. While the motion is within both, none of them
//! can be violated, and none needs to be looked at.

use crate::axis::MonitorId;
use crate::monitor::{Check, Monitor, Rule, RuleState};
use crate::outcome::MonitorSet;
use crate::source::Source;
use crate::units::Speed;

/// The calm monitors of one channel, and what keeps them calm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Calm {
    pub(crate) monitors: MonitorSet,
    /// The smallest of their limits on the speed.
    pub(crate) limit: Speed,
    /// The counts, from `low` to `high`, at which each of them is within its position window.
    low: i64,
    high: i64,
    /// One of them withdraws the permit as planned.
    pub(crate) withdraws: bool,
}

impl Calm {
    pub(crate) const NONE: Self = Self {
        monitors: MonitorSet::NONE,
        limit: Speed::MAX,
        low: i64::MIN,
        high: i64::MAX,
        withdraws: false,
    };

    /// Whether none of its monitors would find a violation now. Only for a channel without a fault.
    ///
    /// It need not ask whether the count was broken since: the first frame after that knows no speed.
    #[inline]
    pub(crate) fn holds<const POINTS: usize>(&self, source: &Source<POINTS>) -> bool {
        let count = source.count();
        match source.speed() {
            Some(speed) => speed.magnitude() <= self.limit && count >= self.low && count <= self.high,
            None => false,
        }
    }

    /// Takes in a monitor when it is calm. `check` found neither a violation nor anything unknown; `reach` is how
    /// many counts its position window is wide to each side.
    pub(crate) fn consider<Own: Monitor>(
        &mut self,
        id: MonitorId,
        rule: &Rule<Own>,
        state: &RuleState<Own::State>,
        check: &Check,
        reach: i64,
    ) {
        if !rule.is_calm(state, check) {
            return;
        }
        if check.position.is_some() {
            let Some(reference) = state.reference() else { return };
            self.low = self.low.max(reference.count().saturating_sub(reach));
            self.high = self.high.min(reference.count().saturating_add(reach));
        }
        if let Some(bound) = check.speed {
            self.limit = self.limit.min(bound.limit);
        }
        self.withdraws |= check.withdraws;
        self.monitors = self.monitors.with(id);
    }
}
