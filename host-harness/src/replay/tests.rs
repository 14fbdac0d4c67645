//! Passing over calm monitors comes to the same report as looking at every check.

use monitor_core::{Channel, Frame, Instant, Levels, Reading, Sample};

use super::recorder::Recorder;
use super::{
    FaultKind, Headroom, KEPT, MonitorFacts, Nobody, Outcome, StopEnd, Trip, TripRule, axis, replay,
};
use crate::setup::Setup;

const SETUP: &str = r#"
title = "All kinds, invented"
unit  = "mm"
[time]
column = "t"
unit   = "s"
[channel.a]
column         = "a"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "b"
counter_bits   = 24
unit_per_count = "-0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "2 mm"
discrepancy_time = "5 ms"
[reset]
column = "reset"
[[monitor]]
name     = "always"
kind     = "speed-limit"
limit    = "900 mm/s"
on_delay = "2 ms"
[[monitor]]
name     = "slow"
kind     = "speed-limit"
demand   = ["door"]
limit    = "250 mm/s"
ramp     = { delay = "10 ms", deceleration = "4 m/s^2", margin = "50 mm/s" }
on_delay = "4 ms"
[[monitor]]
name            = "hold"
kind            = "standstill"
demand          = ["hold"]
position_window = "1.5 mm"
speed_window    = "300 mm/s"
[[monitor]]
name             = "stop"
kind             = "stop"
demand           = ["stop"]
until            = "standstill"
by               = "ramp"
ramp             = { delay = "10 ms", deceleration = "4 m/s^2", margin = "50 mm/s" }
standstill_speed = "20 mm/s"
position_window  = "3 mm"
speed_window     = "400 mm/s"
[[monitor]]
name   = "off"
kind   = "torque-off"
demand = ["off"]
"#;

/// A wandering motion with demands that come and go, and now and then something that is wrong.
pub(crate) fn frames(setup: &Setup, seed: u64) -> Vec<Frame> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let mut random = move |below: u64| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) % below
    };
    let lines: Vec<u32> = ["door", "hold", "stop", "off", "reset"]
        .map(|name| 1 << setup.levels.iter().position(|level| level == name).unwrap())
        .to_vec();
    let (mut now, mut x_nm, mut speed_nm, mut slip_nm, mut levels) = (0, 0_i64, 0_i64, 0_i64, 0_u32);
    // Now the readings come in step, now they do not.
    let jitter = [1, 30_000][(seed % 2) as usize];
    let seldom = if seed.is_multiple_of(3) { 300 } else { 5000 };
    (0..3000)
        .map(|_| {
            now += 1_000_000;
            if random(seldom) == 0 {
                now += 6_000_000;
            }
            if random(60) == 0 {
                levels ^= lines[random(lines.len() as u64) as usize];
            }
            // Up to ±1 m/s, in nm per ms; slow for long stretches.
            let target = if random(400) < 2 { 1_000_000 } else { 150_000 };
            if random(3) > 0 {
                speed_nm = (speed_nm + random(20_001).cast_signed() - 10_000).clamp(-target, target);
            }
            x_nm += speed_nm;
            slip_nm += speed_nm / 50;
            let captured_at = Instant::from_nanos(now - random(jitter));
            let mut reading = |count: i64| match random(seldom) {
                0 => None,
                1 => Some(Reading { captured_at, sample: Sample::Invalid }),
                2 => Some(Reading { captured_at, sample: Sample::Count((count + 90_000).cast_unsigned()) }),
                _ => Some(Reading { captured_at, sample: Sample::Count(count.cast_unsigned()) }),
            };
            let (a, b) = (reading(x_nm / 500), reading((slip_nm - x_nm) / 1000));
            Frame { now: Instant::from_nanos(now), a, b, levels: Levels::from_bits(levels) }
        })
        .collect()
}

fn outcome<const ALL: bool>(setup: &Setup, frames: &[Frame]) -> Outcome {
    let mut axis = axis(setup).unwrap();
    let mut recorder = Recorder::new(setup);
    for frame in frames {
        recorder.frame::<ALL>(&mut axis, frame, &mut Nobody);
    }
    recorder.finish(&axis, 0)
}

