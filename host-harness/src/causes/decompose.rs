//! The steps from samples to causes.

use super::apart::tell_apart;
use super::cause::{Cause, Estimate, Side};
use super::collinear;
use super::columns::Piece;
use super::errors::{with_failures, with_model_error, with_omissions, with_patches};
use super::failing;
use super::found::{Alternative, Coefficient, Column, Decomposition, Inconclusive, Options, Term};
use super::kind::CauseKind;
use super::name::{Model, moved_until};
use super::polish::{closer, collapse, keep_largest, merge, refine_play, unpatch};
use super::samples::Samples;
use super::select::{backward, design, effective, exchanges, fitted, forward, lags, lost_meanwhile};
use super::series::{LEAST_ROWS, Series, clock, instant};
use super::solve::{Fit, newey_west};
use super::together::together;

/// A difference of the criterion below which two models are hardly to be told apart: "positive" evidence ends and "strong" begins at 6 (Kass and
/// Raftery, Bayes factors, JASA 90, 1995).
const HARDLY_WORSE: f64 = 6.0;
/// What swings less than this part of d at the trip is fitted, not named.
const MATERIAL: f64 = 0.01;
/// What may as well be 0 is named only with a larger share than this part of d.
const UNCERTAIN: f64 = 0.1;
/// Where a channel has failed, samples after the trip count until the two are so many times as far apart as at the trip.
const FAR: f64 = 4.0;
/// Rounds in which each piece may be exchanged for another, and how much better the criterion must be with it.
const ROUNDS: usize = 2;
/// For what begins at an instant in place of what is always there it must be far better.
const WORTH_IT: f64 = 2.0;
const SUDDEN: f64 = 100.0;

/// A cause that was chosen, what would do nearly as well, and by how much the criterion is worse with it.
type Other = (CauseKind, Piece, f64);

/// What was fitted.
struct Fitted {
    pieces: Vec<Piece>,
    values: Vec<Vec<f64>>,
    fit: Fit,
    covariance: Vec<Vec<f64>>,
    lags: usize,
}

pub(super) fn decompose(samples: &Samples, options: &Options) -> Decomposition {
    let mut found = nothing(samples, options);
    found.inconclusive = without_estimates(samples);
    let is_hopeless = |why: &Inconclusive| {
        matches!(
            why,
            Inconclusive::TooFewSamples { .. } | Inconclusive::NoReadings { .. } | Inconclusive::NoMotion
        )
    };
    if found.inconclusive.iter().any(is_hopeless) {
        return found;
    }
    let mut series = Series::new(samples, None);
    let mut first = None;
    let trusted = failing::failing(&series).or_else(|| {
        first = select(&series, options, None);
        first.as_ref().and_then(|(selected, _)| model(&series, options, selected).trust())
    });
    let is_proven = trusted.is_none_or(|trusted| failing::moved_before(&series, trusted));
    let is_none = |trusted| failing::is_jump(&series, trusted) || failing::is_steady(&series, trusted);
    if let Some(trusted) = trusted.filter(|trusted| !is_proven && is_none(*trusted)) {
        let is_jump = failing::is_jump(&series, trusted);
        series.is_steady = true;
        first = select(&series, options, None);
        if let Some((selected, alternatives)) = first {
            report(&series, options, &selected, alternatives, &mut found);
        }
        if !is_jump {
            doubt(&mut found, CauseKind::Frozen);
        }
        return found;
    }
    let Some(trusted) = trusted else {
        if let Some((selected, alternatives)) = first {
            report(&series, options, &selected, alternatives, &mut found);
        }
        return found;
    };
    let samples = &cut(samples);
    let series = Series::new(samples, Some(trusted));
    let failed = Piece::failure(trusted.side, trusted.from, &series.t);
    if let Some((selected, alternatives)) = select(&series, options, Some(failed)) {
        found.trusted = Some(trusted);
        report(&series, options, &selected, alternatives, &mut found);
    }
    if !is_proven {
        doubt(&mut found, CauseKind::Slip);
    }
    found
}

