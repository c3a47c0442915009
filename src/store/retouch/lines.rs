//! The table behind the list: which lines fit, in which order, and what they were made from.

mod counts;

use std::collections::HashMap;

use time::{Date, OffsetDateTime};

use super::as_json;
use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::{ClientId, ServiceId};
use crate::domain::window::{EdgeDays, WindowState};
use crate::store::types::{impossible, read, small};
use crate::store::{Connection, Stored};
pub use counts::{Counts, counts};

/// A client and a service that she keeps returning for, with the edges of her window.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spot {
    /// Whose.
    pub client: ClientId,
    /// For which service.
    pub service: ServiceId,
    /// When she had it last.
    pub last: Date,
    /// The window opens.
    pub opens: Date,
    /// A return is due.
    pub due: Date,
    /// A return counts as a first visit.
    pub lapsed: Date,
}

/// The order of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// See [`crate::domain::retouch::urgency_of`].
    Urgent,
    /// By the day that the window opens.
    Date,
    /// By the client's name.
    Name,
}

/// Which lines are wanted.
#[derive(Debug, Clone, Copy)]
pub struct Filter<'a> {
    /// Today, by which states are told.
    pub today: Date,
    /// Only those in this state.
    pub state: Option<WindowState>,
    /// Only those who from now on have no treatment booked.
    pub free: Option<OffsetDateTime>,
    /// Only those whose name contains this, in small letters.
    pub name: &'a str,
}

/// Every state, in the order of the list.
pub const STATES: [WindowState; 4] = [WindowState::Due, WindowState::Open, WindowState::NotYet, WindowState::Lapsed];

struct Row {
    client_id: String,
    service_id: String,
    last_on: i64,
    opens: i64,
    due: i64,
    lapsed: i64,
}

impl Row {
    fn spot(self) -> Stored<Spot> {
        let id = &self.client_id;
        Ok(Spot {
            client: read("retouch_line", "client_id", id, ClientId::parse(id))?,
            service: read("retouch_line", "service_id", id, ServiceId::parse(&self.service_id))?,
            last: date("retouch_line", "last_on", id, self.last_on)?,
            opens: date("retouch_line", "opens", id, self.opens)?,
            due: date("retouch_line", "due", id, self.due)?,
            lapsed: date("retouch_line", "lapsed", id, self.lapsed)?,
        })
    }
}

/// A day from its Julian number; past the last day that there is, that day.
fn date(table: &'static str, column: &'static str, id: &str, number: i64) -> Stored<Date> {
    let number: i32 = small(table, column, id, number)?;
    read(table, column, id, Date::from_julian_day(number.min(Date::MAX.to_julian_day())))
}

fn word(state: WindowState) -> &'static str {
    match state {
        WindowState::NotYet => "not_yet",
        WindowState::Open => "open",
        WindowState::Due => "due",
        WindowState::Lapsed => "lapsed",
    }
}

/// The lines in one order. `?1` is today, `?2` the moment from which nothing may be booked, `?3` a part of the name.
macro_rules! page {
    ($c:expr, $filter:expr, $from:expr, $where:literal, $order:literal) => {{
        let (free, since) = bounds($filter.free);
        let (today, name) = (i64::from($filter.today.to_julian_day()), $filter.name);
        let state = $filter.state.map(word);
        let (most, skip) = $from;
        let rows = sqlx::query_as!(
            Row,
            "SELECT client_id, service_id, last_on, opens, due, lapsed FROM retouch_line WHERE " + $where +
            " AND (?2 IS NULL OR client_id NOT IN (
                  SELECT client_id FROM visit
                  WHERE starts_at > ?4 AND ends_at > ?2 AND purpose = 'treatment' AND state IN ('booked', 'arrived', 'in_treatment')))
              AND (?3 = '' OR instr(name_key, ?3) > 0)
              AND (?5 IS NULL OR ?5 = CASE WHEN opens > ?1 THEN 'not_yet' WHEN due > ?1 THEN 'open'
                                           WHEN lapsed > ?1 THEN 'due' ELSE 'lapsed' END)
              ORDER BY " + $order + " LIMIT ?6 OFFSET ?7",
            today, free, name, since, state, most, skip
        );
        rows.fetch_all($c).await?.into_iter().map(Row::spot).collect::<Stored<Vec<Spot>>>()
    }};
}

/// `now`, and how far back a visit that is still going on can have begun: a visit lasts a day at most.
fn bounds(now: Option<OffsetDateTime>) -> (Option<i64>, Option<i64>) {
    let now = now.map(OffsetDateTime::unix_timestamp);
    (now, now.map(|now| now - 86_400))
}

