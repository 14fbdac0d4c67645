//! What is explained, beside what else is in the trace, and what of the trace itself has to be known first.

use super::explanation::{Explained, InWords, Other};
use super::nearest;
use super::subject::Subject;
use super::tail;
use super::verdict::{Unsure, Verdict};
use super::words::ms;
use super::work::Work;
use crate::plural::plural;
use crate::replay::{Fault, FaultKind, Trip, TripRule};
use crate::report::Seconds;

/// The most other trips and faults that are named one by one.
const NAMED: usize = 3;

/// From so many faults of one kind on it is told which one it is.
const REPEATS: usize = 20;

impl Work<'_> {
    pub(super) fn explained(&self) -> Explained {
        let all =
            |kept: usize, left_out: u64| kept.saturating_add(usize::try_from(left_out).unwrap_or(usize::MAX));
        let trips = all(self.outcome.trips.kept.len(), self.outcome.trips.left_out);
        let faults = all(self.outcome.faults.kept.len(), self.outcome.faults.left_out);
        let at_s = self.subject.at().map(|at| Seconds(self.outcome.time_ns(at)));
        let (what, number, name, kind, channel) = match self.subject {
            Subject::Trip(place, trip) => {
                let (name, kind, channel) = crate::report::rule(self.setup, trip.rule);
                ("trip", Some(place + 1), name, kind.to_owned(), Some(channel.to_owned()))
            }
            Subject::Fault(place, fault) => {
                let (kind, who) = crate::report::faulted(self.setup, fault.kind);
                ("fault", Some(place + 1), who, kind, None)
            }
            Subject::Planned(stop) => {
                let monitor = &self.setup.monitors[stop.monitor];
                ("planned", None, monitor.name.clone(), monitor.kind.name().to_owned(), None)
            }
            Subject::Nothing => ("nothing", None, String::new(), String::new(), None),
        };
        let value_unit = match self.subject {
            Subject::Trip(_, Trip { rule: TripRule::Analogue(of), .. })
            | Subject::Fault(_, Fault { kind: FaultKind::Analogue(of, ..), .. }) => {
                Some(self.setup.analogues[*of].unit.symbol().to_owned())
            }
            _ => None,
        };
        let what = what.to_owned();
        Explained {
            what,
            number,
            name,
            kind,
            channel,
            at_s,
            value_unit,
            others: self.others_named(trips + faults),
            trips,
            faults,
        }
    }

    /// The other trips and faults, where there are few.
    fn others_named(&self, all: usize) -> Vec<Other> {
        let itself = usize::from(matches!(self.subject, Subject::Trip(..) | Subject::Fault(..)));
        if all - itself > NAMED {
            return Vec::new();
        }
        let at = |instant| Seconds(self.outcome.time_ns(instant));
        let trips = self.outcome.trips.kept.iter().enumerate();
        let trips =
            trips.filter(|(place, _)| !matches!(self.subject, Subject::Trip(own, _) if own == *place));
        let trips = trips.map(|(place, trip)| {
            let (name, kind, channel) = crate::report::rule(self.setup, trip.rule);
            let channel = matches!(trip.rule, TripRule::Monitor(..)).then(|| channel.to_owned());
            let (what, kind) = ("trip".to_owned(), kind.to_owned());
            Other { what, number: place + 1, name, kind, channel, at_s: at(trip.tripped_at) }
        });
        let faults = self.outcome.faults.kept.iter().enumerate();
        let faults =
            faults.filter(|(place, _)| !matches!(self.subject, Subject::Fault(own, _) if own == *place));
        let faults = faults.map(|(place, fault)| {
            let (kind, name) = crate::report::faulted(self.setup, fault.kind);
            let what = "fault".to_owned();
            Other { what, number: place + 1, name, kind, channel: None, at_s: at(fault.from) }
        });
        let mut others: Vec<_> = trips.chain(faults).collect();
        others.sort_by_key(|other| other.at_s);
        others
    }

    /// Nothing tripped and nothing was faulted.
    pub(super) fn clear(&self) -> Verdict {
        let nearest = nearest::nearest(self.setup, self.outcome);
        let first = nearest.first().filter(|nearest| nearest.share.is_some());
        let mut unsure = Vec::new();
        if self.skipped_rows > 0 {
            unsure.push(Unsure::RowsLeftOut { rows: self.skipped_rows });
        }
        if self.outcome.permit_given_at.is_none() {
            unsure.push(Unsure::NeverPermitted);
        } else if self.outcome.channels.iter().all(|channel| channel.fastest.is_none()) {
            unsure.push(Unsure::NoSpeed);
        }
        let excerpt = self.excerpts.last().filter(|excerpt| excerpt.last() == self.outcome.last);
        let beyond = excerpt.and_then(|excerpt| tail::beyond(self.setup, excerpt));
        unsure.extend(beyond.map(|beyond| Unsure::EndsBeyond {
            rule: beyond.rule,
            since_s: Seconds(self.outcome.time_ns(beyond.since)),
            left_s: beyond.left_s,
        }));
        Verdict::Clear {
            nearest: first.map(|nearest| nearest.rule.clone()),
            share: first.and_then(|nearest| nearest.share),
            unsure,
        }
    }

    /// What of the trace as a whole goes before what is said of this: rows left out, a fault that comes again and again, and rows that
    /// no source can keep up with.
    pub(super) fn of_the_trace(&self, in_words: &mut InWords) {
        if let Subject::Fault(place, fault) = self.subject {
            let of_kind = |other: &&Fault| is_alike(other.kind, fault.kind);
            let kept = &self.outcome.faults.kept;
            let all = kept.iter().filter(of_kind).count();
            if all > REPEATS {
                let rank = kept.iter().take(place + 1).filter(of_kind).count();
                let least = if self.outcome.faults.left_out > 0 { "at least " } else { "" };
                let rank = if rank == 1 { "the first".to_owned() } else { format!("number {rank}") };
                in_words.what += &format!(" It is {rank} of {least}{all} faults of that kind.");
            }
        }
        if let Some(between_s) = self.rows_too_far_apart() {
            let timeout = self.setup.a.timeout.value.min(self.setup.b.timeout.value);
            let text = format!(
                "all rows of the trace are further apart than a source may be silent: up to {}, where the timeout is {}",
                ms(between_s),
                ms(super::raw::seconds(timeout.as_nanos()))
            );
            in_words.why.insert(0, text);
            let text = "look at `unit` of [time] in the setup first: the time column may be in another unit";
            in_words.advice.insert(0, text.to_owned());
        }
        if self.skipped_rows > 0 && self.subject != Subject::Nothing {
            let text =
                format!("{} left out as bad; the motion there is not known", left_out(self.skipped_rows));
            in_words.why.insert(0, text);
        }
    }

    /// The longest time between two rows, where hardly any two are nearer than a timeout.
    fn rows_too_far_apart(&self) -> Option<f64> {
        let gaps = self.outcome.gaps.kept.len() as u64 + self.outcome.gaps.left_out;
        let rows = self.outcome.rows.as_ref();
        let (rows, longest) = rows.map_or((self.outcome.frames, self.outcome.longest_period), |rows| {
            (rows.rows, rows.longest_period)
        });
        let pairs = rows.saturating_sub(1);
        (pairs >= 3 && gaps.saturating_mul(20) >= pairs.saturating_mul(19))
            .then(|| super::raw::seconds(longest.as_nanos()))
    }
}

/// `1 row was`, `2 rows were`.
pub(super) fn left_out(rows: u64) -> String {
    format!("{} {}", plural(rows, "row"), if rows == 1 { "was" } else { "were" })
}

/// The same fault of the same source, whatever it read.
fn is_alike(one: FaultKind, other: FaultKind) -> bool {
    match (one, other) {
        (FaultKind::Channel(a, fault_a, _), FaultKind::Channel(b, fault_b, _)) => {
            a == b && fault_a == fault_b
        }
        (FaultKind::Analogue(of_a, a, fault_a, _), FaultKind::Analogue(of_b, b, fault_b, _)) => {
            of_a == of_b && a == b && fault_a == fault_b
        }
        _ => one == other,
    }
}
