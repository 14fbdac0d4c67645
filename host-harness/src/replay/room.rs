//! Where a monitor lets the position of a channel be: between two ends, each so far from a mark, or open to one side.
//!
//! The core tells of a window the limit that is nearer; which ends there are stands in the setup.

use monitor_core::{Channel, Mark, Position};

use crate::setup::{Allowed, ChannelSetup, MonitorKind, MonitorSetup, ReferenceSetup, Setup};

/// The two ends, as travels from a mark; `None`: the axis may go on there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Room {
    pub(crate) low: Option<Position>,
    pub(crate) high: Option<Position>,
    pub(crate) from: Mark,
}

/// How a monitor comes to the two ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum AllowedTravel {
    /// As far to either side.
    Around,
    /// Back a little, and on without end.
    Onward(Allowed),
    /// From one place to another: how far these are from where the position of each channel is declared.
    Range([(Position, Position); 2]),
}

impl AllowedTravel {
    pub(crate) fn of(setup: &Setup, monitor: &MonitorSetup) -> Self {
        match &monitor.kind {
            MonitorKind::Direction { allowed, .. } => Self::Onward(*allowed),
            MonitorKind::PositionRange(range) => Self::Range([&setup.a, &setup.b].map(|channel| {
                let declared = declared(setup, channel);
                (beyond(range.low.value, declared), beyond(range.high.value, declared))
            })),
            _ => Self::Around,
        }
    }

    /// The ends, by the limit that a travel was held against and the mark that it is measured from; `None`: nothing was.
    pub(crate) fn room(self, channel: Channel, compared: Option<(Position, Mark)>) -> Option<Room> {
        let (limit, from) = compared?;
        let back = Position::from_bits(limit.to_bits().saturating_neg());
        let (low, high) = match self {
            Self::Around => (Some(back), Some(limit)),
            Self::Onward(Allowed::Positive) => (Some(back), None),
            Self::Onward(Allowed::Negative) => (None, Some(limit)),
            Self::Range(of_both) => {
                let (low, high) = of_both[usize::from(channel == Channel::B)];
                (Some(low), Some(high))
            }
        };
        Some(Room { low, high, from })
    }
}

impl Room {
    /// How far it is from one end to the other.
    fn width(&self) -> u64 {
        self.low.zip(self.high).map_or(u64::MAX, |(low, high)| high.to_bits().abs_diff(low.to_bits()))
    }
}

/// The narrowest of all.
pub(crate) fn narrowest(rooms: impl Iterator<Item = Room>) -> Option<Room> {
    rooms.min_by_key(Room::width)
}

/// The position that is declared of a channel, of its count zero or at an event.
fn declared(setup: &Setup, channel: &ChannelSetup) -> Position {
    match (&channel.reference, &setup.reference) {
        (ReferenceSetup::Absolute { offset }, _) => offset.value,
        (ReferenceSetup::Event, Some(event)) => event.position.value,
        _ => Position::ZERO,
    }
}

/// How far a place is from another; one beyond what there is, is drawn at the end of it.
const fn beyond(place: Position, from: Position) -> Position {
    Position::from_bits(place.to_bits().saturating_sub(from.to_bits()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::replay::{Follower, Nobody, ReplayAxis, Shown, layout, replay_observed};
    use crate::trace::{Options, Reader};

    const SETUP: &str = r#"
title = "Invented"
unit  = "mm"
[time]
column = "t"
unit   = "s"
[channel.a]
column         = "a"
counter_bits   = 24
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
reference      = "absolute"
offset         = "100 mm"
[channel.b]
column      = "b"
column_unit = "mm"
max_speed   = "3 m/s"
timeout     = "4 ms"
reference   = "absolute"
offset      = "0 mm"
[speed]
window = "2 ms"
[[monitor]]
"#;

    /// The room of both channels at the last frame, in mm from their marks.
    struct Last([Option<(Option<i64>, Option<i64>)>; 2]);

    impl Follower for Last {
        const FOLLOWS: bool = true;

        fn frame(&mut self, _: &ReplayAxis, _: monitor_core::Instant, shown: &Shown<'_>) {
            let whole = |position: Position| position.to_bits() >> monitor_core::FRACTION_BITS;
            self.0 = shown.rooms.map(|room| room.map(|room| (room.low.map(whole), room.high.map(whole))));
        }
    }

    fn last(monitor: &str) -> [Option<(Option<i64>, Option<i64>)>; 2] {
        let setup =
            Setup::parse(&format!("{SETUP}{monitor}"), "axis.toml").unwrap_or_else(|error| panic!("{error}"));
        let trace = "t,a,b\n0,0,100\n0.001,0,100\n0.002,0,100\n0.003,0,100\n";
        let trace = std::io::Cursor::new(trace.as_bytes().to_vec());
        let layout = layout(&setup).unwrap();
        let mut reader = Reader::from_read("run", trace, &layout, Options::default()).unwrap();
        let mut last = Last([None; 2]);
        replay_observed(&setup, &mut reader, &mut |_| {}, &mut Nobody, &mut last).unwrap();
        last.0
    }

    #[test]
    fn a_range_has_both_its_ends_from_where_the_position_is_declared() {
        let range = "name = \"range\"\nkind = \"position-range\"\nlow = \"50 mm\"\nhigh = \"200 mm\"\n";
        assert_eq!(last(range), [Some((Some(-50), Some(100))), Some((Some(50), Some(200)))]);
    }

    #[test]
    fn an_axis_that_may_move_in_one_direction_has_no_end_there() {
        let forward = "name = \"on\"\nkind = \"direction\"\nallowed = \"positive\"\ntolerance = \"3 mm\"\n";
        assert_eq!(last(forward), [Some((Some(-3), None)); 2]);
        assert_eq!(last(&forward.replace("positive", "negative")), [Some((None, Some(3))); 2]);
    }

    #[test]
    fn of_several_the_narrowest_counts() {
        let from = "name = \"near\"\nkind = \"travel-limit\"\nincrement = \"7 mm\"\n";
        assert_eq!(last(from), [Some((Some(-7), Some(7))); 2]);
        let both = format!(
            "{from}[[monitor]]\nname = \"on\"\nkind = \"direction\"\nallowed = \"positive\"\ntolerance = \"3 mm\"\n"
        );
        assert_eq!(last(&both), [Some((Some(-7), Some(7))); 2]);
    }
}
