//! The report for programs. The names of its fields are an interface: see the schema beside the documentation.

use monitor_core::Instant;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::names::{self, Faulted, Figures, Moved, Shown};
use super::number::{Exact, Seconds};
use crate::replay::{self, Escalation, FaultKind, Headroom, Outcome, StopEnd, StopKind, TripRule};
use crate::setup::Setup;

/// The version of the JSON report; it changes when a field changes its meaning or goes.
pub const SCHEMA_VERSION: u32 = 1;

/// The JSON Schema of [`Reports`].
#[must_use]
pub fn json_schema() -> schemars::Schema {
    schemars::schema_for!(Reports<'_>)
}

/// What `cowitness replay --json` writes.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum Reports<'a> {
    /// For one trace, the report on it.
    One(&'a Report),
    /// For several traces, the reports on those that could be read, in the order in which they were given.
    Several(Vec<&'a Report>),
}

/// What a replay found, for programs.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Report {
    /// The version of this format.
    pub schema: u32,
    /// The setup.
    pub setup: SetupReport,
    /// The trace.
    pub trace: TraceReport,
    /// What came of it.
    pub verdict: VerdictReport,
    /// Every rule that was broken, in order of time, once per monitor and channel until a reset.
    pub trips: Vec<TripReport>,
    /// Every fault of a channel, an input, a line of an analogue value or the clock, and every reference that was wanted and not there, in
    /// order of its first frame.
    pub faults: Vec<FaultReport>,
    /// Planned withdrawals of the permit, and stops that were carried through.
    pub stops: Vec<StopReport>,
    /// Outputs that became true or false; at the beginning all are false.
    pub outputs: Vec<OutputReport>,
    /// Resets that were released.
    pub resets: Vec<ResetReport>,
    /// How close each monitor came to its limit on each channel. A monitor with two limits has two entries for a channel.
    pub monitors: Vec<MonitorReport>,
    /// How far the positions of the two channels came apart; null without such a rule.
    pub discrepancy: Option<DiscrepancyReport>,
    /// How far the speeds of the two channels came apart; null without such a rule.
    pub speed_discrepancy: Option<DiscrepancyReport>,
    /// How far the two lines of each analogue value came apart.
    pub analogues: Vec<AnalogueReport>,
    /// What each channel alone showed.
    pub channels: Vec<ChannelReport>,
    /// The permit over the trace.
    pub permit: PermitReport,
    /// How many entries of each list are not here because there were more than 10000.
    pub left_out: LeftOut,
}

/// The setup of a replay.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SetupReport {
    /// Its title.
    pub title: String,
    /// CRC-32 of its effective values, eight hexadecimal digits.
    pub checksum: String,
    /// The unit of the axis: mm or deg.
    pub unit: String,
    /// The file.
    pub path: String,
}

impl SetupReport {
    pub(crate) fn new(setup: &Setup) -> Self {
        Self {
            title: setup.title.clone(),
            checksum: format!("{:08x}", setup.checksum()),
            unit: setup.unit.symbol().to_owned(),
            path: setup.path.clone(),
        }
    }
}

/// The trace of a replay.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TraceReport {
    /// The file, or `-` for standard input.
    pub path: String,
    /// Frames evaluated.
    pub frames: u64,
    /// The first frame.
    pub first_s: Option<Seconds>,
    /// The last frame.
    pub last_s: Option<Seconds>,
    /// The longest time between two frames.
    pub longest_period_s: Seconds,
    /// Stretches without a row that are longer than the shorter of the two timeouts.
    pub gaps: Vec<GapReport>,
    /// Rows left out as bad, on request.
    pub skipped_rows: u64,
    /// The rows behind the frames, when the setup has a `cycle`.
    pub rows: Option<RowsReport>,
}

/// The rows of a trace that was evaluated at a fixed period.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RowsReport {
    /// How many there were.
    pub rows: u64,
    /// The longest time between two rows.
    pub longest_period_s: Seconds,
    /// Readings of channel A that no frame was evaluated with, because newer ones came before it.
    pub passed_over_a: u64,
    /// The same of channel B.
    pub passed_over_b: u64,
    /// The same of each analogue value.
    pub analogues: Vec<PassedOverReport>,
}

