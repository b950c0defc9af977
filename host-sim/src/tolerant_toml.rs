//! Reading TOML the forgiving way: an unknown key is a notice, a wrong value an error with its place.

use std::fmt;

use serde::de::DeserializeOwned;

/// Something odd that did not stop the reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// The file it was found in.
    pub file: String,
    /// What it is, in a sentence.
    pub text: String,
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.file, self.text)
    }
}

/// TOML that cannot be read: the file, and what is wrong on which line.
#[derive(Debug, Clone, thiserror::Error)]
#[error("{file}: {source}")]
pub struct ParseError {
    /// The file.
    pub file: String,
    /// Line, column, and what was expected there.
    pub source: toml::de::Error,
}

/// The value that `text` describes, and a notice for every key that nothing reads. `file` is the name
/// that notices and errors carry.
///
/// # Errors
/// When the text is no TOML, or a value does not fit its key.
pub fn parse<T: DeserializeOwned>(text: &str, file: &str) -> Result<(T, Vec<Notice>), ParseError> {
    let mut notices = Vec::new();
    let unknown = |key: serde_ignored::Path<'_>| {
        let text = format!("unknown key `{key}` is ignored; check its spelling");
        notices.push(Notice { file: file.to_owned(), text });
    };
    toml::Deserializer::parse(text)
        .and_then(|deserializer| serde_ignored::deserialize(deserializer, unknown))
        .map(|value| (value, notices))
        .map_err(|source| ParseError { file: file.to_owned(), source })
}