/// The lines that fit, `most` of them after the first `skip`. `counts` are [`counts`] of the same filter.
///
/// # Errors
/// When the file can't be read.
pub async fn page(
    c: &mut Connection,
    filter: Filter<'_>,
    order: Order,
    counts: Counts,
    (skip, most): (i64, i64),
) -> Stored<Vec<Spot>> {
    match order {
        Order::Date => page!(&mut *c, filter, (most, skip), "true", "opens, client_id, service_id"),
        Order::Name => page!(&mut *c, filter, (most, skip), "true", "name_key, client_id, service_id"),
        Order::Urgent => urgent(c, filter, counts, skip, most).await,
    }
}

/// One state after the other, each in its own order and by its own index.
async fn urgent(
    c: &mut Connection,
    filter: Filter<'_>,
    counts: Counts,
    mut skip: i64,
    mut most: i64,
) -> Stored<Vec<Spot>> {
    let mut found = Vec::new();
    for (state, count) in counts {
        if skip >= count || most == 0 {
            skip = (skip - count).max(0);
            continue;
        }
        let there = in_state(c, Filter { state: None, ..filter }, state, (most, skip)).await?;
        most -= i64::try_from(there.len()).unwrap_or(most);
        skip = 0;
        found.extend(there);
    }
    Ok(found)
}

async fn in_state(c: &mut Connection, filter: Filter<'_>, state: WindowState, from: (i64, i64)) -> Stored<Vec<Spot>> {
    match state {
        WindowState::Due => page!(&mut *c, filter, from, "due <= ?1 AND lapsed > ?1", "due, client_id, service_id"),
        WindowState::Open => page!(&mut *c, filter, from, "opens <= ?1 AND due > ?1", "opens, client_id, service_id"),
        WindowState::NotYet => page!(&mut *c, filter, from, "opens > ?1", "opens, client_id, service_id"),
        WindowState::Lapsed => page!(&mut *c, filter, from, "lapsed <= ?1", "lapsed DESC, client_id, service_id"),
    }
}

/// The line of one client and service.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, client: &ClientId, service: &ServiceId) -> Stored<Option<Spot>> {
    let (client, service) = (client.as_str(), service.as_str());
    let row = sqlx::query_as!(
        Row,
        "SELECT client_id, service_id, last_on, opens, due, lapsed FROM retouch_line WHERE client_id = ? AND service_id = ?",
        client,
        service
    );
    row.fetch_optional(c).await?.map(Row::spot).transpose()
}

/// The days of these clients that windows look at: of each single kind the two newest, in no order.
///
/// # Errors
/// When the file can't be read.
pub async fn newest(c: &mut Connection, clients: &[&ClientId]) -> Stored<HashMap<ClientId, Vec<(ServiceKind, Date)>>> {
    let ids = as_json(clients.iter().map(|id| id.as_str()));
    let rows = sqlx::query!(
        "SELECT client_id, part, last_on, before_on FROM retouch_part WHERE client_id IN (SELECT value FROM json_each(?))",
        ids
    )
    .fetch_all(c)
    .await?;
    let mut all: HashMap<ClientId, Vec<(ServiceKind, Date)>> = HashMap::new();
    for row in rows {
        let id = &row.client_id;
        let part = ServiceKind::parse(&row.part).ok_or_else(|| impossible("retouch_part", "part", id))?;
        let days = all.entry(read("retouch_part", "client_id", id, ClientId::parse(id))?).or_default();
        for day in [Some(row.last_on), row.before_on].into_iter().flatten() {
            days.push((part, date("retouch_part", "last_on", id, day)?));
        }
    }
    Ok(all)
}

/// The rule of a part of a service, as the table counts with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartRule {
    /// The service.
    pub service: ServiceId,
    /// The single kind.
    pub part: ServiceKind,
    /// Its days.
    pub days: EdgeDays,
}

/// The rules that the lines were made with, by service and part.
///
/// # Errors
/// When the file can't be read.
pub async fn rules(c: &mut Connection) -> Stored<Vec<PartRule>> {
    let rows = sqlx::query!("SELECT service_id, part, since_last, since_before, due, lapsed FROM retouch_rule")
        .fetch_all(c)
        .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.service_id;
            let days = |column, number| small::<u32>("retouch_rule", column, id, number);
            Ok(PartRule {
                service: read("retouch_rule", "service_id", id, ServiceId::parse(id))?,
                part: ServiceKind::parse(&row.part).ok_or_else(|| impossible("retouch_rule", "part", id))?,
                days: EdgeDays {
                    since_last: days("since_last", row.since_last)?,
                    since_before: row.since_before.map(|number| days("since_before", number)).transpose()?,
                    due: days("due", row.due)?,
                    lapsed: days("lapsed", row.lapsed)?,
                },
            })
        })
        .collect()
}

