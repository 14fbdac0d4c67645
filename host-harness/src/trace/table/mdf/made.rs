//! MDF4 files made byte by byte, for tests.

/// A file in the making; blocks are put behind each other, so what a block leads to is put first.
pub(crate) struct Made(Vec<u8>);

const HEADER_AT: usize = 64;

impl Made {
    pub(crate) fn new() -> Self {
        let mut bytes = b"MDF     4.10    made    \0\0\0\0".to_vec();
        bytes.extend(410_u16.to_le_bytes());
        bytes.resize(HEADER_AT, 0);
        let mut made = Self(bytes);
        made.block(b"##HD", &[0; 6], &[0; 32]);
        made
    }

    pub(crate) fn block(&mut self, id: &[u8; 4], links: &[u64], data: &[u8]) -> u64 {
        self.0.resize(self.0.len().next_multiple_of(8), 0);
        let at = self.0.len() as u64;
        self.0.extend(id);
        self.0.extend([0; 4]);
        self.0.extend((24 + 8 * links.len() as u64 + data.len() as u64).to_le_bytes());
        self.0.extend((links.len() as u64).to_le_bytes());
        links.iter().for_each(|link| self.0.extend(link.to_le_bytes()));
        self.0.extend(data);
        at
    }

    pub(crate) fn text(&mut self, text: &str) -> u64 {
        self.block(b"##TX", &[], format!("{text}\0").as_bytes())
    }

    pub(crate) fn linear(&mut self, offset: f64, factor: f64) -> u64 {
        let mut data = vec![1, 0, 0, 0, 0, 0, 2, 0];
        data.extend([0; 16]);
        data.extend(offset.to_le_bytes());
        data.extend(factor.to_le_bytes());
        self.block(b"##CC", &[0; 4], &data)
    }

    /// A channel in front of others.
    pub(crate) fn channel(&mut self, next: u64, name: &str, unit: &str, made: Channel) -> u64 {
        let (name, unit) = (self.text(name), self.text(unit));
        let mut data = vec![made.kind, u8::from(made.kind == 2 || made.kind == 3), made.data, made.bit];
        data.extend(made.byte.to_le_bytes());
        data.extend(made.bits.to_le_bytes());
        data.extend(made.flags.to_le_bytes());
        data.extend(made.invalid_at.to_le_bytes());
        data.extend([0; 52]);
        self.block(b"##CN", &[next, 0, name, 0, made.conversion, 0, unit, 0], &data)
    }

    /// A group of one data group in front of others.
    pub(crate) fn group(&mut self, next: u64, name: &str, made: Group) -> u64 {
        let name = self.text(name);
        let mut data = vec![0; 8];
        data.extend(made.records.to_le_bytes());
        data.extend(made.flags.to_le_bytes());
        data.extend([0; 6]);
        data.extend(made.bytes.to_le_bytes());
        data.extend(made.invalid_bytes.to_le_bytes());
        let group = self.block(b"##CG", &[made.beside, made.channels, name, 0, 0, 0], &data);
        self.block(b"##DG", &[next, group, made.data, 0], &[made.id_bytes, 0, 0, 0, 0, 0, 0, 0])
    }

    /// The file whose first data group is this one.
    pub(crate) fn file(mut self, first: u64) -> Vec<u8> {
        self.0[HEADER_AT + 24..HEADER_AT + 32].copy_from_slice(&first.to_le_bytes());
        self.0
    }
}

#[derive(Clone, Copy, Default)]
pub(crate) struct Channel {
    pub(crate) kind: u8,
    pub(crate) data: u8,
    pub(crate) bit: u8,
    pub(crate) byte: u32,
    pub(crate) bits: u32,
    pub(crate) flags: u32,
    pub(crate) invalid_at: u32,
    pub(crate) conversion: u64,
}

#[derive(Clone, Copy, Default)]
pub(crate) struct Group {
    pub(crate) records: u64,
    pub(crate) flags: u16,
    pub(crate) bytes: u32,
    pub(crate) invalid_bytes: u32,
    pub(crate) id_bytes: u8,
    pub(crate) channels: u64,
    pub(crate) data: u64,
    pub(crate) beside: u64,
}
