//! Motion at constant accelerations, in exact numbers.
//!
//! Distances in the unit of the axis, times in seconds. The formulas are those of any textbook of mechanics
//! (`v = v0 + a t`, `s = v0 t + a t² / 2`, `s = v² / (2 d)`).

use super::amount::Amount;
use crate::decimal::Exact;

/// A runaway and what ends it, as exact numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Runaway {
    /// The speed when the torque goes.
    pub speed_at_torque_off: Exact,
    /// The fastest of all: when the brake takes hold.
    pub peak: Exact,
    /// The way until the torque goes.
    pub until_torque_off: Exact,
    /// The way from then until the brake takes hold.
    pub until_brake: Exact,
    /// The way under the brake.
    pub braking: Exact,
    /// The time from the beginning until it stands.
    pub time: Exact,
}

/// What a runaway goes through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Course {
    /// The speed at the beginning.
    pub from: Exact,
    /// The acceleration until the torque goes.
    pub acceleration: Exact,
    /// The time until then.
    pub reaction: Exact,
    /// The fastest that the drive and the mechanics can do; nothing speeds up beyond it.
    pub fastest: Option<Exact>,
    /// The acceleration without torque and without the brake.
    pub fall: Exact,
    /// The time from the torque that goes to the brake that holds.
    pub brake_delay: Exact,
    /// The deceleration by the brake, above zero.
    pub brake: Exact,
}

/// Follows a runaway to its end; `None` where a number is too large or the brake does not slow it down. The speed is rounded up to
/// 2⁻²⁴ of the unit before it is squared.
#[must_use]
pub fn runaway(course: &Course) -> Option<Runaway> {
    let exact = |value| Amount(Some(value));
    let (reaction, brake_delay) = (exact(course.reaction), exact(course.brake_delay));
    let fastest = course.fastest.map(exact);
    let (torque_off, until_torque_off) =
        speeds_up(exact(course.from), exact(course.acceleration), reaction, fastest);
    let (peak, until_brake) = speeds_up(torque_off, exact(course.fall), brake_delay, None);
    let brake = exact(course.brake);
    brake.0.filter(|brake| *brake > Exact::from_integer(0))?;
    Some(Runaway {
        speed_at_torque_off: torque_off.0?,
        peak: peak.0?,
        until_torque_off: until_torque_off.0?,
        until_brake: until_brake.0?,
        braking: (peak.up().squared() / (brake + brake)).0?,
        time: (reaction + brake_delay + peak / brake).0?,
    })
}

