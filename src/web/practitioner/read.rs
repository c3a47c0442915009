//! Reads the fields that several forms at the desk have in common.

use time::{Date, OffsetDateTime, PrimitiveDateTime, Time};

use super::words;
use crate::domain::hours::parse_clock;
use crate::domain::zone::Zone;
use crate::web::form::{Errors, Fields};
use crate::web::words::MISSING;
use crate::{t, tf};

/// A time of day on a day, as a moment.
pub(super) fn moment(
    errors: &mut Errors,
    fields: &Fields,
    field: &str,
    day: Option<Date>,
    zone: &Zone,
) -> Option<OffsetDateTime> {
    let minutes = parse_clock(fields.get(field)).ok().filter(|minutes| *minutes < 24 * 60);
    let parts = minutes.and_then(|m| Some((u8::try_from(m / 60).ok()?, u8::try_from(m % 60).ok()?)));
    let Some(time) = parts.and_then(|(hour, minute)| Time::from_hms(hour, minute, 0).ok()) else {
        errors.add(field, t(words::TIME));
        return None;
    };
    errors.take(field, zone.to_instant(PrimitiveDateTime::new(day?, time)), |refusal| words::civil(*refusal))
}

/// A time of day to the second, as `14:03:20`; without seconds, the full minute.
pub(super) fn second(errors: &mut Errors, fields: &Fields, field: &str) -> Option<Time> {
    let parts: Vec<&str> = fields.trimmed(field).split(':').collect();
    let number = |part: &str| part.parse::<u8>().ok().filter(|_| (1..=2).contains(&part.len()));
    let time = match parts.as_slice() {
        [hour, minute] => number(hour).zip(number(minute)).and_then(|(h, m)| Time::from_hms(h, m, 0).ok()),
        [hour, minute, second] => {
            number(hour).zip(number(minute)).zip(number(second)).and_then(|((h, m), s)| Time::from_hms(h, m, s).ok())
        }
        _ => None,
    };
    if time.is_none() {
        errors.add(field, t(words::SECOND));
    }
    time
}

/// A few words of at most so many characters; nothing only where it may be left out.
pub(super) fn text(errors: &mut Errors, fields: &Fields, field: &str, most: usize, needed: bool) -> Option<String> {
    let text = fields.trimmed(field);
    if text.is_empty() && needed {
        errors.add(field, t(MISSING));
        return None;
    }
    if text.chars().count() > most {
        errors.add(field, tf("That is longer than {most} characters. A shorter form does.").with("most", most));
        return None;
    }
    Some(text.to_owned())
}

/// A whole number from `least` to `most`, or nothing. `Err` once the field was refused.
pub(super) fn number(
    errors: &mut Errors,
    fields: &Fields,
    field: &str,
    least: u16,
    most: u16,
) -> Result<Option<u16>, ()> {
    let text = fields.trimmed(field);
    if text.is_empty() {
        return Ok(None);
    }
    let digits = text.bytes().all(|byte| byte.is_ascii_digit());
    match text.parse::<u16>().ok().filter(|number| digits && (least..=most).contains(number)) {
        Some(number) => Ok(Some(number)),
        None => {
            errors
                .add(field, tf("Write a whole number from {least} to {most}.").with("least", least).with("most", most));
            Err(())
        }
    }
}