/// Takes another rule, and moves the lines of its service.
///
/// # Errors
/// When the file can't be written.
pub async fn set_rule(c: &mut Connection, rule: &PartRule) -> Stored<()> {
    let (service, part, days) = (rule.service.as_str(), rule.part.as_str(), rule.days);
    sqlx::query!(
        "INSERT INTO retouch_rule (service_id, part, since_last, since_before, due, lapsed) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
         ON CONFLICT DO UPDATE SET since_last = ?3, since_before = ?4, due = ?5, lapsed = ?6",
        service,
        part,
        days.since_last,
        days.since_before,
        days.due,
        days.lapsed
    )
    .execute(&mut *c)
    .await?;
    sqlx::query!(
        "INSERT INTO retouch_line (client_id, service_id, last_on, opens, due, lapsed)
         SELECT client_id, service_id, last_on, opens, due, lapsed FROM retouch_edges WHERE service_id = ?
         ON CONFLICT DO UPDATE SET opens = excluded.opens, due = excluded.due, lapsed = excluded.lapsed",
        service
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Clients whose name is not yet in their lines.
///
/// # Errors
/// When the file can't be read.
pub async fn unnamed(c: &mut Connection) -> Stored<Vec<(String, String)>> {
    let rows = sqlx::query!(
        "SELECT id, name FROM client WHERE id IN (SELECT client_id FROM retouch_line WHERE name_key = '')"
    )
    .fetch_all(c)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}

/// Puts a name into a client's lines.
///
/// # Errors
/// When the file can't be written.
pub async fn set_name(c: &mut Connection, client: &str, key: &str) -> Stored<()> {
    sqlx::query!("UPDATE retouch_line SET name_key = ? WHERE client_id = ?", key, client).execute(c).await?;
    Ok(())
}

/// How many windows open in each week, by service: weeks from the Monday on, counted from 0; and of how many the client
/// has a treatment booked from `now` on.
///
/// # Errors
/// When the file can't be read.
pub async fn openings(
    c: &mut Connection,
    monday: Date,
    weeks: u16,
    now: OffsetDateTime,
) -> Stored<Vec<(u16, ServiceId, u32, u32)>> {
    let first = i64::from(monday.to_julian_day());
    let end = first + 7 * i64::from(weeks);
    let (now, since) = bounds(Some(now));
    let rows = sqlx::query!(
        r#"SELECT (opens - ?1) / 7 AS "week!: i64", service_id, count(*) AS "windows!: i64",
                  count(*) FILTER (WHERE client_id IN (
                      SELECT client_id FROM visit WHERE starts_at > ?4 AND ends_at > ?3 AND purpose = 'treatment'
                          AND state IN ('booked', 'arrived', 'in_treatment'))) AS "booked!: i64"
           FROM retouch_line WHERE opens >= ?1 AND opens < ?2 GROUP BY 1, 2 ORDER BY 1, 2"#,
        first,
        end,
        now,
        since
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.service_id;
            Ok((
                small("retouch_line", "opens", id, row.week)?,
                read("retouch_line", "service_id", id, ServiceId::parse(id))?,
                small("retouch_line", "opens", id, row.windows)?,
                small("retouch_line", "opens", id, row.booked)?,
            ))
        })
        .collect()
}

/// Every line as it stands.
///
/// # Errors
/// When the file can't be read.
pub async fn all(c: &mut Connection) -> Stored<Vec<Spot>> {
    let rows = sqlx::query_as!(
        Row,
        "SELECT client_id, service_id, last_on, opens, due, lapsed FROM retouch_line ORDER BY client_id, service_id"
    );
    rows.fetch_all(c).await?.into_iter().map(Row::spot).collect()
}

/// Has a client's lines made anew.
///
/// # Errors
/// When the file can't be written.
pub async fn make_anew(c: &mut Connection, client: &ClientId) -> Stored<()> {
    let client = client.as_str();
    sqlx::query!("INSERT INTO retouch_stale (client_id) VALUES (?)", client).execute(c).await?;
    Ok(())
}
