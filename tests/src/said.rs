//! What programs write, looked through.

/// The word after these words.
///
/// # Panics
/// When they are not there.
#[must_use]
pub fn after(text: &str, words: &str) -> String {
    let (_, rest) = text.split_once(words).unwrap_or_else(|| panic!("no {words:?} in {text}"));
    rest.split([',', '\n', ' ']).next().unwrap_or_default().to_owned()
}
