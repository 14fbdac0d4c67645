//! What is drawn over the time of a picture, panel by panel.

use monitor_core::Channel;

use super::Moment;
use super::curve::{Curve, Style};
use crate::plot::{Decided, MOST_TRIPS, Plot, Series};
use crate::replay::{FaultKind, Outcome, TripRule};
use crate::report::{Figures, rule};
use crate::setup::Setup;

/// Curves on one scale.
#[derive(Clone, Debug)]
pub(super) struct Panel {
    /// What it is of, without the unit.
    pub(super) title: String,
    pub(super) unit: String,
    /// Limits first: what was observed is drawn over them.
    pub(super) curves: Vec<Curve>,
    /// The least and the greatest that are shown.
    pub(super) range: (f64, f64),
    /// A limit that would have made everything else flat.
    pub(super) beyond: Option<f64>,
}

/// A limit that is farther than so many times what was observed is told of and not drawn.
const FAR: f64 = 12.0;

impl Panel {
    fn new(title: String, unit: String, curves: Vec<Curve>, view: (u64, u64)) -> Option<Self> {
        let join = |all: (f64, f64), one: (f64, f64)| (all.0.min(one.0), all.1.max(one.1));
        let of = |is_limit: bool| {
            let some = curves.iter().filter(move |curve| (curve.style == Style::Limit) == is_limit);
            some.filter_map(|curve| curve.extent(view))
        };
        let seen = of(false).reduce(join)?;
        let size = seen.0.abs().max(seen.1.abs());
        let (mut range, mut beyond) = (seen, None);
        for limit in of(true) {
            let far = limit.0.abs().max(limit.1.abs());
            if size > 0.0 && far > FAR * size {
                beyond = Some(beyond.map_or(far, |other: f64| other.min(far)));
            } else {
                range = join(range, limit);
            }
        }
        let span = range.1 - range.0;
        // What stays as it is is not blown up to the rounding of its last place.
        let pad = if span > size * 1e-9 { 0.06 * span } else { (0.1 * size).max(1e-3) };
        Some(Self { title, unit, curves, range: (range.0 - pad, range.1 + pad), beyond })
    }
}

/// Those of a picture: the speed, and what the trip was decided by, or how far the positions are apart.
pub(super) fn panels(
    setup: &Setup,
    outcome: &Outcome,
    plot: &Plot,
    moment: Moment,
    view: (u64, u64),
) -> Vec<Panel> {
    let decided = match moment {
        Moment::Trip(place) => plot.decided_of(place),
        _ => None,
    };
    let second = decided
        .and_then(|decided| of_decided(setup, outcome, plot, decided, view))
        .or_else(|| faulted_value(setup, outcome, plot, moment, view))
        .or_else(|| apart(setup, plot, view));
    let third = if second.is_none() { position(setup, plot, view) } else { None };
    speed(setup, plot, view).into_iter().chain(second).chain(third).collect()
}

/// What is missing of it, in words.
pub(super) fn missing(setup: &Setup, outcome: &Outcome, plot: &Plot, moment: Moment) -> Option<String> {
    let Moment::Trip(place) = moment else { return None };
    let trip = outcome.trips.kept.get(place)?;
    let is_drawn_anyway = match trip.rule {
        TripRule::PositionDiscrepancy => true,
        TripRule::SpeedDiscrepancy | TripRule::Analogue(_) => false,
        TripRule::Monitor(..) => {
            matches!(Figures::new(setup, trip.rule, &trip.evidence).quantity, "speed" | "overrun")
        }
    };
    (!is_drawn_anyway && plot.decided_of(place).is_none()).then(|| {
        format!("What it compared is not drawn: that is kept of the first {MOST_TRIPS} trips and of one that is explained")
    })
}

fn speed(setup: &Setup, plot: &Plot, view: (u64, u64)) -> Option<Panel> {
    let [a, b] = Channel::BOTH;
    let of = |series| Curve::of(plot, view, series, Style::Limit, 1.0);
    let seen = [(a, Style::A), (b, Style::B)]
        .map(|(channel, style)| Curve::of(plot, view, Series::Speed(channel), style, 1.0));
    let is_backwards = seen.iter().filter_map(|curve| curve.extent(view)).any(is_below);
    let mut curves = Vec::new();
    for channel in [a, b] {
        curves.push(of(Series::SpeedHigh(channel)));
        let low = of(Series::SpeedLow(channel));
        // Standing still may be what is not allowed.
        if is_backwards || low.extent(view).is_some_and(|(_, most)| most > 0.0) {
            curves.push(low);
        }
    }
    without_twins(&mut curves);
    curves.extend(seen);
    Panel::new("Speed".to_owned(), format!("{}/s", setup.unit.symbol()), curves, view)
}

