//! Groups and channels: what the structure of a file says of its columns.

use std::collections::HashSet;

use super::conversion::Conversion;
use super::decode::{Decoder, Delivered, Raw, Validity};
use super::error::MdfError;
use super::file::{Block, File};
use super::text::text;
use crate::trace::table::{Column, Kind, TableError};

/// A channel group.
pub(super) struct Group {
    /// What it is called in the file.
    pub(super) name: Option<String>,
    /// The length of a record with its id and its invalidation bits.
    pub(super) record_bytes: u64,
    pub(super) records: u64,
    /// Where its data begin.
    pub(super) data: u64,
    /// Why it cannot be read.
    pub(super) defect: Option<Defect>,
}

/// Why a group cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Defect {
    Unsorted,
    Bus,
    VariableLength,
    RemoteMaster,
}

impl Defect {
    /// In a list of columns.
    const fn word(self) -> &'static str {
        match self {
            Self::Unsorted => "records of an unsorted group",
            Self::Bus => "frames of a bus",
            Self::VariableLength => "values of variable length",
            Self::RemoteMaster => "data column by column",
        }
    }

    /// What it is, and what to do.
    pub(super) fn explain(self, group: &str) -> MdfError {
        let (what, way_out) = match self {
            Self::Unsorted => (
                "lies among the records of other groups: the file is not sorted",
                "sort it with the program that recorded it, or save it with any program that sorts MDF4 files",
            ),
            Self::Bus => (
                "holds frames of a bus, not signals",
                "decode it with the database of the bus, and save the signals as an MDF4 file",
            ),
            Self::VariableLength => (
                "holds values of variable length",
                "name columns of another group, or save the signals that are needed as numbers",
            ),
            Self::RemoteMaster => (
                "has its time in another group (data column by column)",
                "save the file with its records row by row, which every program that writes MDF4 can",
            ),
        };
        MdfError::Unsupported { what: format!("channel group `{group}` {what}"), way_out }
    }
}

/// What the structure of a file holds.
#[derive(Default)]
pub(super) struct Structure {
    pub(super) groups: Vec<Group>,
    pub(super) columns: Vec<Column>,
    /// Of each column; `None` where its kind is [`Kind::Other`].
    pub(super) decoders: Vec<Option<Decoder>>,
    seen: HashSet<u64>,
}

/// What a channel has to know of its group.
struct Records {
    id_bytes: u64,
    data_bytes: u64,
    invalidation_bytes: u64,
}

impl Structure {
    /// Reads everything from the header of the file on.
    pub(super) fn read(file: &mut File) -> Result<Self, TableError> {
        const HEADER_AT: u64 = 64;
        let mut structure = Self::default();
        let mut next = file.block(HEADER_AT, &[b"##HD"])?.link(0);
        while let Some(block) = structure.once(file, next, b"##DG")? {
            structure.data_group(file, &block)?;
            next = block.link(0);
        }
        structure.seen = HashSet::new();
        Ok(structure)
    }

    /// The block of a chain at a link, unless the chain ends there. A chain that leads back is refused.
    fn once(&mut self, file: &mut File, at: u64, id: &[u8; 4]) -> Result<Option<Block>, TableError> {
        if at == 0 {
            return Ok(None);
        }
        if !self.seen.insert(at) {
            let what = format!("a chain that leads back to the {} block", String::from_utf8_lossy(id));
            return Err(MdfError::damaged(what, at).into());
        }
        file.block(at, &[id]).map(Some)
    }

