//! A motion that both channels saw break a rule, in words.

use super::words::NO_WIDER;
use super::{AfterStop, Beyond, Differ, Verdict};
use crate::causes::Words;
use crate::explain::words::plain;
use crate::report::short;

/// An axis that brakes by less than this share of what is asked of it does not brake: that is noise.
const BRAKES: f64 = 0.05;

const COMMAND: &str = "did the stop command reach the drive: output, bus, enable, drive fault; it had no effect that can be seen";
const BRAKE: &str =
    "look at what brakes the axis: deceleration of the drive, torque limit, load, brake, slope";

impl Verdict {
    /// What happened.
    pub(super) fn what_of_motion(&self) -> String {
        let Self::Motion { beyond, from_the_start, moved_at_demand, after_stop, .. } = self else {
            return String::new();
        };
        let (name, text) = (&beyond.monitor, beyond.text());
        let (what, who) = beyond.words();
        match (moved_at_demand, after_stop) {
            (Some([speed, allowed]), _) => {
                let unit = beyond.unit.strip_suffix("/s").unwrap_or(&beyond.unit);
                format!(
                    "The axis moved when \"{name}\" was demanded: {} {unit}/s where {} {unit}/s are allowed; both channels saw it.",
                    plain(*speed),
                    plain(*allowed)
                )
            }
            (None, Some(AfterStop { was_at_rest: false, .. })) => {
                format!(
                    "The axis was not at rest when the stop \"{name}\" was complete: {text}; both {who} saw it."
                )
            }
            (None, Some(_)) => {
                format!("{what} broke \"{name}\" after the stop was complete: {text}; both {who} saw it.")
            }
            (None, None) if *from_the_start => {
                format!("The axis was beyond \"{name}\" already when it was demanded: {text}.")
            }
            (None, None) => format!("{what} broke \"{name}\": {text}; both {who} saw it."),
        }
    }

    /// Why it is judged so.
    pub(super) fn why_of_motion(&self, words: &Words) -> Vec<String> {
        let Self::Motion { beyond, other_beyond, is_confirmed, differ, braking, .. } = self else {
            return Vec::new();
        };
        let mut why = Vec::new();
        let other = beyond.channel.other().letter();
        let who = beyond.witness();
        why.push(if *is_confirmed {
            format!("{who} {other} came to the same verdict by itself")
        } else {
            format!(
                "{who} {other} saw it beyond by {} {} too, but not for its on-delay",
                plain(*other_beyond),
                beyond.unit
            )
        });
        why.extend(differ.as_ref().map(Differ::text));
        why.extend(braking.map(|braking| beyond.braking(braking, words)));
        let Self::Motion { after_stop, demanded_by_fault, faulted_besides, .. } = self else { return why };
        if let Some(AfterStop { complete_at_s, was_at_rest: true }) = after_stop {
            why.push(format!(
                "the stop was complete at {} s: from then on it has to stand",
                short(complete_at_s.0)
            ));
        }
        if let Some((input, at)) = demanded_by_fault {
            why.push(format!(
                "it was demanded by the fault of \"{input}\" at {} s alone, which lasts until a reset",
                short(at.0)
            ));
        }
        if let Some((input, at)) = faulted_besides {
            why.push(format!(
                "besides, \"{input}\" was faulted at {} s; it had demanded before by its lines",
                short(at.0)
            ));
        }
        why
    }