/// Readings of an analogue value that no frame was evaluated with, because newer ones came before it.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PassedOverReport {
    /// Its name.
    pub name: String,
    /// Those on its first line.
    pub passed_over_a: u64,
    /// Those on its second line.
    pub passed_over_b: u64,
}

/// A gap in a trace.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct GapReport {
    /// The row before.
    pub from_s: Seconds,
    /// The row after.
    pub to_s: Seconds,
}

/// What came of a replay.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum VerdictReport {
    /// Nothing tripped and nothing was faulted.
    Clear,
    /// At least one rule was broken.
    Tripped,
    /// Nothing tripped, but a channel, an input, a line of an analogue value or the clock was faulted, or a reference not there.
    Fault,
}

/// One trip.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TripReport {
    /// The name of the monitor, or `discrepancy` or `speed_discrepancy`, or that of the analogue value whose lines were apart.
    pub monitor: String,
    /// Its kind.
    pub kind: String,
    /// `a`, `b`, or `both` for a discrepancy.
    pub channel: String,
    /// When the demand became active.
    pub demand_s: Seconds,
    /// The first frame of the unbroken violation.
    pub violated_since_s: Seconds,
    /// When the observed value crossed the limit, interpolated between two frames.
    pub crossed_s: Seconds,
    /// The frame of the trip.
    pub tripped_s: Seconds,
    /// What was observed: `position`, `speed`, `acceleration`, `overrun`, which is what was travelled beyond a limit on the speed, or
    /// `value`, which is an analogue value or how far its lines were apart.
    pub quantity: String,
    /// `above` the limit or `below` it.
    pub beyond: String,
    /// What was seen at that frame: a magnitude, unless the limits of the two directions differ.
    pub observed: Exact,
    /// What was allowed at that frame.
    pub limit: Exact,
    /// How far the one was beyond the other.
    pub excess: Exact,
    /// The unit of the three.
    pub unit: String,
    /// The stop that this trip demanded instead of withdrawing the permit; null when it withdrew it at once.
    pub reaction: Option<ReactionReport>,
    /// When the other channel came to the same verdict; null: never, or not before the next reset.
    pub confirmed_by: Option<ConfirmationReport>,
}

/// A stop that a trip demanded, and what became of it.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ReactionReport {
    /// The name of the stop.
    pub stop: String,
    /// `complete`: carried through. `violated`: the motion did not follow, and the stop tripped. `lost`: the permit went before its
    /// end, for another reason. `off`: there was no permit when it was demanded. `open`: the trace ends before.
    pub end: String,
    /// When; null when it is `off` or `open`.
    pub end_s: Option<Seconds>,
    /// From the trip to there.
    pub after_s: Option<Seconds>,
}

/// The other channel's trip of the same monitor.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ConfirmationReport {
    /// The other channel.
    pub channel: String,
    /// Its trip minus this one; negative when the other channel was first.
    pub after_s: Seconds,
}

/// One fault.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct FaultReport {
    /// `invalid`, `out-of-order`, `stale`, `implausible` or `range` of a channel or of a line of an analogue value; `input`; `clock`;
    /// `unreferenced`: a monitor needs a referenced position that the channel does not have.
    pub kind: String,
    /// The channel, for a channel fault; the line, `a` or `b`, for a fault of an analogue value.
    pub channel: Option<String>,
    /// The input, for an input fault.
    pub input: Option<String>,
    /// The analogue value, for a fault of one of its lines.
    pub analogue: Option<String>,
    /// The monitor, for one that is unreferenced.
    pub monitor: Option<String>,
    /// The first frame that showed it.
    pub at_s: Seconds,
    /// The last frame in a row that showed it.
    pub until_s: Seconds,
    /// How many frames in a row.
    pub frames: u64,
    /// The reading of the first frame, if there was one.
    pub reading: Option<ReadingReport>,
    /// What was implausible.
    pub change: Option<ChangeReport>,
}

/// What a reading changed from the one before.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ChangeReport {
    /// The travel, in the unit of the axis.
    pub travel: Exact,
    /// The time between the two captures.
    pub within_s: Seconds,
    /// The speed that makes, a magnitude, in the unit of the axis per second.
    pub speed: Exact,
    /// The fastest that the mechanics can move, by the setup.
    pub max_speed: Exact,
}

