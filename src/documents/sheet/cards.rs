//! Address cards as a table with a row for each.

use calcard::vcard::{VCard, VCardProperty, VCardValue};
use calcard::{Entry, Parser};

use super::{Charset, MOST_ROWS, Sheet, SheetRefused, cell, unified};
use crate::domain::takeover::{Column, Row};

/// What a card gives. A card knows no visits.
const COLUMNS: [Column; 4] = [Column::Name, Column::Mail, Column::Phone, Column::Born];

fn begins(line: &str) -> bool {
    line.trim_end().eq_ignore_ascii_case("BEGIN:VCARD")
}

/// Whether a text begins as address cards do.
pub(super) fn are_cards(text: &str) -> bool {
    text.lines().find(|line| !line.trim().is_empty()).is_some_and(begins)
}

/// Reads each card by itself, so that a broken one breaks no other and its line is known.
pub(super) fn read(text: &str, charset: Charset) -> Result<Sheet, SheetRefused> {
    let (mut rows, mut card, mut begun) = (Vec::new(), String::new(), 0);
    for (line, number) in text.lines().zip(1_u64..) {
        if begins(line) {
            close(&mut rows, &card, begun);
            card.clear();
            begun = number;
        }
        card.push_str(line);
        card.push_str("\r\n");
        if rows.len() > MOST_ROWS {
            return Err(SheetRefused::TooManyRows);
        }
    }
    close(&mut rows, &card, begun);
    let heads = COLUMNS.map(|column| column.as_str().to_owned()).to_vec();
    Ok(Sheet { heads, rows, charset, separator: None })
}

fn close(rows: &mut Vec<Row>, card: &str, line: u64) {
    if line == 0 {
        return;
    }
    let cells = match Parser::new(card).entry() {
        Entry::VCard(card) => COLUMNS.map(|column| value(&card, column)).to_vec(),
        _ => Vec::new(),
    };
    rows.push(Row { line, cells });
}

fn value(card: &VCard, column: Column) -> String {
    let text = match column {
        Column::Name => match texts(card, &VCardProperty::Fn).into_iter().find(|name| !name.trim().is_empty()) {
            Some(name) => name,
            // Family name, given name, further names (RFC 6350 §6.2.2); older cards may have no other.
            None => {
                let parts = texts(card, &VCardProperty::N);
                let part = |place: usize| parts.get(place).map_or("", String::as_str);
                format!("{} {}", part(1), part(0))
            }
        },
        Column::Mail => texts(card, &VCardProperty::Email).into_iter().next().unwrap_or_default(),
        Column::Phone => {
            let number = texts(card, &VCardProperty::Tel).into_iter().next().unwrap_or_default();
            number.strip_prefix("tel:").map(str::to_owned).unwrap_or(number)
        }
        _ => birthday(card),
    };
    // A card can write any character as a code, also those that a table's text can't hold.
    cell(&unified(&text).replace('\0', ""))
}

/// Every text of the first property of this name.
fn texts(card: &VCard, name: &VCardProperty) -> Vec<String> {
    let values = card.properties(name).next().map(|entry| entry.values.as_slice()).unwrap_or_default();
    let each = values.iter().flat_map(|value| match value {
        VCardValue::Text(text) => vec![text.clone()],
        VCardValue::Component(parts) => vec![parts.join(" ")],
        _ => Vec::new(),
    });
    each.collect()
}

/// The day of birth; empty where the card has only a part of it, since a year is needed to know an age.
fn birthday(card: &VCard) -> String {
    let value = card.property(&VCardProperty::Bday).and_then(|entry| entry.values.first());
    match value {
        Some(VCardValue::PartialDateTime(at)) => match (at.year, at.month, at.day) {
            (Some(year), Some(month), Some(day)) => format!("{year:04}-{month:02}-{day:02}"),
            _ => String::new(),
        },
        Some(VCardValue::Text(text)) => text.clone(),
        _ => String::new(),
    }
}
