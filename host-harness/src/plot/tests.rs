//! Whatever is thinned keeps its extremes, and what is passed over quickly is drawn as what is looked at closely.

use monitor_core::Frame;

use super::buckets::Buckets;
use super::collect::Collector;
use super::{
    Against, Around, Closeups, Compared, Decided, Extent, Lane, Plot, Series, State, Stretch, replay_plotted,
};
use crate::explain::Asked;
use crate::replay::tests::{frames, setup_with};
use crate::replay::{Chunks, Nobody, Outcome, Run, axis, replay, replay_observed};
use crate::setup::Setup;

fn collected(setup: &Setup, frames: &[Frame], most: usize) -> Stretch {
    let buckets = Buckets::of(Series::of(setup).len(), most);
    let mut collector = Collector::of(setup, buckets);
    let mut run = Run::new(setup, axis(setup).unwrap());
    run.batch(frames, &[], &mut collector);
    Stretch::new(setup, collector)
}

fn plotted(setup: &Setup, frames: &[Frame]) -> Plot {
    let mut source = frames;
    replay_plotted(setup, &mut source, &mut |_| {}).unwrap().1
}

fn is_near(one: Extent, other: Extent) -> bool {
    let near = |one: f64, other: f64| (one - other).abs() < 2e-5;
    (!one.is_any() && !other.is_any()) || (near(one.low, other.low) && near(one.high, other.high))
}

fn setups() -> [Setup; 3] {
    let apart = "[speed_discrepancy]\ntolerance = \"30 mm/s\"\ndiscrepancy_time = \"5 ms\"";
    [
        setup_with("", "", "\"2 mm\""),
        setup_with("", "skew_allowance = \"1 ms\"", "\"50 mm\""),
        setup_with(apart, "align = true", "\"2 mm\""),
    ]
}

#[test]
fn a_thinned_trace_has_the_extremes_and_the_lanes_of_all_its_frames() {
    for (place, setup) in setups().iter().enumerate() {
        for seed in 1..12 {
            let frames = frames(setup, seed);
            let all = collected(setup, &frames, usize::MAX);
            let thin = collected(setup, &frames, 64);
            assert_eq!(all.per(), 1);
            assert!(thin.per() >= 32 && thin.buckets().len() <= 64, "{}", thin.per());
            let mut numbers = 0;
            for series in Series::of(setup) {
                let each: Vec<_> = all.extents(series).collect();
                for (bucket, extent) in thin.buckets().iter().zip(thin.extents(series)) {
                    let of = |at: u64| bucket.first <= at && at <= bucket.last;
                    let inside = all.buckets().iter().zip(&each).filter(|(one, _)| of(one.first));
                    let joined = inside.fold(Extent::NONE, |joined, (_, one)| Extent {
                        low: joined.low.min(one.low),
                        high: joined.high.max(one.high),
                    });
                    assert!(
                        is_near(joined, extent),
                        "setup {place}, seed {seed}, {}: {joined:?} {extent:?}",
                        series.name()
                    );
                    numbers += usize::from(extent.is_any());
                }
            }
            assert!(numbers > 100, "{numbers}");
            for lane in Lane::of(setup) {
                for bucket in thin.buckets() {
                    let inside = all
                        .buckets()
                        .iter()
                        .filter(|one| bucket.first <= one.first && one.first <= bucket.last);
                    let states: Vec<_> = inside.map(|one| lane.state(one)).collect();
                    let is_on = states.contains(&State::On);
                    let is_off = states.contains(&State::Off);
                    let whole = match (is_on, is_off) {
                        (true, true) => State::Both,
                        (true, false) => State::On,
                        (false, _) => State::Off,
                    };
                    assert_eq!(lane.state(bucket), whole, "{}", lane.name);
                }
            }
        }
    }
}