/// A reading.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ReadingReport {
    /// When it was captured.
    pub captured_s: Seconds,
    /// The counter as read, unsigned; null when the source marked it as invalid, or delivers positions.
    pub count: Option<u64>,
    /// The position as read, in the unit of the axis; null when the source marked it as invalid, or is a counter.
    pub position: Option<Exact>,
    /// The value as read, in the unit of the analogue value; null for a channel.
    pub value: Option<Exact>,
}

/// A planned withdrawal of the permit, or a stop.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct StopReport {
    /// The monitor.
    pub monitor: String,
    /// Its kind.
    pub kind: String,
    /// The channel on which a stop was complete; null for `torque-off`.
    pub channel: Option<String>,
    /// When it was demanded.
    pub demand_s: Seconds,
    /// When it was complete.
    pub completed_s: Seconds,
}

/// An output that became true or false.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct OutputReport {
    /// The monitor that is the output.
    pub monitor: String,
    /// Its kind.
    pub kind: String,
    /// The frame.
    pub at_s: Seconds,
    /// Whether it is true from there on.
    pub on: bool,
}

/// A reset.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ResetReport {
    /// The frame.
    pub at_s: Seconds,
    /// Whether it was accepted.
    pub accepted: bool,
    /// `accepted`, or the first reason why not.
    pub result: String,
}

/// How close a monitor came to its limit.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct MonitorReport {
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: String,
    /// The channel.
    pub channel: String,
    /// How long it was active.
    pub active_s: Seconds,
    /// How long no other limit on the speed of the channel was smaller: then it was the one that counted.
    pub strictest_s: Seconds,
    /// The smallest distance to the limit; negative when it was exceeded; null when nothing was ever compared.
    pub headroom: Option<Exact>,
    /// The first frame with that headroom.
    pub headroom_at_s: Option<Seconds>,
    /// Frames at which the limit was exceeded, whether or not that lasted long enough to trip.
    pub exceeded_frames: u64,
    /// The unit of the headroom.
    pub unit: Option<String>,
}

/// How far the two channels came apart.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DiscrepancyReport {
    /// The largest difference, a magnitude; null when they were never compared.
    pub largest: Option<Exact>,
    /// The first frame with that difference.
    pub largest_at_s: Option<Seconds>,
    /// The smallest tolerance − difference; negative when the tolerance was exceeded.
    pub headroom: Option<Exact>,
    /// The first frame with that headroom.
    pub headroom_at_s: Option<Seconds>,
    /// The unit of both.
    pub unit: String,
}

/// An analogue value.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct AnalogueReport {
    /// Its name.
    pub name: String,
    /// How far its two lines came apart.
    pub discrepancy: DiscrepancyReport,
}

/// What one channel alone showed.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ChannelReport {
    /// The channel.
    pub channel: String,
    /// Readings handed in.
    pub readings: u64,
    /// The largest speed, a magnitude.
    pub fastest: Option<Exact>,
    /// The first frame with that speed.
    pub fastest_at_s: Option<Seconds>,
    /// The unit of the speed.
    pub unit: String,
    /// The window set for the speed.
    pub window_s: Seconds,
    /// The longest window that a speed was taken over; null when none was.
    pub effective_window_s: Option<Seconds>,
    /// One count over the window set: the steps in which speeds come; null for a column of positions.
    pub speed_resolution: Option<Exact>,
    /// The longest time between the captures of two readings: what a timeout has to be longer than.
    pub longest_interval_s: Seconds,
}

/// The permit over a trace.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PermitReport {
    /// The first frame with the permit; null: never given.
    pub given_at_s: Option<Seconds>,
    /// Whether it was given at the last frame.
    pub at_last: bool,
    /// How often it was lost.
    pub losses: u64,
    /// The first frame without the permit after one with it.
    pub lost_at_s: Option<Seconds>,
    /// How long it was withheld in all, the warm-up at the beginning included.
    pub withheld_s: Seconds,
}

