//! The same for programs. The names of its fields are an interface.

use monitor_core::Channel;
use schemars::JsonSchema;
use serde::Serialize;

use super::amount::{Amount, Figure};
use super::assess::{Approaches, Cost, Margins, Resolution};
use super::need::{Finding, Need, letter};
use super::path::Path;
use super::travel::Travel;
use super::words;
use crate::decimal::Exact as Ratio;
use crate::report::{Exact, Seconds};
use crate::setup::Setup;

/// The version of the JSON of `cowitness margins`; it changes when a field changes its meaning or goes.
pub const SCHEMA_VERSION: u32 = 1;

/// The JSON Schema of [`MarginsReport`].
#[must_use]
pub fn json_schema() -> schemars::Schema {
    schemars::schema_for!(MarginsReport)
}

/// Everything that can be said of a setup before any motion. Everything is rounded up; distances are in the unit of the axis, but for those of
/// the approach, which are in mm.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct MarginsReport {
    /// The version of this format.
    pub schema: u32,
    /// The title of the setup.
    pub title: String,
    /// CRC-32 of its effective values, eight hexadecimal digits.
    pub checksum: String,
    /// The unit of the axis: mm or deg.
    pub unit: String,
    /// The file.
    pub path: String,
    /// The longest time between two frames that was reckoned with.
    pub period_s: Seconds,
    /// Where it is from: `given`, `cycle`, `frame_period`, or `timeout` where nothing says it.
    pub period_from: String,
    /// Whether something trips for nothing, reacts too late, or looks like a slip.
    pub findings: bool,
    /// What each channel can resolve.
    pub channels: Vec<ChannelMargins>,
    /// What settings must leave room for.
    pub settings: Vec<SettingMargins>,
    /// What trips cost.
    pub rules: Vec<RuleMargins>,
    /// How far the two positions can be apart when the torque is gone; null where that is not known.
    pub apart_at_torque_off: Option<Exact>,
    /// The safety distance; null without `[approach]`.
    pub approach: Option<ApproachMargins>,
}

/// What a channel can resolve.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ChannelMargins {
    /// `a` or `b`.
    pub channel: String,
    /// One count over the window, per second; null for a column of positions.
    pub speed_step: Option<Exact>,
    /// The longest window that a speed may look back over.
    pub effective_window_s: Seconds,
    /// How much too low a speed is read at the hardest acceleration of operation; null where that is not given.
    pub speed_lag: Option<Exact>,
}

/// A setting and what it must leave room for.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SettingMargins {
    /// A section, or the name of a monitor.
    pub of: String,
    /// The key.
    pub key: String,
    /// `a` or `b`; null where it is not one channel alone.
    pub channel: Option<String>,
    /// The unit of the figures: that of the axis, per second or per second squared, or s.
    pub unit: String,
    /// What is set, after rounding.
    pub set: FigureReport,
    /// What is needed; null where it is too large.
    pub needed: Option<FigureReport>,
    /// What takes room.
    pub terms: Vec<TermMargins>,
    /// What is found.
    pub finding: FindingReport,
    /// Keys that would have to be there to say it for certain.
    pub missing: Vec<String>,
}

/// What is found of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FindingReport {
    /// There is room for everything.
    Fine,
    /// It trips although nothing is wrong.
    TripsForNothing,
    /// It looks like a slip of a unit.
    Slip,
    /// Nothing speaks against it so far, but something is not known.
    Unknown,
}

/// A number, exactly as it was worked out.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum FigureReport {
    /// A time in s.
    Time(Seconds),
    /// Anything else.
    Other(Exact),
}

/// A part of a sum.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TermMargins {
    /// What it is.
    pub name: String,
    /// How much.
    pub value: FigureReport,
    /// It is over before the delay of the rule is, and no part of the sum.
    pub passes: bool,
}

/// A rule and what its trip costs.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RuleMargins {
    /// The monitor, or the section of a discrepancy.
    pub rule: String,
    /// Its kind.
    pub kind: String,
    /// `a`, `b`, or null for a rule on both.
    pub channel: Option<String>,
    /// The longest reaction of the motion itself; null where nothing is compared.
    pub reaction_s: Option<Seconds>,
    /// Each way to the end of the torque.
    pub paths: Vec<PathMargins>,
    /// Channels of which only the timeout bounds how old a reading is.
    pub bounded_by_timeout: Vec<String>,
}

