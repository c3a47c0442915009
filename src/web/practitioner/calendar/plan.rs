//! What stands on a day: of a practitioner in the order of time, of the rooms in a line each.

use time::{Date, Duration, OffsetDateTime};

use super::super::view::Names;
use super::super::words;
use crate::actions::diary::{Taken, working_hours};
use crate::domain::hours::{DateRange, WeeklyHours, WorkingHours, clock};
use crate::domain::ids::PractitionerId;
use crate::domain::schedule::{BusyTimes, work_on};
use crate::domain::visit::VisitState;
use crate::domain::zone::Zone;
use crate::store::calendar::{self, Block, Blocked, OtherHours};
use crate::store::practitioners::{self, Practitioner, Room, TimeOff};
use crate::store::studio::Studio;
use crate::store::types::impossible;
use crate::store::visits::{self, Purpose, Visit};
use crate::store::{Connection, Stored, clients};
use crate::when;
use crate::{t, tf};

/// Gaps shorter than this are not worth a line: a skin test takes ten minutes.
const SHORTEST: Duration = Duration::minutes(10);

/// Everything on some days.
pub(super) struct Days {
    zone: Zone,
    off: Vec<TimeOff>,
    other: Vec<OtherHours>,
    weeks: Vec<(PractitionerId, WeeklyHours)>,
    visits: Vec<(Visit, String, String)>,
    holds: Vec<(String, String, i64, i64)>,
    blocks: Vec<Block>,
    outside: Vec<(String, i64, i64)>,
    taken: Taken,
    rooms: Vec<Room>,
    names: Vec<Practitioner>,
}

/// One line of a plan.
pub(super) struct Entry {
    pub(super) from: i64,
    pub(super) time: String,
    /// `booked`, `free`, `block`, `held` or `outside`.
    pub(super) kind: &'static str,
    pub(super) words: String,
    pub(super) more: String,
    /// The visit's page; of a free stretch, where it is booked.
    pub(super) href: String,
    /// Of a free stretch, where it is blocked; of a block, where it is removed.
    pub(super) act: String,
    pub(super) tag: &'static str,
    pub(super) past: bool,
}

/// A practitioner's day.
pub(super) struct Plan {
    pub(super) name: String,
    pub(super) hours: String,
    pub(super) entries: Vec<Entry>,
    at_work: bool,
}

impl Plan {
    /// Whether there is anything to see.
    pub(super) fn matters(&self) -> bool {
        self.at_work || !self.entries.is_empty()
    }
}

/// A room's day.
pub(super) struct RoomUse {
    pub(super) name: String,
    pub(super) uses: Vec<(String, String)>,
}

impl Days {
    pub(super) async fn load(
        c: &mut Connection,
        studio: &Studio,
        names: &Names,
        (first, count): (Date, u16),
        now: OffsetDateTime,
    ) -> Stored<Self> {
        let (from, to) =
            (studio.zone.day_start(first), studio.zone.day_start(first + Duration::days(i64::from(count))));
        let mut seen = Vec::new();
        for visit in visits::between(c, from, to).await? {
            let Some(id) = &visit.client else { continue };
            let Some(client) = clients::get(c, id).await?.map(|client| client.name.as_str().to_owned()) else {
                continue;
            };
            let service = names.service(&visit.service);
            let what = match visit.purpose {
                Purpose::Treatment => service.to_owned(),
                Purpose::SkinTest => words::skin_test_for(service),
            };
            seen.push((visit, client, what));
        }
        let mut weeks = Vec::new();
        for she in &names.practitioners {
            let week = WeeklyHours::parse(practitioners::hours(c, &she.id).await?)
                .map_err(|_| impossible("hours", "opens_minute", she.id.as_str()))?;
            weeks.push((she.id.clone(), week));
        }
        Ok(Self {
            zone: studio.zone.clone(),
            off: practitioners::time_off(c, first).await?,
            other: calendar::other_hours(c, first).await?,
            weeks,
            visits: seen,
            holds: visits::holds(c, from, to, now).await?,
            blocks: calendar::blocks(c, from, to).await?,
            outside: calendar::outside_busy(c, from, to).await?,
            taken: Taken::load(c, (from, to), now, None).await?,
            rooms: practitioners::rooms(c).await?,
            names: names.practitioners.clone(),
        })
    }

