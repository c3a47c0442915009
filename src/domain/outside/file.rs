//! The busy times of a calendar file.

use std::collections::{BTreeMap, BTreeSet};

use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime};

use super::repeat::Repeat;
use super::value::{Line, Moment, length, lines, offset};
use crate::domain::zone::Zone;
use crate::t;

/// Why a file gives no busy times. Half of them would be worse than those of the last reading.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// It isn't a calendar.
    #[error("{}", t("It is not a calendar file."))]
    NotACalendar,
    /// An event has no start that can be read.
    #[error("{}", t("An event in it has a time that can’t be read."))]
    Time,
    /// A zone is neither known nor explained in the file.
    #[error("{}", t("It names a time zone that is not known."))]
    Zone,
    /// An event repeats in a way that isn't understood.
    #[error("{}", t("An event in it repeats in a way that is not understood."))]
    Repeat,
    /// More than the limit.
    #[error("{}", t("It holds more events than are read."))]
    TooMany,
}

/// The most busy times.
const MOST: usize = 20_000;

/// A change of the clocks as the file explains it.
#[derive(Default)]
struct Change {
    starts: Option<PrimitiveDateTime>,
    before: i64,
    after: i64,
    repeats: Option<Repeat>,
    more: Vec<PrimitiveDateTime>,
}

impl Change {
    /// The last time that it happened at or before a civil time.
    fn last_at(&self, civil: PrimitiveDateTime) -> Option<PrimitiveDateTime> {
        let starts = self.starts?;
        let mut all = vec![starts];
        all.extend(&self.more);
        if let Some(rule) = &self.repeats {
            let first = civil.date().saturating_sub(Duration::days(800));
            let days = rule.days(starts.date(), first, civil.date());
            let until = rule.until().map(Moment::civil);
            let days = days.into_iter().map(|day| PrimitiveDateTime::new(day, starts.time()));
            all.extend(days.filter(|at| until.is_none_or(|until| *at <= until.saturating_add(Duration::DAY))));
        }
        all.into_iter().filter(|at| *at <= civil).max()
    }
}

/// The clock by which a civil time is read.
enum Clock<'a> {
    Known(Zone),
    Explained(&'a [Change]),
}

impl Clock<'_> {
    fn instant(&self, civil: PrimitiveDateTime) -> i64 {
        match self {
            Self::Known(zone) => zone.to_instant_as_calendars_do(civil).unix_timestamp(),
            Self::Explained(changes) => {
                let last = changes.iter().filter_map(|change| Some((change.last_at(civil)?, change.after))).max();
                let first = || changes.iter().min_by_key(|change| change.starts).map(|change| change.before);
                civil.assume_utc().unix_timestamp() - last.map(|(_, after)| after).or_else(first).unwrap_or(0)
            }
        }
    }
}

/// What of an event matters.
#[derive(Default)]
struct Event {
    lines: Vec<Line>,
}

impl Event {
    fn line(&self, name: &str) -> Option<&Line> {
        self.lines.iter().find(|line| line.name == name)
    }

    fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Line> {
        self.lines.iter().filter(move |line| line.name == name)
    }

    fn value(&self, name: &str) -> &str {
        self.line(name).map_or("", |line| line.value.trim())
    }

    fn is_busy(&self) -> bool {
        !self.value("TRANSP").eq_ignore_ascii_case("TRANSPARENT")
            && !self.value("STATUS").eq_ignore_ascii_case("CANCELLED")
    }
}

#[derive(Default)]
struct File {
    zones: BTreeMap<String, Vec<Change>>,
    events: Vec<Event>,
    free_busy: Vec<Line>,
}

