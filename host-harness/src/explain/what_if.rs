//! What setting would have let it pass, found by evaluating the frames again with other values.

mod seek;

use monitor_core::{Instant, Span};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::excerpt::Excerpt;
use super::knob::{Knob, Since, Way};
use super::rerun::{Course, Event, Rerun};
use crate::report::Seconds;
use crate::setup::Setup;
use crate::vary::Base;
use seek::smallest_accepted;

/// A setting, and the smallest change of it with which the violation that was recorded would not have led to this trip or fault.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Change {
    /// The setting, as its place in the setup file.
    pub setting: String,
    /// As it is now.
    pub from: String,
    /// The value with which it does not happen, in steps of a thousandth of its unit or of a microsecond; null where none does.
    pub to: Option<String>,
    /// The frames after the permit went show a machine that is being stopped, or the trace ends before the violation does: one that goes
    /// on needs at least this, or where it gets smaller at most.
    pub at_least: bool,
    /// It gets looser by getting smaller.
    pub is_lower: bool,
    /// What it allows besides.
    pub allows: Option<String>,
    /// Why none was found.
    pub note: Option<String>,
    /// Another setting that has to be changed too: neither of the two does alone.
    pub with: Option<With>,
    /// A smaller change that only puts it off: within half a second the same rule trips all the same.
    pub this_alone: Option<String>,
    /// When it trips later: with `this_alone`, or where that is null with `to`.
    pub trips_later_s: Option<Seconds>,
    /// With this value the permit goes all the same in these frames: when.
    pub lost_all_the_same_s: Option<Seconds>,
    /// What takes it then.
    pub lost_by: Option<String>,
    /// Violations of the same rule at other times of this trace, which both channels saw, and which this value would have let pass.
    pub lets_pass: Vec<Seconds>,
    /// How many trips of the same rule at other times were not tried, because their frames were not kept.
    pub not_tried: usize,
    /// The setup with it.
    #[serde(skip)]
    pub(super) setup: Option<Box<Setup>>,
}

/// The other one of two settings.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct With {
    /// Its place in the setup file.
    pub setting: String,
    /// As it is now.
    pub from: String,
    /// The value that it needs.
    pub to: String,
}

/// What is looked for, and where.
pub(super) struct Search<'a> {
    pub(super) setup: &'a Setup,
    /// The same with its text, to see what a setup file accepts.
    pub(super) base: &'a Base,
    pub(super) excerpt: &'a Excerpt,
    pub(super) event: Event,
    /// When it happened first, on either channel.
    pub(super) at: Instant,
    /// The frame from which on what happened depends on what is allowed.
    pub(super) since: Instant,
    /// The last frame of the violation that led to it.
    pub(super) until: Instant,
    /// The last frame before the latches are reset.
    pub(super) latched_until: Instant,
    /// The last frame that was kept.
    pub(super) last: Instant,
    /// The lines of an input decide: what they lead to may come after a reset, because that resets nothing then.
    pub(super) by_lines: bool,
    /// Stretches after it in which both channels saw the rule broken for its on-delay, from and to.
    pub(super) later: Vec<(Instant, Instant)>,
    /// The violation that was recorded may be shorter than it would have been.
    pub(super) at_least: bool,
    /// The frame at which what was asked of the motion began, where that is not there from the start.
    pub(super) demanded: Option<Instant>,
    /// A frame before the lines of the inputs in question began to change, where there are such.
    pub(super) before_lines: Option<Instant>,
    /// By how much what was observed was beyond what was allowed at the most, in thousandths: where to begin.
    pub(super) guess: i64,
    /// The unit of an analogue value.
    pub(super) value_unit: &'a str,
    /// What to add to an instant to get the time in the trace.
    pub(super) origin_ns: i128,
}

/// The reruns that changes are tried on, each from another frame.
struct Reruns {
    violation: Option<Rerun>,
    demand: Option<Rerun>,
    lines: Option<Rerun>,
    switched_on: Option<Rerun>,
}

