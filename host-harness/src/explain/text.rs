//! An explanation for people: plain text that fits 80 columns, the verdict first.

mod what_if;

use std::fmt::{self, Write};

use super::words::{ms, plain};
use super::{Explanation, Guard, Stage, Verdict, Witness};
use crate::causes::{Decomposition, Side, Term, Words};
use crate::report::{Seconds, short};

/// The most columns of a line.
const COLUMNS: usize = 80;

/// How many events and near misses are listed one by one; the JSON has all.
const LISTED: usize = 8;

/// A smaller share of what the positions are apart by is not listed by itself.
const SMALL: f64 = 0.01;

/// The explanation in words and tables.
#[must_use]
pub fn text(explanation: &Explanation) -> String {
    let mut out = String::new();
    // Writing to a String does not fail.
    let _ = Page(explanation).write(&mut out);
    out
}

struct Page<'a>(&'a Explanation);

/// A text in lines that fit, each behind an indent; the first one behind a head of the same width.
fn wrapped(head: &str, text: &str) -> String {
    wrapped_to(COLUMNS, head, text)
}

/// The same in lines of another length.
fn wrapped_to(columns: usize, head: &str, text: &str) -> String {
    let indent = head.chars().count();
    let mut out = head.to_owned();
    let mut used = indent;
    for (place, word) in text.split_whitespace().enumerate() {
        let length = word.chars().count();
        if place > 0 && used + 1 + length > columns {
            out += "\n";
            out += &" ".repeat(indent);
            used = indent;
        } else if place > 0 {
            out += " ";
            used += 1;
        }
        out += word;
        used += length;
    }
    out
}

