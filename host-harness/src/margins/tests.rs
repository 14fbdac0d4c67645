use monitor_core::{Channel, Span};

use super::*;
use crate::replay::TripRule;
use crate::setup::Setup;

const SHUTTLE: &str = include_str!("../../../traces-demo/shuttle.toml");

fn shuttle() -> Setup {
    Setup::parse(SHUTTLE, "shuttle.toml").unwrap_or_else(|error| panic!("{error}"))
}

fn ms(millis: u64) -> Span {
    Span::from_nanos(millis * 1_000_000)
}

/// Readings come at least once a cycle of 1 ms, so one is up to 1 ms old and two are up to 2 ms apart: an effective window of 10 ms.
/// 5 ms for half of it, 1 ms of age, 1 ms until a frame, 4 ms of on-delay, 1 ms until a frame.
#[test]
fn a_speed_limit_takes_half_a_window_the_age_of_a_reading_two_frames_and_its_on_delay() {
    let setup = shuttle();
    let fastest = reaction(&setup, ms(1), TripRule::Monitor(0, Channel::A));
    let path = fastest.path(Broken::Speed).expect("a path");
    let terms: Vec<_> = path.terms.iter().map(|term| (term.part, term.time)).collect();
    let expected = [
        (Part::HalfWindow, ms(5)),
        (Part::Age, ms(1)),
        (Part::FrameSees, ms(1)),
        (Part::OnDelay, ms(4)),
        (Part::FrameDelay, ms(1)),
    ];
    assert_eq!(terms[..5], expected);
    assert_eq!(path.total(), terms.iter().fold(Span::ZERO, |sum, (_, time)| timing::plus(sum, *time)));
}

#[test]
fn a_monitor_that_there_is_not_has_no_path() {
    let reaction = reaction(&shuttle(), ms(1), TripRule::Monitor(15, Channel::A));
    assert_eq!((reaction.total(), reaction.paths.len()), (None, 0));
}