impl Reruns {
    fn new(search: &Search<'_>, knobs: &[Knob]) -> Self {
        let from = |start| Rerun::at(search.excerpt, start, search.last);
        let asked = |since| knobs.iter().any(|knob| knob.since == since).then_some(());
        Self {
            violation: from(search.since),
            demand: asked(Since::Demand).and(search.demanded).and_then(from),
            lines: asked(Since::BeforeLines).and(search.before_lines).and_then(from),
            switched_on: asked(Since::SwitchedOn).and_then(|()| Rerun::anew(search.excerpt, search.last)),
        }
    }

    const fn of(&self, knob: &Knob) -> Option<&Rerun> {
        match knob.since {
            Since::Violation => self.violation.as_ref(),
            Since::Demand => self.demand.as_ref(),
            Since::BeforeLines => self.lines.as_ref(),
            Since::SwitchedOn => self.switched_on.as_ref(),
        }
    }
}

/// Tries every setting, those of the rule itself first; where two limit the same and neither does alone, both.
pub(super) fn changes(search: &Search<'_>, knobs: &[Knob]) -> Vec<Change> {
    let reruns = Reruns::new(search, knobs);
    let tried: Vec<(&Knob, Option<Change>)> =
        knobs.par_iter().map(|knob| (knob, search.change(knob, None, reruns.of(knob)))).collect();
    let does = |path: &str| {
        tried.iter().any(|(knob, change)| {
            knob.path == path && change.as_ref().is_some_and(|change| change.to.is_some())
        })
    };
    let find = |path: &str| knobs.iter().find(|knob| knob.path == path);
    let pairs: Vec<(&Knob, &Knob)> = (knobs.iter())
        .filter_map(|knob| Some((knob, find(&knob.with.clone()?)?)))
        .filter(|(one, other)| !does(&one.path) && !does(&other.path))
        .collect();
    let together: Vec<Change> =
        pairs.par_iter().filter_map(|(one, other)| search.both(one, other, reruns.of(one))).collect();
    let is_paired = |knob: &Knob| {
        let mut names = together
            .iter()
            .flat_map(|change| [Some(&change.setting), change.with.as_ref().map(|with| &with.setting)]);
        names.any(|name| name == Some(&knob.path))
    };
    let alone = tried.iter().filter(|(knob, _)| !is_paired(knob));
    let alone = alone
        .filter_map(|(knob, change)| change.clone().filter(|change| change.to.is_some() || !knob.is_aside));
    let mut all: Vec<Change> = alone.collect();
    all.splice(0..0, together);
    all
}

