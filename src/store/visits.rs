//! Visits, held and booked.

use time::{OffsetDateTime, PrimitiveDateTime};

use super::types::{civil, civil_text, impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, DraftId, PractitionerId, RoomId, ServiceId, VisitId};
use crate::domain::visit::VisitState;

/// What a visit is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// The service itself.
    Treatment,
    /// The skin test that goes before it.
    SkinTest,
}

impl Purpose {
    /// The word that the database uses.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Treatment => "treatment",
            Self::SkinTest => "skin_test",
        }
    }
}

/// A visit.
#[derive(Debug, Clone)]
pub struct Visit {
    /// Its id.
    pub id: VisitId,
    /// What it is for.
    pub purpose: Purpose,
    /// Where it stands.
    pub state: VisitState,
    /// The service; of a skin test, the one that it is for.
    pub service: ServiceId,
    /// Who treats.
    pub practitioner: PractitionerId,
    /// Where.
    pub room: RoomId,
    /// Who comes, once it is booked.
    pub client: Option<ClientId>,
    /// The booking that it was held for.
    pub draft: Option<DraftId>,
    /// The skin-test visit that was booked with it.
    pub paired_test: Option<VisitId>,
    /// When it begins.
    pub starts_at: OffsetDateTime,
    /// When it ends.
    pub ends_at: OffsetDateTime,
    /// When practitioner and room are free again.
    pub busy_until: OffsetDateTime,
    /// What the studio's clock shows when it begins.
    pub civil: PrimitiveDateTime,
    /// The zone of that clock.
    pub zone: String,
    /// Until when it is held.
    pub hold_until: Option<OffsetDateTime>,
    /// The price in minor units.
    pub price_minor: u32,
    /// What the price is in.
    pub currency: String,
    /// How often it was changed, for calendars.
    pub sequence: u32,
}

struct Row {
    id: String,
    purpose: String,
    state: String,
    service_id: String,
    practitioner_id: String,
    room_id: String,
    client_id: Option<String>,
    draft_id: Option<String>,
    paired_test_id: Option<String>,
    starts_at: i64,
    ends_at: i64,
    busy_until: i64,
    civil_start: String,
    zone: String,
    hold_until: Option<i64>,
    price_minor: i64,
    currency: String,
    sequence: i64,
}

impl Row {
    fn visit(self) -> Stored<Visit> {
        let id = self.id.as_str();
        let purpose =
            [Purpose::Treatment, Purpose::SkinTest].into_iter().find(|purpose| purpose.as_str() == self.purpose);
        Ok(Visit {
            purpose: purpose.ok_or_else(|| impossible("visit", "purpose", id))?,
            state: VisitState::parse(&self.state).ok_or_else(|| impossible("visit", "state", id))?,
            service: read("visit", "service_id", id, ServiceId::parse(&self.service_id))?,
            practitioner: read("visit", "practitioner_id", id, PractitionerId::parse(&self.practitioner_id))?,
            room: read("visit", "room_id", id, RoomId::parse(&self.room_id))?,
            client: self.client_id.map(|text| read("visit", "client_id", id, ClientId::parse(&text))).transpose()?,
            draft: self.draft_id.map(|text| read("visit", "draft_id", id, DraftId::parse(&text))).transpose()?,
            paired_test: self
                .paired_test_id
                .map(|text| read("visit", "paired_test_id", id, VisitId::parse(&text)))
                .transpose()?,
            starts_at: instant("visit", "starts_at", id, self.starts_at)?,
            ends_at: instant("visit", "ends_at", id, self.ends_at)?,
            busy_until: instant("visit", "busy_until", id, self.busy_until)?,
            civil: civil("visit", "civil_start", id, &self.civil_start)?,
            hold_until: self.hold_until.map(|at| instant("visit", "hold_until", id, at)).transpose()?,
            price_minor: small("visit", "price_minor", id, self.price_minor)?,
            sequence: small("visit", "sequence", id, self.sequence)?,
            id: read("visit", "id", id, VisitId::parse(id))?,
            zone: self.zone,
            currency: self.currency,
        })
    }
}

macro_rules! visits {
    ($rest:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            Row,
            "SELECT id, purpose, state, service_id, practitioner_id, room_id, client_id, draft_id, paired_test_id, starts_at, ends_at,
                    busy_until, civil_start, zone, hold_until, price_minor, currency, sequence FROM visit " + $rest
            $(, $arg)*
        )
    };
}

fn all(rows: Vec<Row>) -> Stored<Vec<Visit>> {
    rows.into_iter().map(Row::visit).collect()
}

/// One visit.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &VisitId) -> Stored<Option<Visit>> {
    let id = id.as_str();
    visits!("WHERE id = ?", id).fetch_optional(c).await?.map(Row::visit).transpose()
}

