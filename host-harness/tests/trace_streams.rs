//! Files, compression, length and threads.

mod trace_common;

use std::fmt::Write as _;
use std::io::{self, Cursor, Read, Write as _};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use flate2::write::GzEncoder;
use host_harness::trace::{BATCH_FRAMES, Compression, MAX_LINE_BYTES, Options, Prefetch, Problem, Reader};
use monitor_core::Frame;
use trace_common::{drain, layout, reader};

/// A trace of some rows, 1 ms apart.
fn trace(rows: usize) -> String {
    let mut text = "t,a,b,door\n".to_owned();
    for row in 0..rows {
        writeln!(text, "{}.{:03},{row},{},{}", row / 1000, row % 1000, row % 65536, row % 2).unwrap();
    }
    text
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

fn zstd(bytes: &[u8]) -> Vec<u8> {
    zstd::encode_all(bytes, 1).unwrap()
}

fn frames(bytes: &[u8]) -> (Vec<Frame>, Compression) {
    let mut reader = reader(bytes, &layout(), false).unwrap();
    let (frames, error) = drain(&mut reader);
    assert!(error.is_none(), "{error:?}");
    (frames, reader.summary().compression)
}

/// Hands out a few bytes at a time, and counts them.
struct Trickle<R> {
    inner: R,
    most: usize,
    handed_out: Arc<AtomicUsize>,
}

impl<R: Read> Read for Trickle<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let most = self.most.min(into.len());
        let count = self.inner.read(&mut into[..most])?;
        self.handed_out.fetch_add(count, Ordering::Relaxed);
        Ok(count)
    }
}

#[test]
fn compressed_traces_are_read_as_they_are() {
    let text = trace(10_000);
    let plain = frames(text.as_bytes());
    assert_eq!((plain.0.len(), plain.1), (10_000, Compression::Plain));
    assert_eq!(frames(&gzip(text.as_bytes())), (plain.0.clone(), Compression::Gzip));
    assert_eq!(frames(&zstd(text.as_bytes())), (plain.0.clone(), Compression::Zstd));
    // Of several members or frames, cut in the middle of a row.
    let (front, back) = text.as_bytes().split_at(text.len() / 2 + 3);
    assert_eq!(frames(&[gzip(front), gzip(back)].concat()), (plain.0.clone(), Compression::Gzip));
    assert_eq!(frames(&[zstd(front), zstd(back)].concat()), (plain.0.clone(), Compression::Zstd));
    // A skippable frame of four bytes in front.
    let skippable = [&[0x50, 0x2a, 0x4d, 0x18, 4, 0, 0, 0, 1, 2, 3, 4][..], &zstd(text.as_bytes())].concat();
    assert_eq!(frames(&skippable), (plain.0, Compression::Zstd));
}

#[test]
fn a_truncated_stream_is_called_truncated_wherever_it_ends() {
    let text = trace(2_000);
    for (packed, name) in [(gzip(text.as_bytes()), "gzip"), (zstd(text.as_bytes()), "zstd")] {
        for length in (4..packed.len()).step_by(packed.len() / 40).chain([packed.len() - 1]) {
            let error = match reader(&packed[..length], &layout(), true) {
                Err(error) => error,
                Ok(mut reader) => drain(&mut reader).1.expect("something is missing"),
            };
            assert!(matches!(*error.problem, Problem::Truncated(_)), "{name} cut at {length}: {error}");
            assert!(error.to_string().contains(&format!("the {name} stream is truncated")), "{error}");
            assert!(error.place.line.is_some());
        }
    }
}

