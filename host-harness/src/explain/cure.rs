//! What cures a cause in the setup, before any tolerance is made wider.

use monitor_core::{Channel, Span};
use schemars::JsonSchema;
use serde::Serialize;

use super::Again;
use super::knob;
use super::words::ms;
use crate::causes::{Cause, Side};
use crate::replay::{Outcome, TripRule};
use crate::setup::{MAX_AGE_NS, Setup};

/// A change of the setup that takes a cause away instead of tolerating it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Cure {
    /// What to write, as it would stand in the setup file.
    pub setting: String,
    /// What that does.
    pub does: String,
    /// Whether the trace was replayed with it.
    pub is_replayed: bool,
    /// Whether the rule does not trip then, and nothing else goes wrong that did not before; null: not replayed.
    pub prevents_it: Option<bool>,
}

/// A longer trace is not replayed again to see whether a cure holds: that would cost as much as the explanation.
pub(super) const MOST_FRAMES_AGAIN: u64 = 1_000_000;

/// The cures of a cause that a setup can bring about; the others are in the machine.
pub(super) fn cures(setup: &Setup, cause: &Cause, before: &Outcome, again: Again<'_>) -> Vec<Cure> {
    let changes: Vec<(String, String, Option<Setup>)> = match cause {
        Cause::TimeSkew { late, by, since_ns: None } => late_readings(setup, *late, by.value),
        Cause::KnownAges { .. } => aligned(setup).into_iter().collect(),
        Cause::Scale { ppm } => scaled(setup, ppm.value),
        _ => Vec::new(),
    };
    let tried = |(setting, does, changed): (String, String, Option<Setup>)| {
        let outcome = again.and_then(|again| again(changed.as_ref()?));
        let prevents_it = outcome.as_ref().map(|then| holds(before, then));
        Cure { setting, does, is_replayed: prevents_it.is_some(), prevents_it }
    };
    changes.into_iter().map(tried).collect()
}

/// Whether a replay with a cure compares the positions without a trip, and nothing is wrong in it that was not before.
fn holds(before: &Outcome, then: &Outcome) -> bool {
    let others = |outcome: &Outcome| {
        let trips = outcome.trips.kept.iter();
        trips.filter(|trip| trip.rule != TripRule::PositionDiscrepancy).count()
    };
    let trips = then.trips.kept.iter().any(|trip| trip.rule == TripRule::PositionDiscrepancy);
    !trips
        && then.position_discrepancy.is_some()
        && then.permit_given_at.is_some()
        && others(then) <= others(before)
        && then.faults.kept.len() <= before.faults.kept.len()
}

/// Both positions moved to one instant.
fn aligned(setup: &Setup) -> Option<(String, String, Option<Setup>)> {
    let mut changed = setup.clone();
    let rule = changed.discrepancy.as_mut().filter(|rule| !rule.align)?;
    rule.align = true;
    let does = "moves both readings to one instant before they are compared".to_owned();
    Some(("discrepancy.align = true".to_owned(), does, Some(changed)))
}

/// The latency that was measured, and both positions moved to one instant by it.
fn late_readings(setup: &Setup, late: Side, by: f64) -> Vec<(String, String, Option<Setup>)> {
    let mut changed = setup.clone();
    let source = match late {
        Side::A => &mut changed.a,
        Side::B => &mut changed.b,
    };
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "an estimate; below zero it saturates to none"
    )]
    let latency = ((source.latency.value.as_nanos() as f64 + by * 1e9) / 1e3).round() as u64 * 1000;
    let later = latency.saturating_sub(source.latency.value.as_nanos());
    source.latency.value = Span::from_nanos(latency);
    // A reading that is known to be older is stale as much later: nothing else changes for it.
    let timeout = source.timeout.value.as_nanos().saturating_add(later);
    source.timeout.value = Span::from_nanos(timeout);
    let fits = timeout <= MAX_AGE_NS;
    if let Some(rule) = &mut changed.discrepancy {
        rule.align = true;
    }
    #[expect(clippy::cast_precision_loss, reason = "shown with four digits")]
    let [shown, longer] = [latency, timeout].map(|nanos| ms(nanos as f64 / 1e9));
    let channel = format!("channel.{}", late.letter());
    let setting = format!(
        "{channel}.latency = \"{shown}\", {channel}.timeout = \"{longer}\", discrepancy.align = true"
    );
    let does = "tells how late its readings are, and compares both at one instant; first find out why they are late, and see \
                in `cowitness margins` what rules that react so late cost";
    vec![(setting, does.to_owned(), fits.then_some(changed))]
}

/// The scale of either channel made that of the other.
fn scaled(setup: &Setup, ppm: f64) -> Vec<(String, String, Option<Setup>)> {
    let of = |channel: Channel, ppm: f64| {
        let changed = knob::rescaled(setup, channel, ppm)?;
        let side = Side::from(channel);
        let setting = format!("channel.{}.unit_per_count times {:.7}", side.letter(), 1.0 + ppm / 1e6);
        let does =
            format!("if it is channel {} that is wrong: measure a known travel to find out", side.letter());
        Some((setting, does, Some(changed)))
    };
    // A channel that counts more by a share is right again when its count is worth that much less: 1 / (1 + share).
    let less = (1e6 / (1e6 + ppm) - 1.0) * 1e6;
    [of(Channel::A, less), of(Channel::B, ppm)].into_iter().flatten().collect()
}
