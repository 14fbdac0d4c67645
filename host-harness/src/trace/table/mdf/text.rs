//! Texts: names, units, and the same inside comments.

use super::error::MdfError;
use super::file::File;
use crate::trace::table::TableError;

/// No name or unit is as long as this.
const MAX_TEXT_BYTES: u64 = 1 << 16;

/// The text at a link; `None` where the link leads nowhere or the text is empty.
pub(super) fn text(file: &mut File, at: u64) -> Result<Option<String>, TableError> {
    if at == 0 {
        return Ok(None);
    }
    let head = file.head(at)?;
    if head.length > MAX_TEXT_BYTES {
        return Err(MdfError::damaged(format!("a text of {} bytes", head.length), at).into());
    }
    let block = file.block(at, &[b"##TX", b"##MD"])?;
    let end = block.data.iter().position(|&byte| byte == 0).unwrap_or(block.data.len());
    let text = std::str::from_utf8(&block.data[..end])
        .map_err(|_| MdfError::damaged("a text that is not UTF-8", at))?;
    let text = if head.id == *b"##MD" { inside(text) } else { text.to_owned() };
    let text = text.trim();
    Ok((!text.is_empty()).then(|| text.to_owned()))
}

/// What stands in the element `TX` of a comment.
fn inside(xml: &str) -> String {
    let Some((_, rest)) = xml.split_once("<TX") else { return String::new() };
    // The element may have attributes, or nothing in it.
    let Some((tag, rest)) = rest.split_once('>') else { return String::new() };
    if tag.ends_with('/') {
        return String::new();
    }
    let text = rest.split_once("</TX").map_or("", |(text, _)| text);
    let mut plain = text.to_owned();
    for (escaped, character) in
        [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&apos;", "'"), ("&amp;", "&")]
    {
        plain = plain.replace(escaped, character);
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::inside;

    #[test]
    fn the_text_of_a_comment_is_that_of_its_first_element_without_escapes() {
        for (xml, expected) in [
            ("<CNunit><TX>mm/s</TX></CNunit>", "mm/s"),
            (
                "<CNunit xmlns='x'><TX xml:space='preserve'>a &lt; b &amp;amp; c</TX></CNunit>",
                "a < b &amp; c",
            ),
            ("<CNunit><TX/></CNunit>", ""),
            ("<CNunit></CNunit>", ""),
            ("<TX>open", ""),
            ("<TX", ""),
        ] {
            assert_eq!(inside(xml), expected, "{xml}");
        }
    }
}