impl File {
    fn read(text: &str) -> Result<Self, Unreadable> {
        let mut file = Self::default();
        let mut open: Vec<String> = Vec::new();
        let (mut zone, mut is_calendar) = (String::new(), false);
        for line in lines(text) {
            let word = line.value.trim().to_ascii_uppercase();
            match line.name.as_str() {
                "BEGIN" => {
                    is_calendar |= word == "VCALENDAR";
                    match word.as_str() {
                        "VEVENT" => file.events.push(Event::default()),
                        "VTIMEZONE" => zone.clear(),
                        "STANDARD" | "DAYLIGHT" => file.zones.entry(zone.clone()).or_default().push(Change::default()),
                        _ => {}
                    }
                    open.push(word);
                    continue;
                }
                "END" => {
                    open.pop();
                    continue;
                }
                _ => {}
            }
            match open.last().map(String::as_str) {
                Some("VEVENT") => {
                    if let Some(event) = file.events.last_mut() {
                        event.lines.push(line);
                    }
                }
                Some("VFREEBUSY") if line.name == "FREEBUSY" => file.free_busy.push(line),
                Some("VTIMEZONE") if line.name == "TZID" => line.value.trim().clone_into(&mut zone),
                Some("STANDARD" | "DAYLIGHT") => {
                    if let Some(change) = file.zones.get_mut(&zone).and_then(|changes| changes.last_mut()) {
                        explain(change, &line)?;
                    }
                }
                _ => {}
            }
        }
        if is_calendar { Ok(file) } else { Err(Unreadable::NotACalendar) }
    }

    /// The clock of a line: UTC, the zone it names, or the studio's.
    fn clock(&self, line: &Line, studio: &Zone) -> Result<Clock<'_>, Unreadable> {
        let Some(name) = line.parameter("TZID") else { return Ok(Clock::Known(studio.clone())) };
        // Some programs put a name of their own before the zone's.
        let parts: Vec<&str> = name.trim_matches('/').split('/').collect();
        let known = (0..parts.len()).find_map(|from| Zone::parse(&parts.get(from..)?.join("/")).ok());
        match (known, self.zones.get(name)) {
            (Some(zone), _) => Ok(Clock::Known(zone)),
            (None, Some(changes)) => Ok(Clock::Explained(changes)),
            (None, None) => Err(Unreadable::Zone),
        }
    }

    fn instant(&self, moment: Moment, clock: &Clock<'_>) -> i64 {
        match moment {
            Moment::Utc(civil) => civil.assume_utc().unix_timestamp(),
            Moment::Civil(_) | Moment::Day(_) => clock.instant(moment.civil()),
        }
    }

    /// The instants that a line lists.
    fn listed(&self, line: &Line, studio: &Zone) -> Result<Vec<i64>, Unreadable> {
        let clock = self.clock(line, studio)?;
        let read = |part: &str| {
            // Of a period only the start is told.
            let moment = Moment::read(part.split('/').next().unwrap_or_default()).ok_or(Unreadable::Time)?;
            Ok(self.instant(moment, &clock))
        };
        line.value.split(',').map(read).collect()
    }
}

fn explain(change: &mut Change, line: &Line) -> Result<(), Unreadable> {
    match line.name.as_str() {
        "DTSTART" => change.starts = Moment::read(&line.value).map(Moment::civil),
        "TZOFFSETFROM" => change.before = offset(&line.value).ok_or(Unreadable::Zone)?,
        "TZOFFSETTO" => change.after = offset(&line.value).ok_or(Unreadable::Zone)?,
        "RRULE" => change.repeats = Some(Repeat::parse(&line.value).ok_or(Unreadable::Repeat)?),
        "RDATE" => change.more.extend(line.value.split(',').filter_map(Moment::read).map(Moment::civil)),
        _ => {}
    }
    Ok(())
}

/// The busy times of a calendar file within a stretch of time, in Unix seconds, in order, overlapping or not. Times
/// without a zone are those of the studio's clock, as are whole days.
///
/// # Errors
/// See [`Unreadable`].
pub fn busy_times(
    text: &str,
    studio: &Zone,
    (from, to): (OffsetDateTime, OffsetDateTime),
) -> Result<Vec<(i64, i64)>, Unreadable> {
    let file = File::read(text)?;
    let mut found = Vec::new();
    let mut moved: BTreeSet<(&str, i64)> = BTreeSet::new();
    for event in &file.events {
        if let Some(line) = event.line("RECURRENCE-ID") {
            moved.extend(file.listed(line, studio)?.into_iter().map(|at| (event.value("UID"), at)));
        }
    }
    for event in file.events.iter().filter(|event| event.is_busy()) {
        let times = occurrences(&file, event, studio, (from, to))?;
        let alone = event.line("RECURRENCE-ID").is_some();
        found.extend(times.into_iter().filter(|(start, _)| alone || !moved.contains(&(event.value("UID"), *start))));
        if found.len() > MOST {
            return Err(Unreadable::TooMany);
        }
    }
    for line in &file.free_busy {
        if line.parameter("FBTYPE").is_some_and(|kind| kind.eq_ignore_ascii_case("FREE")) {
            continue;
        }
        for period in line.value.split(',') {
            found.push(period_of(period).ok_or(Unreadable::Time)?);
        }
    }
    let (from, to) = (from.unix_timestamp(), to.unix_timestamp());
    found.retain(|(start, end)| start < end && *start < to && *end > from);
    found.sort_unstable();
    found.dedup();
    if found.len() > MOST { Err(Unreadable::TooMany) } else { Ok(found) }
}

