//! The bytes of a file that is read from several places: the file itself, or all of it in memory.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::sync::Arc;

use bytes::Bytes;

/// A file, or its bytes.
#[derive(Clone, Debug)]
pub(crate) enum Store {
    File { file: Arc<File>, length: u64 },
    Memory(Bytes),
}

/// How much of a stream is kept in memory when its format has to be read from several places: 256 MiB.
pub(crate) const MOST_IN_MEMORY: u64 = 256 << 20;

impl Store {
    pub(crate) fn of_file(file: File) -> io::Result<Self> {
        let length = file.metadata()?.len();
        Ok(Self::File { file: Arc::new(file), length })
    }

    /// Reads a stream to its end; `None` when it is longer than [`MOST_IN_MEMORY`].
    pub(crate) fn of_stream(stream: &mut impl Read) -> io::Result<Option<Self>> {
        let mut all = Vec::new();
        stream.take(MOST_IN_MEMORY + 1).read_to_end(&mut all)?;
        Ok((all.len() as u64 <= MOST_IN_MEMORY).then(|| Self::Memory(all.into())))
    }

    pub(crate) fn length(&self) -> u64 {
        match self {
            Self::File { length, .. } => *length,
            Self::Memory(bytes) => bytes.len() as u64,
        }
    }

    /// The bytes from `at` on; an error where the file ends before them, before anything is allocated.
    pub(super) fn bytes(&self, at: u64, length: usize) -> io::Result<Bytes> {
        if at.checked_add(length as u64).is_none_or(|end| end > self.length()) {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        match self {
            Self::File { .. } => {
                let mut bytes = vec![0; length];
                Section::new(self, at, length as u64).read_exact(&mut bytes)?;
                Ok(bytes.into())
            }
            // Within the length, which is that of a slice.
            Self::Memory(bytes) => Ok(bytes.slice(at as usize..at as usize + length)),
        }
    }

    /// Reads some bytes from `at` on.
    fn read(&self, at: u64, into: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::File { file, .. } => {
                let mut file: &File = file;
                file.seek(SeekFrom::Start(at))?;
                file.read(into)
            }
            Self::Memory(bytes) => {
                let from = usize::try_from(at).ok().and_then(|at| bytes.get(at..)).unwrap_or_default();
                let count = from.len().min(into.len());
                into[..count].copy_from_slice(&from[..count]);
                Ok(count)
            }
        }
    }
}

/// A part of a store as a stream.
#[derive(Debug)]
pub(super) struct Section<S> {
    store: S,
    at: u64,
    end: u64,
}

impl<S: std::borrow::Borrow<Store>> Section<S> {
    /// From `at` on, so many bytes; it ends earlier where the store does.
    pub(super) fn new(store: S, at: u64, length: u64) -> Self {
        let end = at.saturating_add(length).min(store.borrow().length());
        Self { store, at, end }
    }
}

impl<S: std::borrow::Borrow<Store>> Read for Section<S> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let left = usize::try_from(self.end.saturating_sub(self.at)).unwrap_or(usize::MAX);
        let most = left.min(into.len());
        if most == 0 {
            return Ok(0);
        }
        let count = self.store.borrow().read(self.at, &mut into[..most])?;
        self.at += count as u64;
        Ok(count)
    }
}
