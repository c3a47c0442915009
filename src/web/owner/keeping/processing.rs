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
        "Booking and visits",
        "To keep a time for a client and to reach her",
        "Clients; parents or guardians",
        "Name, mail, phone, date of birth, visits, deposits",
        "Contract: art. 6 (1) (b)",
        Class::Contact,
    ),
    (
        "Health questions, skin tests and doctors’ letters",
        "To treat nobody whom it could hurt",
        "Clients",
        "Health answers, results of skin tests, letters, what the rules said of them",
        "Explicit consent: art. 6 (1) (a) and 9 (2) (a); afterwards as below",
        Class::Contact,
    ),
    (
        "Treatment records, signatures, photos and reactions",
        "To treat well the next time, and as proof should there be a claim",
        "Clients; parents or guardians; whoever treated",
        "What was done, with which product and batch, signatures, photos, reports of reactions",
        "Explicit consent: art. 6 (1) (a) and 9 (2) (a); legal claims: art. 6 (1) (f) and 9 (2) (f)",
        Class::Treated,
    ),
    (
        "Invitations and wishes for another time",
        "To ask a client back who agreed to it; to offer her an earlier time",
        "Clients",
        "Which service and when; which times she wished for",
        "Consent: art. 6 (1) (a), taken back at any time; contract: art. 6 (1) (b)",
        Class::Invitations,
    ),
    (
        "Mail about visits",
        "To confirm, remind and tell of changes",
        "Clients; the team",
        "Address, kind of mail, day; never a health answer",
        "Contract: art. 6 (1) (b)",
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
        what: "Sign-ins of the team, and the log",
        purpose: "To let in whom it concerns, and to show who saw or changed what",
        people: "The team; clients by a number without a name",
        data: "Name, mail, hashed password, second factor; actor, action, day",
        basis: "Legitimate interest: art. 6 (1) (f); accountability: art. 5 (2)",
        kept:
            "a sign-in as long as she works here; the log as long as the studio, since each line proves the one before"
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
