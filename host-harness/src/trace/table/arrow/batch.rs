//! One record batch, some rows at a time.

use std::ops::Range;

use arrow_ipc::{CompressionType, RecordBatch};

use super::super::{Cells, Chunk, Store, TableError};
use super::buffer::Buffer;
use super::damaged;
use super::schema::{Field, Storage};

/// The buffers of the selected columns of a record batch, read up to the same row.
pub(super) struct Batch {
    columns: Vec<Stored>,
    left: usize,
    /// The bytes of the rows read last, of one buffer.
    bytes: Vec<u8>,
}

struct Stored {
    storage: Storage,
    /// `None`: every cell is there.
    present: Option<Buffer>,
    values: Buffer,
}

impl Batch {
    /// Finds the buffers, which lie in `body`.
    pub(super) fn open(
        store: &Store,
        batch: &RecordBatch<'_>,
        body: Range<u64>,
        codec: Option<CompressionType>,
        fields: &[&Field],
        names: &[&str],
    ) -> Result<Self, TableError> {
        let rows = u64::try_from(batch.length())
            .map_err(|_| damaged(None, format!("a record batch of {} rows", batch.length())))?;
        let nodes = batch.nodes().ok_or_else(|| damaged(None, "a record batch without its columns"))?;
        let buffers = batch.buffers().ok_or_else(|| damaged(None, "a record batch without buffers"))?;
        let mut columns = Vec::new();
        for (field, name) in fields.iter().zip(names) {
            let wrong = |detail: &str| damaged(Some(name), detail);
            let place = field.place;
            if place.nodes >= nodes.len() {
                return Err(wrong("it is missing in a record batch"));
            }
            let node = nodes.get(place.nodes);
            if node.length() != batch.length() {
                return Err(wrong("it has not as many rows as its record batch"));
            }
            let views = batch.variadicBufferCounts().into_iter().flatten().take(place.views);
            let varying: usize = views.map(|count| usize::try_from(count).unwrap_or(0)).sum();
            let first = place.buffers.saturating_add(varying);
            if first.saturating_add(1) >= buffers.len() {
                return Err(wrong("its buffers are missing in a record batch"));
            }
            let part = |index: usize, bytes: u64| {
                let buffer = buffers.get(index);
                let (at, length) = (u64::try_from(buffer.offset()), u64::try_from(buffer.length()));
                let (Ok(at), Ok(length)) = (at, length) else {
                    return Err(wrong("a buffer of a negative size"));
                };
                let at = body
                    .start
                    .checked_add(at)
                    .filter(|at| at.checked_add(length).is_some_and(|end| end <= body.end));
                let at = at.ok_or_else(|| wrong("a buffer outside of its record batch"))?;
                if at + length > store.length() {
                    return Err(TableError::Truncated(super::FORMAT));
                }
                Buffer::open(store, at, length, codec, bytes).map_err(|error| error.at(name))
            };
            let bits = rows.div_ceil(8);
            let bytes = bytes_of(field.storage, rows);
            let bytes = bytes.ok_or_else(|| {
                wrong("it is of a type that is not read, or has more rows than there can be")
            })?;
            let is_complete = node.null_count() == 0;
            if !is_complete && rows > 0 && buffers.get(first).length() == 0 {
                return Err(wrong("it does not say which of its values are missing"));
            }
            columns.push(Stored {
                storage: field.storage,
                present: if is_complete { None } else { Some(part(first, bits)?) },
                values: part(first + 1, bytes)?,
            });
        }
        let left = usize::try_from(rows).map_err(|_| damaged(None, "more rows than there can be"))?;
        Ok(Self { columns, left, bytes: Vec::new() })
    }

    /// Rows that have not been read.
    pub(super) const fn left(&self) -> usize {
        self.left
    }

