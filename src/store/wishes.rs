//! Wishes for earlier times, and the times that are kept for them.

use time::OffsetDateTime;

use super::types::{day, day_text, impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, OfferId, VisitId, WishId};
use crate::domain::wish::Suits;

/// A client would rather come earlier.
#[derive(Debug, Clone)]
pub struct Wish {
    /// Its id.
    pub id: WishId,
    /// Who.
    pub client: ClientId,
    /// The visit that she would move.
    pub visit: VisitId,
    /// What would suit her.
    pub suits: Suits,
}

struct Row {
    id: String,
    client_id: String,
    visit_id: String,
    from_day: String,
    weekdays: i64,
    parts: i64,
}

impl Row {
    fn wish(self) -> Stored<Wish> {
        let id = &self.id;
        let from = day("wish", "from_day", id, &self.from_day)?;
        let (weekdays, parts) =
            (small("wish", "weekdays", id, self.weekdays)?, small("wish", "parts", id, self.parts)?);
        Ok(Wish {
            client: read("wish", "client_id", id, ClientId::parse(&self.client_id))?,
            visit: read("wish", "visit_id", id, VisitId::parse(&self.visit_id))?,
            suits: read("wish", "weekdays", id, Suits::from_bits(from, weekdays, parts))?,
            id: read("wish", "id", id, WishId::parse(id))?,
        })
    }
}

macro_rules! wishes {
    ($rest:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(Row, "SELECT id, client_id, visit_id, from_day, weekdays, parts FROM wish " + $rest $(, $arg)*)
    };
}

/// Those that wait and for which no time is kept just now, the oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn waiting(c: &mut Connection) -> Stored<Vec<Wish>> {
    let rows = wishes!(
        "WHERE state = 'open' AND NOT EXISTS (SELECT 1 FROM offer o WHERE o.wish_id = wish.id AND o.state = 'open')
         ORDER BY created_at, rowid"
    );
    rows.fetch_all(c).await?.into_iter().map(Row::wish).collect()
}

/// The open wish about a visit.
///
/// # Errors
/// When the file can't be read.
pub async fn of_visit(c: &mut Connection, visit: &VisitId) -> Stored<Option<Wish>> {
    let visit = visit.as_str();
    wishes!("WHERE visit_id = ? AND state = 'open'", visit).fetch_optional(c).await?.map(Row::wish).transpose()
}

/// An open wish.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &WishId) -> Stored<Option<Wish>> {
    let id = id.as_str();
    wishes!("WHERE id = ? AND state = 'open'", id).fetch_optional(c).await?.map(Row::wish).transpose()
}

/// Adds a wish.
///
/// # Errors
/// When there is one for the visit, or the file can't be written.
pub async fn insert(c: &mut Connection, w: &Wish, now: OffsetDateTime) -> Stored<()> {
    let (id, client, visit, now) = (w.id.as_str(), w.client.as_str(), w.visit.as_str(), now.unix_timestamp());
    let (from, (weekdays, parts)) = (day_text(w.suits.from()), w.suits.bits());
    sqlx::query!(
        "INSERT INTO wish (id, client_id, visit_id, from_day, weekdays, parts, created_at) VALUES (?, ?, ?, ?, ?, ?, ?)",
        id,
        client,
        visit,
        from,
        weekdays,
        parts,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// What suits has changed; its place in the order stays.
///
/// # Errors
/// When the file can't be written.
pub async fn update(c: &mut Connection, id: &WishId, suits: Suits) -> Stored<()> {
    let (id, from, (weekdays, parts)) = (id.as_str(), day_text(suits.from()), suits.bits());
    sqlx::query!("UPDATE wish SET from_day = ?, weekdays = ?, parts = ? WHERE id = ?", from, weekdays, parts, id)
        .execute(c)
        .await?;
    Ok(())
}

/// A wish waits no longer.
///
/// # Errors
/// When the file can't be written.
pub async fn end(c: &mut Connection, id: &WishId, fulfilled: bool) -> Stored<()> {
    let (id, state) = (id.as_str(), if fulfilled { "fulfilled" } else { "ended" });
    sqlx::query!("UPDATE wish SET state = ? WHERE id = ?", state, id).execute(c).await?;
    Ok(())
}

/// What became of a kept time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OfferState {
    /// It can be claimed.
    Open,
    /// She took it.
    Claimed,
    /// She let it go.
    Declined,
    /// The limit passed.
    Lapsed,
}

impl OfferState {
    const ALL: [Self; 4] = [Self::Open, Self::Claimed, Self::Declined, Self::Lapsed];

    fn as_str(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Claimed => "claimed",
            Self::Declined => "declined",
            Self::Lapsed => "lapsed",
        }
    }
}

/// A stretch of time that has opened.
#[derive(Debug, Clone)]
pub struct Opening {
    /// Its name, the same however often it is passed on.
    pub id: String,
    /// From when.
    pub from: OffsetDateTime,
    /// Until when.
    pub until: OffsetDateTime,
}

