//! What makes a monitor active, and a position mean something.

use crate::names::InputId;
use crate::outcome::{InputSet, MonitorSet};
use crate::units::Position;

/// When a monitor is active.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Demand {
    /// At every frame.
    Always,
    /// While any of these inputs demands.
    AnyOf(InputSet),
    /// While any of these is so.
    Any(Demands),
    /// While a trip demands it that has it as its reaction, and by nothing else: a stop until torque-off.
    Reaction,
}

/// What may demand a monitor; each read as the one that protects.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Demands {
    /// Inputs, while they demand.
    pub inputs: InputSet,
    /// Inputs, unless both of their channels demand and no fault of theirs is latched.
    pub not_inputs: InputSet,
    /// Outputs that were added before, while they are near on either channel.
    pub outputs: MonitorSet,
    /// Outputs that were added before, unless they are true.
    pub not_outputs: MonitorSet,
}

impl Demands {
    pub(crate) const fn is_empty(&self) -> bool {
        self.inputs.is_empty()
            && self.not_inputs.is_empty()
            && self.outputs.is_empty()
            && self.not_outputs.is_empty()
    }
}

/// How the position of a channel comes to mean a place of the machine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Referencing {
    /// Never: it counts from wherever it started.
    #[default]
    None,
    /// The counter knows: its zero is at `offset`.
    Absolute {
        /// The position at count zero.
        offset: Position,
    },
    /// When this input begins to demand, the axis is at `position`.
    Event {
        /// What declares it.
        input: InputId,
        /// Where the axis is then.
        position: Position,
    },
}

impl Referencing {
    /// The position at what a travel is measured from.
    pub(crate) const fn position(&self) -> Position {
        match self {
            Self::None => Position::ZERO,
            Self::Absolute { offset } => *offset,
            Self::Event { position, .. } => *position,
        }
    }
}