/// The setup with a table before the discrepancy, and more of its keys.
pub(crate) fn setup_with(table: &str, keys: &str, tolerance: &str) -> Setup {
    let text = SETUP.replace("[discrepancy]", &format!("{table}\n[discrepancy]\n{keys}"));
    let text = text.replace("\"2 mm\"", tolerance);
    Setup::parse(&text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)))
}

#[test]
fn passing_over_calm_monitors_changes_nothing_in_the_outcome() {
    let setup = setup_with("", "", "\"2 mm\"");
    let (mut trips, mut headrooms) = (0, 0);
    for seed in 1..60 {
        let frames = frames(&setup, seed);
        let (all, noted) = (outcome::<true>(&setup, &frames), outcome::<false>(&setup, &frames));
        assert_eq!(noted, all, "seed {seed}");
        trips += all.trips.kept.len();
        headrooms += all.monitors.iter().filter(|monitor| monitor.headroom.is_some()).count();
    }
    // Otherwise it would show little.
    assert!(trips > 100 && headrooms > 400, "{trips} trips, {headrooms} headrooms");
}

#[test]
fn passing_over_quiet_frames_changes_nothing_of_a_discrepancy() {
    let speeds = "[speed_discrepancy]\ntolerance = \"5 mm/s\"\ndiscrepancy_time = \"5 ms\"";
    let mut trips = 0;
    let variants = [("", "skew_allowance = \"3 ms\""), ("", "align = true"), (speeds, "")];
    // Now a slip trips, now the closest it comes to its tolerance is at low speed.
    for ((table, keys), tolerance) in variants.iter().flat_map(|&of| [(of, "\"0.2 mm\""), (of, "\"20 mm\"")])
    {
        let setup = setup_with(table, keys, tolerance);
        for seed in 1..40 {
            let frames = frames(&setup, seed);
            let (all, noted) = (outcome::<true>(&setup, &frames), outcome::<false>(&setup, &frames));
            assert_eq!(noted, all, "{table} {keys} {tolerance}, seed {seed}");
            let of_discrepancy = |trip: &&Trip| !matches!(trip.rule, TripRule::Monitor(..));
            trips += all.trips.kept.iter().filter(of_discrepancy).count();
        }
    }
    assert!(trips > 100, "{trips} trips");
}

/// Many counts are one ULP here, so that the same headroom is there at many frames.
#[test]
fn of_counts_finer_than_a_position_the_first_frame_with_a_headroom_is_reported() {
    let text =
        SETUP.replace("\"0.0005 mm\"", "\"0.000000001 mm\"").replace("\"-0.001 mm\"", "\"0.000000001 mm\"");
    let text = text.replace("= 32", "= 56").replace("= 24", "= 56");
    let setup = Setup::parse(&text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)));
    let hold = 1 << setup.levels.iter().position(|level| level == "hold").unwrap();
    let frames: Vec<Frame> = (0..60_u64)
        .map(|k| {
            let now = Instant::from_nanos(k * 1_000_000);
            let reading = Some(Reading { captured_at: now, sample: Sample::Count(k.saturating_sub(20)) });
            Frame { now, a: reading, b: reading, levels: Levels::from_bits(hold) }
        })
        .collect();
    let replayed = replay(&setup, &mut frames.as_slice(), &mut |_| {}).unwrap();
    let of_hold = |facts: &&MonitorFacts| matches!(facts.headroom, Some((Headroom::Position(_), _)));
    let at: Vec<_> =
        replayed.monitors.iter().filter(of_hold).map(|facts| facts.headroom.unwrap().1.as_nanos()).collect();
    assert_eq!(at, [21_000_000, 21_000_000]);
    assert_eq!(replayed, outcome::<true>(&setup, &frames));
}

