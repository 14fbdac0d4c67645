//! What a monitor allows of the speed of a channel: a lowest and a highest, with their signs.
//!
//! The core tells the limit in force as one magnitude, the larger one where two directions differ; which ends a monitor holds the speed
//! against stands in the setup.

use monitor_core::{Bound, Side, Speed};

use crate::setup::{LimitSetup, MonitorKind, MonitorSetup};

/// The lowest speed that is allowed, and the highest.
pub(crate) type SpeedSpan = (Speed, Speed);

/// How a monitor comes to the two ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum AllowedSpeed {
    /// The limit in force holds in both directions.
    Magnitude,
    /// Each direction has a limit of its own, perhaps at the end of a ramp.
    Directions { positive: Speed, negative: Speed },
    /// From one speed to another.
    Range { low: Speed, high: Speed },
}

impl AllowedSpeed {
    pub(crate) fn of(monitor: &MonitorSetup) -> Self {
        match &monitor.kind {
            MonitorKind::SpeedLimit { limit: LimitSetup::Each { positive, negative }, .. } => {
                Self::Directions { positive: positive.value, negative: negative.value }
            }
            MonitorKind::SpeedRange(range) => Self::Range { low: range.low.value, high: range.high.value },
            _ => Self::Magnitude,
        }
    }

    /// The two ends at a frame at which this was compared; `None`: it puts no limit on the speed.
    ///
    /// On a ramp the core tells the line only where it is above both limits, or for the direction in which the axis moves. Where it is
    /// between the two and the axis moves in the other direction, the smaller limit stands here: nothing is compared with it then.
    pub(crate) fn span(self, in_force: Option<Speed>, compared: Option<Bound<Speed>>) -> Option<SpeedSpan> {
        let in_force = in_force?;
        match self {
            Self::Magnitude => Some((reversed(in_force), in_force)),
            Self::Range { low, high } => Some((low, high)),
            Self::Directions { positive, negative } if in_force > positive.max(negative) => {
                Some((reversed(in_force), in_force))
            }
            Self::Directions { positive, negative } => {
                let (low, high) = (reversed(negative), positive);
                Some(match compared {
                    Some(bound) if bound.side == Side::Below => (bound.limit, high),
                    Some(bound) => (low, bound.limit),
                    None => (low, high),
                })
            }
        }
    }
}

/// Of all that hold at the same time the tightest: the greatest lowest, and the smallest highest.
pub(crate) fn tightest(spans: impl Iterator<Item = SpeedSpan>) -> Option<SpeedSpan> {
    spans.reduce(|all, one| (all.0.max(one.0), all.1.min(one.1)))
}

/// The same in the other direction.
const fn reversed(limit: Speed) -> Speed {
    // Bounded because a limit is not the smallest there is.
    Speed::from_bits(limit.to_bits().wrapping_neg())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn speed(of: i32) -> Speed {
        Speed::from_int(of.into()).unwrap()
    }

    #[test]
    fn a_direction_with_a_smaller_limit_is_held_against_that_and_the_line_of_a_ramp_while_it_is_above() {
        let of = AllowedSpeed::Directions { positive: speed(400), negative: speed(250) };
        let span = |bound, in_force| of.span(Some(speed(in_force)), bound);
        let at_rest = Some(Bound::at_most(speed(0), speed(400)));
        assert_eq!(span(at_rest, 400), Some((speed(-250), speed(400))));
        let backwards = Some(Bound::at_least(speed(-300), speed(-250)));
        assert_eq!(span(backwards, 400), Some((speed(-250), speed(400))));
        // The line of a ramp, between the two limits and above both.
        let between = Some(Bound::at_least(speed(-300), speed(-330)));
        assert_eq!(span(between, 400), Some((speed(-330), speed(400))));
        let above = Some(Bound::at_least(speed(-300), speed(-700)));
        assert_eq!(span(above, 700), Some((speed(-700), speed(700))));
        assert_eq!(span(None, 400), Some((speed(-250), speed(400))));
        assert_eq!(of.span(None, None), None);
    }

    #[test]
    fn a_range_has_its_own_ends_and_of_several_monitors_the_tightest_ends_count() {
        let range = AllowedSpeed::Range { low: speed(100), high: speed(500) };
        let of_range = range.span(Some(speed(500)), None).unwrap();
        assert_eq!(of_range, (speed(100), speed(500)));
        let limit = AllowedSpeed::Magnitude.span(Some(speed(300)), None).unwrap();
        assert_eq!(tightest([of_range, limit].into_iter()), Some((speed(100), speed(300))));
        assert_eq!(tightest(std::iter::empty()), None);
    }
}
