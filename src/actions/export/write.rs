//! The work itself: collected on one task, rendered on several threads, written on one.

use std::collections::VecDeque;
use std::sync::Arc;

use tokio::sync::mpsc;
use tokio::task::{JoinHandle, spawn_blocking};

use super::ExportError;
use super::care;
use super::collect::Collector;
use super::files::{Hashed, Out};
use super::progress::Going;
use crate::documents::digest::Digested;
use crate::documents::package::{PackageRefused, PackageWriter, Rendered, Summary};
use crate::documents::record::{ExportHead, Paper};
use crate::domain::ids::ClientId;
use crate::language::Language;
use crate::sealing::Passphrase;
use crate::store::{Connection, files, papers};
use crate::studio_key::StudioKey;

/// Clients that are rendered at once at most.
const AT_ONCE: usize = 4;

/// What goes into a package.
pub(super) struct Content<'a> {
    pub(super) head: Arc<ExportHead>,
    pub(super) clients: &'a [ClientId],
    /// Whether the studio's own papers go in.
    pub(super) papers: bool,
    pub(super) going: &'a Going<'a>,
}

/// What the writer is given.
pub(super) struct Places {
    pub(super) out: Hashed,
    pub(super) passphrase: Option<Passphrase>,
    pub(super) spool: std::fs::File,
    pub(super) key: StudioKey,
}

/// What is written next; one file at a time is in memory, however many there are.
enum Part {
    Client(Box<Rendered>),
    File { client: ClientId, name: String, content: Vec<u8> },
    Papers(Vec<Paper>),
    PaperFile { name: String, content: Vec<u8> },
}

/// The way to the writer.
type Way = mpsc::Sender<Part>;

type Rendering = VecDeque<JoinHandle<Result<Rendered, PackageRefused>>>;

/// Writes the papers, then client by client in the order of `clients`, then their files.
pub(super) async fn write(
    c: &mut Connection,
    mut collector: Collector,
    content: &Content<'_>,
    places: Places,
) -> Result<(Summary, Digested), ExportError> {
    let (way, mut parts) = mpsc::channel::<Part>(AT_ONCE);
    let head = ExportHead::clone(&content.head);
    let writer = spawn_blocking(move || {
        let out = Out::new(places.out, places.passphrase.as_ref())?;
        let mut package = PackageWriter::new(out, places.spool, head, places.key)?;
        while let Some(part) = parts.blocking_recv() {
            match part {
                Part::Client(rendered) => package.add(&rendered)?,
                Part::File { client, name, content } => package.add_file(&client, &name, &content)?,
                Part::Papers(papers) => package.add_papers(&papers)?,
                Part::PaperFile { name, content } => package.add_paper_file(&name, &content)?,
            }
        }
        let (summary, out) = package.finish()?;
        Ok::<_, PackageRefused>((summary, out.finish()?))
    });
    // A writer that has given up says why below.
    let _ = send(c, &mut collector, content, &way).await?;
    drop(way);
    writer.await.map_err(|_| ExportError::CutOff)?.map_err(ExportError::from)
}

/// Hands everything to the writer; `None` when it has given up.
async fn send(
    c: &mut Connection,
    collector: &mut Collector,
    content: &Content<'_>,
    way: &Way,
) -> Result<Option<()>, ExportError> {
    if content.papers {
        let papers = collector.papers();
        let files: Vec<_> = papers.iter().map(|paper| (paper.id.clone(), paper.file.clone())).collect();
        if way.send(Part::Papers(papers)).await.is_err() {
            return Ok(None);
        }
        for (id, name) in files {
            let Some((_, content)) = papers::body(c, &id).await? else { continue };
            if way.send(Part::PaperFile { name, content }).await.is_err() {
                return Ok(None);
            }
        }
    }
    let language = Language::spoken();
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(AT_ONCE);
    let mut rendering = Rendering::new();
    for id in content.clients {
        let Some(record) = collector.client(c, id).await? else { continue };
        let head = content.head.clone();
        rendering.push_back(spawn_blocking(move || language.within(|| Rendered::new(&head, &record))));
        if rendering.len() >= threads {
            if hand_over(&mut rendering, way).await?.is_none() {
                return Ok(None);
            }
            content.going.step();
        }
    }
    while !rendering.is_empty() {
        if hand_over(&mut rendering, way).await?.is_none() {
            return Ok(None);
        }
        content.going.step();
    }
    for id in content.clients {
        for file in files::of_client(c, id).await? {
            let content = files::body(c, &file.id).await?;
            let part = Part::File { client: id.clone(), name: care::name_beside(&file), content };
            if way.send(part).await.is_err() {
                return Ok(None);
            }
        }
    }
    Ok(Some(()))
}

/// Hands the oldest rendered client to the writer; `None` when it has given up.
async fn hand_over(rendering: &mut Rendering, way: &Way) -> Result<Option<()>, ExportError> {
    let Some(oldest) = rendering.pop_front() else { return Ok(Some(())) };
    let rendered = oldest.await.map_err(|_| ExportError::CutOff)??;
    Ok(way.send(Part::Client(Box::new(rendered))).await.ok())
}
