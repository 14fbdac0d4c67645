//! What can be wrong with an MDF4 file.

/// Why an MDF4 file cannot be read: what and where in it.
#[derive(Debug, thiserror::Error)]
pub enum MdfError {
    /// The file is shorter than it says.
    #[error("the MDF file is truncated: {what} at byte {at} goes on behind its {length} bytes")]
    Truncated {
        /// The part that is cut.
        what: String,
        /// Where it begins.
        at: u64,
        /// The length of the file.
        length: u64,
    },
    /// What stands there cannot be.
    #[error("the MDF file is damaged: {what} at byte {at}")]
    Damaged {
        /// What is wrong.
        what: String,
        /// Where.
        at: u64,
    },
    /// The records of a group are not those that it announces.
    #[error("channel group `{group}` announces {announced} records and holds {found}")]
    Records {
        /// The group.
        group: String,
        /// What the group says.
        announced: u64,
        /// What is there.
        found: String,
    },
    /// A value that is not a possible one.
    #[error("column `{column}`, record {row}: {what}")]
    Value {
        /// The column.
        column: String,
        /// The record of its group, from 1.
        row: u64,
        /// What is wrong.
        what: String,
    },
    /// A version or a feature that is not read.
    #[error("{what}")]
    Unsupported {
        /// What it is.
        what: String,
        /// What to do instead.
        way_out: &'static str,
    },
}

impl MdfError {
    pub(super) fn damaged(what: impl Into<String>, at: u64) -> Self {
        Self::Damaged { what: what.into(), at }
    }

    /// What to do about it.
    pub(in super::super) const fn advice(&self) -> &'static str {
        match self {
            Self::Truncated { .. } => "copy the file again",
            Self::Damaged { .. } => "copy the file again, or write it anew with the program that recorded it",
            Self::Records { .. } => "copy the file again, or finish it with the program that recorded it",
            Self::Value { .. } => "check what recorded it",
            Self::Unsupported { way_out, .. } => way_out,
        }
    }
}