/// Entries that are not in the lists.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct LeftOut {
    /// Of the gaps.
    pub gaps: u64,
    /// Of the trips.
    pub trips: u64,
    /// Of the faults.
    pub faults: u64,
    /// Of the stops.
    pub stops: u64,
    /// Of the outputs.
    pub outputs: u64,
    /// Of the resets.
    pub resets: u64,
}

/// What a report says of the setup and of the trace.
pub(crate) fn heads(
    setup: &Setup,
    outcome: &Outcome,
    path: &str,
    skipped_rows: u64,
) -> (SetupReport, TraceReport) {
    let at = |instant: Instant| Seconds(outcome.time_ns(instant));
    let gaps = outcome.gaps.kept.iter().map(|gap| GapReport { from_s: at(gap.from), to_s: at(gap.to) });
    let of_setup = SetupReport::new(setup);
    let of_trace = TraceReport {
        path: path.to_owned(),
        frames: outcome.frames,
        first_s: outcome.first.map(at),
        last_s: outcome.last.map(at),
        longest_period_s: Seconds(i128::from(outcome.longest_period.as_nanos())),
        gaps: gaps.collect(),
        skipped_rows,
        rows: outcome.rows.as_ref().map(|rows| RowsReport {
            rows: rows.rows,
            longest_period_s: Seconds(i128::from(rows.longest_period.as_nanos())),
            passed_over_a: rows.passed_over[0],
            passed_over_b: rows.passed_over[1],
            analogues: (setup.analogues.iter().enumerate())
                .map(|(i, analogue)| {
                    let [a, b] = rows.analogues_passed_over.get(i).copied().unwrap_or_default();
                    PassedOverReport { name: analogue.name.clone(), passed_over_a: a, passed_over_b: b }
                })
                .collect(),
        }),
    };
    (of_setup, of_trace)
}

impl Report {
    /// The report on one replay. `path` names the trace; `skipped_rows` were left out of it.
    #[must_use]
    pub fn new(setup: &Setup, outcome: &Outcome, path: &str, skipped_rows: u64) -> Self {
        let at = |instant: Instant| Seconds(outcome.time_ns(instant));
        let unit = setup.unit.symbol();
        let per_second = format!("{unit}/s");
        let (setup_report, trace) = heads(setup, outcome, path, skipped_rows);
        Self {
            schema: SCHEMA_VERSION,
            setup: setup_report,
            trace,
            verdict: match outcome.verdict() {
                replay::Verdict::Clear => VerdictReport::Clear,
                replay::Verdict::Tripped => VerdictReport::Tripped,
                replay::Verdict::Fault => VerdictReport::Fault,
            },
            trips: outcome.trips.kept.iter().map(|trip| TripReport::new(setup, outcome, trip)).collect(),
            faults: outcome.faults.kept.iter().map(|fault| FaultReport::new(setup, outcome, fault)).collect(),
            stops: outcome.stops.kept.iter().map(|stop| StopReport::new(setup, outcome, stop)).collect(),
            outputs: (outcome.switches.kept.iter())
                .map(|switch| OutputReport {
                    monitor: setup.monitors[switch.monitor].name.clone(),
                    kind: setup.monitors[switch.monitor].kind.name().to_owned(),
                    at_s: at(switch.at),
                    on: switch.on,
                })
                .collect(),
            resets: (outcome.resets.kept.iter())
                .map(|reset| ResetReport {
                    at_s: at(reset.at),
                    accepted: reset.result == monitor_core::Reset::Accepted,
                    result: names::reset(reset.result).to_owned(),
                })
                .collect(),
            monitors: (outcome.monitors.iter())
                .map(|monitor| MonitorReport::new(setup, outcome, monitor))
                .collect(),
            discrepancy: setup
                .discrepancy
                .as_ref()
                .map(|_| DiscrepancyReport::new(outcome.position_discrepancy, at, unit.to_owned())),
            speed_discrepancy: setup
                .speed_discrepancy
                .as_ref()
                .map(|_| DiscrepancyReport::new(outcome.speed_discrepancy, at, per_second.clone())),
            analogues: (setup.analogues.iter().zip(&outcome.analogue_discrepancies))
                .map(|(analogue, apart)| AnalogueReport {
                    name: analogue.name.clone(),
                    discrepancy: DiscrepancyReport::new(*apart, at, analogue.unit.symbol().to_owned()),
                })
                .collect(),
            channels: (outcome.channels.iter().zip([("a", &setup.a), ("b", &setup.b)]))
                .map(|(facts, (channel, source))| ChannelReport {
                    channel: channel.to_owned(),
                    readings: facts.readings,
                    fastest: facts.fastest.map(|(speed, _)| speed.into()),
                    fastest_at_s: facts.fastest.map(|(_, instant)| at(instant)),
                    unit: per_second.clone(),
                    window_s: Seconds(i128::from(setup.speed.window.value.as_nanos())),
                    effective_window_s: (facts.longest_window.as_nanos() > 0)
                        .then(|| Seconds(i128::from(facts.longest_window.as_nanos()))),
                    speed_resolution: source.speed_resolution(setup.speed.window.value).map(Into::into),
                    longest_interval_s: Seconds(i128::from(facts.longest_interval.as_nanos())),
                })
                .collect(),
            permit: PermitReport {
                given_at_s: outcome.permit_given_at.map(at),
                at_last: outcome.permit_at_last,
                losses: outcome.permit_losses(),
                lost_at_s: outcome.permit_lost_at().map(at),
                withheld_s: Seconds(i128::from(outcome.withheld.as_nanos())),
            },
            left_out: LeftOut {
                gaps: outcome.gaps.left_out,
                trips: outcome.trips.left_out,
                faults: outcome.faults.left_out,
                stops: outcome.stops.left_out,
                outputs: outcome.switches.left_out,
                resets: outcome.resets.left_out,
            },
        }
    }
}

