//! Arrow IPC, as a file or as a stream, message by message.
//!
//! The crate `arrow-ipc` tells what a message says; the buffers of the selected columns are then read from their places, some rows at a time,
//! whatever the size of a record batch. The footer of a file says what its columns are and where its record batches begin; in a stream one
//! message follows the other.

mod batch;
mod buffer;
mod schema;

use arrow_ipc::{CompressionType, Message, MessageHeader, root_as_footer, root_as_message};

pub(crate) use self::schema::columns_of_base64;

use self::batch::Batch;
use self::schema::{Field, Schema};
use super::{CHUNK_ROWS, Chunk, Column, Store, Stored, Table, TableError};

pub(super) const FORMAT: &str = "Arrow IPC file";
/// What a file begins and ends with.
pub(super) const MAGIC: &[u8] = b"ARROW1";
/// What a message begins with.
pub(super) const CONTINUATION: [u8; 4] = [0xff; 4];
/// The largest message without its buffers: 64 MiB. One for ten thousand columns has less than two.
const MOST_OF_A_MESSAGE: u64 = 64 << 20;

/// An Arrow IPC file or stream.
pub(crate) struct ArrowTable {
    store: Store,
    schema: Schema,
    /// Where the record batches of a file must be, by its footer.
    announced: Option<Vec<u64>>,
    selected: Vec<usize>,
    /// Where the first message behind the schema begins.
    first: u64,
    /// Where the next one does, and how many came before.
    next: u64,
    taken: usize,
    batch: Option<Batch>,
    rows_done: u64,
}

fn damaged(column: Option<&str>, detail: impl ToString) -> TableError {
    TableError::Damaged { format: FORMAT, column: column.map(str::to_owned), detail: detail.to_string() }
}

/// A message, and where its buffers are.
struct Framed {
    message: bytes::Bytes,
    body: u64,
}

impl ArrowTable {
    /// Reads the footer of a file, or the schema that a stream begins with.
    pub(crate) fn open(store: Store) -> Result<Self, TableError> {
        let is_file = store.bytes(0, MAGIC.len()).is_ok_and(|bytes| bytes == MAGIC);
        let (schema, announced, next) = if is_file {
            let (schema, announced) = footer(&store)?;
            (schema, Some(announced), 0)
        } else {
            let framed = framed(&store, 0)?.ok_or(TableError::Truncated(FORMAT))?;
            let message = parsed(&framed.message)?;
            let schema = message.header_as_schema();
            let schema = schema.ok_or_else(|| damaged(None, "it does not begin with a schema"))?;
            (Schema::of(&schema)?, None, end_of(&framed, &message)?)
        };
        let selected = Vec::new();
        Ok(Self {
            store,
            schema,
            announced,
            selected,
            first: next,
            next,
            taken: 0,
            batch: None,
            rows_done: 0,
        })
    }

    /// The next message; `None` at the end.
    fn next_message(&mut self) -> Result<Option<Framed>, TableError> {
        let Some(announced) = &self.announced else {
            let found = framed(&self.store, self.next)?;
            let left = self.store.length().saturating_sub(self.next);
            return match found {
                // The mark at the end has as many bytes at most.
                None if left > 8 => {
                    Err(damaged(None, format!("{left} bytes behind its end; is it several files in one?")))
                }
                found => Ok(found),
            };
        };
        let Some(&at) = announced.get(self.taken) else { return Ok(None) };
        self.taken += 1;
        let framed = framed(&self.store, at)?;
        framed.ok_or_else(|| damaged(None, format!("no record batch at byte {at}"))).map(Some)
    }

