//! The studio's own row.

use time::OffsetDateTime;

use super::types::{impossible, small};
use super::{Connection, Stored};
use crate::domain::accent::Colour;
use crate::domain::age::{AgePolicy, Jurisdiction, Under16};
use crate::domain::money::Currency;
use crate::domain::person::HomeDial;
use crate::domain::zone::Zone;
use crate::language::Language;

/// Everything that the owner sets for the whole house.
#[derive(Debug, Clone)]
pub struct Studio {
    /// Its name.
    pub name: String,
    /// Where it is, in lines.
    pub address: String,
    /// How clients reach it.
    pub phone: String,
    /// How clients reach it.
    pub mail: String,
    /// Its time zone.
    pub zone: Zone,
    /// What its prices are in.
    pub currency: Currency,
    /// The country prefix for phone numbers typed without one, such as `+44`.
    pub home_dial: HomeDial,
    /// Which published chemistry rules apply.
    pub jurisdiction: Jurisdiction,
    /// What it does with clients under age.
    pub age_policy: AgePolicy,
    /// How long a chosen time is held, in minutes.
    pub hold_minutes: i64,
    /// How soon before its start a visit may be booked, in minutes.
    pub notice_minutes: i64,
    /// How far ahead may be booked, in days.
    pub horizon_days: i64,
    /// Starts fall on multiples of this many minutes.
    pub grid_minutes: i64,
    /// Until how many hours before her visit a client may move or cancel it.
    pub cancel_limit_hours: i64,
    /// How long a skin-test visit takes, in minutes.
    pub skin_test_minutes: i64,
    /// The fewest hours between a skin test and the treatment.
    pub skin_test_floor_hours: i64,
    /// For how many days a clear test holds.
    pub skin_test_valid_days: i64,
    /// Gaps shorter than so many minutes are avoided; 0 when the studio doesn't mind.
    pub shortest_gap_minutes: i64,
    /// For how many minutes an earlier time is kept for the client who was told of it.
    pub claim_minutes: i64,
    /// How many hours before her visit a client is reminded first; 0 for never.
    pub remind_first_hours: i64,
    /// How many hours before her visit a client is reminded again; 0 for never.
    pub remind_second_hours: i64,
    /// For how many days a client who was invited is left in peace.
    pub invite_again_days: i64,
    /// What clients read about cancelling late and not coming.
    pub late_policy: String,
    /// Whether everything here is invented.
    pub demo: bool,
    /// Its own colour, as the owner chose it.
    pub accent: Colour,
    /// What it speaks.
    pub language: Language,
    /// Its logo, if it has one.
    pub logo: Option<Logo>,
}

/// What a page has to know of a logo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Logo {
    /// The SHA-256 of its bytes, in hexadecimal digits.
    pub sha256: String,
    /// In pixels.
    pub width: i64,
    /// In pixels.
    pub height: i64,
}

/// The studio, once it is set up.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection) -> Stored<Option<Studio>> {
    let row = sqlx::query!(
        "SELECT studio.name, address, phone, mail, zone, currency, home_dial, jurisdiction, under_16, guardian_under_18,
                hold_minutes, notice_minutes, horizon_days, grid_minutes, cancel_limit_hours, skin_test_minutes, skin_test_floor_hours, skin_test_valid_days,
                shortest_gap_minutes, claim_minutes, remind_first_hours, remind_second_hours, invite_again_days, late_policy, demo,
                accent, language, sha256 AS \"sha256?\", width AS \"width?\", height AS \"height?\"
         FROM studio LEFT JOIN logo ON logo.id = studio.id WHERE studio.id = 1"
    )
    .fetch_optional(c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Studio {
        zone: Zone::parse(&row.zone).map_err(|_| impossible("studio", "zone", "1"))?,
        currency: Currency::parse(&row.currency).map_err(|_| impossible("studio", "currency", "1"))?,
        name: row.name,
        address: row.address,
        phone: row.phone,
        mail: row.mail,
        home_dial: HomeDial::parse(&row.home_dial).map_err(|_| impossible("studio", "home_dial", "1"))?,
        jurisdiction: Jurisdiction::parse(&row.jurisdiction)
            .ok_or_else(|| impossible("studio", "jurisdiction", "1"))?,
        age_policy: AgePolicy {
            under_16: Under16::parse(&row.under_16).ok_or_else(|| impossible("studio", "under_16", "1"))?,
            guardian_under_18: row.guardian_under_18 == 1,
        },
        hold_minutes: row.hold_minutes,
        notice_minutes: row.notice_minutes,
        horizon_days: row.horizon_days,
        grid_minutes: row.grid_minutes,
        cancel_limit_hours: row.cancel_limit_hours,
        skin_test_minutes: row.skin_test_minutes,
        skin_test_floor_hours: row.skin_test_floor_hours,
        skin_test_valid_days: row.skin_test_valid_days,
        shortest_gap_minutes: row.shortest_gap_minutes,
        claim_minutes: row.claim_minutes,
        remind_first_hours: row.remind_first_hours,
        remind_second_hours: row.remind_second_hours,
        invite_again_days: row.invite_again_days,
        late_policy: row.late_policy,
        demo: small::<u8>("studio", "demo", "1", row.demo)? == 1,
        accent: Colour::parse(&row.accent).map_err(|_| impossible("studio", "accent", "1"))?,
        language: Language::parse(&row.language).ok_or_else(|| impossible("studio", "language", "1"))?,
        logo: match (row.sha256, row.width, row.height) {
            (Some(sha256), Some(width), Some(height)) => Some(Logo { sha256, width, height }),
            _ => None,
        },
    }))
}

