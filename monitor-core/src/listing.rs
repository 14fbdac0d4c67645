//! What an axis was given, to be shown or compared.

use crate::analogue::AnalogueConfig;
use crate::config::{AxisConfig, WarmUp};
use crate::demand::{Demand, Referencing};
use crate::discrepancy::{PositionDiscrepancy, SpeedDiscrepancy};
use crate::frame::Channel;
use crate::input::InputConfig;
use crate::monitor::{Monitor, Rule};
use crate::names::MonitorId;
use crate::units::{Position, Span};

/// One monitor as it was added.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MonitorParts<'a, Own> {
    /// What it watches.
    pub rule: &'a Rule<Own>,
    /// When it is active.
    pub demand: Demand,
    /// How long a violation lasts before it trips.
    pub on_delay: Span,
    /// How far the excess of a speed may carry meanwhile.
    pub allowed_overrun: Option<Position>,
    /// The stop that its trip demands; without one a trip withdraws the permit at once.
    pub reaction: Option<MonitorId>,
}

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>
    AxisConfig<POINTS, MONITORS, INPUTS, Own>
{
    /// What speeds are taken over, 10 µs to 2 s.
    #[must_use]
    pub const fn window(&self) -> Span {
        Span::from_nanos(self.spacing.window())
    }

    /// How far neighbouring stored readings are apart, where the readings themselves are not further: what the effective window may exceed the
    /// set one by.
    #[must_use]
    pub const fn spacing(&self) -> Span {
        self.spacing.step()
    }

    /// Whether unknown speeds withhold the permit.
    #[must_use]
    pub const fn warm_up(&self) -> WarmUp {
        self.warm_up
    }

    /// How the position of a channel comes to mean a place of the machine.
    #[must_use]
    pub const fn referencing(&self, channel: Channel) -> Referencing {
        *self.referencing.of(channel)
    }

    /// The analogue values in the order of adding.
    #[must_use]
    pub fn analogues(&self) -> &[AnalogueConfig] {
        &self.analogues
    }

    /// The inputs in the order of adding, without the reset.
    #[must_use]
    pub fn inputs(&self) -> &[InputConfig] {
        &self.inputs
    }

    /// The input whose release resets the latches.
    #[must_use]
    pub const fn reset(&self) -> Option<&InputConfig> {
        self.reset.as_ref()
    }

    /// The monitors in the order of adding.
    pub fn monitors(&self) -> impl ExactSizeIterator<Item = MonitorParts<'_, Own>> {
        self.monitors.iter().map(|monitor| MonitorParts {
            rule: &monitor.rule,
            demand: monitor.demand,
            on_delay: monitor.tolerated.on_delay,
            allowed_overrun: monitor.tolerated.overrun,
            reaction: monitor.reaction,
        })
    }

    /// The rule on the positions of the two channels.
    #[must_use]
    pub const fn position_discrepancy(&self) -> Option<&PositionDiscrepancy> {
        self.position_discrepancy.as_ref()
    }

    /// The rule on the speeds of the two channels.
    #[must_use]
    pub const fn speed_discrepancy(&self) -> Option<&SpeedDiscrepancy> {
        self.speed_discrepancy.as_ref()
    }
}
