//! `GET /owner/exports/{id}/package.zip`: a package that was made within the last day.

use std::pin::Pin;
use std::task::{Context, Poll};

use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use hyper::body::{Bytes, Frame, SizeHint};
use tokio::fs::File;
use tokio::io::{AsyncRead, ReadBuf};

use crate::actions::export;
use crate::app::App;
use crate::domain::ids::ExportId;
use crate::domain::role::Actor;
use crate::store::exports::{self, Export};
use crate::web::error::Fault;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx};
use crate::web::team::proof::ProvenLook;

/// The file.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, _proven: ProvenLook, Path(id): Path<String>) -> Answer {
    let id = ExportId::parse(&id).map_err(|_| Fault::NotFound)?;
    let zone = ctx.studio()?.zone.clone();
    let mut c = app.db.read().await?;
    let made = exports::get(&mut c, &id).await?.ok_or(Fault::NotFound)?;
    drop(c);
    let name = format!("records-{}-{id}.zip", zone.date_at(made.made_at));
    send(&app, &team.actor(), &made, &name).await
}

/// Sends a package that is still kept, and writes down who fetched it.
pub(in crate::web) async fn send(app: &App, actor: &Actor, made: &Export, name: &str) -> Answer {
    let path = export::kept(app, made, app.clock.now()).ok_or(Fault::NotFound)?;
    let file = File::open(path).await.map_err(|_| Fault::NotFound)?;
    let left = file.metadata().await.map_err(Fault::internal)?.len();
    export::fetched(app, actor, made).await?;
    let name = format!("attachment; filename=\"{name}\"");
    let kind = [(header::CONTENT_TYPE, "application/zip".to_owned()), (header::CONTENT_DISPOSITION, name)];
    let mut response: Response = (kind, Body::new(Sent { file, left, part: vec![0; PART] })).into_response();
    response.headers_mut().insert(header::CONTENT_LENGTH, left.into());
    Ok(response)
}

/// Bytes that are read at a time.
const PART: usize = 64 * 1024;

/// A file on its way, a part at a time.
struct Sent {
    file: File,
    left: u64,
    part: Vec<u8>,
}

impl hyper::body::Body for Sent {
    type Data = Bytes;
    type Error = std::io::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, std::io::Error>>> {
        let this = self.get_mut();
        if this.left == 0 {
            return Poll::Ready(None);
        }
        let mut part = ReadBuf::new(&mut this.part);
        match Pin::new(&mut this.file).poll_read(context, &mut part) {
            Poll::Pending => return Poll::Pending,
            Poll::Ready(Err(error)) => return Poll::Ready(Some(Err(error))),
            Poll::Ready(Ok(())) => {}
        }
        let filled = part.filled();
        if filled.is_empty() {
            return Poll::Ready(Some(Err(std::io::ErrorKind::UnexpectedEof.into())));
        }
        let filled = Bytes::copy_from_slice(filled);
        this.left = this.left.saturating_sub(u64::try_from(filled.len()).unwrap_or(u64::MAX));
        Poll::Ready(Some(Ok(Frame::data(filled))))
    }

    fn size_hint(&self) -> SizeHint {
        SizeHint::with_exact(self.left)
    }
}
