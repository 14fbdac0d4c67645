//! Words of a page that are its own: its title, what a verdict means, and signs for what is written in ASCII elsewhere.

use std::path::Path;

use super::escape;
use crate::explain::{Explanation, Guard};
use crate::report::{Seconds, short};
use crate::setup::Setup;

/// Seconds to the microsecond: what is worked out between two frames has no more digits than that to tell.
pub(super) fn at(seconds: Seconds) -> String {
    short(micros(seconds.0))
}

/// Nanoseconds, to the nearest whole microsecond.
const fn micros(nanos: i128) -> i128 {
    (nanos + 500).div_euclid(1000) * 1000
}

/// What tells a page from others by its name: the trace, then what stopped the axis, then the axis.
pub(super) fn title(setup: &Setup, trace: &str, explanation: &Explanation) -> String {
    let file = Path::new(trace).file_name().map_or_else(|| trace.into(), std::ffi::OsStr::to_string_lossy);
    let file = if file == "-" { "standard input".into() } else { file };
    format!("{file}: {}, {}", came_to(explanation), setup.title)
}

/// What it came to in a few words: what the page explains.
#[must_use]
pub fn came_to(explanation: &Explanation) -> String {
    let explained = &explanation.explained;
    match explained.what.as_str() {
        "trip" => format!("stopped by {}", explained.name),
        "fault" => format!("stopped by a fault of {}", explained.name),
        "planned" => format!("stopped as planned by {}", explained.name),
        _ => "nothing stopped it".to_owned(),
    }
}

/// A class of the verdict for its colour and its sign, and what it means.
pub(super) const fn verdict_class(guard: Guard) -> &'static str {
    match guard {
        Guard::Right => "right",
        Guard::Nuisance => "nuisance",
        Guard::Undecided => "undecided",
        Guard::Planned | Guard::Clear => "planned",
    }
}

/// What the word of a verdict means, with the words that there could be instead.
pub(super) const fn meaning(guard: Guard) -> &'static str {
    match guard {
        Guard::Right | Guard::Nuisance | Guard::Undecided => {
            "<p class=\"legend\"><span>\u{25cf} RIGHT: the motion broke the rule, or what watches it failed</span>\n\
             <span>\u{25cb} NUISANCE: the motion was within what the rule is there for; how it is measured is what tripped, and may need repair all the same</span>\n\
             <span>\u{25d0} UNDECIDED: the trace does not tell</span></p>\n"
        }
        Guard::Planned => {
            "<p class=\"legend\">\u{2713} PLANNED: an input asked for the stop; no rule was broken.</p>\n"
        }
        Guard::Clear => {
            "<p class=\"legend\">\u{2713} CLEAR: nothing tripped and nothing was faulted, and the trace shows enough to say so.</p>\n"
        }
    }
}

/// A unit with its square as a sign.
pub(super) fn unit(text: &str) -> String {
    text.replace("/s^2", "/s\u{b2}")
}

/// What is a sign elsewhere in words for a terminal: in the HTML of an explanation. Not where a name has such letters: names stay as they are.
pub(super) fn with_signs(html: &str, setup: &Setup, setup_text: &str, trace: &str) -> String {
    let names = [&setup.title, &setup.path].into_iter().chain(setup.levels.iter());
    let names = names.chain(setup.monitors.iter().map(|of| &of.name));
    let names = names.chain(setup.inputs.iter().map(|of| &of.name));
    let names: Vec<&str> =
        names.chain(setup.analogues.iter().map(|of| &of.name)).map(String::as_str).chain([trace]).collect();
    let is_named = |what: &str| names.iter().any(|name| name.contains(what));
    let mut out = html.to_owned();
    for (from, to) in [("->", "\u{2192}"), ("+-", "\u{b1}"), ("/s^2", "/s\u{b2}")] {
        // Units stand in a setup as they are written there; nothing else of these has to.
        if !is_named(from) && (from == "/s^2" || !setup_text.contains(from)) {
            out = out.replace(&escape(from), to);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_told_to_the_nearest_microsecond() {
        let told = [1_964_660_712, 1_500, 1_499, -1_500, -1_501].map(|nanos| at(Seconds(nanos)));
        assert_eq!(told, ["1.964661", "0.000002", "0.000001", "-0.000001", "-0.000002"]);
    }
}
