//! A setting that would have let it pass, in lines.

use std::fmt::{self, Write};

use super::{LISTED, wrapped};
use crate::explain::Costed;
use crate::report::short;

/// One setting: now, then, and its cost.
pub(super) fn change(
    out: &mut String,
    unit: &str,
    is_of_both: bool,
    Costed { change, cost }: &Costed,
) -> fmt::Result {
    let Some(to) = &change.to else { return Ok(()) };
    let least = if change.at_least { "at least " } else { "" };
    let allows = change.allows.as_ref().map_or_else(String::new, |allows| format!(": {allows}"));
    writeln!(out, "  {}", change.setting)?;
    writeln!(out, "{}", wrapped("      ", &format!("{} -> {least}{to}{allows}", change.from)))?;
    if let Some(cost) = cost {
        writeln!(out, "{}", wrapped("      costs ", &cost.text(unit)))?;
    }
    let mut warn = |text: String| writeln!(out, "{}", wrapped("      ! ", &text));
    if let Some(at) = change.lost_all_the_same_s {
        warn(format!("the permit goes all the same at {} s, by something else", short(at.0)))?;
    }
    if let Some(at) = change.trips_later_s {
        let for_all = change.to_for_all.as_ref();
        let for_all =
            for_all.map_or_else(String::new, |to| format!("; with {to} not in these frames at all"));
        warn(format!("the same rule trips later, at {} s{for_all}", short(at.0)))?;
    }
    // Of a comparison of both there is nothing that either of them saw.
    if !change.lets_pass.is_empty() && !is_of_both {
        let at: Vec<_> = change.lets_pass.iter().take(LISTED).map(|at| short(at.0)).collect();
        let more = change.lets_pass.len().saturating_sub(LISTED);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        warn(format!(
            "would also have let the violation at {} s{more} pass, which both channels saw",
            at.join(" s, ")
        ))?;
    }
    if change.not_tried > 0 {
        let trips = if change.not_tried == 1 { "trip" } else { "trips" };
        warn(format!("not tried on {} other {trips} of this rule", change.not_tried))?;
    }
    Ok(())
}