#[test]
fn every_frame_of_a_close_up_is_drawn_as_it_was_seen() {
    let (mut compared, mut decided) = (0, 0);
    for setup in &setups() {
        for seed in 1..8 {
            let frames = frames(setup, seed);
            let all = collected(setup, &frames, usize::MAX);
            let mut plot = plotted(setup, &frames);
            assert!(plot.closeups.is_empty(), "the overview has every frame");
            assert_eq!(plot.overview, all);
            let mut source = frames.as_slice();
            let (outcome, closeups) = closeups(setup, &mut source);
            for closeup in &closeups {
                for series in Series::of(setup) {
                    let of_all: Vec<_> = all.extents(series).collect();
                    for (bucket, extent) in closeup.buckets().iter().zip(closeup.extents(series)) {
                        let place = all.buckets().binary_search_by_key(&bucket.first, |one| one.first);
                        let expected = of_all[place.unwrap()];
                        assert!(is_near(extent, expected), "{} {extent:?} {expected:?}", series.name());
                        compared += 1;
                    }
                }
            }
            for (trip, of) in outcome.trips.kept.iter().zip(plot.decided.drain(..)) {
                let at = trip.tripped_at.as_nanos();
                assert!(of.frames.iter().any(|frame| frame.at == at), "the frame of the trip is there");
                decided += 1;
            }
        }
    }
    assert!(compared > 10_000 && decided > 20, "{compared} {decided}");
}

/// The close-ups that a longer trace would have.
fn closeups(setup: &Setup, source: &mut &[Frame]) -> (Outcome, Vec<Stretch>) {
    let mut around = Around { chunks: Chunks::new(2), closeups: Closeups::new(Asked::First) };
    let outcome = replay_observed(setup, source, &mut |_| {}, &mut around, &mut Nobody).unwrap();
    let closeups = around.closeups.finish(setup, &outcome).0;
    (outcome, closeups)
}

#[test]
fn drawing_a_replay_changes_nothing_in_its_outcome() {
    for setup in &setups() {
        for seed in 1..8 {
            let frames = frames(setup, seed);
            let (mut plain, mut drawn) = (frames.as_slice(), frames.as_slice());
            let expected = replay(setup, &mut plain, &mut |_| {}).unwrap();
            assert_eq!(replay_plotted(setup, &mut drawn, &mut |_| {}).unwrap().0, expected);
        }
    }
}

#[test]
fn the_finest_view_of_a_trace_has_each_frame_once_and_in_order() {
    let mut fine = 0;
    for setup in &setups() {
        for seed in 1..8 {
            let frames = frames(setup, seed);
            let mut plot = plotted(setup, &frames);
            plot.overview = collected(setup, &frames, 64);
            plot.closeups = closeups(setup, &mut frames.as_slice()).1;
            let of_all =
                |stretch: &Stretch| (0..stretch.buckets().len()).map(|k| stretch.frames(k)).sum::<u64>();
            let mut last = None;
            let mut found = 0;
            for (stretch, places) in plot.finest() {
                fine += if stretch.per() == 1 { places.len() } else { 0 };
                for place in places {
                    let bucket = stretch.buckets()[place];
                    assert!(last < Some(bucket.first), "seed {seed}: {last:?} {bucket:?}");
                    last = Some(bucket.last);
                    found += stretch.frames(place);
                }
            }
            assert_eq!(found, of_all(&plot.overview), "seed {seed}");
            assert_eq!(found, of_all(&collected(setup, &frames, usize::MAX)));
        }
    }
    assert!(fine > 1000, "{fine}");
}

#[test]
fn a_limit_that_was_not_the_nearer_one_is_drawn_as_it_was_before() {
    let against = |limit, below| Some(Against { observed: 2.0, limit, below });
    let frames =
        [None, against(5.0, false), against(1.0, true), None, against(6.0, false), against(1.5, true)];
    let frames = frames.into_iter().zip(0..).map(|(of, at)| Compared { at, of: [of, None] }).collect();
    let decided = Decided { trip: 0, below: false, frames };
    let (high, low) = (decided.limits(0, false), decided.limits(0, true));
    assert_eq!(high, [None, Some(5.0), Some(5.0), None, Some(6.0), Some(6.0)]);
    assert_eq!(low, [None, None, Some(1.0), None, Some(1.0), Some(1.5)]);
    assert_eq!(decided.limits(1, false), [None; 6], "nothing is compared there");
}
