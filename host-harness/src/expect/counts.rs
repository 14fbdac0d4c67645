//! How many trips and faults nobody expected, and how many that were expected did not come.

use serde::{Deserialize, Serialize};
use toml::Spanned;

use super::Expectations;
use super::entries::{FaultEntry, Others, Time, TripEntry, Verdict};
use crate::report::{FaultReport, Report, TripReport};

/// What a replay shows against its expectations, as numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    /// Trips that no expectation names, or that a `[[no_trip]]` does; in a trace whose verdict is to be `clear`, all.
    pub nuisance_trips: u64,
    /// Expected trips that did not come, or not in their time window.
    pub missed_trips: u64,
    /// Faults that no expectation names; in a trace whose verdict is to be `clear`, all.
    pub nuisance_faults: u64,
    /// Expected faults that did not come, or not in their time window.
    pub missed_faults: u64,
    /// The longest time from the `from` of an expected trip to the trip, in ns, of the rules that count; negative where it came earlier,
    /// within the slack. `None` without such a trip that was expected from some time on.
    pub latest_ns: Option<i64>,
}

impl Counts {
    /// Both, added.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            nuisance_trips: self.nuisance_trips + other.nuisance_trips,
            missed_trips: self.missed_trips + other.missed_trips,
            nuisance_faults: self.nuisance_faults + other.nuisance_faults,
            missed_faults: self.missed_faults + other.missed_faults,
            latest_ns: self.latest_ns.max(other.latest_ns),
        }
    }
}

/// When an entry may be met: its window, longer by the slack at either end.
fn at_ends(from: Option<Time>, to: Option<&Spanned<Time>>, slack: i128) -> (Option<Time>, Option<Time>) {
    let from = from.map(|from| Time(from.0.saturating_sub(slack)));
    (from, to.map(|to| Time(to.get_ref().0.saturating_add(slack))))
}

impl TripEntry {
    fn names(&self, trip: &TripReport) -> bool {
        self.monitor.as_ref().is_none_or(|name| *name.get_ref() == trip.monitor)
            && self.channel.as_ref().is_none_or(|on| on.get_ref().name() == trip.channel)
    }

    fn is_met_within(&self, trip: &TripReport, slack: i128) -> bool {
        let (from, to) = at_ends(self.from, self.to.as_ref(), slack);
        let at = trip.tripped_s.0;
        self.names(trip) && from.is_none_or(|from| at >= from.0) && to.is_none_or(|to| at <= to.0)
    }

    /// How long after its `from` the first trip comes that meets it.
    fn after(&self, report: &Report, slack: i128, of: &dyn Fn(&str) -> bool) -> Option<i64> {
        let from = self.from?;
        let mut trips = report.trips.iter().filter(|trip| of(&trip.monitor));
        let trip = trips.find(|trip| self.is_met_within(trip, slack))?;
        i64::try_from(trip.tripped_s.0 - from.0).ok()
    }

    /// It is the right trip, but after the window.
    fn is_met_late(&self, trip: &TripReport, slack: i128) -> bool {
        let (_, to) = at_ends(self.from, self.to.as_ref(), slack);
        self.names(trip) && to.is_some_and(|to| trip.tripped_s.0 > to.0)
    }
}

impl FaultEntry {
    fn is_met_within(&self, fault: &FaultReport, slack: i128) -> bool {
        let (from, to) = at_ends(self.from, self.to.as_ref(), slack);
        let to = to.map(|to| Spanned::new(0..0, to));
        Self { from, to, ..self.clone() }.is_met_by(fault)
    }
}

