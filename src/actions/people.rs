//! The owner's account, signing in and out, and sign-in links.

use time::Duration;

use super::sign_in::{self, Browser, SignedIn};
use super::{Pending, enqueue, tell};
use crate::app::App;
use crate::domain::ids::{AccountId, ClientId, DraftId, MailId};
use crate::domain::money::Currency;
use crate::domain::person::{Mail, PersonName};
use crate::domain::role::{Actor, Member, News, Role, Stay};
use crate::domain::zone::Zone;
use crate::language::Language;
use crate::password::Unavailable;
use crate::store::audit::Event;
use crate::store::sessions::{self, Begun, Holder, Stage};
use crate::store::types::sha256_hex;
use crate::store::{StoreError, Stored, accounts, audit, clients, drafts, health, outbox, studio};

/// How long a sign-in link works.
pub const LINK_LASTS: Duration = Duration::minutes(10);

/// What an empty server needs to begin.
pub struct NewOwner {
    /// The studio's name.
    pub studio: PersonName,
    /// Its time zone.
    pub zone: Zone,
    /// Its currency.
    pub currency: Currency,
    /// What it speaks, also in the first questions and consent texts.
    pub language: Language,
    /// The owner's name.
    pub name: PersonName,
    /// The mail she signs in with.
    pub mail: Mail,
    /// Her password.
    pub password: String,
    /// Whether everything here will be invented.
    pub demo: bool,
}

/// Why an action on people did not end well.
#[derive(Debug, thiserror::Error)]
pub enum PeopleError {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Passwords can't be checked.
    #[error(transparent)]
    Passwords(#[from] Unavailable),
}

/// Makes the studio and its owner, and publishes the first questions, rules and consent text.
/// `None` when there is an owner already: the second of two who race for an empty server gets nothing.
///
/// # Errors
/// When the database or the hasher can't.
pub async fn create_owner(app: &App, new: NewOwner) -> Result<Option<Member>, PeopleError> {
    let hash = app.passwords.hash(new.password).await?;
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if accounts::has_owner(&mut tx).await? {
        return Ok(None);
    }
    if studio::get(&mut tx).await?.is_none() {
        studio::create(&mut tx, new.studio.as_str(), &new.zone, &new.currency, new.language, new.demo, now).await?;
        new.language.scope(health::publish_first(&mut tx, now)).await?;
    }
    let account = AccountId::from_random(app.random.id());
    let member = Member { account, role: Role::Owner, name: new.name.as_str().to_owned(), practitioner: None };
    accounts::insert(&mut tx, &member, &new.mail.key(), &hash, now).await?;
    let actor = Actor::Member(member.clone());
    audit::append(&mut tx, &actor, Event { action: "owner.created", ..Event::default() }, now).await?;
    tx.commit().await?;
    *app.set_up_code.lock().unwrap_or_else(std::sync::PoisonError::into_inner) = None;
    Ok(Some(member))
}

/// Asks for a sign-in link for every client with this mail; for an unknown one nothing will come of it.
/// A booking goes along only when it was begun in the same browser.
///
/// # Errors
/// When the database can't.
pub async fn ask_for_link(app: &App, mail: &Mail, draft: Option<&DraftId>, owner_hash: &str) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let draft = match draft {
        Some(id) if drafts::is_of_browser(&mut tx, id, owner_hash).await? => Some(id.clone()),
        _ => None,
    };
    enqueue(app, &mut tx, mail, &Pending::SignInLinks { draft }, now).await?;
    tx.commit().await
}

/// Puts one letter with a link for every client with this mail into the outbox, in the place of the row that asked for them.
///
/// # Errors
/// When the database can't.
pub async fn spread_links(app: &App, asked: &MailId, mail: &str, draft: Option<&DraftId>) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if let Ok(mail) = Mail::parse(mail) {
        for client in clients::by_mail(&mut tx, &mail).await? {
            let pending = Pending::SignInLink { client: client.id, draft: draft.cloned() };
            enqueue(app, &mut tx, &mail, &pending, now).await?;
        }
    }
    outbox::remove(&mut tx, asked).await?;
    tx.commit().await
}

