//! Practitioners, their hours, and what they sign in with.

use time::OffsetDateTime;

use super::people::PeopleError;
use super::seen::Saved;
use super::{sign_in, tell};
use crate::app::App;
use crate::domain::hours::WeeklyHours;
use crate::domain::ids::{AccountId, PractitionerId};
use crate::domain::mark::Mark;
use crate::domain::person::{Mail, PersonName};
use crate::domain::role::{Actor, Member, News, Role};
use crate::password;
use crate::store::accounts::Account;
use crate::store::audit::Event;
use crate::store::practitioners::Practitioner;
use crate::store::sessions::Holder;
use crate::store::{Connection, Stored, accounts, audit, feeds, practitioners, sessions};

/// Adds somebody who treats, without hours yet.
///
/// # Errors
/// When the database can't.
pub async fn add(app: &App, actor: &Actor, name: &PersonName) -> Stored<PractitionerId> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let id = PractitionerId::from_random(app.random.id());
    let she = Practitioner { id, name: name.as_str().to_owned(), active: true };
    practitioners::save(&mut tx, &she, now).await?;
    note(&mut tx, actor, "practitioner.added", &she.id, &she.name, now).await?;
    tx.commit().await?;
    Ok(she.id)
}

/// The mark of what the form about her is filled from.
///
/// # Errors
/// When the database can't.
pub async fn seen(c: &mut Connection, she: &Practitioner) -> Stored<Mark> {
    let hours = practitioners::hours(c, &she.id).await?;
    Ok(Mark::of(&(&she.name, she.active, hours)))
}

/// Stores her name, whether she can be booked, and her week. What is booked stays booked. `shown` is what [`seen`] said of
/// her when the form was filled.
///
/// # Errors
/// When the database can't.
pub async fn save(
    app: &App,
    actor: &Actor,
    id: &PractitionerId,
    shown: Option<&Mark>,
    (name, active, week): (&PersonName, bool, &WeeklyHours),
) -> Stored<Saved> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(old) = practitioners::get(&mut tx, id).await? else { return Ok(Saved::Unknown) };
    let stored = seen(&mut tx, &old).await?;
    if shown.is_some_and(|shown| shown.holds(&stored).is_err()) {
        return Ok(Saved::Overtaken);
    }
    let before = practitioners::hours(&mut tx, id).await?;
    let she = Practitioner { id: id.clone(), name: name.as_str().to_owned(), active };
    practitioners::save(&mut tx, &she, now).await?;
    practitioners::set_hours(&mut tx, id, week.rows()).await?;
    if let Some(account) = accounts::of_practitioner(&mut tx, id).await?
        && account.member.role == Role::Practitioner
    {
        accounts::rename(&mut tx, &account.member.account, name.as_str()).await?;
    }
    let hours = if before.into_iter().eq(week.rows()) { "" } else { ", other hours" };
    let detail = format!("{}{}{hours}", she.name, if active { "" } else { ", can't be booked" });
    note(&mut tx, actor, "practitioner.saved", id, &detail, now).await?;
    tx.commit().await?;
    Ok(Saved::Done(()))
}

/// Why a sign-in is not made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignInRefused {
    /// No such practitioner.
    Unknown,
    /// She has one already.
    HasOne,
    /// Somebody signs in with this mail already.
    MailTaken,
}

/// A password that signs in until a time, only to be replaced by its holder's own. It is shown to the owner and kept nowhere.
pub struct FirstPassword {
    /// The password.
    pub secret: String,
    /// When it ends.
    pub until: OffsetDateTime,
}

impl FirstPassword {
    async fn draw(app: &App) -> Result<(Self, String), PeopleError> {
        let secret = password::first(&app.random);
        let hash = app.passwords.hash(secret.clone()).await?;
        Ok((Self { secret, until: app.clock.now() + password::FIRST_LASTS }, hash))
    }
}

/// Gives a practitioner a mail and a first password to sign in with.
///
/// # Errors
/// When the database or the hasher can't.
pub async fn give_sign_in(
    app: &App,
    actor: &Actor,
    id: &PractitionerId,
    mail: &Mail,
) -> Result<Result<FirstPassword, SignInRefused>, PeopleError> {
    let (first, hash) = FirstPassword::draw(app).await?;
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(she) = practitioners::get(&mut tx, id).await? else { return Ok(Err(SignInRefused::Unknown)) };
    if accounts::of_practitioner(&mut tx, id).await?.is_some() {
        return Ok(Err(SignInRefused::HasOne));
    }
    if accounts::by_mail(&mut tx, &mail.key()).await?.is_some() {
        return Ok(Err(SignInRefused::MailTaken));
    }
    let account = AccountId::from_random(app.random.id());
    let member = Member { account, role: Role::Practitioner, name: she.name, practitioner: Some(she.id) };
    accounts::insert(&mut tx, &member, &mail.key(), &hash, now).await?;
    accounts::set_first(&mut tx, &member.account, Some(first.until)).await?;
    note(&mut tx, actor, "sign-in.given", id, &member.name, now).await?;
    tx.commit().await?;
    Ok(Ok(first))
}

