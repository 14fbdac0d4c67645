//! A setup as a compact image for the target: sealed on a desk, checked and loaded where it runs.
//!
//! ```text
//! offset  size  content (numbers are little-endian)
//!      0     4  "CWAX"
//!      4     2  version of this format: 2
//!      6     2  stored readings per channel the setup was made for (POINTS)
//!      8     1  number of monitors
//!      9     1  number of inputs
//!     10     2  length of the axis part
//!     12     4  length of the whole image
//!     16     4  checksum of the setup it was made from, as whoever sealed it reckons it
//!     20        the axis: raw values as they were given to the constructors, after rounding
//!               labels: bytes that the core does not read (names, for the sheet that a person reviews)
//!   last     4  CRC-32/ISO-HDLC of everything before
//! ```
//!
//! The loader builds the axis through the same constructors as every other setup, so what they refuse cannot be loaded.
//! The CRC finds every change of up to 32 neighbouring bits, and others but for one in 2³²; it is no protection against
//! intent: whoever can write an image can seal it.

mod bytes;
mod parts;

use core::fmt;

use crate::config::{AxisConfig, AxisError};
use crate::history::Spacing;
use crate::input::InputError;
use crate::monitor::Monitor;
use crate::scale::ScaleError;
use crate::source::SourceError;
use bytes::{Reader, Writer};

const MAGIC: [u8; 4] = *b"CWAX";
/// The version of the format that this crate writes, and the only one it reads.
pub const VERSION: u16 = 2;
const HEADER: usize = 20;
const CRC: usize = 4;

/// Why an image is refused, or cannot be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum SealError {
    /// It does not begin as an image does.
    NotAnImage,
    /// It was made in this version of the format; [`VERSION`] is read.
    Version(u16),
    /// It is cut or something was appended: the length it should have, 0 where even that is cut off, and the one it has.
    Length(usize, usize),
    /// It was altered: the checksum it carries, and that of its content.
    Altered(u32, u32),
    /// It was made for another number of stored readings: that of the image, and that of the axis.
    Points(u16, usize),
    /// No axis has so many stored readings per channel: an odd number, 3 to 1025.
    History(u16),
    /// The content is of no known form although the checksum is right: another program made it.
    Content,
    /// A source that cannot be set up.
    Source(SourceError),
    /// A distance per count that cannot be used.
    Scale(ScaleError),
    /// An input that cannot be set up.
    Input(InputError),
    /// An axis that cannot be set up.
    Axis(AxisError),
    /// A monitor of your own: its form is not known here.
    OwnMonitor,
    /// The image is longer than the bytes there are for it; so many there are.
    NoRoom(usize),
}

impl fmt::Display for SealError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotAnImage => f.write_str("not a sealed setup: it does not begin with \"CWAX\""),
            Self::Version(version) => {
                write!(f, "sealed in version {version} of the format; this program reads version {VERSION}")
            }
            Self::Length(0, is) => write!(f, "cut: {is} bytes are less than any sealed setup has"),
            Self::Length(should, is) => write!(f, "{is} bytes long, but sealed with {should}"),
            Self::Altered(stored, computed) => {
                write!(f, "altered: sealed with checksum {stored:08x}, the content has {computed:08x}")
            }
            Self::Points(sealed, has) => {
                write!(f, "sealed for {sealed} stored readings per channel; this axis has {has}")
            }
            Self::History(points) => {
                write!(f, "no axis has {points} stored readings per channel; an odd number, 3 to 1025")
            }
            Self::Content => f.write_str("a content of unknown form under a right checksum"),
            Self::Source(error) => error.fmt(f),
            Self::Scale(error) => error.fmt(f),
            Self::Input(error) => error.fmt(f),
            Self::Axis(error) => error.fmt(f),
            Self::OwnMonitor => f.write_str("a monitor of one's own cannot be sealed"),
            Self::NoRoom(room) => write!(f, "the image does not fit in {room} bytes"),
        }
    }
}

