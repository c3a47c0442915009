//! Signing in of the team: a password, then a code, and a letter when the browser is a new one.

use time::{Duration, OffsetDateTime};

use super::people::PeopleError;
use super::{feeds, passkeys, tell};
use crate::app::{App, SecondFactor};
use crate::domain::ids::AccountId;
use crate::domain::role::{Actor, Member, News, Stay};
use crate::second_factor::{Secret, looks_like_code, recovery_hash};
use crate::store::audit::Event;
use crate::store::sessions::{self, Begun, Holder, Stage};
use crate::store::types::sha256_hex;
use crate::store::{Connection, Stored, accounts, audit, second_factor};

/// How long somebody may take to give a code after her password.
const CODE_WAITS: Duration = Duration::minutes(10);

/// The browser that somebody signs in with.
#[derive(Debug, Clone, Default)]
pub struct Browser {
    /// The kind of device, in words.
    pub device: String,
    /// The token that it is known by, once somebody of the team has signed in with it.
    pub known_as: Option<String>,
}

/// A session that has begun.
pub struct SignedIn {
    /// Its token.
    pub token: String,
    /// How far it has come.
    pub stage: Stage,
    /// What the browser is known by from now on, when that is new.
    pub known_as: Option<String>,
}

/// Signs in with a password: a new token, and the old one of this browser ends. `None` when mail and password don't go
/// together or the account is disabled; that takes as much work for a mail that nobody has.
///
/// # Errors
/// When the database or the hasher can't.
pub async fn with_password(
    app: &App,
    mail: &str,
    password: String,
    old: Option<&str>,
    browser: &Browser,
) -> Result<Option<SignedIn>, PeopleError> {
    let mut c = app.db.read().await?;
    let asked_at = app.clock.now();
    let account = accounts::by_mail(&mut c, mail).await?.filter(|account| account.may_sign_in(asked_at));
    drop(c);
    let stored = account.as_ref().map(|account| account.password_hash.clone());
    let right = app.passwords.matches(stored.clone(), password.clone()).await?;
    let renewed = match &stored {
        Some(hash) if right && app.passwords.is_outdated(hash) => Some(app.passwords.hash(password).await?),
        _ => None,
    };
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    // Looked up again: it may have been disabled, or have another password, while this one was checked.
    let account = accounts::by_mail(&mut tx, mail).await?;
    let account = account.filter(|it| right && it.may_sign_in(now) && Some(&it.password_hash) == stored.as_ref());
    let Some(account) = account else {
        audit::append(&mut tx, &Actor::Visitor, Event { action: "sign-in.refused", ..Event::default() }, now).await?;
        tx.commit().await?;
        return Ok(None);
    };
    let member = account.member;
    if let Some(hash) = renewed {
        accounts::set_password(&mut tx, &member.account, &hash).await?;
    }
    if let Some(old) = old {
        sessions::end(&mut tx, &sha256_hex(old)).await?;
    }
    let has_factor = second_factor::is_set_up(&mut tx, &member.account).await?;
    let stage = if has_factor && app.second_factor == SecondFactor::Asked { Stage::Code } else { without_code(app) };
    let signed_in = begin(app, &mut tx, &member, stage, browser, now).await?;
    tx.commit().await?;
    Ok(Some(signed_in))
}

/// How far somebody comes who has no second factor.
fn without_code(app: &App) -> Stage {
    match app.second_factor {
        SecondFactor::Off => Stage::Open,
        SecondFactor::Asked => Stage::SetUp,
    }
}

/// Signs the owner in whose account was made a moment ago.
///
/// # Errors
/// When the database can't.
pub async fn at_set_up(app: &App, owner: &Member, browser: &Browser) -> Stored<SignedIn> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let signed_in = begin(app, &mut tx, owner, without_code(app), browser, now).await?;
    tx.commit().await?;
    Ok(signed_in)
}

/// What somebody shows of herself.
#[derive(Clone, Copy)]
pub enum Shown<'a> {
    /// A code of the app or a recovery code; her password too, where that proves something.
    Typed(&'a str),
    /// What her browser answered with a passkey.
    Passkey(&'a str),
}

/// Whether it was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// It was right.
    Yes,
    /// It was wrong, came too late or was used before.
    No,
    /// There may be a copy of the passkey.
    Copied,
}

/// Signs in with the code or the passkey that was still asked for.
///
/// # Errors
/// When the database can't.
pub async fn with_factor(
    app: &App,
    member: &Member,
    half: &str,
    shown: Shown<'_>,
    browser: &Browser,
) -> Stored<Result<SignedIn, Taken>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let taken = take(app, &mut tx, member, half, shown, now).await?;
    if taken != Taken::Yes {
        tx.commit().await?;
        return Ok(Err(taken));
    }
    sessions::end(&mut tx, &sha256_hex(half)).await?;
    let signed_in = begin(app, &mut tx, member, Stage::Open, browser, now).await?;
    tx.commit().await?;
    Ok(Ok(signed_in))
}

/// Writes to somebody after whose password several wrong codes were given.
///
/// # Errors
/// When the database can't.
pub async fn tell_of_wrong_codes(app: &App, account: &AccountId) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    tell(app, &mut tx, account, News::CodesRefused, now).await?;
    tx.commit().await
}

