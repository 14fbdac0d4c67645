//! A picture in pixels, made of the very same SVG.

use std::sync::Arc;

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

/// Pixels for each unit of the SVG.
pub const SCALE: f32 = 2.0;

/// Latin letters and some signs of an open font; its licence stands beside it.
const FONT: &[u8] = include_bytes!("font/Roboto-Regular-subset.ttf");

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum PngError {
    /// The SVG cannot be read.
    #[error("the picture cannot be read again: {0}")]
    Svg(#[from] resvg::usvg::Error),
    /// It is larger than there is memory for.
    #[error("the picture of {0} by {1} pixels is too large")]
    Size(u32, u32),
    /// It cannot be packed.
    #[error("the picture cannot be packed: {0}")]
    Packing(String),
}

/// Whether the font that is built in has all letters of a text.
fn is_covered(letter: char) -> bool {
    matches!(letter, '\u{0}'..='\u{17f}' | '\u{2010}'..='\u{2026}' | '\u{2212}' | '\u{fffd}')
}

/// An SVG of this program as PNG. Letters that the font here does not have come from the fonts of the machine, where it has any.
///
/// # Errors
///
/// [`PngError`], when it is no SVG, or too large.
pub fn png(svg: &str) -> Result<Vec<u8>, PngError> {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(FONT.to_vec());
    let family = fonts.faces().next().and_then(|face| face.families.first()).map(|(name, _)| name.clone());
    if !svg.chars().all(is_covered) {
        fonts.load_system_fonts();
    }
    if let Some(family) = family {
        fonts.set_sans_serif_family(family);
    }
    let options = Options { fontdb: Arc::new(fonts), ..Options::default() };
    let tree = Tree::from_str(svg, &options)?;
    let size = tree.size().to_int_size().scale_by(SCALE);
    let (width, height) = size.map_or((0, 0), |size| (size.width(), size.height()));
    let mut pixels = Pixmap::new(width, height).ok_or(PngError::Size(width, height))?;
    resvg::render(&tree, Transform::from_scale(SCALE, SCALE), &mut pixels.as_mut());
    pixels.encode_png().map_err(|error| PngError::Packing(error.to_string()))
}
