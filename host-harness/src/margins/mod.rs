//! Before any motion: what a setup can bear and what a trip costs.
//!
//! - [`reaction()`]: how long it takes from a rule that is truly broken, or a line that demands it, to the torque that is gone: term
//!   by term, by section 10 of the rules of `monitor-core`.
//! - [`travels`]: how far the axis gets until it stands; [`Margins`]: all of it, and what settings must leave room for, beside
//!   what is set.
//! - [`kinematics`]: how far a runaway gets; [`iso13855`]: the distance that a person's approach needs.
//!
//! Everything is worked out from the setup alone: its settings, and what its sections `[machine]`, `[sensors]`, `[contacts]` and
//! `[approach]` say of what it is applied to. Times are rounded up to the nanosecond.

mod amount;
mod assess;
mod findings;
pub mod iso13855;
mod json;
pub mod kinematics;
mod limits;
mod line;
mod misread;
mod need;
mod pairs;
mod path;
mod reaction;
mod readings;
#[cfg(test)]
mod tests;
mod text;
mod timing;
mod travel;
mod words;

pub use amount::Figure;
pub use assess::{Approached, Approaches, Cost, Margins, PeriodFrom, Resolution, safety_distance};
pub use json::{
    ApproachMargins, ApproachedMargins, ChannelMargins, FigureReport, FindingReport, MarginsReport,
    PathMargins, RuleMargins, SCHEMA_VERSION, SettingMargins, TermMargins, TravelMargins, json_schema,
};
pub use need::{Finding, Need, Share, Subject};
pub use path::{Broken, Part, Path, Reaction, Term};
pub use reaction::reaction;
pub use text::text;
pub use timing::{period, stop_duration};
pub use travel::{Stretch, Travel, apart_at_torque_off, travels};
