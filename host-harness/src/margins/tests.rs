use monitor_core::{Channel, Span};

use super::*;
use crate::replay::TripRule;
use crate::setup::Setup;

const SHUTTLE: &str = include_str!("../../../traces-demo/shuttle.toml");

/// The shuttle without a word about its machine.
fn shuttle() -> Setup {
    let (bare, _) = SHUTTLE.split_once("[machine]").expect("what the machine is like");
    parsed(bare)
}

fn parsed(text: &str) -> Setup {
    Setup::parse(text, "axis.toml").unwrap_or_else(|error| panic!("{error}"))
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
    assert_eq!(terms, expected);
    assert_eq!((path.total(), fastest.total()), (ms(12), Some(ms(12))));
}

#[test]
fn a_monitor_that_there_is_not_has_no_path() {
    let reaction = reaction(&shuttle(), ms(1), TripRule::Monitor(15, Channel::A));
    assert_eq!((reaction.total(), reaction.paths.len()), (None, 0));
}

/// An axis of one limit, with counts of 1 um and a window of 1 ms, that is never faster than `operating` mm/s.
fn slow(operating: &str) -> Setup {
    let channel = |letter| {
        format!(
            "[channel.{letter}]\ncolumn = \"{letter}\"\ncounter_bits = 32\nunit_per_count = \"1 um\"\nmax_speed = \"1 m/s\"\n\
             timeout = \"4 ms\"\n"
        )
    };
    let exact =
        "{ jitter = \"0 ms\", noise = \"0 mm\", eccentricity = { amplitude = \"0 mm\", period = \"1 mm\" } }";
    parsed(&format!(
        "title = \"slow\"\nunit = \"mm\"\ncycle = \"1 ms\"\n[time]\ncolumn = \"t\"\nunit = \"s\"\n{}{}[speed]\nwindow = \"1 ms\"\n\
         [machine]\noperating_speed = \"{operating} mm/s\"\n[sensors]\nscale_error = \"0 ppm\"\na = {exact}\nb = {exact}\n\
         [[monitor]]\nname = \"slow\"\nkind = \"speed-limit\"\nlimit = \"250 mm/s\"\n",
        channel("a"),
        channel("b")
    ))
}

/// One count over 1 ms is 1 mm/s, 0.4 % of the limit: plain arithmetic.
#[test]
fn a_limit_needs_room_for_one_count_over_the_window() {
    let found = |operating| {
        let margins = Margins::of(&slow(operating), None);
        margins.needs.iter().find(|need| need.subject.key == "limit").map(|need| need.finding)
    };
    assert_eq!(found("249"), Some(Finding::Fine), "exactly one count");
    assert_eq!(found("249.001"), Some(Finding::TripsForNothing));
}

/// By hand: from 250 mm/s and a count of 1 mm/s, with 10 m/s² over the reaction, and then a brake of 1 m/s².
#[test]
fn the_speed_when_the_torque_is_gone_is_the_limit_and_the_acceleration_over_the_reaction() {
    let mut setup = slow("200");
    let hard = [("\"6 m/s^2\"", "\"10 m/s^2\""), ("\"5 m/s^2\"", "\"1 m/s^2\""), ("\"30 ms\"", "\"0 ms\"")];
    let other = hard.iter().fold(SHUTTLE.to_owned(), |text, (from, to)| text.replace(from, to));
    let machine = parsed(&other).machine;
    setup.machine = crate::setup::MachineSetup { output_delay: None, operating_speeds: vec![], ..machine };
    let said = reaction(&setup, ms(1), TripRule::Monitor(0, Channel::A));
    // Readings are up to 2 ms apart: half of a window of 3 ms, 1 ms of age, two frames.
    assert_eq!(said.total(), Some(Span::from_nanos(4_500_000)));
    let [travel] = travels(&setup, ms(1), &said).try_into().expect("one way");
    let units = |bits: i64| bits as f64 / f64::from(1 << 24);
    assert_eq!(travel.from.map(|speed| units(speed.to_bits())), Some(251.0));
    assert_eq!(travel.speed_at_torque_off.map(|speed| units(speed.to_bits())), Some(296.0));
    // 273.5 mm/s for 4.5 ms, and 296² / 2000.
    let total = travel.total.map(|way| units(way.to_bits())).expect("a way");
    assert!((total - (1.230_75 + 43.808)).abs() < 1e-6, "{total}");
}

/// The emergency stop of the demo, step by step of 10 us: up to 6 ms until it begins, 50 ms at the top, then down its line with 2 m/s², and from
/// anywhere on it away with 6 m/s² for the reaction, at most as fast as the axis ever is; 30 ms to the brake, and 5 m/s². No such way is
/// longer than what is said, and the longest is nearly that.
#[test]
fn the_way_of_a_stop_is_the_longest_of_all_ways_to_leave_its_line() {
    let setup = parsed(SHUTTLE);
    let said = reaction(&setup, ms(1), TripRule::Monitor(2, Channel::B));
    let all = travels(&setup, ms(1), &said);
    let travel = all.iter().find(|travel| travel.broken == Broken::Stop).expect("a way");
    let units = |bits: i64| bits as f64 / f64::from(1 << 24);
    let fastest = travel.from.map(|speed| units(speed.to_bits())).expect("a speed");
    let reacts = said.path(Broken::Speed).expect("a path").total().as_nanos() as f64 / 1e9;
    const STEP: f64 = 1e-5;
    let after = |mut speed: f64| {
        let (mut way, mut passed) = (0.0, 0.0);
        while passed < reacts {
            speed = (speed + 6000.0 * STEP).min(fastest.max(speed));
            way += speed * STEP;
            passed += STEP;
        }
        way + 0.030 * speed + speed * speed / 10_000.0
    };
    let (mut speed, mut way, mut longest) = (fastest + 50.0, 0.006 * fastest, 0.0_f64);
    way += 0.050 * speed;
    while speed > 20.0 {
        longest = longest.max(way + after(speed));
        speed -= 2000.0 * STEP;
        way += speed * STEP;
    }
    let total = travel.total.map(|way| units(way.to_bits())).expect("a way");
    assert!(longest <= total + 0.1 && total <= longest + 0.5, "{longest} mm by steps, said are {total} mm");
}
