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
}
