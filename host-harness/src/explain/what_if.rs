//! What setting would have let it pass, found by evaluating the frames again with other values.

use monitor_core::Instant;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::excerpt::Excerpt;
use super::knob::{Knob, Since, Way};
use super::rerun::{Event, Rerun};
use crate::report::Seconds;
use crate::setup::Setup;
use crate::vary::Base;

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
    /// on needs at least this.
    pub at_least: bool,
    /// What it allows besides.
    pub allows: Option<String>,
    /// Why none was found.
    pub note: Option<String>,
    /// With this value the permit goes all the same in these frames, by something else: when.
    pub lost_all_the_same_s: Option<Seconds>,
    /// With this value the same rule trips later in these frames: when.
    pub trips_later_s: Option<Seconds>,
    /// The value with which it does not trip in these frames at all, where it trips later with the one that prevents this.
    pub to_for_all: Option<String>,
    /// Violations of the same rule at other times of this trace, which both channels saw, and which this value would have let pass.
    pub lets_pass: Vec<Seconds>,
    /// How many trips of the same rule at other times were not tried, because their frames were not kept.
    pub not_tried: usize,
    /// The setup with it.
    #[serde(skip)]
    pub(super) setup: Option<Box<Setup>>,
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

/// Tries every setting, those of the rule itself first.
pub(super) fn changes(search: &Search<'_>, knobs: &[Knob]) -> Vec<Change> {
    let from = |start| Rerun::at(search.excerpt, start, search.latched_until);
    let asked = |since| knobs.iter().any(|knob| knob.since == since).then_some(());
    let from_violation = from(search.since);
    let from_demand = asked(Since::Demand).and(search.demanded).and_then(from);
    let before_lines = asked(Since::BeforeLines).and(search.before_lines).and_then(from);
    let switched_on =
        asked(Since::SwitchedOn).and_then(|()| Rerun::anew(search.excerpt, search.latched_until));
    knobs
        .par_iter()
        .filter_map(|knob| {
            let rerun = match knob.since {
                Since::Violation => from_violation.as_ref(),
                Since::Demand => from_demand.as_ref(),
                Since::BeforeLines => before_lines.as_ref(),
                Since::SwitchedOn => switched_on.as_ref(),
            };
            search.change(knob, rerun).filter(|change| change.to.is_some() || !knob.is_aside)
        })
        .collect()
}

/// Whether a value keeps it from happening.
type Passes<'a> = dyn Fn(i64) -> bool + 'a;

impl Search<'_> {
    /// Whether a setup file may have this value: not all that the core can do with makes sense.
    fn is_accepted(&self, knob: &Knob, steps: i64) -> bool {
        let Some(value) = knob.written(self.setup, steps, self.value_unit) else { return false };
        let varied = self.base.variation(&format!("{}={value}", knob.path));
        varied.is_ok_and(|variation| self.base.with(&[(&variation, 0)]).is_ok())
    }

    /// The loosest value that a setup file may have.
    fn loosest(&self, knob: &Knob, now: i64) -> i64 {
        let most = match knob.since {
            // What is measured over a window has to be known when it is needed: the frames that were kept begin in time for it.
            Since::SwitchedOn => knob.most.min(self.known_window()),
            _ => knob.most,
        };
        if most == now || self.is_accepted(knob, most) {
            return most;
        }
        let (mut accepted, mut refused) = (now, most);
        while accepted.abs_diff(refused) > 1 {
            let middle = i64::midpoint(accepted, refused);
            if self.is_accepted(knob, middle) { accepted = middle } else { refused = middle }
        }
        accepted
    }

    /// The longest window that is full before the violation in a rerun from the first frame that was kept, in steps.
    fn known_window(&self) -> i64 {
        let known = self.excerpt.first().and_then(|first| self.since.since(first));
        let half = known.map_or(0, |known| known.as_nanos() / 2_000);
        i64::try_from(half).unwrap_or(i64::MAX)
    }

    fn change(&self, knob: &Knob, rerun: Option<&Rerun>) -> Option<Change> {
        let now = knob.steps(self.setup)?;
        let none = |note: &str| Change {
            setting: knob.path.clone(),
            from: knob.shown(self.setup, self.value_unit).unwrap_or_default(),
            to: None,
            at_least: false,
            allows: None,
            note: Some(note.to_owned()),
            lost_all_the_same_s: None,
            trips_later_s: None,
            to_for_all: None,
            lets_pass: Vec::new(),
            not_tried: 0,
            setup: None,
        };
        let Some(rerun) = rerun else {
            return Some(none("not tried: it counts from an instant before the frames that were kept"));
        };
        // Measured over another window what is violated is violated at another time.
        let until = if knob.since == Since::SwitchedOn { self.latched_until } else { self.until };
        if rerun.first(self.setup, self.event, until).ok()? != Some(self.at) {
            return Some(none("not tried: the frames that were kept do not lead to it by themselves"));
        }
        let passes_until = |steps: i64, until| {
            let changed = knob.set(self.setup, steps);
            changed.is_some_and(|setup| rerun.first(&setup, self.event, until).is_ok_and(|at| at.is_none()))
                && self.is_accepted(knob, steps)
        };
        let passes = |steps: i64| passes_until(steps, until);
        let most = self.loosest(knob, now);
        // Of what is told only where it helps, most does not: one look is enough.
        if knob.is_aside && !passes(most) {
            return None;
        }
        let Some(steps) = smallest(knob.looser, (now, most), self.guess, &passes) else {
            let most = knob.written(self.setup, most, self.value_unit)?;
            let way = if knob.looser == Way::Up { "up" } else { "down" };
            return Some(none(&format!("no value {way} to {most} prevents it")));
        };
        let setup = knob.set(self.setup, steps)?;
        let then = rerun.course(&setup, self.event, self.latched_until).ok()?;
        let seconds = |at: Instant| Seconds(i128::from(at.as_nanos()) + self.origin_ns);
        let for_all = then.event.and_then(|_| {
            let passes = |steps: i64| passes_until(steps, self.latched_until);
            smallest(knob.looser, (steps, most), 1, &passes)
        });
        // Up to where it trips again everything passes.
        let passed = self.later.iter().filter(|(_, end)| then.event.is_none_or(|event| *end < event));
        Some(Change {
            to: knob.written(self.setup, steps, self.value_unit),
            at_least: self.at_least && !knob.is_word(self.setup),
            allows: knob.allows(self.setup, steps, self.value_unit),
            note: None,
            lost_all_the_same_s: then.permit_lost.filter(|lost| Some(*lost) != then.event).map(seconds),
            trips_later_s: then.event.map(seconds),
            to_for_all: for_all.and_then(|steps| knob.written(self.setup, steps, self.value_unit)),
            lets_pass: passed.map(|(start, _)| seconds(*start)).collect(),
            setup: Some(Box::new(setup)),
            ..none("")
        })
    }
}

