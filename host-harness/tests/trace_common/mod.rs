//! A layout to vary, and a reader of whole traces out of memory.

use std::io::Cursor;

use host_harness::trace::{
    Layout, LevelColumn, Options, Reader, SourceColumns, SourceKind, TimeColumn, TimeUnit, TraceError,
};
use monitor_core::{Frame, Span};

/// A counter column with nothing special about it.
pub fn counter(column: &str, bits: u8) -> SourceColumns {
    SourceColumns {
        column: column.to_owned(),
        kind: SourceKind::Counter { bits },
        latency: Span::ZERO,
        capture: None,
        valid: None,
        sparse: false,
    }
}

/// Columns `t` in seconds, `a` of 32 and `b` of 16 bits, `door` on line 3.
pub fn layout() -> Layout {
    Layout {
        time: TimeColumn { name: "t".to_owned(), unit: TimeUnit::Seconds },
        a: counter("a", 32),
        b: counter("b", 16),
        levels: vec![LevelColumn { name: "door".to_owned(), line: 3, asked_by: None }],
        analogues: Vec::new(),
    }
}

/// A reader of a text in memory, called `t.csv`.
pub fn reader(bytes: &[u8], layout: &Layout, skip_bad: bool) -> Result<Reader, TraceError> {
    Reader::from_read("t.csv", Cursor::new(bytes.to_vec()), layout, Options { skip_bad })
}

/// All frames that a reader delivers, and the error that ended it, if one did.
pub fn drain(reader: &mut Reader) -> (Vec<Frame>, Option<TraceError>) {
    let (mut frames, mut batch) = (Vec::new(), Vec::new());
    loop {
        let more = reader.next_batch(&mut batch);
        frames.extend_from_slice(&batch);
        match more {
            Ok(true) => {}
            Ok(false) => return (frames, None),
            Err(error) => return (frames, Some(error)),
        }
    }
}
