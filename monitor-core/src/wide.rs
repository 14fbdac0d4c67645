//! 64 × 64 → 128 bit products and exact quotients without a division.
//!
//! `step` may not divide in 64 bits: on a 32-bit core that is a library call of hundreds of instructions. All
//! it needs are products, and quotients by a number that is known in advance or changes rarely.

use crate::units::{NANOS_PER_SECOND, Span};
use crate::widen::{u64_to_u128, u128_to_u64};

/// The high and low half of a product.
#[cfg_attr(target_pointer_width = "32", inline(never))]
#[cfg_attr(not(target_pointer_width = "32"), inline)]
pub(crate) fn mul(a: u64, b: u64) -> (u64, u64) {
    // Bounded because (2⁶⁴ − 1)² < 2¹²⁸.
    let product = u128::from(a).wrapping_mul(u128::from(b));
    (high(product), a.wrapping_mul(b))
}

/// `a × b / 2³²`, cut off.
#[inline]
pub(crate) fn mul_shr_32(a: u64, b: u32) -> u64 {
    // Two products of 32 bits: a quarter of what the whole one takes on a 32-bit core. Bounded because each is below 2⁶⁴, and the
    // whole below 2⁹⁶.
    let b = u64::from(b);
    let low = (a & u64::from(u32::MAX)).wrapping_mul(b) >> 32;
    (a >> 32).wrapping_mul(b).wrapping_add(low)
}

#[inline]
fn high(product: u128) -> u64 {
    // Cannot fail: 64 bits are left after the shift.
    u64::try_from(product >> 64).unwrap_or(u64::MAX)
}

/// A factor `k / 10⁹`, kept as whole number and 64-bit fraction: turns nanoseconds into what passes per
/// second, and counts held in billionths of a ULP into ULPs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Billionth {
    whole: u64,
    part: u64,
}

/// `n / d` cut off, and the remainder; both 0 for a divisor of 0. By shifting and subtracting, so that no library routine is
/// linked: for set-up time only. Divisors are below 2¹²⁷.
pub(crate) const fn divide(n: u128, d: u128) -> (u128, u128) {
    let (mut quotient, mut rest) = (0_u128, 0_u128);
    let mut left = n;
    let mut bit = 128_u32;
    while bit > 0 && d > 0 {
        // Bounded because the rest is below d < 2¹²⁷.
        rest = (rest << 1) | (left >> 127);
        left <<= 1;
        quotient <<= 1;
        if rest >= d {
            rest = rest.wrapping_sub(d);
            quotient |= 1;
        }
        bit = bit.wrapping_sub(1);
    }
    (quotient, rest)
}

/// [`divide`], or `None` when the quotient does not fit in 64 bits.
pub(crate) const fn divide_to_u64(n: u128, d: u128) -> Option<u64> {
    u128_to_u64(divide(n, d).0)
}

/// [`NANOS_PER_SECOND`], as wide as the products it divides.
const NANOS: u128 = 1_000_000_000;
/// The low 64 of 128 bits.
const LOW_HALF: u128 = (1 << 64) - 1;
/// Half a unit of the fraction.
const HALF: u64 = 1 << 63;
/// Just below one billionth of the fraction (10⁻⁹ · 2⁶⁴ = 1.84·10¹⁰ > 2³⁴).
const BELOW_A_BILLIONTH: u64 = 1 << 34;

impl Billionth {
    /// `k / 10⁹`, rounded up in the 64th fractional bit. Divides: for set-up time only.
    pub(crate) const fn up(k: u64) -> Self {
        let (held, rest) = Self::of(k);
        // Bounded because a remainder below 10⁹ gives at most (10⁹ − 1)/10⁹ · 2⁶⁴ + 1 < 2⁶⁴.
        if rest > 0 { Self { part: held.part.wrapping_add(1), ..held } } else { held }
    }

    /// `k / 10⁹`, rounded down in the 64th fractional bit. Divides: for set-up time only.
    pub(crate) const fn down(k: u64) -> Self {
        Self::of(k).0
    }

    /// Rounded down, and what that left over.
    const fn of(k: u64) -> (Self, u128) {
        // Bounded because k · 2⁶⁴ < 2¹²⁸; the quotient's high half is below 2⁶⁴, so neither half can fail to fit.
        let (quotient, rest) = divide(u64_to_u128(k) << 64, NANOS);
        let (Some(whole), Some(part)) = (u128_to_u64(quotient >> 64), u128_to_u64(quotient & LOW_HALF))
        else {
            return (Self { whole: u64::MAX, part: u64::MAX }, rest);
        };
        (Self { whole, part }, rest)
    }