/// Writes down that somebody came with a link that is none.
///
/// # Errors
/// When the database can't.
pub async fn refused_link(app: &App) -> Stored<()> {
    let mut tx = app.db.write().await?;
    let event = Event { action: "sign-in.refused", ..Event::default() };
    audit::append(&mut tx, &Actor::Visitor, event, app.clock.now()).await?;
    tx.commit().await
}

/// Uses a link up: a session with a new token on this kind of device, which takes over what its browser was filling in.
///
/// # Errors
/// When the database can't.
pub async fn use_link(
    app: &App,
    token: &str,
    old_hash: &str,
    device: &str,
) -> Stored<Option<(String, Option<DraftId>)>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some((client, draft)) = sessions::use_link(&mut tx, &sha256_hex(token), now).await? else { return Ok(None) };
    let new_token = app.random.token();
    let new_hash = sha256_hex(&new_token);
    sessions::end(&mut tx, old_hash).await?;
    let holder = Holder::Client(client.clone());
    let lasts = Stay::CLIENT.longest;
    let begun = Begun { token_hash: &new_hash, holder: &holder, stage: Stage::Open, device, lasts };
    sessions::begin(&mut tx, &begun, now).await?;
    if let Some(known) = clients::get(&mut tx, &client).await? {
        drafts::hand_over(&mut tx, old_hash, &new_hash, &known).await?;
    }
    let draft = match draft {
        Some(id) => {
            drafts::get(&mut tx, &id, drafts::By::Browser(&new_hash, Some(&client))).await?.map(|draft| draft.id)
        }
        None => None,
    };
    let event = Event { action: "sign-in.done", client: Some(&client), ..Event::default() };
    audit::append(&mut tx, &Actor::Client(client.clone()), event, now).await?;
    tx.commit().await?;
    Ok(Some((new_token, draft)))
}

/// Ends one session.
///
/// # Errors
/// When the database can't.
pub async fn sign_out(app: &App, token_hash: &str, actor: &Actor) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    // Anybody may press the button, and the log grows only by what was done.
    if !sessions::end(&mut tx, token_hash).await? {
        return Ok(());
    }
    audit::append(&mut tx, actor, Event { action: "sign-out.done", ..Event::default() }, now).await?;
    tx.commit().await
}

/// Ends all sessions of one person.
///
/// # Errors
/// When the database can't.
pub async fn sign_out_everywhere(app: &App, holder: &Holder, actor: &Actor) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    sessions::end_all(&mut tx, holder).await?;
    if let Holder::Account(account) = holder {
        sign_in::shut_out(app, &mut tx, actor, account, now).await?;
    }
    audit::append(&mut tx, actor, Event { action: "sign-out.everywhere", ..Event::default() }, now).await?;
    tx.commit().await
}

/// Ends one of somebody's own sessions. `false` when she has none with this hash.
///
/// # Errors
/// When the database can't.
pub async fn end_session(app: &App, holder: &Holder, actor: &Actor, token_hash: &str) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if !sessions::end_of(&mut tx, holder, token_hash).await? {
        return Ok(false);
    }
    let client = match holder {
        Holder::Client(id) => Some(id),
        Holder::Account(_) => None,
    };
    audit::append(&mut tx, actor, Event { action: "session.ended", client, ..Event::default() }, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// Signs everybody out, clients and team, but for the session of whoever does it.
///
/// # Errors
/// When the database can't.
pub async fn sign_everybody_out(app: &App, actor: &Actor, but: &str) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let detail = sessions::end_everybody_s(&mut tx, but).await?.to_string();
    for account in accounts::all(&mut tx).await? {
        sign_in::shut_out(app, &mut tx, actor, &account.member.account, now).await?;
    }
    audit::append(&mut tx, actor, Event { action: "sign-out.everybody", detail: &detail, ..Event::default() }, now)
        .await?;
    tx.commit().await
}

