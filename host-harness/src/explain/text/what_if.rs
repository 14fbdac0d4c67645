//! What takes a cause away, what would have let it pass, and what that costs.

use std::fmt::{self, Write};

use super::{LISTED, Page, wrapped};
use crate::explain::{Costed, Explanation, Guard};
use crate::report::short;

impl Page<'_> {
    pub(super) fn cures(&self, out: &mut String) -> fmt::Result {
        let cures = &self.0.cures;
        if cures.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nWhat takes the cause away, in the setup")?;
        for cure in cures {
            let holds = match (cure.prevents_it, &cure.instead) {
                (Some(true), _) => {
                    "the trace replayed with it does not trip, and nothing else goes wrong".to_owned()
                }
                (Some(false), Some(instead)) => format!("replayed with it, {instead}"),
                _ => "not replayed".to_owned(),
            };
            writeln!(out, "{}", wrapped("  ", &cure.setting))?;
            writeln!(out, "{}", wrapped("      ", &format!("{}: {holds}", cure.does)))?;
        }
        Ok(())
    }

    pub(super) fn what_if(&self, out: &mut String) -> fmt::Result {
        let Explanation { what_if, guard, .. } = self.0;
        if what_if.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nWhat would have let it pass, and what that costs")?;
        if self.is_failed_witness() {
            let text = "nothing that is worth it: a witness that fails is repaired, not tolerated; the JSON has the values";
            return writeln!(out, "{}", wrapped("  ", text));
        }
        if *guard == Guard::Right {
            let text =
                "a looser setting lets the same pass the next time: no value below is a recommendation";
            writeln!(out, "{}", wrapped("  ! ", text))?;
        }
        if what_if.iter().any(|costed| costed.change.at_least) {
            let text = "found on the recorded frames, in which the machine is being stopped since the trip, or which end before the \
                        violation does: a motion that goes on needs more";
            writeln!(out, "{}", wrapped("  ! ", text))?;
        }
        for costed in what_if.iter().filter(|costed| costed.change.to.is_some()) {
            self.change(out, costed)?;
        }
        self.not_known(out)?;
        for Costed { change, .. } in what_if.iter().filter(|costed| costed.change.to.is_none()) {
            let note = change.note.as_deref().unwrap_or_default();
            writeln!(out, "{}", wrapped("  ", &format!("{}: {note}", change.setting)))?;
        }
        Ok(())
    }

    /// What of the costs the setup does not tell: once for all.
    fn not_known(&self, out: &mut String) -> fmt::Result {
        let costs = || self.0.what_if.iter().filter_map(|costed| costed.cost.as_ref());
        if costs().any(|cost| cost.text(&self.0.setup.unit).is_none()) {
            let text = "where no cost is told it is a matter of the risk assessment";
            writeln!(out, "{}", wrapped("  ", text))?;
        }
        let mut missing: Vec<&str> = costs().flat_map(|cost| &cost.missing).map(String::as_str).collect();
        missing.sort_unstable();
        missing.dedup();
        if !missing.is_empty() {
            let text = format!("for more of the costs the setup would have to say {}", missing.join(", "));
            writeln!(out, "{}", wrapped("  ", &text))?;
        }
        Ok(())
    }

    /// One setting: now, then, and its cost.
    fn change(&self, out: &mut String, Costed { change, cost }: &Costed) -> fmt::Result {
        let Some(to) = &change.to else { return Ok(()) };
        let least = match (change.at_least, change.is_lower) {
            (true, false) => "at least ",
            (true, true) => "at most ",
            (false, _) => "",
        };
        let allows = change.allows.as_ref().map_or_else(String::new, |allows| format!(": {allows}"));
        writeln!(out, "  {}", change.setting)?;
        writeln!(out, "{}", wrapped("      ", &format!("{} -> {least}{to}{allows}", change.from)))?;
        if let Some(with) = &change.with {
            let text =
                format!("{} with it: {} -> {least}{}; neither does alone", with.setting, with.from, with.to);
            writeln!(out, "{}", wrapped("      ", &text))?;
        }
        if let Some(costs) = cost.as_ref().and_then(|cost| cost.text(&self.0.setup.unit)) {
            writeln!(out, "{}", wrapped("      costs ", &costs))?;
        }
        let mut warn = |text: String| writeln!(out, "{}", wrapped("      ! ", &text));
        if let (Some(at), Some(by)) = (change.lost_all_the_same_s, &change.lost_by) {
            warn(format!("the permit goes all the same at {} s, {by}", short(at.0)))?;
        }
        match (change.trips_later_s, &change.this_alone) {
            (Some(at), Some(first)) => {
                warn(format!("from {first} on it is only put off, first to {} s", short(at.0)))?;
            }
            (Some(at), None) => warn(format!("the same rule trips later, at {} s", short(at.0)))?,
            (None, _) => {}
        }
        if !change.lets_pass.is_empty() {
            let at: Vec<_> = change.lets_pass.iter().take(LISTED).map(|at| short(at.0)).collect();
            let more = change.lets_pass.len().saturating_sub(LISTED);
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            let both = if self.is_of_a_monitor() { ", which both channels saw" } else { "" };
            warn(format!("would also have let the violation at {} s{more} pass{both}", at.join(" s, ")))?;
        }
        if change.not_tried > 0 {
            let trips = if change.not_tried == 1 { "trip" } else { "trips" };
            warn(format!("not tried on {} other {trips} of this rule", change.not_tried))?;
        }
        Ok(())
    }

    /// A rule that each channel watches by itself.
    fn is_of_a_monitor(&self) -> bool {
        matches!(self.0.explained.channel.as_deref(), Some("a" | "b"))
    }
}
