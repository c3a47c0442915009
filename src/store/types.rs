//! Between columns and domain types.

use time::format_description::BorrowedFormatItem;
use time::macros::format_description;
use time::{Date, OffsetDateTime, PrimitiveDateTime};

use super::{StoreError, Stored};

const DAY: &[BorrowedFormatItem<'static>] = format_description!("[year]-[month]-[day]");
const CIVIL: &[BorrowedFormatItem<'static>] = format_description!("[year]-[month]-[day]T[hour]:[minute]");

/// An error that names the column which holds what none of our code writes.
pub fn impossible(table: &'static str, column: &'static str, id: &str) -> StoreError {
    StoreError::Impossible { table, column, id: id.to_owned() }
}

/// Reads a column of a row into a domain type.
///
/// # Errors
/// When it doesn't parse: the error names table, column and row.
pub fn read<T, E>(table: &'static str, column: &'static str, id: &str, parsed: Result<T, E>) -> Stored<T> {
    parsed.map_err(|_| impossible(table, column, id))
}

/// The day as the database holds it.
pub fn day_text(day: Date) -> String {
    day.format(DAY).unwrap_or_default()
}

/// Reads [`day_text`] back.
pub fn day(table: &'static str, column: &'static str, id: &str, text: &str) -> Stored<Date> {
    read(table, column, id, Date::parse(text, DAY))
}

/// A civil time as the database holds it.
pub fn civil_text(civil: PrimitiveDateTime) -> String {
    civil.format(CIVIL).unwrap_or_default()
}

/// Reads [`civil_text`] back.
pub fn civil(table: &'static str, column: &'static str, id: &str, text: &str) -> Stored<PrimitiveDateTime> {
    read(table, column, id, PrimitiveDateTime::parse(text, CIVIL))
}

/// An instant from Unix seconds.
pub fn instant(table: &'static str, column: &'static str, id: &str, seconds: i64) -> Stored<OffsetDateTime> {
    read(table, column, id, OffsetDateTime::from_unix_timestamp(seconds))
}

/// A small whole number that the schema keeps in range.
pub fn small<T: TryFrom<i64>>(table: &'static str, column: &'static str, id: &str, number: i64) -> Stored<T> {
    read(table, column, id, T::try_from(number))
}

/// The SHA-256 of a text in hex.
pub fn sha256_hex(text: &str) -> String {
    use sha2::Digest;
    data_encoding::HEXLOWER.encode(&sha2::Sha256::digest(text.as_bytes()))
}
