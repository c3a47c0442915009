//! `GET` and `POST /owner/practitioners/{id}`: one practitioner's name, week, days off and sign-in.
//! Template: `owner/practitioner.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use time::{Date, OffsetDateTime};

use super::practitioners::{DAYS, week};
use super::{Done, done, filled, id, seen, there, tick, today};
use crate::actions::seen::Saved;
use crate::actions::team;
use crate::app::App;
use crate::domain::hours::{DayHours, WeeklyHours};
use crate::domain::ids::PractitionerId;
use crate::domain::mark::Mark;
use crate::domain::person::PersonName;
use crate::domain::role::{Member, Role};
use crate::domain::zone::Zone;
use crate::store::accounts::{self, Account};
use crate::store::practitioners::{self, Practitioner};
use crate::store::second_factor;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;
use crate::when;

/// What she signs in with.
enum SignIn {
    /// Nothing; `mine` when the owner may say that she is this practitioner.
    None { mine: bool },
    /// The owner's own account.
    Mine,
    /// Another owner's account.
    OtherOwner,
    /// Her own.
    Own { mail: String, enabled: bool, factor: bool, first: First },
}

/// Whether she still has the password that the owner told her.
enum First {
    /// Her own.
    Replaced,
    /// Until a time.
    Until(String),
    /// It ended before she came.
    Ended,
}

impl First {
    fn of(until: Option<OffsetDateTime>, zone: &Zone, now: OffsetDateTime) -> Self {
        match until {
            None => Self::Replaced,
            Some(until) if now < until => Self::Until(when::moment(zone.to_civil(until))),
            Some(_) => Self::Ended,
        }
    }
}

impl SignIn {
    fn of(account: Option<Account>, me: &Member, factor: bool, zone: &Zone, now: OffsetDateTime) -> Self {
        match account {
            None => Self::None { mine: me.practitioner.is_none() },
            Some(account) if account.member.account == me.account => Self::Mine,
            Some(account) if account.member.role == Role::Owner => Self::OtherOwner,
            Some(account) => {
                let first = First::of(account.first_until, zone, now);
                Self::Own { mail: account.mail, enabled: account.enabled, factor, first }
            }
        }
    }
}

#[derive(Template)]
#[template(path = "owner/practitioner.html")]
pub(super) struct PractitionerPage {
    ctx: Ctx,
    she: Practitioner,
    off: Vec<(Date, Date, String)>,
    /// How many visits are booked with her from now on.
    booked: usize,
    sign_in: SignIn,
    /// Of the form about her and her week.
    fields: Fields,
    /// Of the form about her sign-in.
    account: Fields,
    errors: Errors,
}

/// What was typed into one of the page's forms.
#[derive(Default)]
pub(super) struct Typed {
    pub(super) about: Option<Fields>,
    pub(super) sign_in: Fields,
}

pub(super) async fn page(
    app: &App,
    ctx: Ctx,
    me: &Member,
    id: &PractitionerId,
    typed: Typed,
    errors: Errors,
) -> Result<PractitionerPage, Fault> {
    let mut c = app.db.read().await?;
    let she = there(practitioners::get(&mut c, id).await?)?;
    let fields = match typed.about {
        Some(fields) => fields,
        None => stored(&she, &week(&mut c, &she).await?, &team::seen(&mut c, &she).await?),
    };
    let off = practitioners::time_off(&mut c, today(app, ctx.studio()?)).await?;
    let off = off.into_iter().filter(|off| off.practitioner.as_ref() == Some(id));
    let off = off.map(|off| (off.from, off.to, off.reason)).collect();
    let account = accounts::of_practitioner(&mut c, id).await?;
    let factor = match &account {
        Some(account) => second_factor::is_set_up(&mut c, &account.member.account).await?,
        None => false,
    };
    let sign_in = SignIn::of(account, me, factor, &ctx.studio()?.zone, app.clock.now());
    let booked = practitioners::booked_from(&mut c, app.clock.now()).await?;
    let booked = booked.iter().filter(|(who, _)| who == id).count();
    Ok(PractitionerPage { ctx, she, off, booked, sign_in, fields, account: typed.sign_in, errors })
}

fn stored(she: &Practitioner, week: &WeeklyHours, seen: &Mark) -> Fields {
    let mut pairs =
        filled([("seen", seen.as_str().to_owned()), ("name", she.name.clone()), ("active", tick(she.active))]).pairs();
    pairs.extend(DAYS.iter().map(|(day, name)| ((*name).to_owned(), week.on(*day).to_string())));
    Fields::of(pairs)
}

/// Shows her.
pub async fn get(
    State(app): State<App>,
    ctx: Ctx,
    Team(me): Team,
    Path(path): Path<String>,
    Done(said): Done,
) -> Answer {
    let id = id(PractitionerId::parse(&path))?;
    Ok(Page::ok(page(&app, ctx.saying(said), &me, &id, Typed::default(), Errors::new()).await?).into_response())
}

fn read(fields: &Fields) -> Result<(PersonName, WeeklyHours), Errors> {
    let mut errors = Errors::new();
    let name = errors.take("name", PersonName::parse(fields.get("name")), words::name);
    let days = DAYS.map(|(_, day)| errors.take(day, DayHours::parse_text(fields.get(day)), words::hours));
    match name {
        Some(name) if errors.is_empty() => Ok((name, WeeklyHours::of(days.map(Option::unwrap_or_default)))),
        _ => Err(errors),
    }
}

/// Stores her name, whether she can be booked, and her week.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, fields: Fields) -> Answer {
    let id = id(PractitionerId::parse(&path))?;
    match read(&fields) {
        Ok((name, week)) => {
            let about = (&name, fields.ticked("active"), &week);
            match team::save(&app, &team.actor(), &id, Some(&seen(&fields)), about).await? {
                Saved::Done(()) => Ok(done(&format!("/owner/practitioners/{id}"), "saved")),
                Saved::Unknown => Err(Fault::NotFound),
                Saved::Overtaken => {
                    let typed = Typed { about: Some(fields), ..Typed::default() };
                    let page = page(&app, ctx.overtaken(), &team.0, &id, typed, Errors::new()).await?;
                    Ok(Page::conflict(page).into_response())
                }
            }
        }
        Err(errors) => {
            let typed = Typed { about: Some(fields), ..Typed::default() };
            Ok(Page::refused(page(&app, ctx, &team.0, &id, typed, errors).await?).into_response())
        }
    }
}
