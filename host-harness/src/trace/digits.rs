//! Numbers and levels out of bytes, for the quick way through a row.
//!
//! Every function takes the bytes from here on and returns those behind what it has read, or `None` when it
//! leaves the row to the careful way.

use super::scale::{FAST_PLACES, Scale};

/// What a number looks like: its sign, and how many digits stand before and after the decimal mark.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shape {
    sign: Sign,
    whole: Run,
    places: Option<Run>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sign {
    None,
    Minus,
}

/// How many digits there are, 1 to 8, with what follows from that.
#[derive(Clone, Copy, Debug)]
struct Run {
    count: usize,
    /// The bits of a word of eight bytes that do not belong to the run.
    unused: u32,
    /// The power of ten that makes room for the run.
    ten: u64,
}

impl Run {
    fn new(count: usize) -> Option<Self> {
        let digits = u32::try_from(count).ok().filter(|digits| (1..=8).contains(digits))?;
        Some(Self { count, unused: 64 - 8 * digits, ten: 10_u64.pow(digits) })
    }
}

/// A number as its digits and where the decimal mark stands.
pub(super) struct Digits {
    pub(super) negative: bool,
    pub(super) digits: u64,
    pub(super) places: usize,
}

impl Digits {
    #[inline]
    pub(super) fn times(&self, scale: &Scale) -> Option<i64> {
        scale.apply_small(self.negative, self.digits, self.places)
    }

    /// The magnitude, if it is whole.
    #[inline]
    pub(super) fn whole(&self) -> Option<u64> {
        if self.places == 0 { Some(self.digits) } else { self.whole_with_places() }
    }

    /// Counts written as `1234.0`.
    #[cold]
    fn whole_with_places(&self) -> Option<u64> {
        let one = 10_u64.checked_pow(u32::try_from(self.places).ok()?)?;
        self.digits.is_multiple_of(one).then_some(self.digits / one)
    }
}

/// Reads a number and the end of its cell. First as one of the shape that the cell had in the row before, then
/// as any.
#[inline(always)]
pub(super) fn number(rest: &mut &[u8], shape: &mut Option<Shape>, mark: u8, end: u8) -> Option<Digits> {
    let as_before = shape.as_ref().and_then(|shape| number_as_before(rest, shape, mark, end));
    let (digits, after) = match as_before {
        Some(read) => read,
        None => {
            let (digits, after) = number_of_any_shape(rest, shape, mark)?;
            (digits, end_of_cell(after, end)?)
        }
    };
    *rest = after;
    Some(digits)
}

/// What follows the end of a cell; `None` when that is not here.
#[inline(always)]
pub(super) const fn end_of_cell(rest: &[u8], end: u8) -> Option<&[u8]> {
    match rest {
        [byte, rest @ ..] if *byte == end => Some(rest),
        [b'\r', b'\n', rest @ ..] if end == b'\n' => Some(rest),
        _ => None,
    }
}

/// Reads a number of a known shape and the `end` behind it, eight digits at a time.
///
/// The lengths come from the row before and are only confirmed here, so the next cell can be begun before
/// this one is through.
#[inline(always)]
fn number_as_before<'a>(rest: &'a [u8], shape: &Shape, mark: u8, end: u8) -> Option<(Digits, &'a [u8])> {
    let mut rest = rest;
    if shape.sign == Sign::Minus {
        match rest {
            [b'-', after @ ..] => rest = after,
            _ => return None,
        }
    }
    let (mut digits, mut rest) = run_of_digits(rest, &shape.whole)?;
    let mut places = 0;
    if let Some(run) = &shape.places {
        let [byte, after @ ..] = rest else { return None };
        if *byte != mark {
            return None;
        }
        let (fraction, after) = run_of_digits(after, run)?;
        digits = digits * run.ten + fraction;
        places = run.count;
        rest = after;
    }
    match rest {
        [byte, rest @ ..] if *byte == end => {
            Some((Digits { negative: shape.sign == Sign::Minus, digits, places }, rest))
        }
        _ => None,
    }
}

/// The number that the bytes at the front make, if all of the run are digits.
#[inline(always)]
fn run_of_digits<'a>(rest: &'a [u8], run: &Run) -> Option<(u64, &'a [u8])> {
    const EACH: u64 = 0x0101_0101_0101_0101;
    // The first byte is the lowest. What does not belong to the number goes out at the top, and what remains
    // has leading zeros in front, that is, below.
    let text = u64::from_le_bytes(*rest.first_chunk()?);
    let values = (text ^ (EACH * 0x30)) << run.unused;
    // A digit has become its value, 0 to 9, and every other byte something greater: adding 0x76 lifts that to
    // the top bit, unless it is there already. A byte that carries into the next one has its own top bit set.
    if (values.wrapping_add(EACH * 0x76) | values) & (EACH * 0x80) != 0 {
        return None;
    }
    // Neighbours are joined: 8 digits to 4 pairs, to 2 fours, to 1 eight.
    let pairs = (values.wrapping_mul(10).wrapping_add(values >> 8)) & 0x00ff_00ff_00ff_00ff;
    let fours = (pairs.wrapping_mul(100).wrapping_add(pairs >> 16)) & 0x0000_ffff_0000_ffff;
    let eight = (fours.wrapping_mul(10_000).wrapping_add(fours >> 32)) & 0xffff_ffff;
    Some((eight, rest.get(run.count..)?))
}