/// Nothing in the samples tells the first cause from another one: no motion that both had made before.
fn doubt(found: &mut Decomposition, instead: CauseKind) {
    let Some(chosen) = found.main().map(|main| main.cause.kind()) else { return };
    found.alternatives.retain(|other| other.chosen != chosen || other.instead != instead);
    let tell_apart = tell_apart(chosen, instead).to_owned();
    found.alternatives.push(Alternative { chosen, instead, worse_by: 0.0, tell_apart });
}

/// Where a channel has failed: without what comes after the trip as soon as the two are several times as far apart: it would outweigh all that led to it.
fn cut(samples: &Samples) -> Samples {
    let far = FAR * samples.points[samples.trip].d().abs();
    let end = samples.points.iter().skip(samples.trip).position(|point| point.d().abs() > far);
    let mut samples = samples.clone();
    if let Some(end) = end {
        samples.points.truncate(samples.trip + end);
    }
    samples
}

fn model<'a>(series: &'a Series<'a>, options: &'a Options, selected: &'a Fitted) -> Model<'a> {
    Model {
        series,
        options,
        pieces: &selected.pieces,
        values: &selected.values,
        fit: &selected.fit,
        covariance: &selected.covariance,
    }
}

fn nothing(samples: &Samples, options: &Options) -> Decomposition {
    let apart = samples.points.get(samples.trip).map_or(0.0, super::Point::d);
    Decomposition {
        unit: samples.unit.symbol(),
        reference_ns: clock(options, samples.reference_ns),
        trip_ns: instant(samples, options, samples.trip),
        apart,
        terms: Vec::new(),
        rest: apart,
        noise: 0.0,
        samples: samples.points.len() as u64,
        effective_samples: 0.0,
        coefficients: Vec::new(),
        lags: 0,
        trusted: None,
        collinear: Vec::new(),
        alternatives: Vec::new(),
        inconclusive: Vec::new(),
    }
}

/// What cannot be concluded, told from the motion alone.
fn without_estimates(samples: &Samples) -> Vec<Inconclusive> {
    let mut found = Vec::new();
    let points = &samples.points;
    if points.is_empty() {
        let missing = Side::BOTH.into_iter().filter(|side| samples.unusable.frames[side.index()] > 0);
        found.extend(missing.map(|side| Inconclusive::NoReadings { side }));
    }
    if points.len() < LEAST_ROWS {
        found.push(Inconclusive::TooFewSamples { samples: points.len() as u64 });
        return found;
    }
    if samples.unusable.restarts > 0 {
        found.push(Inconclusive::NewReferences { times: samples.unusable.restarts });
    }
    let coarsest = samples.count[0].max(samples.count[1]);
    let range = |of: &dyn Fn(&super::Point) -> f64| {
        let (low, high) = points.iter().map(of).fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(x), h.max(x)));
        high - low
    };
    let travel = Side::BOTH.map(|side| range(&|point| point.x[side.index()]));
    if travel[0].max(travel[1]) < 10.0 * coarsest {
        found.push(Inconclusive::NoMotion);
        return found;
    }
    let faster = if travel[0] > travel[1] { Side::A } else { Side::B }.index();
    let fastest = points.iter().map(|point| point.v[faster].abs()).fold(0.0, f64::max);
    if range(&|point| point.v[faster]) < 0.05 * fastest {
        found.push(Inconclusive::ConstantSpeed);
    }
    let speeds = points.iter().map(|point| point.v[faster]);
    let (slowest, highest) = speeds.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    if slowest > -0.02 * fastest || highest < 0.02 * fastest {
        found.push(Inconclusive::OneDirection);
    }
    found
}

