//! Files of the host that runs the emulator.

use core::ffi::CStr;

use semihosting::fs::File;
use semihosting::io::{Read, Write};
#[cfg(not(few))]
use wire::LONGEST_ITEM;
#[cfg(few)]
use wire::LONGEST_ITEM_OF_FEW as LONGEST_ITEM;

/// The script, item by item.
pub struct Script {
    file: File,
    item: [u8; LONGEST_ITEM],
}

impl Script {
    /// The file `script` in the folder of the emulator.
    ///
    /// # Panics
    ///
    /// When there is none.
    #[must_use]
    pub fn open() -> Self {
        Self { file: File::open(c"script").expect("a script"), item: [0; LONGEST_ITEM] }
    }

    /// The next item, as bytes; `None` at the end.
    ///
    /// # Panics
    ///
    /// When the script ends within an item.
    pub fn next_item(&mut self) -> Option<&[u8]> {
        let mut length = [0; 2];
        match self.file.read(&mut length).expect("the script can be read") {
            0 => return None,
            read => self.file.read_exact(&mut length[read..]).expect("a whole length"),
        }
        let item = &mut self.item[..usize::from(u16::from_le_bytes(length))];
        self.file.read_exact(item).expect("a whole item");
        Some(item)
    }
}

/// A file that is written in large pieces.
pub struct Answers {
    file: File,
    buffer: [u8; 512],
    used: usize,
}

impl Answers {
    /// A new file in the folder of the emulator.
    ///
    /// # Panics
    ///
    /// When it cannot be made.
    #[must_use]
    pub fn create(name: &CStr) -> Self {
        Self { file: File::create(name).expect("a file to write"), buffer: [0; 512], used: 0 }
    }

    /// Adds bytes.
    ///
    /// # Panics
    ///
    /// When they cannot be written.
    pub fn put(&mut self, bytes: &[u8]) {
        if self.used + bytes.len() > self.buffer.len() {
            self.finish();
        }
        self.buffer[self.used..self.used + bytes.len()].copy_from_slice(bytes);
        self.used += bytes.len();
    }

    /// Writes what is left.
    ///
    /// # Panics
    ///
    /// When it cannot be written.
    pub fn finish(&mut self) {
        self.file.write_all(&self.buffer[..self.used]).expect("the answers can be written");
        self.used = 0;
    }
}
