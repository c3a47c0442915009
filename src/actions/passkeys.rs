//! Passkeys of the team: asked for, added, used, removed.

use time::OffsetDateTime;

use super::second_factor::fresh_codes;
use super::sign_in::{self, Browser, SignedIn, Taken};
use super::tell;
use crate::app::App;
use crate::domain::ids::PasskeyId;
use crate::domain::label::Label;
use crate::domain::role::{Actor, Member, News};
use crate::passkey::{self, Found, Holder, Kept, NoPlace, PasskeyFault, Place};
use crate::store::audit::Event;
use crate::store::passkeys::{self, Passkey, Purpose};
use crate::store::sessions::{self, Holder as Whose, Stage};
use crate::store::types::{impossible, sha256_hex};
use crate::store::{Connection, StoreError, Stored, accounts, audit, second_factor};

/// The most passkeys that one account has.
pub const MOST: usize = 10;
/// The most characters that the name of one has.
pub const MOST_OF_NAME: usize = 40;

/// Why none is added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AddRefused {
    /// There can be none at this address.
    NoPlace(NoPlace),
    /// She has as many as there may be.
    Most,
    /// The browser's answer is not right, came too late, or its device has answered so before.
    Wrong,
}

/// What came of adding one.
pub enum Added {
    /// It is her first second factor: all her sessions ended, this one began, and there are recovery codes.
    First(SignedIn, Vec<String>),
    /// One more.
    Another,
}

/// Why none is removed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RemoveRefused {
    /// She has none with this id.
    Unknown,
    /// It is all that she has besides her password.
    Last,
}

/// Whether somebody may remove one of so many passkeys: something besides the password has to stay.
pub fn may_remove(has_app: bool, passkeys: usize) -> bool {
    has_app || passkeys > 1
}

fn place(app: &App) -> Result<Place, NoPlace> {
    Place::of(&app.address.base_url)
}

fn fault(fault: PasskeyFault) -> StoreError {
    impossible("passkey", fault.0, "")
}

fn kept(one: &Passkey) -> Kept {
    let Passkey { credential, transports, key, state, .. } = one.clone();
    Kept { credential, transports, key, state }
}

/// Why nobody can add one here; `None` when one can.
pub fn none_here(app: &App) -> Option<NoPlace> {
    place(app).err()
}

/// What a browser is asked so that it makes a passkey, as JSON.
///
/// # Errors
/// When the database can't.
pub async fn ask_new(app: &App, member: &Member, token: &str) -> Stored<Result<String, AddRefused>> {
    let place = match place(app) {
        Ok(place) => place,
        Err(none) => return Ok(Err(AddRefused::NoPlace(none))),
    };
    let mut tx = app.db.write().await?;
    let there = passkeys::of_account(&mut tx, &member.account).await?;
    if there.len() >= MOST {
        return Ok(Err(AddRefused::Most));
    }
    let account = accounts::by_id(&mut tx, &member.account).await?;
    let mail = account.map(|account| account.mail).unwrap_or_default();
    let holder = Holder { account: &member.account, mail: &mail, name: &member.name };
    let others: Vec<Kept> = there.iter().map(kept).collect();
    let asked = passkey::ask_new(&place, &holder, &others).map_err(fault)?;
    passkeys::ask(&mut tx, &sha256_hex(token), Purpose::Add, &asked.kept, app.clock.now()).await?;
    tx.commit().await?;
    Ok(Ok(asked.options))
}

/// Adds the passkey that a browser made. When it is her first second factor, all her sessions end, as they do for the app.
///
/// # Errors
/// When the database can't.
pub async fn add(
    app: &App,
    member: &Member,
    token: &str,
    name: &Label,
    answer: &str,
    browser: &Browser,
) -> Stored<Result<Added, AddRefused>> {
    let place = match place(app) {
        Ok(place) => place,
        Err(none) => return Ok(Err(AddRefused::NoPlace(none))),
    };
    let (now, actor) = (app.clock.now(), Actor::Member(member.clone()));
    let mut tx = app.db.write().await?;
    let first = !second_factor::is_set_up(&mut tx, &member.account).await?;
    if passkeys::of_account(&mut tx, &member.account).await?.len() >= MOST {
        return Ok(Err(AddRefused::Most));
    }
    let asked = passkeys::answered(&mut tx, &sha256_hex(token), Purpose::Add, now).await?;
    let made = asked.and_then(|asked| passkey::made(&place, &asked, answer));
    let stored = match made {
        Some(made) => store(app, &mut tx, member, name, made, now).await?,
        None => None,
    };
    let Some(id) = stored else {
        audit::append(&mut tx, &actor, Event { action: "passkey.refused", ..Event::default() }, now).await?;
        tx.commit().await?;
        return Ok(Err(AddRefused::Wrong));
    };
    note(&mut tx, member, "passkey.added", &id, name.as_str(), now).await?;
    tell(app, &mut tx, &member.account, News::PasskeyAdded { name: name.as_str().to_owned() }, now).await?;
    if !first {
        tx.commit().await?;
        return Ok(Ok(Added::Another));
    }
    let codes = fresh_codes(app, &mut tx, &member.account).await?;
    sessions::end_all(&mut tx, &Whose::Account(member.account.clone())).await?;
    let signed_in = sign_in::begin(app, &mut tx, member, Stage::Open, browser, now).await?;
    tx.commit().await?;
    Ok(Ok(Added::First(signed_in, codes)))
}

