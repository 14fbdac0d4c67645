//! A setup with one or two of its settings at several values.

use monitor_core::{Channel, Span};
use rayon::prelude::*;

use super::{POINTS_A_PASS, rules_of};
use crate::replay::{TripRule, layout};
use crate::setup::{Setup, SetupError};
use crate::trace::Layout;
use crate::vary::{Base, MOST_POINTS, Variation, VaryError};

/// One value of each setting.
#[derive(Debug)]
pub struct Point {
    /// The values, as they are written in a setup.
    pub values: Vec<String>,
    /// The setup, or why it is refused.
    pub setup: Result<Setup, String>,
}

/// A setup and its variations.
#[derive(Debug)]
pub struct Grid {
    base: Base,
    variations: Vec<Variation>,
    points: Vec<Point>,
    /// The rules that the settings belong to; none where one of them belongs to many.
    rules: Vec<TripRule>,
}

/// Points that can be shown the same frames.
pub(super) struct Group {
    pub(super) layout: Layout,
    pub(super) cycle: Option<Span>,
    /// By their place in the grid, at least one.
    pub(super) points: Vec<usize>,
}

impl Grid {
    /// Every value of one setting, or every pair of values of two: of the first the first with all of the second, and so on.
    ///
    /// # Errors
    ///
    /// [`VaryError`] without a setting, with more than two or twice the same, and when there are more than [`MOST_POINTS`] points.
    pub fn new(base: Base, variations: Vec<Variation>) -> Result<Self, VaryError> {
        let refuse = |why: String| Err(VaryError(why));
        match variations.as_slice() {
            [_] => {}
            [first, second] if first.path() == second.path() => {
                return refuse(format!("--vary {}: named twice; name each setting once", first.path()));
            }
            [_, _] => {}
            _ => return refuse("vary one setting, or two: --vary SETTING=VALUES".to_owned()),
        }
        let sizes: Vec<usize> = variations.iter().map(|variation| variation.values().len()).collect();
        let count: usize = sizes.iter().product();
        if count > MOST_POINTS {
            return refuse(format!("{count} points are more than {MOST_POINTS}; take longer steps"));
        }
        let inner = sizes.get(1).copied().unwrap_or(1);
        let point = |place: usize| {
            let places = [place / inner, place % inner];
            let changes: Vec<_> = variations.iter().zip(places).collect();
            Point {
                values: changes.iter().map(|(variation, place)| variation.values()[*place].clone()).collect(),
                setup: base.with(&changes).map_err(|error| reason(&error)),
            }
        };
        let points = (0..count).into_par_iter().map(point).collect();
        let of_each: Vec<_> =
            variations.iter().map(|variation| rules_of(base.setup(), variation.path().keys())).collect();
        // One that belongs to many leaves none out.
        let rules = if of_each.iter().any(Vec::is_empty) { Vec::new() } else { of_each.concat() };
        Ok(Self { base, variations, points, rules })
    }

    /// The setup as it is written.
    #[must_use]
    pub const fn base(&self) -> &Base {
        &self.base
    }

    /// The settings.
    #[must_use]
    pub fn variations(&self) -> &[Variation] {
        &self.variations
    }

    /// The points.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// The rules whose reaction counts: those that the settings belong to, or all where they belong to many.
    #[must_use]
    pub fn rules(&self) -> Vec<TripRule> {
        if !self.rules.is_empty() {
            return self.rules.clone();
        }
        let setup = self.base.setup();
        let watched = (0..setup.monitors.len()).filter(|&place| !setup.monitors[place].kind.is_output());
        let monitors =
            watched.flat_map(|place| Channel::BOTH.map(|channel| TripRule::Monitor(place, channel)));
        let positions = setup.discrepancy.iter().map(|_| TripRule::PositionDiscrepancy);
        let speeds = setup.speed_discrepancy.iter().map(|_| TripRule::SpeedDiscrepancy);
        let analogues = (0..setup.analogues.len()).map(TripRule::Analogue);
        monitors.chain(positions).chain(speeds).chain(analogues).collect()
    }

    /// What the rules are called whose reaction counts.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let setup = self.base.setup();
        let mut names: Vec<String> = Vec::new();
        for rule in self.rules() {
            let name = match rule {
                TripRule::Monitor(place, _) => setup.monitors[place].name.as_str(),
                TripRule::PositionDiscrepancy => "discrepancy",
                TripRule::SpeedDiscrepancy => "speed_discrepancy",
                TripRule::Analogue(place) => setup.analogues[place].name.as_str(),
            };
            if !names.iter().any(|known| known == name) {
                names.push(name.to_owned());
            }
        }
        names
    }

    pub(super) fn counts_lateness_of(&self, name: &str) -> bool {
        self.rules.is_empty() || self.names().iter().any(|known| known == name)
    }

    pub(super) fn belongs(&self, rule: TripRule) -> bool {
        self.rules.is_empty() || self.rules.contains(&rule)
    }

    /// The points that are wanted and not refused, by the frames that they are shown, and no more together than one pass takes.
    pub(super) fn groups(&self, is_wanted: impl Fn(usize) -> bool) -> Vec<Group> {
        let mut groups: Vec<Group> = Vec::new();
        for (place, point) in self.points.iter().enumerate() {
            let Ok(setup) = &point.setup else { continue };
            // What the core refuses has been reported as such.
            let Ok(layout) = layout(setup) else { continue };
            if !is_wanted(place) {
                continue;
            }
            let cycle = setup.cycle.as_ref().map(|cycle| cycle.value);
            let is_same = |group: &&mut Group| {
                group.points.len() < POINTS_A_PASS && group.cycle == cycle && group.layout == layout
            };
            match groups.iter_mut().rev().find(is_same) {
                Some(group) => group.points.push(place),
                None => groups.push(Group { layout, cycle, points: vec![place] }),
            }
        }
        groups
    }
}

/// The first thing that is wrong, in one line, without the place: a person never saw the file that has it.
fn reason(error: &SetupError) -> String {
    error
        .diagnostics()
        .first()
        .map_or_else(String::new, |first| format!("{}; {}", first.message, first.way_out))
}
