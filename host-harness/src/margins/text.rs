//! Everything that can be said of a setup, as text for people.

use std::fmt::{self, Write};

use super::amount::Figure;
use super::assess::{Approached, Approaches, Cost, Margins};
use super::iso13855::NoDistance;
use super::need::{Finding, Need, letter};
use super::path::Path;
use super::travel::Travel;
use super::words::{self, figure, millis, mm, paragraph};
use crate::decimal::{Rounding, short_text};
use crate::replay::TripRule;
use crate::report::CAUTION;
use crate::setup::Setup;

/// The report as text of at most 80 columns, but for a single word that is longer: findings, then what the channels resolve, then each
/// rule. Of two channels that one is shown on which a rule takes longer, or needs more. Times are rounded up, other figures to the nearest of what is
/// shown.
#[must_use]
pub fn text(setup: &Setup, margins: &Margins) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = Text { setup, margins }.write(&mut out);
    out
}

pub(super) struct Text<'a> {
    pub(super) setup: &'a Setup,
    pub(super) margins: &'a Margins,
}

impl Text<'_> {
    fn write(&self, out: &mut String) -> fmt::Result {
        let (setup, margins) = (self.setup, self.margins);
        writeln!(out, "{}", setup.title)?;
        *out += &paragraph("  ", &format!("setup {}, checksum {:08x}", setup.path, setup.checksum()));
        let period = format!(
            "frames at most {} apart ({})",
            millis(margins.period),
            words::period_from(margins.period_from)
        );
        *out += &paragraph("  ", &period);
        self.findings(out)?;
        self.resolutions(out)?;
        for rule in self.rules() {
            self.rule(out, &rule)?;
        }
        self.others(out)?;
        if let Some(approach) = &margins.approach {
            self.approach(out, approach)?;
        }
        writeln!(out)?;
        *out += &paragraph("", CAUTION);
        Ok(())
    }

    fn resolutions(&self, out: &mut String) -> fmt::Result {
        writeln!(out, "\nSpeeds")?;
        for resolution in &self.margins.resolutions {
            let step = resolution
                .step
                .map_or("steps that nothing tells of a column of positions".to_owned(), |step| {
                    format!("{} a count", figure(self.setup, Figure::Speed(step)))
                });
            let lag = resolution.lag.map_or(String::new(), |lag| {
                let lag = figure(self.setup, Figure::Speed(lag));
                format!("; {lag} too low at the hardest acceleration of operation")
            });
            let said = format!(
                "{step} over {}, which is effectively up to {}{lag}",
                millis(self.setup.speed.window.value),
                millis(resolution.effective_window)
            );
            *out += &paragraph(&format!("  channel {}  ", letter(resolution.channel)), &said);
        }
        Ok(())
    }

    /// One rule of each that is on two channels: that on which it takes longer.
    pub(super) fn rules(&self) -> Vec<(&Cost, bool)> {
        let mut rules: Vec<(&Cost, bool)> = Vec::new();
        for cost in &self.margins.costs {
            let same = |other: &Cost| match (cost.reaction.rule, other.reaction.rule) {
                (TripRule::Monitor(one, _), TripRule::Monitor(other, _)) => one == other,
                _ => false,
            };
            match rules.iter_mut().find(|(other, _)| same(other)) {
                None => rules.push((cost, false)),
                Some((other, alike)) => {
                    let longer = |one: &Cost| (one.reaction.total(), longest_way(one));
                    *alike = other.reaction.paths == cost.reaction.paths && other.travels == cost.travels;
                    if longer(cost) > longer(other) {
                        *other = cost;
                    }
                }
            }
        }
        rules
    }

    fn rule(&self, out: &mut String, (cost, alike): &(&Cost, bool)) -> fmt::Result {
        let (name, kind, channel) = words::rule(self.setup, cost.reaction.rule);
        let on = match (alike, channel) {
            (_, None) => String::new(),
            (true, _) => ", the same on both channels".to_owned(),
            (false, Some(channel)) => format!(", channel {}, which is the slower", letter(channel)),
        };
        writeln!(out)?;
        let head = if name.starts_with('[') { format!("{name}{on}") } else { format!("{name} ({kind}){on}") };
        *out += &paragraph("", &head);
        for path in &cost.reaction.paths {
            self.path(out, path)?;
            if let Some(travel) = cost.travels.iter().find(|travel| travel.broken == path.broken) {
                self.travel(out, travel)?;
            }
        }
        if cost.reaction.paths.is_empty() {
            *out += "  nothing of the motion is compared\n";
        }
        for channel in &cost.reaction.bounded_by_timeout {
            let key = super::need::section(*channel);
            *out += &paragraph(
                "  ",
                &format!("only its timeout bounds how old a reading is: see `period` of {key}"),
            );
        }
        if cost.reaction.rule == TripRule::PositionDiscrepancy
            && let Some(apart) = self.margins.apart_at_torque_off
        {
            let apart = figure(self.setup, Figure::Position(apart));
            *out += &paragraph("  ", &format!("up to {apart} apart when the torque is gone"));
        }
        self.needs_of(out, cost.reaction.rule)
    }

    fn path(&self, out: &mut String, path: &Path) -> fmt::Result {
        writeln!(out, "  time {}", words::broken(path.broken))?;
        for term in &path.terms {
            row(out, term.part.name(), &millis(term.time))?;
        }
        row(out, "together", &millis(path.total()))
    }

    fn travel(&self, out: &mut String, travel: &Travel) -> fmt::Result {
        let speed =
            |speed: Option<monitor_core::Speed>| speed.map(|speed| figure(self.setup, Figure::Speed(speed)));
        let (Some(from), Some(at_end)) = (speed(travel.from), speed(travel.speed_at_torque_off)) else {
            return Ok(());
        };
        let said = format!("way at the worst, from {from}, and {at_end} when the torque is gone");
        *out += &paragraph("  ", &said);
        for stretch in &travel.stretches {
            row(out, stretch.name, &figure(self.setup, Figure::Position(stretch.way)))?;
        }
        match travel.total {
            Some(total) => row(out, "together", &figure(self.setup, Figure::Position(total)))?,
            None => row(out, "together", "not known")?,
        }
        match travel.time {
            Some(time) => row(out, "it stands after", &millis(time)),
            None => Ok(()),
        }
    }

    fn needs_of(&self, out: &mut String, rule: TripRule) -> fmt::Result {
        let mut shown: Vec<&Need> = Vec::new();
        for need in self.margins.needs.iter().filter(|need| belongs(need, rule)) {
            match shown.iter_mut().find(|other| other.subject.key == need.subject.key) {
                None => shown.push(need),
                Some(other) if more(need) > more(other) => *other = need,
                Some(_) => {}
            }
        }
        shown.into_iter().try_for_each(|need| self.need(out, need))
    }

    fn need(&self, out: &mut String, need: &Need) -> fmt::Result {
        writeln!(out, "  `{}` = {} has to leave room for", need.subject.key, need.written)?;
        for share in &need.shares {
            let passes = if share.passes { ", which passes" } else { "" };
            row(out, &format!("{}{passes}", share.name), &figure(self.setup, share.figure))?;
        }
        let needed =
            need.needed.map_or("too large to be worked out".to_owned(), |needed| figure(self.setup, needed));
        let verdict = match need.finding {
            Finding::Fine => "together: fine",
            Finding::TripsForNothing => "together: TRIPS FOR NOTHING",
            Finding::Slip => "together: fine, but for the filter",
            Finding::Unknown => "together, as far as is known",
        };
        row(out, verdict, &needed)
    }

    /// Settings that belong to no rule.
    fn others(&self, out: &mut String) -> fmt::Result {
        let mut head = String::new();
        for need in &self.margins.needs {
            if self.rules().iter().any(|(cost, _)| belongs(need, cost.reaction.rule)) {
                continue;
            }
            if need.subject.of != head {
                head.clone_from(&need.subject.of);
                writeln!(out, "\n{head}")?;
            }
            self.need(out, need)?;
        }
        Ok(())
    }

    fn approach(&self, out: &mut String, approach: &Approaches) -> fmt::Result {
        let input = &self.setup.inputs[approach.setup.input].name;
        writeln!(out)?;
        *out += &paragraph("", &format!("Safety distance by ISO 13855:2010, S = K T + C, by \"{input}\""));
        if approach.monitors.is_empty() {
            *out += &paragraph("  ", "no monitor that ends the motion is demanded by it");
        }
        for one in &approach.monitors {
            self.approached(out, approach, one)?;
        }
        let there_is =
            approach.setup.distance.as_ref().map_or("not given", |distance| distance.text.as_str());
        row(out, "distance that there is", there_is)?;
        *out += &paragraph(
            "  ",
            "After the edition of 2010, in part from memory: hold it against the standard that is in force. The way at \
             reduced speed, once a limit holds, is for the risk assessment.",
        );
        Ok(())
    }

    fn approached(&self, out: &mut String, approach: &Approaches, one: &Approached) -> fmt::Result {
        let name = &self.setup.monitors[one.monitor].name;
        *out += &paragraph("  ", &format!("by \"{name}\""));
        if let Some(detection) = &approach.setup.detection_time {
            row(out, "protective device", &detection.text)?;
        }
        let machine = one.machine.map_or("not known".to_owned(), millis);
        row(out, "machine, from its lines to standing or slow", &machine)?;
        match one.distance {
            None => row(out, "S", "not known"),
            Some(Ok(found)) => {
                row(out, &format!("K T, at {} mm/s", short_text(&found.k, Rounding::Up)), &mm(found.kt))?;
                row(out, "C", &mm(found.c))?;
                let least = if found.floor.is_some() { "S, the least there is" } else { "S" };
                row(out, least, &mm(found.s))
            }
            Some(Err(NoDistance::TooCoarse)) => row(out, "S", "none: the resolution is above 70 mm"),
            Some(Err(NoDistance::TooHigh)) => row(out, "S", "none: the field is above 1000 mm"),
            Some(Err(NoDistance::TooLow(least))) => {
                row(out, "S", &format!("none: the field must lie {} high", mm(least)))
            }
        }
    }
}

fn longest_way(cost: &Cost) -> Option<monitor_core::Position> {
    cost.travels.iter().filter_map(|travel| travel.total).max()
}

/// What orders the needs of two channels: a finding, then the larger.
fn more(need: &Need) -> (bool, i128) {
    let size = need.needed.map_or(i128::MAX, |needed| match needed {
        Figure::Position(value) => i128::from(value.to_bits()),
        Figure::Speed(value) => i128::from(value.to_bits()),
        Figure::Acceleration(value) => i128::from(value.to_bits()),
        Figure::Time(value) => i128::from(value.as_nanos()),
    });
    (need.finding == Finding::TripsForNothing, size)
}

fn belongs(need: &Need, rule: TripRule) -> bool {
    match rule {
        TripRule::Monitor(place, _) => need.subject.monitor == Some(place),
        TripRule::PositionDiscrepancy => need.subject.of == "[discrepancy]",
        TripRule::SpeedDiscrepancy => need.subject.of == "[speed_discrepancy]",
        TripRule::Analogue(_) => false,
    }
}

fn row(out: &mut String, name: &str, value: &str) -> fmt::Result {
    writeln!(out, "    {name:<52} {value:>16}")
}
