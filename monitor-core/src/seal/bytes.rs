//! Numbers in a row of bytes.

use super::SealError;

/// Writes from the beginning on.
pub(super) struct Writer<'a> {
    out: &'a mut [u8],
    len: usize,
}

impl<'a> Writer<'a> {
    pub(super) fn new(out: &'a mut [u8]) -> Self {
        Self { out, len: 0 }
    }

    pub(super) fn len(&self) -> usize {
        self.len
    }

    pub(super) fn put(&mut self, bytes: &[u8]) -> Result<(), SealError> {
        let room = self.out.len();
        let end = self.len.checked_add(bytes.len()).ok_or(SealError::NoRoom(room))?;
        // As a zip: copying a slice into a slice would have to panic if their lengths differed.
        let to = self.out.get_mut(self.len..end).ok_or(SealError::NoRoom(room))?;
        for (to, byte) in to.iter_mut().zip(bytes) {
            *to = *byte;
        }
        self.len = end;
        Ok(())
    }
}

/// Reads from the beginning on. What is not there is [`SealError::Content`].
pub(super) struct Reader<'a> {
    rest: &'a [u8],
}

impl<'a> Reader<'a> {
    pub(super) const fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    pub(super) const fn is_empty(&self) -> bool {
        self.rest.is_empty()
    }

    pub(super) fn take<const N: usize>(&mut self) -> Result<[u8; N], SealError> {
        let (taken, rest) = self.rest.split_first_chunk::<N>().ok_or(SealError::Content)?;
        self.rest = rest;
        Ok(*taken)
    }

    pub(super) fn u8(&mut self) -> Result<u8, SealError> {
        self.take().map(u8::from_le_bytes)
    }

    pub(super) fn u16(&mut self) -> Result<u16, SealError> {
        self.take().map(u16::from_le_bytes)
    }

    pub(super) fn u32(&mut self) -> Result<u32, SealError> {
        self.take().map(u32::from_le_bytes)
    }

    pub(super) fn u64(&mut self) -> Result<u64, SealError> {
        self.take().map(u64::from_le_bytes)
    }

    pub(super) fn i64(&mut self) -> Result<i64, SealError> {
        self.take().map(i64::from_le_bytes)
    }

    /// 0 or 1, nothing else.
    pub(super) fn bool(&mut self) -> Result<bool, SealError> {
        match self.u8()? {
            0 => Ok(false),
            1 => Ok(true),
            _ => Err(SealError::Content),
        }
    }
}
