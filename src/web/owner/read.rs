//! Reads the fields that several forms of the owner have in common.

use std::ops::RangeInclusive;

use crate::domain::label::{Label, Note};
use crate::web::form::{Errors, Fields};
use crate::web::words;

/// A whole number within a range.
pub(super) fn whole<T>(errors: &mut Errors, fields: &Fields, field: &str, range: RangeInclusive<T>) -> Option<T>
where
    T: std::str::FromStr + PartialOrd + Copy + Into<i64>,
{
    let text = fields.trimmed(field);
    let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let number = text.parse().ok().filter(|number| digits && range.contains(number));
    if number.is_none() {
        errors.add(field, words::range((*range.start()).into(), (*range.end()).into()));
    }
    number
}

/// What a thing is called.
pub(super) fn label(errors: &mut Errors, fields: &Fields, field: &str) -> Option<String> {
    let label = errors.take(field, Label::parse(fields.get(field), Label::MOST), words::text);
    label.map(|label| label.as_str().to_owned())
}

/// A few words, or none.
pub(super) fn note(errors: &mut Errors, fields: &Fields, field: &str, most: usize) -> Option<String> {
    let note = errors.take(field, Note::parse(fields.get(field), most), words::text);
    note.map(|note| note.as_str().to_owned())
}

/// A few words that can't be left out.
pub(super) fn needed(errors: &mut Errors, fields: &Fields, field: &str, most: usize) -> String {
    let text = note(errors, fields, field, most).unwrap_or_default();
    if text.is_empty() {
        errors.add(field, words::MISSING);
    }
    text
}

/// One of a few words.
pub(super) fn choice<T>(errors: &mut Errors, field: &str, parsed: Option<T>) -> Option<T> {
    if parsed.is_none() {
        errors.add(field, words::CHOOSE);
    }
    parsed
}
