//! One function per change: load, decide, store, write down, put mail in the outbox; all in one transaction.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;

use crate::app::App;
use crate::domain::ids::{AccountId, ClientId, DraftId, InvitationId, MailId, OfferId, SkinTestId, VisitId};
use crate::domain::person::Mail;
use crate::domain::role::News;
use crate::store::types::impossible;
use crate::store::{Connection, Stored, accounts, outbox};

pub mod answers;
pub mod audit;
pub mod backup;
pub mod book;
pub mod booking;
pub mod case;
pub mod catalogue;
pub mod chair;
pub mod consents;
pub mod desk;
pub mod diary;
pub mod erasure;
pub mod export;
pub mod feeds;
pub mod files;
pub mod forecast;
pub mod going_on;
pub mod guardian;
pub mod health;
pub mod holds;
pub mod hours;
pub mod invite;
pub mod ledger;
pub mod letters;
pub mod own_visits;
pub mod papers;
pub mod passkeys;
pub mod people;
pub mod photos;
pub mod post;
pub mod reactions;
pub mod restriction;
pub mod retention;
pub mod retouch;
pub mod rules;
pub mod second_factor;
pub mod seen;
pub mod shelf;
pub mod sign_in;
pub mod steps;
pub mod studio;
pub mod takeover;
pub mod takings;
pub mod team;
pub mod test_reports;
pub mod treating;
pub mod verdicts;
pub mod wishes;
pub mod zones;

/// A mail in the outbox: only ids, so that no text lies about and a link's token is made when the mail is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Pending {
    /// Links for every client with this mail, which is looked up when the letter is written: whether there is any
    /// can't be told from how long the page takes that asks for them.
    SignInLinks {
        /// The booking that was being filled in.
        draft: Option<DraftId>,
    },
    /// A sign-in link.
    SignInLink {
        /// For whom.
        client: ClientId,
        /// The booking that she was filling in.
        draft: Option<DraftId>,
    },
    /// The link with which a booking is gone on with.
    GoOn {
        /// Which.
        draft: DraftId,
    },
    /// What was booked.
    Booked {
        /// The visits.
        visits: Vec<VisitId>,
    },
    /// A visit has another time.
    Moved {
        /// Which.
        visit: VisitId,
    },
    /// Something new stands against a visit.
    VerdictChanged {
        /// Which.
        visit: VisitId,
    },
    /// A visit is off.
    Cancelled {
        /// Which.
        visit: VisitId,
    },
    /// What does she see of her skin test?
    SkinTestPrompt {
        /// Who.
        client: ClientId,
        /// Which test.
        test: SkinTestId,
    },
    /// The studio should look at what a client reported.
    LookAtReport {
        /// Whose.
        client: ClientId,
    },
    /// An earlier time is kept for her.
    Earlier {
        /// Which.
        offer: OfferId,
    },
    /// A client is asked back.
    Invitation {
        /// Which letter.
        invitation: InvitationId,
    },
    /// A visit comes soon.
    Reminder {
        /// Which.
        visit: VisitId,
        /// When it began when the reminder was due, in Unix seconds: of a visit that moved, another one is written.
        starts_at: i64,
    },
    /// A package of records is made.
    ExportReady {
        /// By whose sign-in.
        account: AccountId,
    },
    /// Papers of the studio end soon.
    PapersEnd,
    /// All that was kept about the reader is gone, as she asked; nothing is left to be named here.
    Erased,
    /// What may go is gone, as she asked, and the rest is locked away.
    Restricted {
        /// Who.
        client: ClientId,
        /// To which day, such as `2033-03-02`; nothing when none is known.
        to: Option<String>,
    },
    /// What to do and what to leave after a treatment.
    Aftercare {
        /// The visit.
        visit: VisitId,
    },
    /// Something happened to the sign-in of somebody of the team.
    SignIn {
        /// Whose.
        account: AccountId,
        /// What.
        news: News,
        /// When, in Unix seconds.
        at: i64,
    },
}

/// Puts a mail in the outbox, in the transaction of what causes it.
pub(crate) async fn enqueue(
    app: &App,
    c: &mut Connection,
    to: &Mail,
    pending: &Pending,
    now: OffsetDateTime,
) -> Stored<()> {
    enqueue_at(app, c, to, pending, now, now).await
}

/// Puts a mail in the outbox that leaves later.
pub(crate) async fn enqueue_at(
    app: &App,
    c: &mut Connection,
    to: &Mail,
    pending: &Pending,
    due: OffsetDateTime,
    now: OffsetDateTime,
) -> Stored<()> {
    let id = MailId::from_random(app.random.id());
    let body = serde_json::to_string(pending).map_err(|_| impossible("outbox", "body", id.as_str()))?;
    outbox::add(c, &id, to.as_str(), &body, due, now).await
}

/// Writes to somebody of the team about her sign-in.
pub(crate) async fn tell(
    app: &App,
    c: &mut Connection,
    account: &AccountId,
    news: News,
    now: OffsetDateTime,
) -> Stored<()> {
    let Some(she) = accounts::by_id(c, account).await? else { return Ok(()) };
    let mail = crate::store::types::read("account", "mail", account.as_str(), Mail::parse(&she.mail))?;
    let pending = Pending::SignIn { account: account.clone(), news, at: now.unix_timestamp() };
    enqueue(app, c, &mail, &pending, now).await
}