    /// Reads as many rows as the chunk says; `before` of the table came before them.
    pub(super) fn read<'n>(
        &mut self,
        chunk: &mut Chunk,
        before: u64,
        name: impl Fn(usize) -> &'n str,
    ) -> Result<(), TableError> {
        let rows = chunk.rows;
        for (place, (column, (cells, present))) in self.columns.iter_mut().zip(&mut chunk.columns).enumerate()
        {
            let failed = |error: super::buffer::Failed| error.at(name(place));
            *present = match &mut column.present {
                Some(buffer) => {
                    let mut present = Vec::with_capacity(rows);
                    buffer.read(rows.div_ceil(8), &mut self.bytes).map_err(failed)?;
                    push_bits(&self.bytes, rows, &mut present);
                    (!present.iter().all(|&there| there)).then_some(present)
                }
                None => None,
            };
            let width = match column.storage {
                Storage::Bits => {
                    let mut values = cells.take_bools();
                    column.values.read(rows.div_ceil(8), &mut self.bytes).map_err(failed)?;
                    push_bits(&self.bytes, rows, &mut values);
                    *cells = Cells::Bools(values);
                    continue;
                }
                Storage::Signed(width) | Storage::Unsigned(width) => width,
                Storage::Single => 4,
                Storage::Double | Storage::Other => 8,
            };
            column.values.read(rows * width, &mut self.bytes).map_err(failed)?;
            if let Some(row) = put(column.storage, &self.bytes, cells, present.as_deref()) {
                let column = name(place).to_owned();
                return Err(TableError::LongDecimal { column, row: before + row as u64 + 1 });
            }
        }
        self.left -= rows;
        Ok(())
    }
}

/// The bytes of the values of so many rows.
fn bytes_of(storage: Storage, rows: u64) -> Option<u64> {
    match storage {
        Storage::Bits => Some(rows.div_ceil(8)),
        Storage::Signed(width) | Storage::Unsigned(width) => rows.checked_mul(width as u64),
        Storage::Single => rows.checked_mul(4),
        Storage::Double => rows.checked_mul(8),
        Storage::Other => None,
    }
}

fn push_bits(bytes: &[u8], rows: usize, into: &mut Vec<bool>) {
    into.extend((0..rows).map(|row| bytes[row / 8] >> (row % 8) & 1 != 0));
}

/// Numbers of so many bytes, the lowest first.
fn numbers<const WIDTH: usize, T>(bytes: &[u8], of: impl Fn([u8; WIDTH]) -> T, into: &mut Vec<T>) {
    into.extend(bytes.as_chunks::<WIDTH>().0.iter().map(|&bytes| of(bytes)));
}

/// Turns bytes into cells; the place of the first number that is there and does not fit 64 bits.
fn put(storage: Storage, bytes: &[u8], cells: &mut Cells, present: Option<&[bool]>) -> Option<usize> {
    match storage {
        Storage::Single | Storage::Double => {
            let mut reals = cells.take_reals();
            match storage {
                Storage::Single => numbers(bytes, |bytes| f64::from(f32::from_le_bytes(bytes)), &mut reals),
                _ => numbers(bytes, f64::from_le_bytes, &mut reals),
            }
            *cells = Cells::Reals(reals);
            return None;
        }
        Storage::Unsigned(8) => {
            let mut unsigned = Vec::new();
            numbers(bytes, u64::from_le_bytes, &mut unsigned);
            *cells = Cells::Unsigned(unsigned);
            return None;
        }
        _ => {}
    }
    let mut whole = cells.take_integers();
    let mut too_long = None;
    match storage {
        Storage::Signed(1) => numbers(bytes, |bytes| i64::from(i8::from_le_bytes(bytes)), &mut whole),
        Storage::Signed(2) => numbers(bytes, |bytes| i64::from(i16::from_le_bytes(bytes)), &mut whole),
        Storage::Signed(4) => numbers(bytes, |bytes| i64::from(i32::from_le_bytes(bytes)), &mut whole),
        Storage::Unsigned(1) => numbers(bytes, |bytes| i64::from(u8::from_le_bytes(bytes)), &mut whole),
        Storage::Unsigned(2) => numbers(bytes, |bytes| i64::from(u16::from_le_bytes(bytes)), &mut whole),
        Storage::Unsigned(4) => numbers(bytes, |bytes| i64::from(u32::from_le_bytes(bytes)), &mut whole),
        Storage::Signed(16) => {
            for (row, &bytes) in bytes.as_chunks::<16>().0.iter().enumerate() {
                let number = i64::try_from(i128::from_le_bytes(bytes));
                if number.is_err() && present.is_none_or(|present| present[row]) {
                    too_long.get_or_insert(row);
                }
                whole.push(number.unwrap_or(0));
            }
        }
        _ => numbers(bytes, i64::from_le_bytes, &mut whole),
    }
    *cells = Cells::Integers(whole);
    too_long
}
