//! Taking over clients, past visits and skin tests from a file: looked at first, then all of it or nothing.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};
use time::{Date, OffsetDateTime, Time};

use crate::app::App;
use crate::documents::sheet::{self, Charset, Separator, Sheet, SheetRefused};
use crate::domain::ids::{ClientId, PastVisitId, SkinTestId, TakeoverId};
use crate::domain::role::{Actor, Member};
use crate::domain::skin_test::{ReadBy, Reading, SkinTest, VoidCause};
use crate::domain::takeover::{Catalogue, Fate, Gathered, Mapping, PastTest, Planned, Told, plan};
use crate::msg;
use crate::store::audit::Event;
use crate::store::clients::Client;
use crate::store::skin_tests::StoredTest;
use crate::store::studio::Studio;
use crate::store::types::impossible;
use crate::store::{Connection, Stored, audit, catalogue, clients, skin_tests, studio, takeovers, treatments};

/// What a test from elsewhere says in the place of what nobody here knows.
pub const NOT_KNOWN: &str = msg("not known");
/// Who read a skin test that was taken over.
pub const ELSEWHERE: &str = msg("taken over from elsewhere");

/// A file as it is read now.
pub struct Opened {
    /// Its table.
    pub sheet: Sheet,
    /// What its columns hold: what was chosen, or what their heads suggest.
    pub mapping: Mapping,
}

/// What came of a file.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Report {
    /// Clients who were added.
    pub clients: usize,
    /// Visits that were added.
    pub visits: usize,
    /// Skin tests that were added.
    pub tests: usize,
    /// Rows that told nothing new.
    pub known: usize,
    /// Lines that were left out, with the reason; none of what stood in them.
    pub bad: Vec<(u64, String)>,
}

impl Report {
    /// What comes, or came, of these rows.
    pub fn of(rows: &[Planned]) -> Self {
        let mut report = Self::default();
        for row in rows {
            match &row.fate {
                Err(wrong) => report.bad.push((row.line, wrong.to_string())),
                Ok(fate) => {
                    report.clients += usize::from(fate.new.is_some());
                    report.visits += usize::from(fate.visit.is_some());
                    report.tests += usize::from(fate.test.is_some());
                    report.known += usize::from(fate.is_known());
                }
            }
        }
        report
    }
}

/// Keeps a file that can be read, and says where.
///
/// # Errors
/// When the database can't; inside, why the file is refused.
pub async fn keep(app: &App, by: &Member, body: Vec<u8>) -> Stored<Result<TakeoverId, SheetRefused>> {
    if let Err(refused) = sheet::read(&body, None, None) {
        return Ok(Err(refused));
    }
    let (id, now) = (TakeoverId::from_random(app.random.id()), app.clock.now());
    let mut tx = app.db.write().await?;
    takeovers::insert(&mut tx, &id, &body, &by.name, now).await?;
    let event = Event { action: "takeover.begun", object: id.as_str(), ..Event::default() };
    audit::append(&mut tx, &Actor::Member(by.clone()), event, now).await?;
    tx.commit().await?;
    Ok(Ok(id))
}

/// Reads a kept file.
///
/// # Errors
/// When the database can't; inside, why the file can't be read so.
pub async fn open(
    c: &mut Connection,
    id: &TakeoverId,
    reading: &takeovers::Reading,
) -> Stored<Result<Opened, SheetRefused>> {
    let body = takeovers::body(c, id).await?;
    let (charset, separator) = (Charset::parse(&reading.charset), Separator::parse(&reading.separator));
    Ok(sheet::read(&body, charset, separator).map(|sheet| {
        let guess = || Mapping::guess(sheet.heads.iter().map(String::as_str));
        let mapping = reading.mapping.clone().unwrap_or_else(guess);
        Opened { sheet, mapping }
    }))
}

/// Stores how a file is to be read.
///
/// # Errors
/// When the database can't.
pub async fn set_reading(app: &App, id: &TakeoverId, reading: &takeovers::Reading) -> Stored<()> {
    let mut tx = app.db.write().await?;
    takeovers::set_reading(&mut tx, id, reading).await?;
    tx.commit().await
}

/// What would come of each row. Nothing is changed.
///
/// # Errors
/// When the database can't.
pub async fn look(
    app: &App,
    c: &mut Connection,
    studio: &Studio,
    opened: &Opened,
    reading: &takeovers::Reading,
) -> Stored<Vec<Planned>> {
    let today = studio.zone.date_at(app.clock.now());
    let catalogue = names(c).await?;
    let known = gathered(c, studio).await?;
    let told = opened.sheet.rows.iter().map(|row| {
        let told = Told::read(row, &opened.mapping, reading.order, &studio.home_dial, &catalogue, today);
        (row.line, told)
    });
    Ok(plan(told, known, || ClientId::from_random(app.random.id())))
}

/// The names of services and products, in use or not: papers tell of what was.
async fn names(c: &mut Connection) -> Stored<Catalogue> {
    let (services, products) = (catalogue::services(c).await?, catalogue::products(c).await?);
    Ok(Catalogue {
        services: unshared(services.into_iter().map(|service| (service.name, service.id))),
        products: unshared(products.into_iter().map(|product| (product.name, product.id))),
    })
}

