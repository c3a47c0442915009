//! Texts that ship with the program, out of one language into another.

use std::collections::BTreeMap;

/// Puts every text that ships in `before` into the one at its place in `after`. The studio's own stay as they are.
pub(super) fn respeak<'a, 'b>(
    texts: impl Iterator<Item = &'a mut String>,
    before: impl Iterator<Item = &'b mut String>,
    after: impl Iterator<Item = &'b mut String>,
) {
    let known: BTreeMap<&String, &String> = before.map(|text| &*text).zip(after.map(|text| &*text)).collect();
    for text in texts {
        if let Some(said) = known.get(text) {
            text.clone_from(said);
        }
    }
}
