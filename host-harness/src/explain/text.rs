//! An explanation for people: plain text that fits 80 columns, the verdict first.

mod head;
mod what_if;

use std::fmt::{self, Write};

use super::words::{ms, plain, share};
use super::{Explanation, Guard, Stage, StageKind, Verdict, Witness};
use crate::causes::{Decomposition, Side, Term, Words};
use crate::report::short;

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

    fn story(&self, out: &mut String) -> fmt::Result {
        let Explanation { story, explained, .. } = self.0;
        let Some(at) = explained.at_s.filter(|_| !story.is_empty()) else { return Ok(()) };
        writeln!(out, "\nWhat happened")?;
        writeln!(out, "           s    ms from it")?;
        for Stage { at_s, channel, text, stage } in story {
            let after = millis(at_s.0 - at.0);
            // What is between two frames is an estimate: not to the nanosecond.
            let is_between = matches!(stage, StageKind::Motion | StageKind::Crossed);
            let shown = if is_between { (at_s.0 + 500).div_euclid(1000) * 1000 } else { at_s.0 };
            let channel = channel.map_or("  ", |side| if side == Side::A { "a " } else { "b " });
            let head = format!("{:>12}  {after:>12}  {channel} ", short(shown));
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
        let title = format!("What each {} says", self.witness());
        let mut table = String::new();
        let mut row = |name: &str, of: fn(&Witness) -> Option<f64>| {
            let (one, other) = (of(a), of(b));
            if one.is_none() && other.is_none() {
                return Ok(());
            }
            let shown = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), plain);
            let difference = one.zip(other).map(|(one, other)| one - other);
            writeln!(table, "  {name:<32}{:>12}{:>12}{:>14}", shown(one), shown(other), shown(difference))
        };
        let is_trip = self.0.explained.what == "trip";
        let of_lines = self.of_lines();
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
        if let Some(unit) = &self.0.explained.value_unit {
            row(&format!("value then, {unit}"), |of| of.value)?;
        }
        // What the channels of the motion did alone says nothing of the lines of a value.
        let events = if of_lines { &[] } else { self.0.events.as_slice() };
        if table.is_empty() && events.is_empty() {
            return Ok(());
        }
        writeln!(out, "\n{title:<34}{:>12}{:>12}{:>14}", "a", "b", "a - b")?;
        out.push_str(&table);
        for event in events.iter().take(LISTED) {
            let text = event.what.text(unit);
            let until = if event.until_s == event.at_s {
                String::new()
            } else {
                format!(" to {} s", short(event.until_s.0))
            };
            let head = format!("  {} alone ", event.channel.letter());
            writeln!(out, "{}", wrapped(&head, &format!("{} s{until}: {text}", short(event.at_s.0))))?;
        }
        if let Some(more) = events.len().checked_sub(LISTED).filter(|more| *more > 0) {
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
            let share = near.share.map_or_else(|| "-".to_owned(), share);
            let headroom = format!("{} {}", plain(near.headroom), near.unit);
            // A name that is too long for its column stands on a line of its own.
            let name = if near.rule.chars().count() > 25 {
                writeln!(out, "{}", wrapped("  ", &near.rule))?;
                ""
            } else {
                &near.rule
            };
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
    let micros = (nanos + 500).div_euclid(1000);
    let sign = if micros > 0 {
        "+"
    } else if micros < 0 {
        "-"
    } else {
        ""
    };
    let size = micros.unsigned_abs();
    format!("{sign}{}.{:03}", size / 1000, size % 1000)
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