fn unshared<I>(named: impl Iterator<Item = (String, I)>) -> HashMap<String, I> {
    let mut found = HashMap::new();
    for (name, id) in named {
        found.entry(name.to_lowercase()).and_modify(|id| *id = None).or_insert(Some(id));
    }
    found.into_iter().filter_map(|(name, id)| Some((name, id?))).collect()
}

async fn gathered(c: &mut Connection, studio: &Studio) -> Stored<Gathered> {
    let mut known = Gathered::default();
    for client in clients::all(c).await? {
        known.client(&client.id, &client.name, &client.mail, client.born);
    }
    for past in treatments::past(c, None).await? {
        known.visit(&past.client, &past.service, past.on);
    }
    for (client, product, at, result) in takeovers::tests(c).await? {
        known.test(&client, &product, studio.zone.date_at(at), result);
    }
    Ok(known)
}

/// How taking over ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Taken {
    /// It is in.
    Done(Report),
    /// It was taken over before; nothing was done again.
    Before,
    /// Its columns, or its bytes, can't be read as it was asked.
    Unreadable,
}

/// Takes a file over: every row that can be read, in one transaction. `None` when there is no such file.
///
/// # Errors
/// When the database can't; then nothing of it is in.
pub async fn take(app: &App, by: &Member, id: &TakeoverId) -> Stored<Option<Taken>> {
    let (now, actor) = (app.clock.now(), Actor::Member(by.clone()));
    let mut tx = app.db.write().await?;
    let Some(file) = takeovers::get(&mut tx, id).await? else { return Ok(None) };
    if file.report.is_some() {
        return Ok(Some(Taken::Before));
    }
    let studio = studio::get(&mut tx).await?.ok_or_else(|| impossible("studio", "id", "the only one"))?;
    let Ok(opened) = open(&mut tx, id, &file.reading).await? else { return Ok(Some(Taken::Unreadable)) };
    if opened.mapping.check().is_err() {
        return Ok(Some(Taken::Unreadable));
    }
    let rows = look(app, &mut tx, &studio, &opened, &file.reading).await?;
    for fate in rows.iter().filter_map(|row| row.fate.as_ref().ok()).filter(|fate| !fate.is_known()) {
        write(app, &mut tx, &studio, &actor, id, fate, now).await?;
    }
    let report = Report::of(&rows);
    let json = serde_json::to_string(&report).map_err(|_| impossible("takeover", "report", id.as_str()))?;
    takeovers::finish(&mut tx, id, &json, now).await?;
    let detail = format!(
        "{} clients, {} visits, {} skin tests; {} rows left out",
        report.clients,
        report.visits,
        report.tests,
        report.bad.len()
    );
    let event = Event { action: "takeover.done", object: id.as_str(), detail: &detail, ..Event::default() };
    audit::append(&mut tx, &actor, event, now).await?;
    tx.commit().await?;
    Ok(Some(Taken::Done(report)))
}

async fn write(
    app: &App,
    c: &mut Connection,
    studio: &Studio,
    actor: &Actor,
    id: &TakeoverId,
    fate: &Fate,
    now: OffsetDateTime,
) -> Stored<()> {
    if let Some(phone) = &fate.new {
        let person = &fate.told.person;
        let client = Client {
            id: fate.client.clone(),
            name: person.name.clone(),
            mail: person.mail.clone(),
            phone: phone.clone(),
            born: person.born,
        };
        clients::insert(c, &client, now).await?;
    }
    if let Some(visit) = &fate.visit {
        let past = PastVisitId::from_random(app.random.id());
        takeovers::add_visit(c, &past, &fate.client, visit, noon(studio, visit.on), now).await?;
    }
    if let Some(test) = &fate.test {
        add_test(app, c, studio, fate, test, now).await?;
    }
    let event =
        Event { action: "client.taken-over", client: Some(&fate.client), object: id.as_str(), ..Event::default() };
    audit::append(c, actor, event, now).await
}

/// A test from elsewhere never counts as passed, so it is stored as one that was voided. What was seen to go wrong blocks
/// its product as if it had been seen here: a failed test outlives its being voided.
async fn add_test(
    app: &App,
    c: &mut Connection,
    studio: &Studio,
    fate: &Fate,
    told: &PastTest,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, at) = (SkinTestId::from_random(app.random.id()), noon(studio, told.on));
    let test = SkinTest {
        id: id.clone(),
        product: told.product.clone(),
        applied_at: at,
        reliable: true,
        voided: None,
        readings: Vec::new(),
    };
    let stored = StoredTest {
        test,
        client: fate.client.clone(),
        visit: None,
        practitioner: None,
        batch: NOT_KNOWN.to_owned(),
        site: NOT_KNOWN.to_owned(),
        voiding: None,
        notes: Vec::new(),
    };
    skin_tests::insert(c, &stored, now).await?;
    if let Some(result) = told.result {
        let reading = Reading { at, result, by: ReadBy::Practitioner };
        skin_tests::add_reading(c, &id, &reading, "", ELSEWHERE, now).await?;
    }
    skin_tests::void(c, &id, VoidCause::TakenOver).await?;
    Ok(())
}

/// Papers tell days, not times.
fn noon(studio: &Studio, day: Date) -> OffsetDateTime {
    let noon = day.with_time(Time::MIDNIGHT) + time::Duration::hours(12);
    studio.zone.to_instant_as_calendars_do(noon)
}