#[test]
fn a_fault_that_lasts_is_counted_once_when_the_list_is_full() {
    let reference = "reference = \"event\"\ntimeout        = \"4 ms\"";
    let text = SETUP.replace("timeout        = \"4 ms\"", reference)
        + "[[monitor]]\nname = \"within\"\nkind = \"position-range\"\ndemand = [\"there\"]\nlow = \"0 mm\"\nhigh = \"1 m\"\n"
        + "[reference]\ninput = \"home\"\nposition = \"0 mm\"\n";
    let setup = Setup::parse(&text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)));
    let there = 1 << setup.levels.iter().position(|level| level == "there").unwrap();
    // Every other reading of channel A is marked invalid, until the list is full.
    let many = 2 * KEPT as u64 + 100;
    let at = |k: u64| Instant::from_nanos((k + 1) * 1_000_000);
    let mut frames: Vec<Frame> = (0..many + 100)
        .map(|k| {
            let good = Some(Reading { captured_at: at(k), sample: Sample::Count(0) });
            let bad = Some(Reading { captured_at: at(k), sample: Sample::Invalid });
            let a = if k < many && k % 2 == 1 { bad } else { good };
            let levels = Levels::from_bits(if k < many { 0 } else { there });
            Frame { now: at(k), a, b: good, levels }
        })
        .collect();
    let last = *frames.last().unwrap();
    frames.extend([last; 10]);
    let faults = outcome::<false>(&setup, &frames).faults;
    // 50 more of channel A, the range without a place on each channel, and the clock.
    assert_eq!((faults.kept.len(), faults.left_out), (KEPT, 50 + 2 + 1));
    let faults = outcome::<false>(&setup, &frames[usize::try_from(many).unwrap()..]).faults;
    let frames: Vec<_> = faults.kept.iter().map(|fault| (fault.kind, fault.frames)).collect();
    let unreferenced = |channel| FaultKind::Unreferenced(5, channel);
    assert_eq!(
        (frames, faults.left_out),
        (vec![(unreferenced(Channel::A), 100), (unreferenced(Channel::B), 100), (FaultKind::Clock, 10)], 0)
    );
}

#[test]
fn the_stop_that_a_trip_demands_ends_as_it_did() {
    let head = SETUP.split("[discrepancy]").next().unwrap();
    let text = head.to_owned()
        + "[[monitor]]\nname = \"halt\"\nkind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"time\"\nwithin = \"30 ms\"\n"
        + "[[monitor]]\nname = \"slow\"\nkind = \"speed-limit\"\nlimit = \"250 mm/s\"\nreaction = \"halt\"\n";
    let setup = Setup::parse(&text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)));
    // 100 mm/s, and 1 m/s from 100 ms on, for some frames; halted from one frame on, invalid at another.
    let ends = |frames: u64, halted: u64, invalid: u64| {
        let frame = |ms: u64| {
            let now = Instant::from_nanos((ms + 1) * 1_000_000);
            let um = if ms < 100 { 100 * ms } else { 10_000 + 1000 * (ms - 100) };
            let reading = |count: u64| Some(Reading { captured_at: now, sample: Sample::Count(count) });
            let a = match reading(2 * um) {
                Some(good) if ms == invalid => Some(Reading { sample: Sample::Invalid, ..good }),
                good => good,
            };
            Frame {
                now,
                a,
                b: reading(0_u64.wrapping_sub(um)),
                levels: Levels::from_bits(u32::from(ms >= halted)),
            }
        };
        let frames: Vec<Frame> = (0..frames).map(frame).collect();
        let outcome = outcome::<false>(&setup, &frames);
        let ends: Vec<_> = outcome.trips.kept.iter().map(|trip| trip.reaction.unwrap().end).collect();
        let tripped: Vec<_> =
            outcome.trips.kept.iter().map(|trip| trip.tripped_at.as_nanos() / 1_000_000).collect();
        assert_eq!(tripped, [103, 103], "at the same frame");
        assert_eq!(ends[0], ends[1]);
        ends[0]
    };
    let at = |ms: u64| Instant::from_nanos(ms * 1_000_000);
    const NEVER: u64 = 1000;
    assert_eq!(ends(200, NEVER, NEVER), StopEnd::Complete(at(134)));
    // The stop that was demanded before the trip goes on, and ends sooner.
    assert_eq!(ends(200, 90, NEVER), StopEnd::Complete(at(121)));
    assert_eq!(ends(200, 20, NEVER), StopEnd::Off);
    assert_eq!(ends(200, NEVER, 110), StopEnd::Lost(at(111)));
    assert_eq!(ends(120, NEVER, NEVER), StopEnd::Open);
}
