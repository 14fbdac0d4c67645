//! Stimulus and expected outcome, frame by frame, for checking an implementation in any language against the reference.
//!
//! [`Vectors::generate`] derives cases from a setup: the edges of every limit and delay, one below, at and above, on each
//! channel and in each direction; what sources and inputs can do wrong; resets; monitors on top of each other. Each case starts
//! from an axis that has not been shown a frame. The expected outcome of every frame is what `monitor-core` comes to.
//!
//! [`Coverage`] says what the frames really did; [`variations`] moves every setting by its smallest step, and
//! [`Vectors::notice`] says whether any expected outcome depends on it.
//!
//! # Columns
//!
//! The CSV file has comment lines first: a checksum, the setup with its own checksum, what each bit and each case is. Then one row
//! for each frame, see [`columns`]. Every number is exact; a word says what is not a number.

mod c_header;
mod cases;
pub mod columns;
mod coverage;
mod coverage_text;
mod csv;
mod edge;
mod ends;
mod play;
mod read;
mod rules;
mod track;
mod transition;
mod variation;

pub use coverage::{Coverage, State, Transition};
pub use coverage_text::{Statement, statement};
pub use read::{BadVectors, Recorded, RecordedCase};
pub use variation::{Subject, Variation, variations};

use monitor_core::{Axis, AxisError, Frame, Outcome};

use crate::replay::{Refused, ReplayAxis, axis};
use crate::setup::{Setup, SetupError};

/// The setup that is used when none is given; it holds inputs, limits on the speed, standstills, stops and both discrepancies. Invented.
pub const BUILT_IN_SETUP: &str = include_str!("built-in.toml");

/// A second one, with the kinds of rule that the first one has not: places, directions, accelerations, outputs, reactions. Invented.
pub const FURTHER_SETUP: &str = include_str!("built-in-further.toml");

/// What messages call [`BUILT_IN_SETUP`].
pub const BUILT_IN_PATH: &str = "built-in setup";

/// What messages call [`FURTHER_SETUP`].
pub const FURTHER_PATH: &str = "further built-in setup";

/// One frame and what it must come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    /// What the axis is shown.
    pub frame: Frame,
    /// What it must come to.
    pub outcome: Outcome,
}

/// Frames that belong together, from a fresh axis on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Case {
    /// What it is about, in one line.
    pub about: String,
    /// Its frames, in their order.
    pub rows: Vec<Row>,
}

/// All cases for one setup.
#[derive(Clone, Debug)]
pub struct Vectors {
    /// The setup.
    pub setup: Setup,
    /// Stored readings per channel of the targets that it is for: outcomes depend on them through the effective window of the speed.
    pub points: u16,
    /// Its text, which goes into the file so that a comparison can explain itself.
    pub setup_text: String,
    /// The cases; a file numbers them from 0.
    pub cases: Vec<Case>,
}

/// Why there are no vectors.
#[derive(Debug, thiserror::Error)]
pub enum Unusable {
    /// The setup is bad.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// The core does not accept the setup.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// Frames alone do not tell what such a setup comes to.
    #[error(
        "{path}: the setup has {count} analogue value{}, and vectors carry no readings of one: leave out its [analogue.NAME] sections and \
         the monitors that watch them, and write vectors for the rest",
        if *count == 1 { "" } else { "s" }
    )]
    Analogue {
        /// What messages call the setup.
        path: String,
        /// How many.
        count: usize,
    },
    /// Nor with so many stored readings.
    #[error("{path}: {points} stored readings per channel: {why}; choose another number of points")]
    Points {
        /// What messages call the setup.
        path: String,
        /// The number.
        points: u16,
        /// Why not.
        why: AxisError,
    },
}

impl Vectors {
    /// The vectors of a setup for targets with `points` stored readings per channel (odd, 3 to
    /// [`HISTORY_POINTS`](crate::setup::HISTORY_POINTS)); `text` is its TOML, `path` what messages call it. The same text gives the same
    /// vectors.
    ///
    /// # Errors
    ///
    /// [`Unusable`] when the setup is bad, or has analogue values: a frame carries no reading of one.
    pub fn generate(text: &str, path: &str, points: u16) -> Result<Self, Unusable> {
        let setup = Setup::parse(text, path)?;
        if !setup.analogues.is_empty() {
            return Err(Unusable::Analogue { path: path.to_owned(), count: setup.analogues.len() });
        }
        let mut config = axis(&setup)?.config().clone();
        config.act_as(points.into()).map_err(|why| Unusable::Points {
            path: path.to_owned(),
            points,
            why,
        })?;
        let cases = cases::all(&setup, points, &Axis::new(config));
        Ok(Self { setup, points, setup_text: text.to_owned(), cases })
    }

    /// How many frames there are over all cases.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.cases.iter().map(|case| case.rows.len()).sum()
    }

    /// The first frame whose outcome is another one on `other`: the case, and the frame in it, from 0.
    #[must_use]
    pub fn notice(&self, other: &ReplayAxis) -> Option<(usize, usize)> {
        self.cases.iter().enumerate().find_map(|(number, case)| {
            let mut axis = other.clone();
            let differs = |row: &Row| axis.step(&row.frame) != row.outcome;
            case.rows.iter().position(differs).map(|frame| (number, frame))
        })
    }
}
