//! The explanation: the verdict first, then the story, the shares and what would have let it pass.

use std::fmt::Write;

use super::words::{meaning, verdict_class};
use super::{Table, escape, html, number, text};
use crate::causes::Side;
use crate::explain::{BothSay, Costed, Explanation, Further, Guard, LISTED, Link, Told, Verdict, doubts};
use crate::report::{millis, short};

/// The verdict in words.
pub(super) fn verdict(explanation: &Explanation) -> String {
    format!("<h2>Why</h2>\n{}", in_words(explanation, meaning(explanation.guard)))
}

fn in_words(explanation: &Explanation, meaning: &str) -> String {
    let Explanation { guard, in_words, explained, .. } = explanation;
    let good = if matches!(guard, Guard::Clear | Guard::Planned) { "good" } else { "bad" };
    let which = match (explained.what.as_str(), explained.number) {
        ("trip" | "fault", Some(number)) => format!(" (of {} {number})", explained.what),
        _ => String::new(),
    };
    let mut out = format!(
        "<section class=\"{}\">\n<p class=\"verdict {good}\">{}{which}: {}</p>\n{meaning}<ul>\n",
        verdict_class(*guard),
        guard.word(),
        escape(&in_words.what)
    );
    for why in &in_words.why {
        let _ = writeln!(out, "<li>{}</li>", escape(why));
    }
    out += "</ul>\n";
    if !in_words.advice.is_empty() {
        out += "<p>What to try:</p>\n<ol>\n";
        for advice in &in_words.advice {
            let _ = writeln!(out, "<li>{}</li>", escape(advice));
        }
        out += "</ol>\n";
    }
    out + "</section>\n"
}

/// What demanded the rule that tripped, and what took the permit again.
pub(super) fn further(told: &Told) -> String {
    let mut out = String::new();
    for Further { link, explanation } in &told.further {
        let head = match link {
            Link::Demanded => "What demanded it",
            Link::TookAgain => "The permit went again",
        };
        let at = explanation.explained.at_s.map_or_else(String::new, |at| format!(" at {} s", short(at.0)));
        let _ = writeln!(out, "<h3>{head}{at}</h3>");
        out += &in_words(explanation, "");
        out += &story_table(explanation, &format!("What happened, {head}{at}"));
    }
    if told.left_out > 0 {
        let times = if told.left_out == 1 { "once".to_owned() } else { format!("{} times", told.left_out) };
        let _ = writeln!(
            out,
            "<p>The permit went {times} more: <code>cowitness explain</code> with <code>--trip N</code> or <code>--fault N</code> \
             tells why, with the numbers of the tables below.</p>"
        );
    }
    out
}

/// Everything else of it.
pub(super) fn sections(explanation: &Explanation) -> String {
    let mut out = story(explanation);
    out += &reaction(explanation);
    out += &witnesses(explanation);
    out += &shares(explanation);
    out += &what_if(explanation);
    if !explanation.cannot_tell.is_empty() {
        out += "<h2>What this trace does not tell</h2>\n<ul>\n";
        for what in &explanation.cannot_tell {
            let _ = writeln!(out, "<li>{}</li>", escape(what));
        }
        out += "</ul>\n";
    }
    out
}

fn story(explanation: &Explanation) -> String {
    match story_table(explanation, "What happened") {
        table if table.is_empty() => table,
        table => format!("<h2>What happened</h2>\n{table}"),
    }
}

/// Nothing where there is nothing to tell.
fn story_table(explanation: &Explanation, of: &str) -> String {
    let Explanation { story, explained, .. } = explanation;
    let Some(then) = explained.at_s.filter(|_| !story.is_empty()) else { return String::new() };
    let mut table = Table::new(of, &["#At, s", "#ms from it", "Channel", "What happened"]);
    for stage in story {
        let micros = (stage.at_s.0 - then.0 + 500).div_euclid(1000) * 1000;
        let channel = stage.channel.map_or("", Side::letter);
        let shown = (stage.at_s.0 + 500).div_euclid(1000) * 1000;
        table.row(&[number(short(shown)), number(millis(micros)), text(channel), text(&stage.text)]);
    }
    table.end()
}

fn reaction(explanation: &Explanation) -> String {
    if explanation.reaction.is_empty() {
        return String::new();
    }
    let shown = |seconds: Option<f64>| {
        seconds.map_or_else(|| "-".to_owned(), |seconds| format!("{:.3}", seconds * 1e3))
    };
    let mut table = Table::new(
        "Where the time of the reaction went",
        &["Where the time went", "#here, ms", "#at the worst, ms"],
    );
    for part in &explanation.reaction {
        table.row(&[text(&part.part), number(shown(part.took_s)), number(shown(part.worst_s))]);
    }
    format!("<h2>Where the time of the reaction went</h2>\n{}", table.end())
}