#[test]
fn a_damaged_stream_is_an_error() {
    let text = trace(2_000);
    for (mut packed, compression) in
        [(gzip(text.as_bytes()), Compression::Gzip), (zstd(text.as_bytes()), Compression::Zstd)]
    {
        let middle = packed.len() / 2;
        for byte in &mut packed[middle..middle + 40] {
            *byte ^= 0x5a;
        }
        let error = match reader(&packed, &layout(), false) {
            Err(error) => error,
            Ok(mut reader) => drain(&mut reader).1.expect("the stream is damaged"),
        };
        // What the damage does to the text may show before the decoder notices.
        let row_or_stream = error.problem.reason().is_some()
            || matches!(*error.problem, Problem::Corrupt { compression: c, .. } | Problem::Truncated(c) if c == compression);
        assert!(row_or_stream, "{error}");
    }
    // Something else behind the last gzip member.
    let mut tail = gzip(text.as_bytes());
    tail.extend_from_slice(b"and more of something else");
    let (delivered, error) = drain(&mut reader(&tail, &layout(), false).unwrap());
    assert_eq!(delivered.len(), 2_000);
    assert!(matches!(*error.unwrap().problem, Problem::Corrupt { compression: Compression::Gzip, .. }));
}

#[test]
fn the_size_of_the_pieces_makes_no_difference() {
    let text = format!("\u{feff}# a comment\r\n{}", trace(3_000).replace('\n', "\r\n"));
    let whole = frames(text.as_bytes()).0;
    for most in [1, 2, 3, 7, 4096] {
        let handed_out = Arc::default();
        let stream = Trickle { inner: Cursor::new(text.clone().into_bytes()), most, handed_out };
        let mut reader = Reader::from_read("t.csv", stream, &layout(), Options::default()).unwrap();
        assert_eq!(drain(&mut reader).0, whole, "{most} bytes at a time");
    }
    // The shortest first lines, in the shortest pieces.
    for text in ["#\nt,a,b,door\n1,2,3,0\n", "\n\nt,a,b,door\n1,2,3,0"] {
        let handed_out = Arc::default();
        let stream = Trickle { inner: Cursor::new(text.as_bytes().to_vec()), most: 1, handed_out };
        let mut reader = Reader::from_read("t.csv", stream, &layout(), Options::default()).unwrap();
        assert_eq!(drain(&mut reader).0.len(), 1, "{text:?}");
    }
}

#[test]
fn batches_are_full_but_for_the_last_and_blocks_do_not_show() {
    // Some 3 MB: several blocks, and batches of which the last one is exactly full.
    for rows in [40 * BATCH_FRAMES, 40 * BATCH_FRAMES + 1] {
        let text = trace(rows);
        let mut reader = reader(text.as_bytes(), &layout(), false).unwrap();
        let mut batch = Vec::new();
        let mut row: usize = 0;
        while reader.next_batch(&mut batch).unwrap() {
            assert_eq!(batch.len(), BATCH_FRAMES.min(rows - row));
            for frame in &batch {
                assert_eq!(frame.now.as_nanos(), row as u64 * 1_000_000);
                row += 1;
            }
        }
        assert!(batch.is_empty());
        assert_eq!((row, reader.summary().frames), (rows, rows as u64));
        assert_eq!(reader.summary().lines, rows as u64 + 1);
    }
}

#[test]
fn a_line_without_end_is_refused_before_it_is_read() {
    for head in ["", "# ", "t,a,b,door\n", "t,a,b,door\n1,2,3,0\n#"] {
        let handed_out = Arc::<AtomicUsize>::default();
        let endless = Cursor::new(head.as_bytes().to_vec()).chain(io::repeat(b'7'));
        let stream = Trickle { inner: endless, most: usize::MAX, handed_out: Arc::clone(&handed_out) };
        let error = match Reader::from_read("t.csv", stream, &layout(), Options { skip_bad: true }) {
            Err(error) => error,
            Ok(mut reader) => drain(&mut reader).1.expect("the line has no end"),
        };
        assert!(matches!(*error.problem, Problem::LineTooLong(MAX_LINE_BYTES)), "{error}");
        assert_eq!(error.place.line, Some(head.matches('\n').count() as u64 + 1));
        assert!(handed_out.load(Ordering::Relaxed) <= 3 * MAX_LINE_BYTES);
    }
}