/// Makes the one row, with every other setting at its default.
///
/// # Errors
/// When there is one already, or the file can't be written.
pub async fn create(
    c: &mut Connection,
    name: &str,
    zone: &Zone,
    currency: &Currency,
    language: Language,
    demo: bool,
    now: OffsetDateTime,
) -> Stored<()> {
    let (zone, currency, language, now) = (zone.name(), currency.as_str(), language.code(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO studio (id, name, zone, currency, language, demo, created_at) VALUES (1, ?, ?, ?, ?, ?, ?)",
        name,
        zone,
        currency,
        language,
        demo,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Stores the settings.
///
/// # Errors
/// When a value is outside the range that the schema allows, or the file can't be written.
pub async fn save(c: &mut Connection, s: &Studio) -> Stored<()> {
    let (zone, currency, home_dial, language) =
        (s.zone.name(), s.currency.as_str(), s.home_dial.digits(), s.language.code());
    let (jurisdiction, under_16, accent) =
        (s.jurisdiction.as_str(), s.age_policy.under_16.as_str(), s.accent.to_string());
    sqlx::query!(
        "UPDATE studio SET name = ?, address = ?, phone = ?, mail = ?, zone = ?, currency = ?, home_dial = ?, jurisdiction = ?,
            under_16 = ?, guardian_under_18 = ?,
            hold_minutes = ?, notice_minutes = ?, horizon_days = ?, grid_minutes = ?, cancel_limit_hours = ?,
            skin_test_minutes = ?, skin_test_floor_hours = ?, skin_test_valid_days = ?, shortest_gap_minutes = ?, claim_minutes = ?,
            remind_first_hours = ?, remind_second_hours = ?, invite_again_days = ?, late_policy = ?, accent = ?, language = ? WHERE id = 1",
        s.name,
        s.address,
        s.phone,
        s.mail,
        zone,
        currency,
        home_dial,
        jurisdiction,
        under_16,
        s.age_policy.guardian_under_18,
        s.hold_minutes,
        s.notice_minutes,
        s.horizon_days,
        s.grid_minutes,
        s.cancel_limit_hours,
        s.skin_test_minutes,
        s.skin_test_floor_hours,
        s.skin_test_valid_days,
        s.shortest_gap_minutes,
        s.claim_minutes,
        s.remind_first_hours,
        s.remind_second_hours,
        s.invite_again_days,
        s.late_policy,
        accent,
        language
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Stores the logo in the place of the one before.
///
/// # Errors
/// When it is larger than the schema allows, or the file can't be written.
pub async fn set_logo(c: &mut Connection, logo: &Logo, body: &[u8]) -> Stored<()> {
    sqlx::query!(
        "INSERT OR REPLACE INTO logo (id, sha256, width, height, body) VALUES (1, ?, ?, ?, ?)",
        logo.sha256,
        logo.width,
        logo.height,
        body
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Takes the logo away.
///
/// # Errors
/// When the file can't be written.
pub async fn remove_logo(c: &mut Connection) -> Stored<()> {
    sqlx::query!("DELETE FROM logo").execute(c).await?;
    Ok(())
}

/// The bytes of the logo, a JPEG.
///
/// # Errors
/// When the file can't be read.
pub async fn logo(c: &mut Connection) -> Stored<Option<Vec<u8>>> {
    Ok(sqlx::query_scalar!("SELECT body FROM logo").fetch_optional(c).await?)
}

/// The version of the zone database that the visits' instants go by; empty before there was one.
///
/// # Errors
/// When the file can't be read.
pub async fn zone_database(c: &mut Connection) -> Stored<String> {
    Ok(sqlx::query_scalar!("SELECT zone_database FROM studio WHERE id = 1").fetch_one(c).await?)
}

/// Another version is in use.
///
/// # Errors
/// When the file can't be written.
pub async fn set_zone_database(c: &mut Connection, version: &str) -> Stored<()> {
    sqlx::query!("UPDATE studio SET zone_database = ? WHERE id = 1", version).execute(c).await?;
    Ok(())
}

/// How many visits are booked from now on.
///
/// # Errors
/// When the file can't be read.
pub async fn booked_ahead(c: &mut Connection, now: OffsetDateTime) -> Stored<i64> {
    let now = now.unix_timestamp();
    Ok(sqlx::query_scalar!("SELECT count(*) FROM visit WHERE starts_at > ? AND state = 'booked'", now)
        .fetch_one(c)
        .await?)
}

/// When the studio was set up; the start of time while it isn't.
///
/// # Errors
/// When the file can't be read.
pub async fn set_up_at(c: &mut Connection) -> Stored<OffsetDateTime> {
    let at = sqlx::query_scalar!("SELECT created_at FROM studio WHERE id = 1").fetch_optional(c).await?;
    super::types::instant("studio", "created_at", "1", at.unwrap_or(0))
}
