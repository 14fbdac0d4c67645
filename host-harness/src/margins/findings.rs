//! What is found, as text for people: first what is not known, so that nothing below it is read as more than it is.

use crate::plural::plural;
use std::fmt::{self, Write};

use super::amount::Figure;
use super::assess::{Approaches, Cost};
use super::need::{Finding, Need, letter};
use super::path::Broken;
use super::text::Text;
use super::words::{self, figure, mm, paragraph};

impl Text<'_> {
    pub(super) fn findings(&self, out: &mut String) -> fmt::Result {
        writeln!(out, "\nFindings")?;
        self.not_known(out);
        for need in &self.margins.needs {
            self.finding(out, need);
        }
        for cost in &self.margins.costs {
            self.too_far(out, cost);
        }
        self.too_near(out);
        self.missing(out);
        self.summary(out)
    }

    fn count(&self, finding: Finding) -> usize {
        self.margins.needs.iter().filter(|need| need.finding == finding).count()
    }

    /// Of which settings and rules nothing can be said.
    fn not_known(&self, out: &mut String) {
        let (unknown, all) = (self.count(Finding::Unknown), self.margins.needs.len());
        if unknown > 0 {
            let known = match all - unknown {
                0 => String::new(),
                1 => "; 1 is known".to_owned(),
                known => format!("; {known} are known"),
            };
            let said = format!("for {unknown} of {all} settings whether ordinary operation has room{known}");
            *out += &paragraph("  NOT KNOWN          ", &said);
        }
        let (late, rules) = self.lateness_not_known();
        if late > 0 {
            let said = format!("whether a rule reacts too late, for {late} of {rules}");
            *out += &paragraph("  NOT KNOWN          ", &said);
        }
        if let Some(Approaches { setup, too_near: None, .. }) = &self.margins.approach {
            let input = &self.setup.inputs[setup.input].name;
            let said = format!("whether a person who comes by \"{input}\" is far enough away");
            *out += &paragraph("  NOT KNOWN          ", &said);
        }
    }

    /// Of how many rules on motion it cannot be said, and how many there are.
    fn lateness_not_known(&self) -> (usize, usize) {
        let is_said = self.setup.machine.overtravel.is_some();
        let (mut late, mut rules) = (0, 0);
        for (cost, _) in self.rules() {
            let ways =
                || cost.travels.iter().filter(|way| !matches!(way.broken, Broken::Demand | Broken::Stop));
            rules += usize::from(ways().next().is_some());
            late += usize::from(ways().any(|way| !is_said || way.total.is_none()));
        }
        (late, rules)
    }

    /// All in a line, worded so that it is not read as fine where something is not.
    fn summary(&self, out: &mut String) -> fmt::Result {
        let (fine, all) = (self.count(Finding::Fine), self.margins.needs.len());
        let late = self.margins.costs.iter().map(|cost| cost.too_far.len()).sum::<usize>()
            + usize::from(self.margins.approach.as_ref().is_some_and(|one| one.too_near == Some(true)));
        let (trips, slips) = (self.count(Finding::TripsForNothing), self.count(Finding::Slip));
        let mut wrong = Vec::new();
        if trips > 0 {
            wrong.push(plural(trips, "setting") + " without room");
        }
        if late > 0 {
            wrong.push(plural(late, "way") + " too long");
        }
        if slips > 0 {
            wrong.push(plural(slips, "slip") + " of a unit, perhaps");
        }
        let is_known = self.count(Finding::Unknown) == 0;
        if !wrong.is_empty() {
            let said =
                format!("{}; {fine} of {all} settings have room for ordinary operation", wrong.join(", "));
            *out += &paragraph("  NOT FINE           ", &said);
            return Ok(());
        }
        if fine > 0 || is_known {
            writeln!(out, "  nothing trips for nothing or reacts too late, as far as it can be said")?;
            writeln!(out, "  {fine} of {all} settings have room for all that ordinary operation needs")?;
        }
        Ok(())
    }

    fn finding(&self, out: &mut String, need: &Need) {
        let subject = words::subject(&need.subject);
        let set = figure(self.setup, need.set);
        match need.finding {
            Finding::TripsForNothing => {
                let needed = need.needed.map_or("too much".to_owned(), |needed| figure(self.setup, needed));
                let said = format!("{subject} is {set}, and ordinary operation needs {needed}");
                *out += &paragraph("  TRIPS FOR NOTHING  ", &said);
            }
            Finding::Slip => {
                let said =
                    format!("{subject} is {set}, and the filter is longer than that: a slip of a unit?");
                *out += &paragraph("  A SLIP?            ", &said);
            }
            Finding::Fine | Finding::Unknown => {}
        }
    }

    fn too_far(&self, out: &mut String, cost: &Cost) {
        let (name, _, channel) = words::rule(self.setup, cost.reaction.rule);
        for travel in cost.too_far.iter().filter_map(|place| cost.travels.get(*place)) {
            let channel = channel.map_or(String::new(), |channel| format!(" (channel {})", letter(channel)));
            let way = travel.total.map_or_else(String::new, |way| figure(self.setup, Figure::Position(way)));
            let room = self.setup.machine.overtravel.as_ref().map_or("", |room| room.text.as_str());
            let said = format!(
                "\"{name}\"{channel}: {way} until the axis stands, {}, and `overtravel` is {room}",
                words::broken(travel.broken)
            );
            *out += &paragraph("  TOO LATE           ", &said);
        }
    }

    fn too_near(&self, out: &mut String) {
        let Some(Approaches { setup: approach, needed: Some(needed), too_near: Some(true), .. }) =
            &self.margins.approach
        else {
            return;
        };
        let there_is = approach.distance.as_ref().map_or("", |distance| distance.text.as_str());
        let input = &self.setup.inputs[approach.input].name;
        let said =
            format!("a person comes by \"{input}\": {} are needed, and there are {there_is}", mm(*needed));
        *out += &paragraph("  TOO LATE           ", &said);
    }

    /// What would have to be there to say more.
    fn missing(&self, out: &mut String) {
        let approach = self.margins.approach.iter().flat_map(|approach| &approach.monitors);
        let travels = self.margins.costs.iter().flat_map(|cost| &cost.travels);
        let all = (self.margins.needs.iter().flat_map(|need| &need.missing))
            .chain(travels.flat_map(|travel| &travel.missing))
            .chain(approach.flat_map(|one| &one.missing));
        let mut keys: Vec<&str> = all.map(String::as_str).collect();
        let machine = &self.setup.machine;
        if machine.overtravel.is_none() {
            keys.push("`overtravel` of [machine]");
        }
        if machine.output_delay.is_none() {
            keys.push("`output_delay` of [machine]");
        }
        let mut said = words::by_section(keys.into_iter());
        if self.setup.approach.is_none() {
            said += if said.is_empty() { "[approach]" } else { "; [approach]" };
        }
        if !said.is_empty() {
            *out += &paragraph("  not said           ", &said);
            *out += &paragraph(
                "                     ",
                "what is missing is reckoned as nothing, and no finding rests on it",
            );
        }
    }
}