impl Search<'_> {
    /// Whether a setup file may have this value: not all that the core can do with makes sense.
    fn is_accepted(&self, knob: &Knob, steps: i64, fixed: Fixed<'_>) -> bool {
        let variation = |knob: &Knob, steps| {
            let value = knob.written(self.setup, steps, self.value_unit)?;
            self.base.variation(&format!("{}={value}", knob.path)).ok()
        };
        let Some(this) = variation(knob, steps) else { return false };
        match fixed {
            None => self.base.with(&[(&this, 0)]).is_ok(),
            Some((other, steps)) => variation(other, steps)
                .is_some_and(|other| self.base.with(&[(&this, 0), (&other, 0)]).is_ok()),
        }
    }

    /// The loosest value that a setup file may have.
    fn loosest(&self, knob: &Knob, now: i64, fixed: Fixed<'_>) -> i64 {
        let most = match knob.since {
            // What is measured over a window has to be known when it is needed: the frames that were kept begin in time for it.
            Since::SwitchedOn => knob.most.min(self.known_window()),
            _ => knob.most,
        };
        if most == now || self.is_accepted(knob, most, fixed) {
            return most;
        }
        let (mut accepted, mut refused) = (now, most);
        while accepted.abs_diff(refused) > 1 {
            let middle = i64::midpoint(accepted, refused);
            if self.is_accepted(knob, middle, fixed) { accepted = middle } else { refused = middle }
        }
        accepted
    }

    /// The longest window that is full before the violation in a rerun from the first frame that was kept, in steps.
    fn known_window(&self) -> i64 {
        let known = self.excerpt.first().and_then(|first| self.since.since(first));
        let half = known.map_or(0, |known| known.as_nanos() / 2_000);
        i64::try_from(half).unwrap_or(i64::MAX)
    }

    fn with(&self, knob: &Knob, steps: i64, fixed: Fixed<'_>) -> Option<Setup> {
        let changed = knob.set(self.setup, steps)?;
        match fixed {
            None => Some(changed),
            Some((other, steps)) => other.set(&changed, steps),
        }
    }

    /// What happens with this setup up to an instant.
    fn course(&self, knob: &Knob, rerun: &Rerun, setup: &Setup, until: Instant) -> Option<Course> {
        rerun.course(setup, self.event, until, self.goes_through_resets(knob)).ok()
    }

    /// What an input is set to decides, and what the lines lead to: that may come after a reset.
    fn goes_through_resets(&self, knob: &Knob) -> bool {
        self.by_lines && knob.since == Since::BeforeLines
    }

    /// Up to when what happened must not happen: the frames of the violation, or all.
    fn until(&self, knob: &Knob, all: bool) -> Instant {
        match (all, self.goes_through_resets(knob)) {
            (true, true) => self.last,
            (true, false) => self.latched_until,
            // Measured over another window what is violated is violated at another time.
            (false, _) if knob.since == Since::SwitchedOn => self.latched_until,
            (false, _) => self.until,
        }
    }

    /// The smallest change from `now` on that prevents it, in steps.
    fn smallest(
        &self,
        knob: &Knob,
        (now, most): (i64, i64),
        fixed: Fixed<'_>,
        rerun: &Rerun,
        all: bool,
    ) -> Option<i64> {
        let until = self.until(knob, all);
        let passes = |steps: i64| {
            let course =
                self.with(knob, steps, fixed).and_then(|setup| self.course(knob, rerun, &setup, until));
            course.is_some_and(|course| course.event.is_none())
        };
        // Of what is told only where it helps, most does not: one look is enough.
        if knob.is_aside && fixed.is_none() && !passes(most) {
            return None;
        }
        let guess = if all { 1 } else { self.guess };
        let accepted = |steps: i64| self.is_accepted(knob, steps, fixed);
        smallest_accepted(knob.looser, (now, most), guess, &passes, &accepted)
    }

    fn none(&self, knob: &Knob, note: &str) -> Change {
        Change {
            setting: knob.path.clone(),
            from: knob.shown(self.setup, self.value_unit).unwrap_or_default(),
            to: None,
            with: None,
            at_least: false,
            is_lower: knob.looser == Way::Down,
            allows: None,
            note: Some(note.to_owned()),
            this_alone: None,
            trips_later_s: None,
            lost_all_the_same_s: None,
            lost_by: None,
            lets_pass: Vec::new(),
            not_tried: 0,
            setup: None,
        }
    }

    /// The smallest change of one setting that does, with another one fixed.
    fn change(&self, knob: &Knob, fixed: Fixed<'_>, rerun: Option<&Rerun>) -> Option<Change> {
        let now = knob.steps(self.setup)?;
        let Some(rerun) = rerun else {
            return Some(
                self.none(knob, "not tried: it counts from an instant before the frames that were kept"),
            );
        };
        if self.course(knob, rerun, self.setup, self.until(knob, false))?.event != Some(self.at) {
            return Some(
                self.none(knob, "not tried: the frames that were kept do not lead to it by themselves"),
            );
        }
        let most = self.loosest(knob, now, fixed);
        let Some(first) = self.smallest(knob, (now, most), fixed, rerun, false) else {
            let most = knob.written(self.setup, most, self.value_unit)?;
            let way = if knob.looser == Way::Up { "up" } else { "down" };
            return Some(self.none(knob, &format!("no value {way} to {most} prevents it")));
        };
        let all = self.until(knob, true);
        let later = self.course(knob, rerun, &self.with(knob, first, fixed)?, all)?.event;
        let is_same = |later: Instant| later.since(self.at).is_some_and(|after| after <= SAME_MOTION);
        let for_all = later
            .filter(|at| is_same(*at))
            .and_then(|_| self.smallest(knob, (first, most), fixed, rerun, true));
        let steps = for_all.unwrap_or(first);
        let setup = self.with(knob, steps, fixed)?;
        let then = self.course(knob, rerun, &setup, all)?;
        let seconds = |at: Instant| Seconds(i128::from(at.as_nanos()) + self.origin_ns);
        let written = |steps| knob.written(self.setup, steps, self.value_unit);
        // Up to where it trips again everything passes.
        let passed = self.later.iter().filter(|(_, end)| then.event.is_none_or(|event| *end < event));
        let lost = then.permit_lost.filter(|(lost, _)| Some(*lost) != then.event);
        Some(Change {
            to: written(steps),
            at_least: (self.at_least || self.is_cut(knob, steps)) && !knob.is_word(self.setup),
            allows: knob.allows(self.setup, steps, self.value_unit),
            note: None,
            this_alone: for_all.and_then(|_| written(first)),
            trips_later_s: later.map(seconds),
            lost_all_the_same_s: lost.as_ref().map(|(at, _)| seconds(*at)),
            lost_by: lost.map(|(_, seen)| super::lost::by(self.setup, &seen)),
            lets_pass: passed.map(|(start, _)| seconds(*start)).collect(),
            setup: Some(Box::new(setup)),
            ..self.none(knob, "")
        })
    }

    /// With so much longer a time it would have come after the last frame that was kept.
    fn is_cut(&self, knob: &Knob, steps: i64) -> bool {
        let later = knob.later_ns(self.setup, steps).filter(|_| self.goes_through_resets(knob));
        later.is_some_and(|later| self.at.as_nanos().saturating_add(later) >= self.last.as_nanos())
    }

    /// Two settings of which neither does alone: the smallest of the first beside the loosest of the other, then the smallest of the other
    /// beside that.
    fn both(&self, one: &Knob, other: &Knob, rerun: Option<&Rerun>) -> Option<Change> {
        let rerun = rerun?;
        let (first, second) = (one.steps(self.setup)?, other.steps(self.setup)?);
        let loosest = self.loosest(other, second, None);
        let most = self.loosest(one, first, Some((other, loosest)));
        let beside = |all| {
            let first = self.smallest(one, (first, most), Some((other, loosest)), rerun, all)?;
            self.smallest(other, (second, loosest), Some((one, first)), rerun, all)
        };
        let mut second = beside(false)?;
        let mut change = self.change(one, Some((other, second)), Some(rerun))?;
        // Where the other one only lets it be put off, it needs more.
        if change.trips_later_s.is_some() && change.this_alone.is_none() {
            let whole = beside(true)
                .and_then(|more| Some((more, self.change(one, Some((other, more)), Some(rerun))?)));
            if let Some(whole) = whole.filter(|(_, change)| change.trips_later_s.is_none()) {
                (second, change) = whole;
            }
        }
        let with = With {
            setting: other.path.clone(),
            from: other.shown(self.setup, self.value_unit)?,
            to: other.written(self.setup, second, self.value_unit)?,
        };
        change.to.is_some().then_some(Change { with: Some(with), ..change })
    }
}

/// What comes so soon after it is the same motion that goes to and fro: a value that only puts it off prevents nothing.
const SAME_MOTION: Span = Span::from_nanos(500_000_000);

/// Another setting, and its value in steps.
type Fixed<'a> = Option<(&'a Knob, i64)>;
