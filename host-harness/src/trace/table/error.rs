//! What can be wrong with a file of typed columns.

use std::io;

pub use super::address::AddressError;
pub use super::mdf::MdfError;

/// Why a file of typed columns cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    /// The file cannot be read.
    #[error("cannot be read: {0}")]
    Unreadable(#[from] io::Error),
    /// A name that does not lead to one column, or columns that do not go together.
    #[error(transparent)]
    Address(#[from] AddressError),
    /// An MDF4 file.
    #[error(transparent)]
    Mdf(#[from] MdfError),
}

impl TableError {
    /// What to do about it.
    pub(crate) fn advice(&self) -> String {
        match self {
            Self::Unreadable(_) => "check that the file may be read and is on a working disk".to_owned(),
            Self::Address(error) => error.advice().to_owned(),
            Self::Mdf(error) => error.advice().to_owned(),
        }
    }
}
