//! The busy times of a calendar file.

use std::collections::{BTreeMap, BTreeSet};

use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime, UtcOffset};

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

/// The most busy times, beginnings of one event, and lines of one.
const MOST: usize = 20_000;
/// The longest name of a zone, in bytes: it is compared with each line that explains the zone.
const LONGEST_NAME: usize = 255;
/// The most days that are looked at to see what repeats on them, some tenths of a second's work: a rule may begin in the year
/// 0, and a file may hold a hundred thousand. Ten years of a full diary, or a zone explained from 1601 on, ask for a few
/// hundred thousand.
const MOST_LOOKED_AT: u32 = 10_000_000;

/// A change of the clocks as the file explains it.
#[derive(Default)]
struct Change {
    starts: Option<PrimitiveDateTime>,
    before: i64,
    after: i64,
    repeats: Option<Repeat>,
    more: Vec<PrimitiveDateTime>,
}

/// A zone that the file explains.
struct Explained {
    /// When its clocks change, in order, and by how many seconds they are ahead of UTC then.
    changes: Vec<(PrimitiveDateTime, i64)>,
    before: i64,
}

impl Explained {
    /// Up to a day; nothing when that would take too long.
    fn until(last: Date, changes: &[Change], left: &mut u32) -> Option<Self> {
        let mut all = Vec::new();
        for change in changes {
            let Some(starts) = change.starts else { continue };
            all.push((starts, change.after));
            all.extend(change.more.iter().map(|at| (*at, change.after)));
            if let Some(rule) = &change.repeats {
                // Its end is in UTC, which may be a day behind the clocks.
                let ends = rule.until().map(|until| until.civil().date().saturating_add(Duration::DAY));
                let last = ends.map_or(last, |ends| ends.min(last));
                let days = rule.days_within(starts.date(), starts.date(), last, left)?.into_iter();
                all.extend(days.map(|day| (PrimitiveDateTime::new(day, starts.time()), change.after)));
            }
        }
        all.sort_unstable();
        let before = changes.iter().min_by_key(|change| change.starts).map(|change| change.before).unwrap_or_default();
        Some(Self { changes: all, before })
    }

    fn offset(&self, civil: PrimitiveDateTime) -> i64 {
        let later = self.changes.partition_point(|(at, _)| *at <= civil);
        later.checked_sub(1).and_then(|last| self.changes.get(last)).map_or(self.before, |(_, after)| *after)
    }
}

/// The clock by which a civil time is read.
enum Clock<'a> {
    Known(Zone),
    Explained(&'a Explained),
}

impl Clock<'_> {
    fn instant(&self, civil: PrimitiveDateTime) -> i64 {
        match self {
            Self::Known(zone) => zone.to_instant_as_calendars_do(civil).unix_timestamp(),
            Self::Explained(zone) => civil.assume_utc().unix_timestamp() - zone.offset(civil),
        }
    }
}

