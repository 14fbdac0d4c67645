//! How close a rule came to its limits in a whole trace.

use monitor_core::{Channel, Instant};

use super::amount::Amount;
use super::plan::Rule;
use crate::replay::{Headroom, Outcome};
use crate::setup::Setup;

/// On a channel that has limits of its own, or on both together.
pub(super) struct Closest {
    pub(super) on: Option<Channel>,
    /// What was left, and the first frame that had no more; `None` where nothing was ever compared.
    pub(super) least: Option<(Amount, Instant)>,
}

/// What was left to the limits of a rule, for each channel that has its own.
pub(super) fn closest(setup: &Setup, outcome: &Outcome, rule: Rule) -> Vec<Closest> {
    let whole = |least| vec![Closest { on: None, least }];
    let unit = setup.unit.symbol();
    let value = |bits: i64, per: &str| Amount::Value(bits, format!("{unit}{per}"));
    let in_unit = |bits: i64, of: usize| Amount::Value(bits, setup.analogues[of].unit.symbol().to_owned());
    match rule {
        Rule::Position => {
            let apart = outcome.position_discrepancy.as_ref();
            whole(apart.map(|apart| (value(apart.headroom.0.to_bits(), ""), apart.headroom.1)))
        }
        Rule::Speed => {
            let apart = outcome.speed_discrepancy.as_ref();
            whole(apart.map(|apart| (value(apart.headroom.0.to_bits(), "/s"), apart.headroom.1)))
        }
        Rule::Analogue(of) => {
            let apart = outcome.analogue_discrepancies.get(of).and_then(Option::as_ref);
            whole(apart.map(|apart| (in_unit(apart.headroom.0.to_bits(), of), apart.headroom.1)))
        }
        Rule::Monitor(place) => {
            let facts = outcome.monitors.iter().filter(|facts| facts.monitor == place);
            let of_analogue = setup.monitors[place].kind.analogue().unwrap_or(0);
            facts
                .map(|facts| {
                    let least = facts.headroom.map(|(headroom, at)| {
                        let left = match headroom {
                            Headroom::Position(left) => value(left.to_bits(), ""),
                            Headroom::Speed(left) => value(left.to_bits(), "/s"),
                            Headroom::Acceleration(left) => value(left.to_bits(), "/s^2"),
                            Headroom::Value(left) => in_unit(left.to_bits(), of_analogue),
                        };
                        (left, at)
                    });
                    Closest { on: Some(facts.channel), least }
                })
                .collect()
        }
    }
}