/// The smallest change that passes, to the step: it is looked for from the guess on in growing strides, then between the last value that
/// did not pass and the first one that did. A looser setting lets pass what a stricter one does.
fn smallest(looser: Way, (now, loosest): (i64, i64), guess: i64, passes: &Passes<'_>) -> Option<i64> {
    let at = |change: i64| match looser {
        Way::Up => now.saturating_add(change).min(loosest),
        Way::Down => now.saturating_sub(change).max(loosest),
    };
    let most = match looser {
        Way::Up => loosest.saturating_sub(now),
        Way::Down => now.saturating_sub(loosest),
    };
    if most <= 0 {
        return None;
    }
    // No change trips: that is known.
    let (mut fails, mut works) = (0, guess.clamp(1, most));
    if passes(at(works)) {
        let mut stride = 1;
        while works > fails + 1 {
            let tried = works.saturating_sub(stride).max(fails + 1);
            if !passes(at(tried)) {
                fails = tried;
                break;
            }
            works = tried;
            stride *= 2;
        }
    } else {
        let mut stride = works.max(1);
        loop {
            fails = works;
            if works >= most {
                return None;
            }
            works = works.saturating_add(stride).min(most);
            if passes(at(works)) {
                break;
            }
            stride = stride.saturating_mul(2);
        }
    }
    while works - fails > 1 {
        let middle = i64::midpoint(fails, works);
        if passes(at(middle)) {
            works = middle;
        } else {
            fails = middle;
        }
    }
    Some(at(works))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_change_is_found_to_the_step_whatever_the_guess() {
        for guess in [0, 1, 2, 40, 99, 100, 101, 500, 5000] {
            for wanted in [1, 2, 3, 57, 100, 999] {
                let up = smallest(Way::Up, (50, 1_000_000), guess, &|steps| steps >= 50 + wanted);
                assert_eq!(up, Some(50 + wanted), "guess {guess}");
                let down = smallest(Way::Down, (1000, 0), guess, &|steps| steps <= 1000 - wanted);
                assert_eq!(down, Some(1000 - wanted), "guess {guess}");
            }
        }
    }

    #[test]
    fn where_no_value_prevents_it_none_is_named() {
        assert_eq!(smallest(Way::Up, (50, 60), 3, &|_| false), None);
        assert_eq!(smallest(Way::Up, (50, 60), 3, &|steps| steps >= 60), Some(60));
        assert_eq!(smallest(Way::Up, (50, 50), 3, &|_| true), None, "there is no looser one");
    }
}
