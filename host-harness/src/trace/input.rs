//! Where the text comes from: files and standard input, unpacked on the way.

use std::fmt;
use std::fs::File;
use std::io::{self, BufReader, Cursor, Read, Seek, Write};
use std::path::Path;
use std::sync::Arc;

use flate2::bufread::MultiGzDecoder;

use super::error::{Place, Problem, TraceError};
use super::table::{Format, MOST_IN_MEMORY, Store, Table, TableError, open_store};

/// How a trace was compressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Compression {
    /// Not at all.
    Plain,
    /// gzip, of one or more members.
    Gzip,
    /// zstd, of one or more frames.
    Zstd,
}

impl fmt::Display for Compression {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Plain => "plain",
            Self::Gzip => "gzip",
            Self::Zstd => "zstd",
        })
    }
}

/// Enough to tell the formats in [`other_format`] and those of typed columns apart.
const MAGIC_BYTES: usize = 8;
/// Enough to tell text from what is none.
const FRONT_BYTES: usize = 512;
/// Compressed bytes fetched at a time.
const PACKED_BLOCK: usize = 128 * 1024;

/// A trace that has been opened.
pub(crate) enum Opened {
    Text(Input),
    Table { path: Arc<str>, table: Box<dyn Table> },
}

/// A stream of text with the name it has in messages.
pub(crate) struct Input {
    pub(crate) path: Arc<str>,
    pub(super) compression: Compression,
    stream: Box<dyn Read + Send>,
}

impl Opened {
    /// Opens a file, or standard input for `-`.
    pub(crate) fn open(path: &Path) -> Result<Self, TraceError> {
        Self::open_any(path, None::<fn(&[u8])>)
    }

    /// As [`open`](Self::open); `seen` is shown all its bytes, as they are stored.
    pub(super) fn open_seen(
        path: &Path,
        seen: impl FnMut(&[u8]) + Send + 'static,
    ) -> Result<Self, TraceError> {
        Self::open_any(path, Some(seen))
    }

    fn open_any(path: &Path, seen: Option<impl FnMut(&[u8]) + Send + 'static>) -> Result<Self, TraceError> {
        if path.as_os_str() == "-" {
            let (name, stream) = ("standard input", io::stdin());
            return match seen {
                Some(seen) => Self::from_read(name, Seen { stream, seen }),
                None => Self::from_read(name, stream),
            };
        }
        let mut file = file(path)?;
        let path_shown: Arc<str> = path.to_string_lossy().into();
        let fail = |problem| error(&path_shown, problem);
        let unreadable = |error| fail(Problem::Unreadable(error));
        let front = front(&mut file, FRONT_BYTES).map_err(unreadable)?;
        // A pipe that has a name cannot go back.
        let is_file = file.metadata().map_err(unreadable)?.is_file();
        if let Some(format) = Format::of(&front).filter(|_| is_file) {
            if let Some(mut seen) = seen {
                file.rewind().map_err(unreadable)?;
                io::copy(&mut file, &mut Shown(&mut seen)).map_err(unreadable)?;
            }
            let store = Store::of_file(file).map_err(unreadable)?;
            return Self::table(path_shown, store, format);
        }
        if let Some(named) = Format::of_name(path)
            && let Some(found) = no_text(&front)
        {
            return Err(fail(Problem::NotAsNamed { named: named.with_article(), found }));
        }
        let all = Cursor::new(front).chain(file);
        match seen {
            Some(seen) => Self::from_read(&path_shown, Seen { stream: all, seen }),
            None => Self::from_read(&path_shown, all),
        }
    }

    /// Takes any stream of bytes.
    pub(super) fn from_read(name: &str, mut raw: impl Read + Send + 'static) -> Result<Self, TraceError> {
        let path: Arc<str> = name.into();
        let fail = |problem| error(&path, problem);
        let unreadable = |error| fail(Problem::Unreadable(error));
        let magic = front(&mut raw, MAGIC_BYTES).map_err(unreadable)?;
        if let Some(format) = Format::of(&magic) {
            return Self::table_of_stream(path, &mut Cursor::new(magic).chain(raw), format);
        }
        if let Some(format) = other_format(&magic) {
            return Err(fail(Problem::OtherFormat(format)));
        }
        let compression = compression(&magic);
        let all = Cursor::new(magic).chain(raw);
        let stream: Box<dyn Read + Send> = match compression {
            Compression::Plain => Box::new(all),
            Compression::Gzip => Box::new(MultiGzDecoder::new(BufReader::with_capacity(PACKED_BLOCK, all))),
            Compression::Zstd => {
                let packed = BufReader::with_capacity(PACKED_BLOCK, all);
                Box::new(zstd::stream::read::Decoder::with_buffer(packed).map_err(unreadable)?)
            }
        };
        let mut input = Input { path, compression, stream };
        if compression == Compression::Plain {
            return Ok(Self::Text(input));
        }
        let magic = front(&mut input.stream, MAGIC_BYTES).map_err(|wrong| {
            let mut error = error(&input.path, input.explain(wrong));
            error.place.line = Some(1);
            error
        })?;
        let inside = Format::of(&magic);
        let mut stream = Cursor::new(magic).chain(input.stream);
        if let Some(format) = inside {
            return Self::table_of_stream(input.path, &mut stream, format);
        }
        input.stream = Box::new(stream);
        Ok(Self::Text(input))
    }

