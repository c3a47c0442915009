//! The studio's settings, its closed days and its rooms.

use time::{Date, OffsetDateTime};

use super::rules;
use crate::app::App;
use crate::documents::upload::{self, Checked};
use crate::domain::fingerprint::Fingerprint;
use crate::domain::hours::DateRange;
use crate::domain::ids::{PractitionerId, RoomId, TimeOffId};
use crate::domain::money::Money;
use crate::domain::role::Actor;
use crate::language::Language;
use crate::store::audit::Event;
use crate::store::practitioners::{self, Room, TimeOff};
use crate::store::studio::{Logo, Studio};
use crate::store::{Connection, Stored, audit, catalogue, studio};

/// Why settings are not taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SettingsRefused {
    /// The new currency has no coins for the price of this service.
    Price {
        /// What the service is called.
        service: String,
    },
}

/// Stores the settings. In another language, what ships is published anew. Another currency leaves every price its figure;
/// booked visits keep the price and the clock time that were promised.
///
/// # Errors
/// When the database can't.
pub async fn save(app: &App, actor: &Actor, new: &Studio) -> Stored<Result<(), SettingsRefused>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let old = studio::get(&mut tx).await?;
    if let Some(old) = old.as_ref().filter(|old| old.currency != new.currency) {
        for service in catalogue::services(&mut tx).await? {
            let price = Money::of(service.price_minor, old.currency.clone()).same_figure(new.currency.clone());
            let Ok(price) = price else { return Ok(Err(SettingsRefused::Price { service: service.name })) };
            catalogue::set_price(&mut tx, &service.id, price.minor()).await?;
        }
    }
    studio::save(&mut tx, new).await?;
    let detail = old.as_ref().map(|old| changes(old, new)).unwrap_or_default();
    audit::append(&mut tx, actor, Event { action: "studio.saved", detail: &detail, ..Event::default() }, now).await?;
    if let Some(old) = old.filter(|old| old.language != new.language) {
        rules::speak(&mut tx, actor, old.language, new.language, now).await?;
    }
    tx.commit().await?;
    Ok(Ok(()))
}

/// What the studio speaks; English while there is none, or none can be read.
pub async fn language(app: &App) -> Language {
    let row = async { studio::get(&mut *app.db.read().await?).await };
    row.await.ok().flatten().map(|studio| studio.language).unwrap_or_default()
}

/// Shows this picture at the top of each page.
///
/// # Errors
/// When the database can't.
pub async fn set_logo(app: &App, actor: &Actor, picture: &Checked) -> Stored<()> {
    let now = app.clock.now();
    let (width, height) = upload::size(&picture.bytes).unwrap_or((1, 1));
    let logo = Logo { sha256: Fingerprint::of(&picture.bytes).to_string(), width: width.into(), height: height.into() };
    let mut tx = app.db.write().await?;
    studio::set_logo(&mut tx, &logo, &picture.bytes).await?;
    let detail = format!("SHA-256 {}", logo.sha256);
    audit::append(&mut tx, actor, Event { action: "logo.saved", detail: &detail, ..Event::default() }, now).await?;
    tx.commit().await
}

/// Takes the logo away.
///
/// # Errors
/// When the database can't.
pub async fn remove_logo(app: &App, actor: &Actor) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    studio::remove_logo(&mut tx).await?;
    audit::append(&mut tx, actor, Event { action: "logo.removed", ..Event::default() }, now).await?;
    tx.commit().await
}

