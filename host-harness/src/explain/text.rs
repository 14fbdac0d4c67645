//! An explanation for people: plain text that fits 80 columns, the verdict first.

mod head;
mod what_if;

use std::fmt::{self, Write};

use super::lines::{BothSay, LISTED, doubts};
use super::words::{at_worst, ms, plain, share};
use super::{Explanation, Stage, StageKind, Verdict};
use crate::causes::{Side, Term};
use crate::report::short;

/// The most columns of a line.
const COLUMNS: usize = 80;

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
            let took = part.took_s.map_or_else(|| "-".to_owned(), ms);
            let worst = |seconds: f64| format!("{} ms", at_worst(seconds * 1e3));
            let worst = part.worst_s.map_or_else(|| "-".to_owned(), worst);
            writeln!(out, "  {:<38}{took:>12}{worst:>16}", part.part)?;
        }
        Ok(())
    }

    fn witnesses(&self, out: &mut String) -> fmt::Result {
        let (rows, alone) = (self.0.both_say(), self.0.alone());
        if rows.is_empty() && alone.is_empty() {
            return Ok(());
        }
        let title = format!("What each {} says", self.0.witness());
        writeln!(out, "\n{title:<34}{:>12}{:>12}{:>14}", "a", "b", "a - b")?;
        for row in &rows {
            let [one, other] = row.of.map(BothSay::shown);
            let difference = BothSay::shown(row.difference());
            writeln!(out, "  {:<32}{one:>12}{other:>12}{difference:>14}", row.what)?;
        }
        for (channel, text) in alone.iter().take(LISTED) {
            writeln!(out, "{}", wrapped(&format!("  {channel} alone "), text))?;
        }
        if let Some(more) = alone.len().checked_sub(LISTED).filter(|more| *more > 0) {
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
        for doubt in doubts(apart) {
            writeln!(out, "{}", wrapped("  ? ", &doubt))?;
        }
        Ok(())
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
