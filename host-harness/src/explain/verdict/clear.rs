//! Nothing happened, in words.

use super::words::capital;
use super::{Unsure, Verdict};
use crate::explain::explained::left_out;
use crate::explain::words::ms;

impl Verdict {
    /// What happened, and what came nearest to it.
    pub(super) fn what_of_nothing(&self) -> String {
        let Self::Clear { nearest, share, unsure } = self else { return String::new() };
        let near = match (nearest, share) {
            (Some(rule), Some(share)) if *share < 0.0 => {
                format!(" But \"{rule}\" was beyond its limit by {}, never long enough.", percent(-share))
            }
            (Some(rule), Some(share)) => {
                format!(" Nearest to its limit came \"{rule}\", with {} left.", percent(*share))
            }
            _ => String::new(),
        };
        let Some(first) = unsure.first() else {
            return format!("Nothing tripped and nothing was faulted.{near}");
        };
        let mut text = capital(&first.text());
        for more in &unsure[1..] {
            text += &format!("; {}", more.text());
        }
        // What is hardly compared, or is told already, has no rule that would come next.
        let near =
            if unsure.iter().all(|why| matches!(why, Unsure::RowsLeftOut { .. })) { &near } else { "" };
        format!("{text}. Nothing tripped and nothing was faulted in what there is.{near}")
    }
}

impl Unsure {
    fn text(&self) -> String {
        match self {
            Self::RowsLeftOut { rows } => {
                format!("{} left out as bad, and the motion there is not known", left_out(*rows))
            }
            Self::NeverPermitted => {
                "the permit was never given, so nothing is known of what would have taken it".to_owned()
            }
            Self::NoSpeed => {
                "the trace is too short for a speed, so hardly a rule was ever compared".to_owned()
            }
            Self::EndsBeyond { rule, left_s, .. } => {
                format!(
                    "the trace ends while \"{rule}\" is beyond its limit, {} before it would trip",
                    ms(*left_s)
                )
            }
        }
    }
}

/// A share above zero in %.
fn percent(share: f64) -> String {
    if share > 0.0 && share < 0.005 { "less than 1 %".to_owned() } else { format!("{:.0} %", share * 100.0) }
}
