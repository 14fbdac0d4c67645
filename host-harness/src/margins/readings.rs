//! What the readings and the inputs need: plausibility, timeouts, filters, discrepancy times.

use monitor_core::{Channel, Span};

use super::amount::{Amount, Figure, Kind};
use super::misread::scale_error;
use super::need::{Finding, Need, Needs, Subject, section};
use super::timing::Age;
use crate::setup::{InputLines, InputSetup, Setup};

fn of_channel(channel: Channel, key: &'static str) -> Subject {
    let of = match channel {
        Channel::A => "[channel.a]",
        Channel::B => "[channel.b]",
    };
    Subject { of: of.to_owned(), key, channel: Some(channel), monitor: None }
}

/// `max_speed`: the fastest of operation as two readings show it. The count itself is allowed for by the rule.
pub(super) fn max_speed(setup: &Setup, period: Span, channel: Channel) -> Need {
    let (source, sensor) = (setup.channel(channel), setup.sensors.channel(channel));
    let mut needs = Needs::new(Kind::Speed);
    let speed = needs.want(setup.machine.operating_speed.as_ref(), "operating_speed", "[machine]");
    needs.takes("the fastest of operation", speed);
    let scale = scale_error(&mut needs, setup);
    needs.takes("scale error", scale * speed);
    // Readings are as close as the frames, or as the source takes them.
    let own = sensor.period.as_ref().map(|own| own.value).filter(|own| *own > Span::ZERO);
    let close: Amount = own.map_or(period, |own| own.min(period)).into();
    let of = section(channel);
    if period == Span::ZERO {
        needs.lacks("frame_period", "[machine]");
        return needs.beside(
            of_channel(channel, "max_speed"),
            Figure::Speed(source.max_speed.value),
            &source.max_speed.text,
        );
    }
    let jitter = needs.want(sensor.jitter.as_ref(), "jitter", of);
    needs.takes("jitter between two readings", (jitter + jitter) * speed / close);
    let noise = needs.want(sensor.noise.as_ref(), "noise", of);
    needs.takes("noise between two readings", (noise + noise) / close);
    let set = Figure::Speed(source.max_speed.value);
    needs.beside(of_channel(channel, "max_speed"), set, &source.max_speed.text)
}

/// `timeout`: how old a reading gets while nothing is wrong, and how long after the one before it is captured.
pub(super) fn timeout(setup: &Setup, period: Span, channel: Channel) -> Need {
    let (source, sensor) = (setup.channel(channel), setup.sensors.channel(channel));
    let mut needs = Needs::new(Kind::Time);
    let unsaid = Age::of_source(setup, period, channel).by_timeout;
    if unsaid {
        needs.lacks("period", section(channel));
    }
    let time = |setting: &Option<crate::setup::Setting<Span>>| {
        setting.as_ref().map_or(Amount::ZERO, |setting| Amount::from(setting.value))
    };
    let waits = match &sensor.period {
        Some(own) => own.value.into(),
        None if setup.cycle.is_some() && !unsaid => period.into(),
        None => Amount::ZERO,
    };
    let jitter = needs.want(sensor.jitter.as_ref(), "jitter", section(channel));
    let latency: Amount = source.latency.value.into();
    let (age, between) =
        (latency + time(&sensor.delay) + waits + jitter, Amount::from(period) + waits + jitter + jitter);
    if age.0 >= between.0 {
        needs.takes("latency", latency);
        needs.takes("delay beyond it", time(&sensor.delay));
        needs.takes("until the next reading", waits);
        needs.takes("jitter", jitter);
    } else {
        needs.takes("a frame between two readings", period.into());
        needs.takes("until the next reading", waits);
        needs.takes("jitter of both", jitter + jitter);
    }
    let set = Figure::Time(source.timeout.value);
    needs.beside(of_channel(channel, "timeout"), set, &source.timeout.text)
}

fn of_input(input: &InputSetup, key: &'static str) -> Subject {
    Subject { of: format!("[input.{}]", input.name), key, channel: None, monitor: None }
}

/// The filter of a dual input against the test pulses of the outputs that feed it; only where it says how long they are. A pulse of less than the filter is
/// ignored.
pub(super) fn filter(setup: &Setup, input: &InputSetup) -> Option<Need> {
    let InputLines::Dual { .. } = &input.lines else { return None };
    let pulse = setup.contacts.test_pulse.as_ref()?;
    let mut needs = Needs::new(Kind::Time);
    needs.takes("a test pulse", pulse.value.into());
    let set = Figure::Time(input.filter.value);
    Some(needs.beside(of_input(input, "filter"), set, &input.filter.text))
}

/// The discrepancy time of a dual input: the contacts apart, and a frame. A filter that is longer than it is a slip of a unit: what lasts long
/// enough to be seen would be a fault by then.
pub(super) fn discrepancy_time(setup: &Setup, period: Span, input: &InputSetup) -> Option<Need> {
    let InputLines::Dual { dual, .. } = &input.lines else { return None };
    let mut needs = Needs::new(Kind::Time);
    let spread = needs.want(setup.contacts.spread.as_ref(), "spread", "[contacts]");
    needs.takes("the contacts apart", spread);
    needs.takes("a frame", period.into());
    let set = Figure::Time(dual.discrepancy_time.value);
    let need = needs.beside(of_input(input, "discrepancy_time"), set, &dual.discrepancy_time.text);
    if need.finding != Finding::TripsForNothing && input.filter.value > dual.discrepancy_time.value {
        return Some(Need { finding: Finding::Slip, ..need });
    }
    Some(need)
}