    /// The `k` it was made of.
    pub(crate) fn numerator(self) -> u64 {
        // The fraction is off by less than 2⁻⁶⁴, so the nearest billionth is the right one.
        let (high, low) = mul(self.part, NANOS_PER_SECOND);
        // Bounded because the sum is what fitted in 64 bits.
        self.whole.wrapping_mul(NANOS_PER_SECOND).wrapping_add(high).wrapping_add(low >> 63)
    }

    /// `n × k / 10⁹` after adding `bias` in the 64th fractional bit and cutting the fraction off, or `None`
    /// beyond 63 bits.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    fn times(self, n: u64, bias: u64) -> Option<i64> {
        let (mut carry, fraction, whole_high, whole);
        if (n | self.whole) >> 32 == 0 {
            // Three products of 32 bits, of which a 32-bit core makes short work. Bounded because each sum is below 2⁶⁴.
            let low = n.wrapping_mul(self.part & u64::from(u32::MAX));
            let high = n.wrapping_mul(self.part >> 32).wrapping_add(low >> 32);
            (carry, fraction) = (high >> 32, high << 32 | low & u64::from(u32::MAX));
            (whole_high, whole) = (0, n.wrapping_mul(self.whole));
        } else {
            (whole_high, whole) = mul(n, self.whole);
            (carry, fraction) = mul(n, self.part);
        }
        let (_, overflow) = fraction.overflowing_add(bias);
        // Bounded because n × part < 2¹²⁸ − 2⁶⁴, so the high half has room for one more.
        carry = carry.wrapping_add(u64::from(overflow));
        if whole_high != 0 {
            return None;
        }
        i64::try_from(whole.checked_add(carry)?).ok()
    }

    /// Not less than any step of [`ceil`](Self::ceil) over 2 to the power of `log2` (1 to 24), and not much more: by shifting.
    pub(crate) fn above_over(self, log2: u32) -> i64 {
        // Bounded because the whole number is below 2⁶⁴/10⁹ < 2³⁵, so the sum is below 2⁶⁰.
        let whole = self.whole.wrapping_shl(log2);
        let part = self.part.wrapping_shr(64_u32.wrapping_sub(log2));
        whole.wrapping_add(part).wrapping_add(1).cast_signed()
    }

    /// As [`nearest`](Self::nearest) for a result known to be below 2⁶³.
    #[inline(always)]
    pub(crate) fn nearest_bounded(self, n: u64) -> i64 {
        let (high, low) = mul(n, self.part);
        // Bounded because the caller knows the result to be.
        n.wrapping_mul(self.whole).wrapping_add(high).wrapping_add(low >> 63).cast_signed()
    }

    /// `n × k / 10⁹` to nearest, ties up. Exact up to `n · 2⁻⁶⁴` beyond the half.
    #[cold]
    #[inline(never)]
    pub(crate) fn nearest(self, n: u64) -> Option<i64> {
        self.times(n, HALF)
    }

    /// `n × k / 10⁹` rounded up, for a factor made by [`Billionth::up`]: exact for `n < 2³⁴`, beyond at most one too large.
    #[inline]
    pub(crate) fn ceil(self, n: u64) -> Option<i64> {
        // The product is a whole number of billionths; what the factor's own rounding added is less than that.
        self.times(n, 0_u64.wrapping_sub(BELOW_A_BILLIONTH))
    }

    /// `n × k / 10⁹` rounded down, for the factor made of `k` by [`Billionth::down`], exactly; `None` beyond 63 bits.
    #[inline]
    pub(crate) fn floor(self, n: u64, k: u64) -> Option<i64> {
        let estimate = if self.whole == 0 { mul(n, self.part).0 } else { self.times(n, 0)?.unsigned_abs() };
        whole_billions(estimate, n.wrapping_mul(k))
    }
}

/// `per_second × span / 1 s` to nearest, ties up, exactly, for less than 2⁶¹ per second; `None` for a span of 2³² ns (4.29 s) or more.
pub(crate) fn over_span(per_second: u64, span: Span) -> Option<i64> {
    let (high, low) = mul(per_second, share_of_a_second(span)?);
    let (low, carry) = low.overflowing_add(1 << 60);
    // Bounded because 2⁶¹ · 4.295 < 2⁶⁴.
    let estimate = high.wrapping_add(u64::from(carry)) << 3 | low >> 61;
    let product = per_second.wrapping_mul(span.as_nanos());
    whole_billions(estimate, product.wrapping_add(NANOS_PER_SECOND >> 1))
}