/// One way to the end of the torque.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PathMargins {
    /// What it counts from: `demand`, `stop` (a demand, to the end of its stop), `position`, `speed`, `acceleration`, `value`, `apart`,
    /// `speeds-apart` or `permit`.
    pub from: String,
    /// Its parts.
    pub terms: Vec<TermMargins>,
    /// Their sum.
    pub total_s: Seconds,
    /// How far the axis gets; null for what is no motion.
    pub travel: Option<TravelMargins>,
}

/// How far the axis gets until it stands.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TravelMargins {
    /// The speed at the beginning; null where it is not known.
    pub from_speed: Option<Exact>,
    /// The speed when the torque is gone; null where it is not known.
    pub speed_at_torque_off: Option<Exact>,
    /// The parts of the way.
    pub terms: Vec<TermMargins>,
    /// Their sum, when the end is known.
    pub total: Option<Exact>,
    /// When it stands, when that is known.
    pub stands_after_s: Option<Seconds>,
    /// It is more than the `overtravel` of the machine.
    pub too_far: bool,
    /// Keys that would have to be there for more.
    pub missing: Vec<String>,
}

/// The safety distance.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ApproachMargins {
    /// The input of the protective device.
    pub input: String,
    /// The distance that there is, in mm; null where it is not given.
    pub distance_mm: Option<Exact>,
    /// The shortest that one of the monitors makes sufficient, in mm.
    pub needed_mm: Option<Exact>,
    /// Whether there is less than that; null where that cannot be said.
    pub too_near: Option<bool>,
    /// Each monitor that it demands.
    pub monitors: Vec<ApproachedMargins>,
}

/// A monitor that the protective device demands.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ApproachedMargins {
    /// Its name.
    pub monitor: String,
    /// From the lines of the device to the axis that stands; null where it is not known.
    pub machine_s: Option<Seconds>,
    /// The speed of approach `K`, in mm/s; null where there is no distance.
    pub k_mm_s: Option<Exact>,
    /// `C`, in mm.
    pub c_mm: Option<Exact>,
    /// `S`, in mm.
    pub s_mm: Option<Exact>,
    /// Keys that would have to be there for it.
    pub missing: Vec<String>,
}

impl MarginsReport {
    /// The report on a setup.
    #[must_use]
    pub fn new(setup: &Setup, margins: &Margins) -> Self {
        Self {
            schema: SCHEMA_VERSION,
            title: setup.title.clone(),
            checksum: format!("{:08x}", setup.checksum()),
            unit: setup.unit.symbol().to_owned(),
            path: setup.path.clone(),
            period_s: seconds(margins.period),
            period_from: words::period_word(margins.period_from).to_owned(),
            findings: margins.has_findings(),
            channels: margins.resolutions.iter().map(channel_margins).collect(),
            settings: margins.needs.iter().map(|need| setting(setup, need)).collect(),
            rules: margins.costs.iter().map(|cost| rule(setup, cost)).collect(),
            apart_at_torque_off: margins.apart_at_torque_off.map(Exact::from),
            approach: margins.approach.as_ref().map(|approach| approach_margins(setup, approach)),
        }
    }
}

fn seconds(time: monitor_core::Span) -> Seconds {
    Seconds(i128::from(time.as_nanos()))
}

fn number(figure: Figure) -> FigureReport {
    match figure {
        Figure::Position(value) => FigureReport::Other(value.into()),
        Figure::Speed(value) => FigureReport::Other(value.into()),
        Figure::Acceleration(value) => FigureReport::Other(value.into()),
        Figure::Time(value) => FigureReport::Time(seconds(value)),
    }
}

fn word(channel: Channel) -> String {
    letter(channel).to_owned()
}

fn channel_margins(resolution: &Resolution) -> ChannelMargins {
    ChannelMargins {
        channel: word(resolution.channel),
        speed_step: resolution.step.map(Exact::from),
        effective_window_s: seconds(resolution.effective_window),
        speed_lag: resolution.lag.map(Exact::from),
    }
}

