//! Calendar files (RFC 5545) for visits, as something to add, an invitation, or its end (RFC 5546).
//!
//! A calendar is read over shoulders and synced to strangers' servers: a client's event says the studio's name and
//! "visit", a practitioner's feed initials and service; nothing says anything about health. Times are civil times of the
//! studio, so that they stay put when the rules of its zone change, and the zone's table travels along.

use std::fmt::Write as _;

use time::macros::{date, format_description};
use time::{OffsetDateTime, PrimitiveDateTime, Time, UtcOffset};

use crate::domain::ids::VisitId;
use crate::domain::zone::Zone;

/// What the reader's calendar shall do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Take it as news.
    Publish,
    /// Take it as an invitation, or as the new state of one.
    Request,
    /// Take it out again.
    Cancel,
}

impl Method {
    /// The word in the file, and in the mail part's `method` parameter (RFC 6047).
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Publish => "PUBLISH",
            Self::Request => "REQUEST",
            Self::Cancel => "CANCEL",
        }
    }
}

/// One end of an invitation.
#[derive(Clone)]
pub struct Party {
    /// The name to show.
    pub name: String,
    /// The mail address.
    pub mail: String,
}

/// One visit.
#[derive(Clone)]
pub struct Event {
    /// Names the event for all time; moving a visit keeps it.
    pub visit: VisitId,
    /// Counts the changes; each must be greater than what was sent before.
    pub sequence: u32,
    /// Start.
    pub starts: OffsetDateTime,
    /// End.
    pub ends: OffsetDateTime,
    /// Whether it no longer takes place.
    pub cancelled: bool,
    /// What the calendar shows.
    pub summary: String,
}

/// What a client's calendar shows: where, and that it is a visit.
pub fn visit_at(studio: &str) -> String {
    crate::tf("{studio}: visit").with("studio", studio).to_string()
}

/// A calendar file.
#[derive(Clone)]
pub struct Calendar {
    /// What to do with it.
    pub method: Method,
    /// The studio's zone.
    pub zone: Zone,
    /// Where the studio is.
    pub address: String,
    /// The studio's side; RFC 5546 wants it for [`Method::Request`] and [`Method::Cancel`].
    pub organizer: Option<Party>,
    /// The client's side; left out when the file is only downloaded.
    pub attendee: Option<Party>,
    /// When this file is made.
    pub stamp: OffsetDateTime,
    /// The visits.
    pub events: Vec<Event>,
}

impl Calendar {
    /// Writes the file.
    pub fn to_ics(&self) -> String {
        let mut out = String::new();
        line(&mut out, "BEGIN:VCALENDAR");
        line(&mut out, "VERSION:2.0");
        line(&mut out, "PRODID:-//Palpebra//Visits//EN");
        line(&mut out, "CALSCALE:GREGORIAN");
        line(&mut out, &format!("METHOD:{}", self.method.as_str()));
        self.zone_table(&mut out);
        for event in &self.events {
            self.event(event, &mut out);
        }
        line(&mut out, "END:VCALENDAR");
        out
    }

    /// Each change of the clocks that an event could meet, one by one: no rule has to be understood.
    fn zone_table(&self, out: &mut String) {
        let first = self.events.iter().map(|event| event.starts).min();
        let last = self.events.iter().map(|event| event.ends).max();
        let (Some(first), Some(last)) = (first, last) else { return };
        line(out, "BEGIN:VTIMEZONE");
        line(out, &format!("TZID:{}", self.zone.name()));
        let changes = self.zone.observances(first, last);
        if changes.first().is_none_or(|change| change.starts > first) {
            // It has never changed its clocks before.
            let offset = self.zone.offset_at(first);
            let start = PrimitiveDateTime::new(date!(1970 - 01 - 01), Time::MIDNIGHT);
            observance(out, "STANDARD", start, (offset, offset), self.zone.name());
        }
        for change in changes {
            let kind = if change.daylight { "DAYLIGHT" } else { "STANDARD" };
            let local = change.starts.to_offset(change.before);
            let start = PrimitiveDateTime::new(local.date(), local.time());
            observance(out, kind, start, (change.before, change.after), &change.name);
        }
        line(out, "END:VTIMEZONE");
    }

