//! What it is that only one of the two channels broke a rule by.

use monitor_core::Channel;

use super::Judge;
use crate::causes::{Cause, Term};
use crate::explain::rerun::index;
use crate::explain::track::Quantity;
use crate::explain::verdict::is_failure;

/// A cause that makes a smaller part than this of what the channels differ by does not explain it.
const EXPLAINS: f64 = 0.3;
/// References that differ are further apart than this many times what the positions have come apart since.
const FAR_APART: f64 = 10.0;

impl Judge<'_> {
    /// The cause that makes the channels differ by so much in what the rule compares: what is large in the positions may be nothing in the
    /// speeds.
    pub(super) fn cause_alone(&self, channel: Channel, quantity: Quantity, difference: f64) -> Option<Cause> {
        let apart = self.apart?;
        let main = apart.main()?;
        if is_failure(main.cause.kind()) || difference.is_infinite() {
            return Some(main.cause.clone());
        }
        let witness = &self.witnesses[index(channel)];
        let (speed, acceleration) = (witness.speed_at_crossing.or(witness.speed), witness.acceleration);
        let effect = |term: &Term| match quantity {
            Quantity::Position => term.share.value.abs(),
            Quantity::Speed => in_speed(&term.cause, speed.unwrap_or(0.0), acceleration.unwrap_or(0.0)),
            Quantity::Acceleration | Quantity::Value => 0.0,
        };
        let most = apart.terms.iter().max_by(|one, other| effect(one).total_cmp(&effect(other)))?;
        (effect(most) >= EXPLAINS * difference.abs()).then(|| most.cause.clone())
    }

    /// By how much the references of the channels differ, where a rule compares places and these do by far more than what has come between the
    /// channels since they were referenced.
    pub(super) fn references_differ(&self, monitor: usize, difference: f64) -> Option<f64> {
        let needs = self.setup.monitors[monitor].kind.needs_reference();
        let apart = self.apart.map(|apart| apart.apart.abs())?;
        let is_so = needs && difference.is_finite() && difference.abs() > FAR_APART * apart;
        is_so.then_some(difference.abs())
    }
}

/// How much of a difference of the speeds a cause of a difference of the positions is.
fn in_speed(cause: &Cause, speed: f64, acceleration: f64) -> f64 {
    let effect = match cause {
        Cause::Scale { ppm } => ppm.value * 1e-6 * speed,
        Cause::TimeSkew { by, .. } => by.value * acceleration,
        Cause::KnownAges { difference } => difference * acceleration,
        // The speed of a sine over the travel.
        Cause::Eccentricity { amplitude, period, .. } => {
            std::f64::consts::TAU * amplitude.value / period * speed
        }
        Cause::Drift { rate } => rate.value,
        _ => 0.0,
    };
    effect.abs()
}
