//! How days stand in stored text: `2026-03-09`.
#![expect(missing_docs, reason = "the macro that writes the serde functions takes no docs for them")]

time::serde::format_description!(pub day, Date, "[year]-[month]-[day]");
