//! A booking is left and gone on with later: the link goes to her mail, and opens the booking once, for whoever also
//! knows her date of birth, since a mail address can be mistyped and the booking holds health answers.

use time::OffsetDateTime;

use super::{Pending, enqueue};
use crate::app::App;
use crate::domain::ids::DraftId;
use crate::domain::person::Mail;
use crate::domain::role::Actor;
use crate::store::audit::Event;
use crate::store::types::sha256_hex;
use crate::store::{Stored, audit, drafts};

/// Puts the mail in the outbox.
///
/// # Errors
/// When the database can't.
pub async fn ask(app: &App, draft: &DraftId, mail: &Mail) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    enqueue(app, &mut tx, mail, &Pending::GoOn { draft: draft.clone() }, now).await?;
    tx.commit().await
}

/// Makes the link of a mail that is being written, and stores its hash. Links in earlier mails end.
///
/// # Errors
/// When the database can't.
pub async fn mint_link(app: &App, draft: &DraftId) -> Stored<String> {
    let token = app.random.token();
    let mut tx = app.db.write().await?;
    drafts::add_link(&mut tx, &sha256_hex(&token), draft, app.clock.now()).await?;
    tx.commit().await?;
    Ok(format!("{}/go-on/{token}", app.address.base_url))
}

/// A wrong date of birth was given with a link.
///
/// # Errors
/// When the database can't.
pub async fn wrong(app: &App, token: &str, draft: &DraftId) -> Stored<()> {
    let mut tx = app.db.write().await?;
    drafts::tried(&mut tx, &sha256_hex(token)).await?;
    let event = Event { action: "booking.not-opened", object: draft.as_str(), ..Event::default() };
    audit::append(&mut tx, &Actor::Visitor, event, app.clock.now()).await?;
    tx.commit().await
}

/// Uses a link up: its booking, and all that this browser was filling in, go over to a new token. `None` when somebody
/// was quicker.
///
/// # Errors
/// When the database can't.
pub async fn open(app: &App, token: &str, draft: &DraftId, browser: Browser<'_>) -> Stored<Option<String>> {
    let now: OffsetDateTime = app.clock.now();
    let mut tx = app.db.write().await?;
    if !drafts::use_link(&mut tx, &sha256_hex(token), now).await? {
        return Ok(None);
    }
    // Whoever is signed in stays so: her session's token is one that nobody could have given her.
    let new_token = if browser.signed_in { browser.token.to_owned() } else { app.random.token() };
    let new_hash = sha256_hex(&new_token);
    drafts::move_all(&mut tx, &sha256_hex(browser.token), &new_hash).await?;
    drafts::give_to(&mut tx, draft, &new_hash, now).await?;
    let event = Event { action: "booking.gone-on", object: draft.as_str(), ..Event::default() };
    audit::append(&mut tx, &Actor::Visitor, event, now).await?;
    tx.commit().await?;
    Ok(Some(new_token))
}

/// The browser in which a link was followed.
pub struct Browser<'a> {
    /// Its token.
    pub token: &'a str,
    /// Whether a client is signed in there.
    pub signed_in: bool,
}