    /// How many visits of these practitioners are shown.
    pub(super) fn clients(&self, of: &[Practitioner]) -> usize {
        self.visits.iter().filter(|(visit, ..)| of.iter().any(|she| she.id == visit.practitioner)).count()
    }

    fn span(&self, from: i64, to: i64) -> String {
        words::from_to(self.clock(from), self.clock(to))
    }

    fn clock(&self, at: i64) -> String {
        when::clock(self.zone.to_civil(OffsetDateTime::from_unix_timestamp(at).unwrap_or(OffsetDateTime::UNIX_EPOCH)))
    }

    fn hours(&self, she: &PractitionerId) -> WorkingHours {
        let week = self.weeks.iter().find(|(id, _)| id == she).map(|(_, week)| week.clone()).unwrap_or_default();
        let away = self.off.iter().filter(|off| off.practitioner.as_ref().is_none_or(|whose| whose == she));
        let away = away.filter_map(|off| DateRange::parse(off.from, off.to).ok()).collect();
        working_hours(she, week, &self.other, away).unwrap_or_default()
    }

    fn day(&self, date: Date) -> (i64, i64) {
        let next = date.next_day().unwrap_or(date);
        (self.zone.day_start(date).unix_timestamp(), self.zone.day_start(next).unix_timestamp())
    }

    pub(super) fn plan(&self, she: &Practitioner, date: Date, now: OffsetDateTime) -> Plan {
        let hours = self.hours(&she.id);
        let spans = hours.on(date);
        let words: Vec<_> =
            spans.iter().map(|span| words::from_to(clock(span.opens()), clock(span.closes()))).collect();
        let (start, end) = self.day(date);
        let mut entries: Vec<Entry> = self.booked(&she.id, (start, end), now).collect();
        let within = |from: i64| (start..end).contains(&from);
        let held = self.holds.iter().filter(|(who, _, from, _)| who == she.id.as_str() && within(*from));
        entries.extend(held.map(|&(_, _, from, to)| Entry {
            words: t("Held while somebody books").to_owned(),
            ..self.entry(from, to, "held")
        }));
        let mine = |block: &&Block| matches!(&block.what, Blocked::Practitioner(id) if *id == she.id);
        let blocks = self.blocks.iter().filter(mine).filter(|block| within(block.starts_at.unix_timestamp()));
        entries.extend(blocks.map(|block| Entry {
            words: t("Blocked").to_owned(),
            more: block.reason.clone(),
            act: format!("/desk/blocks/{}/remove", block.id),
            ..self.entry(block.starts_at.unix_timestamp(), block.ends_at.unix_timestamp(), "block")
        }));
        let outside =
            self.outside.iter().filter(|(who, from, to)| who == she.id.as_str() && *from < end && *to > start);
        entries.extend(outside.map(|&(_, from, to)| Entry {
            words: t("Busy elsewhere").to_owned(),
            ..self.entry(from.max(start), to.min(end), "outside")
        }));
        if let Ok(busy) = self.taken.of_practitioner(&she.id) {
            entries.extend(self.free(&she.id, &hours, &busy, date, now));
        }
        entries.sort_by_key(|entry| entry.from);
        Plan {
            name: she.name.clone(),
            hours: if words.is_empty() { t("Not at work").to_owned() } else { words.join(", ") },
            entries,
            at_work: !spans.is_empty(),
        }
    }

