//! What a changed setting costs: the reaction, and what the axis can do until the torque is gone.

use monitor_core::Span;
use schemars::JsonSchema;
use serde::Serialize;

use super::raw::seconds;
use super::words::ms;
use crate::margins::reaction;
use crate::replay::TripRule;
use crate::setup::Setup;

/// What a changed setting costs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Cost {
    /// The worst-case reaction time by the setup as it is, in seconds.
    pub reaction_s: f64,
    /// The same with the changed setting.
    pub reaction_then_s: f64,
}

/// What a changed setting costs; `None` where nothing bounds the reaction.
pub(super) fn cost(setup: &Setup, changed: &Setup, period: Span, rule: TripRule) -> Option<Cost> {
    let total = |setup: &Setup| reaction(setup, period, rule).total().map(|total| seconds(total.as_nanos()));
    Some(Cost { reaction_s: total(setup)?, reaction_then_s: total(changed)? })
}

impl Cost {
    /// In words.
    #[must_use]
    pub fn text(&self) -> String {
        let added = self.reaction_then_s - self.reaction_s;
        format!(
            "reaction at the worst {} instead of {} ({}{})",
            ms(self.reaction_then_s),
            ms(self.reaction_s),
            if added < 0.0 { "" } else { "+" },
            ms(added)
        )
    }
}
