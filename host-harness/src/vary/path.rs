//! The name of a setting: the keys that lead to it.

use std::fmt;

use super::VaryError;

/// The keys that lead to a setting; a monitor stands under its name.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Path(Vec<String>);

impl Path {
    pub(super) fn of(keys: &[&str]) -> Self {
        Self(keys.iter().map(|&key| key.to_owned()).collect())
    }

    /// The keys, from the top of the file on; at least one.
    #[must_use]
    pub fn keys(&self) -> &[String] {
        &self.0
    }
}

fn is_plain(key: &str) -> bool {
    !key.is_empty() && key.chars().all(|letter| letter.is_alphanumeric() || matches!(letter, '_' | '-'))
}

impl fmt::Display for Path {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, key) in self.0.iter().enumerate() {
            if place > 0 {
                f.write_str(".")?;
            }
            if is_plain(key) {
                f.write_str(key)?;
            } else {
                write!(f, "\"{}\"", key.replace('\\', "\\\\").replace('"', "\\\""))?;
            }
        }
        Ok(())
    }
}

/// Parts `SETTING=VALUES` at the first `=` outside of quotes.
pub(super) fn split(text: &str) -> Result<(Path, &str), VaryError> {
    let refuse = |why: &str| {
        VaryError(format!(
            "--vary {text}: {why}; write a setting and its values, for example discrepancy.tolerance=\"1 mm, 2 mm\""
        ))
    };
    let (mut keys, mut key) = (Vec::new(), String::new());
    let mut quote: Option<char> = None;
    let mut was_quoted = false;
    let mut letters = text.char_indices();
    while let Some((place, letter)) = letters.next() {
        match (quote, letter) {
            (Some('"'), '\\') => key.extend(letters.next().map(|(_, letter)| letter)),
            (Some(open), _) if open == letter => quote = None,
            (Some(_), _) => key.push(letter),
            (None, '"' | '\'') if key.trim().is_empty() && !was_quoted => {
                key.clear();
                (quote, was_quoted) = (Some(letter), true);
            }
            (None, '.' | '=') => {
                let whole = if was_quoted { key.as_str() } else { key.trim() };
                if whole.is_empty() {
                    return Err(refuse("a part of the name is empty"));
                }
                keys.push(whole.to_owned());
                key.clear();
                was_quoted = false;
                if letter == '=' {
                    return Ok((Path(keys), &text[place + 1..]));
                }
            }
            (None, _) if was_quoted && letter.is_whitespace() => {}
            (None, _) if was_quoted => return Err(refuse("a letter behind a closing quote")),
            (None, _) => key.push(letter),
        }
    }
    Err(refuse(if quote.is_some() { "a quote is not closed" } else { "there is no `=`" }))
}