impl Expectations {
    /// How many trips and faults of a replay nobody expected, and how many that were expected did not come; the time window of
    /// what must happen is longer by `slack_ns` at either end, and that of a `[[no_trip]]` is as written.
    ///
    /// An expected trip that comes after its window is missed. It is no nuisance trip besides: for every missed trip the first such one is
    /// forgiven. What is more than a report keeps counts as a nuisance. `of` tells by the name of a rule whether it is one whose lateness counts.
    #[must_use]
    pub fn counts(&self, report: &Report, slack_ns: u64, of: &dyn Fn(&str) -> bool) -> Counts {
        let slack = i128::from(slack_ns);
        let is_clear = self.verdict.as_ref().is_some_and(|verdict| *verdict.get_ref() == Verdict::Clear);
        let others = self.others() == Others::Refused || is_clear;
        let is_met = |entry: &&TripEntry| report.trips.iter().any(|trip| entry.is_met_within(trip, slack));
        let mut missed: Vec<&TripEntry> =
            self.trip.iter().map(Spanned::get_ref).filter(|entry| !is_met(entry)).collect();
        let mut counts = Counts { missed_trips: missed.len() as u64, ..Counts::default() };
        counts.latest_ns =
            self.trip.iter().filter_map(|entry| entry.get_ref().after(report, slack, of)).max();
        for trip in &report.trips {
            let is_forbidden = self.no_trip.iter().any(|entry| entry.get_ref().is_met_by(trip));
            let is_named =
                !is_clear && self.trip.iter().any(|entry| entry.get_ref().is_met_within(trip, slack));
            if !is_forbidden && (is_named || !others) {
                continue;
            }
            match missed.iter().position(|entry| entry.is_met_late(trip, slack)) {
                Some(place) if !is_forbidden => {
                    missed.remove(place);
                }
                _ => counts.nuisance_trips += 1,
            }
        }
        for entry in &self.fault {
            let is_met = report.faults.iter().any(|fault| entry.get_ref().is_met_within(fault, slack));
            counts.missed_faults += u64::from(!is_met);
        }
        let is_named = |fault: &&FaultReport| {
            !others
                || (!is_clear && self.fault.iter().any(|entry| entry.get_ref().is_met_within(fault, slack)))
        };
        counts.nuisance_faults = report.faults.iter().filter(|fault| !is_named(fault)).count() as u64;
        if others {
            counts.nuisance_trips += report.left_out.trips;
            counts.nuisance_faults += report.left_out.faults;
        }
        counts
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::replay::{layout, replay};
    use crate::setup::Setup;
    use crate::trace::{Options, Reader};

    /// What expectations count of a demo trace of the shuttle.
    fn counts(trace: &str, expected: &str, slack_ms: u64) -> Counts {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../traces-demo");
        let setup = Setup::load(folder.join("shuttle.toml")).unwrap();
        let path = folder.join(format!("{trace}.csv.gz"));
        let mut reader = Reader::open(&path, &layout(&setup).unwrap(), Options::default()).unwrap();
        let report = Report::new(&setup, &replay(&setup, &mut reader, &mut |_| {}).unwrap(), trace, 0);
        let expectations = Expectations::parse(expected, &setup).unwrap();
        expectations.counts(&report, slack_ms * 1_000_000, &|name| name == "discrepancy")
    }

    /// Nuisance trips and missed trips.
    fn trips(expected: &str, slack_ms: u64) -> (u64, u64) {
        let counts = counts("belt-slip", expected, slack_ms);
        assert_eq!((counts.nuisance_faults, counts.missed_faults), (0, 0));
        (counts.nuisance_trips, counts.missed_trips)
    }

    // The only trip of this trace is that of the discrepancy, at 2.145 s.
    const TRIP: &str = "[[trip]]\nmonitor = \"discrepancy\"\n";

    #[test]
    fn a_trip_that_is_named_is_neither_a_nuisance_nor_missed() {
        assert_eq!(trips(TRIP, 0), (0, 0));
        assert_eq!(trips(&format!("{TRIP}from = \"2 s\"\nto = \"2.2 s\""), 0), (0, 0));
        assert_eq!(trips("", 0), (1, 0));
        assert_eq!(trips("[[trip]]\nmonitor = \"emergency stop\"", 0), (1, 1));
        assert_eq!(trips(&format!("{TRIP}{TRIP}channel = \"both\""), 0), (0, 0));
    }

    #[test]
    fn one_that_comes_after_its_window_is_missed_and_no_nuisance_besides() {
        assert_eq!(trips(&format!("{TRIP}to = \"2.1 s\""), 0), (0, 1));
        // One late trip makes good for one missed trip; before the window it is one too many.
        assert_eq!(trips(&format!("{TRIP}from = \"3 s\""), 0), (1, 1));
        assert_eq!(trips(&format!("{TRIP}to = \"2.1 s\"\n{TRIP}to = \"2.0 s\""), 0), (0, 2));
    }

    #[test]
    fn slack_makes_windows_longer_at_either_end() {
        let late = format!("{TRIP}to = \"2.1 s\"");
        assert_eq!((trips(&late, 44), trips(&late, 45)), ((0, 1), (0, 0)));
        let early = format!("{TRIP}from = \"2.2 s\"");
        assert_eq!((trips(&early, 50), trips(&early, 60)), ((1, 1), (0, 0)));
    }

    #[test]
    fn what_must_not_happen_and_a_trace_that_is_to_be_clear_make_every_trip_a_nuisance() {
        assert_eq!(trips("others = \"accepted\"", 0), (0, 0));
        assert_eq!(trips("others = \"accepted\"\nverdict = \"clear\"", 0), (1, 0));
        assert_eq!(trips("others = \"accepted\"\n[[no_trip]]\nmonitor = \"discrepancy\"", 0), (1, 0));
        assert_eq!(trips("others = \"accepted\"\n[[no_trip]]\nto = \"2.1 s\"", 0), (0, 0));
    }

    #[test]
    fn the_latest_is_counted_from_where_a_trip_is_expected() {
        let latest =
            |from: &str, slack| counts("belt-slip", &format!("{TRIP}from = \"{from}\""), slack).latest_ns;
        let (begin, earlier) = (latest("2 s", 0).unwrap(), latest("2.1 s", 0).unwrap());
        assert_eq!(begin - earlier, 100_000_000);
        assert!((144_400_000..148_900_000).contains(&begin), "as the expectations of the demo: {begin}");
        assert!(latest("2.15 s", 10).unwrap() < 0);
        assert_eq!(latest("2.2 s", 0), None, "missed");
        assert_eq!(counts("belt-slip", TRIP, 0).latest_ns, None, "expected at any time");
    }

    #[test]
    fn faults_are_counted_as_trips_are() {
        let faults = |expected: &str| {
            let counts = counts("rail-cable-fault", expected, 0);
            (counts.nuisance_faults, counts.missed_faults)
        };
        let (all, _) = faults("");
        assert!(all > 0);
        assert_eq!(faults("[[fault]]\nchannel = \"b\""), (0, 0));
        assert_eq!(faults("[[fault]]\nchannel = \"a\""), (all, 1));
        assert_eq!(faults("others = \"accepted\""), (0, 0));
        assert_eq!(faults("others = \"accepted\"\nverdict = \"clear\""), (all, 0));
        assert_eq!(faults("[[fault]]\nchannel = \"b\"\nto = \"1 ms\""), (all, 1));
    }
}
