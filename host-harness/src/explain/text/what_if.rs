//! What takes a cause away, what would have let it pass, and what that costs.

use std::fmt::{self, Write};

use super::{Page, wrapped};
use crate::explain::Costed;

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
        let what_if = &self.0.what_if;
        if what_if.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nWhat would have let it pass, and what that costs")?;
        let caveats = self.0.caveats();
        if self.0.is_failed_witness() {
            let text = format!("{}; the JSON has the values", caveats.join("; "));
            return writeln!(out, "{}", wrapped("  ", &text));
        }
        for caveat in caveats {
            writeln!(out, "{}", wrapped("  ! ", caveat))?;
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
        for mind in self.0.minds(change) {
            writeln!(out, "{}", wrapped("      ! ", &mind))?;
        }
        Ok(())
    }
}
