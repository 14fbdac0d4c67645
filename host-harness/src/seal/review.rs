//! What an image says.

use monitor_core::seal::{Image, SealError, VERSION};
use serde::Serialize;

use super::compare::Comparison;
use super::held::{Fit, Value};
use super::labels::{BadLabels, Labels, analogue_unit};
use super::listing::{Config, Listing};
use super::way_out;

/// Why an image is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum InspectError {
    /// The core refuses it, and what to do.
    #[error("{0}; {1}")]
    Image(SealError, &'static str),
    /// Its labels cannot be used.
    #[error("the labels in it are of unknown form: {0}; inspect it with the program that sealed it")]
    Labels(String),
}

impl From<SealError> for InspectError {
    fn from(error: SealError) -> Self {
        Self::Image(error, way_out(error))
    }
}

impl From<BadLabels> for InspectError {
    fn from(BadLabels(why): BadLabels) -> Self {
        Self::Labels(why)
    }
}

/// Everything that an image says, for a person to review.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Review {
    /// The version of this shape: 1.
    pub schema: u32,
    /// The image itself.
    pub image: ImageFacts,
    /// What the axis is called.
    pub title: Option<String>,
    /// The unit of the axis: `mm` or `deg`.
    pub unit: Option<&'static str>,
    /// Every value, by what it belongs to.
    pub sections: Vec<Section>,
    /// Settings that are not in the axis of the target; where the image does not say, those of the setup it was held against.
    pub host: Vec<HostItem>,
    /// What holding it against a setup found.
    pub setup: Option<Comparison>,
}

/// The image itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ImageFacts {
    /// Its length.
    pub bytes: usize,
    /// The version of its format.
    pub format: u16,
    /// Its own checksum, CRC-32/ISO-HDLC.
    pub crc32: String,
    /// The checksum of the setup it was made from.
    pub setup_checksum: String,
    /// Stored readings per channel it was made for.
    pub points: u16,
    /// How many monitors it has.
    pub monitors: u8,
    /// How many inputs it has, the reset aside.
    pub inputs: u8,
    /// What it says in words.
    pub labels: LabelKind,
}

/// What an image says in words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LabelKind {
    /// Names, and how each setting was written.
    Full,
    /// The unit of the axis.
    Unit,
    /// Nothing.
    None,
}

/// Values that belong together.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Section {
    /// `channel.a`, `monitor.1` and so on.
    pub path: String,
    /// What it is called.
    pub heading: String,
    /// Its values, in the order in which they are sealed.
    pub values: Vec<Value>,
}

/// A setting that is not in the axis of the target.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HostItem {
    /// `channel.b.latency` and so on.
    pub path: String,
    /// As written, with times in force after rounding.
    pub text: String,
}

impl Review {
    /// Reads an image.
    ///
    /// # Errors
    ///
    /// [`InspectError`] when it was altered or cut, is of another version or form, or says something about values that it does not have.
    pub fn of(bytes: &[u8]) -> Result<Self, InspectError> {
        let image = Image::open(bytes)?;
        let labels = Labels::parse(image.labels())?;
        Self::with(bytes, &image, labels)
    }

    /// As [`of`](Self::of), with other labels than those of the image.
    pub(super) fn with(bytes: &[u8], image: &Image<'_>, labels: Labels) -> Result<Self, InspectError> {
        let config: Config = image.for_review()?;
        let unit = labels.unit()?;
        let facts = ImageFacts {
            bytes: bytes.len(),
            format: VERSION,
            crc32: format!("{:08x}", image.checksum()),
            setup_checksum: format!("{:08x}", image.setup_checksum()),
            points: image.points(),
            monitors: image.monitors(),
            inputs: image.inputs(),
            labels: kind_of(&Labels::parse(image.labels())?)?,
        };
        let places = 0..config.analogues().len();
        let analogues = places.clone().map(|i| labels.analogue_unit(i)).collect::<Result<_, _>>()?;
        let (sections, mut labels) = Listing::new(labels, unit, analogues).list(image, &config);
        labels.take("unit");
        for i in places {
            labels.take(&analogue_unit(i));
        }
        let title = labels.take("title").map(|label| label.text);
        let mut host = Vec::new();
        for (path, text) in labels.into_rest() {
            let Some(path) = path.strip_prefix("host.") else {
                return Err(InspectError::Labels(format!("{path} belongs to no value of the axis")));
            };
            host.push(HostItem { path: path.to_owned(), text });
        }
        let unit = unit.map(crate::setup::AxisUnit::symbol);
        Ok(Self { schema: 1, image: facts, title, unit, sections, host, setup: None })
    }

    /// Every value, in order.
    pub fn values(&self) -> impl Iterator<Item = &Value> {
        self.sections.iter().flat_map(|section| &section.values)
    }

    /// Values that their own text in the image is not rounded to: another program made the image.
    pub fn misfits(&self) -> impl Iterator<Item = &Value> {
        self.values().filter(|value| value.asked.as_ref().is_some_and(|asked| asked.fit == Fit::Differs))
    }

    /// Whether nothing speaks against it: every value is what its text is rounded to, and the setup it was held against, if any, is
    /// the one it was made from.
    #[must_use]
    pub fn is_consistent(&self) -> bool {
        self.misfits().next().is_none() && self.setup.as_ref().is_none_or(|setup| setup.same)
    }
}

pub(super) fn kind_of(labels: &Labels) -> Result<LabelKind, BadLabels> {
    Ok(match labels.unit()? {
        _ if labels.has_names() => LabelKind::Full,
        Some(_) => LabelKind::Unit,
        None => LabelKind::None,
    })
}