    /// What to try, in order.
    pub(super) fn advice_of_motion(&self) -> Vec<String> {
        let Self::Motion {
            beyond,
            from_the_start,
            demanded_by_fault,
            faulted_besides,
            moved_at_demand,
            braking,
            after_stop,
            ..
        } = self
        else {
            return Vec::new();
        };
        if let Some((input, _)) = demanded_by_fault {
            return vec![
                format!("repair \"{input}\" first: while its fault is latched it demands"),
                "then look at why the motion did not follow the demand".to_owned(),
            ];
        }
        let late = after_stop.as_ref().is_some_and(|stop| !stop.was_at_rest);
        let mut advice = if moved_at_demand.is_some() {
            vec![
                "bring the axis to rest before it is demanded, or demand a stop that brakes first (kind = \"stop\", \
                 until = \"standstill\")"
                    .to_owned(),
                NO_WIDER.to_owned(),
            ]
        } else if *from_the_start && beyond.kind == "speed-limit" {
            vec![
                "slow down before the rule is demanded, or give it a `ramp` that the control can follow"
                    .to_owned(),
                NO_WIDER.to_owned(),
            ]
        } else if *from_the_start {
            vec!["end that motion before the rule is demanded".to_owned(), NO_WIDER.to_owned()]
        } else if let Some([motion, asked]) = braking {
            let mut advice = if *motion < BRAKES * asked { vec![COMMAND.to_owned()] } else { Vec::new() };
            advice.extend([
                BRAKE.to_owned(),
                format!(
                    "a {} needs a longer safety distance",
                    if beyond.is_least { "smaller or later deceleration" } else { "flatter or later line" }
                ),
            ]);
            advice
        } else if late {
            vec![BRAKE.to_owned(), "a longer time for the stop needs a longer safety distance".to_owned()]
        } else if beyond.of_lines() {
            vec![
                "look at what the drive was told to do, and at what it met".to_owned(),
                "a wider limit lets the same pass the next time: that is a matter of the risk assessment"
                    .to_owned(),
            ]
        } else {
            vec![
                "look at what commanded the motion, or moved the axis: program, drive, load, brake"
                    .to_owned(),
                NO_WIDER.to_owned(),
            ]
        };
        if let Some((input, _)) = faulted_besides {
            advice.push(format!("repair \"{input}\" too"));
        }
        advice
    }
}

impl Differ {
    fn text(&self) -> String {
        let Self { by, unit, .. } = self;
        let by = plain(*by);
        match (&self.rule, self.trip, self.at_s, self.limit) {
            (Some(rule), Some(trip), Some(at), Some(limit)) => format!(
                "but the channels do not agree on it: \"{rule}\" tripped at {} s, {by} {unit} apart where {} {unit} are allowed \
                 (trip {trip})",
                short(at.0),
                plain(limit)
            ),
            _ => {
                format!("but the channels do not agree on it: {by} {unit} apart, far more than they resolve")
            }
        }
    }
}

impl Beyond {
    /// How the motion braked, beside what the rule asks for.
    fn braking(&self, [motion, asked]: [f64; 2], words: &Words) -> String {
        let unit = words.unit;
        let how = if motion.abs() < BRAKES * asked {
            "did not brake".to_owned()
        } else {
            let how = if motion < 0.0 { "got faster" } else { "braked" };
            format!("{how} at {} {unit}/s^2", plain(motion.abs()))
        };
        let asked = plain(asked);
        if self.is_least {
            format!("just before it the axis {how}, the stop asks for {asked} {unit}/s^2 less its margin")
        } else {
            format!("just before it the axis {how}, the limit falls at {asked} {unit}/s^2")
        }
    }

    /// Whether it is of the two lines of an analogue value.
    pub(in crate::explain) fn of_lines(&self) -> bool {
        self.words().1 == "lines"
    }

    /// `channel` or `line`.
    pub(super) fn witness(&self) -> &'static str {
        if self.of_lines() { "line" } else { "channel" }
    }

    /// What was beyond, and who told of it.
    pub(super) fn words(&self) -> (&'static str, &'static str) {
        match self.kind.as_str() {
            "torque-limit" | "torque-range" => ("The torque", "lines"),
            "temperature-limit" => ("The temperature", "lines"),
            _ => ("The motion", "channels"),
        }
    }

    pub(super) fn text(&self) -> String {
        let (observed, limit, unit) = (plain(self.observed), plain(self.limit), &self.unit);
        // A limit on the speed the other way is a limit all the same.
        if self.is_least && self.kind.starts_with("speed-") && self.observed < 0.0 && self.limit <= 0.0 {
            let (observed, limit) = (plain(self.observed.abs()), plain(self.limit.abs()));
            return format!("{observed} {unit} backwards where {limit} {unit} are allowed");
        }
        if self.is_least {
            return format!("{observed} {unit} where at least {limit} {unit} are required");
        }
        if self.is_overrun {
            return format!("{observed} {unit} beyond the speed limit where {limit} {unit} are allowed");
        }
        format!("{observed} {unit} where {limit} {unit} are allowed")
    }
}