/// Whether what was observed is below zero by more than a count or two, so that a limit is shown there, too.
fn is_below((low, high): (f64, f64)) -> bool {
    low < 0.0 && -low > 0.05 * high
}

/// Most limits are those of both channels: dots upon dots would be a line.
fn without_twins(curves: &mut Vec<Curve>) {
    let mut kept: Vec<Curve> = Vec::new();
    for curve in curves.drain(..) {
        if !kept.iter().any(|other| other.runs == curve.runs) {
            kept.push(curve);
        }
    }
    *curves = kept;
}

fn apart(setup: &Setup, plot: &Plot, view: (u64, u64)) -> Option<Panel> {
    setup.discrepancy.as_ref()?;
    let of = |series, style, factor| Curve::of(plot, view, series, style, factor);
    let seen = of(Series::Apart, Style::A, 1.0);
    let mut curves = vec![of(Series::Allowed, Style::Limit, 1.0)];
    if seen.extent(view).is_some_and(is_below) {
        curves.push(of(Series::Allowed, Style::Limit, -1.0));
    }
    curves.push(seen);
    let title = "Discrepancy of the positions, a \u{2212} b".to_owned();
    Panel::new(title, setup.unit.symbol().to_owned(), curves, view)
}

fn position(setup: &Setup, plot: &Plot, view: (u64, u64)) -> Option<Panel> {
    let [a, b] = Channel::BOTH;
    let curves = vec![
        Curve::of(plot, view, Series::Position(a), Style::A, 1.0),
        Curve::of(plot, view, Series::Position(b), Style::B, 1.0),
    ];
    Panel::new("Position".to_owned(), setup.unit.symbol().to_owned(), curves, view)
}

fn both_lines(plot: &Plot, place: usize, view: (u64, u64)) -> Vec<Curve> {
    let both = [(Channel::A, Style::A), (Channel::B, Style::B)];
    both.map(|(channel, style)| Curve::of(plot, view, Series::Analogue(place, channel), style, 1.0)).into()
}

/// The analogue value one of whose lines was faulted.
fn faulted_value(
    setup: &Setup,
    outcome: &Outcome,
    plot: &Plot,
    moment: Moment,
    view: (u64, u64),
) -> Option<Panel> {
    let Moment::Fault(fault) = moment else { return None };
    let FaultKind::Analogue(place, ..) = outcome.faults.kept.get(fault)?.kind else { return None };
    let value = setup.analogues.get(place)?;
    let title = format!("{}, its lines a and b", value.name);
    Panel::new(title, value.unit.symbol().to_owned(), both_lines(plot, place, view), view)
}

/// What a trip was decided by, where that is neither the speed nor the discrepancy of the positions.
fn of_decided(
    setup: &Setup,
    outcome: &Outcome,
    plot: &Plot,
    decided: &Decided,
    view: (u64, u64),
) -> Option<Panel> {
    let trip = outcome.trips.kept.get(decided.trip)?;
    let figures = Figures::new(setup, trip.rule, &trip.evidence);
    let (name, ..) = rule(setup, trip.rule);
    let observed = |side, style| Curve::observed(decided, view, side, style);
    let allowed = |side| Curve::allowed(decided, view, side);
    match trip.rule {
        TripRule::PositionDiscrepancy => None,
        TripRule::SpeedDiscrepancy => {
            let mut curves = allowed(0);
            curves.push(observed(0, Style::A));
            Panel::new("Discrepancy of the speeds".to_owned(), figures.unit, curves, view)
        }
        TripRule::Analogue(place) => {
            let title = format!("{name}, its lines a and b, which may be {:.4} apart", figures.limit);
            Panel::new(title, figures.unit, both_lines(plot, place, view), view)
        }
        TripRule::Monitor(..) if matches!(figures.quantity, "speed" | "overrun") => None,
        TripRule::Monitor(..) => {
            let mut curves = allowed(0);
            curves.extend(allowed(1));
            without_twins(&mut curves);
            curves.extend([observed(0, Style::A), observed(1, Style::B)]);
            let mut quantity = figures.quantity.to_owned();
            if let Some(first) = quantity.get_mut(..1) {
                first.make_ascii_uppercase();
            }
            Panel::new(format!("{quantity} as \"{name}\" compares it"), figures.unit, curves, view)
        }
    }
}
