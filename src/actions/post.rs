//! Mail that goes by the clock, and mail that didn't leave.

use super::{Pending, enqueue};
use crate::app::App;
use crate::domain::ids::MailId;
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::{Stored, audit, clients, outbox, reminders, studio};
use crate::t;

/// Puts the reminders that are due into the outbox: how many. Whoever missed the first one, since the program stood
/// still, gets one letter and not two.
///
/// # Errors
/// When the database can't.
pub async fn remind(app: &App) -> Stored<usize> {
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let Some(row) = studio::get(&mut c).await? else { return Ok(0) };
    let hours = (row.remind_first_hours, row.remind_second_hours);
    let none = reminders::due(&mut c, now, hours.0, hours.1).await?.is_empty();
    drop(c);
    if none {
        return Ok(0);
    }
    let mut tx = app.db.write().await?;
    let mut written = 0;
    let mut last = None;
    for due in reminders::due(&mut tx, now, hours.0, hours.1).await? {
        reminders::note(&mut tx, &due).await?;
        if last.as_ref() == Some(&due.visit) {
            continue;
        }
        if let Some(client) = clients::get(&mut tx, &due.client).await? {
            let pending = Pending::Reminder { visit: due.visit.clone(), starts_at: due.starts_at };
            enqueue(app, &mut tx, &client.mail, &pending, now).await?;
            written += 1;
        }
        last = Some(due.visit);
    }
    tx.commit().await?;
    Ok(written)
}

/// How many kinds of mail [`kind`] tells apart.
pub const KINDS: usize = 17;

/// What a mail in the outbox is, for the owner's page and the doctor.
pub fn kind(body: &str) -> &'static str {
    match serde_json::from_str(body) {
        Ok(Pending::SignInLink { .. } | Pending::SignInLinks { .. }) => t("Sign-in link"),
        Ok(Pending::SignIn { .. }) => t("News of a sign-in"),
        Ok(Pending::GoOn { .. }) => t("Link to go on booking"),
        Ok(Pending::Booked { .. }) => t("Confirmation"),
        Ok(Pending::Moved { .. }) => t("New time"),
        Ok(Pending::Cancelled { .. }) => t("Cancellation"),
        Ok(Pending::Invitation { .. }) => t("Invitation"),
        Ok(Pending::Reminder { .. }) => t("Reminder"),
        Ok(Pending::SkinTestPrompt { .. }) => t("Question to a client"),
        Ok(Pending::LookAtReport { .. }) => t("A client’s report"),
        Ok(Pending::Earlier { .. }) => t("Earlier time"),
        Ok(Pending::Aftercare { .. }) => t("Aftercare"),
        Ok(Pending::PapersEnd) => t("Papers that end"),
        Ok(Pending::ExportReady { .. }) => t("Export is ready"),
        Ok(Pending::Erased) => t("Answer: erased"),
        Ok(Pending::Restricted { .. }) => t("Answer: partly erased"),
        Ok(Pending::VerdictChanged { .. }) => t("News about a visit"),
        Err(_) => t("Mail of another version"),
    }
}

/// Lets a mail that was given up be tried anew. `false` when there is none.
///
/// # Errors
/// When the database can't.
pub async fn again(app: &App, member: &Member, id: &MailId) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let done = outbox::again(&mut tx, id, now).await?;
    if done {
        let event = Event { action: "mail.tried-again", object: id.as_str(), ..Event::default() };
        audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    }
    tx.commit().await?;
    Ok(done)
}

/// Takes a mail out that was given up. `false` when there is none.
///
/// # Errors
/// When the database can't.
pub async fn set_aside(app: &App, member: &Member, id: &MailId) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let done = outbox::set_aside(&mut tx, id).await?;
    if done {
        let event = Event { action: "mail.set-aside", object: id.as_str(), ..Event::default() };
        audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    }
    tx.commit().await?;
    Ok(done)
}