#[test]
fn the_longest_line_is_taken_and_one_byte_more_is_not() {
    for line_end in ["\n", "\r\n"] {
        for (length, fits) in [(MAX_LINE_BYTES, true), (MAX_LINE_BYTES + 1, false)] {
            let mut text = format!("t,a,b,door,note{line_end}0,1,2,0,{line_end}");
            let cells = "1,1,2,0,";
            write!(text, "{cells}{}{line_end}", "x".repeat(length - cells.len())).unwrap();
            let (frames, error) = drain(&mut reader(text.as_bytes(), &layout(), false).unwrap());
            assert_eq!((frames.len(), error.is_none()), (1 + usize::from(fits), fits), "{length} bytes");
        }
    }
}

#[test]
fn a_file_is_read_by_its_path() {
    let path = format!("{}/read by its path.csv.gz", env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(&path, gzip(trace(10).as_bytes())).unwrap();
    let mut reader = Reader::open(path.as_ref(), &layout(), Options::default()).unwrap();
    assert_eq!(drain(&mut reader).0.len(), 10);
    std::fs::write(&path, gzip(b"t,a,b,door\n0,1,2,x\n")).unwrap();
    let mut reader = Reader::open(path.as_ref(), &layout(), Options::default()).unwrap();
    let message = drain(&mut reader).1.unwrap().to_string();
    assert!(message.starts_with(&format!("{path}:2:7: column `door`: ")), "{message}");
    std::fs::remove_file(&path).unwrap();
}

#[test]
fn a_thread_of_its_own_delivers_the_same_batches() {
    let text = trace(20 * BATCH_FRAMES + 5);
    let whole = frames(text.as_bytes()).0;
    let mut ahead = Prefetch::start(reader(text.as_bytes(), &layout(), false).unwrap()).unwrap();
    let mut batch = Vec::new();
    let mut frames = Vec::new();
    while ahead.next_batch(&mut batch).unwrap() {
        assert!(ahead.reader().is_none(), "the end has not been seen yet");
        frames.extend_from_slice(&batch);
    }
    assert_eq!(frames, whole);
    assert_eq!(ahead.reader().unwrap().summary().frames, whole.len() as u64);
    assert!(!ahead.next_batch(&mut batch).unwrap());
}

#[test]
fn a_thread_of_its_own_hands_the_error_and_the_frames_before_it_on() {
    let mut text = trace(BATCH_FRAMES + 7);
    text.push_str("x,1,2,0\n");
    let mut ahead = Prefetch::start(reader(text.as_bytes(), &layout(), false).unwrap()).unwrap();
    let mut batch = Vec::new();
    assert!(ahead.next_batch(&mut batch).unwrap());
    let error = ahead.next_batch(&mut batch).unwrap_err();
    assert_eq!((batch.len(), error.place.line), (7, Some(BATCH_FRAMES as u64 + 9)));
    assert!(ahead.reader().is_some());
    assert!(!ahead.next_batch(&mut batch).unwrap());
}

#[test]
fn a_consumer_that_stops_early_ends_the_thread() {
    let handed_out = Arc::<AtomicUsize>::default();
    let text = trace(50 * BATCH_FRAMES);
    let total = text.len();
    let stream = Trickle {
        inner: Cursor::new(text.into_bytes()),
        most: 64 * 1024,
        handed_out: Arc::clone(&handed_out),
    };
    let reader = Reader::from_read("t.csv", stream, &layout(), Options::default()).unwrap();
    let mut ahead = Prefetch::start(reader).unwrap();
    assert!(ahead.next_batch(&mut Vec::new()).unwrap());
    drop(ahead);
    // The stream belongs to the thread: when it is gone, nobody else holds the counter.
    let patience = std::time::Instant::now();
    while Arc::strong_count(&handed_out) > 1 {
        assert!(patience.elapsed().as_secs() < 20, "the thread is still there");
        std::thread::yield_now();
    }
    assert!(handed_out.load(Ordering::Relaxed) < total, "it has read to the end although nobody listened");
}