fn setting(setup: &Setup, need: &Need) -> SettingMargins {
    let unit = setup.unit.symbol();
    let term = |share: &super::need::Share| TermMargins {
        name: share.name.clone(),
        value: number(share.figure),
        passes: share.passes,
    };
    SettingMargins {
        of: need.subject.of.clone(),
        key: need.subject.key.to_owned(),
        channel: need.subject.channel.map(word),
        unit: match need.set {
            Figure::Position(_) => unit.to_owned(),
            Figure::Speed(_) => format!("{unit}/s"),
            Figure::Acceleration(_) => format!("{unit}/s^2"),
            Figure::Time(_) => "s".to_owned(),
        },
        set: number(need.set),
        needed: need.needed.map(number),
        terms: need.shares.iter().map(term).collect(),
        finding: match need.finding {
            Finding::Fine => FindingReport::Fine,
            Finding::TripsForNothing => FindingReport::TripsForNothing,
            Finding::Slip => FindingReport::Slip,
            Finding::Unknown => FindingReport::Unknown,
        },
        missing: need.missing.clone(),
    }
}

fn rule(setup: &Setup, cost: &Cost) -> RuleMargins {
    let (name, kind, channel) = words::rule(setup, cost.reaction.rule);
    RuleMargins {
        rule: name,
        kind: kind.to_owned(),
        channel: channel.map(word),
        reaction_s: cost.reaction.total().map(seconds),
        paths: cost.reaction.paths.iter().map(|one| path(cost, one)).collect(),
        bounded_by_timeout: cost.reaction.bounded_by_timeout.iter().map(|one| word(*one)).collect(),
    }
}

fn path(cost: &Cost, path: &Path) -> PathMargins {
    let place = cost.travels.iter().position(|travel| travel.broken == path.broken);
    let too_far = place.is_some_and(|place| cost.too_far.contains(&place));
    let term = |term: &super::path::Term| TermMargins {
        name: term.part.name().to_owned(),
        value: FigureReport::Time(seconds(term.time)),
        passes: false,
    };
    PathMargins {
        from: words::broken_word(path.broken).to_owned(),
        terms: path.terms.iter().map(term).collect(),
        total_s: seconds(path.total()),
        travel: place.and_then(|place| cost.travels.get(place)).map(|one| travel(one, too_far)),
    }
}

fn travel(travel: &Travel, too_far: bool) -> TravelMargins {
    let term = |stretch: &super::travel::Stretch| TermMargins {
        name: stretch.name.to_owned(),
        value: FigureReport::Other(stretch.way.into()),
        passes: false,
    };
    TravelMargins {
        from_speed: travel.from.map(Exact::from),
        speed_at_torque_off: travel.speed_at_torque_off.map(Exact::from),
        terms: travel.stretches.iter().map(term).collect(),
        total: travel.total.map(Exact::from),
        stands_after_s: travel.time.map(seconds),
        too_far,
        missing: travel.missing.clone(),
    }
}

/// Millimetres, rounded up to 2⁻²⁴.
fn mm(length: Ratio) -> Option<Exact> {
    Amount(Some(length)).position().map(Exact::from)
}

fn approach_margins(setup: &Setup, approach: &Approaches) -> ApproachMargins {
    let monitors = approach.monitors.iter().map(|one| {
        let found = one.distance.and_then(Result::ok);
        ApproachedMargins {
            monitor: setup.monitors[one.monitor].name.clone(),
            machine_s: one.machine.map(seconds),
            k_mm_s: found.and_then(|found| mm(found.k)),
            c_mm: found.and_then(|found| mm(found.c)),
            s_mm: found.and_then(|found| mm(found.s)),
            missing: one.missing.clone(),
        }
    });
    ApproachMargins {
        input: setup.inputs[approach.setup.input].name.clone(),
        distance_mm: approach.setup.distance.as_ref().map(|distance| distance.value.into()),
        needed_mm: approach.needed.and_then(mm),
        too_near: approach.too_near,
        monitors: monitors.collect(),
    }
}
