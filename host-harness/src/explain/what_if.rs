//! What setting would have let it pass, found by evaluating the frames again with other values.

use monitor_core::Instant;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

use super::excerpt::Excerpt;
use super::knob::{Knob, Looser};
use super::rerun::{Event, Rerun};
use crate::setup::Setup;
use crate::vary::Base;

/// A setting, and the smallest change of it with which the frames that were kept would not have led to this trip or fault.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Change {
    /// The setting, as its place in the setup file.
    pub setting: String,
    /// As it is written now.
    pub from: String,
    /// The value with which it does not happen, in steps of a thousandth of its unit or of a microsecond; null where none does.
    pub to: Option<String>,
    /// What it allows besides.
    pub allows: Option<String>,
    /// Why none was found.
    pub note: Option<String>,
    /// Trips of the same rule at other times of this trace at which both channels saw the motion break it, and which this value
    /// would have let pass: seconds.
    pub lets_pass: Vec<crate::report::Seconds>,
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
    /// When it happened.
    pub(super) at: Instant,
    /// The frame from which on what happened depends on what is allowed.
    pub(super) since: Instant,
    /// The frame at which what was asked of the motion began, where that is not there from the start.
    pub(super) demanded: Option<Instant>,
    /// By how much what was observed was beyond what was allowed at the most, in thousandths: where to begin.
    pub(super) guess: i64,
    /// The unit of an analogue value.
    pub(super) value_unit: &'a str,
}

/// Tries every setting, those of the rule itself first.
pub(super) fn changes(search: &Search<'_>, knobs: &[Knob]) -> Vec<Change> {
    let from_violation = Rerun::at(search.excerpt, search.since);
    let from_demand = search.demanded.and_then(|demanded| Rerun::at(search.excerpt, demanded));
    let anew = knobs.iter().any(|knob| knob.anew).then(|| Rerun::anew(search.excerpt)).flatten();
    knobs
        .par_iter()
        .filter_map(|knob| {
            let rerun = match knob {
                Knob { anew: true, .. } => anew.as_ref(),
                Knob { from_demand: true, .. } => from_demand.as_ref(),
                _ => from_violation.as_ref(),
            };
            search.change(knob, rerun)
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

    fn change(&self, knob: &Knob, rerun: Option<&Rerun>) -> Option<Change> {
        let now = knob.steps(self.setup)?;
        let none = |note: &str| Change {
            setting: knob.path.clone(),
            from: knob.text(self.setup).unwrap_or_default(),
            to: None,
            allows: None,
            note: Some(note.to_owned()),
            lets_pass: Vec::new(),
            setup: None,
        };
        let Some(rerun) = rerun else {
            return Some(none("not tried: it counts from an instant before the frames that were kept"));
        };
        if rerun.first(self.setup, self.event).ok()? != Some(self.at) {
            return Some(none("not tried: the frames that were kept do not lead to it by themselves"));
        }
        let passes = |steps: i64| {
            let changed = knob.set(self.setup, steps);
            changed.is_some_and(|setup| rerun.first(&setup, self.event).is_ok_and(|at| at.is_none()))
                && self.is_accepted(knob, steps)
        };
        let Some(steps) = smallest(knob, now, self.guess, &passes) else {
            let most = knob.written(self.setup, knob.most, self.value_unit)?;
            let way = if knob.looser == Looser::Up { "up" } else { "down" };
            return Some(none(&format!("no value {way} to {most} prevents it")));
        };
        Some(Change {
            to: knob.written(self.setup, steps, self.value_unit),
            allows: knob.allows(self.setup, steps, self.value_unit),
            note: None,
            setup: knob.set(self.setup, steps).map(Box::new),
            ..none("")
        })
    }
}

/// The smallest change that passes, to the step: it is looked for from the guess on in growing strides, then between the last value that
/// did not pass and the first one that did. A looser setting lets pass what a stricter one does.
fn smallest(knob: &Knob, now: i64, guess: i64, passes: &Passes<'_>) -> Option<i64> {
    let at = |change: i64| match knob.looser {
        Looser::Up => now.saturating_add(change).min(knob.most),
        Looser::Down => now.saturating_sub(change).max(knob.most),
    };
    let most = match knob.looser {
        Looser::Up => knob.most.saturating_sub(now),
        Looser::Down => now.saturating_sub(knob.most),
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
                let up =
                    smallest(&Knob::bounded(Looser::Up, 1_000_000), 50, guess, &|steps| steps >= 50 + wanted);
                assert_eq!(up, Some(50 + wanted), "guess {guess}");
                let down =
                    smallest(&Knob::bounded(Looser::Down, 0), 1000, guess, &|steps| steps <= 1000 - wanted);
                assert_eq!(down, Some(1000 - wanted), "guess {guess}");
            }
        }
    }

    #[test]
    fn where_no_value_prevents_it_none_is_named() {
        assert_eq!(smallest(&Knob::bounded(Looser::Up, 60), 50, 3, &|_| false), None);
        assert_eq!(smallest(&Knob::bounded(Looser::Up, 60), 50, 3, &|steps| steps >= 60), Some(60));
        assert_eq!(
            smallest(&Knob::bounded(Looser::Up, 50), 50, 3, &|_| true),
            None,
            "there is no looser one"
        );
    }
}
