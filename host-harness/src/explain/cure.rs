//! What cures a cause in the setup, before any tolerance is made wider.

use monitor_core::{Channel, Span};
use schemars::JsonSchema;
use serde::Serialize;

use super::Again;
use super::knob;
use super::words::ms;
use crate::causes::{Cause, Side};
use crate::replay::{Outcome, TripRule};
use crate::report::short;
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
    /// What happens then where it does not.
    pub instead: Option<String>,
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
        let instead = outcome.as_ref().map(|then| instead(setup, before, then));
        Cure {
            setting,
            does,
            is_replayed: instead.is_some(),
            prevents_it: instead.as_ref().map(Option::is_none),
            instead: instead.flatten(),
        }
    };
    changes.into_iter().map(tried).collect()
}

/// What goes wrong in a replay with a cure: the positions still trip, or are not compared, or something is wrong that was not before.
fn instead(setup: &Setup, before: &Outcome, then: &Outcome) -> Option<String> {
    let at = |instant| short(then.time_ns(instant));
    let others = |outcome: &Outcome| {
        let trips = outcome.trips.kept.iter();
        trips.filter(|trip| trip.rule != TripRule::PositionDiscrepancy).count()
    };
    if let Some(trip) = then.trips.kept.iter().find(|trip| trip.rule == TripRule::PositionDiscrepancy) {
        return Some(format!("it trips all the same, at {} s", at(trip.tripped_at)));
    }
    if then.position_discrepancy.is_none() || then.permit_given_at.is_none() {
        return Some("the positions are never compared under power".to_owned());
    }
    if others(then) > others(before) {
        let trip = then.trips.kept.iter().find(|trip| trip.rule != TripRule::PositionDiscrepancy)?;
        let (rule, _, _) = crate::report::rule(setup, trip.rule);
        return Some(format!("\"{rule}\" trips instead, at {} s", at(trip.tripped_at)));
    }
    if then.faults.kept.len() > before.faults.kept.len() {
        let fault = then.faults.kept.first()?;
        return Some(format!("there are more faults, the first at {} s", at(fault.from)));
    }
    None
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
    // x_A - x_B = s x_A: the two are the same when a count of a is worth 1 - s, or one of b 1 / (1 - s).
    let share = ppm / 1e6;
    let of_b = (1.0 / (1.0 - share) - 1.0) * 1e6;
    [of(Channel::A, -ppm), of(Channel::B, of_b)].into_iter().flatten().filter(|_| share < 1.0).collect()
}
