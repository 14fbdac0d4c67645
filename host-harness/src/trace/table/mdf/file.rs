//! The blocks of an MDF4 file: every place that is read lies in the file, and nothing is larger than it may be.

use std::io::{Read, Seek, SeekFrom};

use super::error::MdfError;
use crate::trace::table::TableError;

/// Bytes that are fetched at a time while the structure of the file is read.
const WINDOW_BYTES: usize = 1 << 13;
/// The header of a block: its id, its length and the number of its links.
const HEAD_BYTES: u64 = 24;
/// The largest block of the structure that is taken: a list of two million data blocks.
const MAX_BLOCK_BYTES: u64 = 16 << 20;

/// Where the bytes come from.
pub(super) trait Source: Read + Seek + Send {}

impl<S: Read + Seek + Send> Source for S {}

/// A file with the part of it that was read last.
pub(super) struct File {
    source: Box<dyn Source>,
    length: u64,
    window: Vec<u8>,
    window_at: u64,
}

/// What a block begins with.
#[derive(Clone, Copy, Debug)]
pub(super) struct Head {
    pub(super) id: [u8; 4],
    pub(super) at: u64,
    /// With the head itself.
    pub(super) length: u64,
    links: u64,
}

impl Head {
    /// Where the part behind the links begins.
    pub(super) const fn data_at(&self) -> u64 {
        self.at + HEAD_BYTES + self.links * 8
    }

    /// How long the part behind the links is.
    pub(super) const fn data_bytes(&self) -> u64 {
        self.length - HEAD_BYTES - self.links * 8
    }

    /// The id as it is shown.
    pub(super) fn shown(&self) -> String {
        String::from_utf8_lossy(&self.id).escape_debug().to_string()
    }
}

/// A block of the structure.
pub(super) struct Block {
    pub(super) head: Head,
    links: Vec<u64>,
    pub(super) data: Vec<u8>,
}

impl Block {
    /// Where the link leads; 0, nowhere, also for a link that the block does not have.
    pub(super) fn link(&self, index: usize) -> u64 {
        self.links.get(index).copied().unwrap_or(0)
    }

    pub(super) fn links(&self) -> &[u64] {
        &self.links
    }

    /// Some bytes of the part behind the links.
    pub(super) fn bytes<const N: usize>(&self, from: usize) -> Result<[u8; N], MdfError> {
        let found = self.data.get(from..).and_then(<[u8]>::first_chunk::<N>);
        found.copied().ok_or_else(|| {
            MdfError::damaged(format!("the {} block is too short", self.head.shown()), self.head.at)
        })
    }

    pub(super) fn u8(&self, from: usize) -> Result<u8, MdfError> {
        self.bytes::<1>(from).map(|[byte]| byte)
    }

    pub(super) fn u16(&self, from: usize) -> Result<u16, MdfError> {
        self.bytes(from).map(u16::from_le_bytes)
    }

    pub(super) fn u32(&self, from: usize) -> Result<u32, MdfError> {
        self.bytes(from).map(u32::from_le_bytes)
    }

    pub(super) fn u64(&self, from: usize) -> Result<u64, MdfError> {
        self.bytes(from).map(u64::from_le_bytes)
    }

    pub(super) fn f64(&self, from: usize) -> Result<f64, MdfError> {
        self.bytes(from).map(f64::from_le_bytes)
    }
}

impl File {
    pub(super) fn new(mut source: impl Source + 'static) -> Result<Self, TableError> {
        let length = source.seek(SeekFrom::End(0))?;
        Ok(Self { source: Box::new(source), length, window: Vec::new(), window_at: 0 })
    }

    /// Reads bytes that must be there; `what` they belong to is for the message.
    pub(super) fn read(&mut self, at: u64, into: &mut [u8], what: &str) -> Result<(), TableError> {
        self.check(at, into.len() as u64, what)?;
        if into.len() > WINDOW_BYTES / 2 {
            self.source.seek(SeekFrom::Start(at))?;
            self.source.read_exact(into)?;
            return Ok(());
        }
        let inside = at.checked_sub(self.window_at).and_then(|from| usize::try_from(from).ok());
        if let Some(bytes) = inside.and_then(|from| self.window.get(from..from + into.len())) {
            into.copy_from_slice(bytes);
            return Ok(());
        }
        self.window.clear();
        self.source.seek(SeekFrom::Start(at))?;
        self.source.by_ref().take(WINDOW_BYTES as u64).read_to_end(&mut self.window)?;
        self.window_at = at;
        match self.window.get(..into.len()) {
            Some(bytes) => into.copy_from_slice(bytes),
            // The file became shorter since it was opened.
            None => return Err(self.cut(at, what).into()),
        }
        Ok(())
    }

    fn check(&self, at: u64, bytes: u64, what: &str) -> Result<(), MdfError> {
        match at.checked_add(bytes) {
            Some(end) if end <= self.length => Ok(()),
            _ => Err(self.cut(at, what)),
        }
    }

    fn cut(&self, at: u64, what: &str) -> MdfError {
        MdfError::Truncated { what: what.to_owned(), at, length: self.length }
    }

    /// What a block begins with; it lies in the file with all its bytes.
    pub(super) fn head(&mut self, at: u64) -> Result<Head, TableError> {
        let mut bytes = [0; 24];
        self.read(at, &mut bytes, "a block")?;
        let [i0, i1, i2, i3, _, _, _, _, rest @ ..] = bytes;
        let (length, links) = rest.split_at(8);
        let number = |bytes: &[u8]| bytes.iter().rev().fold(0, |sum, &byte| sum << 8 | u64::from(byte));
        let head = Head { id: [i0, i1, i2, i3], at, length: number(length), links: number(links) };
        if head.id[..2] != *b"##" {
            return Err(MdfError::damaged(format!("no block but {:?} stands", head.shown()), at).into());
        }
        let links = head.links.checked_mul(8).and_then(|bytes| bytes.checked_add(HEAD_BYTES));
        if links.is_none_or(|bytes| bytes > head.length) {
            return Err(MdfError::damaged(format!("the {} block is too short", head.shown()), at).into());
        }
        self.check(at, head.length, &format!("the {} block", head.shown()))?;
        Ok(head)
    }

    /// A block of the structure, whose id is one of these.
    pub(super) fn block(&mut self, at: u64, ids: &[&[u8; 4]]) -> Result<Block, TableError> {
        let head = self.head(at)?;
        if !ids.contains(&&head.id) {
            let expected: Vec<_> = ids.iter().map(|id| String::from_utf8_lossy(*id)).collect();
            let what = format!("a {} block stands where {} belongs", head.shown(), expected.join(" or "));
            return Err(MdfError::damaged(what, at).into());
        }
        if head.length > MAX_BLOCK_BYTES {
            let what = format!("a {} block of {} bytes", head.shown(), head.length);
            return Err(MdfError::damaged(what, at).into());
        }
        // Both are below the limit.
        let size = |bytes: u64| usize::try_from(bytes).unwrap_or(0);
        let mut links = vec![0; size(head.links * 8)];
        self.read(at + HEAD_BYTES, &mut links, "a block")?;
        let mut data = vec![0; size(head.data_bytes())];
        self.read(head.data_at(), &mut data, "a block")?;
        let links = links.as_chunks::<8>().0.iter().map(|bytes| u64::from_le_bytes(*bytes)).collect();
        Ok(Block { head, links, data })
    }
}
