//! The scenario file as it is written, before its values are checked.
//!
//! Every value keeps its place in the file, so that a later complaint can name line and column. Alternatives are
//! optional keys of one flat table; `scenario` decides which combination is meant.

use serde::Deserialize;
use toml::Spanned;

/// A value with its unit, and where it is written.
pub(super) type Text = Spanned<String>;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ScenarioFile {
    pub(super) title: Text,
    pub(super) note: Option<Text>,
    pub(super) seed: Spanned<i64>,
    pub(super) unit: Text,
    pub(super) duration: Text,
    pub(super) rate: Option<Text>,
    pub(super) period: Option<Text>,
    pub(super) motion: Motion,
    #[serde(rename = "move", default)]
    pub(super) moves: Vec<Spanned<Move>>,
    pub(super) encoder: Encoders,
    #[serde(default)]
    pub(super) input: Vec<Input>,
    #[serde(default)]
    pub(super) analogue: Vec<Analogue>,
    #[serde(default)]
    pub(super) fault: Vec<Fault>,
    #[serde(default)]
    pub(super) disturbance: Vec<Disturbance>,
    #[serde(default)]
    pub(super) output: Output,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Motion {
    pub(super) start: Option<Text>,
    pub(super) speed: Option<Text>,
    pub(super) acceleration: Option<Text>,
    pub(super) jerk: Option<Text>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Move {
    pub(super) at: Option<Text>,
    pub(super) wait: Option<Text>,
    pub(super) to: Option<Text>,
    pub(super) speed: Option<Text>,
    pub(super) acceleration: Option<Text>,
    pub(super) jerk: Option<Text>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Encoders {
    pub(super) a: Encoder,
    pub(super) b: Encoder,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Encoder {
    pub(super) column: Text,
    pub(super) unit_per_count: Option<Text>,
    pub(super) counter_bits: Option<Spanned<i64>>,
    pub(super) start_count: Option<Spanned<Count>>,
    pub(super) signed: Option<Spanned<bool>>,
    pub(super) column_unit: Option<Text>,
    pub(super) decimals: Option<Spanned<i64>>,
    #[serde(default)]
    pub(super) reversed: bool,
    pub(super) latency: Option<Text>,
    pub(super) jitter: Option<Text>,
    pub(super) period: Option<Text>,
    pub(super) phase: Option<Text>,
    #[serde(default)]
    pub(super) sparse: bool,
    pub(super) noise: Option<Text>,
    pub(super) scale_error: Option<Text>,
    pub(super) eccentricity: Option<Eccentricity>,
    pub(super) backlash: Option<Text>,
    pub(super) compliance: Option<Compliance>,
    pub(super) capture_column: Option<Text>,
    pub(super) capture_unit: Option<Text>,
    pub(super) valid_column: Option<Text>,
}

/// A count: an integer, or a string for counts above 2^63.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
pub(super) enum Count {
    Number(i64),
    Digits(String),
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Eccentricity {
    pub(super) amplitude: Text,
    pub(super) period: Text,
    pub(super) phase: Option<Text>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Compliance {
    pub(super) by: Text,
    pub(super) per: Text,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Input {
    pub(super) column: Text,
    pub(super) initial: Spanned<i64>,
    #[serde(default)]
    pub(super) events: Vec<Event>,
    pub(super) bounce: Option<Bounce>,
    pub(super) stuck_from: Option<Text>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Analogue {
    pub(super) columns: Spanned<Vec<Text>>,
    pub(super) valid_columns: Option<Spanned<Vec<Text>>>,
    pub(super) unit: Text,
    pub(super) decimals: Spanned<i64>,
    pub(super) points: Spanned<Vec<Point>>,
    pub(super) noise: Option<Text>,
    pub(super) offset: Option<Offset>,
    #[serde(default)]
    pub(super) sparse: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Point {
    pub(super) at: Text,
    pub(super) value: Text,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Offset {
    pub(super) by: Text,
    pub(super) from: Option<Text>,
    pub(super) until: Option<Text>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Event {
    pub(super) at: Text,
    pub(super) level: Spanned<i64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Bounce {
    #[serde(rename = "for")]
    pub(super) duration: Text,
    pub(super) every: Text,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Fault {
    pub(super) kind: Text,
    pub(super) source: Option<Text>,
    pub(super) at: Text,
    pub(super) until: Option<Text>,
    pub(super) by: Option<Text>,
    pub(super) over: Option<Text>,
    pub(super) rate: Option<Text>,
    pub(super) speed: Option<Text>,
    pub(super) to: Option<Text>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Disturbance {
    pub(super) kind: Text,
    pub(super) at: Text,
    pub(super) until: Option<Text>,
    pub(super) by: Option<Text>,
    pub(super) over: Option<Text>,
    pub(super) amplitude: Option<Text>,
    pub(super) frequency: Option<Text>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Output {
    pub(super) columns: Option<Vec<Text>>,
    pub(super) time_column: Option<Text>,
    pub(super) time_unit: Option<Text>,
    pub(super) time_decimals: Option<Spanned<i64>>,
    pub(super) start_time: Option<Text>,
    pub(super) delimiter: Option<Text>,
    pub(super) decimal_comma: Option<Spanned<bool>>,
}