/// The visits of a booking, the first one first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_draft(c: &mut Connection, draft: &DraftId) -> Stored<Vec<Visit>> {
    let draft = draft.as_str();
    all(visits!("WHERE draft_id = ? AND state <> 'hold_expired' ORDER BY starts_at, id", draft).fetch_all(c).await?)
}

/// All visits that were ever held for a booking, the last ones first.
///
/// # Errors
/// When the file can't be read.
pub async fn ever_of_draft(c: &mut Connection, draft: &DraftId) -> Stored<Vec<Visit>> {
    let draft = draft.as_str();
    all(visits!("WHERE draft_id = ? ORDER BY created_at DESC, rowid DESC", draft).fetch_all(c).await?)
}

/// All visits of a client, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<Visit>> {
    let client = client.as_str();
    all(visits!("WHERE client_id = ? ORDER BY starts_at DESC, id", client).fetch_all(c).await?)
}

/// All visits that begin in a span and are more than a hold, in order.
///
/// # Errors
/// When the file can't be read.
pub async fn between(c: &mut Connection, from: OffsetDateTime, to: OffsetDateTime) -> Stored<Vec<Visit>> {
    let (from, to) = (from.unix_timestamp(), to.unix_timestamp());
    let rows = visits!(
        "WHERE starts_at >= ? AND starts_at < ? AND state NOT IN ('held', 'hold_expired') ORDER BY starts_at, id",
        from,
        to
    );
    all(rows.fetch_all(c).await?)
}

/// All visits that are still to begin, in order.
///
/// # Errors
/// When the file can't be read.
pub async fn ahead(c: &mut Connection, now: OffsetDateTime) -> Stored<Vec<Visit>> {
    let now = now.unix_timestamp();
    all(visits!("WHERE starts_at > ? AND state IN ('held', 'booked') ORDER BY starts_at, id", now).fetch_all(c).await?)
}

/// Whether a practitioner treats or has treated a client.
///
/// # Errors
/// When the file can't be read.
pub async fn treats(c: &mut Connection, practitioner: &PractitionerId, client: &ClientId) -> Stored<bool> {
    let (practitioner, client) = (practitioner.as_str(), client.as_str());
    let row = sqlx::query_scalar!(
        "SELECT 1 FROM visit WHERE client_id = ? AND practitioner_id = ?
           AND state IN ('booked', 'arrived', 'in_treatment', 'done') LIMIT 1",
        client,
        practitioner
    )
    .fetch_optional(c)
    .await?;
    Ok(row.is_some())
}

/// Who and where is taken when: (practitioner, room, from, to) in Unix seconds, in order of time. A hold past its end
/// takes nobody; `but` is left out, for a visit that is being moved.
///
/// # Errors
/// When the file can't be read.
pub async fn busy(
    c: &mut Connection,
    from: OffsetDateTime,
    to: OffsetDateTime,
    now: OffsetDateTime,
    but: Option<&VisitId>,
) -> Stored<Vec<(String, String, i64, i64)>> {
    // A visit lasts a day at most.
    let (from, to, now) = (from.unix_timestamp() - 86_400, to.unix_timestamp(), now.unix_timestamp());
    let but = but.map_or("", VisitId::as_str);
    let rows = sqlx::query!(
        "SELECT practitioner_id, room_id, starts_at, busy_until FROM visit
         WHERE starts_at > ? AND starts_at < ? AND id <> ?
           AND (state IN ('booked', 'arrived', 'in_treatment', 'done') OR (state = 'held' AND hold_until > ?))
         ORDER BY starts_at",
        from,
        to,
        but,
        now
    )
    .fetch_all(c)
    .await?;
    Ok(rows.into_iter().map(|row| (row.practitioner_id, row.room_id, row.starts_at, row.busy_until)).collect())
}

