//! What became of inputs: the line that moved, and resets that were refused.

use monitor_core::{Instant, Reset};

use super::{StageKind, Story};
use crate::replay::{Fault, FaultKind};

/// The most refused resets that are told.
const REFUSED_TOLD: usize = 4;

/// The most changes of the lines after a fault that are told.
const CHANGES_TOLD: usize = 4;

impl Story<'_> {
    /// Which line of an input changed before its fault, where that was seen.
    pub(super) fn line_that_moved(&mut self, input: usize, at: Instant) {
        let lines = crate::explain::input::lines(self.setup, self.points, input, at);
        let moved = lines.iter().filter_map(|line| Some((line.changed_at?, line)));
        let Some((changed_at, moved)) = moved.max_by_key(|(changed_at, _)| *changed_at) else { return };
        let level = |is_high: bool| if is_high { "high" } else { "low" };
        let stayed = lines.iter().filter(|line| line.column != moved.column);
        let stayed: String =
            stayed.map(|line| format!("; {} stays {}", line.column, level(line.is_high))).collect();
        let text = format!("{} goes {}{stayed}", moved.column, level(moved.is_high));
        self.add(changed_at, StageKind::Line, None, text);
    }

    /// What the lines of a faulted input did after its fault, up to an accepted reset.
    pub(super) fn lines_after(&mut self, fault: &Fault) {
        let FaultKind::Input(input) = fault.kind else { return };
        let mask = crate::explain::input::mask(self.setup, input);
        let from = self.place(fault.from);
        let mut changed = Vec::new();
        for pair in self.points[from.min(self.points.len())..].windows(2) {
            let [was, is] = [pair[0].levels.to_bits() & mask, pair[1].levels.to_bits() & mask];
            if pair[1].reset || changed.len() == CHANGES_TOLD {
                break;
            }
            if was != is {
                changed.push((pair[1].now, was ^ is, is));
            }
        }
        for (at, lines, levels) in changed {
            let names = self.setup.levels.iter().enumerate();
            let bit = |line: usize| u32::try_from(line).ok().and_then(|line| 1_u32.checked_shl(line));
            let of = names.filter_map(|(line, name)| Some((bit(line).filter(|bit| lines & bit != 0)?, name)));
            let told: Vec<String> = of
                .map(|(bit, name)| format!("{name} goes {}", if levels & bit != 0 { "high" } else { "low" }))
                .collect();
            self.add(at, StageKind::Line, None, told.join("; "));
        }
    }

    /// Resets after it that were refused, with the reason, up to the one that was accepted.
    pub(super) fn refused(&mut self, at: Instant) {
        let after = self.outcome.resets.kept.iter().filter(|reset| reset.at >= at);
        let refused = after.take_while(|reset| reset.result != Reset::Accepted).take(REFUSED_TOLD);
        for reset in refused {
            let mut text = format!("a reset is {}", crate::report::reset(reset.result));
            if reset.result == Reset::InputFaulted {
                for name in self.faulted_inputs(reset.at) {
                    text += &format!("; both lines of \"{name}\" have to be seen demanding first");
                }
            }
            self.add(reset.at, StageKind::Refused, None, text);
        }
    }

    /// Inputs whose fault was latched at an instant.
    fn faulted_inputs(&self, at: Instant) -> Vec<&str> {
        let resets = self.outcome.resets.kept.iter();
        let accepted = resets.filter(|reset| reset.result == Reset::Accepted && reset.at < at);
        let since = accepted.map(|reset| reset.at).max();
        let faults = self.outcome.faults.kept.iter();
        let latched = faults.filter(|fault| since.is_none_or(|since| since < fault.from) && fault.from <= at);
        let inputs = latched.filter_map(|fault| match fault.kind {
            FaultKind::Input(input) => self.setup.inputs.get(input).map(|input| input.name.as_str()),
            _ => None,
        });
        let mut inputs: Vec<&str> = inputs.collect();
        inputs.dedup();
        inputs
    }
}
