//! `GET /book/{id}/later`: she leaves the booking; the link to go on is on its way to her mail.
//! Template: `public/book/later.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::Booking;
use crate::actions::going_on;
use crate::app::App;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "public/book/later.html")]
struct LaterPage {
    ctx: Ctx,
    mail: String,
    held_until: Option<String>,
    signed_in: bool,
    next: String,
}

impl Booking {
    /// Where a button at the foot of a page leads, after the page was kept: back to it with more time, or to the page
    /// that says that the link is on its way. Without a mail to send it to, the page is read as if it were sent on.
    pub(in crate::web::public) async fn stays(
        &self,
        app: &App,
        fields: &Fields,
        here: &str,
    ) -> Result<Option<String>, Fault> {
        if fields.ticked("more_time") {
            return Ok(Some(self.path(here)));
        }
        let Some(mail) = self.mail().filter(|_| fields.ticked("later")) else { return Ok(None) };
        // Over the limit the page stays the same: there are links enough in the mailbox.
        let count = |what, whom: &str| app.limits.count(what, whom, self.now).is_ok();
        let address = format!("{} {}", self.from, mail.as_str());
        if count(What::GoOnHere, &address) && count(What::GoOnAnywhere, mail.as_str()) {
            going_on::ask(app, &self.draft.id, &mail).await?;
        }
        Ok(Some(self.path("later")))
    }
}

/// Says so.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let booking = Booking::open(&app, &ctx, &id).await?;
    let mail = booking.mail().ok_or_else(|| Fault::SeeOther(booking.next()))?;
    let page = LaterPage {
        mail: mail.as_str().to_owned(),
        held_until: booking.hold_view().map(|hold| hold.until),
        signed_in: booking.client.is_some(),
        next: booking.next(),
        ctx,
    };
    Ok(Page::ok(page).into_response())
}
