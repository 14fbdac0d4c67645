//! What an axis remembers from frame to frame.

use crate::analogue::{Analogue, AnalogueReading};
use crate::calm::{Calm, Last, Quiet};
use crate::discrepancy::{Glimpse, References};
use crate::frame::{Channel, Levels};
use crate::input::{Button, Input};
use crate::monitor::{Monitor, NoOwn, RuleState};
use crate::names::{ANALOGUES, AnalogueId, InputId, MonitorId};
use crate::outcome::{InputSet, MonitorSet, PerChannel};
use crate::source::{Mark, Source, SourceFault};
use crate::trip::{Flags, Latch, OwnLatch, Trip, Tripped};
use crate::units::{Instant, Speed};

/// One monitor on one channel.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Half<RuleState> {
    pub(crate) state: RuleState,
    pub(crate) latch: Latch,
}

/// One channel: its source and its half of every monitor.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Side<const POINTS: usize, const MONITORS: usize, RuleState> {
    pub(crate) source: Source<POINTS>,
    /// A channel fault is latched.
    pub(crate) lost: bool,
    /// Monitors with a latched trip.
    pub(crate) latched: MonitorSet,
    /// Monitors that were unreferenced, latched.
    pub(crate) unreferenced: MonitorSet,
    /// Where a position was declared.
    pub(crate) declared: Mark,
    /// The smallest limit on the speed at the frame before.
    pub(crate) limit_before: Speed,
    pub(crate) calm: Calm,
    /// Those beyond the monitors of the setup are not used.
    pub(crate) halves: [Half<RuleState>; MONITORS],
    /// Of the latches of the halves.
    pub(crate) flags: [Flags; MONITORS],
}

impl<const POINTS: usize, const MONITORS: usize, OwnState: Copy> Side<POINTS, MONITORS, RuleState<OwnState>> {
    /// Of an axis that has not been shown a frame.
    const NEW: Self = {
        let half = Half { state: RuleState::None, latch: Latch::NEW };
        Self {
            source: Source::new(),
            lost: false,
            latched: MonitorSet::NONE,
            unreferenced: MonitorSet::NONE,
            declared: Mark::NEVER,
            limit_before: Speed::MAX,
            calm: Calm::NONE,
            halves: [half; MONITORS],
            flags: [Flags::NONE; MONITORS],
        }
    };
}

/// Everything about an axis that changes while it runs. Starts without permit and without knowing anything.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AxisState<
    const POINTS: usize = 33,
    const MONITORS: usize = 16,
    const INPUTS: usize = 16,
    Own: Monitor = NoOwn,
