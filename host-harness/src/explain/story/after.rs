//! What the motion did after it: the permit, the way to rest, and how far it went on.

use monitor_core::{Evidence, Instant};

use super::{StageKind, Story};
use crate::explain::aftermath::{GOES_ON, coarse, fastest_of, furthest};
use crate::explain::rerun::index;
use crate::explain::track::Point;
use crate::replay::{Trip, TripRule};
use crate::report::Figures;

impl Story<'_> {
    /// What the motion did after it.
    pub(super) fn after(&mut self, at: Instant) {
        let place = self.place(at);
        let had =
            place.checked_sub(1).and_then(|before| self.points.get(before)).is_some_and(|point| point.permit);
        if had && let Some(lost) = self.points[place..].iter().find(|point| !point.permit) {
            let late = lost.now.since(at).map_or(0, |span| span.as_nanos());
            let after = if late == 0 {
                String::new()
            } else {
                format!(", {} ms later", crate::report::millis(late.into()))
            };
            self.add(lost.now, StageKind::PermitLost, None, format!("the permit goes{after}"));
        }
        self.refused(at);
        let end = self.points[place.min(self.points.len())..].iter().position(|point| point.reset);
        let end = end.map_or(self.points.len(), |end| place + end);
        if let Some(reset) = self.points.get(end) {
            self.add(reset.now, StageKind::Reset, None, "a reset is accepted".to_owned());
        }
        self.motion(place, end);
    }

    /// How far it went on beyond its limit after the trip, where that is none on the speed.
    pub(super) fn furthest(&mut self, trip: &Trip) {
        let (TripRule::Monitor(_, channel), Evidence::Position(_) | Evidence::Value(_)) =
            (trip.rule, &trip.evidence)
        else {
            return;
        };
        let after = &self.points[self.place(trip.tripped_at)..];
        let until = after.iter().position(|point| point.reset).unwrap_or(after.len());
        let held = |point: &Point| point.held[index(channel)];
        let Some(then) = after.first().and_then(held) else { return };
        let Some((at, most)) = furthest(&after[..until], channel) else { return };
        if most.excess() > GOES_ON * then.excess() {
            let unit = Figures::new(self.setup, trip.rule, &trip.evidence).unit;
            let text =
                format!("goes on beyond the limit, to {:.4} {unit} (of {:.4})", most.observed, most.limit);
            self.add(at, StageKind::Furthest, Some(channel), text);
        }
    }

    /// How fast it got, when it came to rest, and how far it had gone by then.
    fn motion(&mut self, place: usize, end: usize) {
        let after = &self.points[place.min(end)..end];
        let Some(first) = after.first() else { return };
        let unit = self.setup.unit.symbol();
        let Some(at_first) = fastest_of(first) else { return };
        // Within a hundredth and one count over the window it is the same speed.
        let same = coarse(self.setup) + at_first / 100.0;
        if at_first <= same {
            return;
        }
        let rest =
            after.iter().find(|point| fastest_of(point).is_some_and(|speed| speed <= coarse(self.setup)));
        let until = rest.map_or(after.len(), |rest| after.partition_point(|point| point.now < rest.now));
        let fastest = after[..until].iter().filter_map(|point| Some((point.now, fastest_of(point)?)));
        let fastest = fastest.max_by(|one, other| one.1.total_cmp(&other.1));
        if let Some((at, fastest)) = fastest
            && fastest > at_first + 3.0 * same
        {
            self.add(at, StageKind::Fastest, None, format!("gets as fast as {fastest:.1} {unit}/s"));
        }
        let Some(rest) = rest else {
            let Some(last) = after.last() else { return };
            let still = fastest_of(last).map_or(String::new(), |speed| format!(" ({speed:.1} {unit}/s)"));
            let text = format!("still moving where the frames end that were kept{still}");
            self.add(last.now, StageKind::Rest, None, text);
            return;
        };
        let way: Vec<_> = [0, 1]
            .iter()
            .filter_map(|&of| Some((rest.seen[of]?.position - first.seen[of]?.position).abs()))
            .map(|way| format!("{way:.2}"))
            .collect();
        let way =
            if way.is_empty() { String::new() } else { format!(", {} {unit} further", way.join(" and ")) };
        let took = rest.now.since(first.now).map_or(0, |span| span.as_nanos());
        let text = format!("at rest {} ms after it{way}", crate::report::millis(took.into()));
        self.add(rest.now, StageKind::Rest, None, text);
    }
}