/// Takes a password, a code or a passkey once more, before something grave.
///
/// # Errors
/// When the database or the hasher can't.
pub async fn prove(app: &App, member: &Member, token: &str, shown: Shown<'_>) -> Result<Taken, PeopleError> {
    let password = match shown {
        Shown::Typed(typed) if !looks_like_code(typed) => Some(typed.to_owned()),
        Shown::Typed(_) | Shown::Passkey(_) => None,
    };
    let by_password = match password {
        Some(typed) => {
            let mut c = app.db.read().await?;
            let stored = accounts::by_id(&mut c, &member.account).await?.map(|account| account.password_hash);
            drop(c);
            Some(app.passwords.matches(stored, typed).await?)
        }
        None => None,
    };
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let taken = match by_password {
        Some(true) => Taken::Yes,
        Some(false) => Taken::No,
        None => take(app, &mut tx, member, token, shown, now).await?,
    };
    if taken == Taken::Yes {
        sessions::prove(&mut tx, &sha256_hex(token), now).await?;
    }
    let action = if taken == Taken::Yes { "proof.given" } else { "proof.refused" };
    audit::append(&mut tx, &Actor::Member(member.clone()), Event { action, ..Event::default() }, now).await?;
    tx.commit().await?;
    Ok(taken)
}

/// Uses a code of the app up, or a recovery code, or what this session was asked to answer with a passkey. What is not
/// taken leaves a line in the audit.
async fn take(
    app: &App,
    c: &mut Connection,
    member: &Member,
    token: &str,
    shown: Shown<'_>,
    now: OffsetDateTime,
) -> Stored<Taken> {
    let taken = match shown {
        Shown::Passkey(answer) => passkeys::take(app, c, member, token, answer, now).await?,
        Shown::Typed(typed) if take_code(app, c, member, typed, now).await? => Taken::Yes,
        Shown::Typed(_) => Taken::No,
    };
    if taken != Taken::Yes {
        let event = Event { action: "second-factor.refused", ..Event::default() };
        audit::append(c, &Actor::Member(member.clone()), event, now).await?;
    }
    Ok(taken)
}

async fn take_code(app: &App, c: &mut Connection, member: &Member, typed: &str, now: OffsetDateTime) -> Stored<bool> {
    let account = &member.account;
    if let Some(hash) = recovery_hash(typed) {
        let taken = second_factor::use_recovery(c, account, &hash, now).await?;
        if taken {
            let left = second_factor::recovery_left(c, account).await?;
            let detail = format!("{left} left");
            let event = Event { action: "recovery-code.used", detail: &detail, ..Event::default() };
            audit::append(c, &Actor::Member(member.clone()), event, now).await?;
            tell(app, c, account, News::RecoveryCodeUsed { left }, now).await?;
        }
        return Ok(taken);
    }
    let factor = second_factor::get(c, account).await?;
    match factor.and_then(|factor| Secret::of(factor.secret).step_of(typed, now)) {
        Some(step) => second_factor::use_step(c, account, step).await,
        None => Ok(false),
    }
}

/// Begins a session of the team in this browser.
pub(super) async fn begin(
    app: &App,
    c: &mut Connection,
    member: &Member,
    stage: Stage,
    browser: &Browser,
    now: OffsetDateTime,
) -> Stored<SignedIn> {
    let token = app.random.token();
    let lasts = if stage == Stage::Code { CODE_WAITS } else { Stay::TEAM.longest };
    let (token_hash, holder) = (sha256_hex(&token), Holder::Account(member.account.clone()));
    let begun = Begun { token_hash: &token_hash, holder: &holder, stage, device: &browser.device, lasts };
    sessions::begin(c, &begun, now).await?;
    let action = if stage == Stage::Code { "sign-in.code-asked" } else { "sign-in.done" };
    audit::append(c, &Actor::Member(member.clone()), Event { action, ..Event::default() }, now).await?;
    let known_as = if stage == Stage::Code { None } else { meet(app, c, &member.account, browser, now).await? };
    Ok(SignedIn { token, stage, known_as })
}

/// Takes back what stays open beside somebody's sessions: the browsers that she is known by, and the address of her feed.
pub(super) async fn take_back(
    app: &App,
    c: &mut Connection,
    actor: &Actor,
    account: &AccountId,
    now: OffsetDateTime,
) -> Stored<()> {
    second_factor::forget_browsers(c, account).await?;
    feeds::end_of(app, c, actor, account, now).await
}

/// The same where no session of hers goes on.
pub(super) async fn shut_out(
    app: &App,
    c: &mut Connection,
    actor: &Actor,
    account: &AccountId,
    now: OffsetDateTime,
) -> Stored<()> {
    let known = second_factor::knows_any_browser(c, account).await?;
    take_back(app, c, actor, account, now).await?;
    if known {
        // One that nobody has: the next is then not taken for her first, of which nobody is told.
        second_factor::meet_browser(c, account, &sha256_hex(&app.random.token()), now).await?;
    }
    Ok(())
}

/// Notes the browser, and writes to her when it is not the first but a new one.
async fn meet(
    app: &App,
    c: &mut Connection,
    account: &AccountId,
    browser: &Browser,
    now: OffsetDateTime,
) -> Stored<Option<String>> {
    if let Some(token) = &browser.known_as
        && second_factor::see_browser(c, account, &sha256_hex(token), now).await?
    {
        return Ok(None);
    }
    let first = !second_factor::knows_any_browser(c, account).await?;
    // Always a token of our own: one that came along could be known to whoever planted it.
    let token = app.random.token();
    second_factor::meet_browser(c, account, &sha256_hex(&token), now).await?;
    if !first {
        tell(app, c, account, News::NewBrowser { device: browser.device.clone() }, now).await?;
    }
    Ok(Some(token))
}
