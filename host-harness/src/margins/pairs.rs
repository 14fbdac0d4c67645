//! What the two sources may be apart although both are right.

use monitor_core::{Channel, Span};

use super::amount::{Amount, Figure, Kind};
use super::misread::{self, scale_error};
use super::need::{Need, Needs, Subject, count, letter, section};
use super::timing::{Age, effective_window};
use crate::setup::{DiscrepancySetup, Setup, SpeedDiscrepancySetup};

fn subject(of: &str, key: &'static str) -> Subject {
    Subject { of: of.to_owned(), key, channel: None, monitor: None }
}

/// How much later one source can have been captured than the other at the same frame, without what a capture time tells.
///
/// Readings of one row without capture times of their own are as far apart as their latencies. A source with a period of its own is up to that much older.
fn captures_apart(needs: &mut Needs, setup: &Setup) -> Amount {
    let [a, b] = Channel::BOTH.map(|channel| {
        let (source, sensor) = (setup.channel(channel), setup.sensors.channel(channel));
        let waits: Amount = match &sensor.period {
            Some(period) => period.value.into(),
            None => {
                if source.sparse || source.capture.is_some() {
                    needs.lacks("period", section(channel));
                }
                Amount::ZERO
            }
        };
        let latency: Amount = source.latency.value.into();
        (latency, latency + waits)
    });
    // The oldest of one and the newest of the other.
    (a.1 - b.0).max(b.1 - a.0)
}

/// What no capture time tells: unknown skew, readings that are longer on their way, jitter.
fn untold(needs: &mut Needs, setup: &Setup) -> Amount {
    let skew = needs.want(setup.sensors.time_skew.as_ref(), "time_skew", "[sensors]");
    let parts = Channel::BOTH.map(|channel| {
        let sensor = setup.sensors.channel(channel);
        let jitter = needs.want(sensor.jitter.as_ref(), "jitter", section(channel));
        jitter + sensor.delay.as_ref().map_or(Amount::ZERO, |delay| delay.value.into())
    });
    skew + parts.into_iter().sum()
}

/// How far a measured speed lags behind the true one in time: half the window and the age of its reading.
fn lag(setup: &Setup, period: Span, channel: Channel) -> Amount {
    let age = Age::of_source(setup, period, channel);
    let window: Amount = effective_window(setup, age.interval).into();
    window.half() + age.total().into()
}

/// The tolerance of the position discrepancy: what two right positions can come apart by in ordinary operation.
pub(super) fn positions(setup: &Setup, period: Span, watch: &DiscrepancySetup) -> Need {
    let mut needs = Needs::new(Kind::Position);
    let machine = &setup.machine;
    let speed = needs.want(machine.operating_speed.as_ref(), "operating_speed", "[machine]");
    let rises = needs.want(machine.operating_acceleration.as_ref(), "operating_acceleration", "[machine]");
    for channel in Channel::BOTH {
        // A count when the reference was taken and one now, each somewhere within its count.
        needs.takes(format!("one count, channel {}", letter(channel)), count(setup, channel));
    }
    let untold = untold(&mut needs, setup);
    let allowance: Amount = watch.skew_allowance.value.into();
    let apart = if watch.align { untold } else { captures_apart(&mut needs, setup) + untold };
    needs.takes("captures apart, beyond skew_allowance", (apart - allowance).or_zero() * speed);
    let lags = Channel::BOTH.map(|channel| lag(setup, period, channel));
    // The allowance goes by a measured speed, which is behind the true one.
    let behind = apart.min(allowance) * rises * lags[0].max(lags[1]);
    needs.takes("the allowance lags an acceleration", behind);
    if watch.align {
        let error = |channel, lag: Amount| {
            let age: Amount = Age::of_source(setup, period, channel).total().into();
            rises * age * (lag - age + age.half())
        };
        let both = error(Channel::A, lags[0]) + error(Channel::B, lags[1]);
        needs.takes("alignment lags an acceleration", both);
    }
    let scale = scale_error(&mut needs, setup);
    let travel = needs.want(machine.max_travel.as_ref(), "max_travel", "[machine]");
    needs.takes("scale error over the travel", scale * travel);
    compliance(&mut needs, setup, rises);
    let backlash = needs.want(setup.sensors.backlash.as_ref(), "backlash", "[sensors]");
    needs.takes("backlash", backlash);
    let drift = needs.want(setup.sensors.drift.as_ref(), "drift", "[sensors]");
    needs.takes("drift", drift);
    for channel in Channel::BOTH {
        let (sensor, of) = (setup.sensors.channel(channel), section(channel));
        match &sensor.eccentricity {
            None => needs.lacks("eccentricity", of),
            Some(sine) => {
                let name = format!("eccentricity, both ways, channel {}", letter(channel));
                needs.takes(name, Amount::whole(2) * sine.amplitude.value.into());
            }
        }
        let noise = needs.want(sensor.noise.as_ref(), "noise", of);
        needs.takes(format!("noise, both ways, channel {}", letter(channel)), noise + noise);
    }
    let set = Figure::Position(watch.tolerance.value);
    needs.beside(subject("[discrepancy]", "tolerance"), set, &watch.tolerance.text)
}

