//! The report for programs, of which the other two are made. The names of its fields are an interface: see the schema.

use std::collections::BTreeMap;
use std::path::Path;

use monitor_core::Channel;
use monitor_core::seal::crc32;
use schemars::JsonSchema;
use serde::Serialize;

use super::amount::Amount;
use super::functions::{Function, functions};
use super::judge::{Carried, judge};
use super::plan::{Count, Plan, Rule, Trial, Wanted};
use super::recording::Recording;
use super::words;
use crate::margins::{Broken, period, reaction};
use crate::replay::TripRule;
use crate::report::{CAUTION, Seconds, SetupReport};
use crate::setup::Setup;
use crate::sweep::Identity;

/// The version of the JSON report; it changes when a field changes its meaning or goes.
pub const SCHEMA_VERSION: u32 = 1;

/// The JSON Schema of [`AcceptReport`].
#[must_use]
pub fn json_schema() -> schemars::Schema {
    schemars::schema_for!(AcceptReport)
}

/// What all trials of a plan came to.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct AcceptReport {
    /// The version of this format.
    pub schema: u32,
    /// The version of the program.
    pub program: String,
    /// What this is not.
    pub caution: String,
    /// The title of the plan.
    pub title: String,
    /// The machine, as the plan says.
    pub machine: Option<String>,
    /// The place, as the plan says.
    pub place: Option<String>,
    /// Who carried the trials out, as the plan says.
    pub tested_by: Option<String>,
    /// The plan.
    pub plan: FileReport,
    /// The setup.
    pub setup: SetupReport,
    /// Its file.
    pub setup_file: FileReport,
    /// What it comes to.
    pub result: Overall,
    /// Every trial, in the order of the plan.
    pub trials: Vec<TrialReport>,
    /// Every function of the setup, in the order of the setup.
    pub functions: Vec<FunctionReport>,
    /// Every trace that was replayed, in the order in which the plan names them first.
    pub traces: Vec<TraceFile>,
}

/// What a plan comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Overall {
    /// Every trial passed, and they show every function.
    Passed,
    /// Nothing failed, but a trial was not carried out or a function not tested.
    Incomplete,
    /// A trial failed.
    Failed,
}

/// What a trial or a function comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Judgement {
    /// As wanted.
    Passed,
    /// Not as wanted.
    Failed,
    /// Nobody knows.
    NotTested,
}

impl Judgement {
    /// In capitals.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Passed => "PASSED",
            Self::Failed => "FAILED",
            Self::NotTested => "NOT TESTED",
        }
    }
}

/// A file as it was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct FileReport {
    /// Its path.
    pub path: String,
    /// How many bytes it has.
    pub bytes: u64,
    /// CRC-32/ISO-HDLC over them, eight hexadecimal digits. It finds a change; it is no protection against intent.
    pub crc32: String,
}

/// A trace.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TraceFile {
    /// The file.
    pub file: FileReport,
    /// Frames evaluated.
    pub frames: u64,
    /// The first frame.
    pub first_s: Option<Seconds>,
    /// The last frame.
    pub last_s: Option<Seconds>,
    /// The numbers of the trials that go by it.
    pub trials: Vec<usize>,
}

/// A trial.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TrialReport {
    /// Its number in the plan, from 1.
    pub number: usize,
    /// Its name.
    pub name: String,
    /// How it was, or is to be, carried out.
    pub how: String,
    /// The line of the plan where it begins.
    pub line: usize,
    /// What it is about: a monitor, a discrepancy, an analogue value, an input, or the column of a channel.
    pub of: String,
    /// Its kind.
    pub kind: String,
    /// What must happen, in words.
    pub wanted: String,
    /// The trace; null: it was not carried out.
    pub trace: Option<String>,
    /// What it comes to.
    pub result: Judgement,
    /// What was held against it.
    pub checks: Vec<CheckReport>,
    /// What else tripped or was faulted, in words.
    pub others: Vec<String>,
    /// Whether that fails nothing.
    pub allow_others: bool,
    /// The longest reaction by the setup alone, from what is truly broken (or, where the time counts from it, from the demand) until the
    /// torque is gone; null where nothing bounds it, or the setup does not say how often it is evaluated.
    pub worst_case_s: Option<Seconds>,
}

