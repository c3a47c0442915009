//! `GET /owner/processing`: the record of processing activities (GDPR, art. 30), filled from what is set. Template:
//! `owner/keeping/processing.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::{today, words};
use crate::app::{App, SecondFactor};
use crate::domain::retention::Class;
use crate::store::{feeds, practitioners, retention};
use crate::web::page::{Answer, Ctx, Page};
use crate::when;
use crate::{msg, t};

/// Something that is done with data.
struct Activity {
    what: &'static str,
    purpose: &'static str,
    people: &'static str,
    data: &'static str,
    basis: &'static str,
    kept: String,
}

/// Those whose time the owner sets. The bases are the articles by their number; that they fit is for her to confirm.
const SET: [(&str, &str, &str, &str, &str, Class); 5] = [
    (
        msg("Booking and visits"),
        msg("To keep a time for a client and to reach her"),
        msg("Clients; parents or guardians"),
        msg("Name, mail, phone, date of birth, visits, deposits"),
        msg("Contract: art. 6 (1) (b)"),
        Class::Contact,
    ),
    (
        msg("Health questions, skin tests and doctors’ letters"),
        msg("To treat nobody whom it could hurt"),
        msg("Clients"),
        msg("Health answers, results of skin tests, letters, what the rules said of them"),
        msg("Explicit consent: art. 6 (1) (a) and 9 (2) (a); afterwards as below"),
        Class::Contact,
    ),
    (
        msg("Treatment records, signatures, photos and reactions"),
        msg("To treat well the next time, and as proof should there be a claim"),
        msg("Clients; parents or guardians; whoever treated"),
        msg("What was done, with which product and batch, signatures, photos, reports of reactions"),
        msg("Explicit consent: art. 6 (1) (a) and 9 (2) (a); legal claims: art. 6 (1) (f) and 9 (2) (f)"),
        Class::Treated,
    ),
    (
        msg("Invitations and wishes for another time"),
        msg("To ask a client back who agreed to it; to offer her an earlier time"),
        msg("Clients"),
        msg("Which service and when; which times she wished for"),
        msg("Consent: art. 6 (1) (a), taken back at any time; contract: art. 6 (1) (b)"),
        Class::Invitations,
    ),
    (
        msg("Mail about visits"),
        msg("To confirm, remind and tell of changes"),
        msg("Clients; the team"),
        msg("Address, kind of mail, day; never a health answer"),
        msg("Contract: art. 6 (1) (b)"),
        Class::Letters,
    ),
];

#[derive(Template)]
#[template(path = "owner/keeping/processing.html")]
struct ProcessingPage {
    ctx: Ctx,
    address: String,
    printed: String,
    activities: Vec<Activity>,
    team: usize,
    /// Whether mail leaves through a server.
    mail_leaves: bool,
    /// How many calendars elsewhere are read.
    calendars: usize,
    second_factor: bool,
    tls: bool,
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx) -> Answer {
    let studio = ctx.studio()?.clone();
    let mut c = app.db.read().await?;
    let mut activities = Vec::new();
    for (what, purpose, people, data, basis, class) in SET {
        let kept = words::term(class, retention::newest(&mut c, class).await?.term);
        activities.push(Activity { what, purpose, people, data, basis, kept });
    }
    activities.push(Activity {
        what: t("Sign-ins of the team, and the log"),
        purpose: t("To let in whom it concerns, and to show who saw or changed what"),
        people: t("The team; clients by a number without a name"),
        data: t("Name, mail, hashed password, second factor; actor, action, day"),
        basis: t("Legitimate interest: art. 6 (1) (f); accountability: art. 5 (2)"),
        kept: t(
            "a sign-in as long as she works here; the log as long as the studio, since each line proves the one before",
        )
        .to_owned(),
    });
    let page = ProcessingPage {
        address: studio.address.clone(),
        printed: when::day(today(&app, &studio)),
        activities,
        team: practitioners::all(&mut c).await?.iter().filter(|she| she.active).count(),
        mail_leaves: app.transport.folder().is_none(),
        calendars: feeds::all_outside(&mut c).await?.len(),
        second_factor: app.second_factor == SecondFactor::Asked,
        tls: app.address.https,
        ctx,
    };
    Ok(Page::ok(page).into_response())
}