/// As [`over_span`], rounded up; `None` also for 2⁶¹ per second or more.
pub(crate) fn over_span_up(per_second: u64, span: Span) -> Option<i64> {
    if per_second >> 61 != 0 {
        return None;
    }
    let (high, low) = mul(per_second, share_of_a_second(span)?);
    let product = per_second.wrapping_mul(span.as_nanos());
    // Bounded because 2⁶¹ · 4.295 < 2⁶⁴.
    let down = whole_billions(high << 3 | low >> 61, product)?;
    let is_whole = product == down.unsigned_abs().wrapping_mul(NANOS_PER_SECOND);
    down.checked_add(i64::from(!is_whole))
}

/// How many seconds a span is, as a multiple of 2⁻⁶¹, less than one of those too small: a product with less than 2⁶¹ is right or one
/// too small.
#[inline(always)]
fn share_of_a_second(span: Span) -> Option<u64> {
    // 2⁶¹ / 10⁹ = 2305843009.213693952, the fraction as a multiple of 2⁻⁶⁴.
    const WHOLE: u64 = 2_305_843_009;
    const PART: u64 = 3_941_957_642_643_573_384;
    let nanos = u64::from(u32::try_from(span.as_nanos()).ok()?);
    // Bounded because 2³² · 2³¹·¹⁰³ < 2⁶⁴.
    Some(nanos.wrapping_mul(WHOLE).wrapping_add(mul(nanos, PART).0))
}

/// The whole billions in a product, told from an estimate that is right or one too small, and from the low half of the product.
#[cfg_attr(target_pointer_width = "32", inline(never))]
#[cfg_attr(not(target_pointer_width = "32"), inline)]
fn whole_billions(estimate: u64, product: u64) -> Option<i64> {
    // The remainder is below 2·10⁹, so the low halves give it exactly.
    let rest = product.wrapping_sub(estimate.wrapping_mul(NANOS_PER_SECOND));
    i64::try_from(estimate.wrapping_add(u64::from(rest >= NANOS_PER_SECOND))).ok()
}

/// As [`over_span`], rounded down.
pub(crate) fn over_span_down(per_second: u64, span: Span) -> Option<i64> {
    let (high, low) = mul(per_second, share_of_a_second(span)?);
    // Bounded because 2⁶¹ · 4.295 < 2⁶⁴.
    whole_billions(high << 3 | low >> 61, per_second.wrapping_mul(span.as_nanos()))
}

/// A factor `numerator / denominator` for exact products, rounded down, without a division. Who uses it knows what it was made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Share {
    /// `numerator · 2^shift / denominator`, rounded down, its top bit set.
    factor: u64,
    shift: u32,
}

impl Share {
    /// `None` unless the numerator is 1 to 2⁶⁰ and the denominator 1 to 2⁶¹. Divides: for set-up time only.
    pub(crate) fn new(numerator: u64, denominator: u64) -> Option<Self> {
        if numerator == 0 || numerator > 1 << 60 || denominator == 0 || denominator > 1 << 61 {
            return None;
        }
        let up = u128::from(numerator).leading_zeros();
        // At least 2¹²⁷ / 2⁶¹.
        let (quotient, _) = divide(u128::from(numerator) << up, u128::from(denominator));
        let drop = 64_u32.checked_sub(quotient.leading_zeros())?;
        // Bounded because 67 ≤ up and drop ≤ 64.
        Some(Self { factor: u128_to_u64(quotient >> drop)?, shift: up.wrapping_sub(drop) })
    }

    /// `n · numerator / denominator`, rounded down, exactly, for what it was made of; `None` beyond 64 bits.
    #[inline(never)]
    pub(crate) fn floor(self, n: u64, numerator: u64, denominator: u64) -> Option<u64> {
        let (high, low) = mul(n, self.factor);
        let mut quotient = match self.shift.checked_sub(64) {
            Some(beyond) => high >> beyond,
            None if high >> self.shift == 0 => {
                high.wrapping_shl(64_u32.wrapping_sub(self.shift)) | low >> self.shift
            }
            None => return None,
        };
        // The factor is at least 2⁶³ and less than 1 too small, so this is less than 3 too small, and the remainder below 2⁶³: the
        // low halves give it exactly.
        let mut rest = n.wrapping_mul(numerator).wrapping_sub(quotient.wrapping_mul(denominator));
        for _ in 0..3 {
            if rest >= denominator {
                rest = rest.wrapping_sub(denominator);
                quotient = quotient.checked_add(1)?;
            }
        }
        Some(quotient)
    }
}