    fn data_group(&mut self, file: &mut File, block: &Block) -> Result<(), TableError> {
        let id_bytes = block.u8(0)?;
        if id_bytes > 8 {
            let what = format!("record ids of {id_bytes} bytes in the ##DG block");
            return Err(MdfError::damaged(what, block.head.at).into());
        }
        let first = self.groups.len();
        let mut next = block.link(1);
        while let Some(group) = self.once(file, next, b"##CG")? {
            self.channel_group(file, &group, block.link(2), id_bytes)?;
            next = group.link(0);
        }
        if self.groups.len() > first + 1 {
            let groups = first..self.groups.len();
            self.groups[first..].iter_mut().for_each(|group| group.defect = Some(Defect::Unsorted));
            for (column, decoder) in self.columns.iter_mut().zip(&mut self.decoders) {
                if groups.contains(&column.group) {
                    column.kind = Kind::Other(Defect::Unsorted.word());
                    *decoder = None;
                }
            }
        }
        Ok(())
    }

    fn channel_group(
        &mut self,
        file: &mut File,
        block: &Block,
        data: u64,
        id_bytes: u8,
    ) -> Result<(), TableError> {
        let flags = block.u16(16)?;
        let records = Records {
            id_bytes: u64::from(id_bytes),
            data_bytes: u64::from(block.u32(24)?),
            invalidation_bytes: u64::from(block.u32(28)?),
        };
        let defect = match flags {
            _ if flags & 1 != 0 => Some(Defect::VariableLength),
            _ if flags & 0b110 != 0 => Some(Defect::Bus),
            _ if flags & 0b1000 != 0 => Some(Defect::RemoteMaster),
            _ => None,
        };
        let count = block.u64(8)?;
        self.groups.push(Group {
            name: text(file, block.link(2))?,
            record_bytes: records.id_bytes + records.data_bytes + records.invalidation_bytes,
            records: count,
            data,
            defect,
        });
        // What comes next, the last of it first: the members of a structure come behind it.
        let mut next = vec![block.link(1)];
        while let Some(at) = next.pop() {
            let Some(channel) = self.once(file, at, b"##CN")? else { continue };
            next.push(channel.link(0));
            let composed = channel.link(1);
            let composition = if composed == 0 { None } else { Some(file.head(composed)?.id) };
            if composition == Some(*b"##CN") {
                next.push(composed);
            }
            self.channel(file, &channel, &records, defect, composition)?;
        }
        Ok(())
    }

    fn channel(
        &mut self,
        file: &mut File,
        block: &Block,
        records: &Records,
        defect: Option<Defect>,
        composition: Option<[u8; 4]>,
    ) -> Result<(), TableError> {
        let group = self.groups.len() - 1;
        let (conversion, other_unit) = Conversion::read(file, block.link(4))?;
        let is_time = matches!(block.u8(0)?, 2 | 3) && block.u8(1)? == 1;
        // A time of a group is in seconds unless its file says otherwise.
        let unit = text(file, block.link(6))?.or(other_unit).or_else(|| is_time.then(|| "s".to_owned()));
        let bits = block.u32(8)?;
        let raw = match (defect, composition) {
            (Some(defect), _) => Err(defect.word()),
            (_, Some([b'#', b'#', b'C', b'N'])) => Err("structures"),
            (_, Some(_)) => Err("arrays"),
            _ => raw(block)?,
        };
        let found = raw.and_then(|raw| {
            let (kind, delivered) = delivered(raw, bits, conversion, is_time, unit.as_deref())?;
            Ok((raw, kind, delivered))
        });
        let (kind, decoder) = match found {
            Ok((raw, kind, delivered)) => (kind, Some(decoder(block, records, raw, delivered)?)),
            Err(word) => (Kind::Other(word), None),
        };
        self.columns.push(Column {
            name: text(file, block.link(2))?.unwrap_or_default(),
            unit,
            kind,
            group,
            rows: Some(self.groups[group].records),
            is_time,
        });
        self.decoders.push(decoder);
        Ok(())
    }
}

