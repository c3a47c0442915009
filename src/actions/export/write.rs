//! The work itself: several clients are read and rendered at once, one thread writes them in their order.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use futures_util::StreamExt as _;
use futures_util::stream::FuturesOrdered;
use tokio::sync::{Semaphore, mpsc};

use super::ExportError;
use super::care;
use super::collect::Collector;
use super::files::{Hashed, Out};
use super::progress::Going;
use crate::apart;
use crate::documents::digest::Digested;
use crate::documents::package::{PackageRefused, PackageWriter, Rendered, Summary};
use crate::documents::pdf::Press;
use crate::documents::record::{ExportHead, Paper};
use crate::domain::ids::ClientId;
use crate::language::Language;
use crate::sealing::Passphrase;
use crate::store::{Connection, Tx, files, papers, rows};
use crate::studio_key::StudioKey;

/// How many clients are worked on at once. Reading waits for the database far more than it works, so there are more of them
/// than threads.
pub(super) const DESKS: u32 = 6;

/// What goes into a package.
pub(super) struct Content<'a> {
    pub(super) head: Arc<ExportHead>,
    pub(super) clients: &'a [ClientId],
    /// Whether the client takes it herself: it is about her, so the certificates of others are none of it, and all that
    /// is kept about her is.
    pub(super) her_own: bool,
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

/// Where one client at a time is read. All desks look at the same file.
struct Desk {
    snapshot: Tx,
    collector: Collector,
}

/// What is free: desks, and as many presses as there are threads, since a paper under way takes some megabytes.
struct Office {
    desks: Mutex<Vec<Desk>>,
    presses: Mutex<Vec<Press>>,
    turns: Semaphore,
}

impl Office {
    fn new(desks: Vec<Desk>) -> Self {
        let threads = std::thread::available_parallelism().map_or(1, usize::from);
        Self { desks: Mutex::new(desks), presses: Mutex::default(), turns: Semaphore::new(threads) }
    }
}

fn open<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Writes the papers, then client by client in the order of `clients`, then their files.
pub(super) async fn write(
    snapshots: Vec<Tx>,
    collector: &Collector,
    content: &Content<'_>,
    places: Places,
) -> Result<(Summary, Digested), ExportError> {
    let (way, mut parts) = mpsc::channel::<Part>(4);
    let head = ExportHead::clone(&content.head);
    let writer = apart::blocking(move || {
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
    let _ = send(snapshots, collector, content, &way).await?;
    drop(way);
    writer.await.map_err(|_| ExportError::CutOff)?.map_err(ExportError::from)
}

/// Hands everything to the writer; `None` when it has given up.
async fn send(
    mut snapshots: Vec<Tx>,
    collector: &Collector,
    content: &Content<'_>,
    way: &Way,
) -> Result<Option<()>, ExportError> {
    let Some(first) = snapshots.first_mut() else { return Err(ExportError::CutOff) };
    if !content.her_own && send_papers(first, collector, way).await?.is_none() {
        return Ok(None);
    }
    let desk = |snapshot| Desk { snapshot, collector: collector.clone() };
    let desks: Vec<_> = snapshots.into_iter().map(desk).collect();
    let (count, office) = (desks.len(), Office::new(desks));
    let mut waiting = content.clients.iter();
    let mut rendering = FuturesOrdered::new();
    for id in waiting.by_ref().take(count) {
        rendering.push_back(rendered(&office, content, id));
    }
    while let Some(next) = rendering.next().await {
        if let Some(id) = waiting.next() {
            rendering.push_back(rendered(&office, content, id));
        }
        if let Some(client) = next?
            && way.send(Part::Client(Box::new(client))).await.is_err()
        {
            return Ok(None);
        }
        content.going.step();
    }
    drop(rendering);
    let mut desk = open(&office.desks).pop().ok_or(ExportError::CutOff)?;
    for id in content.clients {
        if content.her_own && way.send(rows_of(&mut desk.snapshot, id).await?).await.is_err() {
            return Ok(None);
        }
        for file in files::of_client(&mut desk.snapshot, id).await? {
            let content = files::body(&mut desk.snapshot, &file.id).await?;
            let part = Part::File { client: id.clone(), name: care::name_beside(&file), content };
            if way.send(part).await.is_err() {
                return Ok(None);
            }
        }
    }
    Ok(Some(()))
}

async fn rows_of(c: &mut Connection, id: &ClientId) -> Result<Part, ExportError> {
    let rows = rows::of_client(c, id).await?;
    let content = serde_json::to_vec_pretty(&rows).map_err(std::io::Error::from)?;
    Ok(Part::File { client: id.clone(), name: "rows.json".to_owned(), content })
}

async fn send_papers(c: &mut Connection, collector: &Collector, way: &Way) -> Result<Option<()>, ExportError> {
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
    Ok(Some(()))
}

/// Reads a client at a free desk and renders her; `None` when there is no such client any more. No more are under way at
/// once than there are desks.
async fn rendered(office: &Office, content: &Content<'_>, id: &ClientId) -> Result<Option<Rendered>, ExportError> {
    let free = open(&office.desks).pop();
    let mut desk = free.ok_or(ExportError::CutOff)?;
    let record = desk.collector.client(&mut desk.snapshot, id).await?;
    open(&office.desks).push(desk);
    let Some(record) = record else { return Ok(None) };
    let _turn = office.turns.acquire().await.map_err(|_| ExportError::CutOff)?;
    let mut press = open(&office.presses).pop().unwrap_or_default();
    let (head, language) = (content.head.clone(), Language::spoken());
    let work = move || language.within(|| (Rendered::new(&mut press, &head, &record), press));
    let (rendered, press) = apart::blocking(work).await.map_err(|_| ExportError::CutOff)?;
    open(&office.presses).push(press);
    Ok(Some(rendered?))
}