/// Sets a new first password for a practitioner who lost hers, and ends her sessions. `None` when she has no
/// sign-in of her own.
///
/// # Errors
/// When the database or the hasher can't.
pub async fn renew_password(
    app: &App,
    actor: &Actor,
    id: &PractitionerId,
) -> Result<Option<FirstPassword>, PeopleError> {
    let (first, hash) = FirstPassword::draw(app).await?;
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(account) = own_sign_in(&mut tx, id).await? else { return Ok(None) };
    accounts::set_password(&mut tx, &account.member.account, &hash).await?;
    accounts::set_first(&mut tx, &account.member.account, Some(first.until)).await?;
    sessions::end_all(&mut tx, &Holder::Account(account.member.account.clone())).await?;
    sign_in::shut_out(app, &mut tx, actor, &account.member.account, now).await?;
    note(&mut tx, actor, "password.renewed", id, &account.member.name, now).await?;
    tell(app, &mut tx, &account.member.account, News::PasswordRenewed, now).await?;
    tx.commit().await?;
    Ok(Some(first))
}

/// Lets a practitioner sign in again, or not any more: then her sessions end at once. `false` when she has no
/// sign-in of her own.
///
/// # Errors
/// When the database can't.
pub async fn set_enabled(app: &App, actor: &Actor, id: &PractitionerId, enabled: bool) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(account) = own_sign_in(&mut tx, id).await? else { return Ok(false) };
    accounts::set_enabled(&mut tx, &account.member.account, enabled, now).await?;
    if !enabled {
        sessions::end_all(&mut tx, &Holder::Account(account.member.account)).await?;
        feeds::end(&mut tx, id).await?;
    }
    let action = if enabled { "sign-in.enabled" } else { "sign-in.disabled" };
    note(&mut tx, actor, action, id, &account.member.name, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// The account that a practitioner signs in with, if it is not the owner's.
///
/// # Errors
/// When the database can't.
pub async fn own_account(app: &App, id: &PractitionerId) -> Stored<Option<AccountId>> {
    let mut c = app.db.read().await?;
    Ok(own_sign_in(&mut c, id).await?.map(|account| account.member.account))
}

/// The owner's own account may treat too, but nobody takes it from her here.
async fn own_sign_in(c: &mut Connection, id: &PractitionerId) -> Stored<Option<Account>> {
    Ok(accounts::of_practitioner(c, id).await?.filter(|account| account.member.role == Role::Practitioner))
}

/// The owner treats as this practitioner from now on. `false` when the practitioner is unknown or has a sign-in, or
/// the owner treats as somebody already.
///
/// # Errors
/// When the database can't.
pub async fn treat_as(app: &App, owner: &Member, id: &PractitionerId) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(she) = practitioners::get(&mut tx, id).await? else { return Ok(false) };
    let account = accounts::by_id(&mut tx, &owner.account).await?;
    let free = account.is_some_and(|account| account.member.practitioner.is_none());
    if !free || accounts::of_practitioner(&mut tx, id).await?.is_some() {
        return Ok(false);
    }
    accounts::set_practitioner(&mut tx, &owner.account, Some(id)).await?;
    note(&mut tx, &Actor::Member(owner.clone()), "owner.treats", id, &she.name, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// The owner no longer treats as this practitioner. `false` when she didn't.
///
/// # Errors
/// When the database can't.
pub async fn treat_no_longer(app: &App, owner: &Member, id: &PractitionerId) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let account = accounts::by_id(&mut tx, &owner.account).await?;
    if account.is_none_or(|account| account.member.practitioner.as_ref() != Some(id)) {
        return Ok(false);
    }
    let actor = Actor::Member(owner.clone());
    super::feeds::end_of(app, &mut tx, &actor, &owner.account, now).await?;
    accounts::set_practitioner(&mut tx, &owner.account, None).await?;
    note(&mut tx, &actor, "owner.treats-no-longer", id, "", now).await?;
    tx.commit().await?;
    Ok(true)
}

async fn note(
    c: &mut Connection,
    actor: &Actor,
    action: &'static str,
    id: &PractitionerId,
    detail: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    audit::append(c, actor, Event { action, object: id.as_str(), detail, ..Event::default() }, now).await
}