    /// Start and end. In an hour that the clocks show twice only UTC says which one is meant.
    fn times(&self, event: &Event) -> [String; 2] {
        let civil = |at| self.zone.to_civil(at);
        let plain = [event.starts, event.ends].into_iter().all(|at| self.zone.to_instant(civil(at)) == Ok(at));
        [("DTSTART", event.starts), ("DTEND", event.ends)].map(|(name, at)| {
            if plain {
                format!("{name};TZID={}:{}", self.zone.name(), local(civil(at)))
            } else {
                format!("{name}:{}", utc(at))
            }
        })
    }

    fn event(&self, event: &Event, out: &mut String) {
        let gone = event.cancelled || self.method == Method::Cancel;
        line(out, "BEGIN:VEVENT");
        line(out, &format!("UID:{}", event.visit));
        line(out, &format!("DTSTAMP:{}", utc(self.stamp)));
        line(out, &format!("SEQUENCE:{}", event.sequence));
        for time in self.times(event) {
            line(out, &time);
        }
        line(out, &format!("SUMMARY:{}", text(&event.summary)));
        line(out, &format!("LOCATION:{}", text(&self.address)));
        line(out, "CLASS:PRIVATE");
        line(out, "TRANSP:OPAQUE");
        line(out, if gone { "STATUS:CANCELLED" } else { "STATUS:CONFIRMED" });
        if let Some(party) = &self.organizer {
            line(out, &format!("ORGANIZER;CN={}:mailto:{}", parameter(&party.name), mail(&party.mail)));
        }
        if let Some(party) = &self.attendee {
            let role = "ROLE=REQ-PARTICIPANT;PARTSTAT=NEEDS-ACTION;RSVP=FALSE";
            line(out, &format!("ATTENDEE;CN={};{role}:mailto:{}", parameter(&party.name), mail(&party.mail)));
        }
        line(out, "END:VEVENT");
    }
}

fn observance(
    out: &mut String,
    kind: &str,
    start: PrimitiveDateTime,
    (before, after): (UtcOffset, UtcOffset),
    name: &str,
) {
    line(out, &format!("BEGIN:{kind}"));
    line(out, &format!("DTSTART:{}", local(start)));
    line(out, &format!("TZOFFSETFROM:{}", offset(before)));
    line(out, &format!("TZOFFSETTO:{}", offset(after)));
    line(out, &format!("TZNAME:{}", text(name)));
    line(out, &format!("END:{kind}"));
}

fn offset(offset: UtcOffset) -> String {
    let seconds = offset.whole_seconds();
    let (sign, size) = (if seconds < 0 { '-' } else { '+' }, seconds.abs());
    let (hours, minutes, rest) = (size / 3600, size / 60 % 60, size % 60);
    let rest = if rest == 0 { String::new() } else { format!("{rest:02}") };
    format!("{sign}{hours:02}{minutes:02}{rest}")
}

fn local(civil: PrimitiveDateTime) -> String {
    let form = format_description!("[year][month][day]T[hour][minute][second]");
    civil.format(&form).unwrap_or_default()
}

fn utc(at: OffsetDateTime) -> String {
    let form = format_description!("[year][month][day]T[hour][minute][second]Z");
    at.to_offset(UtcOffset::UTC).format(&form).unwrap_or_default()
}

