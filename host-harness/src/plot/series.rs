//! What is drawn over time.

use monitor_core::Channel;

use crate::setup::{MAX_ANALOGUES, Setup};

/// A number over time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Series {
    /// The speed of a channel over the window, with its sign.
    Speed(Channel),
    /// The position of a channel.
    Position(Channel),
    /// How far the positions of the channels are apart, `d` with its sign.
    Apart,
    /// What is allowed of that at the present speed.
    Allowed,
    /// How far their speeds are apart, without a sign.
    SpeedsApart,
    /// The lowest speed that a channel is allowed, with its sign: minus the limit, but where the directions differ.
    SpeedLow(Channel),
    /// The highest.
    SpeedHigh(Channel),
    /// The lower end of the narrowest window that the position of a channel is to stay in.
    WindowLow(Channel),
    /// The upper end of it.
    WindowHigh(Channel),
    /// A line of an analogue value, by its place in the setup.
    Analogue(usize, Channel),
}

/// Series but for those of analogue values.
const FIXED: usize = 15;

/// As many as there can be.
pub(super) const SERIES: usize = FIXED + 2 * MAX_ANALOGUES;

impl Series {
    /// Where it stands among the numbers of a frame; those that go on from frame to frame come first.
    #[inline(always)]
    pub(super) const fn place(self) -> usize {
        const fn side(channel: Channel) -> usize {
            match channel {
                Channel::A => 0,
                Channel::B => 1,
            }
        }
        match self {
            Self::Speed(channel) => side(channel),
            Self::Position(channel) => 2 + side(channel),
            Self::Apart => 4,
            Self::Allowed => 5,
            Self::SpeedsApart => 6,
            Self::SpeedLow(channel) => 7 + side(channel),
            Self::SpeedHigh(channel) => 9 + side(channel),
            Self::WindowLow(channel) => 11 + side(channel),
            Self::WindowHigh(channel) => 13 + side(channel),
            Self::Analogue(of, channel) => FIXED + 2 * of + side(channel),
        }
    }

    /// Those of a setup, in the order of their places.
    pub(super) fn of(setup: &Setup) -> Vec<Self> {
        let of_both = |series: fn(Channel) -> Self| Channel::BOTH.map(series);
        let mut all = Vec::from(of_both(Self::Speed));
        all.extend(of_both(Self::Position));
        all.extend([Self::Apart, Self::Allowed, Self::SpeedsApart]);
        all.extend(of_both(Self::SpeedLow));
        all.extend(of_both(Self::SpeedHigh));
        all.extend(of_both(Self::WindowLow));
        all.extend(of_both(Self::WindowHigh));
        for of in 0..setup.analogues.len() {
            all.extend(Channel::BOTH.map(|channel| Self::Analogue(of, channel)));
        }
        all
    }

    /// A short name for a column of data.
    #[must_use]
    pub fn name(self) -> String {
        let of = |channel: Channel| match channel {
            Channel::A => "a",
            Channel::B => "b",
        };
        match self {
            Self::Speed(channel) => format!("speed_{}", of(channel)),
            Self::Position(channel) => format!("position_{}", of(channel)),
            Self::Apart => "discrepancy".to_owned(),
            Self::Allowed => "discrepancy_allowed".to_owned(),
            Self::SpeedsApart => "speed_discrepancy".to_owned(),
            Self::SpeedLow(channel) => format!("speed_limit_low_{}", of(channel)),
            Self::SpeedHigh(channel) => format!("speed_limit_high_{}", of(channel)),
            Self::WindowLow(channel) => format!("window_low_{}", of(channel)),
            Self::WindowHigh(channel) => format!("window_high_{}", of(channel)),
            Self::Analogue(place, channel) => format!("analogue_{}_{}", place + 1, of(channel)),
        }
    }

    /// Its unit.
    #[must_use]
    pub fn unit(self, setup: &Setup) -> String {
        let unit = setup.unit.symbol();
        match self {
            Self::Speed(_) | Self::SpeedsApart | Self::SpeedLow(_) | Self::SpeedHigh(_) => {
                format!("{unit}/s")
            }
            Self::Position(_) | Self::Apart | Self::Allowed | Self::WindowLow(_) | Self::WindowHigh(_) => {
                unit.to_owned()
            }
            Self::Analogue(place, _) => {
                setup.analogues.get(place).map_or_else(String::new, |of| of.unit.symbol().to_owned())
            }
        }
    }
}
