//! The first lines: the verdict, and what it is of.

use std::fmt::{self, Write};

use super::{Page, wrapped};
use crate::explain::{Explained, Explanation, Other};
use crate::report::short;

impl Page<'_> {
    pub(super) fn head(&self, out: &mut String) -> fmt::Result {
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
            let who = self.0.witness();
            let channel = match explained.channel.as_deref() {
                None => String::new(),
                Some("both") => format!(", both {who}s"),
                Some(channel) => format!(", {who} {channel}"),
            };
            let named = named(&explained.name, &explained.kind);
            let text = format!("{which}: {named}{channel} at {} s", short(at.0));
            writeln!(out, "{}", wrapped("  of     ", &text))?;
        }
        for (place, also) in also(explained).iter().enumerate() {
            writeln!(out, "{}", wrapped(if place == 0 { "  also   " } else { "         " }, also))?;
        }
        let text = format!("{}, checksum {} ({})", setup.title, setup.checksum, setup.path);
        writeln!(out, "{}", wrapped("  setup  ", &text))
    }
}

/// A name and its kind, where the name does not say it.
fn named(name: &str, kind: &str) -> String {
    if kind == "input" || kind == name { name.to_owned() } else { format!("{name} ({kind})") }
}

/// The other trips and faults: each where there are few, else how many.
fn also(explained: &Explained) -> Vec<String> {
    let each = |other: &Other| {
        let Other { what, number, name, kind, channel, at_s } = other;
        let channel = channel.as_ref().map_or_else(String::new, |channel| format!(" on {channel}"));
        format!("{what} {number}: {}{channel} at {} s (--{what} {number})", named(name, kind), short(at_s.0))
    };
    if !explained.others.is_empty() {
        return explained.others.iter().map(each).collect();
    }
    let count = |kind: &str, all: usize| {
        let others = all - usize::from(explained.what == kind);
        (others > 0).then(|| format!("{others} {kind}{} (--{kind} N)", if others == 1 { "" } else { "s" }))
    };
    let counts: Vec<_> =
        [count("trip", explained.trips), count("fault", explained.faults)].into_iter().flatten().collect();
    if counts.is_empty() { Vec::new() } else { vec![counts.join(", ")] }
}
