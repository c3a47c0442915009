//! Days as browsers and people send them.

use time::Date;
use time::macros::format_description;

use super::form::{Errors, Fields};
use super::words;

/// A day like `2026-03-27`; from 2000 to 2100, since another year is a slip.
pub(super) fn read(text: &str) -> Option<Date> {
    let day = Date::parse(text.trim(), format_description!("[year]-[month]-[day]")).ok()?;
    (2000..=2100).contains(&day.year()).then_some(day)
}

/// [`read`] of a field that has to be filled.
pub(super) fn field(errors: &mut Errors, fields: &Fields, field: &str) -> Option<Date> {
    let day = read(fields.get(field));
    if day.is_none() {
        errors.add(field, words::DAY);
    }
    day
}
