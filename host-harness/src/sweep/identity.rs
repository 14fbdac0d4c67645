//! What tells one content of a file from another.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use flate2::Crc;
use serde::{Deserialize, Serialize};

/// Length and checksum of the bytes of a file, as they are stored. It finds a change; it is no protection against intent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Identity {
    /// How many bytes.
    pub bytes: u64,
    /// CRC-32/ISO-HDLC over all of them.
    pub crc32: u32,
}

/// An identity in the making.
#[derive(Debug, Default)]
struct Seen {
    bytes: u64,
    crc: Crc,
}

impl Seen {
    fn add(&mut self, bytes: &[u8]) {
        self.bytes += bytes.len() as u64;
        self.crc.update(bytes);
    }

    fn identity(&self) -> Identity {
        Identity { bytes: self.bytes, crc32: self.crc.sum() }
    }
}

impl Identity {
    /// Reads a file for its identity alone.
    pub(super) fn read(path: &Path) -> io::Result<Self> {
        let mut file = File::open(path)?;
        let (mut seen, mut block) = (Seen::default(), vec![0; 1 << 17]);
        loop {
            match file.read(&mut block) {
                Ok(0) => return Ok(seen.identity()),
                Ok(count) => seen.add(&block[..count]),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
    }
}

/// Sees the bytes of a file go by while it is read.
#[derive(Debug, Default)]
pub(crate) struct Watched(Arc<Mutex<Seen>>);

impl Watched {
    /// What is to be shown them, in their order.
    pub(crate) fn shown(&self) -> impl FnMut(&[u8]) + Send + 'static {
        let seen = Self(Arc::clone(&self.0));
        move |bytes| seen.seen().add(bytes)
    }

    /// Of what was shown so far: of the file once it was read to its end.
    pub(crate) fn identity(&self) -> Identity {
        self.seen().identity()
    }

    fn seen(&self) -> MutexGuard<'_, Seen> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_checksum_is_that_of_the_standard() {
        // The check value of CRC-32/ISO-HDLC over "123456789" (catalogue of parametrised CRC algorithms, G. Cook).
        let seen = Watched::default();
        let mut show = seen.shown();
        show(b"1234");
        show(b"56789");
        assert_eq!(seen.identity(), Identity { bytes: 9, crc32: 0xCBF4_3926 });
    }
}