> {
    /// The first frame has been evaluated.
    pub(crate) started: bool,
    /// The last evaluated frame; 0 before the first.
    pub(crate) last_now: Instant,
    pub(crate) clock_fault: bool,
    pub(crate) quiet: Quiet,
    pub(crate) last: Last,
    /// Something is latched that withdraws the permit until a reset: a fault of the clock, a channel or an analogue value, a rule without its
    /// reference, a trip without a reaction.
    pub(crate) locked: bool,
    pub(crate) started_at: Instant,
    pub(crate) sides: PerChannel<Side<POINTS, MONITORS, RuleState<Own::State>>>,
    pub(crate) levels: Levels,
    /// Inputs or carried monitors may change although no level does.
    pub(crate) restless: bool,
    /// No input changes while no level does.
    pub(crate) settled: bool,
    pub(crate) demanding: InputSet,
    /// Inputs of which either channel is at the demand level, whatever is latched.
    pub(crate) asking: InputSet,
    /// Inputs of which both channels demand, without a fault.
    pub(crate) confirmed: InputSet,
    /// Outputs that are true.
    pub(crate) outputs: MonitorSet,
    /// The permit at the last frame.
    pub(crate) permitted: bool,
    /// The first frame without it.
    pub(crate) permit_gone_at: Instant,
    /// Stops that latched trips demand.
    pub(crate) stops: MonitorSet,
    /// Those beyond the inputs of the setup stay as they are: at rest.
    pub(crate) inputs: [Input; INPUTS],
    pub(crate) button: Button,
    pub(crate) active: MonitorSet,
    /// When the demand of each monitor became active.
    pub(crate) demanded_at: [Instant; MONITORS],
    /// Monitors that are active although nothing demands them.
    pub(crate) carried: MonitorSet,
    pub(crate) references: References,
    pub(crate) position_discrepancy: OwnLatch,
    pub(crate) speed_discrepancy: OwnLatch,
    /// Those beyond the analogue values of the setup are not used.
    pub(crate) analogues: [Analogue; ANALOGUES],
}

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>
    AxisState<POINTS, MONITORS, INPUTS, Own>
{
    /// The state of an axis that has not been shown a frame, whatever its setup: can be made where it is to stay.
    #[must_use]
    pub const fn new() -> Self {
        let zero = Instant::from_nanos(0);
        Self {
            started: false,
            last_now: zero,
            clock_fault: false,
            quiet: Quiet::NOT,
            last: Last::Blind,
            locked: false,
            started_at: zero,
            sides: PerChannel { a: Side::NEW, b: Side::NEW },
            levels: Levels::from_bits(0),
            restless: true,
            settled: false,
            demanding: InputSet::NONE,
            asking: InputSet::NONE,
            confirmed: InputSet::NONE,
            outputs: MonitorSet::NONE,
            permitted: false,
            permit_gone_at: zero,
            stops: MonitorSet::NONE,
            inputs: [Input::NEW; INPUTS],
            button: Button::new(),
            active: MonitorSet::NONE,
            demanded_at: [zero; MONITORS],
            carried: MonitorSet::NONE,
            references: References::NONE,
            position_discrepancy: OwnLatch::NEW,
            speed_discrepancy: OwnLatch::NEW,
            analogues: [Analogue::NEW; ANALOGUES],
        }
    }

    /// Whether the last frame brought nothing but motion within all limits. The outcomes of such frames that follow one another are the
    /// same: nothing is violated, faulted or warming up, and nothing changes but positions and speeds.
    ///
    /// Not every frame that is so is told to be.
    #[inline]
    #[must_use]
    pub const fn was_quiet(&self) -> bool {
        matches!(self.last, Last::Quiet)
    }

    /// Whether an input fault is latched.
    #[must_use]
    pub fn is_input_faulted(&self, input: InputId) -> bool {
        self.inputs.get(usize::from(input.index())).is_some_and(Input::is_faulted)
    }

    /// Whether a channel fault is latched.
    #[must_use]
    pub const fn is_channel_faulted(&self, channel: Channel) -> bool {
        self.sides.of(channel).lost
    }

    /// Why a line of an analogue value could not be seen at the last frame.
    #[must_use]
    pub fn analogue_fault(&self, of: AnalogueId, channel: Channel) -> Option<SourceFault> {
        self.analogues.get(usize::from(of.index()))?.fault(channel)
    }

    /// The newest reading of a line of an analogue value that came in order; `None` before the first.
    #[must_use]
    pub fn analogue_reading(&self, of: AnalogueId, channel: Channel) -> Option<AnalogueReading> {
        self.analogues.get(usize::from(of.index()))?.reading(channel)
    }

    /// Whether a fault of a line of an analogue value is latched.
    #[must_use]
    pub fn is_analogue_faulted(&self, of: AnalogueId, channel: Channel) -> bool {
        self.analogues.get(usize::from(of.index())).is_some_and(|analogue| analogue.is_lost(channel))
    }

    /// Monitors that lacked a referenced position on a channel: latched faults.
    #[must_use]
    pub const fn unreferenced(&self, channel: Channel) -> MonitorSet {
        self.sides.of(channel).unreferenced
    }

    /// Monitors that are active although nothing demands them any more: stops that are carried through.
    #[must_use]
    pub const fn carried(&self) -> MonitorSet {
        self.carried
    }

    /// Whether a clock fault is latched.
    #[must_use]
    pub const fn is_clock_faulted(&self) -> bool {
        self.clock_fault
    }

    /// Where a channel was at the last frame, and what it had travelled; `None` while its position is unknown.
    #[inline]
    #[must_use]
    pub fn glimpse(&self, channel: Channel) -> Option<Glimpse> {
        self.sides.of(channel).source.glimpse()
    }

    /// The latched trip of one rule, with its evidence.
    #[must_use]
    pub fn trip(&self, rule: Tripped) -> Option<Trip> {
        let (latch, flags) = match rule {
            Tripped::Monitor(id, channel) => {
                let (side, place) = (self.sides.of(channel), usize::from(id.index()));
                (&side.halves.get(place)?.latch, *side.flags.get(place)?)
            }
            Tripped::PositionDiscrepancy => {
                (&self.position_discrepancy.latch, self.position_discrepancy.flags)
            }
            Tripped::SpeedDiscrepancy => (&self.speed_discrepancy.latch, self.speed_discrepancy.flags),
            Tripped::AnalogueDiscrepancy(id) => {
                let own = &self.analogues.get(usize::from(id.index()))?.discrepancy;
                (&own.latch, own.flags)
            }
        };
        latch.trip(flags, rule)
    }

    /// All latched trips: monitors in the order of the setup, channel A first, then the discrepancies, those of analogue values last.
    pub fn trips(&self) -> impl Iterator<Item = Trip> + '_ {
        let monitors = (0..32_u8)
            .map(MonitorId::at)
            .flat_map(|id| Channel::BOTH.into_iter().map(move |channel| Tripped::Monitor(id, channel)));
        monitors
            .chain([Tripped::PositionDiscrepancy, Tripped::SpeedDiscrepancy])
            .chain((0..32_u8).map(AnalogueId::at).map(Tripped::AnalogueDiscrepancy))
            .filter_map(|rule| self.trip(rule))
    }
}

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor> Default
    for AxisState<POINTS, MONITORS, INPUTS, Own>
{
    fn default() -> Self {
        Self::new()
    }
}

/// Sixteen monitors on a target: with 17 stored readings and 8 inputs.
const _: () =
    assert!(size_of::<AxisState<17, 16, 8>>() <= 4096, "an axis of 16 monitors takes more than 4 KiB");
