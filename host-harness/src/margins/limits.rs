//! What the limits of the monitors must leave room for.

use monitor_core::{Channel, Span, Speed};

use super::amount::{Amount, Figure, Kind};
use super::misread::{self, scale_error};
use super::need::{Need, Needs, Subject, count, letter, section};
use super::timing::{Age, effective_window, fastest_allowed};
use crate::setup::{
    By, LimitSetup, MonitorKind, MonitorSetup, RampSetup, RangeSetup, Setting, Setup, StandstillSetup, Until,
};
use monitor_core::Acceleration;

/// A monitor on one channel.
pub(super) struct Limits<'a> {
    pub(super) setup: &'a Setup,
    pub(super) period: Span,
    pub(super) place: usize,
    pub(super) monitor: &'a MonitorSetup,
    pub(super) channel: Channel,
}

impl Limits<'_> {
    /// Everything that is needed of the settings of this monitor.
    pub(super) fn needs(&self) -> Vec<Need> {
        match &self.monitor.kind {
            MonitorKind::SpeedLimit { limit, ramp } => {
                let limit = match limit {
                    LimitSetup::Both(limit) => vec![self.limit("limit", limit)],
                    LimitSetup::Each { positive, negative } => {
                        [("positive", positive), ("negative", negative)]
                            .into_iter()
                            .filter(|(_, limit)| limit.value > Speed::ZERO)
                            .map(|(key, limit)| self.limit(key, limit))
                            .collect()
                    }
                };
                limit.into_iter().chain(ramp.as_ref().map(|ramp| self.margin(ramp))).collect()
            }
            MonitorKind::SpeedRange(range) => self.range(range),
            MonitorKind::Standstill(windows) => self.standstill(windows, None),
            MonitorKind::Direction { tolerance, .. } => vec![self.distance("tolerance", tolerance)],
            MonitorKind::TravelLimit { increment } => vec![self.distance("increment", increment)],
            MonitorKind::AccelerationLimit { limit } => vec![self.acceleration("limit", limit)],
            MonitorKind::AccelerationRange(range) => [("low", &range.low), ("high", &range.high)]
                .into_iter()
                .filter(|(_, end)| end.value != Acceleration::ZERO)
                .map(|(key, end)| self.acceleration(key, end))
                .collect(),
            MonitorKind::Stop { until, by } => self.stop(until, by),
            _ => Vec::new(),
        }
    }

    fn subject(&self, key: &'static str) -> Subject {
        Subject { of: self.monitor.name.clone(), key, channel: Some(self.channel), monitor: Some(self.place) }
    }

    /// The fastest of operation while this monitor is active.
    fn operating_speed(&self, needs: &mut Needs) -> Amount {
        if let Some(speed) = self.setup.machine.operating_speed_of(self.setup, self.place) {
            return speed.value.into();
        }
        if self.monitor.is_always_active() {
            needs.lacks("operating_speed", "[machine]");
        } else {
            needs.lacks(&self.monitor.name, "[machine.operating_speeds]");
        }
        Amount::ZERO
    }

    fn limit(&self, key: &'static str, limit: &Setting<Speed>) -> Need {
        let mut needs = Needs::new(Kind::Speed);
        let speed = self.operating_speed(&mut needs);
        needs.takes("the fastest of operation", speed);
        // Without a speed of operation, as much as at the limit itself.
        let at = if needs.missing.is_empty() { speed } else { super::need::magnitude(limit.value) };
        misread::of_speed(&mut needs, self.setup, self.channel, at, 1);
        let scale = scale_error(&mut needs, self.setup);
        needs.takes("scale error", scale * at);
        let size = Speed::from_bits(limit.value.to_bits().saturating_abs());
        needs.beside(self.subject(key), Figure::Speed(size), &limit.text)
    }

    /// Of a range, the upper end if it is one on the way forth, and the lower end if it is one on the way back: nothing is known of a
    /// slowest speed.
    fn range(&self, range: &RangeSetup<Speed>) -> Vec<Need> {
        let forth = Some(("high", &range.high)).filter(|(_, end)| end.value > Speed::ZERO);
        let back = Some(("low", &range.low)).filter(|(_, end)| end.value < Speed::ZERO);
        forth.into_iter().chain(back).map(|(key, end)| self.limit(key, end)).collect()
    }

    /// How long after the motion a speed is measured.
    fn lag(&self) -> Amount {
        let age = Age::of_source(self.setup, self.period, self.channel);
        Amount::from(effective_window(self.setup, age.interval)).half() + age.total().into()
    }

    /// The margin of a ramp whose line the drive follows with the same deceleration, as soon as it brakes.
    fn margin(&self, ramp: &RampSetup) -> Need {
        let mut needs = Needs::new(Kind::Speed);
        let machine = &self.setup.machine;
        let fastest = machine.operating_speed.as_ref().map(|speed| Amount::from(speed.value));
        let fastest = fastest.unwrap_or_else(|| fastest_allowed(self.setup, self.channel).into());
        misread::of_speed(&mut needs, self.setup, self.channel, fastest, 2);
        let rises =
            needs.want(machine.operating_acceleration.as_ref(), "operating_acceleration", "[machine]");
        let until = needs.want(machine.drive_delay.as_ref(), "drive_delay", "[machine]") + self.lag();
        needs.takes("an acceleration that goes on at first", rises * until);
        let late = (until - ramp.delay.value.into()).or_zero();
        needs.takes("braking that shows after the delay", late * ramp.deceleration.value.into());
        let set = Figure::Speed(ramp.margin.value);
        needs.beside(self.subject("margin"), set, &ramp.margin.text)
    }

    /// `after`: the speed and the least deceleration with which a stop ends before.
    fn standstill(&self, windows: &StandstillSetup, after: Option<(Speed, Amount)>) -> Vec<Need> {
        let (setup, channel) = (self.setup, self.channel);
        let mut place = self.place_needs();
        let mut speed = Needs::new(Kind::Speed);
        misread::of_speed(
            &mut speed,
            setup,
            channel,
            after.map_or(Amount::ZERO, |(speed, _)| speed.into()),
            1,
        );
        if let Some((rest, slope)) = after {
            let rest: Amount = rest.into();
            let lasts = rest / slope + self.lag() + Amount::from(self.period) + self.period.into();
            let passes = lasts.0.is_some() && lasts.0 < Amount::from(self.monitor.on_delay.value).0;
            speed.takes_unless(passes, "the speed at which the stop is complete", rest);
            let age: Amount = Age::of_source(setup, self.period, channel).total().into();
            // The reference is as old as its reading, and what was measured then was half a window older.
            place.takes("the rest of the stop", rest.squared() / (slope + slope) + rest * age);
        }
        let set =
            [Figure::Position(windows.position_window.value), Figure::Speed(windows.speed_window.value)];
        vec![
            place.beside(self.subject("position_window"), set[0], &windows.position_window.text),
            speed.beside(self.subject("speed_window"), set[1], &windows.speed_window.text),
        ]
    }

    fn place_needs(&self) -> Needs {
        let mut needs = Needs::new(Kind::Position);
        let named = |name: &str| format!("{name}, channel {}", letter(self.channel));
        needs.takes(named("one count"), count(self.setup, self.channel));
        let sensor = self.setup.sensors.channel(self.channel);
        let noise = needs.want(sensor.noise.as_ref(), "noise", section(self.channel));
        needs.takes(named("noise, both ways"), noise + noise);
        needs
    }

    fn distance(&self, key: &'static str, distance: &Setting<monitor_core::Position>) -> Need {
        self.place_needs().beside(self.subject(key), Figure::Position(distance.value), &distance.text)
    }

    fn acceleration(&self, key: &'static str, limit: &Setting<Acceleration>) -> Need {
        let mut needs = Needs::new(Kind::Acceleration);
        let machine = &self.setup.machine;
        let rises =
            needs.want(machine.operating_acceleration.as_ref(), "operating_acceleration", "[machine]");
        needs.takes("the hardest of operation", rises);
        let speed = needs.want(machine.operating_speed.as_ref(), "operating_speed", "[machine]");
        misread::of_acceleration(&mut needs, self.setup, self.channel, speed);
        let size = Acceleration::from_bits(limit.value.to_bits().saturating_abs());
        needs.beside(self.subject(key), Figure::Acceleration(size), &limit.text)
    }

    fn stop(&self, until: &Until, by: &By) -> Vec<Need> {
        let mut all = Vec::new();
        if let By::Ramp { ramp, .. } = by {
            all.push(self.margin(ramp));
        }
        if let Until::Standstill(windows) = until {
            let after = match by {
                By::Ramp { ramp, standstill_speed, .. } => {
                    Some((standstill_speed.value, ramp.deceleration.value.into()))
                }
                By::Deceleration { braking, standstill_speed, .. } => {
                    let least = Amount::from(braking.deceleration.value) - braking.margin.value.into();
                    Some((standstill_speed.value, least))
                }
                By::Time { .. } => None,
            };
            all.extend(self.standstill(windows, after));
        }
        all
    }
}
