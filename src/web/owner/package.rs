//! `GET /owner/exports/{id}/package.zip`: a package that was made within the last day, or the rest of it for a browser
//! that was cut off (RFC 9110, section 14).

use std::pin::Pin;
use std::task::{Context, Poll};

use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use hyper::body::{Bytes, Frame, SizeHint};
use tokio::fs::File;
use tokio::io::{AsyncRead, AsyncSeekExt as _, ReadBuf};

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
pub async fn get(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    _proven: ProvenLook,
    Path(id): Path<String>,
    asked: HeaderMap,
) -> Answer {
    let id = ExportId::parse(&id).map_err(|_| Fault::NotFound)?;
    let zone = ctx.studio()?.zone.clone();
    let mut c = app.db.read().await?;
    let made = exports::get(&mut c, &id).await?.ok_or(Fault::NotFound)?;
    drop(c);
    let ending = if made.encrypted { "zip.age" } else { "zip" };
    let name = format!("records-{}-{id}.{ending}", zone.date_at(made.made_at));
    send(&app, &team.actor(), &made, &name, &asked).await
}

/// Sends a package that is still kept, or the part of it that is wanted, and writes down who fetched it.
pub(in crate::web) async fn send(app: &App, actor: &Actor, made: &Export, name: &str, asked: &HeaderMap) -> Answer {
    let path = export::kept(app, made, app.clock.now()).ok_or(Fault::NotFound)?;
    let mut file = File::open(path).await.map_err(|_| Fault::NotFound)?;
    let whole = file.metadata().await.map_err(Fault::internal)?.len();
    let tag = format!("\"{}\"", made.sha256);
    let part = wanted(asked, &tag, whole);
    if part == Wanted::Beyond {
        let range = [(header::CONTENT_RANGE, format!("bytes */{whole}"))];
        return Ok((StatusCode::RANGE_NOT_SATISFIABLE, range).into_response());
    }
    let (from, left) = if let Wanted::Part { from, length } = part { (from, length) } else { (0, whole) };
    file.seek(std::io::SeekFrom::Start(from)).await.map_err(Fault::internal)?;
    export::fetched(app, actor, made).await?;
    let kind = if made.encrypted { "application/octet-stream" } else { "application/zip" };
    let kind = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        (header::ACCEPT_RANGES, "bytes".to_owned()),
        (header::ETAG, tag),
    ];
    let mut response: Response = (kind, Body::new(Sent { file, left, part: vec![0; PART] })).into_response();
    response.headers_mut().insert(header::CONTENT_LENGTH, left.into());
    if left > 0 && part != Wanted::Whole {
        let range = format!("bytes {from}-{}/{whole}", from + left - 1).parse().map_err(Fault::internal)?;
        response.headers_mut().insert(header::CONTENT_RANGE, range);
        *response.status_mut() = StatusCode::PARTIAL_CONTENT;
    }
    Ok(response)
}

/// How much of the file is wanted.
#[derive(Debug, PartialEq, Eq)]
enum Wanted {
    Whole,
    Part { from: u64, length: u64 },
    Beyond,
}

/// Reads `Range`. Whatever isn't one range of bytes, or is of another file (`If-Range`), means the whole, as the standard
/// allows.
fn wanted(asked: &HeaderMap, tag: &str, whole: u64) -> Wanted {
    let text = |name| asked.get(name).and_then(|value| value.to_str().ok());
    if text(header::IF_RANGE).is_some_and(|other| other != tag) {
        return Wanted::Whole;
    }
    let range =
        text(header::RANGE).and_then(|range| range.strip_prefix("bytes=")).and_then(|range| range.split_once('-'));
    let Some((first, last)) = range.map(|(first, last)| (first.trim(), last.trim())) else { return Wanted::Whole };
    let (from, to) = match (first.parse::<u64>(), last.parse::<u64>()) {
        (Ok(from), Ok(last)) if from <= last => (from, last.saturating_add(1).min(whole)),
        (Ok(from), _) if last.is_empty() => (from, whole),
        (_, Ok(count)) if first.is_empty() => (whole.saturating_sub(count), whole),
        _ => return Wanted::Whole,
    };
    if from < to { Wanted::Part { from, length: to - from } } else { Wanted::Beyond }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rest_of_a_file_can_be_asked_for() {
        let ask = |range: &'static str, of: Option<&'static str>| {
            let mut headers = HeaderMap::new();
            headers.insert(header::RANGE, range.parse().unwrap());
            if let Some(of) = of {
                headers.insert(header::IF_RANGE, of.parse().unwrap());
            }
            wanted(&headers, "\"a\"", 1000)
        };
        let part = |from, length| Wanted::Part { from, length };
        // The examples of RFC 9110, section 14.1.2, over a thousand bytes.
        assert_eq!(ask("bytes=0-499", None), part(0, 500));
        assert_eq!(ask("bytes=500-999", None), part(500, 500));
        assert_eq!(ask("bytes=-500", None), part(500, 500));
        assert_eq!(ask("bytes=950-", None), part(950, 50));
        assert_eq!(ask("bytes=0-0", None), part(0, 1));
        assert_eq!(ask("bytes=999-5000", None), part(999, 1));
        assert_eq!(ask("bytes=-5000", None), part(0, 1000));
        for beyond in ["bytes=1000-", "bytes=1000-1001", "bytes=-0", "bytes=18446744073709551615-"] {
            assert_eq!(ask(beyond, None), Wanted::Beyond, "{beyond}");
        }
        for odd in
            ["bytes=0-1,5-6", "bytes=5-1", "bytes=a-b", "bytes=", "lines=1-2", "bytes=-", "bytes=99999999999999999999-"]
        {
            assert_eq!(ask(odd, None), Wanted::Whole, "{odd}");
        }
        assert_eq!(ask("bytes=950-", Some("\"a\"")), part(950, 50));
        assert_eq!(ask("bytes=950-", Some("\"b\"")), Wanted::Whole, "another file");
        assert_eq!(wanted(&HeaderMap::new(), "", 1000), Wanted::Whole);
    }
}