/// The lead of one source under the hardest acceleration of operation.
fn compliance(needs: &mut Needs, setup: &Setup, rises: Amount) {
    match &setup.sensors.compliance {
        None => needs.lacks("compliance", "[sensors]"),
        Some(spring) => {
            needs.takes(
                "compliance under acceleration",
                give(spring.by.value.into(), spring.per.value.into(), rises),
            );
        }
    }
}

fn give(by: Amount, per: Amount, rises: Amount) -> Amount {
    by * rises / per
}

/// The tolerance of the speed discrepancy. Play that is crossed and a spring that gives show in a speed only while the window has them in
/// it: a discrepancy time that is longer lets them pass.
pub(super) fn speeds(setup: &Setup, period: Span, watch: &SpeedDiscrepancySetup) -> Need {
    let mut needs = Needs::new(Kind::Speed);
    let machine = &setup.machine;
    let speed = needs.want(machine.operating_speed.as_ref(), "operating_speed", "[machine]");
    let rises = needs.want(machine.operating_acceleration.as_ref(), "operating_acceleration", "[machine]");
    for channel in Channel::BOTH {
        misread::of_speed(&mut needs, setup, channel, speed, 1);
    }
    let apart = captures_apart(&mut needs, setup) + untold(&mut needs, setup);
    needs.takes("captures apart under acceleration", rises * apart);
    let intervals = Channel::BOTH.map(|channel| Age::of_source(setup, period, channel).interval);
    let longest: Amount = effective_window(setup, intervals[0].max(intervals[1])).into();
    let window = misread::window(setup);
    needs.takes("windows of different length", rises * (longest - window).half());
    let scale = scale_error(&mut needs, setup);
    needs.takes("scale error", scale * speed);
    let two_frames: Amount = Amount::from(period) + period.into();
    let passes = Amount::from(watch.discrepancy_time.value).0 > (longest + two_frames).0;
    let backlash = needs.want(setup.sensors.backlash.as_ref(), "backlash", "[sensors]");
    needs.takes_unless(passes, "backlash crossed within the window", backlash / window);
    match &setup.sensors.compliance {
        None => needs.lacks("compliance", "[sensors]"),
        Some(spring) => {
            let both_ways = Amount::whole(2) * give(spring.by.value.into(), spring.per.value.into(), rises);
            needs.takes_unless(passes, "compliance, from one way to the other", both_ways / window);
        }
    }
    let set = Figure::Speed(watch.tolerance.value);
    needs.beside(subject("[speed_discrepancy]", "tolerance"), set, &watch.tolerance.text)
}
