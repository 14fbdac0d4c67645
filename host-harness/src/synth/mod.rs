//! Synthetic traces.
mod check;
mod encoder;
mod encoder_check;
mod error;
mod fault_check;
mod file;
mod input;
mod motion;
mod numeric;
mod output;
mod planted;
mod scenario;
mod sink;
mod units;
mod write;

pub use error::{ScenarioError, WriteError};
pub use motion::{MotionState, Truth};
pub use planted::{Planted, PlantedKind};
pub use scenario::Scenario;
pub use sink::{Sink, create};
pub use write::Written;
