//! The distance that a person's approach needs: `S = K T + C` of ISO 13855:2010.
//!
//! Lengths in mm, times in s. `T` is the time from the person that is detected to the hazard that has ended: that of the protective device and
//! that of the machine. The clauses are those of the edition of 2010; that of 2024 is arranged anew, with other symbols, and is not what
//! is worked out here. Of the formulas below, those for separate beams, for parallel approach, mats, guards and two-hand control, and the floor of 500 mm,
//! are from memory: hold them against the standard before relying on them.

use crate::decimal::Exact;

/// How a person comes to the hazard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Approach {
    /// At a right angle to a field of this resolution, in mm, at most 70: 6.2.3.
    Normal {
        /// The smallest thing that is always detected.
        resolution: Exact,
    },
    /// At a right angle to separate beams: 6.2.4.
    Beams,
    /// Along a field: 6.3.
    Parallel {
        /// How high it lies, in mm, at most 1000.
        height: Exact,
        /// The smallest thing that is always detected.
        resolution: Exact,
    },
    /// Over a mat on the floor: 7.
    Mat,
    /// Through a guard that is interlocked and not locked: 9.
    Guard {
        /// How far one reaches through the gap before the interlock opens.
        reach: Exact,
    },
    /// From a control for two hands: 8.
    TwoHand {
        /// A cover keeps the hands from reaching in.
        covered: bool,
    },
}

/// A distance and what it consists of, in mm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Distance {
    /// The speed of approach, in mm/s.
    pub k: Exact,
    /// `K T`.
    pub kt: Exact,
    /// `C`: how far one reaches before one is detected.
    pub c: Exact,
    /// `S`: their sum, and no less than the smallest distance there is.
    pub s: Exact,
    /// The smallest distance, where it is what counts.
    pub floor: Option<Exact>,
}

/// Why there is no distance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoDistance {
    /// A field at a right angle has a resolution of 70 mm at the most.
    TooCoarse,
    /// A field along which one comes lies 1000 mm high at the most.
    TooHigh,
    /// Such a field must lie at least as high as this, in mm: `15 (d - 50)`. One could crawl below it unseen.
    TooLow(Exact),
}

fn mm(value: i128) -> Exact {
    Exact::from_integer(value)
}

/// `S = K T + C`.
#[must_use]
pub fn general(k: Exact, time: Exact, c: Exact) -> Distance {
    let kt = k * time;
    Distance { k, kt, c, s: kt + c, floor: None }
}

fn at_least(distance: Distance, floor: i128) -> Distance {
    let floor = mm(floor);
    if distance.s < floor { Distance { s: floor, floor: Some(floor), ..distance } } else { distance }
}

