//! What a trace file holds, before there is a setup: names, units, kinds and ends of all its columns, how its times are spread, and the
//! draft of a setup.
//!
//! [`survey`] reads a file once from its beginning to its end, in memory that does not grow with its length. Numbers of text are compared
//! exactly and shown as they are written. The period of the rows is the median of all; a period of more than three medians is a
//! gap. Where there are more different periods than memory is spent on, neighbouring ones are made one, and the report says how far off
//! the median may be.
//!
//! [`draft`] writes a setup with what can be guessed from names and values, marks every guess, and leaves out what a trace cannot tell.
//! Limits are never drafted.

mod delimited;
mod doubled;
mod draft;
mod guess;
mod profile;
mod rate;
mod shown;
mod survey;
mod text;
mod typed;

pub use doubled::DoubledSurvey;
pub use draft::draft;
pub(crate) use survey::times_by_name;
pub use survey::{
    ColumnSurvey, ColumnsError, Gap, GroupSurvey, HoldsReport, PairSurvey, Place, SCHEMA_VERSION, Survey,
    TimeSurvey, json_schema, survey,
};
pub use text::text;
