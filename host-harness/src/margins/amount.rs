//! Exact figures that are rounded once, towards what is worse.

use std::ops::{Add, Div, Mul, Sub};

use monitor_core::{Acceleration, Position, Span, Speed};
use num_rational::Ratio;
use num_traits::{CheckedAdd, CheckedDiv, CheckedMul, CheckedSub, Signed, ToPrimitive, Zero};

use crate::decimal::{Exact, Rounding, ULPS_PER_UNIT, round_scaled, to_ulps};

const NANOS: i128 = 1_000_000_000;

/// An exact number in mm or deg, and s; nothing where it is too large to be worked out, and then every figure that comes of it is nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Amount(pub(super) Option<Exact>);

impl Amount {
    pub(super) const ZERO: Self = Self(Some(Ratio::new_raw(0, 1)));

    pub(super) fn whole(value: i128) -> Self {
        Self(Some(Exact::from_integer(value)))
    }

    /// Units of 2⁻²⁴.
    fn of_ulps(bits: i64) -> Self {
        Self(Some(Exact::new(i128::from(bits), i128::from(ULPS_PER_UNIT))))
    }

    /// The larger of both.
    pub(super) fn max(self, other: Self) -> Self {
        Self(self.0.zip(other.0).map(|(one, other)| one.max(other)))
    }

    /// The smaller of both.
    pub(super) fn min(self, other: Self) -> Self {
        Self(self.0.zip(other.0).map(|(one, other)| one.min(other)))
    }

    /// Never below zero.
    pub(super) fn or_zero(self) -> Self {
        self.max(Self::ZERO)
    }

    pub(super) fn half(self) -> Self {
        self / Self::whole(2)
    }

    pub(super) fn squared(self) -> Self {
        self * self
    }

    /// Rounded up to a multiple of 2⁻²⁴, so that products of it stay short.
    pub(super) fn up(self) -> Self {
        Self(
            self.0
                .and_then(|value| to_ulps_or_zero(&value))
                .map(|bits| Exact::new(i128::from(bits), i128::from(ULPS_PER_UNIT))),
        )
    }

    /// The square root, rounded up to a multiple of 2⁻²⁴; of a negative number zero.
    pub(super) fn root_up(self) -> Self {
        // The root of bits of 2⁻⁴⁸ is in bits of 2⁻²⁴.
        let square = self.or_zero().0.and_then(|value| round_scaled(&value, 1 << 48, Rounding::Up));
        let root = square.and_then(|square| u128::try_from(square).ok()).map(|square| {
            let root = square.isqrt();
            if root * root < square { root + 1 } else { root }
        });
        Self(
            root.and_then(|root| i128::try_from(root).ok())
                .map(|root| Exact::new(root, i128::from(ULPS_PER_UNIT))),
        )
    }

    fn bits_up(self) -> Option<i64> {
        self.0.and_then(|value| to_ulps_or_zero(&value))
    }

    /// As a position, rounded up.
    pub(super) fn position(self) -> Option<Position> {
        self.bits_up().map(Position::from_bits)
    }

    /// As a speed, rounded up.
    pub(super) fn speed(self) -> Option<Speed> {
        self.bits_up().map(Speed::from_bits)
    }

    /// As an acceleration, rounded up.
    pub(super) fn acceleration(self) -> Option<Acceleration> {
        self.bits_up().map(Acceleration::from_bits)
    }

    /// As a time, rounded up to the nanosecond.
    pub(super) fn span(self) -> Option<Span> {
        let nanos = round_scaled(&self.0?, NANOS.to_u64()?, Rounding::Up)?;
        u64::try_from(nanos.max(0)).ok().map(Span::from_nanos)
    }
}

fn to_ulps_or_zero(value: &Exact) -> Option<i64> {
    if value.is_zero() {
        return Some(0);
    }
    match to_ulps(value, Rounding::Up) {
        Ok(bits) => Some(bits),
        // A negative number above a bit rounds up to zero.
        Err(crate::decimal::RangeError::TooFine) if value.is_negative() => Some(0),
        Err(_) => None,
    }
}

impl From<Position> for Amount {
    fn from(value: Position) -> Self {
        Self::of_ulps(value.to_bits())
    }
}

impl From<Speed> for Amount {
    fn from(value: Speed) -> Self {
        Self::of_ulps(value.to_bits())
    }
}

impl From<Acceleration> for Amount {
    fn from(value: Acceleration) -> Self {
        Self::of_ulps(value.to_bits())
    }
}

/// In seconds.
impl From<Span> for Amount {
    fn from(value: Span) -> Self {
        Self(Some(Exact::new(i128::from(value.as_nanos()), NANOS)))
    }
}

macro_rules! operator {
    ($($operator:ident $method:ident $checked:ident;)+) => {
        $(impl $operator for Amount {
            type Output = Self;
            fn $method(self, other: Self) -> Self {
                Self(self.0.zip(other.0).and_then(|(one, other)| one.$checked(&other)))
            }
        })+
    };
}

operator! {
    Add add checked_add;
    Sub sub checked_sub;
    Mul mul checked_mul;
    Div div checked_div;
}

impl std::iter::Sum for Amount {
    fn sum<I: Iterator<Item = Self>>(amounts: I) -> Self {
        amounts.fold(Self::ZERO, Add::add)
    }
}

/// A figure in the unit of the axis, or a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// A distance.
    Position(Position),
    /// A speed.
    Speed(Speed),
    /// An acceleration.
    Acceleration(Acceleration),
    /// A time.
    Time(Span),
}

/// What kind of figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Position,
    Speed,
    Acceleration,
    Time,
}

impl Kind {
    /// The amount as such a figure, rounded up.
    pub(super) fn of(self, amount: Amount) -> Option<Figure> {
        match self {
            Self::Position => amount.position().map(Figure::Position),
            Self::Speed => amount.speed().map(Figure::Speed),
            Self::Acceleration => amount.acceleration().map(Figure::Acceleration),
            Self::Time => amount.span().map(Figure::Time),
        }
    }
}