    /// Goes on to the next record batch that has rows; false when there is none.
    fn begin_batch(&mut self) -> Result<bool, TableError> {
        while let Some(framed) = self.next_message()? {
            let message = parsed(&framed.message)?;
            self.next = end_of(&framed, &message)?;
            match message.header_type() {
                MessageHeader::RecordBatch => {}
                // Columns of codes into a dictionary are not selected.
                MessageHeader::DictionaryBatch => continue,
                other => {
                    let what = other.variant_name().unwrap_or("unknown").to_owned();
                    return Err(TableError::Unsupported {
                        format: FORMAT,
                        what: format!("a message {what}"),
                    });
                }
            }
            let batch = self.open_batch(&framed, &message)?;
            if batch.left() > 0 {
                self.batch = Some(batch);
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn open_batch(&self, framed: &Framed, message: &Message<'_>) -> Result<Batch, TableError> {
        let batch = message.header_as_record_batch().ok_or_else(|| damaged(None, "an empty message"))?;
        let fields: Vec<&Field> = self.selected.iter().map(|&index| &self.schema.fields[index]).collect();
        let names: Vec<&str> =
            self.selected.iter().map(|&index| self.schema.columns[index].name.as_str()).collect();
        let codec = batch.compression().map(|compression| compression.codec());
        let known = [CompressionType::LZ4_FRAME, CompressionType::ZSTD];
        if let Some(other) = codec.filter(|codec| !known.contains(codec)) {
            let what = format!("compression {}", other.0);
            return Err(TableError::Unsupported { format: FORMAT, what });
        }
        Batch::open(&self.store, &batch, framed.body..self.next, codec, &fields, &names)
    }
}

impl Table for ArrowTable {
    fn format(&self) -> &'static str {
        FORMAT
    }

    fn columns(&self) -> &[Column] {
        &self.schema.columns
    }

    fn select(&mut self, columns: &[usize]) -> Result<(), TableError> {
        self.selected = columns.to_vec();
        (self.next, self.taken, self.batch, self.rows_done) = (self.first, 0, None, 0);
        Ok(())
    }

    fn next(&mut self, chunk: &mut Chunk) -> Result<bool, TableError> {
        if self.batch.as_ref().is_none_or(|batch| batch.left() == 0) && !self.begin_batch()? {
            chunk.rows = 0;
            return Ok(false);
        }
        chunk.set_columns(self.selected.len());
        let Some(batch) = &mut self.batch else { return Ok(false) };
        chunk.rows = batch.left().min(CHUNK_ROWS);
        let name = |place: usize| self.schema.columns[self.selected[place]].name.as_str();
        batch.read(chunk, self.rows_done, name)?;
        self.rows_done += chunk.rows as u64;
        Ok(true)
    }

    fn nullable(&self, column: usize) -> bool {
        self.schema.nullable[column]
    }

    fn stored(&self, column: usize) -> Stored {
        self.schema.stored[column].clone()
    }

    fn notes(&self) -> &[(String, String)] {
        &self.schema.notes
    }
}

/// Reads the message at `at`; `None` at the end.
fn framed(store: &Store, at: u64) -> Result<Option<Framed>, TableError> {
    let left = store.length().saturating_sub(at);
    if left == 0 {
        return Ok(None);
    }
    if left < 8 {
        return Err(TableError::Truncated(FORMAT));
    }
    let head = store.bytes(at, 8)?;
    let number =
        |at: usize| u64::from(u32::from_le_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]));
    // Old files have no continuation before the length.
    let (length, start) = if head[..4] == CONTINUATION { (number(4), 8) } else { (number(0), 4) };
    if length == 0 {
        return Ok(None);
    }
    if length > left - start {
        return Err(match start {
            8 => TableError::Truncated(FORMAT),
            _ => damaged(None, format!("no message where one must begin, at byte {at}")),
        });
    }
    if length > MOST_OF_A_MESSAGE {
        let (format, what) = (FORMAT, "a message");
        return Err(TableError::TooLarge { format, what, bytes: length, most: MOST_OF_A_MESSAGE });
    }
    let message = store.bytes(at + start, usize::try_from(length).unwrap_or(usize::MAX))?;
    Ok(Some(Framed { message, body: at + start + length }))
}

fn parsed(message: &[u8]) -> Result<Message<'_>, TableError> {
    root_as_message(message).map_err(|error| damaged(None, format!("a message that is none: {error}")))
}

/// Where the message with its buffers ends.
fn end_of(framed: &Framed, message: &Message<'_>) -> Result<u64, TableError> {
    let length = u64::try_from(message.bodyLength()).ok();
    length
        .and_then(|length| framed.body.checked_add(length))
        .ok_or_else(|| damaged(None, format!("buffers of {} bytes", message.bodyLength())))
}

