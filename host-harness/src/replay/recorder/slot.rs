//! One monitor, as a replay saw it.

use monitor_core::{Acceleration, Bound, Channel, Check, Instant, MonitorId, Position, Span, Speed, Value};

use super::index;
use crate::replay::allowed::{AllowedSpeed, SpeedSpan};
use crate::replay::lull::Bounds;
use crate::replay::margin::Margin;
use crate::replay::outcome::{Headroom, MonitorFacts};
use crate::replay::room::{AllowedTravel, Room};

/// One monitor on one channel.
#[derive(Clone, Copy, Debug)]
pub(super) struct Half {
    pub(super) position: Margin,
    pub(super) speed: Margin,
    pub(super) acceleration: Margin,
    pub(super) value: Margin,
    /// What the motion was held against when the monitor was last shown.
    pub(super) bounds: Bounds,
    /// The limit that it put on the speed when it was last shown.
    pub(super) in_force: Option<Speed>,
    /// The speed that was held against it then.
    pub(super) compared: Option<Bound<Speed>>,
    /// How long no other limit on the speed was smaller, in ns.
    pub(super) strictest: u64,
    /// The fault of being unreferenced that lasts, as an index into the kept faults.
    pub(super) unreferenced: Option<usize>,
    /// Its stop was complete at the frame before.
    pub(super) complete: bool,
}

impl Half {
    pub(super) const NEW: Self = Self {
        position: Margin::NEW,
        speed: Margin::NEW,
        acceleration: Margin::NEW,
        value: Margin::NEW,
        bounds: Bounds { position: None, speed: None },
        in_force: None,
        compared: None,
        strictest: 0,
        unreferenced: None,
        complete: false,
    };

    /// Nothing is compared.
    pub(super) fn interrupt(&mut self) {
        self.interrupt_motion();
        self.value.interrupt();
    }

    /// Nothing is compared with the motion.
    pub(super) fn interrupt_motion(&mut self) {
        self.position.interrupt();
        self.speed.interrupt();
        self.acceleration.interrupt();
    }
}

/// One monitor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slot {
    pub(super) halves: [Half; 2],
    pub(super) active: u64,
    pub(super) demanded_at: Instant,
    pub(super) is_torque_off: bool,
    pub(super) reaction: Option<usize>,
    pub(super) allowed: AllowedSpeed,
    pub(super) travel: AllowedTravel,
}

impl Slot {
    #[inline]
    pub(super) fn check(
        &mut self,
        id: MonitorId,
        now: Instant,
        channel: Channel,
        check: &Check,
        completed: &mut Vec<(usize, Channel)>,
    ) {
        let half = &mut self.halves[index(channel)];
        match check.position {
            Some(bound) => half.position.update(now, bound),
            None => half.position.interrupt(),
        }
        match check.speed {
            Some(bound) => half.speed.update(now, bound),
            None => half.speed.interrupt(),
        }
        match check.acceleration {
            Some(bound) => half.acceleration.update(now, bound),
            None => half.acceleration.interrupt(),
        }
        match check.value {
            Some(bound) => half.value.update(now, bound),
            None => half.value.interrupt(),
        }
        half.in_force = check.in_force;
        half.compared = check.speed;
        half.bounds = Bounds {
            position: check.position.map(|bound| bound.limit).zip(check.from),
            speed: check.speed.map(|bound| bound.limit),
        };
        if check.complete != half.complete {
            half.complete = check.complete;
            if check.complete {
                completed.push((usize::from(id.index()), channel));
            }
        }
    }

    /// The speeds that it allowed a channel when it was last shown.
    pub(super) fn speeds(&self, channel: Channel) -> Option<SpeedSpan> {
        let half = &self.halves[index(channel)];
        self.allowed.span(half.in_force, half.compared)
    }

    /// The room that it left the position of a channel then.
    pub(super) fn room(&self, channel: Channel) -> Option<Room> {
        self.travel.room(channel, self.halves[index(channel)].bounds.position)
    }

    /// How close the monitor came on either channel, by each quantity that it compared.
    pub(super) fn facts(&self, monitor: usize) -> Vec<MonitorFacts> {
        let mut all = Vec::new();
        let active = Span::from_nanos(self.active);
        for channel in Channel::BOTH {
            let half = &self.halves[index(channel)];
            let strictest = Span::from_nanos(half.strictest);
            let Half { position, speed, acceleration, value, .. } = half;
            let compared = [
                (position, Headroom::Position(Position::from_bits(position.headroom))),
                (speed, Headroom::Speed(Speed::from_bits(speed.headroom))),
                (acceleration, Headroom::Acceleration(Acceleration::from_bits(acceleration.headroom))),
                (value, Headroom::Value(Value::from_bits(value.headroom))),
            ];
            let before = all.len();
            for (margin, headroom) in compared.into_iter().filter(|(margin, _)| margin.seen) {
                let (headroom, exceeded) = (Some((headroom, margin.at)), margin.exceeded);
                all.push(MonitorFacts { monitor, channel, active, strictest, headroom, exceeded });
            }
            if all.len() == before {
                all.push(MonitorFacts { monitor, channel, active, strictest, headroom: None, exceeded: 0 });
            }
        }
        all
    }
}
