//! Where a trace goes: a plain, gzip or zstd file by the name's ending, or standard output.

use std::fs::File;
use std::io::{self, BufWriter, Stdout, Write};
use std::path::Path;

use flate2::{Compression, GzBuilder, write::GzEncoder};
use zstd::stream::write::Encoder as ZstdEncoder;

/// A destination for [`Scenario::write`](super::Scenario::write). Call [`Sink::finish`] at the end: a compressed file
/// is incomplete without its last block, and errors of the last write would be lost.
pub struct Sink(Kind);

enum Kind {
    Plain(BufWriter<File>),
    Gzip(GzEncoder<BufWriter<File>>),
    Zstd(ZstdEncoder<'static, BufWriter<File>>),
    StandardOutput(Stdout),
}

/// Creates (or replaces) the file at `path`: `.gz` is compressed with gzip, `.zst` with zstd, anything else is plain;
/// `-` is standard output. The gzip header carries neither time nor name, so equal traces are equal files.
///
/// # Errors
/// The error of the file system when the file cannot be created.
pub fn create(path: &Path) -> io::Result<Sink> {
    if path == Path::new("-") {
        return Ok(Sink(Kind::StandardOutput(io::stdout())));
    }
    let file = BufWriter::new(File::create(path)?);
    let ending = path.extension().and_then(|ending| ending.to_str()).map(str::to_ascii_lowercase);
    Ok(Sink(match ending.as_deref() {
        Some("gz") => Kind::Gzip(GzBuilder::new().mtime(0).write(file, Compression::default())),
        Some("zst") => Kind::Zstd(ZstdEncoder::new(file, 0)?),
        _ => Kind::Plain(file),
    }))
}

impl Sink {
    /// Writes what is still held back and closes the file.
    ///
    /// # Errors
    /// The error of the last write.
    pub fn finish(self) -> io::Result<()> {
        match self.0 {
            Kind::Plain(mut file) => file.flush(),
            Kind::Gzip(encoder) => encoder.finish()?.flush(),
            Kind::Zstd(encoder) => encoder.finish()?.flush(),
            Kind::StandardOutput(mut out) => out.flush(),
        }
    }
}

impl Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.0 {
            Kind::Plain(file) => file.write(bytes),
            Kind::Gzip(encoder) => encoder.write(bytes),
            Kind::Zstd(encoder) => encoder.write(bytes),
            Kind::StandardOutput(out) => out.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match &mut self.0 {
            Kind::Plain(file) => file.flush(),
            Kind::Gzip(encoder) => encoder.flush(),
            Kind::Zstd(encoder) => encoder.flush(),
            Kind::StandardOutput(out) => out.flush(),
        }
    }
}
