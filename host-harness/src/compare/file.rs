//! The bytes of a file as text, or what they are instead.

use super::BadLog;
use crate::trace::{Compression, compression, other_format};

/// As many bytes as the longest mark by which another format is known.
const MARK: usize = 6;

/// The text of a log or of vectors; `path` is what messages call the file.
///
/// # Errors
///
/// [`BadLog`] when it is no text in UTF-8: what it is, where it can be told in which line, and what to do.
pub fn decode(bytes: Vec<u8>, path: &str) -> Result<String, BadLog> {
    let mark = &bytes[..bytes.len().min(MARK)];
    let bad = |message: String| Err(BadLog(format!("{path}: {message}")));
    let unpack = |name: &str| bad(format!("this is a {name} file; unpack it first: `{name} -d FILE`"));
    match compression(mark) {
        Compression::Gzip => return unpack("gzip"),
        Compression::Zstd => return unpack("zstd"),
        Compression::Plain => {}
    }
    if is_utf16(&bytes) {
        return bad("this is UTF-16 text; save it as UTF-8".to_owned());
    }
    if let Some(format) = other_format(mark) {
        return bad(format!("this is {format}; save it as CSV text in UTF-8"));
    }
    let nul = bytes.iter().position(|&byte| byte == 0);
    let at = |place: usize| {
        let (line, column) = place_of(&bytes, place);
        format!("{path}:{line}:{column}")
    };
    let wrong = str::from_utf8(&bytes).err().map(|error| error.valid_up_to());
    match (nul, wrong) {
        (Some(nul), wrong) if wrong.is_none_or(|wrong| nul < wrong) => {
            Err(BadLog(format!("{}: a NUL byte: this is not text; write CSV text in UTF-8", at(nul))))
        }
        (_, Some(wrong)) => Err(BadLog(format!(
            "{}: byte {:#04x} is not UTF-8 text; save the file as UTF-8, or check what wrote this line",
            at(wrong),
            bytes[wrong]
        ))),
        _ => String::from_utf8(bytes)
            .map_err(|error| BadLog(format!("{path}: {error}; save the file as UTF-8"))),
    }
}

/// Whether text is in UTF-16: it says so, or every other byte of its beginning is NUL, as plain letters have it.
fn is_utf16(bytes: &[u8]) -> bool {
    const LOOKED_AT: usize = 16;
    let begins = &bytes[..bytes.len().min(LOOKED_AT)];
    let (low, high): (Vec<_>, Vec<_>) = begins.chunks_exact(2).map(|pair| (pair[0], pair[1])).unzip();
    let letters = |one: &[u8], other: &[u8]| {
        one.len() >= 2 && one.iter().all(|&byte| byte != 0) && other.iter().all(|&byte| byte == 0)
    };
    matches!(bytes, [0xff, 0xfe, ..] | [0xfe, 0xff, ..]) || letters(&low, &high) || letters(&high, &low)
}

/// Line and column of a byte, from 1; the column is counted in characters, without a byte-order mark.
fn place_of(bytes: &[u8], place: usize) -> (usize, usize) {
    let before = &bytes[..place];
    let line = 1 + before.iter().filter(|&&byte| byte == b'\n').count();
    let begin = before.iter().rposition(|&byte| byte == b'\n').map_or(0, |end| end + 1);
    let in_line = String::from_utf8_lossy(&before[begin..]);
    (line, 1 + in_line.trim_start_matches('\u{feff}').chars().count())
}