impl TripReport {
    fn new(setup: &Setup, outcome: &Outcome, trip: &replay::Trip) -> Self {
        let at = |instant| Seconds(outcome.time_ns(instant));
        let (monitor, kind, channel) = names::rule(setup, trip.rule);
        let figures = Figures::new(setup, trip.rule, &trip.evidence);
        Self {
            monitor,
            kind: kind.to_owned(),
            channel: channel.to_owned(),
            demand_s: at(trip.demanded_at),
            violated_since_s: at(trip.violated_since),
            crossed_s: at(trip.crossed_at),
            tripped_s: at(trip.tripped_at),
            quantity: figures.quantity.to_owned(),
            beyond: figures.side().to_owned(),
            observed: figures.observed.into(),
            limit: figures.limit.into(),
            excess: figures.excess.into(),
            unit: figures.unit,
            reaction: (trip.reaction.as_ref())
                .map(|reaction| ReactionReport::new(setup, outcome, trip, reaction)),
            confirmed_by: trip.confirmed_by.map(|confirmation| ConfirmationReport {
                channel: names::channel(confirmation.channel).to_owned(),
                after_s: Seconds(confirmation.after_ns),
            }),
        }
    }
}

impl ReactionReport {
    fn new(setup: &Setup, outcome: &Outcome, trip: &replay::Trip, reaction: &Escalation) -> Self {
        let (end, at) = match reaction.end {
            StopEnd::Complete(at) => ("complete", Some(at)),
            StopEnd::Violated(at) => ("violated", Some(at)),
            StopEnd::Lost(at) => ("lost", Some(at)),
            StopEnd::Off => ("off", None),
            StopEnd::Open => ("open", None),
        };
        let after = at.map(|at| outcome.time_ns(at) - outcome.time_ns(trip.tripped_at));
        Self {
            stop: setup.monitors[reaction.stop].name.clone(),
            end: end.to_owned(),
            end_s: at.map(|at| Seconds(outcome.time_ns(at))),
            after_s: after.map(Seconds),
        }
    }
}

