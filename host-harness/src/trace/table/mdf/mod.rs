//! ASAM MDF 4: files of measured signals, in groups of their own time base.
//!
//! Read are sorted groups of fixed-length records: integers of any width up to 64 bits at any bit, in either byte order, floats of 32 and
//! 64 bits, virtual masters, the identity, linear and rational conversions, invalidation bits (a cell that is not there), lists of data
//! blocks, plain or packed (deflate or zstd, transposed or not). Of anything else the columns are listed with a word for what it is, and
//! refused with what to do when they are selected.
//!
//! Whole numbers stay whole unless a conversion by other than whole numbers makes them physical values: these are worked out in `f64`, as
//! the format has it. A time in whole numbers, or a converted column in a unit of time, is exact where its factor is the `f64` next to a
//! whole number of ns ([`Kind::Time`]).
//!
//! Nothing is believed of a file that is not checked against its length; links that lead back are refused; memory holds the structure,
//! one packed block and one chunk.

#[cfg(test)]
mod asammdf;
mod conversion;
mod data;
mod decode;
mod error;
mod file;
#[cfg(test)]
mod made;
mod structure;
#[cfg(test)]
mod tests;
mod text;

pub use error::MdfError;

use std::io::{Read, Seek};

use data::Data;
use decode::{Decoder, Records};
use file::File;
use structure::{Group, Structure};

use super::address::{AddressError, full_name};
use super::{Chunk, Column, Kind, Stored, Table, TableError};

/// What it is called in messages.
pub(super) const FORMAT: &str = "MDF 4";
/// The most rows of a chunk.
const CHUNK_ROWS: u64 = 4096;
/// Bytes of records of a chunk, unless a single record is longer.
const CHUNK_BYTES: u64 = 1 << 20;
/// The longest record that is taken: of a million columns.
const MAX_RECORD_BYTES: u64 = 16 << 20;

/// Whether a file that begins like this is an MDF file, of whatever version.
pub(super) fn is_mdf(magic: &[u8]) -> bool {
    matches!(magic, b"MDF     " | b"UnFinMF ")
}

/// A file, and what of it is being read.
pub(super) struct Mdf {
    file: File,
    columns: Vec<Column>,
    decoders: Vec<Option<Decoder>>,
    groups: Vec<Group>,
    selected: Vec<usize>,
    data: Data,
    row: u64,
    records: Vec<u8>,
    ended: bool,
}

impl Mdf {
    /// Reads the structure.
    pub(super) fn open(source: impl Read + Seek + Send + 'static) -> Result<Self, TableError> {
        let mut file = File::new(source)?;
        check_identification(&mut file)?;
        let Structure { columns, decoders, groups, .. } = Structure::read(&mut file)?;
        Ok(Self {
            file,
            columns,
            decoders,
            groups,
            selected: Vec::new(),
            data: Data::new(0),
            row: 0,
            records: Vec::new(),
            ended: true,
        })
    }

    /// The selected group, once there is one.
    fn selected_group(&self) -> Option<(usize, &Group)> {
        let index = self.columns.get(*self.selected.first()?)?.group;
        Some((index, self.groups.get(index)?))
    }

    fn wrong_count(&self, group: usize, announced: u64, found: String) -> TableError {
        MdfError::Records { group: self.group(group), announced, found }.into()
    }
}

/// The first 64 bytes: the format, its version, and whether the file is finished.
fn check_identification(file: &mut File) -> Result<(), TableError> {
    let mut bytes = [0; 64];
    file.read(0, &mut bytes, "the identification")?;
    let [magic @ .., _, _, _, _, _, _, _, _] = bytes.first_chunk::<16>().unwrap_or(&[0; 16]);
    if magic == b"UnFinMF " {
        return Err(MdfError::Unsupported {
            what: "the MDF file is not finished: its recorder was stopped in the middle".into(),
            way_out: "finish (finalize) it with the program that recorded it",
        }
        .into());
    }
    let version = u16::from_le_bytes([bytes[28], bytes[29]]);
    match version {
        400..=499 => Ok(()),
        200..=399 => Err(MdfError::Unsupported {
            what: format!("an MDF file of version {}.{:02}", version / 100, version % 100),
            way_out: "convert it to MDF 4.10, which programs for MDF files can",
        }
        .into()),
        _ => Err(MdfError::damaged(format!("the version {version} of the format"), 28).into()),
    }
}