/// RFC 5545 §3.3.11: backslash, semicolon, comma and line feed are escaped, other controls don't exist.
fn text(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    for c in value.replace("\r\n", "\n").chars() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// RFC 6868: `^`, `"` and line feeds in a parameter; always quoted, so that `:;,` may stand.
fn parameter(value: &str) -> String {
    let mut out = String::from("\"");
    for c in value.chars() {
        match c {
            '^' => out.push_str("^^"),
            '"' => out.push_str("^'"),
            '\n' => out.push_str("^n"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// An address for a `mailto:` (RFC 6068): what could end the address or the line is percent-encoded.
fn mail(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    for byte in value.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'@' | b'.' | b'-' | b'_' | b'~' | b'+' | b'!' | b'$' | b'\'' => {
                out.push(char::from(byte));
            }
            _ => {
                let _ = write!(out, "%{byte:02X}");
            }
        }
    }
    out
}

/// RFC 5545 §3.1: no line longer than 75 octets, folded between characters, ended by CRLF.
fn line(out: &mut String, content: &str) {
    let mut room = 75;
    for c in content.chars() {
        if c.len_utf8() > room {
            out.push_str("\r\n ");
            room = 74;
        }
        room -= c.len_utf8();
        out.push(c);
    }
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use time::macros::datetime;

    fn calendar(method: Method, studio: &str) -> Calendar {
        let event = |n| Event {
            visit: VisitId::from_random([n; 16]),
            sequence: u32::from(n),
            starts: datetime!(2026-03-29 09:30 +2),
            ends: datetime!(2026-03-29 10:30 +2),
            cancelled: n == 2,
            summary: visit_at(studio),
        };
        Calendar {
            method,
            zone: Zone::parse("Europe/Berlin").unwrap(),
            address: "Mill Lane 4; rear\n12345 Sampleton, Nowhere".to_owned(),
            organizer: Some(Party { name: "Studio \"Fen\"".to_owned(), mail: "hello@example.org".to_owned() }),
            attendee: Some(Party { name: "Zoë, M.".to_owned(), mail: "a\r\nb?c@example.com".to_owned() }),
            stamp: datetime!(2026-03-01 12:00 UTC),
            events: vec![event(1), event(2)],
        }
    }

    fn unfolded(ics: &str) -> Vec<String> {
        ics.replace("\r\n ", "").split_terminator("\r\n").map(str::to_owned).collect()
    }

    #[test]
    fn an_event_carries_what_rfc_5545_and_5546_want_and_no_more() {
        let ics = calendar(Method::Request, "Fen Studio").to_ics();
        let lines = unfolded(&ics);
        let first: Vec<_> = lines.iter().take(29).map(String::as_str).collect();
        assert_eq!(
            first,
            [
                "BEGIN:VCALENDAR",
                "VERSION:2.0",
                "PRODID:-//Palpebra//Visits//EN",
                "CALSCALE:GREGORIAN",
                "METHOD:REQUEST",
                "BEGIN:VTIMEZONE",
                "TZID:Europe/Berlin",
                "BEGIN:DAYLIGHT",
                "DTSTART:20260329T020000",
                "TZOFFSETFROM:+0100",
                "TZOFFSETTO:+0200",
                "TZNAME:CEST",
                "END:DAYLIGHT",
                "END:VTIMEZONE",
                "BEGIN:VEVENT",
                "UID:aeaqcaibaeaqcaibaeaqcaibae",
                "DTSTAMP:20260301T120000Z",
                "SEQUENCE:1",
                "DTSTART;TZID=Europe/Berlin:20260329T093000",
                "DTEND;TZID=Europe/Berlin:20260329T103000",
                "SUMMARY:Fen Studio: visit",
                "LOCATION:Mill Lane 4\\; rear\\n12345 Sampleton\\, Nowhere",
                "CLASS:PRIVATE",
                "TRANSP:OPAQUE",
                "STATUS:CONFIRMED",
                "ORGANIZER;CN=\"Studio ^'Fen^'\":mailto:hello@example.org",
                "ATTENDEE;CN=\"Zoë, M.\";ROLE=REQ-PARTICIPANT;PARTSTAT=NEEDS-ACTION;RSVP=FALSE:mailto:a%0D%0Ab%3Fc@example.com",
                "END:VEVENT",
                "BEGIN:VEVENT",
            ]
        );
        assert_eq!(lines.iter().filter(|l| *l == "STATUS:CANCELLED").count(), 1, "the second visit is off");
    }

    #[test]
    fn a_cancel_cancels_every_event() {
        let ics = calendar(Method::Cancel, "Fen").to_ics();
        assert_eq!(ics.matches("STATUS:CANCELLED\r\n").count(), 2);
        assert!(ics.contains("METHOD:CANCEL\r\n"));
    }

    proptest! {
        #[test]
        fn any_name_folds_within_75_octets_and_comes_back(studio in "\\PC{0,300}") {
            let ics = calendar(Method::Publish, &studio).to_ics();
            for physical in ics.split("\r\n") {
                prop_assert!(physical.len() <= 75, "{} octets", physical.len());
            }
            let lines = unfolded(&ics);
            let summary = lines.iter().find_map(|l| l.strip_prefix("SUMMARY:")).unwrap();
            let mut plain = String::new();
            let mut chars = summary.chars();
            while let Some(c) = chars.next() {
                plain.push(if c == '\\' { chars.next().unwrap() } else { c });
            }
            prop_assert_eq!(plain, format!("{studio}: visit"));
        }

        #[test]
        fn no_input_can_add_a_line(studio in any::<String>()) {
            let plain = unfolded(&calendar(Method::Publish, "x").to_ics()).len();
            prop_assert_eq!(unfolded(&calendar(Method::Publish, &studio).to_ics()).len(), plain);
        }
    }
}