fn period_of(text: &str) -> Option<(i64, i64)> {
    let (start, end) = text.split_once('/')?;
    let start = Moment::read(start)?.civil().assume_utc();
    let end = match length(end) {
        Some(length) => start.checked_add(length)?,
        None => Moment::read(end)?.civil().assume_utc(),
    };
    Some((start.unix_timestamp(), end.unix_timestamp()))
}

fn occurrences(
    file: &File,
    event: &Event,
    studio: &Zone,
    (from, to): (OffsetDateTime, OffsetDateTime),
) -> Result<Vec<(i64, i64)>, Unreadable> {
    let line = event.line("DTSTART").ok_or(Unreadable::Time)?;
    let start = Moment::read(&line.value).ok_or(Unreadable::Time)?;
    let clock = file.clock(line, studio)?;
    let first = file.instant(start, &clock);
    // How long: in days for whole days, whose hours the clocks may change, else in seconds.
    let (days, seconds) = extent(file, event, studio, (start, first))?;
    let end_of = |begin: i64, day: Date| match start {
        Moment::Day(_) => clock.instant(Moment::Day(day.saturating_add(Duration::days(days))).civil()),
        Moment::Civil(_) | Moment::Utc(_) => begin + seconds,
    };
    let civil = start.civil();
    let mut begins = vec![(first, civil.date())];
    for rule in event.all("RRULE") {
        let rule = Repeat::parse(&rule.value).ok_or(Unreadable::Repeat)?;
        let reach = Duration::days(days + 2);
        let looked_at = (from.date().saturating_sub(reach), to.date().saturating_add(Duration::days(2)));
        let until = rule.until().map(|until| match until {
            Moment::Day(day) => clock.instant(Moment::Day(day.saturating_add(Duration::DAY)).civil()) - 1,
            until => file.instant(until, &clock),
        });
        for day in rule.days(civil.date(), looked_at.0, looked_at.1) {
            let at = PrimitiveDateTime::new(day, civil.time());
            let begin = match start {
                Moment::Utc(_) => at.assume_utc().unix_timestamp(),
                Moment::Day(_) | Moment::Civil(_) => clock.instant(at),
            };
            if until.is_none_or(|until| begin <= until) {
                begins.push((begin, day));
            }
        }
    }
    for line in event.all("RDATE") {
        for at in file.listed(line, studio)? {
            let day = OffsetDateTime::from_unix_timestamp(at).map_err(|_| Unreadable::Time)?;
            begins.push((at, studio.date_at(day)));
        }
    }
    let mut left_out = BTreeSet::new();
    for line in event.all("EXDATE") {
        left_out.extend(file.listed(line, studio)?);
    }
    begins.sort_unstable();
    begins.dedup();
    let kept = begins.into_iter().filter(|(begin, _)| !left_out.contains(begin));
    Ok(kept.map(|(begin, day)| (begin, end_of(begin, day))).collect())
}

/// How long an event takes: whole days and seconds, of which one counts.
fn extent(file: &File, event: &Event, studio: &Zone, (start, first): (Moment, i64)) -> Result<(i64, i64), Unreadable> {
    if let Some(line) = event.line("DTEND") {
        let end = Moment::read(&line.value).ok_or(Unreadable::Time)?;
        let seconds = file.instant(end, &file.clock(line, studio)?) - first;
        return Ok(((end.civil().date() - start.civil().date()).whole_days(), seconds));
    }
    match (event.line("DURATION"), start) {
        (Some(line), _) => {
            let length = length(&line.value).ok_or(Unreadable::Time)?;
            Ok((length.whole_days(), length.whole_seconds()))
        }
        (None, Moment::Day(_)) => Ok((1, 0)),
        (None, _) => Ok((0, 0)),
    }
}

#[cfg(test)]
mod tests;
