//! Where a limit on a speed lies between two counts.

/// A travel and the time it takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pace {
    pub(super) counts: i128,
    pub(super) elapsed: u64,
}

/// Paces around a limit that are less than one ULP per second from it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Close {
    /// At the limit after rounding up, exactly if there is such a pace.
    pub(super) at: Option<Pace>,
    /// Above it by one ULP per second at most.
    pub(super) above: Option<Pace>,
}

/// How many travels are looked at.
const TRIES: i128 = 400_000;

/// Looks for paces close to `limit` (ULP per second) among all travels that take `from` to `to` ns; a count is `nano` 10⁻⁹ ULP.
pub(super) fn close(limit: i128, nano: i128, from: u64, to: u64) -> Close {
    let mut found = Close::default();
    if limit <= 0 {
        return found;
    }
    let first = limit * i128::from(from) / nano + 1;
    let last = (limit * i128::from(to) / nano).min(first + TRIES);
    let mut exact = false;
    for counts in first..=last {
        let elapsed = counts * nano / limit;
        let rest = counts * nano - limit * elapsed;
        let pace = |elapsed: i128| Some(Pace { counts, elapsed: elapsed as u64 });
        let within = |elapsed: i128| (i128::from(from)..=i128::from(to)).contains(&elapsed);
        if rest == 0 && within(elapsed) && !exact {
            found.at = pace(elapsed);
            exact = true;
        }
        if rest > 0 && rest <= elapsed && within(elapsed) && found.above.is_none() {
            found.above = pace(elapsed);
        }
        if rest > 0 && limit - rest < elapsed + 1 && within(elapsed + 1) && found.at.is_none() {
            found.at = pace(elapsed + 1);
        }
        if exact && found.above.is_some() {
            break;
        }
    }
    found
}

/// Travels over two windows, one after the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Change {
    pub(super) first: Pace,
    pub(super) second: Pace,
}

/// Changes of the speed around a limit on the acceleration that are less than one ULP per second squared from it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Changes {
    /// Exactly at the limit, after rounding.
    pub(super) at: Option<Change>,
    /// Beyond it by one ULP per second squared.
    pub(super) beyond: Option<Change>,
}

/// Looks for changes from rest whose acceleration, rounded up, comes out at `limit` (ULP per second squared) or just above; either
/// window takes `from` to `to` ns.
pub(super) fn close_rise(limit: i128, nano: i128, from: u64, to: u64) -> Changes {
    let mut found = Changes::default();
    if limit <= 0 {
        return found;
    }
    let (from, to) = (i128::from(from), i128::from(to));
    for extra in 0..TRIES.min(to - from) {
        let elapsed = from + extra;
        // Another speed each time: those that one speed and its elapsed times lead to may all be the same.
        let aim = (from + to) / 2 - extra * 31 % ((to - from) / 4).max(1);
        let counts = limit * aim / 1_000_000_000 * elapsed / nano;
        let speed = (counts * nano + elapsed - 1) / elapsed;
        // The time between the middles of the windows by which the speed must have come.
        let rise = speed * 1_000_000_000;
        for (span, beyond) in [((rise + limit - 1) / limit, 0), (rise / limit, 1)] {
            let rest = 2 * span - elapsed;
            let is_hit = (from..=to).contains(&rest)
                && rise > (limit + beyond - 1) * span
                && rise <= (limit + beyond) * span;
            let place = if beyond == 0 { &mut found.at } else { &mut found.beyond };
            if is_hit && place.is_none() {
                let first = Pace { counts: 0, elapsed: rest as u64 };
                *place = Some(Change { first, second: Pace { counts, elapsed: elapsed as u64 } });
            }
        }
        if found.at.is_some() && found.beyond.is_some() {
            break;
        }
    }
    found
}

/// Looks for changes from about `speed` whose deceleration, rounded down, comes out at `limit` or just below.
pub(super) fn close_fall(limit: i128, speed: i128, nano: i128, from: u64, to: u64) -> Changes {
    let mut found = Changes::default();
    let (from, spread) = (i128::from(from), i128::from(to - from).max(1));
    for step in 0..TRIES {
        // Two strides that meet every pair sooner or later.
        let (before, after) = (from + step * 7919 % spread, from + step * 104_729 % spread);
        let span = (before + after) / 2;
        let first = speed * before / nano;
        let fast = first * nano / before;
        let second = (fast - limit * span / 1_000_000_000) * after / nano;
        if second < 0 {
            continue;
        }
        let fall = (fast - (second * nano + after - 1) / after) * 1_000_000_000;
        let place = match fall.div_euclid(span) - limit {
            0 => &mut found.at,
            -1 => &mut found.beyond,
            _ => continue,
        };
        let pace = |counts: i128, elapsed: i128| Pace { counts, elapsed: elapsed as u64 };
        place.get_or_insert(Change { first: pace(first, before), second: pace(second, after) });
        if found.at.is_some() && found.beyond.is_some() {
            break;
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_that_counts_hit_is_hit_exactly() {
        // 250 mm/s, 0.0005 mm per count: 4000 counts in 8 ms.
        let found = close(4_194_304_000, 8_388_608_000_000, 8_000_000, 11_000_000);
        let at = found.at.unwrap();
        assert_eq!(at.counts * 8_388_608_000_000, 4_194_304_000 * i128::from(at.elapsed));
        // Every other pace is farther from it than is rounded.
        assert_eq!(found.above, None);
    }

    #[test]
    fn a_pace_at_the_limit_is_within_it_and_one_above_is_not_by_one_ulp() {
        // 250 mm/s, and counts that do not hit it.
        let (limit, nano) = (4_194_304_000, 16_738_012_345_679);
        let found = close(limit, nano, 8_000_000, 40_000_000);
        let (at, above) = (found.at.unwrap(), found.above.unwrap());
        let speed = |pace: Pace, limit: i128| pace.counts * nano - limit * i128::from(pace.elapsed);
        assert!(speed(at, limit) <= 0 && speed(at, limit - 1) > 0);
        assert!(speed(above, limit) > 0 && speed(above, limit + 1) <= 0);
    }

    #[test]
    fn a_change_at_the_limit_is_within_it_and_one_beyond_is_not_by_one_ulp() {
        // 3 m/s² and 1.5 m/s², counts of one ULP; windows of 8 to 10.6 ms.
        let (rise, fall, nano) = (50_331_648_000_i128, 25_165_824_000_i128, 1_000_000_000_i128);
        let up = |pace: Pace| (pace.counts * nano + i128::from(pace.elapsed) - 1) / i128::from(pace.elapsed);
        let down = |pace: Pace| pace.counts * nano / i128::from(pace.elapsed);
        let span = |change: Change| i128::from(change.first.elapsed + change.second.elapsed) / 2;
        let found = close_rise(rise, nano, 8_000_000, 10_600_000);
        for (change, beyond) in [(found.at.unwrap(), 0), (found.beyond.unwrap(), 1)] {
            let gained = (up(change.second) - down(change.first)) * 1_000_000_000;
            assert_eq!((gained + span(change) - 1).div_euclid(span(change)), rise + beyond);
        }
        let found = close_fall(fall, 5_000_000_000, nano, 8_000_000, 10_600_000);
        for (change, beyond) in [(found.at.unwrap(), 0), (found.beyond.unwrap(), 1)] {
            let lost = (down(change.first) - up(change.second)) * 1_000_000_000;
            assert_eq!(lost.div_euclid(span(change)), fall - beyond);
        }
    }
}