impl Page<'_> {
    fn write(&self, out: &mut String) -> fmt::Result {
        self.head(out)?;
        self.story(out)?;
        self.reaction(out)?;
        self.witnesses(out)?;
        self.apart(out)?;
        self.cures(out)?;
        self.what_if(out)?;
        self.nearest(out)?;
        self.cannot_tell(out)
    }

    fn head(&self, out: &mut String) -> fmt::Result {
        let Explanation { explained, guard, in_words, trace, setup, .. } = self.0;
        writeln!(out, "{}  {}", guard.word(), trace.path)?;
        writeln!(out, "{}", wrapped("  ", &in_words.what))?;
        for why in &in_words.why {
            writeln!(out, "{}", wrapped("  why  ", why))?;
        }
        for advice in &in_words.advice {
            writeln!(out, "{}", wrapped("  try  ", advice))?;
        }
        writeln!(out)?;
        if let Some(at) = explained.at_s {
            let which = match (explained.what.as_str(), explained.number) {
                ("trip", Some(number)) => format!("trip {number} of {}", explained.trips),
                ("fault", Some(number)) => format!("fault {number} of {}", explained.faults),
                (what, _) => what.to_owned(),
            };
            let channel =
                explained.channel.as_ref().map_or_else(String::new, |channel| format!(", channel {channel}"));
            let text =
                format!("{which}: {} ({}){channel} at {} s", explained.name, explained.kind, short(at.0));
            writeln!(out, "{}", wrapped("  of     ", &text))?;
        }
        let others = |kind: &str, all: usize| {
            let others = all - usize::from(explained.what == kind);
            (others > 0)
                .then(|| format!("{others} {kind}{} (--{kind} N)", if others == 1 { "" } else { "s" }))
        };
        let also: Vec<_> = [others("trip", explained.trips), others("fault", explained.faults)]
            .into_iter()
            .flatten()
            .collect();
        if !also.is_empty() {
            writeln!(out, "{}", wrapped("  also   ", &also.join(", ")))?;
        }
        let text = format!("{}, checksum {} ({})", setup.title, setup.checksum, setup.path);
        writeln!(out, "{}", wrapped("  setup  ", &text))
    }

    fn story(&self, out: &mut String) -> fmt::Result {
        let Explanation { story, explained, .. } = self.0;
        let Some(at) = explained.at_s.filter(|_| !story.is_empty()) else { return Ok(()) };
        writeln!(out, "\nWhat happened")?;
        writeln!(out, "           s    ms from it")?;
        for Stage { at_s, channel, text, .. } in story {
            let after = millis(at_s.0 - at.0);
            let channel = channel.map_or("  ", |side| if side == Side::A { "a " } else { "b " });
            let head = format!("{:>12}  {after:>12}  {channel} ", short(at_s.0));
            writeln!(out, "{}", wrapped(&head, text))?;
        }
        Ok(())
    }

    fn reaction(&self, out: &mut String) -> fmt::Result {
        if self.0.reaction.is_empty() {
            return Ok(());
        }
        writeln!(out, "\n{:<40}{:>12}{:>16}", "Where the time went", "here", "at the worst")?;
        for part in &self.0.reaction {
            let shown = |seconds: Option<f64>| seconds.map_or_else(|| "-".to_owned(), ms);
            writeln!(out, "  {:<38}{:>12}{:>16}", part.part, shown(part.took_s), shown(part.worst_s))?;
        }
        Ok(())
    }

    fn witnesses(&self, out: &mut String) -> fmt::Result {
        let [a, b] = self.0.witnesses.as_slice() else { return Ok(()) };
        let unit = &self.0.setup.unit;
        writeln!(out, "\n{:<34}{:>12}{:>12}{:>14}", "What each channel says", "a", "b", "a - b")?;
        let mut row = |name: &str, of: fn(&Witness) -> Option<f64>| {
            let (one, other) = (of(a), of(b));
            if one.is_none() && other.is_none() {
                return Ok(());
            }
            let shown = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), plain);
            let difference = one.zip(other).map(|(one, other)| one - other);
            writeln!(out, "  {name:<32}{:>12}{:>12}{:>14}", shown(one), shown(other), shown(difference))
        };
        let is_trip = self.0.explained.what == "trip";
        let of_lines = ["torque-limit", "torque-range", "temperature-limit", "analogue-discrepancy"];
        let of_lines = of_lines.contains(&self.0.explained.kind.as_str());
        if is_trip && !of_lines {
            row(&format!("speed when it crossed, {unit}/s"), |of| of.speed_at_crossing)?;
        }
        if !of_lines {
            row(&format!("speed then, {unit}/s"), |of| of.speed)?;
        }
        if is_trip && !of_lines {
            row(&format!("travel from the crossing, {unit}"), |of| of.travel)?;
        }
        if !of_lines {
            row(&format!("acceleration up to then, {unit}/s^2"), |of| of.acceleration)?;
        }
        if self.0.explained.channel.as_deref() != Some("both") {
            row("observed then", |of| of.observed)?;
            row("allowed then", |of| of.limit)?;
            row("furthest beyond the limit", |of| of.beyond)?;
        }
        for event in self.0.events.iter().take(LISTED) {
            let text = event.what.text(unit);
            let until = if event.until_s == event.at_s {
                String::new()
            } else {
                format!(" to {} s", short(event.until_s.0))
            };
            let head = format!("  {} alone ", event.channel.letter());
            writeln!(out, "{}", wrapped(&head, &format!("{} s{until}: {text}", short(event.at_s.0))))?;
        }
        if let Some(more) = self.0.events.len().checked_sub(LISTED).filter(|more| *more > 0) {
            writeln!(out, "  ... and {more} more; the JSON has all")?;
        }
        Ok(())
    }

    fn apart(&self, out: &mut String) -> fmt::Result {
        let Some(apart) = &self.0.apart else { return Ok(()) };
        // Where both saw the motion break a rule nobody asks for it; the JSON has it.
        if matches!(self.0.verdict, Verdict::Motion { .. }) {
            return Ok(());
        }
        let unit = apart.unit;
        let words = apart.words();
        writeln!(out, "\n{:<66}{:>14}", "Where a - b comes from", unit)?;
        let matters = |term: &&Term| term.share.value.abs() >= SMALL * apart.apart.abs();
        for term in apart.terms.iter().filter(matters) {
            let text = wrapped_to(66, "  ", &term.cause.text(&words));
            let last = text.lines().count().saturating_sub(1);
            for (place, line) in text.lines().enumerate() {
                let share = if place == last { plain(term.share.value) } else { String::new() };
                writeln!(out, "{}", format!("{line:<66}{share:>14}").trim_end())?;
            }
        }
        let small: Vec<_> = apart.terms.iter().filter(|term| !matters(term)).collect();
        if !small.is_empty() {
            let text = format!("  {} more of less than 1 % each; the JSON has them", small.len());
            let share: f64 = small.iter().map(|term| term.share.value).sum();
            writeln!(out, "{text:<66}{:>14}", plain(share))?;
        }
        writeln!(
            out,
            "{:<66}{:>14}",
            "  rest: quantisation, noise, what is not modelled",
            plain(apart.rest)
        )?;
        writeln!(out, "{:<66}{:>14}", "  together, since the references were taken", plain(apart.apart))?;
        doubts(out, apart, &words)
    }

    /// A witness failed, or its source: what it says is not to be tolerated.
    fn is_failed_witness(&self) -> bool {
        match &self.0.verdict {
            Verdict::Apart { .. } | Verdict::OneChannel { .. } => self.0.guard == Guard::Right,
            _ => false,
        }
    }

    fn nearest(&self, out: &mut String) -> fmt::Result {
        if self.0.nearest.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nWhat would come first       channel       headroom         share          at s")?;
        for near in self.0.nearest.iter().take(LISTED) {
            let channel = near.channel.map_or("both", Side::letter);
            let share = near.share.map_or_else(|| "-".to_owned(), |share| format!("{:.0} %", share * 100.0));
            let name: String = near.rule.chars().take(25).collect();
            let headroom = format!("{} {}", plain(near.headroom), near.unit);
            writeln!(out, "  {name:<26}{channel:<7}{headroom:>16}{share:>14}{:>14}", short(near.at_s.0))?;
        }
        Ok(())
    }

    fn cannot_tell(&self, out: &mut String) -> fmt::Result {
        if self.0.cannot_tell.is_empty() {
            return Ok(());
        }
        writeln!(out, "\nWhat this trace does not tell")?;
        for what in &self.0.cannot_tell {
            writeln!(out, "{}", wrapped("  - ", what))?;
        }
        Ok(())
    }
}

/// Nanoseconds as ms with their sign, three places.
fn millis(nanos: i128) -> String {
    let text = Seconds(nanos * 1_000).to_string();
    let text = text.trim_end_matches('0').trim_end_matches('.');
    let sign = if nanos > 0 { "+" } else { "" };
    format!("{sign}{text}")
}

/// What the estimates do not tell apart.
fn doubts(out: &mut String, apart: &Decomposition, words: &Words) -> fmt::Result {
    let _ = words;
    for other in &apart.alternatives {
        let text = format!(
            "{} instead of {} would do nearly as well; {}",
            other.instead.name(),
            other.chosen.name(),
            other.tell_apart
        );
        writeln!(out, "{}", wrapped("  ? ", &text))?;
    }
    for group in &apart.collinear {
        let names: Vec<_> = group.terms.iter().map(|kind| kind.name()).collect();
        let text = format!(
            "these hang together, so each for itself is uncertain: {} (condition index {:.0})",
            names.join(", "),
            group.condition_index
        );
        writeln!(out, "{}", wrapped("  ? ", &text))?;
    }
    Ok(())
}
