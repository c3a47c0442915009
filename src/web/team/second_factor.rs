//! `GET` and `POST /team/second-factor`, `POST /team/second-factor/later`: setting the second factor up.
//! Templates: `team/second_factor.html`, `team/codes.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::{passkeys, second_factor};
use crate::app::{App, SecondFactor};
use crate::documents::svg;
use crate::domain::role::{Member, Role};
use crate::second_factor::Secret;
use crate::store::accounts;
use crate::store::second_factor as stored;
use crate::store::sessions::Stage;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::page::{Answer, Ctx, Drawing, Page, see_other};
use crate::web::session::{self, Door};

/// What the page is about.
enum Offer {
    /// The demo has none.
    Off,
    /// This secret, as a picture and in words.
    Secret { picture: Option<Drawing>, words: String },
}

#[derive(Template)]
#[template(path = "team/second_factor.html")]
struct SecondFactorPage {
    ctx: Ctx,
    errors: Errors,
    offer: Offer,
    /// It takes the place of an app that is there.
    again: bool,
    /// There are passkeys beside it.
    beside: bool,
    /// A passkey would do as well.
    passkey: bool,
    /// She can't go anywhere else before it is set up.
    first: bool,
    owner: bool,
    /// She may put it off.
    later: bool,
}

/// New recovery codes, shown once.
#[derive(Template)]
#[template(path = "team/codes.html")]
pub(super) struct CodesPage {
    pub(super) ctx: Ctx,
    pub(super) codes: Vec<String>,
    pub(super) next: &'static str,
}

async fn page(app: &App, ctx: Ctx, door: &Door, errors: Errors) -> Result<SecondFactorPage, Fault> {
    let mut c = app.db.read().await?;
    let account = accounts::by_id(&mut c, &door.member.account).await?.ok_or(Fault::NotFound)?;
    let again = stored::get(&mut c, &door.member.account).await?.is_some();
    let beside = stored::is_set_up(&mut c, &door.member.account).await? && !again;
    let passkey = passkeys::none_here(app).is_none();
    let later = door.stage == Stage::SetUp && second_factor::may_put_off(&mut c, &door.member).await?;
    let offer = match app.second_factor {
        SecondFactor::Off => Offer::Off,
        SecondFactor::Asked => {
            let secret = Secret::offered(&door.token);
            let address = secret.address(&ctx.studio_name, &account.mail);
            let picture = svg::for_cameras(&address, t("The secret as a picture, for the camera of your app"));
            Offer::Secret { picture: picture.as_ref().map(Drawing::of), words: secret.words() }
        }
    };
    let (first, owner) = (door.stage == Stage::SetUp, door.member.role == Role::Owner);
    Ok(SecondFactorPage { ctx, errors, offer, again, beside, passkey, first, owner, later })
}

/// Past the code, and with a password of her own.
pub(super) fn may_set_up(door: &Door) -> Result<(), Fault> {
    match door.first() {
        Some("/team/second-factor") | None => Ok(()),
        Some(first) => Err(Fault::SeeOther(first.to_owned())),
    }
}

/// Shows the secret.
pub async fn get(State(app): State<App>, ctx: Ctx, door: Door) -> Answer {
    may_set_up(&door)?;
    Ok(Page::ok(page(&app, ctx, &door, Errors::new()).await?).into_response())
}

/// Sets it up, when the code shows that her app has the secret.
pub async fn post(State(app): State<App>, ctx: Ctx, door: Door, fields: Fields) -> Answer {
    may_set_up(&door)?;
    if app.second_factor == SecondFactor::Off {
        return Err(Fault::Conflict);
    }
    if door.stage == Stage::Open && !door.proved {
        return Ok(see_other("/team/prove?next=/team/second-factor"));
    }
    let code = fields.trimmed("code");
    let done = second_factor::set_up(&app, &door.member, &door.token, code, &ctx.seen.browser).await?;
    let Some((signed_in, codes)) = done else {
        let mut errors = Errors::new();
        errors.add("code", t("That isn’t the code that your app shows for this secret just now. Is its clock right?"));
        return Ok(Page::refused(page(&app, ctx, &door, errors).await?).into_response());
    };
    let next = home(&door.member);
    let mut response = Page::ok(CodesPage { ctx: ctx.renewed(&signed_in.token), codes, next }).into_response();
    session::let_in(&app, response.headers_mut(), &signed_in);
    Ok(response)
}

/// Where she goes on once it is set up.
pub(super) fn home(member: &Member) -> &'static str {
    if member.role == Role::Owner { "/owner" } else { "/desk" }
}

/// Puts it off until she signs in the next time.
pub async fn later(State(app): State<App>, door: Door, _fields: Fields) -> Answer {
    may_set_up(&door)?;
    if second_factor::put_off(&app, &door.member, &door.token).await? {
        Ok(see_other("/desk"))
    } else {
        Err(Fault::Forbidden)
    }
}