impl FaultReport {
    fn new(setup: &Setup, outcome: &Outcome, fault: &replay::Fault) -> Self {
        let at = |instant| Seconds(outcome.time_ns(instant));
        let Faulted { kind, channel, input, analogue } = names::fault(setup, fault.kind);
        let reading = match fault.kind {
            FaultKind::Channel(of, _, Some(reading)) => {
                let (count, position) = match names::sample(setup, of, reading.sample) {
                    Shown::Count(count) => (Some(count), None),
                    Shown::Position(position) => (None, Some(position.into())),
                    Shown::Invalid => (None, None),
                };
                Some(ReadingReport { captured_s: at(reading.captured_at), count, position, value: None })
            }
            FaultKind::Analogue(_, _, _, Some(reading)) => Some(ReadingReport {
                captured_s: at(reading.captured_at),
                count: None,
                position: None,
                value: reading.value.map(Exact::from),
            }),
            FaultKind::Channel(..)
            | FaultKind::Input(_)
            | FaultKind::Analogue(..)
            | FaultKind::Unreferenced(..)
            | FaultKind::Clock => None,
        };
        let change = match (fault.kind, fault.change) {
            (FaultKind::Channel(of, ..), Some(change)) => {
                let source = setup.channel(of);
                let Moved { travel, speed } = Moved::new(change, source);
                Some(ChangeReport {
                    travel: travel.into(),
                    within_s: Seconds(i128::from(change.elapsed.as_nanos())),
                    speed: speed.into(),
                    max_speed: source.max_speed.value.into(),
                })
            }
            _ => None,
        };
        Self {
            kind: kind.to_owned(),
            channel: channel.map(str::to_owned),
            input,
            analogue,
            monitor: names::unreferenced(setup, fault.kind),
            at_s: at(fault.from),
            until_s: at(fault.to),
            frames: fault.frames,
            reading,
            change,
        }
    }
}

impl StopReport {
    fn new(setup: &Setup, outcome: &Outcome, stop: &replay::Stop) -> Self {
        let monitor = &setup.monitors[stop.monitor];
        Self {
            monitor: monitor.name.clone(),
            kind: monitor.kind.name().to_owned(),
            channel: match stop.kind {
                StopKind::TorqueOff => None,
                StopKind::Stop(channel) => Some(names::channel(channel).to_owned()),
            },
            demand_s: Seconds(outcome.time_ns(stop.demanded_at)),
            completed_s: Seconds(outcome.time_ns(stop.completed_at)),
        }
    }
}

impl MonitorReport {
    fn new(setup: &Setup, outcome: &Outcome, facts: &replay::MonitorFacts) -> Self {
        let monitor = &setup.monitors[facts.monitor];
        let unit = setup.unit.symbol();
        let (headroom, unit) = match facts.headroom {
            Some((Headroom::Position(headroom), _)) => (Some(headroom.into()), Some(unit.to_owned())),
            Some((Headroom::Speed(headroom), _)) => (Some(headroom.into()), Some(format!("{unit}/s"))),
            Some((Headroom::Acceleration(headroom), _)) => {
                (Some(headroom.into()), Some(format!("{unit}/s^2")))
            }
            Some((Headroom::Value(headroom), _)) => {
                let unit = names::analogue_unit(setup, TripRule::Monitor(facts.monitor, facts.channel));
                (Some(headroom.into()), unit.map(str::to_owned))
            }
            None => (None, None),
        };
        let (_, _, channel) = names::rule(setup, TripRule::Monitor(facts.monitor, facts.channel));
        Self {
            name: monitor.name.clone(),
            kind: monitor.kind.name().to_owned(),
            channel: channel.to_owned(),
            active_s: Seconds(i128::from(facts.active.as_nanos())),
            strictest_s: Seconds(i128::from(facts.strictest.as_nanos())),
            headroom,
            headroom_at_s: facts.headroom.map(|(_, at)| Seconds(outcome.time_ns(at))),
            exceeded_frames: facts.exceeded,
            unit,
        }
    }
}

impl DiscrepancyReport {
    fn new<T: Into<Exact> + Copy>(
        apart: Option<replay::Apart<T>>,
        at: impl Fn(Instant) -> Seconds,
        unit: String,
    ) -> Self {
        Self {
            largest: apart.map(|apart| apart.largest.0.into()),
            largest_at_s: apart.map(|apart| at(apart.largest.1)),
            headroom: apart.map(|apart| apart.headroom.0.into()),
            headroom_at_s: apart.map(|apart| at(apart.headroom.1)),
            unit,
        }
    }
}