/// What each channel, or each line, says.
fn witnesses(explanation: &Explanation) -> String {
    let (rows, alone) = (explanation.both_say(), explanation.alone());
    if rows.is_empty() && alone.is_empty() {
        return String::new();
    }
    let title = format!("What each {} says", explanation.witness());
    let mut out = format!("<h2>{title}</h2>\n");
    if !rows.is_empty() {
        let mut table = Table::new(&title, &["What", "#a", "#b", "#a \u{2212} b"]);
        for row in &rows {
            let [a, b] = row.of.map(BothSay::shown);
            table.row(&[text(&row.what), number(a), number(b), number(BothSay::shown(row.difference()))]);
        }
        out += &table.end();
    }
    if !alone.is_empty() {
        out += "<ul>\n";
        for (channel, text) in alone.iter().take(LISTED) {
            let _ = writeln!(out, "<li>{channel} alone, {}</li>", escape(text));
        }
        if let Some(more) = alone.len().checked_sub(LISTED).filter(|more| *more > 0) {
            let _ = writeln!(out, "<li>... and {more} more; the JSON has all</li>");
        }
        out += "</ul>\n";
    }
    out
}

/// Where the channels part, each share as a bar.
fn shares(explanation: &Explanation) -> String {
    let Some(apart) = &explanation.apart else { return String::new() };
    if matches!(explanation.verdict, Verdict::Motion { .. }) {
        return String::new();
    }
    let words = apart.words();
    let most = apart.terms.iter().map(|term| term.share.value.abs()).fold(apart.rest.abs(), f64::max);
    let bar = |value: f64| {
        let width = if most > 0.0 { value.abs() / most * 12.0 } else { 0.0 };
        let class = if value < 0.0 { "bar minus" } else { "bar" };
        html(format!("<span class=\"{class}\" style=\"width:{width:.2}em\" aria-hidden=\"true\"></span>"))
    };
    let heads = ["Where a \u{2212} b comes from", "#share", "Unit", "as a bar"];
    let mut table = Table::new("Where the channels part", &heads);
    for term in &apart.terms {
        table.row(&[
            text(term.cause.text(&words)),
            number(format!("{:.4}", term.share.value)),
            text(apart.unit),
            bar(term.share.value),
        ]);
    }
    table.row(&[
        text("rest: quantisation, noise, what is not modelled"),
        number(format!("{:.4}", apart.rest)),
        text(apart.unit),
        bar(apart.rest),
    ]);
    table.row(&[
        text("together, since the references were taken"),
        number(format!("{:.4}", apart.apart)),
        text(apart.unit),
        text(""),
    ]);
    let mut out = format!("<h2>Where the channels part</h2>\n{}", table.end());
    for doubt in doubts(apart) {
        let _ = writeln!(out, "<p>? {}</p>", escape(&doubt));
    }
    out
}

fn what_if(explanation: &Explanation) -> String {
    let Explanation { cures, what_if, setup, .. } = explanation;
    let mut out = String::new();
    if !cures.is_empty() {
        let mut table =
            Table::new("What takes the cause away", &["Setting", "What it does", "Replayed with it"]);
        for cure in cures {
            let holds = match (cure.prevents_it, &cure.instead) {
                (Some(true), _) => "does not trip, and nothing else goes wrong".to_owned(),
                (Some(false), Some(instead)) => instead.clone(),
                _ => "not replayed".to_owned(),
            };
            table.row(&[text(&cure.setting), text(&cure.does), text(holds)]);
        }
        out += &format!("<h2>What takes the cause away, in the setup</h2>\n{}", table.end());
    }
    if what_if.is_empty() {
        return out;
    }
    out += "<h2>What would have let it pass, and what that costs</h2>\n";
    for caveat in explanation.caveats() {
        out += &format!("<p class=\"caution\">{}</p>\n", escape(&sentence(caveat)));
    }
    let mut table =
        Table::new("What would have let it pass", &["Setting", "now", "then", "Cost, at the worst", "Mind"]);
    for Costed { change, cost } in what_if {
        let least = match (change.at_least, change.is_lower) {
            (true, false) => "at least ",
            (true, true) => "at most ",
            (false, _) => "",
        };
        let then = change.to.as_ref().map_or_else(|| "no value".to_owned(), |to| format!("{least}{to}"));
        let mut mind: Vec<String> = change.note.iter().cloned().collect();
        if let Some(with) = &change.with {
            mind.push(format!(
                "with {}: {} \u{2192} {least}{}; neither does alone",
                with.setting, with.from, with.to
            ));
        }
        mind.extend(change.allows.iter().map(|allows| format!("allows {allows}")));
        mind.extend(explanation.minds(change));
        let cost = cost
            .as_ref()
            .and_then(|cost| cost.text(&setup.unit))
            .unwrap_or_else(|| "not known: see the risk assessment".to_owned());
        let cost = if change.to.is_some() { cost } else { "-".to_owned() };
        table.row(&[
            text(&change.setting),
            text(&change.from),
            text(then),
            text(cost),
            text(mind.join("; ")),
        ]);
    }
    out + &table.end()
}

/// A text as a sentence of its own.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}
