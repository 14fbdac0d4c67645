//! What the text and the page of an explanation tell alike.

use super::words::plain;
use super::{Change, Explanation, Guard, Verdict, Witness};
use crate::causes::Decomposition;
use crate::report::short;

/// How many things of one kind are told one by one; the JSON has all.
pub(crate) const LISTED: usize = 8;

/// What the two channels, or the two lines of a value, say of one quantity.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct BothSay {
    pub(crate) what: String,
    pub(crate) of: [Option<f64>; 2],
}

impl BothSay {
    /// A value, or that there is none.
    pub(crate) fn shown(value: Option<f64>) -> String {
        value.map_or_else(|| "-".to_owned(), plain)
    }

    /// The first less the second.
    pub(crate) fn difference(&self) -> Option<f64> {
        let [one, other] = self.of;
        one.zip(other).map(|(one, other)| one - other)
    }
}

impl Explanation {
    /// What told of it: channels of the motion, or lines of a value.
    pub(crate) fn witness(&self) -> &'static str {
        if self.is_of_lines() { "line" } else { "channel" }
    }

    /// Whether it is of the lines of an analogue value.
    pub(crate) fn is_of_lines(&self) -> bool {
        let of_lines = ["torque-limit", "torque-range", "temperature-limit", "analogue-discrepancy"];
        self.explained.value_unit.is_some() || of_lines.contains(&self.explained.kind.as_str())
    }

    /// What each of the two says; what neither does is left out.
    pub(crate) fn both_say(&self) -> Vec<BothSay> {
        let [a, b] = self.witnesses.as_slice() else { return Vec::new() };
        let unit = &self.setup.unit;
        let is_trip = self.explained.what == "trip";
        let mut rows = Vec::new();
        let mut row = |is_told: bool, what: String, of: fn(&Witness) -> Option<f64>| {
            let of = [of(a), of(b)];
            if is_told && of != [None, None] {
                rows.push(BothSay { what, of });
            }
        };
        let of_motion = !self.is_of_lines();
        row(of_motion && is_trip, format!("speed when it crossed, {unit}/s"), |of| of.speed_at_crossing);
        row(of_motion, format!("speed then, {unit}/s"), |of| of.speed);
        row(of_motion && is_trip, format!("travel from the crossing, {unit}"), |of| of.travel);
        row(of_motion, format!("acceleration up to then, {unit}/s^2"), |of| of.acceleration);
        let of_each = self.explained.channel.as_deref() != Some("both");
        row(of_each, "observed then".to_owned(), |of| of.observed);
        row(of_each, "allowed then".to_owned(), |of| of.limit);
        row(of_each, "furthest beyond the limit".to_owned(), |of| of.beyond);
        if let Some(unit) = &self.explained.value_unit {
            row(true, format!("value then, {unit}"), |of| of.value);
        }
        rows
    }

    /// What one channel did alone, each with its channel.
    pub(crate) fn alone(&self) -> Vec<(&'static str, String)> {
        // What the channels of the motion did alone says nothing of the lines of a value.
        let events = if self.is_of_lines() { &[] } else { self.events.as_slice() };
        let told = events.iter().map(|event| {
            let text = event.what.text(&self.setup.unit);
            let until = if event.until_s == event.at_s {
                String::new()
            } else {
                format!(" to {} s", short(event.until_s.0))
            };
            (event.channel.letter(), format!("{} s{until}: {text}", short(event.at_s.0)))
        });
        told.collect()
    }

    /// What goes for all settings with which it would not have happened; nothing where they are not to be looked at.
    pub(crate) fn caveats(&self) -> Vec<&'static str> {
        if self.is_failed_witness() {
            return vec!["nothing that is worth it: a witness that fails is repaired, not tolerated"];
        }
        let mut caveats = Vec::new();
        if self.guard == Guard::Right {
            caveats.push(
                "a looser setting lets the same pass the next time: no value below is a recommendation",
            );
        }
        if self.what_if.iter().any(|costed| costed.change.at_least) {
            caveats.push(
                "found on the recorded frames, in which the machine is being stopped since the trip, or which end before the \
                 violation does: a motion that goes on needs more",
            );
        }
        caveats
    }

    /// A witness failed, or its source: what it says is not to be tolerated.
    pub(crate) fn is_failed_witness(&self) -> bool {
        match &self.verdict {
            Verdict::Apart { .. } | Verdict::OneChannel { .. } => self.guard == Guard::Right,
            _ => false,
        }
    }

    /// What is to be minded of a setting with which it would not have happened.
    pub(crate) fn minds(&self, change: &Change) -> Vec<String> {
        let mut minds = Vec::new();
        if let (Some(at), Some(by)) = (change.lost_all_the_same_s, &change.lost_by) {
            minds.push(format!("the permit goes all the same at {} s, {by}", short(at.0)));
        }
        match (change.trips_later_s, &change.this_alone) {
            (Some(at), Some(first)) => {
                minds.push(format!("from {first} on it is only put off, first to {} s", short(at.0)));
            }
            (Some(at), None) => minds.push(format!("the same rule trips later, at {} s", short(at.0))),
            (None, _) => {}
        }
        if !change.lets_pass.is_empty() {
            let at: Vec<_> = change.lets_pass.iter().take(LISTED).map(|at| short(at.0)).collect();
            let more = change.lets_pass.len().saturating_sub(LISTED);
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            // A rule that each channel watches by itself.
            let of_monitor = matches!(self.explained.channel.as_deref(), Some("a" | "b"));
            let both = if of_monitor { ", which both channels saw" } else { "" };
            minds
                .push(format!("would also have let the violation at {} s{more} pass{both}", at.join(" s, ")));
        }
        if change.not_tried > 0 {
            let trips = if change.not_tried == 1 { "trip" } else { "trips" };
            minds.push(format!("not tried on {} other {trips} of this rule", change.not_tried));
        }
        minds
    }
}

/// What the estimates do not tell apart.
pub(crate) fn doubts(apart: &Decomposition) -> Vec<String> {
    let others = apart.alternatives.iter().map(|other| {
        format!(
            "{} instead of {} would do nearly as well; {}",
            other.instead.name(),
            other.chosen.name(),
            other.tell_apart
        )
    });
    let groups = apart.collinear.iter().map(|group| {
        let names: Vec<_> = group.terms.iter().map(|kind| kind.name()).collect();
        format!(
            "these hang together, so each for itself is uncertain: {} (condition index {:.0})",
            names.join(", "),
            group.condition_index
        )
    });
    others.chain(groups).collect()
}