/// Selects the pieces and fits them.
fn select(series: &Series<'_>, options: &Options, known: Option<Piece>) -> Option<(Fitted, Vec<Other>)> {
    // What is large comes first, whatever it is; what it was mixed with is sought again, beginning with what is there all the time.
    let mut pieces: Vec<Piece> = known.into_iter().collect();
    let pinned = pieces.len();
    if pieces.is_empty() {
        pieces = forward(series, options, pieces, None);
        backward(series, &mut pieces, pinned);
        merge(series, options, &mut pieces, pinned);
        keep_largest(series, &mut pieces);
    }
    for most in [3, 6] {
        pieces = forward(series, options, pieces, Some(most));
        closer(series, options, &mut pieces, pinned);
        backward(series, &mut pieces, pinned);
    }
    pieces = forward(series, options, pieces, None);
    closer(series, options, &mut pieces, pinned);
    let mut samples = backward(series, &mut pieces, pinned);
    merge(series, options, &mut pieces, pinned);
    for _ in 0..ROUNDS {
        refine_play(series, &mut pieces);
        let mut is_changed = false;
        for place in pinned..pieces.len() {
            let found = exchanges(series, options, &pieces, place, samples);
            let is_static = !Piece::is_onset(pieces[place].column());
            let best = found
                .into_iter()
                .filter(|other| {
                    let is_sudden = is_static && Piece::is_onset(other.instead.column());
                    other.worse_by < if is_sudden { -SUDDEN } else { -WORTH_IT }
                })
                .min_by(|a, b| a.worse_by.total_cmp(&b.worse_by));
            if let Some(best) = best {
                pieces[place] = best.instead;
                is_changed = true;
            }
        }
        if !is_changed {
            break;
        }
        samples = backward(series, &mut pieces, pinned);
    }
    collapse(series, options, &mut pieces, pinned, samples);
    merge(series, options, &mut pieces, pinned);
    unpatch(series, options, &mut pieces, pinned, samples);
    together(series, options, &mut pieces, pinned, samples);
    samples = backward(series, &mut pieces, pinned);
    refine_play(series, &mut pieces);
    let (values, fit) = fitted(series, &mut pieces)?;
    let columns: Vec<&[f64]> = values.iter().map(Vec::as_slice).collect();
    let lags = lags(&fit.residuals);
    let mut covariance = with_model_error(series, newey_west(&columns, &fit, lags), &fit);
    with_patches(series, &pieces, (&values, &fit), &mut covariance);
    with_omissions(series, &pieces, (&values, &fit), &mut covariance);
    with_failures(series, &pieces, (&values, &fit), &mut covariance);
    let selected = Fitted { pieces, values, fit, covariance, lags };
    let model = model(series, options, &selected);
    // Beside a failure, which tears the two apart until the trip, all else is small.
    let apart = series.samples.points[series.trip].d();
    let beside = series.apart_beside((pinned > 0).then(|| model.term(0).share.value));
    let before = series.before_failure();
    let mut alternatives = Vec::new();
    for (place, piece) in selected.pieces.iter().enumerate() {
        let term = model.term(place);
        if term.share.value.abs() <= 0.1 * if place < pinned { apart.abs() } else { beside } {
            continue;
        }
        // What else there was, the samples before the failure tell.
        let before = before.as_ref().filter(|before| place >= pinned && piece.begins(before) < before.trip);
        let (series, pieces, place) = match before {
            Some(before) => (before, &selected.pieces[pinned..], place - pinned),
            None => (series, selected.pieces.as_slice(), place),
        };
        let others = exchanges(series, options, pieces, place, samples);
        // A part of the travel from its beginning on is a scale.
        let is_scale = |column: Column| match column {
            Column::TravelSince { from, .. } => {
                matches!(piece.column(), Column::Travel) && !moved_until(series, from)
            }
            _ => false,
        };
        let close = others
            .into_iter()
            .filter(|other| other.worse_by < HARDLY_WORSE && !is_scale(other.instead.column()));
        let kind = term.cause.kind();
        alternatives.extend(close.map(|other| (kind, other.instead, other.worse_by)));
        let lost = lost_meanwhile(series, pieces, place, samples);
        let is_close = |worse_by: &f64| kind == CauseKind::Slip && *worse_by < HARDLY_WORSE;
        if let Some((piece, worse_by)) = lost.filter(|(_, worse_by)| is_close(worse_by)) {
            alternatives.push((kind, piece, worse_by));
        }
    }
    Some((selected, alternatives))
}