impl Table for Mdf {
    fn columns(&self) -> &[Column] {
        &self.columns
    }

    fn format(&self) -> &'static str {
        FORMAT
    }

    fn group(&self, group: usize) -> String {
        let name = |group: &Group| group.name.clone();
        let own = self.groups.get(group).and_then(name);
        let others = self.groups.iter().enumerate().filter(|(other, _)| *other != group);
        let shared = others.into_iter().any(|(_, other)| other.name == own);
        match own {
            Some(own) if !shared => own,
            _ => format!("#{}", group + 1),
        }
    }

    fn select(&mut self, columns: &[usize]) -> Result<(), TableError> {
        self.ended = true;
        self.selected = columns.to_vec();
        let Some((index, group)) = self.selected_group() else { return Ok(()) };
        if let Some(defect) = group.defect {
            return Err(defect.explain(&self.group(index)).into());
        }
        if group.record_bytes > MAX_RECORD_BYTES || (group.record_bytes == 0 && group.records > 0) {
            let what =
                format!("records of {} bytes in channel group `{}`", group.record_bytes, self.group(index));
            return Err(MdfError::damaged(what, group.data).into());
        }
        self.data = Data::new(group.data);
        for &place in columns {
            let Some(column) = self.columns.get(place) else { continue };
            if column.group != index {
                let groups = [index, column.group].map(|group| self.group(group));
                return Err(AddressError::of_two_groups(groups).into());
            }
            if let Kind::Other(word) = column.kind {
                return Err(MdfError::Unsupported {
                    what: format!("column `{}` holds {word}", full_name(self, place)),
                    way_out: "name another column, or save this one as numbers",
                }
                .into());
            }
        }
        self.row = 0;
        self.ended = false;
        Ok(())
    }

    fn stored(&self, column: usize) -> Stored {
        self.decoders.get(column).and_then(Option::as_ref).map_or(Stored::Wide, Decoder::stored)
    }

    fn next(&mut self, chunk: &mut Chunk) -> Result<bool, TableError> {
        chunk.rows = 0;
        chunk.columns.clear();
        if self.ended {
            return Ok(false);
        }
        self.ended = true;
        let Some((index, group)) = self.selected_group() else { return Ok(false) };
        let (announced, length) = (group.records, group.record_bytes);
        let left = announced - self.row;
        if left == 0 {
            if self.data.fill(&mut self.file, &mut [0])? > 0 {
                return Err(self.wrong_count(index, announced, "more".into()));
            }
            return Ok(false);
        }
        let rows = left.min(CHUNK_ROWS).min((CHUNK_BYTES / length).max(1));
        // At most a chunk or one longest record.
        let size = |bytes: u64| usize::try_from(bytes).unwrap_or(usize::MAX);
        self.records.resize(size(rows * length), 0);
        let filled = self.data.fill(&mut self.file, &mut self.records)?;
        if filled < self.records.len() {
            let found = self.row + filled as u64 / length;
            return Err(self.wrong_count(index, announced, found.to_string()));
        }
        let records = Records { bytes: &self.records, length: size(length), first: self.row };
        for &place in &self.selected {
            if let (Some(column), Some(Some(decoder))) = (self.columns.get(place), self.decoders.get(place)) {
                chunk.columns.push(decoder.cells(records, &column.name).map_err(|error| match error {
                    // Its group is known here.
                    MdfError::Value { row, what, .. } => {
                        MdfError::Value { column: full_name(self, place), row, what }
                    }
                    error => error,
                })?);
            }
        }
        chunk.rows = size(rows);
        self.row += rows;
        self.ended = false;
        Ok(true)
    }
}
