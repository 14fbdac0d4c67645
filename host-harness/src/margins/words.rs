//! The words of both reports.

use monitor_core::{Channel, Span};

use super::amount::{Amount, Figure};
use super::assess::PeriodFrom;
use super::need::{Subject, exact, letter};
use super::path::Broken;
use crate::decimal::{Exact, Rounding, exact_text, round_scaled, short_text};
use crate::replay::TripRule;
use crate::setup::Setup;

/// The widest line of a report.
const COLUMNS: usize = 80;

/// A number as it is where that is short, or to the nearest of four digits, of five from 1000 on: figures are rounded up to 2⁻²⁴ when they are
/// worked out, and of that no sentence should tell. The JSON has every digit.
fn short(amount: Amount) -> String {
    const SHORT: usize = 7;
    let Some(value) = amount.0 else { return "too large to be worked out".to_owned() };
    let whole = exact_text(&value);
    if whole.len() <= SHORT {
        return whole;
    }
    let mut powers = (0..=12_u32).map(|places| 10_u64.pow(places));
    let enough =
        |power: &u64| round_scaled(&value, *power, Rounding::Down).is_none_or(|digits| digits >= 1000);
    let power = powers.find(enough).unwrap_or(1_000_000_000_000).max(10);
    match round_scaled(&value, power, Rounding::Nearest) {
        Some(digits) if digits > 0 => exact_text(&Exact::new(digits, i128::from(power))),
        _ => short_text(&value, Rounding::Up),
    }
}

/// A figure with its unit.
pub(super) fn figure(setup: &Setup, figure: Figure) -> String {
    let unit = setup.unit.symbol();
    match figure {
        Figure::Position(_) => format!("{} {unit}", short(exact(figure))),
        Figure::Speed(_) => format!("{} {unit}/s", short(exact(figure))),
        Figure::Acceleration(_) => format!("{} {unit}/s^2", short(exact(figure))),
        Figure::Time(time) => millis(time),
    }
}

/// A time in ms, of which ten hours is the most that is told from for ever.
pub(super) fn millis(time: Span) -> String {
    if time.as_nanos() > 36_000_000_000_000 {
        return "without end".to_owned();
    }
    // Hundredths of a millisecond are enough of what lasts longer than ten.
    let step = if time.as_nanos() > 10_000_000 { 10_000 } else { 1 };
    let shown = Span::from_nanos(time.as_nanos().div_ceil(step) * step);
    format!("{} ms", short(Amount::from(shown) * Amount::whole(1000)))
}

/// A length of an approach.
pub(super) fn mm(length: Exact) -> String {
    format!("{} mm", short_text(&length, Rounding::Up))
}

/// What a rule is called, its kind, and its channel.
pub(super) fn rule(setup: &Setup, rule: TripRule) -> (String, &'static str, Option<Channel>) {
    match rule {
        TripRule::Monitor(place, channel) => {
            let monitor = &setup.monitors[place];
            (monitor.name.clone(), monitor.kind.name(), Some(channel))
        }
        TripRule::PositionDiscrepancy => ("[discrepancy]".to_owned(), "discrepancy", None),
        TripRule::SpeedDiscrepancy => ("[speed_discrepancy]".to_owned(), "speed-discrepancy", None),
        TripRule::Analogue(place) => {
            (format!("[analogue.{}]", setup.analogues[place].name), "analogue-discrepancy", None)
        }
    }
}

/// Whose setting, which, and on which channel.
pub(super) fn subject(subject: &Subject) -> String {
    let of = if subject.monitor.is_some() { format!("\"{}\"", subject.of) } else { subject.of.clone() };
    let channel = match (subject.channel, subject.monitor) {
        (Some(channel), Some(_)) => format!(" (channel {})", letter(channel)),
        _ => String::new(),
    };
    format!("`{}` of {of}{channel}", subject.key)
}

/// What a path counts from.
pub(super) const fn broken(broken: Broken) -> &'static str {
    match broken {
        Broken::Demand => "from the demand, beyond the rule already",
        Broken::Stop => "from the demand to the end of the stop",
        Broken::Position => "from a place that may not be left",
        Broken::Speed => "from a speed that leaves its limits",
        Broken::Acceleration => "from an acceleration that leaves its limits",
        Broken::Value => "from a value that leaves its limits",
        Broken::Apart => "from a difference beyond the tolerance",
        Broken::SpeedsApart => "from speeds that are too far apart",
        Broken::Permit => "from the permit that goes",
    }
}

/// The same as a word for programs.
pub(super) const fn broken_word(broken: Broken) -> &'static str {
    match broken {
        Broken::Demand => "demand",
        Broken::Stop => "stop",
        Broken::Position => "position",
        Broken::Speed => "speed",
        Broken::Acceleration => "acceleration",
        Broken::Value => "value",
        Broken::Apart => "apart",
        Broken::SpeedsApart => "speeds-apart",
        Broken::Permit => "permit",
    }
}

/// Where the period is from.
pub(super) const fn period_from(from: PeriodFrom) -> &'static str {
    match from {
        PeriodFrom::Given => "as given",
        PeriodFrom::Cycle => "the `cycle` of the setup",
        PeriodFrom::Machine => "`frame_period` of [machine]",
        PeriodFrom::Timeout => "no period is given, and only the timeout bounds it",
    }
}

/// The same as a word for programs.
pub(super) const fn period_word(from: PeriodFrom) -> &'static str {
    match from {
        PeriodFrom::Given => "given",
        PeriodFrom::Cycle => "cycle",
        PeriodFrom::Machine => "frame_period",
        PeriodFrom::Timeout => "timeout",
    }
}

/// Keys by their sections: "`a`, `b` of [machine]; `c` of [sensors]".
pub(super) fn by_section<'k>(keys: impl Iterator<Item = &'k str>) -> String {
    let mut sections: Vec<(&str, Vec<&str>)> = Vec::new();
    for key in keys {
        let (name, section) = key.rsplit_once(" of ").unwrap_or((key, ""));
        match sections.iter_mut().find(|(known, _)| *known == section) {
            None => sections.push((section, vec![name])),
            Some((_, names)) if !names.contains(&name) => names.push(name),
            Some(_) => {}
        }
    }
    let told: Vec<_> =
        sections.into_iter().map(|(section, names)| format!("{} of {section}", names.join(", "))).collect();
    told.join("; ")
}

/// A paragraph in lines: the first begins with `head`, the others with as many blanks.
pub(super) fn paragraph(head: &str, text: &str) -> String {
    let indent = " ".repeat(head.chars().count());
    let (mut out, mut used) = (head.to_owned(), indent.len());
    let mut first = true;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if !first && used + 1 + length > COLUMNS {
            out += "\n";
            out += &indent;
            used = indent.len();
            first = true;
        }
        if !first {
            out += " ";
            used += 1;
        }
        out += word;
        used += length;
        first = false;
    }
    out + "\n"
}