/// The square root, rounded down: bit by bit.
pub(crate) fn square_root(n: u64) -> u64 {
    let mut root = 0_u64;
    for bit in (0..32_u32).rev() {
        let candidate = root | 1_u64.wrapping_shl(bit);
        // Bounded because it is below 2³².
        if candidate.wrapping_mul(candidate) <= n {
            root = candidate;
        }
    }
    root
}

/// `n / span` per second, rounded down, exactly, and whether that is the whole; for a span of at least 2¹³ ns. `None` beyond 63 bits.
#[inline(never)]
pub(crate) fn per_second(n: u64, span: u32) -> Option<(i64, bool)> {
    // What one is, 10⁹ / span, as a multiple of 2⁻⁴⁴ rounded down: below 2⁶¹.
    let each = quotient_74(NANOS_PER_SECOND << 34, span);
    let (high, low) = mul(n, each);
    if high >> 43 != 0 {
        return None;
    }
    let estimate = high << 20 | low >> 44;
    // Less than n · 2⁻⁴⁴ + 1 ≤ 2²⁰ + 1 too small, so the remainder is below 2⁵³ and the low halves give it exactly.
    let rest = n.wrapping_mul(NANOS_PER_SECOND).wrapping_sub(estimate.wrapping_mul(u64::from(span)));
    let more = if rest < u64::from(span) { 0 } else { whole_quotient(rest, span) };
    let is_whole = rest == more.wrapping_mul(u64::from(span));
    i64::try_from(estimate.checked_add(more)?).ok().map(|quotient| (quotient, is_whole))
}

/// `floor(n / divisor)` for a number above 0 and a divisor of at least 2¹³.
fn whole_quotient(n: u64, divisor: u32) -> u64 {
    let zeros = n.leading_zeros();
    // Cutting off what cutting off left is cutting off at once. Bounded because zeros ≤ 63, and a shift of 64 or more would leave nothing.
    quotient_74(n.wrapping_shl(zeros), divisor).checked_shr(zeros.wrapping_add(10)).unwrap_or(0)
}

/// `floor(2⁶³ / e)` for a normalised `e` (top bit set), and the remainder: Newton's iteration from a straight line,
/// then at most a few steps of correction.
#[inline]
fn reciprocal(e: u32) -> (u64, u64) {
    let e = u64::from(e);
    // x ≈ 1/d for d = e/2³² in [½, 1), as a multiple of 2⁻³¹. Start: 48/17 − 32/17 d, at most 1/17 off; each
    // round squares the relative error: 1/289, 1/83521, 1.4·10⁻¹⁰.
    let mut x = 6_063_486_072_u64.wrapping_sub((e.wrapping_mul(4_042_322_160)) >> 32);
    for _ in 0..3 {
        // Bounded because e < 2³² and x ≤ 2³², so e·x < 2⁶⁴, and 2³² − d·x stays near 2³¹.
        let product = e.wrapping_mul(x) >> 32;
        x = x.wrapping_mul((1_u64 << 32).wrapping_sub(product)) >> 31;
    }
    // Start below the quotient, then come up to it.
    x = x.wrapping_sub(4);
    let mut rest = (1_u64 << 63).wrapping_sub(e.wrapping_mul(x));
    for _ in 0..8 {
        if rest >= e {
            rest = rest.wrapping_sub(e);
            x = x.wrapping_add(1);
        }
    }
    (x, rest)
}

