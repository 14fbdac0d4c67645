//! What a changed setting costs: the reaction, and what the axis can do until the torque is gone.

use monitor_core::Span;
use schemars::JsonSchema;
use serde::Serialize;

use super::raw::seconds;
use super::track::number;
use super::words::at_worst;
use crate::margins::{self, Margins};
use crate::replay::{Trip, TripRule};
use crate::setup::Setup;

/// A worst case by the setup as it is, and with the changed setting.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Worst {
    /// As it is.
    pub now: f64,
    /// With the changed setting.
    pub then: f64,
}

/// What a changed setting costs at the worst. Null where the setup does not say what it takes to know it, or where a looser limit is
/// reached sooner, which makes nothing safer.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Cost {
    /// The reaction time, in seconds.
    pub reaction_s: Option<Worst>,
    /// The speed when the torque is gone, in the axis unit per second.
    pub speed: Option<Worst>,
    /// The way from the violation to an axis that stands, in the axis unit.
    pub travel: Option<Worst>,
    /// How far the two positions can be apart when the torque is gone, in the axis unit.
    pub apart: Option<Worst>,
    /// The distance that a person's approach needs after ISO 13855, in mm.
    pub distance: Option<Worst>,
    /// The keys of the setup that would have to be there for the others.
    pub missing: Vec<String>,
}

/// What one setup costs.
#[derive(Default)]
struct Figures {
    reaction_s: Option<f64>,
    speed: Option<f64>,
    travel: Option<f64>,
    apart: Option<f64>,
    distance: Option<f64>,
    missing: Vec<String>,
}

/// What a changed setting costs the rule, or where there is none the worst of all rules, with frames at most `period` apart.
pub(super) fn cost(setup: &Setup, changed: &Setup, period: Span, trip: Option<&Trip>) -> Cost {
    let (now, then) = (figures(setup, period, trip), figures(changed, period, trip));
    let worst = |now: Option<f64>, then: Option<f64>| now.zip(then).map(|(now, then)| Worst { now, then });
    // A line that ends at a higher limit ends sooner. That makes nothing safer: the axis may go on at that limit without a trip.
    let grows = |worst: Option<Worst>| worst.filter(|worst| worst.then >= worst.now);
    Cost {
        reaction_s: worst(now.reaction_s, then.reaction_s),
        speed: worst(now.speed, then.speed),
        travel: grows(worst(now.travel, then.travel)),
        apart: worst(now.apart, then.apart),
        distance: grows(worst(now.distance, then.distance)),
        missing: now.missing,
    }
}

fn figures(setup: &Setup, period: Span, trip: Option<&Trip>) -> Figures {
    let rule = trip.map(|trip| trip.rule);
    let margins = Margins::of(setup, Some(period));
    // A fault reacts at once; what it lets pass makes every rule later.
    // Either channel may be the one that sees it: the slower counts.
    let is_of = |of: TripRule| match (of, rule) {
        (_, None) => true,
        (TripRule::Monitor(of, _), Some(TripRule::Monitor(rule, _))) => of == rule,
        (of, Some(rule)) => of == rule,
    };
    let costs: Vec<_> = margins.costs.iter().filter(|cost| is_of(cost.reaction.rule)).collect();
    // From what was broken here; of several rules the worst.
    let total = |reaction: &margins::Reaction| {
        let path = trip.and_then(|trip| reaction.path(super::timing::broken(trip)));
        path.map(margins::Path::total).or_else(|| reaction.total())
    };
    // Of several ways to break a rule the worst.
    let most = |of: &dyn Fn(&crate::margins::Travel) -> Option<f64>| {
        let travels = costs.iter().flat_map(|cost| &cost.travels);
        travels.map(of).collect::<Option<Vec<f64>>>()?.into_iter().max_by(f64::total_cmp)
    };
    let travels = costs.iter().flat_map(|cost| &cost.travels);
    let mut missing: Vec<String> = travels.flat_map(|travel| travel.missing.clone()).collect();
    if matches!(rule, Some(TripRule::Analogue(_))) || is_analogue(setup, rule) {
        missing.clear();
    }
    missing.sort();
    missing.dedup();
    let is_apart = matches!(rule, Some(TripRule::PositionDiscrepancy));
    let needed = margins.approach.as_ref().and_then(|approach| approach.needed.as_ref());
    Figures {
        reaction_s: costs
            .iter()
            .filter_map(|cost| total(&cost.reaction))
            .max()
            .map(|total| seconds(total.as_nanos())),
        speed: most(&|travel| Some(number(travel.speed_at_torque_off?.to_bits()))),
        travel: most(&|travel| Some(number(travel.total?.to_bits()))),
        apart: margins.apart_at_torque_off.filter(|_| is_apart).map(|apart| number(apart.to_bits())),
        #[expect(clippy::cast_precision_loss, reason = "an explanation needs no more than 53 bits")]
        distance: needed.map(|needed| *needed.numer() as f64 / *needed.denom() as f64),
        missing,
    }
}

/// Whether a rule is on an analogue value: what the motion does is not asked.
fn is_analogue(setup: &Setup, rule: Option<TripRule>) -> bool {
    matches!(rule, Some(TripRule::Monitor(monitor, _)) if setup.monitors[monitor].kind.analogue().is_some())
}

impl Cost {
    /// In words, rounded up: what gets worse; `None` where nothing does that the setup tells of.
    #[must_use]
    pub fn text(&self, unit: &str) -> Option<String> {
        let plainly = |unit: &'static str| move |value: f64| format!("{} {unit}", at_worst(value));
        let per_second = if unit == "deg" { "deg/s" } else { "mm/s" };
        let length = if unit == "deg" { "deg" } else { "mm" };
        let mut parts = Vec::new();
        let mut add = |name: &str, worst: Option<Worst>, shown: &dyn Fn(f64) -> String| {
            let Some(Worst { now, then }) = worst else { return };
            let (now, then) = (shown(now), shown(then));
            if now != then {
                parts.push(format!("{name} {now} -> {then}"));
            }
        };
        add("reaction", self.reaction_s, &|seconds| format!("{} ms", at_worst(seconds * 1e3)));
        add("speed at torque-off", self.speed, &plainly(per_second));
        add("travel", self.travel, &plainly(length));
        add("apart at torque-off", self.apart, &plainly(length));
        add("safety distance", self.distance, &plainly("mm"));
        (!parts.is_empty()).then(|| parts.join(", "))
    }
}