/// Adds a visit. An overlap is an error whose [`super::StoreError::is_overlap`] is true.
///
/// # Errors
/// On an overlap, or when the file can't be written.
pub async fn insert(c: &mut Connection, v: &Visit, now: OffsetDateTime) -> Stored<()> {
    let (id, purpose, state) = (v.id.as_str(), v.purpose.as_str(), v.state.as_str());
    let (service, practitioner, room) = (v.service.as_str(), v.practitioner.as_str(), v.room.as_str());
    let (client, draft) = (v.client.as_ref().map(ClientId::as_str), v.draft.as_ref().map(DraftId::as_str));
    let paired = v.paired_test.as_ref().map(VisitId::as_str);
    let (starts, ends, busy) =
        (v.starts_at.unix_timestamp(), v.ends_at.unix_timestamp(), v.busy_until.unix_timestamp());
    let (civil, hold, now) =
        (civil_text(v.civil), v.hold_until.map(OffsetDateTime::unix_timestamp), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO visit (id, purpose, state, service_id, practitioner_id, room_id, client_id, draft_id, paired_test_id, starts_at,
            ends_at, busy_until, civil_start, zone, hold_until, price_minor, currency, sequence, created_at, changed_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        purpose,
        state,
        service,
        practitioner,
        room,
        client,
        draft,
        paired,
        starts,
        ends,
        busy,
        civil,
        v.zone,
        hold,
        v.price_minor,
        v.currency,
        v.sequence,
        now,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Stores where a visit now stands: state, client, hold, times, practitioner and room.
///
/// # Errors
/// On an overlap, or when the file can't be written.
pub async fn update(c: &mut Connection, v: &Visit, now: OffsetDateTime) -> Stored<()> {
    let (id, state, client) = (v.id.as_str(), v.state.as_str(), v.client.as_ref().map(ClientId::as_str));
    let (practitioner, room) = (v.practitioner.as_str(), v.room.as_str());
    let test = v.paired_test.as_ref().map(VisitId::as_str);
    let (starts, ends, busy) =
        (v.starts_at.unix_timestamp(), v.ends_at.unix_timestamp(), v.busy_until.unix_timestamp());
    let (civil, hold, now) =
        (civil_text(v.civil), v.hold_until.map(OffsetDateTime::unix_timestamp), now.unix_timestamp());
    sqlx::query!(
        "UPDATE visit SET state = ?, client_id = ?, practitioner_id = ?, room_id = ?, starts_at = ?, ends_at = ?, busy_until = ?,
            civil_start = ?, zone = ?, hold_until = ?, paired_test_id = ?, sequence = ?, changed_at = ? WHERE id = ?",
        state,
        client,
        practitioner,
        room,
        starts,
        ends,
        busy,
        civil,
        v.zone,
        hold,
        test,
        v.sequence,
        now,
        id
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Notes that a visit was given up after the studio's limit.
///
/// # Errors
/// When the file can't be written.
pub async fn mark_late(c: &mut Connection, id: &VisitId) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("UPDATE visit SET late = 1 WHERE id = ?", id).execute(c).await?;
    Ok(())
}

/// How often a client gave a visit up after the limit, and how often she didn't come.
///
/// # Errors
/// When the file can't be read.
pub async fn missed(c: &mut Connection, client: &ClientId) -> Stored<(i64, i64)> {
    let client = client.as_str();
    let row = sqlx::query!(
        r#"SELECT count(*) FILTER (WHERE late = 1) AS "late!: i64", count(*) FILTER (WHERE state = 'no_show') AS "missed!: i64"
           FROM visit WHERE client_id = ?"#,
        client
    )
    .fetch_one(c)
    .await?;
    Ok((row.late, row.missed))
}

/// What is held in a stretch while somebody fills forms or may claim it: (practitioner, room, from, to).
///
/// # Errors
/// When the file can't be read.
pub async fn holds(
    c: &mut Connection,
    from: OffsetDateTime,
    to: OffsetDateTime,
    now: OffsetDateTime,
) -> Stored<Vec<(String, String, i64, i64)>> {
    let (from, to, now) = (from.unix_timestamp(), to.unix_timestamp(), now.unix_timestamp());
    let rows = sqlx::query!(
        "SELECT practitioner_id, room_id, starts_at, busy_until FROM visit
         WHERE starts_at >= ? AND starts_at < ? AND state = 'held' AND hold_until > ? ORDER BY starts_at",
        from,
        to,
        now
    );
    let rows = rows.fetch_all(c).await?;
    Ok(rows.into_iter().map(|row| (row.practitioner_id, row.room_id, row.starts_at, row.busy_until)).collect())
}

/// Marks every hold past its end, so that its time can be taken.
///
/// # Errors
/// When the file can't be written.
pub async fn expire_holds(c: &mut Connection, now: OffsetDateTime) -> Stored<()> {
    let now = now.unix_timestamp();
    sqlx::query!("UPDATE visit SET state = 'hold_expired', hold_until = NULL, changed_at = ?1 WHERE state = 'held' AND hold_until <= ?1", now)
        .execute(c)
        .await?;
    Ok(())
}

/// Deletes holds that ran out and were never booked, once nobody goes on with what they were held for.
///
/// # Errors
/// When the file can't be written.
pub async fn sweep(c: &mut Connection, untouched_since: OffsetDateTime) -> Stored<()> {
    let since = untouched_since.unix_timestamp();
    sqlx::query!(
        "DELETE FROM visit WHERE state = 'hold_expired' AND changed_at < ?1
           AND NOT EXISTS (SELECT 1 FROM draft d WHERE d.id = visit.draft_id AND d.touched_at >= ?1)",
        since
    )
    .execute(c)
    .await?;
    Ok(())
}
