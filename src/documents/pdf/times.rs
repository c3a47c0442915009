//! Days, times and texts as a record on paper says them.

use time::PrimitiveDateTime;
use time::macros::format_description;

use crate::documents::record::Moment;
use crate::language::date as day;
use crate::tf;

fn time_of(at: PrimitiveDateTime) -> String {
    at.format(format_description!("[hour]:[minute]")).unwrap_or_default()
}

pub(super) fn civil(at: PrimitiveDateTime) -> String {
    format!("{}, {}", day(at.date()), time_of(at))
}

/// Civil time, with the instant in brackets; its day only where that is another one.
pub(super) fn moment(at: Moment) -> String {
    let utc = at.utc.to_offset(time::UtcOffset::UTC);
    let utc = PrimitiveDateTime::new(utc.date(), utc.time());
    let bracket = if utc.date() == at.local.date() { time_of(utc) } else { civil(utc) };
    format!("{} ({bracket} UTC)", civil(at.local))
}

pub(super) fn by(at: Moment, who: &str) -> String {
    tf("{what}, by {who}").with("what", moment(at)).with("who", who).to_string()
}

pub(super) fn span(from: Moment, to: Option<Moment>) -> String {
    match to {
        Some(to) => tf("{from} to {to}").with("from", moment(from)).with("to", time_of(to.local)).to_string(),
        None => moment(from),
    }
}

/// What is there, or nothing.
pub(super) fn text(value: &Option<String>) -> String {
    value.clone().unwrap_or_default()
}

/// Several lines in one.
pub(super) fn one_line(value: &str) -> String {
    value.lines().map(str::trim).filter(|line| !line.is_empty()).collect::<Vec<_>>().join(", ")
}