    fn booked(
        &self,
        she: &PractitionerId,
        (start, end): (i64, i64),
        now: OffsetDateTime,
    ) -> impl Iterator<Item = Entry> {
        let hers = self.visits.iter().filter(move |(visit, ..)| {
            visit.practitioner == *she && (start..end).contains(&visit.starts_at.unix_timestamp())
        });
        hers.map(move |(visit, client, what)| {
            let room = self.rooms.iter().find(|room| room.id == visit.room).map_or("", |room| &room.name);
            Entry {
                words: client.clone(),
                more: format!("{what}, {room}"),
                href: format!("/desk/visits/{}", visit.id),
                tag: if visit.state == VisitState::Booked { "" } else { words::state(visit.state) },
                past: visit.state.is_over() || visit.ends_at <= now,
                ..self.entry(visit.starts_at.unix_timestamp(), visit.ends_at.unix_timestamp(), "booked")
            }
        })
    }

    /// What is left of her hours and not past: what could still be offered.
    fn free(
        &self,
        she: &PractitionerId,
        hours: &WorkingHours,
        busy: &BusyTimes,
        date: Date,
        now: OffsetDateTime,
    ) -> Vec<Entry> {
        let work = work_on(&self.zone, hours, date);
        let gaps = work.into_iter().flat_map(|(from, to)| busy.gaps(from.max(now.unix_timestamp()), to));
        let worth = gaps.filter(|(from, to)| to - from >= SHORTEST.whole_seconds());
        worth
            .map(|(from, to)| {
                let minutes = u16::try_from((to - from) / 60).unwrap_or(0);
                let at = self.clock(from);
                Entry {
                    words: t("Free").to_owned(),
                    more: when::length(minutes),
                    href: format!("/desk/book?day={date}&who={she}&at={at}"),
                    act: format!("/desk/blocks/new?day={date}&who={she}&from={at}&to={}", self.clock(to)),
                    ..self.entry(from, to, "free")
                }
            })
            .collect()
    }

    fn entry(&self, from: i64, to: i64, kind: &'static str) -> Entry {
        Entry {
            from,
            time: self.span(from, to),
            kind,
            words: String::new(),
            more: String::new(),
            href: String::new(),
            act: String::new(),
            tag: "",
            past: false,
        }
    }

    /// Who is in which room when; no clients' names, so that it can hang on a door.
    pub(super) fn rooms(&self, date: Date) -> Vec<RoomUse> {
        let (start, end) = self.day(date);
        let who = |id: &PractitionerId| {
            self.names.iter().find(|she| she.id == *id).map_or_else(String::new, |she| she.name.clone())
        };
        let rooms = self.rooms.iter().filter(|room| room.active);
        rooms
            .map(|room| {
                let there = self.visits.iter().filter(|(visit, ..)| {
                    visit.room == room.id
                        && visit.state.occupies_chair()
                        && (start..end).contains(&visit.starts_at.unix_timestamp())
                });
                let mut uses: Vec<(i64, i64, String)> = there
                    .map(|(visit, ..)| {
                        (visit.starts_at.unix_timestamp(), visit.busy_until.unix_timestamp(), who(&visit.practitioner))
                    })
                    .collect();
                let blocked =
                    self.blocks.iter().filter(|block| matches!(&block.what, Blocked::Room(id) if *id == room.id));
                uses.extend(blocked.map(|block| {
                    let words = if block.reason.is_empty() {
                        t("blocked").to_owned()
                    } else {
                        tf("blocked: {why}").with("why", &block.reason).to_string()
                    };
                    (block.starts_at.unix_timestamp(), block.ends_at.unix_timestamp(), words)
                }));
                let held =
                    self.holds.iter().filter(|(_, id, from, _)| id == room.id.as_str() && (start..end).contains(from));
                uses.extend(held.map(|&(_, _, from, to)| (from, to, t("held").to_owned())));
                uses.sort();
                let uses = uses.into_iter().map(|(from, to, words)| (self.span(from, to), words)).collect();
                RoomUse { name: room.name.clone(), uses }
            })
            .collect()
    }
}