/// One thing that was held against a trial.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CheckReport {
    /// What.
    pub what: String,
    /// On which channel; null where it belongs to none alone.
    pub channel: Option<String>,
    /// When.
    pub at_s: Option<Seconds>,
    /// What was measured.
    pub measured: Option<Amount>,
    /// The most that is wanted.
    pub bound: Option<Amount>,
    /// What is left to it; negative beyond it.
    pub margin: Option<Amount>,
    /// Whether it is as wanted; null: it is shown and not judged.
    pub met: Option<bool>,
    /// What there is to say of it; may be empty.
    pub note: String,
}

/// A function of the setup.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct FunctionReport {
    /// What it belongs to: a monitor, a discrepancy, an analogue value, an input, or the column of a channel.
    pub name: String,
    /// The kind of that.
    pub kind: String,
    /// What there is to be shown of it.
    pub shows: String,
    /// On which channel or line; null where it belongs to none alone.
    pub channel: Option<String>,
    /// Whether a trial shows it.
    pub result: Judgement,
    /// The numbers of the trials that show it, or speak against it.
    pub trials: Vec<usize>,
}

fn file(path: &Path, identity: Identity) -> FileReport {
    let crc32 = format!("{:08x}", identity.crc32);
    FileReport { path: path.display().to_string(), bytes: identity.bytes, crc32 }
}

fn file_of(path: &Path, bytes: &[u8]) -> FileReport {
    file(path, Identity { bytes: bytes.len() as u64, crc32: crc32(bytes) })
}

impl AcceptReport {
    /// Judges every trial; `recordings` has that of each trace by its path, with the trials it was made for in the order of the plan.
    #[must_use]
    pub fn new(plan: &Plan, recordings: &BTreeMap<&Path, Recording>) -> Self {
        let trials: Vec<TrialReport> = (plan.trials.iter().enumerate())
            .map(|(place, trial)| TrialReport::new(plan, place, trial, recordings))
            .collect();
        let functions = functions_of(plan, &trials);
        let is_open = trials.iter().map(|trial| trial.result).chain(functions.iter().map(|of| of.result));
        let is_open = is_open.into_iter().any(|result| result == Judgement::NotTested);
        let result = if trials.iter().any(|trial| trial.result == Judgement::Failed) {
            Overall::Failed
        } else if is_open {
            Overall::Incomplete
        } else {
            Overall::Passed
        };
        let about = |key| plan.about.iter().find(|(of, _)| *of == key).map(|(_, text)| text.clone());
        Self {
            schema: SCHEMA_VERSION,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            caution: CAUTION.to_owned(),
            title: plan.title.clone(),
            machine: about("machine"),
            place: about("place"),
            tested_by: about("tested_by"),
            plan: file_of(&plan.path, plan.text.as_bytes()),
            setup: SetupReport::new(&plan.setup),
            setup_file: file_of(&plan.setup_path, plan.setup_text.as_bytes()),
            result,
            trials,
            functions,
            traces: traces(plan, recordings),
        }
    }

    /// How many trials came to this.
    #[must_use]
    pub fn trials_that(&self, result: Judgement) -> usize {
        self.trials.iter().filter(|trial| trial.result == result).count()
    }

    /// The functions that no trial shows.
    pub fn untested(&self) -> impl Iterator<Item = &FunctionReport> {
        self.functions.iter().filter(|function| function.result == Judgement::NotTested)
    }
}

fn traces(plan: &Plan, recordings: &BTreeMap<&Path, Recording>) -> Vec<TraceFile> {
    let mut all: Vec<(&Path, Vec<usize>)> = Vec::new();
    for (place, trial) in plan.trials.iter().enumerate() {
        let Some(recorded) = &trial.recorded else { continue };
        match all.iter_mut().find(|(path, _)| *path == recorded.path) {
            Some((_, trials)) => trials.push(place + 1),
            None => all.push((&recorded.path, vec![place + 1])),
        }
    }
    let trace = |(path, trials): (&Path, Vec<usize>)| {
        let Recording { identity, outcome, .. } = recordings.get(path)?;
        let at = |instant| Seconds(outcome.time_ns(instant));
        Some(TraceFile {
            file: file(path, *identity),
            frames: outcome.frames,
            first_s: outcome.first.map(at),
            last_s: outcome.last.map(at),
            trials,
        })
    };
    all.into_iter().filter_map(trace).collect()
}