/// Fills in what was found.
fn report(
    series: &Series<'_>,
    options: &Options,
    selected: &Fitted,
    alternatives: Vec<Other>,
    found: &mut Decomposition,
) {
    let model = model(series, options, selected);
    let (columns, _) = design(series, &selected.pieces);
    let rows = selected.fit.residuals.len();
    let values: Vec<&[f64]> = selected.values.iter().map(Vec::as_slice).collect();
    let plain = newey_west(&values, &selected.fit, selected.lags);
    found.samples = rows as u64;
    found.effective_samples = effective(&selected.fit.residuals);
    found.noise = (selected.fit.rss / rows.max(1) as f64).sqrt();
    found.lags = selected.lags;
    found.coefficients = columns
        .iter()
        .enumerate()
        .map(|(k, column)| Coefficient {
            column: *column,
            value: selected.fit.coefficients[k],
            standard_error: plain[k][k].max(0.0).sqrt(),
        })
        .collect();
    let least = (2.0 * series.coarsest()).max(MATERIAL * found.apart.abs());
    let mut terms: Vec<Term> = (0..selected.pieces.len()).map(|piece| model.term(piece)).collect();
    let mut kinds = vec![CauseKind::Reference];
    for (term, piece) in terms.iter().zip(&selected.pieces) {
        kinds.extend(piece.columns.iter().map(|_| term.cause.kind()));
    }
    found.collinear = collinear::named(&selected.values, &kinds);
    found.alternatives = name_alternatives(alternatives);
    let mut begins = selected.pieces.iter().map(|piece| piece.begins(series));
    terms.retain(|_| begins.next().is_some_and(|row| row <= series.trip));
    terms.push(known_ages(series));
    let reference = -selected.fit.residuals[0];
    terms.push(Term { cause: Cause::Reference, share: Estimate::known(reference), swing: reference.abs() });
    terms.retain(|term| term.swing >= least);
    terms.retain(|term| term.cause.is_certain() || term.share.value.abs() > UNCERTAIN * found.apart.abs());
    terms.sort_by(|a, b| {
        let firm = [a, b].map(|term| found.is_firm(term));
        firm[1].cmp(&firm[0]).then(b.share.value.abs().total_cmp(&a.share.value.abs()))
    });
    found.rest = found.apart - terms.iter().map(|term| term.share.value).sum::<f64>();
    found.terms = terms;
}

fn known_ages(series: &Series<'_>) -> Term {
    let trip = &series.samples.points[series.trip];
    let difference = trip.age[1] - trip.age[0];
    let (low, high) = series
        .known
        .iter()
        .fold((f64::MAX, f64::MIN), |(low, high), &known| (low.min(known), high.max(known)));
    let share = Estimate::known(series.known[series.trip] - series.known[0]);
    Term { cause: Cause::KnownAges { difference }, share, swing: high - low }
}

/// Alternatives of another kind, the best of each.
fn name_alternatives(others: Vec<Other>) -> Vec<Alternative> {
    let mut found: Vec<Alternative> = Vec::new();
    for (chosen, piece, worse_by) in others {
        // From one reading to the next, and with as few numbers, a rise is a jump.
        let is_jump = matches!(piece.column(), Column::Rise { .. }) && piece.is_sudden;
        let instead = if is_jump { CauseKind::Jump } else { kind_of(piece.column()) };
        let is_known = found.iter().any(|one| one.chosen == chosen && one.instead == instead);
        let is_same = instead == chosen
            || matches!(
                (instead, chosen),
                (CauseKind::Slip, CauseKind::Jump)
                    | (CauseKind::Jump, CauseKind::Slip)
                    | (CauseKind::LostCounts, CauseKind::Frozen | CauseKind::Reversed)
            );
        if !is_same && !is_known {
            let tell_apart = tell_apart(chosen, instead).to_owned();
            found.push(Alternative { chosen, instead, worse_by, tell_apart });
        }
    }
    found
}

fn kind_of(column: Column) -> CauseKind {
    match column {
        Column::One => CauseKind::Reference,
        Column::Travel => CauseKind::Scale,
        Column::Speed | Column::SpeedSince { .. } => CauseKind::TimeSkew,
        Column::Acceleration => CauseKind::Compliance,
        Column::Time => CauseKind::Drift,
        Column::Play { .. } => CauseKind::Backlash,
        Column::Sine { .. } | Column::Cosine { .. } => CauseKind::Eccentricity,
        Column::Rise { .. } => CauseKind::Slip,
        Column::Box { .. } => CauseKind::Spike,
        Column::TravelSince { .. } => CauseKind::LostCounts,
    }
}