/// The speed and the way after a time at a constant acceleration, which ends at the fastest there is.
pub(super) fn speeds_up(
    from: Amount,
    acceleration: Amount,
    time: Amount,
    fastest: Option<Amount>,
) -> (Amount, Amount) {
    let free = from + acceleration * time;
    let way = |from: Amount, time: Amount| from * time + (acceleration * time.squared()).half();
    match fastest {
        Some(fastest) if fastest.0 < free.0 && fastest.0.is_some() && acceleration.0 > Amount::ZERO.0 => {
            let fastest = fastest.max(from);
            let rises = ((fastest - from) / acceleration).min(time);
            // The time is rounded by nothing, and the rest of it goes at the fastest.
            (fastest, way(from, rises) + fastest * (time - rises))
        }
        _ => (free, way(from, time)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(above: i128, below: i128) -> Exact {
        Exact::new(above, below)
    }

    fn coasts(from: Exact, reaction: Exact, brake: Exact) -> Runaway {
        let zero = exact(0, 1);
        let course = Course {
            from,
            acceleration: zero,
            reaction,
            fastest: None,
            fall: zero,
            brake_delay: zero,
            brake,
        };
        runaway(&course).expect("in range")
    }

    fn way(runaway: &Runaway) -> Exact {
        runaway.until_torque_off + runaway.until_brake + runaway.braking
    }

    fn close(value: Exact, expected: Exact, tolerance: Exact) -> bool {
        let apart = value - expected;
        apart <= tolerance && -apart <= tolerance
    }

    /// `OpenStax`, College Physics, 2.5, example 2.14: 30.0 m/s on dry and on wet concrete, 64.3 m and 90.0 m. The times are 30/7 s and
    /// 6 s. In mm.
    #[test]
    fn a_car_stops_within_the_distances_of_the_textbook() {
        let from = exact(30_000, 1);
        let dry = coasts(from, exact(0, 1), exact(7_000, 1));
        let wet = coasts(from, exact(0, 1), exact(5_000, 1));
        assert!(close(way(&dry), exact(64_300, 1), exact(50, 1)));
        assert_eq!(way(&dry), exact(30_000 * 30_000, 14_000));
        assert_eq!(way(&wet), exact(90_000, 1));
        assert_eq!([dry.time, wet.time], [exact(30, 7), exact(6, 1)]);
    }

    /// The same with 0.500 s until the driver brakes: 79.3 m and 105 m. The method is the book's, the totals are from memory.
    #[test]
    fn a_driver_who_takes_half_a_second_needs_the_way_of_the_textbook() {
        let from = exact(30_000, 1);
        let [dry, wet] = [7_000, 5_000].map(|brake| way(&coasts(from, exact(1, 2), exact(brake, 1))));
        assert!(close(dry, exact(79_300, 1), exact(50, 1)));
        assert_eq!(wet, exact(105_000, 1));
    }

    /// Giancoli, Physics, 7th edition, chapter 2: 95 km/h, 0.40 s, 3.0 and 6.0 m/s². The results are the book's (126.6 m and 68.6 m to its
    /// rounding), the two decelerations from memory.
    #[test]
    fn another_textbook_comes_to_the_same() {
        let from = exact(95_000_000, 3600);
        for (brake, expected) in [(3_000, 126_618), (6_000, 68_587)] {
            let way = way(&coasts(from, exact(2, 5), exact(brake, 1)));
            assert!(close(way, exact(expected, 1), exact(20, 1)), "{way}");
        }
    }

    /// Plain arithmetic on the formulas of constant acceleration: 0.25 m/s, 2 m/s² for 0.1 s, then a brake of 4 m/s²: 0.45 m/s, 35 mm and
    /// 25.3125 mm, and 0.2125 s.
    #[test]
    fn a_runaway_of_a_tenth_of_a_second_costs_what_the_formulas_say() {
        let zero = exact(0, 1);
        let course = Course {
            from: exact(250, 1),
            acceleration: exact(2000, 1),
            reaction: exact(1, 10),
            fastest: None,
            fall: zero,
            brake_delay: zero,
            brake: exact(4000, 1),
        };
        let found = runaway(&course).expect("in range");
        assert_eq!(found.peak, exact(450, 1));
        assert_eq!(found.until_torque_off, exact(35, 1));
        assert_eq!(found.braking, exact(253_125, 10_000));
        assert_eq!(way(&found), exact(603_125, 10_000));
        assert_eq!(found.time, exact(1, 10) + exact(45, 400));
    }

    /// By hand: from 100 mm/s at 1000 mm/s², and nothing beyond 200 mm/s: 0.1 s and 15 mm until then, 0.1 s and 20 mm at it.
    #[test]
    fn nothing_speeds_up_beyond_the_fastest_there_is() {
        let amount = |value| Amount::whole(value);
        let (speed, way) = speeds_up(amount(100), amount(1000), Amount(Some(exact(1, 5))), Some(amount(200)));
        assert_eq!((speed, way), (amount(200), amount(35)));
    }

    /// A load that hangs: 10 mm/s, 1000 mm/s² for 20 ms until the brake holds, which makes 30 mm/s and 0.4 mm.
    #[test]
    fn a_load_falls_until_the_brake_holds() {
        let course = Course {
            from: exact(10, 1),
            acceleration: exact(0, 1),
            reaction: exact(0, 1),
            fastest: None,
            fall: exact(1000, 1),
            brake_delay: exact(1, 50),
            brake: exact(450, 1),
        };
        let found = runaway(&course).expect("in range");
        assert_eq!((found.peak, found.until_brake, found.braking), (exact(30, 1), exact(2, 5), exact(1, 1)));
        assert_eq!(found.speed_at_torque_off, exact(10, 1));
    }

    #[test]
    fn without_a_brake_there_is_no_end() {
        let zero = exact(0, 1);
        let course = Course {
            from: exact(1, 1),
            acceleration: zero,
            reaction: zero,
            fastest: None,
            fall: zero,
            brake_delay: zero,
            brake: zero,
        };
        assert_eq!(runaway(&course), None);
    }
}