fn changes(old: &Studio, new: &Studio) -> String {
    let of = |s: &Studio| {
        [
            ("name", s.name.clone()),
            ("address", s.address.replace('\n', ", ")),
            ("phone", s.phone.clone()),
            ("mail", s.mail.clone()),
            ("time zone", s.zone.name().to_owned()),
            ("currency", s.currency.as_str().to_owned()),
            ("country code", s.home_dial.digits().to_owned()),
            ("rules", s.jurisdiction.as_str().to_owned()),
            ("under 16", s.age_policy.under_16.as_str().to_owned()),
            ("guardian signs under 18", s.age_policy.guardian_under_18.to_string()),
            ("hold minutes", s.hold_minutes.to_string()),
            ("notice minutes", s.notice_minutes.to_string()),
            ("days ahead", s.horizon_days.to_string()),
            ("grid minutes", s.grid_minutes.to_string()),
            ("cancel limit hours", s.cancel_limit_hours.to_string()),
            ("shortest gap minutes", s.shortest_gap_minutes.to_string()),
            ("claim minutes", s.claim_minutes.to_string()),
            ("first reminder hours", s.remind_first_hours.to_string()),
            ("second reminder hours", s.remind_second_hours.to_string()),
            ("days between invitations", s.invite_again_days.to_string()),
            ("late policy", s.late_policy.replace('\n', " ")),
            ("skin test minutes", s.skin_test_minutes.to_string()),
            ("skin test floor hours", s.skin_test_floor_hours.to_string()),
            ("skin test valid days", s.skin_test_valid_days.to_string()),
            ("colour", s.accent.to_string()),
            ("language", s.language.code().to_owned()),
        ]
    };
    let pairs = of(old).into_iter().zip(of(new)).filter(|(before, after)| before != after);
    pairs.map(|((what, before), (_, after))| format!("{what}: {before} → {after}")).collect::<Vec<_>>().join("; ")
}

/// Adds days off of somebody, or of the whole studio. What is booked on them stays booked.
///
/// # Errors
/// When the database can't.
pub async fn add_days_off(
    app: &App,
    actor: &Actor,
    practitioner: Option<PractitionerId>,
    days: DateRange,
    reason: String,
) -> Stored<()> {
    let now = app.clock.now();
    let id = TimeOffId::from_random(app.random.id());
    let off = TimeOff { id, practitioner, from: days.first(), to: days.last(), reason };
    let mut tx = app.db.write().await?;
    practitioners::add_time_off(&mut tx, &off).await?;
    audit_days_off(&mut tx, actor, "days-off.added", &off, now).await?;
    tx.commit().await
}

/// Takes days off back. `false` when they are gone already or have passed.
///
/// # Errors
/// When the database can't.
pub async fn remove_days_off(app: &App, actor: &Actor, id: &TimeOffId, today: Date) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let off = practitioners::time_off(&mut tx, today).await?.into_iter().find(|off| off.id == *id);
    let Some(off) = off else { return Ok(false) };
    practitioners::remove_time_off(&mut tx, id).await?;
    audit_days_off(&mut tx, actor, "days-off.removed", &off, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// Without the reason, which may tell of somebody's health.
async fn audit_days_off(
    c: &mut Connection,
    actor: &Actor,
    action: &'static str,
    off: &TimeOff,
    now: OffsetDateTime,
) -> Stored<()> {
    let who = match &off.practitioner {
        Some(id) => practitioners::get(c, id).await?.map(|p| p.name).unwrap_or_default(),
        None => "the studio".to_owned(),
    };
    let detail = format!("{who}: {} to {}", off.from, off.to);
    audit::append(c, actor, Event { action, object: off.id.as_str(), detail: &detail, ..Event::default() }, now).await
}

/// Adds a room, or changes it. `false` when there is none with this id.
///
/// # Errors
/// When the database can't.
pub async fn save_room(app: &App, actor: &Actor, id: Option<RoomId>, name: &str, active: bool) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (id, action) = match id {
        Some(id) if !practitioners::rooms(&mut tx).await?.iter().any(|room| room.id == id) => return Ok(false),
        Some(id) => (id, "room.saved"),
        None => (RoomId::from_random(app.random.id()), "room.added"),
    };
    let room = Room { id, name: name.to_owned(), active };
    practitioners::save_room(&mut tx, &room).await?;
    let detail = format!("{name}{}", if active { "" } else { ", out of use" });
    audit::append(&mut tx, actor, Event { action, object: room.id.as_str(), detail: &detail, ..Event::default() }, now)
        .await?;
    tx.commit().await?;
    Ok(true)
}
