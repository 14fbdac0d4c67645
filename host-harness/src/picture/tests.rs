//! Round numbers for axes, exactly where they are times.

use super::ticks::{times, values};

fn labels(ticks: &[(f64, String)]) -> Vec<&str> {
    ticks.iter().map(|(_, label)| label.as_str()).collect()
}

#[test]
fn values_of_an_axis_are_one_two_or_five_times_a_power_of_ten_apart() {
    assert_eq!(labels(&values((-12.0, 265.0), 6)), ["0", "50", "100", "150", "200", "250"]);
    assert_eq!(labels(&values((-0.021, 0.019), 4)), ["-0.02", "-0.01", "0.00", "0.01"]);
    assert_eq!(labels(&values((1.0, 1.0), 4)), [""; 0]);
    for (low, high) in [(0.0, 7.3e-9), (-3.0e7, 4.4e8), (0.999_999, 1.000_001), (-17.0, -16.2)] {
        for most in 2..9 {
            let ticks = values((low, high), most);
            assert!(!ticks.is_empty() && ticks.len() <= most + 1, "{low} {high} {most}: {ticks:?}");
            assert!(ticks.iter().all(|(value, _)| low <= *value && *value <= high), "{ticks:?}");
        }
    }
}

#[test]
fn times_of_an_axis_are_exact_on_a_clock_that_counts_from_an_epoch() {
    let from = 1_700_000_000_123_456_789;
    let found = times(from, from + 30_000_000, 5);
    assert_eq!(found.base_s, Some(1_700_000_000));
    let at: Vec<_> =
        found.ticks.iter().map(|(at, label)| (*at - 1_700_000_000_000_000_000, label.as_str())).collect();
    assert_eq!(at, [(130_000_000, "+0.13"), (140_000_000, "+0.14"), (150_000_000, "+0.15")]);
    let short = times(-1_500_000_000, 700_000_000, 5);
    let labels: Vec<_> = short.ticks.iter().map(|(_, label)| label.as_str()).collect();
    assert_eq!((short.base_s, labels), (None, vec!["-1.5", "-1.0", "-0.5", "0.0", "0.5"]));
    assert_eq!(times(7, 9, 5).ticks.len(), 3, "a nanosecond is the finest");
}