/// `floor(numerator · 2¹⁰ / divisor)` for a normalised numerator (top bit set) and a divisor of at least 2¹³.
#[inline]
pub(crate) fn quotient_74(numerator: u64, divisor: u32) -> u64 {
    let shift = divisor.leading_zeros();
    let e = divisor.wrapping_shl(shift);
    let (x, rest) = reciprocal(e);
    // 2⁹⁵ / e = x·2³² + rest·2³²/e, and rest/e ≈ rest·x/2⁶³; rest < e < 2³² and x ≤ 2³², so nothing overflows
    // except x = 2³² itself (e = 2³¹), which is brought down by one.
    let fine = rest.wrapping_mul(x) >> 31;
    let wide = if x >> 32 == 0 { (x << 32).saturating_add(fine) } else { u64::MAX };
    let (product, _) = mul(numerator, wide);
    // numerator · 2⁹⁵/e / 2⁶⁴ = numerator · 2³¹/e; wanted is numerator · 2¹⁰/divisor = numerator · 2^(10+shift)/e.
    // Bounded because divisor ≥ 2¹³ makes shift ≤ 18.
    let mut quotient = product >> 21_u32.saturating_sub(shift);
    // Below the true quotient by a few: the remainder fits in 64 bits, so wrapping arithmetic gives it exactly.
    let divisor = u64::from(divisor);
    quotient = quotient.saturating_sub(4);
    let mut rest = (numerator << 10).wrapping_sub(quotient.wrapping_mul(divisor));
    for _ in 0..16 {
        if rest >= divisor {
            rest = rest.wrapping_sub(divisor);
            quotient = quotient.wrapping_add(1);
        }
    }
    quotient
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers() -> impl Iterator<Item = u64> {
        // A 64-bit xorshift, shifted to spread the magnitudes.
        let mut state = 0x9e37_79b9_7f4a_7c15_u64;
        (0..200_000_u32).map(move |i| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state >> (i % 64)
        })
    }

    #[test]
    fn a_quotient_equals_the_long_division() {
        for (i, n) in numbers().enumerate() {
            let numerator = n.rotate_left(7) | (1 << 63);
            let wanted = (n ^ (n >> 29)).max(1) as u32;
            let divisor = match i % 4 {
                0 => wanted.max(1 << 13),
                1 => (1 << 13) + (wanted & 0xff),
                2 => u32::MAX - (wanted & 0xff),
                _ => (1 << (13 + wanted % 19)) + (wanted & 1),
            };
            let exact = (u128::from(numerator) << 10) / u128::from(divisor);
            assert_eq!(u128::from(quotient_74(numerator, divisor)), exact, "{numerator} / {divisor}");
        }
    }

    #[test]
    fn a_rate_per_second_equals_the_long_division() {
        let mut numbers = numbers();
        let mut met = (0, 0);
        while let (Some(n), Some(span)) = (numbers.next(), numbers.next()) {
            let n = n >> 1;
            let span = match n % 3 {
                0 => (span as u32).max(1 << 13),
                1 => (span as u32 % 10_000_000).max(10_000),
                _ => 8_000_000,
            };
            let n = if n % 5 == 0 { n - n % u64::from(span) } else { n };
            let (product, span_wide) = (u128::from(n) * u128::from(NANOS_PER_SECOND), u128::from(span));
            let exact = i64::try_from(product / span_wide).ok();
            assert_eq!(per_second(n, span), exact.map(|q| (q, product % span_wide == 0)), "{n} {span}");
            met.0 += u32::from(exact.is_none());
            met.1 += u32::from(product % span_wide == 0);
        }
        assert!(met.0 > 1000 && met.1 > 1000, "{met:?}");
    }

    #[test]
    fn a_share_equals_the_long_division() {
        let mut numbers = numbers();
        let mut met = (0, 0);
        while let (Some(n), Some(d)) = (numbers.next(), numbers.next()) {
            for numerator in [NANOS_PER_SECOND, NANOS_PER_SECOND * NANOS_PER_SECOND, 1 << 60, 1] {
                let denominator = (d >> 3).max(1);
                let n = if n % 3 == 0 { n - n % denominator } else { n };
                let product = u128::from(n) * u128::from(numerator);
                let exact = u64::try_from(product / u128::from(denominator)).ok();
                let share = Share::new(numerator, denominator).unwrap();
                assert_eq!(share.floor(n, numerator, denominator), exact, "{n} {numerator} {denominator}");
                met.0 += u32::from(exact.is_none());
                met.1 += u32::from(product % u128::from(denominator) == 0);
            }
        }
        assert!(met.0 > 10_000 && met.1 > 10_000, "{met:?}");
        assert!(Share::new(0, 1).is_none() && Share::new(1, 0).is_none());
        assert!(Share::new((1 << 60) + 1, 1).is_none() && Share::new(1, (1 << 61) + 1).is_none());
    }

    #[test]
    fn a_square_root_is_the_largest_number_whose_square_is_not_more() {
        for n in numbers().chain([0, 1, 2, 3, 4, u64::MAX, u64::MAX - 1, (1 << 62) - 1, 1 << 62]) {
            assert_eq!(square_root(n), n.isqrt());
            let square = (n >> 32) * (n >> 32);
            assert_eq!(square_root(square), n >> 32);
        }
    }

    #[test]
    fn dividing_by_shifting_equals_the_division() {
        let mut numbers = numbers();
        while let (Some(high), Some(low), Some(d)) = (numbers.next(), numbers.next(), numbers.next()) {
            let (n, d) = ((u128::from(high) << 64) | u128::from(low), u128::from(d.max(1)) << (high % 63));
            assert_eq!(divide(n, d), (n / d, n % d), "{n} / {d}");
        }
        assert_eq!(divide(7, 0), (0, 0));
    }

    #[test]
    fn what_a_billionth_was_made_of_can_be_told() {
        for k in numbers() {
            assert_eq!(Billionth::up(k).numerator(), k);
            assert_eq!(Billionth::down(k).numerator(), k);
        }
    }

    #[test]
    fn whole_products_and_ties_are_met_exactly() {
        let mut met = (0, 0);
        let mut numbers = numbers();
        while let (Some(k), Some(n)) = (numbers.next(), numbers.next()) {
            // Of skew allowances and ages, and of speeds in round numbers.
            let (k, n) = (1_000 * (k % 4_000_001), (n % (1 << 50)) * 500);
            let product = u128::from(k) * u128::from(n);
            let nano = u128::from(NANOS_PER_SECOND);
            assert_eq!(Billionth::down(k).floor(n, k), i64::try_from(product / nano).ok(), "{k} {n}");
            met.0 += u32::from(product.is_multiple_of(nano));
            let nearest = i64::try_from((product + nano / 2) / nano).ok();
            assert_eq!(over_span(n, Span::from_nanos(k)), nearest, "{k} {n}");
            met.1 += u32::from(product % nano == nano / 2);
            let up = i64::try_from(product.div_ceil(nano)).ok().filter(|_| n < 1 << 61);
            assert_eq!(over_span_up(n, Span::from_nanos(k)), up, "{k} {n}");
            let down = i64::try_from(product / nano).ok();
            assert_eq!(over_span_down(n, Span::from_nanos(k)), down, "{k} {n}");
        }
        assert!(met.0 > 50 && met.1 > 50, "{met:?}");
        let (fastest, longest) = ((1 << 61) - 1, Span::from_nanos(4_000_000_000));
        assert_eq!(over_span(fastest, longest), Some(4 * ((1 << 61) - 1)));
        assert_eq!(over_span_up((1 << 61) - 1, longest), Some(4 * ((1 << 61) - 1)));
        assert_eq!(over_span(1, Span::from_nanos(1 << 32)), None);
        assert_eq!(over_span_up(1, Span::from_nanos(1 << 32)), None);
        assert_eq!(over_span_up(1 << 61, Span::from_nanos(1)), None);
    }

    #[test]
    fn no_step_of_a_rounded_up_product_is_above_what_was_said_of_all() {
        let mut numbers = numbers();
        let mut near = 0;
        while let (Some(k), Some(n)) = (numbers.next(), numbers.next()) {
            let factor = Billionth::up(k);
            for log2 in [1, 21, 24] {
                let n = n >> 20;
                let (Some(before), Some(after)) = (factor.ceil(n), factor.ceil(n + (1 << log2))) else {
                    continue;
                };
                let above = factor.above_over(log2);
                assert!(after - before <= above, "{k} {n} {log2}: {before} {after} {above}");
                near += u32::from(above - (after - before) <= 1);
            }
        }
        assert!(near > 100_000, "{near}");
    }

    #[test]
    fn a_billionth_rounds_as_its_name_says() {
        let mut numbers = numbers();
        while let (Some(k), Some(n)) = (numbers.next(), numbers.next()) {
            let product = u128::from(k) * u128::from(n);
            let nano = u128::from(NANOS_PER_SECOND);
            let fits = |x: u128| i64::try_from(x).ok();
            if n < 1 << 34 {
                assert_eq!(Billionth::up(k).ceil(n), fits(product.div_ceil(nano)), "ceil {k} {n}");
            }
            assert_eq!(Billionth::down(k).floor(n, k), fits(product / nano), "floor {k} {n}");
            if u128::from(n) * nano < 1 << 63 {
                assert_eq!(Billionth::up(k).nearest(n), fits((product + nano / 2) / nano), "nearest {k} {n}");
            }
        }
    }
}