/// A time that is kept for a wish.
#[derive(Debug, Clone)]
pub struct Offer {
    /// Its id.
    pub id: OfferId,
    /// For which wish.
    pub wish: WishId,
    /// The held visit that keeps it.
    pub held: VisitId,
    /// What became of it.
    pub state: OfferState,
    /// What opened.
    pub opening: Opening,
    /// Until when it can be claimed.
    pub expires_at: OffsetDateTime,
}

struct OfferRow {
    id: String,
    wish_id: String,
    held_id: String,
    state: String,
    opening: String,
    opened_from: i64,
    opened_until: i64,
    expires_at: i64,
}

impl OfferRow {
    fn offer(self) -> Stored<Offer> {
        let id = &self.id;
        let state = OfferState::ALL.into_iter().find(|state| state.as_str() == self.state);
        Ok(Offer {
            wish: read("offer", "wish_id", id, WishId::parse(&self.wish_id))?,
            held: read("offer", "held_id", id, VisitId::parse(&self.held_id))?,
            state: state.ok_or_else(|| impossible("offer", "state", id))?,
            opening: Opening {
                id: self.opening,
                from: instant("offer", "opened_from", id, self.opened_from)?,
                until: instant("offer", "opened_until", id, self.opened_until)?,
            },
            expires_at: instant("offer", "expires_at", id, self.expires_at)?,
            id: read("offer", "id", id, OfferId::parse(id))?,
        })
    }
}

macro_rules! offers {
    ($rest:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            OfferRow,
            "SELECT id, wish_id, held_id, state, opening, opened_from, opened_until, expires_at FROM offer " + $rest
            $(, $arg)*
        )
    };
}

/// One offer.
///
/// # Errors
/// When the file can't be read.
pub async fn offer(c: &mut Connection, id: &OfferId) -> Stored<Option<Offer>> {
    let id = id.as_str();
    offers!("WHERE id = ?", id).fetch_optional(c).await?.map(OfferRow::offer).transpose()
}

/// The offer whose link carries this token.
///
/// # Errors
/// When the file can't be read.
pub async fn offer_by_token(c: &mut Connection, token_hash: &str) -> Stored<Option<Offer>> {
    offers!("WHERE token_hash = ?", token_hash).fetch_optional(c).await?.map(OfferRow::offer).transpose()
}

/// What is kept for a wish just now.
///
/// # Errors
/// When the file can't be read.
pub async fn kept_for(c: &mut Connection, wish: &WishId) -> Stored<Option<Offer>> {
    let wish = wish.as_str();
    offers!("WHERE wish_id = ? AND state = 'open'", wish).fetch_optional(c).await?.map(OfferRow::offer).transpose()
}

/// Offers whose limit has passed, the oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn past_limit(c: &mut Connection, now: OffsetDateTime) -> Stored<Vec<Offer>> {
    let now = now.unix_timestamp();
    let rows = offers!("WHERE state = 'open' AND expires_at <= ? ORDER BY expires_at, id", now).fetch_all(c).await?;
    rows.into_iter().map(OfferRow::offer).collect()
}

/// Whether a wish was asked about an opening.
///
/// # Errors
/// When the file can't be read.
pub async fn was_asked(c: &mut Connection, wish: &WishId, opening: &str) -> Stored<bool> {
    let wish = wish.as_str();
    let row = sqlx::query_scalar!("SELECT 1 FROM offer WHERE wish_id = ? AND opening = ?", wish, opening);
    Ok(row.fetch_optional(c).await?.is_some())
}

/// Adds an offer.
///
/// # Errors
/// When the wish has one, or the file can't be written.
pub async fn add_offer(c: &mut Connection, o: &Offer, now: OffsetDateTime) -> Stored<()> {
    let (id, wish, held, state) = (o.id.as_str(), o.wish.as_str(), o.held.as_str(), o.state.as_str());
    let (from, until) = (o.opening.from.unix_timestamp(), o.opening.until.unix_timestamp());
    let (expires, now) = (o.expires_at.unix_timestamp(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO offer (id, wish_id, held_id, state, opening, opened_from, opened_until, expires_at, created_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        wish,
        held,
        state,
        o.opening.id,
        from,
        until,
        expires,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Gives an offer the token of its link.
///
/// # Errors
/// When the file can't be written.
pub async fn set_token(c: &mut Connection, id: &OfferId, token_hash: &str) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("UPDATE offer SET token_hash = ? WHERE id = ?", token_hash, id).execute(c).await?;
    Ok(())
}

/// What has become of an offer.
///
/// # Errors
/// When the file can't be written.
pub async fn set_offer_state(c: &mut Connection, id: &OfferId, state: OfferState) -> Stored<()> {
    let (id, state) = (id.as_str(), state.as_str());
    sqlx::query!("UPDATE offer SET state = ? WHERE id = ?", state, id).execute(c).await?;
    Ok(())
}