/// The distance for a time in s, not negative and at most some hours.
///
/// - Normal, up to 40 mm: `K` = 2000 mm/s, `C = 8 (d - 14)`, not below zero; where that is more than 500 mm, `K` = 1600 mm/s, but not below 500
///   mm. At least 100 mm. Up to 70 mm, and separate beams: 1600 mm/s and 850 mm.
/// - Parallel: 1600 mm/s and `1200 - 0.4 H`, at least 850 mm. A mat has `H = 0`.
/// - A guard: 1600 mm/s and what one reaches through its gap.
/// - Two hands: 1600 mm/s and 250 mm, or 0 behind a cover; at least 100 mm.
///
/// # Errors
/// [`NoDistance`] where the standard has no such arrangement.
pub fn distance(approach: Approach, time: Exact) -> Result<Distance, NoDistance> {
    let (slow, fast) = (mm(1600), mm(2000));
    Ok(match approach {
        Approach::Normal { resolution } if resolution > mm(70) => return Err(NoDistance::TooCoarse),
        Approach::Normal { resolution } if resolution > mm(40) => general(slow, time, mm(850)),
        Approach::Normal { resolution } => {
            let c = (mm(8) * (resolution - mm(14))).max(mm(0));
            let near = general(fast, time, c);
            if near.s > mm(500) { at_least(general(slow, time, c), 500) } else { at_least(near, 100) }
        }
        Approach::Beams => general(slow, time, mm(850)),
        Approach::Parallel { height, .. } if height > mm(1000) => return Err(NoDistance::TooHigh),
        Approach::Parallel { height, resolution } => {
            let lowest = mm(15) * (resolution - mm(50));
            if height < lowest {
                return Err(NoDistance::TooLow(lowest));
            }
            general(slow, time, (mm(1200) - Exact::new(2, 5) * height).max(mm(850)))
        }
        Approach::Guard { reach } => general(slow, time, reach),
        Approach::Mat => general(slow, time, mm(1200)),
        Approach::TwoHand { covered } => {
            at_least(general(slow, time, if covered { mm(0) } else { mm(250) }), 100)
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(millis: i128) -> Exact {
        Exact::new(millis, 1000)
    }

    fn normal(time: i128, resolution: i128) -> Exact {
        distance(Approach::Normal { resolution: mm(resolution) }, ms(time)).expect("a distance").s
    }

    /// ISO 13855:2010, 6.2.3.1, plain arithmetic on its formulas: `K` and `C` from a published copy, the floor of 500 mm from memory.
    #[test]
    fn a_field_at_a_right_angle_needs_what_the_standard_says() {
        assert_eq!(normal(120, 30), mm(368));
        assert_eq!(normal(250, 30), mm(528));
        assert_eq!(normal(200, 30), mm(500), "448 mm at 1.6 m/s, and not below 500 mm");
        assert_eq!(normal(40, 14), mm(100), "80 mm, and not below 100 mm");
        assert_eq!(normal(250, 14), mm(500), "exactly 500 mm is not more than that");
    }

    /// Both edges, at the least time there is.
    #[test]
    fn the_edges_at_100_and_500_mm_are_on_the_right_side() {
        let at = |nanos: i128, resolution: i128| {
            let time = Exact::new(nanos, 1_000_000_000);
            distance(Approach::Normal { resolution: mm(resolution) }, time).expect("a distance")
        };
        assert_eq!((at(50_000_000, 14).s, at(50_000_000, 14).floor), (mm(100), None));
        assert_eq!(at(49_999_999, 14).floor, Some(mm(100)));
        assert!(at(50_000_001, 14).s > mm(100));
        let beyond = at(250_000_001, 14);
        assert_eq!((beyond.k, beyond.s, beyond.floor), (mm(1600), mm(500), Some(mm(500))));
        assert_eq!(at(312_500_000, 14).floor, None, "500 mm at 1.6 m/s");
        assert!(at(312_500_001, 14).s > mm(500));
    }

    /// Below 14 mm nothing reaches further; from memory.
    #[test]
    fn a_field_finer_than_14_mm_has_no_supplement_and_one_above_40_mm_the_whole() {
        let c = |resolution| {
            distance(Approach::Normal { resolution: mm(resolution) }, ms(100)).map(|found| found.c)
        };
        assert_eq!([c(10), c(14), c(40)], [Ok(mm(0)), Ok(mm(0)), Ok(mm(208))]);
        assert_eq!([c(41), c(70), c(71)], [Ok(mm(850)), Ok(mm(850)), Err(NoDistance::TooCoarse)]);
    }

    /// 6.2.3.2, 6.2.4, 6.3, 7, 8 and 9, from memory.
    #[test]
    fn the_other_ways_need_what_is_remembered_of_the_standard() {
        let s = |approach, time| distance(approach, ms(time)).expect("a distance").s;
        assert_eq!(normal(200, 50), mm(1170));
        assert_eq!(s(Approach::Beams, 200), mm(1170));
        assert_eq!(s(Approach::TwoHand { covered: false }, 150), mm(490));
        assert_eq!(s(Approach::TwoHand { covered: true }, 50), mm(100));
        assert_eq!(s(Approach::Mat, 200), mm(1520));
        assert_eq!(s(Approach::Guard { reach: mm(120) }, 500), mm(920));
        let along = |height, resolution| {
            distance(Approach::Parallel { height: mm(height), resolution: mm(resolution) }, ms(200))
        };
        assert_eq!(along(300, 50).map(|found| found.s), Ok(mm(320 + 1080)));
        assert_eq!(along(900, 50).map(|found| found.c), Ok(mm(850)), "840 mm, and not below 850 mm");
        assert_eq!(along(299, 70).map(|found| found.s), Err(NoDistance::TooLow(mm(300))));
        assert_eq!(along(1001, 50).map(|found| found.s), Err(NoDistance::TooHigh));
    }

    /// 29 CFR 1910.217(c)(3)(iii)(e): `Ds = 63 in/s Ts`; the chart of OSHA for it prints the nearest half inch (3 1/2, 4, 9 and 20 in, and 9
    /// 1/2, 10, 20 1/2 and 24 in).
    #[test]
    fn the_same_sum_gives_the_chart_of_the_american_rule_for_presses() {
        let inch = Exact::new(254, 10);
        for (time, halves) in
            [(55, 7), (63, 8), (142, 18), (317, 40), (150, 19), (158, 20), (325, 41), (380, 48)]
        {
            let found = general(mm(63) * inch, ms(time), mm(0)).s;
            assert_eq!((found / inch * mm(2)).round(), mm(halves), "{time} ms: {found} mm");
        }
    }
}
