//! `GET /desk/files/{id}` and `/me/files/{id}`, each with `/small` for the thumbnail: a photo or a letter, for whoever
//! treats the client, the owner, and the client herself.

use axum::extract::{Path, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};

use crate::actions::{health::looked, treating};
use crate::app::App;
use crate::domain::file::{Kind, Purpose};
use crate::domain::ids::FileId;
use crate::store::files::{self, StoredFile};
use crate::store::{Connection, Stored};
use crate::web::error::Fault;
use crate::web::guard::{SignedIn, Team};
use crate::web::page::Answer;

/// A file may do nothing but be looked at, whatever it turns out to be.
const POLICY: &str = "default-src 'none'; sandbox";

async fn find(c: &mut Connection, id: &str) -> Result<StoredFile, Fault> {
    let id = FileId::parse(id).map_err(|_| Fault::NotFound)?;
    files::get(c, &id).await?.ok_or(Fault::NotFound)
}

async fn content(c: &mut Connection, file: &StoredFile, small: bool) -> Stored<Option<Vec<u8>>> {
    if small { files::thumbnail(c, &file.id).await } else { files::body(c, &file.id).await.map(Some) }
}

/// A file as it is sent: `how` is `inline` or `attachment`, `name` what it is called without its ending.
pub(in crate::web) fn respond(kind: Kind, how: &str, name: &str, content: Vec<u8>) -> Answer {
    let name = format!("{how}; filename=\"{name}.{}\"", kind.as_str());
    let mut response: Response = content.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind.media_type()));
    headers.insert(header::CONTENT_DISPOSITION, HeaderValue::from_str(&name).map_err(Fault::internal)?);
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    Ok(response)
}

fn of_client(file: &StoredFile, content: Option<Vec<u8>>) -> Answer {
    // A photo is shown; a PDF is handed over, since what opens it is no part of this site.
    let how = match file.kind {
        Kind::Jpeg => "inline",
        Kind::Pdf => "attachment",
    };
    let what = match file.purpose {
        Purpose::Letter => "letter",
        Purpose::Before | Purpose::After | Purpose::Reaction | Purpose::SkinTest => "photo",
    };
    respond(file.kind, how, what, content.ok_or(Fault::NotFound)?)
}

async fn for_team(app: App, team: Team, id: &str, small: bool) -> Answer {
    let mut c = app.db.read().await?;
    let file = find(&mut c, id).await?;
    if !treating::may_see(&mut c, &team.0, &file.client).await? {
        return Err(Fault::NotFound);
    }
    let content = content(&mut c, &file, small).await?;
    drop(c);
    looked(&app, &team.0, "file.seen", Some(&file.client), file.id.as_str()).await?;
    of_client(&file, content)
}

async fn for_client(app: App, who: SignedIn, id: &str, small: bool) -> Answer {
    let mut c = app.db.read().await?;
    let file = find(&mut c, id).await?;
    if file.client != who.0 {
        return Err(Fault::NotFound);
    }
    let content = content(&mut c, &file, small).await?;
    of_client(&file, content)
}

/// The file, for the team.
pub async fn team(State(app): State<App>, team: Team, Path(id): Path<String>) -> Answer {
    for_team(app, team, &id, false).await
}

/// Its thumbnail, for the team.
pub async fn team_small(State(app): State<App>, team: Team, Path(id): Path<String>) -> Answer {
    for_team(app, team, &id, true).await
}

/// The file, for the client whose it is.
pub async fn own(State(app): State<App>, who: SignedIn, Path(id): Path<String>) -> Answer {
    for_client(app, who, &id, false).await
}

/// Its thumbnail, for the client whose it is.
pub async fn own_small(State(app): State<App>, who: SignedIn, Path(id): Path<String>) -> Answer {
    for_client(app, who, &id, true).await
}
