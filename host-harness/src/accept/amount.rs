//! A measured value and its bound, as both reports show it.

use std::borrow::Cow;
use std::fmt;

use monitor_core::Position;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::ser::{Serialize, SerializeStruct, Serializer};

use crate::report::{Exact, Seconds, millis};

/// A time, or a value in the unit of what is compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Amount {
    /// In ns.
    Time(i128),
    /// In steps of 2⁻²⁴ of the unit.
    Value(i64, String),
}

impl Amount {
    /// What is left to a bound of the same kind; negative beyond it.
    #[must_use]
    pub fn left_to(&self, bound: &Self) -> Option<Self> {
        match (self, bound) {
            (Self::Time(measured), Self::Time(bound)) => Some(Self::Time(bound - measured)),
            (Self::Value(measured, unit), Self::Value(bound, other)) if unit == other => {
                Some(Self::Value(bound.saturating_sub(*measured), unit.clone()))
            }
            _ => None,
        }
    }

    /// Whether it is below zero.
    #[must_use]
    pub const fn is_negative(&self) -> bool {
        match self {
            Self::Time(nanos) => *nanos < 0,
            Self::Value(bits, _) => *bits < 0,
        }
    }
}

/// A time in ms with every digit, a value with four decimals.
impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Time(nanos) => write!(f, "{} ms", millis(*nanos)),
            Self::Value(bits, unit) => write!(f, "{:.4} {unit}", Position::from_bits(*bits)),
        }
    }
}

/// Times in s.
impl Serialize for Amount {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut fields = serializer.serialize_struct("Amount", 2)?;
        match self {
            Self::Time(nanos) => {
                fields.serialize_field("value", &Seconds(*nanos))?;
                fields.serialize_field("unit", "s")?;
            }
            Self::Value(bits, unit) => {
                fields.serialize_field("value", &Exact::from(Position::from_bits(*bits)))?;
                fields.serialize_field("unit", unit)?;
            }
        }
        fields.end()
    }
}

impl JsonSchema for Amount {
    fn schema_name() -> Cow<'static, str> {
        "Amount".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "object",
            "description": "A value and its unit. A time is in s, with nine decimals; anything else is a multiple of 2^-24 of its unit, with as many decimals as tell it from its neighbours.",
            "properties": { "value": { "type": "number" }, "unit": { "type": "string" } },
            "required": ["value", "unit"],
            "additionalProperties": false
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_is_told_in_the_unit_of_both_and_never_across_units() {
        let speed = |bits| Amount::Value(bits, "mm/s".to_owned());
        assert_eq!(speed(3 << 24).left_to(&speed(1 << 24)), Some(speed(-2 << 24)));
        assert_eq!(speed(1).left_to(&Amount::Value(1, "mm".to_owned())), None);
        assert_eq!(speed(1).left_to(&Amount::Time(1)), None);
        assert_eq!(Amount::Time(5_250_000).to_string(), "5.25 ms");
        assert!(Amount::Time(20).left_to(&Amount::Time(19)).is_some_and(|left| left.is_negative()));
    }

    #[test]
    fn the_json_of_a_time_is_in_seconds() {
        assert_eq!(
            serde_json::to_string(&Amount::Time(5_250_000)).unwrap(),
            r#"{"value":0.005250000,"unit":"s"}"#
        );
    }
}