async fn store(
    app: &App,
    c: &mut Connection,
    member: &Member,
    name: &Label,
    made: Kept,
    now: OffsetDateTime,
) -> Stored<Option<PasskeyId>> {
    let Kept { credential, transports, key, state } = made;
    let id = PasskeyId::from_random(app.random.id());
    let name = name.as_str().to_owned();
    let new = Passkey { id, name, credential, transports, key, state, made_at: now, used_at: None };
    Ok(passkeys::insert(c, &member.account, &new).await?.then_some(new.id))
}

/// What a browser is asked so that it answers with one of her passkeys, as JSON; `None` when she has none that could.
///
/// # Errors
/// When the database can't.
pub async fn ask_known(app: &App, member: &Member, token: &str) -> Stored<Option<String>> {
    let Ok(place) = place(app) else { return Ok(None) };
    let mut tx = app.db.write().await?;
    let keys: Vec<Kept> = passkeys::of_account(&mut tx, &member.account).await?.iter().map(kept).collect();
    let Some(asked) = passkey::ask_known(&place, &keys).map_err(fault)? else { return Ok(None) };
    passkeys::ask(&mut tx, &sha256_hex(token), Purpose::Use, &asked.kept, app.clock.now()).await?;
    tx.commit().await?;
    Ok(Some(asked.options))
}

/// Takes what this session was asked to answer with a passkey; whatever the answer, it is asked no second time.
pub(super) async fn take(
    app: &App,
    c: &mut Connection,
    member: &Member,
    token: &str,
    answer: &str,
    now: OffsetDateTime,
) -> Stored<Taken> {
    let asked = passkeys::answered(c, &sha256_hex(token), Purpose::Use, now).await?;
    let (Ok(place), Some(asked), Some(credential)) = (place(app), asked, passkey::credential_of(answer)) else {
        return Ok(Taken::No);
    };
    let all = passkeys::of_account(c, &member.account).await?;
    let Some(one) = all.into_iter().find(|one| one.credential == credential) else { return Ok(Taken::No) };
    match passkey::found(&place, &asked, &member.account, &kept(&one), answer).map_err(fault)? {
        Found::Right(state) => {
            passkeys::used(c, &one.id, &state, now).await?;
            note(c, member, "passkey.used", &one.id, &one.name, now).await?;
            Ok(Taken::Yes)
        }
        Found::Copied => {
            note(c, member, "passkey.copied", &one.id, &one.name, now).await?;
            tell(app, c, &member.account, News::PasskeyCopied { name: one.name }, now).await?;
            Ok(Taken::Copied)
        }
        Found::Wrong => Ok(Taken::No),
    }
}

/// Removes one of her passkeys; her other sessions end, since its device may be in other hands.
///
/// # Errors
/// When the database can't.
pub async fn remove(app: &App, member: &Member, token: &str, id: &PasskeyId) -> Stored<Result<(), RemoveRefused>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let all = passkeys::of_account(&mut tx, &member.account).await?;
    let has_app = second_factor::get(&mut tx, &member.account).await?.is_some();
    let (left, Some(one)) = (all.len(), all.into_iter().find(|one| one.id == *id)) else {
        return Ok(Err(RemoveRefused::Unknown));
    };
    if !may_remove(has_app, left) {
        return Ok(Err(RemoveRefused::Last));
    }
    passkeys::remove(&mut tx, &member.account, id).await?;
    sessions::end_others(&mut tx, &member.account, &sha256_hex(token)).await?;
    note(&mut tx, member, "passkey.removed", id, &one.name, now).await?;
    tell(app, &mut tx, &member.account, News::PasskeyRemoved { name: one.name }, now).await?;
    tx.commit().await?;
    Ok(Ok(()))
}

async fn note(
    c: &mut Connection,
    member: &Member,
    action: &'static str,
    id: &PasskeyId,
    name: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let event = Event { action, object: id.as_str(), detail: name, ..Event::default() };
    audit::append(c, &Actor::Member(member.clone()), event, now).await
}