/// The zone of a name. Some programs put a name of their own before it; none has more than three parts.
fn known(name: &str) -> Option<Zone> {
    let parts: Vec<&str> = name.trim_matches('/').rsplit('/').take(3).collect();
    (1..=parts.len()).rev().find_map(|many| {
        let name: Vec<&str> = parts.get(..many)?.iter().rev().copied().collect();
        Zone::parse(&name.join("/")).ok()
    })
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

struct File {
    zones: BTreeMap<String, Explained>,
    events: Vec<Event>,
    free_busy: Vec<Line>,
}

impl File {
    /// Reads it, for days up to the last one; what repeats may look at so many days.
    fn read(text: &str, last: Date, left: &mut u32) -> Result<Self, Unreadable> {
        let mut file = Self { zones: BTreeMap::new(), events: Vec::new(), free_busy: Vec::new() };
        let mut zones: BTreeMap<String, Vec<Change>> = BTreeMap::new();
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
                        "STANDARD" | "DAYLIGHT" => zones.entry(zone.clone()).or_default().push(Change::default()),
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
                        if event.lines.len() == MOST {
                            return Err(Unreadable::TooMany);
                        }
                        event.lines.push(line);
                    }
                }
                Some("VFREEBUSY") if line.name == "FREEBUSY" => file.free_busy.push(line),
                Some("VTIMEZONE") if line.name == "TZID" => {
                    if line.value.len() > LONGEST_NAME {
                        return Err(Unreadable::Zone);
                    }
                    line.value.trim().clone_into(&mut zone);
                }
                Some("STANDARD" | "DAYLIGHT") => {
                    if let Some(change) = zones.get_mut(&zone).and_then(|changes| changes.last_mut()) {
                        explain(change, &line)?;
                    }
                }
                _ => {}
            }
        }
        if !is_calendar {
            return Err(Unreadable::NotACalendar);
        }
        for (name, changes) in zones.into_iter().filter(|(name, _)| known(name).is_none()) {
            let zone = Explained::until(last, &changes, left).ok_or(Unreadable::TooMany)?;
            file.zones.insert(name, zone);
        }
        Ok(file)
    }

    /// The clock of a line: UTC, the zone it names, or the studio's.
    fn clock(&self, line: &Line, studio: &Zone) -> Result<Clock<'_>, Unreadable> {
        let Some(name) = line.parameter("TZID") else { return Ok(Clock::Known(studio.clone())) };
        match known(name) {
            Some(zone) => Ok(Clock::Known(zone)),
            None => self.zones.get(name).map(Clock::Explained).ok_or(Unreadable::Zone),
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
    let mut left = MOST_LOOKED_AT;
    // The clocks of an event may be a day ahead of UTC.
    let last = to.to_offset(UtcOffset::UTC).date().saturating_add(Duration::DAY);
    let file = File::read(text, last, &mut left)?;
    let (begins, ends) = (from.unix_timestamp(), to.unix_timestamp());
    let within = |(start, end): &(i64, i64)| start < end && *start < ends && *end > begins;
    let mut found = Vec::new();
    let mut moved: BTreeMap<&str, BTreeSet<i64>> = BTreeMap::new();
    for event in &file.events {
        if let Some(line) = event.line("RECURRENCE-ID") {
            moved.entry(event.value("UID")).or_default().extend(file.listed(line, studio)?);
        }
    }
    for event in file.events.iter().filter(|event| event.is_busy()) {
        let times = occurrences(&file, event, studio, (from, last), &mut left)?;
        // Looked up once: a name can be as long as the file.
        let moved = moved.get(event.value("UID")).filter(|_| event.line("RECURRENCE-ID").is_none());
        let stays = |start: &i64| moved.is_none_or(|moved| !moved.contains(start));
        found.extend(times.into_iter().filter(|time| within(time) && stays(&time.0)));
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
    found.retain(within);
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
    (from, last): (OffsetDateTime, Date),
    left: &mut u32,
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
        let earliest = from.date().saturating_sub(reach);
        let until = rule.until().map(|until| match until {
            Moment::Day(day) => clock.instant(Moment::Day(day.saturating_add(Duration::DAY)).civil()) - 1,
            until => file.instant(until, &clock),
        });
        let days = rule.days_within(civil.date(), earliest, last, left).ok_or(Unreadable::TooMany)?;
        for day in days {
            let at = PrimitiveDateTime::new(day, civil.time());
            let begin = match start {
                Moment::Utc(_) => at.assume_utc().unix_timestamp(),
                Moment::Day(_) | Moment::Civil(_) => clock.instant(at),
            };
            if until.is_none_or(|until| begin <= until) {
                begins.push((begin, day));
            }
        }
        if begins.len() > MOST {
            return Err(Unreadable::TooMany);
        }
    }
    for line in event.all("RDATE") {
        for at in file.listed(line, studio)? {
            let day = OffsetDateTime::from_unix_timestamp(at).map_err(|_| Unreadable::Time)?;
            begins.push((at, studio.date_at(day)));
        }
        if begins.len() > MOST {
            return Err(Unreadable::TooMany);
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
