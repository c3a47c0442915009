//! `GET` and `POST /desk/visits/{id}/photos`: how it looked before and after, where she agreed to photos for the record.
//! Template: `practitioner/photos.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::view::Names;
use crate::actions::files::Belongs;
use crate::actions::photos::{self, Refused};
use crate::actions::{health::looked, treating};
use crate::app::App;
use crate::documents::upload::{Checked, Takes};
use crate::domain::file::Purpose;
use crate::domain::ids::VisitId;
use crate::store::files::StoredFile;
use crate::store::{Connection, clients, files, visits};
use crate::web::error::Fault;
use crate::web::form::{Errors, FormWithFile};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words;
use crate::{t, tf};

/// A photo: where it is, and whose when.
pub(super) struct PhotoView {
    pub(super) href: String,
    pub(super) words: String,
}

#[derive(Template)]
#[template(path = "practitioner/photos.html")]
struct PhotosPage {
    ctx: Ctx,
    errors: Errors,
    visit: VisitId,
    who: String,
    what: String,
    before: Vec<PhotoView>,
    after: Vec<PhotoView>,
    allowed: bool,
    /// Whether the treatment is under way, so that there is a chair to go back to.
    at_chair: bool,
}

/// The photos of a visit with one purpose.
pub(super) fn views(all: &[StoredFile], purpose: Purpose, names: &Names) -> Vec<PhotoView> {
    let said = match purpose {
        Purpose::Before => tf("Photo before, {when} by {who}"),
        Purpose::After => tf("Photo after, {when} by {who}"),
        _ => tf("Photo reaction, {when} by {who}"),
    };
    let of = all.iter().filter(|photo| photo.purpose == purpose);
    of.map(|photo| PhotoView {
        href: format!("/desk/files/{}", photo.id),
        words: said.clone().with("when", names.moment(photo.added_at)).with("who", &photo.added_by).to_string(),
    })
    .collect()
}

async fn found(
    c: &mut Connection,
    team: &Team,
    id: &str,
) -> Result<(visits::Visit, crate::domain::ids::ClientId), Fault> {
    let id = VisitId::parse(id).map_err(|_| Fault::NotFound)?;
    let found = treating::case_for(c, &team.0, &id).await?;
    found.filter(|(visit, _)| visit.purpose == visits::Purpose::Treatment).ok_or(Fault::NotFound)
}

async fn page(app: &App, ctx: Ctx, team: &Team, id: &str, errors: Errors) -> Result<PhotosPage, Fault> {
    let mut c = app.db.read().await?;
    let (visit, client) = found(&mut c, team, id).await?;
    let names = Names::load(&mut c, ctx.studio()?).await?;
    let all = files::about(&mut c, visit.id.as_str()).await?;
    let person = clients::get(&mut c, &client).await?.ok_or(Fault::NotFound)?;
    let allowed = photos::allowed(&mut c, &client).await?;
    drop(c);
    looked(app, &team.0, "photos.seen", Some(&client), visit.id.as_str()).await?;
    Ok(PhotosPage {
        who: person.name.as_str().to_owned(),
        what: format!("{}, {}", names.service(&visit.service), names.moment(visit.starts_at)),
        before: views(&all, Purpose::Before, &names),
        after: views(&all, Purpose::After, &names),
        at_chair: visit.state == crate::domain::visit::VisitState::InTreatment,
        visit: visit.id,
        allowed,
        ctx,
        errors,
    })
}

/// Shows them.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    Ok(Page::ok(page(&app, ctx, &team, &id, Errors::new()).await?).into_response())
}

/// The photo of a form, checked; or why it isn't taken.
pub(super) async fn taken_photo(form: &mut FormWithFile, errors: &mut Errors) -> Option<Checked> {
    let taken = form.take(Takes::Photo).await;
    let photo = errors.take("file", taken, words::upload).flatten();
    if photo.is_none() {
        errors.add("file", t("Choose a photo."));
    }
    photo
}

/// Why a photo was not kept, at its field.
pub(super) fn not_kept(refused: Refused, errors: &mut Errors) -> Result<(), Fault> {
    match refused {
        Refused::Store(error) => return Err(error.into()),
        Refused::NotAgreed => errors.add("file", t("She has not agreed to photos for the record, or took it back.")),
    }
    Ok(())
}

/// Adds one.
pub async fn post(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    mut form: FormWithFile,
) -> Answer {
    let (visit, client) = found(&mut *app.db.read().await?, &team, &id).await?;
    let mut errors = Errors::new();
    let purpose = Purpose::parse(form.fields.trimmed("purpose"));
    let purpose = purpose.filter(|one| matches!(one, Purpose::Before | Purpose::After));
    if purpose.is_none() {
        errors.add("purpose", t(words::CHOOSE));
    }
    let photo = taken_photo(&mut form, &mut errors).await;
    if let (Some(photo), Some(purpose)) = (photo, purpose) {
        let to = Belongs { client: &client, purpose, about: visit.id.as_str(), by: &team.0.name };
        match photos::keep(&app, &team.0, &to, &photo).await {
            Ok(()) => return Ok(see_other(&format!("/desk/visits/{id}/photos"))),
            Err(refused) => not_kept(refused, &mut errors)?,
        }
    }
    Ok(Page::refused(page(&app, ctx, &team, &id, errors).await?).into_response())
}