impl core::error::Error for SealError {}

/// CRC-32/ISO-HDLC (polynomial 0x04C11DB7 reflected, initial value and final inversion all ones).
#[must_use]
pub const fn crc32(bytes: &[u8]) -> u32 {
    const POLYNOMIAL: u32 = 0xEDB8_8320;
    let mut remainder = u32::MAX;
    let mut rest = bytes;
    while let [byte, more @ ..] = rest {
        remainder ^= crate::widen::u8_to_u32(*byte);
        let mut bit = 0_u8;
        while bit < 8 {
            remainder = (remainder >> 1) ^ if remainder & 1 == 1 { POLYNOMIAL } else { 0 };
            bit = bit.wrapping_add(1);
        }
        rest = more;
    }
    !remainder
}

/// A sealed setup whose checksum, length and version are right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Image<'a> {
    points: u16,
    monitors: u8,
    inputs: u8,
    setup: u32,
    crc: u32,
    axis: &'a [u8],
    labels: &'a [u8],
}

impl<'a> Image<'a> {
    /// Checks that the bytes are exactly what was sealed.
    ///
    /// # Errors
    ///
    /// [`SealError::NotAnImage`], [`SealError::Version`], [`SealError::Length`] or [`SealError::Altered`].
    pub fn open(bytes: &'a [u8]) -> Result<Self, SealError> {
        let mut header = Reader::new(bytes);
        let cut = |_| SealError::Length(0, bytes.len());
        if header.take::<4>().map_err(cut)? != MAGIC {
            return Err(SealError::NotAnImage);
        }
        let version = header.u16().map_err(cut)?;
        if version != VERSION {
            return Err(SealError::Version(version));
        }
        let points = header.u16().map_err(cut)?;
        let [monitors, inputs] = header.take().map_err(cut)?;
        let axis = usize::from(header.u16().map_err(cut)?);
        let length = usize::try_from(header.u32().map_err(cut)?).unwrap_or(usize::MAX);
        let setup = header.u32().map_err(cut)?;
        let Some((content, stored)) = bytes.split_last_chunk::<CRC>().filter(|_| bytes.len() == length)
        else {
            return Err(SealError::Length(length, bytes.len()));
        };
        let (stored, crc) = (u32::from_le_bytes(*stored), crc32(content));
        if stored != crc {
            return Err(SealError::Altered(stored, crc));
        }
        let body = content.get(HEADER..).and_then(|body| body.split_at_checked(axis));
        let Some((axis, labels)) = body else { return Err(SealError::Content) };
        Ok(Self { points, monitors, inputs, setup, crc, axis, labels })
    }

    /// Stored readings per channel the setup was made for.
    #[must_use]
    pub const fn points(&self) -> u16 {
        self.points
    }

    /// How many monitors it has.
    #[must_use]
    pub const fn monitors(&self) -> u8 {
        self.monitors
    }

    /// How many inputs it has, the reset aside.
    #[must_use]
    pub const fn inputs(&self) -> u8 {
        self.inputs
    }

    /// The checksum of the setup that it was made from.
    #[must_use]
    pub const fn setup_checksum(&self) -> u32 {
        self.setup
    }

    /// The checksum of the image itself.
    #[must_use]
    pub const fn checksum(&self) -> u32 {
        self.crc
    }

