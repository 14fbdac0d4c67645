//! What a replay found.

use monitor_core::{
    Acceleration, AnalogueReading, Channel, Evidence, Instant, Position, Reading, Reset, SourceFault, Span,
    Speed, Value,
};

/// How many entries of one list are kept; beyond, they are counted. A trace can be of any length.
pub const KEPT: usize = 10_000;

/// A list that keeps its first [`KEPT`] entries and counts the others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limited<T> {
    /// The first entries, in order of time.
    pub kept: Vec<T>,
    /// How many more there were.
    pub left_out: u64,
}

impl<T> Default for Limited<T> {
    fn default() -> Self {
        Self { kept: Vec::new(), left_out: 0 }
    }
}

impl<T> Limited<T> {
    /// Adds an entry, or counts it.
    pub(crate) fn push(&mut self, entry: T) {
        if self.kept.len() < KEPT {
            self.kept.push(entry);
        } else {
            self.left_out += 1;
        }
    }

    /// Whether there was none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.kept.is_empty()
    }
}

/// The verdict on a trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// Nothing tripped and nothing was faulted.
    Clear,
    /// At least one rule was broken.
    Tripped,
    /// Nothing tripped, but a channel, an input, a line of an analogue value or the clock was faulted, or a reference not there.
    Fault,
}

impl Verdict {
    /// `clear`, `tripped` or `fault`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Clear => "clear",
            Self::Tripped => "tripped",
            Self::Fault => "fault",
        }
    }
}

/// The rule of a trip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TripRule {
    /// A monitor (an index into the monitors of the setup) on one channel.
    Monitor(usize, Channel),
    /// The position discrepancy.
    PositionDiscrepancy,
    /// The speed discrepancy.
    SpeedDiscrepancy,
    /// The two lines of an analogue value (an index into those of the setup) against each other.
    Analogue(usize),
}

/// When the other channel came to the same verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Confirmation {
    /// The other channel.
    pub channel: Channel,
    /// Its trip minus this one, in ns: negative when the other channel was first.
    pub after_ns: i128,
}

/// One trip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trip {
    /// Which rule, where.
    pub rule: TripRule,
    /// When its demand became active.
    pub demanded_at: Instant,
    /// When the observed value crossed the limit, interpolated between two frames.
    pub crossed_at: Instant,
    /// The first frame of the unbroken violation.
    pub violated_since: Instant,
    /// The frame at which it tripped.
    pub tripped_at: Instant,
    /// Observed value and limit at that frame.
    pub evidence: Evidence,
    /// The furthest that the observed value was beyond the limit at any frame from the crossing up to the trip, in steps of 2⁻²⁴ of its
    /// unit: at least what the evidence shows.
    pub furthest: i64,
    /// The same monitor on the other channel, if it tripped too before the next reset.
    pub confirmed_by: Option<Confirmation>,
    /// What it led to, when it demanded a stop instead of withdrawing the permit.
    pub reaction: Option<Escalation>,
    /// How many resets had been accepted before.
    pub(crate) resets_before: u64,
}

/// The stop that a trip demanded instead of withdrawing the permit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Escalation {
    /// The stop, an index into the monitors of the setup.
    pub stop: usize,
    /// What became of it.
    pub end: StopEnd,
}

/// What became of a stop that a trip demanded: the first of these. All but the last are without the permit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopEnd {
    /// It was carried through at this frame.
    Complete(Instant),
    /// It was violated, and its own trip withdrew the permit at this frame.
    Violated(Instant),
    /// The permit went at this frame, for another reason.
    Lost(Instant),
    /// There was no permit when it was demanded.
    Off,
    /// The trace ends before.
    Open,
}

/// What was faulted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// A channel could not be seen; with the reading of the first frame, if there was one.
    Channel(Channel, SourceFault, Option<Reading>),
    /// An input (an index into the inputs of the setup): its lines disagreed for too long, or one cycled alone.
    Input(usize),
    /// A line of an analogue value (an index into those of the setup) could not be seen; with the reading that could not be used,
    /// where its value is the reason.
    Analogue(usize, Channel, SourceFault, Option<AnalogueReading>),
    /// A monitor (an index into those of the setup) needs a referenced position, and the channel has none.
    Unreferenced(usize, Channel),
    /// Time did not advance.
    Clock,
}

/// A change between two readings, and the time it took.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// Counts, in the width of the counter.
    pub counts: i64,
    /// Time between the captures.
    pub elapsed: Span,
}

/// One fault, from the first frame that showed it to the last in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// What was faulted, and how.
    pub kind: FaultKind,
    /// The first frame.
    pub from: Instant,
    /// The last frame in a row that showed the same fault. An input fault has one frame: it is latched from there.
    pub to: Instant,
    /// How many frames in a row.
    pub frames: u64,
    /// What was implausible.
    pub change: Option<Change>,
}

impl Limited<Fault> {
    /// The fault at this place shows at one more frame; one that was not kept is not there.
    pub(super) fn go_on(&mut self, place: usize, now: Instant) {
        if let Some(kept) = self.kept.get_mut(place) {
            kept.to = now;
            kept.frames += 1;
        }
    }
}

/// How a planned withdrawal of the permit, or a stop, came about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopKind {
    /// `torque-off` was demanded.
    TorqueOff,
    /// A stop was carried through on this channel.
    Stop(Channel),
}

/// A planned withdrawal of the permit, or a stop that was carried through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stop {
    /// An index into the monitors of the setup.
    pub monitor: usize,
    /// How.
    pub kind: StopKind,
    /// When it was demanded.
    pub demanded_at: Instant,
    /// When it was complete: for `torque-off` at once.
    pub completed_at: Instant,
}

