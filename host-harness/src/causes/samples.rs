//! What a sampler kept, in the axis unit and in seconds.

use crate::setup::AxisUnit;

/// One sample: both channels at one frame.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// The instant of the frame, in ns on the clock of the frames.
    pub now_ns: u64,
    /// The same in seconds since the reference.
    pub t: f64,
    /// Travel of either channel since the reference, at its newest reading.
    pub x: [f64; 2],
    /// Speed of either channel at that reading, from its neighbours at full rate.
    pub v: [f64; 2],
    /// Acceleration of either channel there.
    pub a: [f64; 2],
    /// Age of that reading, its latency included, in seconds.
    pub age: [f64; 2],
    /// By how much `align` moved it to the instant of the frame, less the same at the reference; 0 without `align`.
    pub lead: [f64; 2],
    /// Standard errors of the speeds.
    pub v_error: [f64; 2],
    /// Standard errors of the accelerations.
    pub a_error: [f64; 2],
    /// The frames beside it were kept as well.
    pub is_full_rate: bool,
}

impl Point {
    /// How far the channels are apart, as the core compares them: `d = x_A − x_B`, each moved to the instant of the frame where the setup
    /// says `align`.
    #[must_use]
    pub fn d(&self) -> f64 {
        self.x[0] - self.x[1] + self.lead[0] - self.lead[1]
    }
}

/// What could not be used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Unusable {
    /// Frames at which either channel had no good reading.
    pub frames: [u64; 2],
    /// How often the references were taken anew; what was before is gone.
    pub restarts: u64,
}

/// What a [`Sampler`](super::Sampler) kept of a replay, or anything else of the kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Samples {
    /// The unit of the axis.
    pub unit: AxisUnit,
    /// When the references were taken, in ns on the clock of the frames.
    pub reference_ns: u64,
    /// The place of the trip in `points`.
    pub trip: usize,
    /// In order of time, all on one stretch of both counts.
    pub points: Vec<Point>,
    /// One count of either channel, in the axis unit; a ULP for a column of positions, whose resolution is not known.
    pub count: [f64; 2],
    /// The window of the speeds, in seconds.
    pub window: f64,
    /// What could not be used.
    pub unusable: Unusable,
}