    /// What was sealed with the axis for whoever reads the image.
    #[must_use]
    pub const fn labels(&self) -> &'a [u8] {
        self.labels
    }

    /// The axis that was sealed.
    ///
    /// # Errors
    ///
    /// [`SealError::Points`] when it was made for another history; [`SealError::Axis`] when it does not fit. The other errors
    /// name what a constructor refuses: another program made the image.
    pub fn axis<const POINTS: usize, const MONITORS: usize, const INPUTS: usize>(
        &self,
    ) -> Result<AxisConfig<POINTS, MONITORS, INPUTS>, SealError> {
        if usize::from(self.points) != POINTS {
            return Err(SealError::Points(self.points, POINTS));
        }
        self.read()
    }

    /// The axis that was sealed, whatever history it was made for: to be looked at, not to run, because the history of this one
    /// is the longest there is. [`points`](Self::points) is what it was made for.
    ///
    /// # Errors
    ///
    /// As [`axis`](Self::axis) for an axis with the history that the image names; [`SealError::History`] when there is none such.
    pub fn for_review<const MONITORS: usize, const INPUTS: usize>(
        &self,
    ) -> Result<AxisConfig<1025, MONITORS, INPUTS>, SealError> {
        let axis = self.read()?;
        check_points(&axis, self.points)?;
        Ok(axis)
    }

    #[inline(always)]
    fn read<const POINTS: usize, const MONITORS: usize, const INPUTS: usize>(
        &self,
    ) -> Result<AxisConfig<POINTS, MONITORS, INPUTS>, SealError> {
        let mut reader = Reader::new(self.axis);
        let mut axis = parts::begin_axis(&mut reader)?;
        parts::fill_axis(&mut axis, &mut reader, self.monitors, self.inputs)?;
        if reader.is_empty() { Ok(axis) } else { Err(SealError::Content) }
    }
}

/// Whether the same axis with `points` stored readings per channel can be set up.
fn check_points<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>(
    axis: &AxisConfig<POINTS, MONITORS, INPUTS, Own>,
    points: u16,
) -> Result<(), SealError> {
    if !Spacing::has_points(points.into()) {
        return Err(SealError::History(points));
    }
    axis.spacing_of(points.into()).map(|_| ()).map_err(SealError::Axis)
}

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>
    AxisConfig<POINTS, MONITORS, INPUTS, Own>
{
    /// Seals the axis into the beginning of `out`; how many bytes it took. `setup` is a checksum of whatever it was made from, `labels`
    /// is kept with it unread.
    ///
    /// # Errors
    ///
    /// [`SealError::NoRoom`], or [`SealError::OwnMonitor`] when it has one. What `out` holds then is no image.
    pub fn seal(&self, setup: u32, labels: &[u8], out: &mut [u8]) -> Result<usize, SealError> {
        // At most 1025.
        self.seal_for(u16::try_from(POINTS).unwrap_or(u16::MAX), setup, labels, out)
    }

    /// As [`seal`](Self::seal), for an axis on the target that has `points` stored readings per channel instead.
    ///
    /// # Errors
    ///
    /// As [`seal`](Self::seal); [`SealError::History`] unless `points` is odd and 3 to 1025; [`SealError::Axis`] when the axis could
    /// not be set up with them.
    pub fn seal_for(
        &self,
        points: u16,
        setup: u32,
        labels: &[u8],
        out: &mut [u8],
    ) -> Result<usize, SealError> {
        check_points(self, points)?;
        let mut writer = Writer::new(out);
        writer.put(&[0; HEADER])?;
        parts::write_axis(&mut writer, self)?;
        let axis = writer.len().saturating_sub(HEADER);
        writer.put(labels)?;
        let length = writer.len().saturating_add(CRC);
        let (Ok(axis), Ok(whole)) = (u16::try_from(axis), u32::try_from(length)) else {
            return Err(SealError::NoRoom(out.len()));
        };
        let mut header = Writer::new(out);
        header.put(&MAGIC)?;
        header.put(&VERSION.to_le_bytes())?;
        header.put(&points.to_le_bytes())?;
        header.put(&[parts::count(self.monitors.len()), parts::count(self.inputs.len())])?;
        header.put(&axis.to_le_bytes())?;
        header.put(&whole.to_le_bytes())?;
        header.put(&setup.to_le_bytes())?;
        let room = out.len();
        let whole = out.get_mut(..length).and_then(|whole| whole.split_last_chunk_mut::<CRC>());
        let (content, end) = whole.ok_or(SealError::NoRoom(room))?;
        *end = crc32(content).to_le_bytes();
        Ok(length)
    }
}
