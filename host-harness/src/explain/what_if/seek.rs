//! Looks for the smallest change of a setting.

use crate::explain::knob::Way;

/// Whether a value does.
pub(super) type Does<'a> = dyn Fn(i64) -> bool + 'a;

/// As [`smallest`]; where a setup file refuses that value, the next looser one that it accepts.
pub(super) fn smallest_accepted(
    looser: Way,
    (now, loosest): (i64, i64),
    guess: i64,
    passes: &Does<'_>,
    accepted: &Does<'_>,
) -> Option<i64> {
    let found = smallest(looser, (now, loosest), guess, passes)?;
    if accepted(found) {
        return Some(found);
    }
    smallest(looser, (found, loosest), 1, &|steps| accepted(steps) && passes(steps))
}

/// The smallest change that passes, to the step: it is looked for from the guess on in growing strides, then between the last value that
/// did not pass and the first one that did. A looser setting lets pass what a stricter one does.
pub(super) fn smallest(
    looser: Way,
    (now, loosest): (i64, i64),
    guess: i64,
    passes: &Does<'_>,
) -> Option<i64> {
    let at = |change: i64| match looser {
        Way::Up => now.saturating_add(change).min(loosest),
        Way::Down => now.saturating_sub(change).max(loosest),
    };
    let most = match looser {
        Way::Up => loosest.saturating_sub(now),
        Way::Down => now.saturating_sub(loosest),
    };
    if most <= 0 {
        return None;
    }
    // No change trips: that is known.
    let (mut fails, mut works) = (0, guess.clamp(1, most));
    if passes(at(works)) {
        let mut stride = 1;
        while works > fails + 1 {
            let tried = works.saturating_sub(stride).max(fails + 1);
            if !passes(at(tried)) {
                fails = tried;
                break;
            }
            works = tried;
            stride *= 2;
        }
    } else {
        let mut stride = works.max(1);
        loop {
            fails = works;
            if works >= most {
                return None;
            }
            works = works.saturating_add(stride).min(most);
            if passes(at(works)) {
                break;
            }
            stride = stride.saturating_mul(2);
        }
    }
    while works - fails > 1 {
        let middle = i64::midpoint(fails, works);
        if passes(at(middle)) {
            works = middle;
        } else {
            fails = middle;
        }
    }
    Some(at(works))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_change_is_found_to_the_step_whatever_the_guess() {
        for guess in [0, 1, 2, 40, 99, 100, 101, 500, 5000] {
            for wanted in [1, 2, 3, 57, 100, 999] {
                let up = smallest(Way::Up, (50, 1_000_000), guess, &|steps| steps >= 50 + wanted);
                assert_eq!(up, Some(50 + wanted), "guess {guess}");
                let down = smallest(Way::Down, (1000, 0), guess, &|steps| steps <= 1000 - wanted);
                assert_eq!(down, Some(1000 - wanted), "guess {guess}");
            }
        }
    }

    #[test]
    fn where_no_value_prevents_it_none_is_named() {
        assert_eq!(smallest(Way::Up, (50, 60), 3, &|_| false), None);
        assert_eq!(smallest(Way::Up, (50, 60), 3, &|steps| steps >= 60), Some(60));
        assert_eq!(smallest(Way::Up, (50, 50), 3, &|_| true), None, "there is no looser one");
    }

    #[test]
    fn a_value_that_a_file_refuses_is_passed_over_to_the_next_looser_one_that_it_has() {
        // Refused from 40 to 60.
        let accepted = |steps: i64| !(40..=60).contains(&steps);
        for guess in [1, 30, 50, 61, 70, 200] {
            let up = |wanted: i64| {
                smallest_accepted(Way::Up, (0, 1000), guess, &|steps| steps >= wanted, &accepted)
            };
            assert_eq!(
                [up(30), up(39), up(40), up(55), up(61), up(62)].map(Option::unwrap),
                [30, 39, 61, 61, 61, 62]
            );
            let down = |wanted: i64| {
                smallest_accepted(Way::Down, (100, -1000), guess, &|steps| steps <= wanted, &accepted)
            };
            // One that is looser than what a file refuses is not named where a stricter one does.
            assert_eq!([down(70), down(61), down(60), down(39)].map(Option::unwrap), [70, 61, 39, 39]);
        }
    }
}
