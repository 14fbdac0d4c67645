//! The axis: both channels, all monitors, one permit.

use crate::analogue::AnalogueReading;
use crate::config::AxisConfig;
use crate::discrepancy::Apart;
use crate::frame::{Channel, Frame};
use crate::monitor::{Bound, Check, Monitor, NoOwn};
use crate::names::{AnalogueId, MonitorId};
use crate::outcome::Outcome;
use crate::scale::WindowSpeed;
use crate::source::Mark;
use crate::state::AxisState;
use crate::units::{Position, Speed};

/// An axis: its setup and its state.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Axis<
    const POINTS: usize = 33,
    const MONITORS: usize = 16,
    const INPUTS: usize = 16,
    Own: Monitor = NoOwn,
> {
    config: AxisConfig<POINTS, MONITORS, INPUTS, Own>,
    state: AxisState<POINTS, MONITORS, INPUTS, Own>,
}

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>
    Axis<POINTS, MONITORS, INPUTS, Own>
{
    /// An axis that has not been shown a frame: no permit.
    #[must_use]
    pub fn new(config: AxisConfig<POINTS, MONITORS, INPUTS, Own>) -> Self {
        Self { config, state: AxisState::new() }
    }

    /// Evaluates one frame. Bounded, and it cannot panic.
    #[inline]
    pub fn step(&mut self, frame: &Frame) -> Outcome {
        self.config.step(&mut self.state, frame)
    }

    /// Hands in a reading of one line of an analogue value; see [`AxisConfig::offer`].
    pub fn offer(&mut self, of: AnalogueId, channel: Channel, reading: AnalogueReading) {
        self.config.offer(&mut self.state, of, channel, reading);
    }

    /// As [`step`](Self::step), and shows every check of every active monitor on every visible channel.
    #[inline]
    pub fn step_watched(
        &mut self,
        frame: &Frame,
        watch: &mut impl FnMut(MonitorId, Channel, &Check),
    ) -> Outcome {
        self.config.step_watched(&mut self.state, frame, watch)
    }

    /// As [`step`](Self::step), and shows the checks that may have come out differently from the frame before; see
    /// [`AxisConfig::step_noted`].
    #[inline]
    pub fn step_noted(
        &mut self,
        frame: &Frame,
        watch: &mut impl FnMut(MonitorId, Channel, &Check),
    ) -> Outcome {
        self.config.step_noted(&mut self.state, frame, watch)
    }

    /// The windowed speed of a channel; `None` while unknown. See [`AxisConfig::speed`].
    #[must_use]
    pub fn speed(&self, channel: Channel) -> Option<WindowSpeed> {
        self.config.speed(&self.state, channel)
    }

    /// How far the channels were apart at the last frame; see [`AxisConfig::apart`].
    #[must_use]
    pub fn apart(&self) -> Option<Apart> {
        self.config.apart(&self.state)
    }

    /// How far the speeds of the channels were apart at the last frame; see [`AxisConfig::speeds_apart`].
    #[must_use]
    pub fn speeds_apart(&self) -> Option<Bound<Speed>> {
        self.config.speeds_apart(&self.state)
    }

    /// The length of a channel's travel between two places, rounded up to a ULP. `None` when the count was broken in
    /// between, or beyond the range.
    #[must_use]
    pub fn length(&self, channel: Channel, from: Mark, to: Mark) -> Option<Position> {
        self.config.sources.of(channel).scale().length(from.counts_to(to)?)
    }

    /// What the axis remembers: trips with their evidence, latched faults, where the channels were.
    #[must_use]
    pub const fn state(&self) -> &AxisState<POINTS, MONITORS, INPUTS, Own> {
        &self.state
    }

    /// The setup.
    #[must_use]
    pub const fn config(&self) -> &AxisConfig<POINTS, MONITORS, INPUTS, Own> {
        &self.config
    }

    /// The position of a channel, rounded to the nearest ULP; `None` while unknown.
    #[must_use]
    pub fn position(&self, channel: Channel) -> Option<Position> {
        self.config.position(&self.state, channel)
    }
}
