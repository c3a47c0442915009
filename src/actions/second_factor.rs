//! Setting the app of the second factor up, putting it off, and taking it away when the phone is lost.

use time::OffsetDateTime;

use super::sign_in::{self, Browser, SignedIn};
use super::tell;
use crate::app::App;
use crate::domain::ids::AccountId;
use crate::domain::role::{Actor, Member, News, Role};
use crate::second_factor::{Secret, recovery_codes, recovery_hash};
use crate::store::audit::Event;
use crate::store::sessions::{self, Holder, Stage};
use crate::store::types::sha256_hex;
use crate::store::{Connection, Stored, accounts, audit, second_factor};

/// Sets up what the session was offered, once a code of the app shows that it has it: all her sessions end, a new one
/// begins here, and there are new recovery codes. `None` when the code is wrong.
///
/// # Errors
/// When the database can't.
pub async fn set_up(
    app: &App,
    member: &Member,
    token: &str,
    code: &str,
    browser: &Browser,
) -> Stored<Option<(SignedIn, Vec<String>)>> {
    let (now, actor) = (app.clock.now(), Actor::Member(member.clone()));
    let secret = Secret::offered(token);
    let mut tx = app.db.write().await?;
    let Some(step) = secret.step_of(code, now) else {
        audit::append(&mut tx, &actor, Event { action: "second-factor.refused", ..Event::default() }, now).await?;
        tx.commit().await?;
        return Ok(None);
    };
    let again = second_factor::get(&mut tx, &member.account).await?.is_some();
    second_factor::set(&mut tx, &member.account, secret.bytes(), step, now).await?;
    let codes = fresh_codes(app, &mut tx, &member.account).await?;
    sessions::end_all(&mut tx, &Holder::Account(member.account.clone())).await?;
    if again {
        sign_in::take_back(app, &mut tx, &actor, &member.account, now).await?;
    }
    audit::append(&mut tx, &actor, Event { action: "second-factor.set-up", ..Event::default() }, now).await?;
    tell(app, &mut tx, &member.account, News::SecondFactorSetUp, now).await?;
    let signed_in = sign_in::begin(app, &mut tx, member, Stage::Open, browser, now).await?;
    tx.commit().await?;
    Ok(Some((signed_in, codes)))
}

/// New recovery codes in the place of all earlier ones. Empty when there is no second factor that they could stand for.
///
/// # Errors
/// When the database can't.
pub async fn renew_codes(app: &App, member: &Member) -> Stored<Vec<String>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if !second_factor::is_set_up(&mut tx, &member.account).await? {
        return Ok(Vec::new());
    }
    let codes = fresh_codes(app, &mut tx, &member.account).await?;
    let actor = Actor::Member(member.clone());
    audit::append(&mut tx, &actor, Event { action: "recovery-codes.made", ..Event::default() }, now).await?;
    tell(app, &mut tx, &member.account, News::RecoveryCodesMade, now).await?;
    tx.commit().await?;
    Ok(codes)
}

pub(super) async fn fresh_codes(app: &App, c: &mut Connection, account: &AccountId) -> Stored<Vec<String>> {
    let codes = recovery_codes(&app.random);
    let hashes: Vec<String> = codes.iter().filter_map(|code| recovery_hash(code)).collect();
    second_factor::set_recovery(c, account, &hashes).await?;
    Ok(codes)
}

/// Whether she may still put it off: practitioners may, once.
///
/// # Errors
/// When the database can't.
pub async fn may_put_off(c: &mut Connection, member: &Member) -> Stored<bool> {
    let account = accounts::by_id(c, &member.account).await?;
    Ok(account.is_some_and(|account| account.member.role == Role::Practitioner && !account.factor_put_off))
}

/// Puts it off until she signs in the next time. `false` when she may not.
///
/// # Errors
/// When the database can't.
pub async fn put_off(app: &App, member: &Member, token: &str) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if !may_put_off(&mut tx, member).await? {
        return Ok(false);
    }
    accounts::put_factor_off(&mut tx, &member.account, now).await?;
    sessions::open(&mut tx, &sha256_hex(token)).await?;
    let actor = Actor::Member(member.clone());
    audit::append(&mut tx, &actor, Event { action: "second-factor.put-off", ..Event::default() }, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// Forgets the second factor of somebody who lost phone and codes; her sessions end, and she sets up a new one when she
/// signs in. `false` when she has none.
///
/// # Errors
/// When the database can't.
pub async fn forget(app: &App, actor: &Actor, account: &AccountId) -> Stored<bool> {
    let now: OffsetDateTime = app.clock.now();
    let mut tx = app.db.write().await?;
    if !second_factor::remove(&mut tx, account).await? {
        return Ok(false);
    }
    sessions::end_all(&mut tx, &Holder::Account(account.clone())).await?;
    sign_in::shut_out(app, &mut tx, actor, account, now).await?;
    let event = Event { action: "second-factor.forgotten", object: account.as_str(), ..Event::default() };
    audit::append(&mut tx, actor, event, now).await?;
    tell(app, &mut tx, account, News::SecondFactorForgotten, now).await?;
    tx.commit().await?;
    Ok(true)
}