/// The columns of a file, and where its record batches begin.
fn footer(store: &Store) -> Result<(Schema, Vec<u64>), TableError> {
    let truncated = || TableError::Truncated(FORMAT);
    // The footer, its length in four bytes, and the magic.
    let end = store.length().checked_sub(10).ok_or_else(truncated)?;
    let tail = store.bytes(end, 10)?;
    if &tail[4..] != MAGIC {
        return Err(truncated());
    }
    let length = u64::from(u32::from_le_bytes([tail[0], tail[1], tail[2], tail[3]]));
    let start = end.checked_sub(length).filter(|_| length <= MOST_OF_A_MESSAGE);
    let start = start.ok_or_else(|| damaged(None, format!("a footer of {length} bytes")))?;
    let footer = store.bytes(start, usize::try_from(length).unwrap_or(usize::MAX))?;
    let footer =
        root_as_footer(&footer).map_err(|error| damaged(None, format!("a footer that is none: {error}")))?;
    let schema = footer.schema().ok_or_else(|| damaged(None, "a footer without a schema"))?;
    let blocks = footer.recordBatches().into_iter().flatten();
    let announced = blocks.map(|block| {
        u64::try_from(block.offset()).map_err(|_| damaged(None, "a record batch before the file"))
    });
    Ok((Schema::of(&schema)?, announced.collect::<Result<_, _>>()?))
}

#[cfg(test)]
mod tests {
    use arrow_array::{Int64Array, RecordBatch};
    use arrow_ipc::writer::{FileWriter, StreamWriter};
    use arrow_schema::{DataType, Field, Schema};
    use std::sync::Arc;

    use super::super::Cells;
    use super::*;

    /// Two batches of the column `a`: 1 and 2, then 3.
    fn batches() -> (Arc<Schema>, [RecordBatch; 2]) {
        let schema = Arc::new(Schema::new(vec![Field::new("a", DataType::Int64, false)]));
        let batch = |cells: &[i64]| {
            RecordBatch::try_new(Arc::clone(&schema), vec![Arc::new(Int64Array::from(cells.to_vec()))])
                .unwrap()
        };
        let all = [batch(&[1, 2]), batch(&[3])];
        (schema, all)
    }

    fn stream() -> Vec<u8> {
        let (schema, all) = batches();
        let mut writer = StreamWriter::try_new(Vec::new(), &schema).unwrap();
        all.iter().for_each(|batch| writer.write(batch).unwrap());
        writer.finish().unwrap();
        writer.into_inner().unwrap()
    }

    fn file() -> Vec<u8> {
        let (schema, all) = batches();
        let mut writer = FileWriter::try_new(Vec::new(), &schema).unwrap();
        all.iter().for_each(|batch| writer.write(batch).unwrap());
        writer.finish().unwrap();
        writer.into_inner().unwrap()
    }

    fn read(table: &mut ArrowTable) -> Result<Vec<i64>, TableError> {
        let (mut chunk, mut all) = (Chunk::default(), Vec::new());
        while table.next(&mut chunk)? {
            let Cells::Integers(cells) = &chunk.columns[0].0 else { panic!("{chunk:?}") };
            all.extend_from_slice(&cells[..chunk.rows]);
        }
        Ok(all)
    }

    #[test]
    fn a_selection_begins_at_the_first_row_whatever_was_read_before() {
        for bytes in [stream(), file()] {
            let mut table = ArrowTable::open(Store::Memory(bytes.into())).unwrap();
            for _ in 0..2 {
                table.select(&[0]).unwrap();
                assert_eq!(read(&mut table).unwrap(), [1, 2, 3]);
            }
        }
    }

    #[test]
    fn a_stream_with_more_behind_its_end_is_not_read_as_if_that_were_not_there() {
        let mut twice = stream();
        twice.extend(stream());
        let mut table = ArrowTable::open(Store::Memory(twice.into())).unwrap();
        table.select(&[0]).unwrap();
        let error = read(&mut table).unwrap_err().to_string();
        assert!(error.contains("bytes behind its end; is it several files in one?"), "{error}");
    }
}
