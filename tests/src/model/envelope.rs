//! The falling line of a ramp.

use super::exact::{Q, nanos_down, q, root_between, root_nanos_down, seconds, ulp_down, ulp_up, ulps};
use super::monitor::Lane;
use super::setup::Ramp;
use super::source::Tracker;
use super::verdict::Limit;
use num_bigint::BigInt;
use num_traits::{Signed, Zero};

/// The falling line before its target is applied, `elapsed_ns` after the demand; `None` without a known speed.
///
/// Its error: less than 1 ULP for `v0` (or the error of the limit in force before, if that caps it), and less
/// than 1 ULP for the fall; more with a jerk, see [`Rounded::line`]. The held line follows the documented rounding.
pub(super) fn envelope(
    lane: &mut Lane,
    tracker: &Tracker,
    ramp: &Ramp,
    target: &Q,
    elapsed_ns: u64,
) -> Option<Limit> {
    if lane.v0.is_none() {
        let v0 = Limit::rounded_down(&tracker.speed()?.abs());
        lane.v0 = Some(match lane.cap.clone() {
            Some(cap) => v0.min(cap),
            None => v0,
        });
    }
    Some(line(lane.v0.as_ref()?, ramp, target, elapsed_ns))
}

/// The same for a `v0` that is known.
pub(super) fn line(v0: &Limit, ramp: &Ramp, target: &Q, elapsed_ns: u64) -> Limit {
    let start = v0.raised(&ramp.margin);
    let falling = match elapsed_ns.checked_sub(ramp.delay_ns) {
        Some(falling) if falling > 0 => falling,
        _ => return start,
    };
    match &ramp.jerk {
        None => start.fallen(&(&ramp.deceleration * seconds(falling))),
        Some(jerk) => Rounded { jerk, deceleration: &ramp.deceleration, target }.line(&start, falling),
    }
}

/// What a fall with rounded corners is made of.
struct Rounded<'a> {
    jerk: &'a Q,
    deceleration: &'a Q,
    target: &'a Q,
}

/// A place on the line.
struct Place {
    level: Q,
    /// No less than how steeply the line falls there, or fell 2 ns before, or will 2 ns later.
    slope: Q,
}

impl Rounded<'_> {
    /// The line at `falling_ns` after its fall began, which is more than 0.
    ///
    /// It rises with its start. So it is nowhere lower than the exact line from the lowest start, less 4 ULP for the
    /// rounding of what is subtracted or added, less what it falls in 2 ns: in that time lie the ends of its corners,
    /// which are rounded to the nanosecond.
    fn line(&self, start: &Limit, falling_ns: u64) -> Limit {
        let [_, highest] = self.exact(&start.exact, falling_ns);
        let [lowest, _] = self.exact(&start.strictest, falling_ns);
        Limit {
            exact: highest.level,
            held: self.held(&start.held, falling_ns),
            strictest: lowest.level - ulps(4) - lowest.slope * seconds(2),
        }
    }

    /// Whether the deceleration is reached in a fall by `drop`.
    fn is_reached(&self, drop: &Q) -> bool {
        drop * self.jerk >= self.deceleration * self.deceleration
    }

    /// The line without any rounding, from below and from above: a square root in it is only known so.
    fn exact(&self, start: &Q, falling_ns: u64) -> [Place; 2] {
        let drop = start - self.target;
        let at = seconds(falling_ns);
        let both =
            |level: Q, slope: Q| [(); 2].map(|()| Place { level: level.clone(), slope: slope.clone() });
        if !drop.is_positive() {
            return both(start.clone(), Q::zero());
        }
        let soon = &at + seconds(2);
        let first = || {
            let fallen = self.jerk * &at * &at * q(1, 2);
            both(start - fallen, self.deceleration.min(&(self.jerk * soon)).clone())
        };
        let last = |time: &Q| {
            let left = time - &at;
            let before = &left + seconds(2);
            Place {
                level: self.target + self.jerk * &left * &left * q(1, 2),
                slope: self.deceleration.min(&(self.jerk * before)).clone(),
            }
        };
        let over = both(self.target.clone(), Q::zero());
        if self.is_reached(&drop) {
            let rise = self.deceleration / self.jerk;
            let time = drop / self.deceleration + &rise;
            if at <= rise {
                first()
            } else if &time - &at >= rise {
                both(start - self.deceleration * (at - rise * q(1, 2)), self.deceleration.clone())
            } else if at < time {
                [last(&time), last(&time)]
            } else {
                over
            }
        } else {
            let squared = drop / self.jerk;
            if &at * &at <= squared {
                first()
            } else if &at * &at < &squared * q(4, 1) {
                root_between(&squared).map(|rise| last(&(rise * q(2, 1))))
            } else {
                over
            }
        }
    }

    /// The line with the documented rounding.
    fn held(&self, start: &Q, falling_ns: u64) -> Q {
        let drop = start - self.target;
        if !drop.is_positive() {
            return start.clone();
        }
        let at = BigInt::from(falling_ns);
        let (rise, time) = if self.is_reached(&drop) {
            let rise = nanos_down(&(self.deceleration / self.jerk));
            let steady = nanos_down(&(drop / self.deceleration));
            let time = steady + &rise;
            (rise, time)
        } else {
            let rise = root_nanos_down(&(drop / self.jerk));
            let time = &rise * 2;
            (rise, time)
        };
        let in_seconds = |nanos: &BigInt| Q::new(nanos.clone(), 1_000_000_000.into());
        if at <= rise {
            let at = in_seconds(&at);
            start - ulp_up(&(ulp_up(&(self.jerk * &at)) * &at * q(1, 2)))
        } else if &time - &at >= rise {
            start - ulp_up(&(self.deceleration * (in_seconds(&at) - in_seconds(&rise) * q(1, 2))))
        } else if at < time {
            let left = in_seconds(&(time - at));
            self.target + ulp_down(&(ulp_down(&(self.jerk * &left)) * &left * q(1, 2)))
        } else {
            self.target.clone()
        }
    }
}