impl TrialReport {
    fn new(plan: &Plan, place: usize, trial: &Trial, recordings: &BTreeMap<&Path, Recording>) -> Self {
        let path = trial.recorded.as_ref().map(|recorded| recorded.path.as_path());
        let carried = path.and_then(|path| {
            let before = plan.trials[..place].iter().filter_map(|trial| trial.recorded.as_ref());
            let before = before.filter(|other| other.path == path).count();
            Some(judge(&plan.setup, trial, recordings.get(path)?, before))
        });
        let result = carried.as_ref().map_or(Judgement::NotTested, Carried::judgement);
        let Carried { checks, others } = carried.unwrap_or(Carried { checks: vec![], others: vec![] });
        let (of, kind) = words::about(&plan.setup, &trial.wanted);
        Self {
            number: place + 1,
            name: trial.name.clone(),
            how: trial.how.clone(),
            line: trial.line,
            of,
            kind: kind.to_owned(),
            wanted: words::wanted(&plan.setup, trial),
            trace: path.map(|path| path.display().to_string()),
            result,
            checks,
            others,
            allow_others: trial.allow_others,
            worst_case_s: worst_case(&plan.setup, &trial.wanted).map(Seconds),
        }
    }
}

/// The longest reaction of what a trial wants to trip, by the setup alone.
fn worst_case(setup: &Setup, wanted: &Wanted) -> Option<i128> {
    let Wanted::Trips { rule, channels, count, .. } = wanted else { return None };
    let rules: Vec<TripRule> = match rule {
        Rule::Monitor(place) => channels.iter().map(|on| TripRule::Monitor(*place, *on)).collect(),
        Rule::Position => vec![TripRule::PositionDiscrepancy],
        Rule::Speed => vec![TripRule::SpeedDiscrepancy],
        Rule::Analogue(of) => vec![TripRule::Analogue(*of)],
    };
    let period = period(setup, None)?;
    let of = |rule: &TripRule| {
        let reaction = reaction(setup, period, *rule);
        match count {
            Count::Crossing => reaction.total(),
            Count::Demand => reaction.path(Broken::Demand).map(crate::margins::Path::total),
        }
    };
    let longest = rules.iter().map(of).collect::<Option<Vec<_>>>()?.into_iter().max()?;
    // The largest there is stands for one that nothing bounds.
    (longest.as_nanos() < u64::MAX).then(|| longest.as_nanos().into())
}

/// What the trials show of each function; the two channels of one are together where they came to the same.
fn functions_of(plan: &Plan, trials: &[TrialReport]) -> Vec<FunctionReport> {
    let mut all: Vec<FunctionReport> = Vec::new();
    for function in functions(&plan.setup) {
        let report = function_of(plan, trials, &function);
        let joined = all.last_mut().filter(|before| {
            function.channel == Some(Channel::B)
                && before.channel.as_deref() == Some("a")
                && (&before.name, &before.shows) == (&report.name, &report.shows)
                && (before.result, &before.trials) == (report.result, &report.trials)
        });
        match joined {
            Some(before) => before.channel = Some("a and b".to_owned()),
            None => all.push(report),
        }
    }
    all
}

fn function_of(plan: &Plan, trials: &[TrialReport], function: &Function) -> FunctionReport {
    let concerned =
        plan.trials.iter().zip(trials).filter(|(trial, of)| {
            of.result != Judgement::NotTested && function.is_questioned_by(&trial.wanted)
        });
    let concerned: Vec<_> = concerned.collect();
    let is_failed = concerned.iter().any(|(_, of)| of.result == Judgement::Failed);
    let is_shown = concerned.iter().any(|(trial, _)| function.is_shown_by(&trial.wanted));
    let result = match (is_failed, is_shown) {
        (true, _) => Judgement::Failed,
        (false, true) => Judgement::Passed,
        (false, false) => Judgement::NotTested,
    };
    let (name, kind) = words::function(&plan.setup, function);
    FunctionReport {
        name,
        kind: kind.to_owned(),
        shows: words::shows(function).to_owned(),
        channel: function.channel.map(|on| words::channel(on).to_owned()),
        result,
        trials: concerned.iter().map(|(_, of)| of.number).collect(),
    }
}
