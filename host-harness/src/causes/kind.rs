//! The kinds of causes.

use schemars::JsonSchema;
use serde::Serialize;

/// The causes without their evidence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CauseKind {
    /// [`Cause::KnownAges`](super::Cause::KnownAges).
    KnownAges,
    /// [`Cause::Reference`](super::Cause::Reference).
    Reference,
    /// [`Cause::Scale`](super::Cause::Scale).
    Scale,
    /// [`Cause::TimeSkew`](super::Cause::TimeSkew).
    TimeSkew,
    /// [`Cause::Compliance`](super::Cause::Compliance).
    Compliance,
    /// [`Cause::Backlash`](super::Cause::Backlash).
    Backlash,
    /// [`Cause::Eccentricity`](super::Cause::Eccentricity).
    Eccentricity,
    /// [`Cause::Drift`](super::Cause::Drift).
    Drift,
    /// [`Cause::Slip`](super::Cause::Slip).
    Slip,
    /// [`Cause::Jump`](super::Cause::Jump).
    Jump,
    /// [`Cause::Spike`](super::Cause::Spike).
    Spike,
    /// [`Cause::LostCounts`](super::Cause::LostCounts).
    LostCounts,
    /// [`Cause::Frozen`](super::Cause::Frozen).
    Frozen,
    /// [`Cause::Reversed`](super::Cause::Reversed).
    Reversed,
}

impl CauseKind {
    /// Its name in words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::KnownAges => "known ages of the readings",
            Self::Reference => "offset at the reference",
            Self::Scale => "scale mismatch",
            Self::TimeSkew => "time skew",
            Self::Compliance => "compliance",
            Self::Backlash => "backlash",
            Self::Eccentricity => "eccentricity",
            Self::Drift => "drift",
            Self::Slip => "slip",
            Self::Jump => "jump",
            Self::Spike => "spike",
            Self::LostCounts => "lost counts",
            Self::Frozen => "frozen",
            Self::Reversed => "reversed",
        }
    }
}
