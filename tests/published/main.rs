//! Published check values against the core, the source beside each.

mod stops;

use monitor_core::{
    Acceleration, Axis, AxisConfig, Channel, Demand, Frame, Instant, Levels, MonitorId, Outcome, Position,
    Ramp, Reading, Rule, Sample, Scale, SourceConfig, Span, Speed, SpeedLimit, Stop, Supervision, Tripped,
    Until, WarmUp,
};

type TestAxis = Axis<33, 4, 1>;
type Config = AxisConfig<33, 4, 1>;

const MS: u64 = 1_000_000;

fn span(nanos: u64) -> Span {
    Span::from_nanos(nanos)
}

/// Both sources alike: `bits` wide, `numerator / denominator` units a count, fast enough for all changes in these tests.
fn config(bits: u32, numerator: i128, denominator: u128, max_speed: i64, window_ns: u64) -> Config {
    let scale = Scale::from_ratio(numerator, denominator).unwrap();
    let max_speed = Speed::from_int(max_speed).unwrap();
    let source = SourceConfig::try_new(bits, scale, max_speed, span(MS)).unwrap();
    Config::try_new(source, source, span(window_ns), WarmUp::Permit).unwrap()
}

fn step(axis: &mut TestAxis, now_ns: u64, count: i64) -> Outcome {
    let now = Instant::from_nanos(now_ns);
    let reading = Some(Reading { captured_at: now, sample: Sample::Count(count as u64) });
    axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() })
}

/// Where the axis is, in whole units, after each of these raw values of a counter with one unit a count.
fn positions(bits: u32, raw: &[i64]) -> Vec<i64> {
    // Just below half the range within one period of 1 ms, so that every unambiguous change is plausible.
    let max_speed = ((1_i64 << (bits - 1)) - 3) * 1000;
    let mut axis = Axis::new(config(bits, 1, 1, max_speed, MS));
    raw.iter()
        .zip(0..)
        .map(|(&raw, k)| {
            let outcome = step(&mut axis, k * MS, raw);
            assert_eq!(outcome.faults.a, None, "{raw} at {k}");
            axis.position(Channel::A).unwrap().to_bits() >> 24
        })
        .collect()
}

/// RFC 1982 (Serial Number Arithmetic), section 5.2, SERIAL_BITS = 8: 255 + 1 = 0, 100 + 100 = 200, 200 + 100 = 44.
/// Steps of 100 are within the largest addend 2^(n−1) − 1 = 127 (section 3.1).
#[test]
fn an_eight_bit_counter_adds_as_rfc_1982_does() {
    assert_eq!(positions(8, &[255, 0]), [-1, 0]);
    // 100, 200, 44: each 100 further, and 44 lies behind 200 although it is the smaller number.
    assert_eq!(positions(8, &[100, 200, 44]), [100, 200, 300]);
    assert_eq!(positions(8, &[44, 200, 100]), [44, -56, -156]);
}

/// Differences of a 16-bit two's-complement counter (definition of the representation); numpy 2.4.6
/// `unwrap(x, period=2**16)` gives [65530, 65541, 65530] for [65530, 5, 65530].
#[test]
fn a_sixteen_bit_counter_unwraps_both_ways() {
    assert_eq!(positions(16, &[65530, 5, 65530]), [-6, 5, -6]);
    assert_eq!(positions(16, &[32767, -32768, 32767]), [32767, 32768, 32767]);
}

/// A 10-bit counter of 1024 a turn, 1021 → 3 is six counts on (values of a logged encoder).
#[test]
fn a_ten_bit_counter_unwraps() {
    assert_eq!(positions(10, &[1021, 3]), [-3, 3]);
    assert_eq!(positions(10, &[511, -512, 511]), [511, 512, 511]);
}

/// 65 536 counts at 4096 a turn: aliasing from 8 turns a millisecond, 480 000 rpm (|Δ| < 2^(n−1) per sample): a
/// setup that could alias is refused.
#[test]
fn a_speed_that_could_alias_within_the_timeout_is_refused() {
    let source = |rpm: i64| {
        let scale = Scale::from_ratio(360, 4096).unwrap();
        SourceConfig::try_new(16, scale, Speed::from_int(rpm * 6).unwrap(), span(MS))
    };
    assert!(source(480_000).is_err());
    assert!(source(479_900).is_ok());
}

/// Resolution of counting in a fixed time, 60/(N·Ts): Ohmae et al., IEEE Trans. Ind. Electron. IE-29 (1982), formula from
/// memory: N 4096, Ts 1 ms → 14.6484375 rpm = 87.890625 deg/s.
#[test]
fn one_count_over_the_window_is_the_resolution_of_the_handbook() {
    let speed = |numerator, denominator, window| {
        let mut axis = Axis::new(config(32, numerator, denominator, 100_000, window));
        for k in 0..=window / MS {
            let _ = step(&mut axis, k * MS, i64::from(k == window / MS));
        }
        axis.speed(Channel::A).unwrap().signed()
    };
    // 87.890625 = 5625/64 exactly.
    assert_eq!(speed(360, 4096, MS).to_bits(), (5625 << 24) / 64);
    // Linear: 1 µm a count, 1 ms and 4 ms → 1 and 0.25 mm/s.
    assert_eq!(speed(1, 1000, MS).to_bits(), 1 << 24);
    assert_eq!(speed(1, 1000, 4 * MS).to_bits(), 1 << 22);
}