/// Changes somebody's own password: every session of hers ends, and a new one begins here. `None` when the old
/// password is not the right one.
///
/// # Errors
/// When the database or the hasher can't.
pub async fn change_password(
    app: &App,
    member: &Member,
    old: String,
    new: String,
    browser: &Browser,
) -> Result<Option<SignedIn>, PeopleError> {
    let mut c = app.db.read().await?;
    let stored = accounts::by_id(&mut c, &member.account).await?.map(|account| account.password_hash);
    drop(c);
    if !app.passwords.matches(stored.clone(), old).await? {
        let (now, actor) = (app.clock.now(), Actor::Member(member.clone()));
        let mut tx = app.db.write().await?;
        audit::append(&mut tx, &actor, Event { action: "password.refused", ..Event::default() }, now).await?;
        tx.commit().await?;
        return Ok(None);
    }
    replace_password(app, member, stored, Stage::Open, new, browser).await
}

/// What came of choosing a password.
pub enum Chosen {
    /// It is hers.
    Taken(SignedIn),
    /// It is the first one again.
    FirstAgain,
    /// The owner has given another first one meanwhile, which ended this session.
    Overtaken,
}

/// Puts somebody's own password in the place of her first one: every session of hers ends, and a new one goes on here from
/// where this one was.
///
/// # Errors
/// When the database or the hasher can't.
pub async fn choose_password(
    app: &App,
    member: &Member,
    stage: Stage,
    new: String,
    browser: &Browser,
) -> Result<Chosen, PeopleError> {
    let mut c = app.db.read().await?;
    let first = accounts::by_id(&mut c, &member.account).await?.map(|account| account.password_hash);
    drop(c);
    if app.passwords.matches(first.clone(), new.clone()).await? {
        return Ok(Chosen::FirstAgain);
    }
    let signed_in = replace_password(app, member, first, stage, new, browser).await?;
    Ok(signed_in.map_or(Chosen::Overtaken, Chosen::Taken))
}

/// `None` when the password is not what it was a moment ago: the owner may have given another one meanwhile.
async fn replace_password(
    app: &App,
    member: &Member,
    before: Option<String>,
    stage: Stage,
    new: String,
    browser: &Browser,
) -> Result<Option<SignedIn>, PeopleError> {
    let hash = app.passwords.hash(new).await?;
    let (now, actor) = (app.clock.now(), Actor::Member(member.clone()));
    let mut tx = app.db.write().await?;
    if accounts::by_id(&mut tx, &member.account).await?.map(|account| account.password_hash) != before {
        return Ok(None);
    }
    accounts::set_password(&mut tx, &member.account, &hash).await?;
    accounts::set_first(&mut tx, &member.account, None).await?;
    sessions::end_all(&mut tx, &Holder::Account(member.account.clone())).await?;
    sign_in::take_back(app, &mut tx, &actor, &member.account, now).await?;
    audit::append(&mut tx, &actor, Event { action: "password.changed", ..Event::default() }, now).await?;
    tell(app, &mut tx, &member.account, News::PasswordChanged, now).await?;
    let signed_in = sign_in::begin(app, &mut tx, member, stage, browser, now).await?;
    tx.commit().await?;
    Ok(Some(signed_in))
}

/// Makes the link of a mail that is being written, and stores its hash.
///
/// # Errors
/// When the database can't.
pub async fn mint_link(app: &App, client: &ClientId, draft: Option<&DraftId>) -> Stored<String> {
    let token = app.random.token();
    let mut tx = app.db.write().await?;
    sessions::add_link(&mut tx, &sha256_hex(&token), client, draft, app.clock.now(), LINK_LASTS).await?;
    tx.commit().await?;
    Ok(format!("{}/sign-in/{token}", app.address.base_url))
}
