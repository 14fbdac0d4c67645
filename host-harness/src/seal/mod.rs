//! A setup as a compact image for the target, and what a second person reviews of it.
//!
//! [`seal()`] makes the image ([`monitor_core::seal`] has its format) with labels, so that [`Review`] can show it without
//! the setup file. [`sheet`] prints a review in pages, [`rust_source`] and [`c_header`] are the image as source of a
//! firmware.
//!
//! # Review as data
//!
//! [`Review`] serialises to an object with `"schema": 1`:
//!
//! | field | content |
//! | --- | --- |
//! | `image` | `bytes`, `format`, `crc32`, `setup_checksum` (eight hexadecimal digits each), `points`, `monitors`, `inputs`, `labels`: `"full"`, `"unit"` or `"none"` |
//! | `title`, `unit` | `null` where the image does not say |
//! | `sections` | of `path`, `heading`, `values`; each value has `path`, `key`, `held`, `unit`, `raw` (`steps`, `step`, `hex`), `derived`, `names`, `asked` (`text`, `default`, `fit`, `off_by`) |
//! | `host` | of `path`, `text`: settings that are not in the axis of the target; where the image does not say, those of the setup, or none |
//! | `setup` | `null`, or what the comparison with a setup found: `path`, `same`, `differences` of `path`, `image`, `setup` |
//!
//! Numbers are decimal strings with all digits that are held. `fit` is `exact`, `stricter-below`, `stricter-above`, `nearest` or `differs`.

mod c;
mod compare;
mod held;
mod labels;
mod listing;
mod page;
mod places;
pub(crate) mod printable;
mod review;
mod rust;
mod sheet;

use monitor_core::seal::SealError;

pub use c::{CHeader, c_header};
pub use compare::{Comparison, Difference};
pub use held::{Asked, Fit, Raw, Value};
pub use page::{PAGE_LINES, PAGE_WIDTH};
pub(crate) use printable::{cut, width};
pub use review::{HostItem, ImageFacts, InspectError, LabelKind, Review, Section};
pub use rust::{RustSource, rust_source};
pub use sheet::sheet;

use crate::replay::{Refused, axis};
use crate::setup::Setup;
use labels::Labels;

/// The largest file that is read as an image, in bytes: labels are no longer than a setup with every character escaped.
pub const MAX_IMAGE_BYTES: u64 = 6 * crate::setup::MAX_FILE_BYTES + (1 << 20);

/// Why a setup cannot be sealed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SealingError {
    /// The core does not take the setup.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// The core does not seal it, and what to do.
    #[error("{0}; {1}")]
    Image(SealError, &'static str),
}

/// The image of a setup for an axis with `points` stored readings per channel (odd, 3 to 1025). Names and texts are left out
/// unless `names`; the unit is always in it.
///
/// # Errors
///
/// [`SealingError`] when the core does not take the setup, also not with so many points.
pub fn seal(setup: &Setup, points: u16, names: bool) -> Result<Vec<u8>, SealingError> {
    seal_with(setup, points, Labels::of(setup, names).text().as_bytes())
}

fn seal_with(setup: &Setup, points: u16, labels: &[u8]) -> Result<Vec<u8>, SealingError> {
    let axis = axis(setup)?;
    // Header, an axis part of up to 2¹⁶ bytes, checksum.
    let mut image = vec![0; labels.len() + (1 << 16) + 64];
    let length = axis
        .config()
        .seal_for(points, setup.checksum(), labels, &mut image)
        .map_err(|error| SealingError::Image(error, way_out(error)))?;
    image.truncate(length);
    Ok(image)
}

/// What to do about it.
const fn way_out(error: SealError) -> &'static str {
    match error {
        SealError::NotAnImage => "give a file that `cowitness seal` wrote",
        SealError::Version(_) => {
            "either it is damaged, then fetch it again from where it was sealed; or another version of the program sealed it, \
             then seal the setup again with this one, or inspect the image with that one"
        }
        SealError::Length(..) | SealError::Altered(..) => {
            "do not use it: fetch it again from where it was sealed, or seal the setup again"
        }
        SealError::History(_) => "choose another number of points",
        SealError::Axis(monitor_core::AxisError::WindowAndTimeout(_)) => {
            "choose more points, a shorter window or a shorter timeout"
        }
        _ => "seal the setup again with this program",
    }
}