/// Reads a number up to the first byte that does not belong to it, byte by byte, and notes its shape. Not
/// inlined: it would crowd out what nearly all rows need.
#[cold]
#[inline(never)]
fn number_of_any_shape<'a>(
    mut rest: &'a [u8],
    shape: &mut Option<Shape>,
    mark: u8,
) -> Option<(Digits, &'a [u8])> {
    while let [b' ', after @ ..] = rest {
        rest = after;
    }
    let mut negative = false;
    if let [b'-', after @ ..] = rest {
        rest = after;
        negative = true;
    }
    // Up to 19 digits cannot overflow; more are counted and left to the careful way.
    let mut digits = 0_u64;
    let mut run = |rest: &mut &[u8]| {
        let before = rest.len();
        while let [byte @ b'0'..=b'9', after @ ..] = *rest {
            digits = digits.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
            *rest = after;
        }
        before - rest.len()
    };
    let whole = run(&mut rest);
    let mut places = 0;
    if let [byte, after @ ..] = rest
        && *byte == mark
    {
        rest = after;
        places = run(&mut rest);
    }
    let sign = if negative { Sign::Minus } else { Sign::None };
    // A shape that is not to be had in words of eight is none; a mark without places is not worth one.
    *shape = match (Run::new(whole), Run::new(places)) {
        (Some(whole), run) if run.is_some() || places == 0 => Some(Shape { sign, whole, places: run }),
        _ => None,
    };
    if !(1..=FAST_PLACES).contains(&(whole + places)) {
        return None;
    }
    let number = Digits { negative, digits, places };
    match rest {
        [b'e' | b'E', after @ ..] => {
            *shape = None;
            with_power(number, after)
        }
        _ => Some((number, rest)),
    }
}

/// Applies the power of ten of a number, as far as 19 digits go.
fn with_power(number: Digits, rest: &[u8]) -> Option<(Digits, &[u8])> {
    let (down, mut rest) = match rest {
        [b'-', after @ ..] => (true, after),
        [b'+', after @ ..] => (false, after),
        _ => (false, rest),
    };
    let before = rest.len();
    let mut power = 0_usize;
    while let [byte @ b'0'..=b'9', after @ ..] = rest {
        power = power.saturating_mul(10).saturating_add(usize::from(byte - b'0'));
        rest = after;
    }
    if rest.len() == before {
        return None;
    }
    let Digits { negative, mut digits, mut places } = number;
    // Numbers in this form come with all the places there are, most of them zeros.
    while places > 0 && digits % 10 == 0 {
        digits /= 10;
        places -= 1;
    }
    if down {
        places = places.saturating_add(power);
    } else if power > places {
        digits = digits.checked_mul(10_u64.checked_pow(u32::try_from(power - places).ok()?)?)?;
        places = 0;
    } else {
        places -= power;
    }
    Some((Digits { negative, digits, places }, rest))
}

/// Reads a single 0 or 1, or the ways of writing it that programs have: `0.0`, `False`, `false`.
#[inline]
pub(super) fn bit(mut rest: &[u8]) -> Option<(u32, &[u8])> {
    while let [b' ', after @ ..] = rest {
        rest = after;
    }
    match rest {
        [bit @ (b'0' | b'1'), b'.', b'0', rest @ ..] => Some((u32::from(bit - b'0'), rest)),
        [bit @ (b'0' | b'1'), rest @ ..] => Some((u32::from(bit - b'0'), rest)),
        [b'F' | b'f', b'a', b'l', b's', b'e', rest @ ..] => Some((0, rest)),
        [b'T' | b't', b'r', b'u', b'e', rest @ ..] => Some((1, rest)),
        _ => None,
    }
}

/// Whether a cell that ends with `end` ends at this byte, or may: a line feed must follow a carriage return.
pub(super) const fn is_end(byte: u8, end: u8) -> bool {
    byte == end || (byte == b'\r' && end == b'\n')
}

/// Passes over a cell that nobody needs.
#[inline]
pub(super) fn pass_over(rest: &[u8], delimiter: u8) -> Option<&[u8]> {
    let stops = |&byte: &u8| byte == delimiter || byte < b' ' || byte == b'"' || !byte.is_ascii();
    // Where something else than the end of the cell stops it, the check of the end fails.
    rest.get(rest.iter().position(stops)?..)
}