/// An output that became true or false.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Switch {
    /// An index into the monitors of the setup.
    pub monitor: usize,
    /// Whether it is true from here on.
    pub on: bool,
    /// The frame.
    pub at: Instant,
}

/// A reset that was released.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ResetFact {
    /// The frame.
    pub at: Instant,
    /// Accepted, or the first reason why not.
    pub result: Reset,
}

/// The smallest distance to a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Headroom {
    /// To a position window; negative when it was exceeded.
    Position(Position),
    /// To a speed limit; negative when it was exceeded.
    Speed(Speed),
    /// To a limit on the acceleration; negative when it was exceeded.
    Acceleration(Acceleration),
    /// To a limit on an analogue value; negative when it was exceeded.
    Value(Value),
}

/// How close one monitor came to its limit on one channel. A monitor with two limits has two of these.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MonitorFacts {
    /// An index into the monitors of the setup.
    pub monitor: usize,
    /// The channel.
    pub channel: Channel,
    /// How long it was active.
    pub active: Span,
    /// How long no other limit on the speed of this channel was smaller; zero for a monitor that puts none on it.
    pub strictest: Span,
    /// The smallest headroom and the first frame that had it; none when nothing was ever compared.
    pub headroom: Option<(Headroom, Instant)>,
    /// Frames at which the limit was exceeded, whether or not that lasted long enough to trip.
    pub exceeded: u64,
}

/// How far the channels came apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Apart<T> {
    /// The largest difference, as a magnitude, and the first frame that had it.
    pub largest: (T, Instant),
    /// The smallest tolerance − difference, and the first frame that had it.
    pub headroom: (T, Instant),
}

/// What one channel alone showed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ChannelFacts {
    /// New readings that were handed in.
    pub readings: u64,
    /// The largest speed, as a magnitude, and the first frame that had it.
    pub fastest: Option<(Speed, Instant)>,
    /// The longest window that a speed was taken over; zero when none was.
    pub longest_window: Span,
    /// The longest time between the captures of two readings: what a timeout has to be longer than.
    pub longest_interval: Span,
}

/// A stretch without a row that is longer than the shorter of the two timeouts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    /// The row before.
    pub from: Instant,
    /// The row after.
    pub to: Instant,
}

/// The rows of a trace that is evaluated at a fixed period instead of at each of them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rows {
    /// How many there were.
    pub rows: u64,
    /// The longest time between two of them.
    pub longest_period: Span,
    /// Readings of channel A and of channel B that were passed over: newer ones came before the next evaluation, or there was none.
    pub passed_over: [u64; 2],
    /// The same of the two lines of each analogue value, in the order of the setup. Those behind the last one with any are left out.
    pub analogues_passed_over: Vec<[u64; 2]>,
    pub(super) gaps: Limited<Gap>,
}

/// What a replay found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// What to add to an instant to get the time that stands in the trace, in ns.
    pub origin_ns: i128,
    /// Frames evaluated.
    pub frames: u64,
    /// The first frame.
    pub first: Option<Instant>,
    /// The last frame.
    pub last: Option<Instant>,
    /// The longest time between two frames.
    pub longest_period: Span,
    /// The rows, when frames are evaluated at a period of their own.
    pub rows: Option<Rows>,
    /// The first frame with the permit.
    pub permit_given_at: Option<Instant>,
    /// The permit at the last frame.
    pub permit_at_last: bool,
    /// Time without the permit, frame by frame until the next.
    pub withheld: Span,
    /// Each first frame without the permit after one with it.
    pub permit_lost: Limited<Instant>,
    /// Gaps in the trace.
    pub gaps: Limited<Gap>,
    /// Trips in order of time.
    pub trips: Limited<Trip>,
    /// Faults in order of their first frame.
    pub faults: Limited<Fault>,
    /// Planned withdrawals and stops in order of completion.
    pub stops: Limited<Stop>,
    /// Outputs that became true or false, in order of time.
    pub switches: Limited<Switch>,
    /// Resets in order of time.
    pub resets: Limited<ResetFact>,
    /// Every monitor on every channel.
    pub monitors: Vec<MonitorFacts>,
    /// Channel A and channel B.
    pub channels: [ChannelFacts; 2],
    /// The position discrepancy, if there is such a rule and it was ever evaluated.
    pub position_discrepancy: Option<Apart<Position>>,
    /// The speed discrepancy, if there is such a rule and it was ever evaluated.
    pub speed_discrepancy: Option<Apart<Speed>>,
    /// How far the two lines of each analogue value came apart, if they were ever compared.
    pub analogue_discrepancies: Vec<Option<Apart<Value>>>,
}

impl Outcome {
    /// The verdict.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        if !self.trips.is_empty() {
            Verdict::Tripped
        } else if !self.faults.is_empty() {
            Verdict::Fault
        } else {
            Verdict::Clear
        }
    }

    /// The first frame without the permit after one with it.
    #[must_use]
    pub fn permit_lost_at(&self) -> Option<Instant> {
        self.permit_lost.kept.first().copied()
    }

    /// How often the permit was lost.
    #[must_use]
    pub fn permit_losses(&self) -> u64 {
        self.permit_lost.kept.len() as u64 + self.permit_lost.left_out
    }

    /// The time of an instant in the trace, in ns.
    #[must_use]
    pub fn time_ns(&self, instant: Instant) -> i128 {
        i128::from(instant.as_nanos()) + self.origin_ns
    }
}
