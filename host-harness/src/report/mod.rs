//! Reports on a replay: the same facts as text for people and as JSON for programs.

mod json;
mod names;
mod number;
mod text;

pub use json::{Report, SCHEMA_VERSION, json_schema};
pub use number::{Exact, Seconds};
pub use text::{CAUTION, text};
