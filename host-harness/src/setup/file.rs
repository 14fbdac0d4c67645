//! From a path to the text of a setup.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use super::model::Setup;
use super::{MAX_FILE_BYTES, SetupError};

impl Setup {
    /// Reads a setup file and checks it.
    ///
    /// # Errors
    /// [`SetupError`] when the file cannot be read, is larger than [`MAX_FILE_BYTES`], is not UTF-8, or when anything
    /// in it is wrong: all that could be found, in the order of the file.
    pub fn load(path: impl AsRef<Path>) -> Result<Self, SetupError> {
        let path = path.as_ref();
        Self::parse(&read(path)?, path)
    }
}

/// The text of a setup file.
pub(crate) fn read(path: &Path) -> Result<String, SetupError> {
    let name = path.display().to_string();
    let refuse =
        |message: String, way_out: &str| SetupError::unreadable(name.clone(), message, way_out.to_owned());
    let failed = |error: &std::io::Error| match error.kind() {
        ErrorKind::NotFound => refuse("no such setup file".into(), "check the path and its spelling"),
        ErrorKind::IsADirectory => refuse("is a directory, not a setup file".into(), "name the file in it"),
        ErrorKind::PermissionDenied => refuse(
            "no permission to read the setup file".into(),
            "check the file's permissions, or run as its owner",
        ),
        _ => refuse(
            format!("the setup file cannot be read: {error}"),
            "check the path and the medium it is on",
        ),
    };
    let file = File::open(path).map_err(|error| failed(&error))?;
    let mut bytes = Vec::new();
    file.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes).map_err(|error| failed(&error))?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        let message = format!("larger than {} MiB, which no setup file is", MAX_FILE_BYTES >> 20);
        return Err(refuse(message, "is this the trace? The setup is the TOML file that describes the axis"));
    }
    utf8(bytes, &name)
}

/// The text of a file that is called so.
pub(crate) fn utf8(bytes: Vec<u8>, name: &str) -> Result<String, SetupError> {
    String::from_utf8(bytes).map_err(|error| {
        let valid = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = valid.iter().filter(|byte| **byte == b'\n').count() + 1;
        let start = valid.iter().rposition(|byte| *byte == b'\n').map_or(0, |newline| newline + 1);
        let column = String::from_utf8_lossy(&valid[start..]).chars().count() + 1;
        let byte = error.as_bytes()[valid.len()];
        SetupError::unreadable(
            name.to_owned(),
            format!("not UTF-8 text: byte 0x{byte:02X} at line {line}, column {column}"),
            "save the file as UTF-8; letters such as µ or ² are often the cause, and um and ^2 do without them"
                .to_owned(),
        )
    })
}
