//! What there is to be tested of a setup.

use monitor_core::Channel;

use super::plan::{Rule, Sort, Wanted};
use crate::setup::{By, InputLines, MonitorKind, ReferenceSetup, Setup, Until};

/// What a function belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// Something that can trip, or be carried through, or turn on and off.
    Rule(Rule),
    /// The source of a channel.
    Source,
    /// The two lines of an input, an index into the inputs of the setup.
    Input(usize),
    /// A line of an analogue value, an index into those of the setup.
    Line(usize),
    /// The reference that a monitor needs.
    Reference(usize),
}

/// What of it is to be shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// It trips.
    Trips,
    /// It is carried through, or withdraws the permit.
    Completes,
    /// It turns on.
    On,
    /// It turns off.
    Off,
    /// It is faulted.
    Faults,
}

impl Part {
    /// What it does.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Trips => "trips",
            Self::Completes => "is carried through",
            Self::On => "turns on",
            Self::Off => "turns off",
            Self::Faults => "fault is found",
        }
    }
}

/// One thing that a trial can show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Function {
    /// What it belongs to.
    pub subject: Subject,
    /// What of it.
    pub part: Part,
    /// On which channel, or line; `None` where it belongs to both together.
    pub channel: Option<Channel>,
}

/// Everything that is to be tested of a setup, in the order of the file: monitors, what holds the channels against each other, fault
/// reactions.
#[must_use]
pub fn functions(setup: &Setup) -> Vec<Function> {
    let mut all = Vec::new();
    let mut add = |subject, part, channels: &[Option<Channel>]| {
        all.extend(channels.iter().map(|&channel| Function { subject, part, channel }));
    };
    let each = Channel::BOTH.map(Some);
    for (place, monitor) in setup.monitors.iter().enumerate() {
        let subject = Subject::Rule(Rule::Monitor(place));
        match &monitor.kind {
            MonitorKind::TorqueOff => add(subject, Part::Completes, &[None]),
            MonitorKind::Stop { until, by } => {
                add(subject, Part::Completes, &each);
                if can_be_violated(until, by) {
                    add(subject, Part::Trips, &each);
                }
            }
            kind if kind.is_output() => {
                add(subject, Part::On, &[None]);
                add(subject, Part::Off, &[None]);
            }
            _ => add(subject, Part::Trips, &each),
        }
    }
    let apart =
        [(setup.discrepancy.is_some(), Rule::Position), (setup.speed_discrepancy.is_some(), Rule::Speed)];
    for (_, rule) in apart.into_iter().filter(|(is_there, _)| *is_there) {
        add(Subject::Rule(rule), Part::Trips, &[None]);
    }
    for of in 0..setup.analogues.len() {
        add(Subject::Rule(Rule::Analogue(of)), Part::Trips, &[None]);
    }
    add(Subject::Source, Part::Faults, &each);
    for (place, input) in setup.inputs.iter().enumerate() {
        if matches!(input.lines, InputLines::Dual { .. }) {
            add(Subject::Input(place), Part::Faults, &[None]);
        }
    }
    for of in 0..setup.analogues.len() {
        add(Subject::Line(of), Part::Faults, &each);
    }
    for (place, monitor) in setup.monitors.iter().enumerate() {
        if monitor.kind.needs_reference() {
            let by_event = Channel::BOTH.into_iter();
            let by_event =
                by_event.filter(|channel| setup.channel(*channel).reference == ReferenceSetup::Event);
            let by_event: Vec<_> = by_event.map(Some).collect();
            add(Subject::Reference(place), Part::Faults, &by_event);
        }
    }
    all
}

/// Whether a stop compares anything that could break it.
pub(super) const fn can_be_violated(until: &Until, by: &By) -> bool {
    !matches!((until, by), (Until::TorqueOff, By::Time { .. }))
}

impl Function {
    /// Whether a trial that wants this shows the function, once it has passed.
    #[must_use]
    pub fn is_shown_by(&self, wanted: &Wanted) -> bool {
        let on = |channels: &[Channel]| self.channel.is_none_or(|channel| channels.contains(&channel));
        match (self.part, self.subject, wanted) {
            (Part::Trips, Subject::Rule(this), Wanted::Trips { rule, channels, .. }) => {
                this == *rule && on(channels)
            }
            (Part::Completes, Subject::Rule(this), Wanted::Completes { monitor, channels, .. }) => {
                this == Rule::Monitor(*monitor) && on(channels)
            }
            (Part::On | Part::Off, Subject::Rule(this), Wanted::Turns { monitor, on }) => {
                this == Rule::Monitor(*monitor) && *on == matches!(self.part, Part::On)
            }
            (Part::Faults, subject, Wanted::Faults(sort)) => match (subject, *sort) {
                (Subject::Source, Sort::Channel(_, channel)) => self.channel == Some(channel),
                (Subject::Input(this), Sort::Input(input)) => this == input,
                (Subject::Line(this), Sort::Line(_, of, line)) => this == of && self.channel == Some(line),
                (Subject::Reference(this), Sort::Unreferenced(monitor, channel)) => {
                    this == monitor && channel.is_none_or(|channel| self.channel == Some(channel))
                }
                _ => false,
            },
            _ => false,
        }
    }

    /// Whether a trial that fails speaks against the function.
    #[must_use]
    pub fn is_questioned_by(&self, wanted: &Wanted) -> bool {
        let is_kept_from = match wanted {
            Wanted::Nothing(rule) => self.part == Part::Trips && self.subject == Subject::Rule(*rule),
            _ => false,
        };
        is_kept_from || self.is_shown_by(wanted)
    }
}