/// A windowed speed lags a constant acceleration by half the window (kinematics): a 2 m/s², Ts 4 ms → 4 mm/s low.
#[test]
fn a_windowed_speed_lags_by_half_the_window() {
    // x = a t²/2 with a = 2000 mm/s² is 1000 t² mm: at 1 nm a count and t in ms, 1000 k² nm... k² µm exactly.
    let mut axis = Axis::new(config(48, 1, 1_000_000, 100_000, 4 * MS));
    for k in 0..=500_i64 {
        let _ = step(&mut axis, k as u64 * MS, k * k * 1000);
        if k >= 4 {
            let lag = 2 * k - (axis.speed(Channel::A).unwrap().signed().to_bits() >> 24);
            assert_eq!(lag, 4, "at {k} ms");
        }
    }
}

fn first_trip(on_delay_ns: u64, speeds: &[i64]) -> Option<u64> {
    let mut config = config(32, 1, 1000, 100_000, MS);
    let rule = Rule::SpeedLimit(SpeedLimit::try_new(Speed::from_int(2).unwrap(), None).unwrap());
    let id = config.add_monitor(rule, Demand::Always, span(on_delay_ns)).unwrap();
    let mut axis = Axis::new(config);
    let mut count = 0;
    let _ = step(&mut axis, 0, 0);
    let mut tripped = None;
    for (&speed, k) in speeds.iter().zip(1..) {
        // 1 µm in 1 ms is 1 mm/s.
        count += speed;
        if step(&mut axis, k * MS, count).tripped.a.contains(id) {
            tripped.get_or_insert(k - 1);
        }
    }
    tripped
}

/// A hold timer as a past-time formula of signal temporal logic, `historically[0:10ms](abs(v) > 2)`, evaluated by
/// rtamt 0.4.10 (PyPI) on v = 1 at samples 0 to 4, 3 at 5 to 24, 1 at 25 to 29: true exactly at samples 15 to 24;
/// `[0:9ms]`: 14 to 24. pandas 3.1.1 `rolling(11, min_periods=1).min() > 2` and scipy 1.17.1 `minimum_filter1d` agree.
#[test]
fn an_on_delay_trips_at_the_first_sample_of_the_hold_formula() {
    let speeds: Vec<i64> = (0..30).map(|k| if (5..25).contains(&k) { 3 } else { 1 }).collect();
    assert_eq!(first_trip(10 * MS, &speeds), Some(15));
    assert_eq!(first_trip(9 * MS, &speeds), Some(14));
    assert_eq!(first_trip(0, &speeds), Some(5));
    // Twenty samples violate: 19 ms is reached at the last, 20 ms never.
    assert_eq!(first_trip(19 * MS, &speeds), Some(24));
    assert_eq!(first_trip(20 * MS, &speeds), None);
}

/// When a stop along a line of constant deceleration is complete.
fn stop_complete_after(v0_m_per_s: i64, deceleration_m_per_s2: i64) -> u64 {
    let mut config = config(40, 1, 1000, 100_000, 8 * MS);
    let ramp = Ramp::try_new(
        Span::ZERO,
        Acceleration::from_int(deceleration_m_per_s2 * 1000).unwrap(),
        Speed::from_int(0).unwrap(),
    )
    .unwrap();
    let supervision = Supervision::Ramp { ramp, standstill_speed: Speed::ZERO, within: None };
    let stop = Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).unwrap());
    config.add_monitor(stop, Demand::Always, span(1000 * MS)).unwrap();
    let mut axis: TestAxis = Axis::new(config);
    // The line starts with the first known speed, but its time at the demand: here the first frame.
    for k in 0..20_000_u64 {
        let now = Instant::from_nanos(k * MS);
        let x_um = i64::try_from(k).unwrap() * v0_m_per_s * 1000;
        let reading = Some(Reading { captured_at: now, sample: Sample::Count(x_um as u64) });
        let mut complete = false;
        let _ = axis.step_watched(
            &Frame { now, a: reading, b: reading, levels: Levels::default() },
            &mut |_: MonitorId, _, check| complete |= check.complete,
        );
        if complete {
            return k;
        }
    }
    panic!("never complete");
}

/// Stopping from 30.0 m/s at 7.00 and 5.00 m/s²: 30/7 = 4.2857 s and 6.0 s (OpenStax College Physics, section 2.5, whose
/// distances are 64.3 m and 90.0 m; v = v0 + a t).
#[test]
fn a_stop_is_complete_when_constant_deceleration_has_taken_the_speed() {
    assert_eq!(stop_complete_after(30, 7), 4286, "the first millisecond at or after 4285.71 ms");
    assert_eq!(stop_complete_after(30, 5), 6000);
}

/// 1024 a turn from 256 lines: quadrature counts four edges a line (common practice). A million turns and 15 625 wraps
/// of 16 bits on, the position is exact: the count is, and 360/1024 deg has an exact binary form.
#[test]
fn a_million_turns_of_a_quadrature_disc_are_exact() {
    let mut axis: TestAxis = Axis::new(config(16, 360, 1024, 1_000_000, 8 * MS));
    let mut count = 0_i64;
    // 2500 turns a second, one millisecond a frame: 2.5 turns; 400 000 frames.
    for k in 0..=400_000_u64 {
        let outcome = step(&mut axis, k * MS, count);
        assert_eq!(outcome.faults.a, None);
        count += 2560;
    }
    assert_eq!(axis.position(Channel::A), Position::from_int(360_000_000));
    assert_eq!(axis.state().trip(Tripped::PositionDiscrepancy), None);
}
