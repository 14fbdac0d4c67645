//! What motion tells two causes apart.

use super::kind::CauseKind::{self, *};

/// What to record so that the two can be told apart.
pub(super) fn tell_apart(one: CauseKind, other: CauseKind) -> &'static str {
    let is = |pair: [CauseKind; 2]| pair == [one, other] || pair == [other, one];
    let has = |kind: CauseKind| one == kind || other == kind;
    if has(TimeSkew) && (has(Jump) || has(Slip) || has(Reference) || has(Spike) || has(Backlash)) {
        "a skew vanishes at rest and grows with the speed, an offset stays: record a stop, or two speeds"
    } else if is([TimeSkew, Compliance]) {
        "a skew goes with the speed, compliance with the acceleration: record a stretch of constant speed"
    } else if is([TimeSkew, Scale]) || is([TimeSkew, LostCounts]) {
        "a skew goes with the speed, a scale error with the travel: record a stop after a long travel"
    } else if is([Scale, Drift]) || is([LostCounts, Drift]) {
        "a scale error goes with the travel and turns round with it, a drift goes on at rest: record a rest and the way back"
    } else if has(Frozen) {
        "a channel that stands still is frozen only if the axis moves: record a move that both have to follow, started by hand and at low speed"
    } else if has(Backlash) {
        "play shows at every reversal and nowhere else: record a move there and back"
    } else if has(Eccentricity) {
        "an eccentricity comes back with every turn: record several turns at low speed"
    } else if has(Drift) || has(Slip) {
        "a drift goes on at rest, slip needs force: record a rest, then a hard start"
    } else if has(Scale) || has(LostCounts) {
        "a scale error turns round with the travel: record the way back"
    } else {
        "record a move there and back, at two speeds, with rests"
    }
}