/// What the bits of a channel are, or the word for what cannot be a column.
fn raw(block: &Block) -> Result<Result<Raw, &'static str>, MdfError> {
    let (kind, data, bits) = (block.u8(0)?, block.u8(2)?, block.u32(8)?);
    Ok(match (kind, data) {
        (3 | 6, _) => Ok(Raw::Index),
        (1 | 5 | 7, _) => Err("values of variable length"),
        (4, _) => Err("a stream"),
        (0 | 2, 0..=3) if !(1..=64).contains(&bits) => Err("integers of more than 64 bits"),
        (0 | 2, 0 | 1) => Ok(Raw::Unsigned),
        (0 | 2, 2 | 3) => Ok(Raw::Signed),
        (0 | 2, 4 | 5) if matches!(bits, 32 | 64) => Ok(Raw::Real),
        (0 | 2, 4 | 5) => Err("floats of unusual width"),
        (0 | 2, 6..=9) => Err("text"),
        (0 | 2, 10..=14) => Err("bytes"),
        (0 | 2, 15 | 16) => Err("complex numbers"),
        _ => Err("values of an unknown type"),
    })
}

/// What is delivered of it, and the kind that this is.
fn delivered(
    raw: Raw,
    bits: u32,
    conversion: Conversion,
    is_time: bool,
    unit: Option<&str>,
) -> Result<(Kind, Delivered), &'static str> {
    let is_whole = raw != Raw::Real;
    let in_nanoseconds = (is_whole && (is_time || unit.is_some() && conversion != Conversion::Identity))
        .then(|| conversion.nanoseconds(unit))
        .flatten();
    Ok(match conversion {
        Conversion::Text => return Err("text by a table"),
        Conversion::Formula => return Err("numbers by a table or formula"),
        _ if let Some(ns) = in_nanoseconds => (Kind::Time { ns }, Delivered::Time),
        Conversion::Identity if raw == Raw::Unsigned && bits == 1 => (Kind::Bool, Delivered::Bool),
        Conversion::Identity if is_whole => (Kind::Integer, Delivered::Whole),
        _ if is_whole && let Some((offset, factor)) = conversion.whole() => {
            (Kind::Integer, Delivered::Affine { offset, factor })
        }
        conversion => (Kind::Real, Delivered::Real(conversion)),
    })
}

fn decoder(block: &Block, records: &Records, raw: Raw, delivered: Delivered) -> Result<Decoder, MdfError> {
    let (shift, byte, bits, flags) = (block.u8(3)?, block.u32(4)?, block.u32(8)?, block.u32(12)?);
    let (at, bytes, shift, bits) = if raw == Raw::Index {
        (0, 0, 0, 64)
    } else {
        if shift > 7 || (raw == Raw::Real && shift != 0) {
            return Err(MdfError::damaged(
                format!("a channel that begins at bit {shift} of a byte"),
                block.head.at,
            ));
        }
        let bytes = u64::from((u32::from(shift) + bits).div_ceil(8));
        if u64::from(byte) + bytes > records.data_bytes {
            return Err(MdfError::damaged("a channel that reaches beyond its record", block.head.at));
        }
        // At most 64 bits, by what kind of channel it is.
        (records.id_bytes + u64::from(byte), bytes, shift, u8::try_from(bits).unwrap_or(64))
    };
    let bit = u64::from(block.u32(16)?);
    let validity = match flags & 0b11 {
        0b01 | 0b11 => Validity::None,
        0b10 if bit / 8 >= records.invalidation_bytes => {
            return Err(MdfError::damaged("an invalidation bit beyond the record", block.head.at));
        }
        0b10 => Validity::Bit((records.id_bytes + records.data_bytes) * 8 + bit),
        _ => Validity::All,
    };
    // A record is far shorter than what a `usize` counts.
    let size = |bytes: u64| usize::try_from(bytes).unwrap_or(usize::MAX);
    Ok(Decoder {
        raw,
        big_endian: matches!(block.u8(2)?, 1 | 3 | 5),
        at: size(at),
        bytes: size(bytes),
        shift,
        bits,
        validity,
        delivered,
    })
}
