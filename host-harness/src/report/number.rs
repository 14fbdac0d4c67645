//! Numbers in JSON that lose nothing.

use std::borrow::Cow;
use std::fmt;

use monitor_core::{Acceleration, Position, Speed, Value};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Serialize, Serializer};
use serde_json::value::RawValue;

/// A time in ns, shown as decimal seconds with all nine places.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Seconds(pub i128);

impl fmt::Display for Seconds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = self.0.unsigned_abs();
        let text = format!("{}.{:09}", size / 1_000_000_000, size % 1_000_000_000);
        f.pad_integral(self.0 >= 0, "", &text)
    }
}

/// A value with 24 fractional bits, shown with as many decimals as tell it from its neighbours.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exact(String);

impl From<Position> for Exact {
    fn from(value: Position) -> Self {
        Self(value.value().to_string())
    }
}

impl From<Speed> for Exact {
    fn from(value: Speed) -> Self {
        Self(value.value().to_string())
    }
}

impl From<Acceleration> for Exact {
    fn from(value: Acceleration) -> Self {
        Self(value.value().to_string())
    }
}

impl From<Value> for Exact {
    fn from(value: Value) -> Self {
        Self(value.value().to_string())
    }
}

impl fmt::Display for Exact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn raw<S: Serializer>(text: String, serializer: S) -> Result<S::Ok, S::Error> {
    RawValue::from_string(text).map_err(serde::ser::Error::custom)?.serialize(serializer)
}

impl Serialize for Seconds {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        raw(self.to_string(), serializer)
    }
}

impl Serialize for Exact {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        raw(self.0.clone(), serializer)
    }
}

impl JsonSchema for Seconds {
    fn schema_name() -> Cow<'static, str> {
        "Seconds".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "number",
            "description": "Seconds with nine decimals; read it as a decimal, not as a float, if the clock counts from an epoch."
        })
    }
}

impl JsonSchema for Exact {
    fn schema_name() -> Cow<'static, str> {
        "Exact".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "number",
            "description": "A multiple of 2^-24, with as many decimals as tell it from its neighbours."
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_keep_every_nanosecond_and_their_sign() {
        assert_eq!(Seconds(1_700_000_000_123_456_789).to_string(), "1700000000.123456789");
        assert_eq!(Seconds(-1).to_string(), "-0.000000001");
        assert_eq!(serde_json::to_string(&Seconds(250_000)).unwrap(), "0.000250000");
    }

    #[test]
    fn an_exact_value_reads_back_as_the_same_fixed_point_value() {
        for bits in [1_i64, -1, 419_430_400, 4_194_304_001, i64::MAX, i64::MIN] {
            let text = Exact::from(Speed::from_bits(bits)).to_string();
            let back = crate::decimal::parse_number(&text).unwrap();
            assert_eq!(crate::decimal::to_ulps(&back, crate::decimal::Rounding::Nearest), Ok(bits), "{text}");
        }
    }
}
