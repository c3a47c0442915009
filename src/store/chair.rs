//! What was checked, measured and pressed at the chair. Nothing of it is ever changed.

use time::OffsetDateTime;

use super::types::{impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{ChairEventId, ClientId, ProductId, VisitId};
use crate::domain::shield::{AlongLid, Effect};
use crate::domain::steps::{Plan, Trait};
use crate::domain::timing::{Event, Press, Side};

/// What was looked at before a treatment.
#[derive(Debug, Clone)]
pub struct Check {
    /// What was ticked of the day's list, in its words.
    pub on_the_day: Vec<String>,
    /// What was ticked of the hygiene list.
    pub hygiene: Vec<String>,
    /// How her lashes are.
    pub traits: Vec<Trait>,
    /// The steps as they stood then.
    pub plan: Plan,
    /// By whom.
    pub by: String,
    /// When.
    pub at: OffsetDateTime,
}

const CHECK: &str = "visit_check";

/// What was looked at before this visit's treatment.
///
/// # Errors
/// When the file can't be read.
pub async fn check(c: &mut Connection, visit: &VisitId) -> Stored<Option<Check>> {
    let id = visit.as_str();
    let row = sqlx::query!(
        "SELECT on_the_day, hygiene, traits, steps, checked_by, checked_at FROM visit_check WHERE visit_id = ?",
        id
    )
    .fetch_optional(&mut *c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let key = c.opener_of_visit(id).await?;
    let on_the_day = key.text(CHECK, "on_the_day", id, &row.on_the_day)?;
    let traits = key.text(CHECK, "traits", id, &row.traits)?;
    Ok(Some(Check {
        on_the_day: read(CHECK, "on_the_day", id, serde_json::from_str(&on_the_day))?,
        hygiene: read(CHECK, "hygiene", id, serde_json::from_str(&row.hygiene))?,
        traits: read(CHECK, "traits", id, serde_json::from_str(&traits))?,
        plan: read(CHECK, "steps", id, serde_json::from_str(&row.steps))?,
        by: row.checked_by,
        at: instant(CHECK, "checked_at", id, row.checked_at)?,
    }))
}

/// Stores what was looked at.
///
/// # Errors
/// When it is there already, or the file can't be written.
pub async fn add_check(c: &mut Connection, visit: &VisitId, check: &Check) -> Stored<()> {
    let (id, at) = (visit.as_str(), check.at.unix_timestamp());
    let json = |column, written: serde_json::Result<String>| written.map_err(|_| impossible(CHECK, column, id));
    let key = c.sealer_of_visit(id).await?;
    let on_the_day = json("on_the_day", serde_json::to_string(&check.on_the_day))?;
    let on_the_day = key.text(CHECK, "on_the_day", id, &on_the_day)?;
    let hygiene = json("hygiene", serde_json::to_string(&check.hygiene))?;
    let traits = json("traits", serde_json::to_string(&check.traits))?;
    let traits = key.text(CHECK, "traits", id, &traits)?;
    let steps = json("steps", serde_json::to_string(&check.plan))?;
    sqlx::query!(
        "INSERT INTO visit_check (visit_id, on_the_day, hygiene, traits, steps, checked_by, checked_at)
         VALUES (?, ?, ?, ?, ?, ?, ?)",
        id,
        on_the_day,
        hygiene,
        traits,
        steps,
        check.by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Measured lashes, and the shield that was used for them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measured {
    /// Lengths in tenths of a millimetre, each 10 to 200.
    pub tenths: AlongLid<u16>,
    /// How strong a lift she would like.
    pub effect: Effect,
    /// Which shield was used; empty until one is.
    pub used: String,
}

/// What was measured last: at this visit, or for this client at any visit before.
///
/// # Errors
/// When the file can't be read.
pub async fn measured(c: &mut Connection, client: &ClientId, visit: Option<&VisitId>) -> Stored<Option<Measured>> {
    let (client, visit) = (client.as_str(), visit.map_or("", VisitId::as_str));
    let row = sqlx::query!(
        "SELECT s.id, s.inner_len, s.middle_len, s.outer_len, s.effect, s.used FROM visit_shield s
         JOIN visit v ON v.id = s.visit_id
         WHERE v.client_id = ?1 AND (?2 = '' OR s.visit_id = ?2) ORDER BY s.id DESC LIMIT 1",
        client,
        visit
    )
    .fetch_optional(c)
    .await?;
    row.map(|row| {
        let id = &row.id.to_string();
        let length = |column, tenths| small("visit_shield", column, id, tenths);
        Ok(Measured {
            tenths: AlongLid {
                inner: length("inner_len", row.inner_len)?,
                middle: length("middle_len", row.middle_len)?,
                outer: length("outer_len", row.outer_len)?,
            },
            effect: Effect::parse(&row.effect).ok_or_else(|| impossible("visit_shield", "effect", id))?,
            used: row.used,
        })
    })
    .transpose()
}

/// Stores what was measured or used.
///
/// # Errors
/// When the file can't be written.
pub async fn add_measured(
    c: &mut Connection,
    visit: &VisitId,
    m: &Measured,
    by: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, effect, now) = (visit.as_str(), m.effect.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO visit_shield (visit_id, inner_len, middle_len, outer_len, effect, used, written_by, written_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        m.tenths.inner,
        m.tenths.middle,
        m.tenths.outer,
        effect,
        m.used,
        by,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// A press with how it came here.
#[derive(Debug, Clone)]
pub struct Pressed {
    /// The press, on the clock of the device.
    pub event: Event,
    /// How many seconds the device's clock was before the studio's.
    pub ahead: i64,
    /// Who was signed in.
    pub by: String,
    /// When it came.
    pub received_at: OffsetDateTime,
}

/// Every press of a visit.
///
/// # Errors
/// When the file can't be read.
pub async fn pressed(c: &mut Connection, visit: &VisitId) -> Stored<Vec<Pressed>> {
    let key = visit.as_str();
    let rows = sqlx::query!(
        "SELECT id, kind, step, side, at, seconds, taken_back, ahead, pressed_by, received_at FROM chair_event
         WHERE visit_id = ? ORDER BY at, id",
        key
    )
    .fetch_all(c)
    .await?;
    const TABLE: &str = "chair_event";
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let seconds = row.seconds.map(|seconds| small(TABLE, "seconds", id, seconds)).transpose()?;
            let slip =
                row.taken_back.map(|slip| read(TABLE, "taken_back", id, ChairEventId::parse(&slip))).transpose()?;
            let press = match (row.kind.as_str(), seconds, slip) {
                ("on", Some(seconds), _) => Press::On(seconds),
                ("set", Some(seconds), _) => Press::Set(seconds),
                ("off", ..) => Press::Off,
                ("take_back", _, Some(slip)) => Press::TakeBack(slip),
                _ => return Err(impossible(TABLE, "kind", id)),
            };
            let event = Event {
                id: read(TABLE, "id", id, ChairEventId::parse(id))?,
                press,
                step: small(TABLE, "step", id, row.step)?,
                side: Side::parse(&row.side).ok_or_else(|| impossible(TABLE, "side", id))?,
                at: instant(TABLE, "at", id, row.at)?,
            };
            let received_at = instant(TABLE, "received_at", id, row.received_at)?;
            Ok(Pressed { event, ahead: row.ahead, by: row.pressed_by, received_at })
        })
        .collect()
}

/// Stores a press unless its id is there already; tells whether it was new.
///
/// # Errors
/// When the file can't be written.
pub async fn add_pressed(c: &mut Connection, visit: &VisitId, pressed: &Pressed) -> Stored<bool> {
    let event = &pressed.event;
    let (kind, seconds, slip) = match &event.press {
        Press::On(seconds) => ("on", Some(*seconds), None),
        Press::Set(seconds) => ("set", Some(*seconds), None),
        Press::Off => ("off", None, None),
        Press::TakeBack(slip) => ("take_back", None, Some(slip.as_str())),
    };
    let (id, visit, side) = (event.id.as_str(), visit.as_str(), event.side.as_str());
    let (at, received) = (event.at.unix_timestamp(), pressed.received_at.unix_timestamp());
    let done = sqlx::query!(
        "INSERT INTO chair_event (id, visit_id, kind, step, side, at, seconds, taken_back, ahead, pressed_by, received_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO NOTHING",
        id,
        visit,
        kind,
        event.step,
        side,
        at,
        seconds,
        slip,
        pressed.ahead,
        pressed.by,
        received
    )
    .execute(c)
    .await?;
    Ok(done.rows_affected() > 0)
}

/// The bottles that were checked at the chair, in that order: product and batch.
///
/// # Errors
/// When the file can't be read.
pub async fn bottles(c: &mut Connection, visit: &VisitId) -> Stored<Vec<(ProductId, String)>> {
    let key = visit.as_str();
    let rows = sqlx::query!(
        "SELECT product_id, number FROM chair_batch WHERE visit_id = ? ORDER BY checked_at, product_id, number",
        key
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| Ok((read("chair_batch", "product_id", key, ProductId::parse(&row.product_id))?, row.number)))
        .collect()
}

/// Stores that a bottle is taken. One of the same product may have run out before it.
///
/// # Errors
/// When the file can't be written.
pub async fn take_bottle(
    c: &mut Connection,
    visit: &VisitId,
    (product, number): (&ProductId, &str),
    by: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let (visit, product, now) = (visit.as_str(), product.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO chair_batch (visit_id, product_id, number, checked_by, checked_at) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (visit_id, product_id, number) DO NOTHING",
        visit,
        product,
        number,
        by,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}