    fn table_of_stream(path: Arc<str>, stream: &mut impl Read, format: Format) -> Result<Self, TraceError> {
        match Store::of_stream(stream) {
            Err(wrong) => Err(error(&path, Problem::Unreadable(wrong))),
            Ok(None) => {
                let wrong = TableError::Stream { format: format.in_words(), most: MOST_IN_MEMORY };
                Err(error(&path, wrong.into()))
            }
            Ok(Some(store)) => Self::table(path, store, format),
        }
    }

    fn table(path: Arc<str>, store: Store, format: Format) -> Result<Self, TraceError> {
        match open_store(store, format) {
            Ok(table) => Ok(Self::Table { path, table }),
            Err(wrong) => Err(error(&path, wrong.into())),
        }
    }
}

impl Input {
    /// Reads some bytes; 0 at the end.
    pub(super) fn read(&mut self, into: &mut [u8]) -> Result<usize, Problem> {
        loop {
            match self.stream.read(into) {
                Ok(count) => return Ok(count),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(self.explain(error)),
            }
        }
    }

    fn explain(&self, error: io::Error) -> Problem {
        match (self.compression, error.kind()) {
            (Compression::Plain, _) => Problem::Unreadable(error),
            (compression, io::ErrorKind::UnexpectedEof) => Problem::Truncated(compression),
            // The decoders report damage as invalid data or input, or as a plain message; an error of the
            // file below them keeps its number.
            (compression, _) if error.raw_os_error().is_none() => {
                Problem::Corrupt { compression, detail: error.to_string() }
            }
            _ => Problem::Unreadable(error),
        }
    }
}

/// A stream whose bytes are shown to somebody else, too.
struct Seen<R, F> {
    stream: R,
    seen: F,
}

impl<R: Read, F: FnMut(&[u8])> Read for Seen<R, F> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.stream.read(into)?;
        (self.seen)(&into[..count]);
        Ok(count)
    }
}

/// Bytes that are only shown.
struct Shown<F>(F);

impl<F: FnMut(&[u8])> Write for Shown<F> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        (self.0)(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// The first bytes of a stream, fewer where it ends.
fn front(stream: &mut impl Read, count: usize) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::with_capacity(count);
    stream.take(count as u64).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// What a file begins like, when that is no text, packed or not.
fn no_text(front: &[u8]) -> Option<String> {
    if compression(front) != Compression::Plain {
        return None;
    }
    if let Some(format) = other_format(front) {
        return Some(format.to_owned());
    }
    let text = match str::from_utf8(front) {
        Ok(_) => front,
        // A character may be cut at the end.
        Err(error) if error.error_len().is_none() => &front[..error.valid_up_to()],
        Err(_) => &[0],
    };
    text.contains(&0).then(|| {
        let bytes: Vec<String> = front.iter().take(4).map(|byte| format!("{byte:02x}")).collect();
        format!("neither that nor text ({})", bytes.join(" "))
    })
}

fn error(path: &Arc<str>, problem: Problem) -> TraceError {
    TraceError { place: place(Arc::clone(path)), problem: Box::new(problem) }
}

fn file(path: &Path) -> Result<File, TraceError> {
    let name = path.to_string_lossy();
    let fail = |problem| TraceError { place: place(name.as_ref().into()), problem: Box::new(problem) };
    let file = File::open(path).map_err(|error| {
        fail(match error.kind() {
            io::ErrorKind::NotFound => Problem::NotFound,
            _ => Problem::Unreadable(error),
        })
    })?;
    if file.metadata().is_ok_and(|metadata| metadata.is_dir()) {
        return Err(fail(Problem::Directory));
    }
    Ok(file)
}

const fn place(path: Arc<str>) -> Place {
    Place { path, line: None, column: None, row: None }
}

pub(crate) fn compression(magic: &[u8]) -> Compression {
    match magic {
        [0x1f, 0x8b, ..] => Compression::Gzip,
        // A frame, or a skippable frame in front of the first one.
        [0x28, 0xb5, 0x2f, 0xfd, ..] | [0x50..=0x5f, 0x2a, 0x4d, 0x18, ..] => Compression::Zstd,
        _ => Compression::Plain,
    }
}

/// Formats that are met where a table is expected, by their first bytes.
pub(crate) const fn other_format(magic: &[u8]) -> Option<&'static str> {
    match magic {
        [b'P', b'K', 3, 4, ..] => Some("a zip archive (or a spreadsheet)"),
        [b'B', b'Z', b'h', b'1'..=b'9', b'1', b'A', ..] => Some("a bzip2 file"),
        [0xfd, b'7', b'z', b'X', b'Z', 0, ..] => Some("an xz file"),
        [b'P', b'A', b'R', b'1', 0x15, ..] => Some("a Parquet file"),
        [b'F', b'E', b'A', b'1', ..] => Some("an old Feather file, version 1"),
        [0xd0, 0xcf, 0x11, 0xe0, ..] => Some("an old binary spreadsheet or document"),
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => Some("UTF-16 text"),
        _ => None,
    }
}
