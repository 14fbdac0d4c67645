//! An image held against a setup.

use std::collections::BTreeMap;

use monitor_core::seal::Image;
use serde::Serialize;

use super::labels::Labels;
use super::review::{HostItem, InspectError, LabelKind, Review, kind_of};
use super::seal_with;
use crate::setup::Setup;

/// What holding an image against a setup found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Comparison {
    /// The file of the setup, as it was named.
    pub path: String,
    /// Sealing the setup again gives the same image, byte for byte.
    pub same: bool,
    /// What is not the same: empty when `same`, and only then.
    pub differences: Vec<Difference>,
}

/// One thing that is not the same.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// Which value.
    pub path: String,
    /// What the image says; `None` when it has no such value.
    pub image: Option<String>,
    /// What the setup says; `None` when it has no such value.
    pub setup: Option<String>,
}

impl Review {
    /// Reads an image and holds it against a setup. Where it is the image of the setup and has no names, the review has those of the
    /// setup. What is kept on the host is that of the setup too where the image does not say it, whether or not it is of that setup.
    ///
    /// # Errors
    ///
    /// As [`Review::of`]; a setup that cannot be sealed for the same history differs.
    pub fn against(bytes: &[u8], setup: &Setup) -> Result<Self, InspectError> {
        let mut review = Self::of(bytes)?;
        let image = Image::open(bytes)?;
        let labels = match kind_of(&Labels::parse(image.labels())?)? {
            LabelKind::Full => Labels::of(setup, true).text(),
            LabelKind::Unit => Labels::of(setup, false).text(),
            LabelKind::None => String::new(),
        };
        let differences = match seal_with(setup, image.points(), labels.as_bytes()) {
            Ok(again) if again == bytes => Vec::new(),
            Ok(again) => differences(bytes, &review, &again, &Self::of(&again)?),
            Err(why) => {
                vec![Difference { path: "image".to_owned(), image: None, setup: Some(why.to_string()) }]
            }
        };
        if differences.is_empty() && review.image.labels != LabelKind::Full {
            review = Self::with(bytes, &image, Labels::of(setup, true))?;
        }
        let same = differences.is_empty();
        if review.image.labels != LabelKind::Full {
            review.host = host_of(setup);
        }
        review.setup = Some(Comparison { path: setup.path.clone(), same, differences });
        Ok(review)
    }
}

fn host_of(setup: &Setup) -> Vec<HostItem> {
    let all = Labels::of(setup, true).into_rest();
    all.filter_map(|(path, text)| Some(HostItem { path: path.strip_prefix("host.")?.to_owned(), text }))
        .collect()
}

fn differences(image: &[u8], review: &Review, again: &[u8], of_setup: &Review) -> Vec<Difference> {
    let (mut ours, mut theirs) = (facts(review), facts(of_setup));
    let paths: Vec<String> = order(review).chain(order(of_setup)).collect();
    let mut found = Vec::new();
    for path in paths {
        let (image, setup) = (ours.remove(&path), theirs.remove(&path));
        if image != setup {
            found.push(Difference { path, image, setup });
        }
    }
    if found.is_empty() {
        // The same facts in other bytes: only another program can have written it so.
        let at = image.iter().zip(again).take_while(|(a, b)| a == b).count();
        let byte = |of: &[u8]| of.get(at).map(|byte| format!("byte {at} is 0x{byte:02x}"));
        found.push(Difference { path: "bytes".to_owned(), image: byte(image), setup: byte(again) });
    }
    found
}

/// Every fact of a review by path, in its order.
fn list(review: &Review) -> Vec<(String, String)> {
    let mut facts = vec![("setup checksum".to_owned(), review.image.setup_checksum.clone())];
    facts.extend(review.title.iter().map(|title| ("title".to_owned(), title.clone())));
    facts.extend(review.unit.iter().map(|unit| ("unit".to_owned(), (*unit).to_owned())));
    for section in &review.sections {
        facts.push((section.path.clone(), section.heading.clone()));
        for value in &section.values {
            let unit = value.unit.as_deref().map_or_else(String::new, |unit| format!(" {unit}"));
            facts.push((value.path.clone(), format!("{}{unit} ({})", value.held, value.raw.hex)));
            let names = value.names.iter().map(|names| (format!("{} (names)", value.path), names.clone()));
            facts.extend(names);
            if let Some(asked) = &value.asked {
                let default = if asked.default { ", by default" } else { "" };
                facts.push((format!("{} (as written)", value.path), format!("{:?}{default}", asked.text)));
            }
        }
    }
    facts.extend(review.host.iter().map(|item| (format!("host: {}", item.path), item.text.clone())));
    facts
}

fn facts(review: &Review) -> BTreeMap<String, String> {
    list(review).into_iter().collect()
}

fn order(review: &Review) -> impl Iterator<Item = String> {
    list(review).into_iter().map(|(path, _)| path)
}
