//! `GET` and `POST /desk/visits/{id}/treatment`: the record is written, and the visit is done.
//! `GET` and `POST /desk/treatments/{id}/correction`: a further version of it. Template: `practitioner/treatment.html`.

mod again;
mod bottles;
mod times;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use time::{Date, OffsetDateTime, PrimitiveDateTime};

use times::{Row, minutes_of};

use super::record_view::VersionView;
use super::view::Names;
use super::{read, words};
use crate::actions::chair as at_chair;
use crate::actions::health::looked;
use crate::actions::treating::{self, Correction, LONGEST, Record};
use crate::app::App;
use crate::domain::bottle::Unfit;
use crate::domain::catalogue::{Area, ServiceKind};
use crate::domain::ids::{ClientId, ProductId, ServiceId, TreatmentId, VisitId};
use crate::domain::mark::Mark;
use crate::domain::steps::Part;
use crate::store::catalogue::{self, Batch, Product};
use crate::store::chair;
use crate::store::treatments::{self, Outcome, Treatment, Version};
use crate::store::visits::Visit;
use crate::store::{Connection, Stored, clients};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words::CHOOSE;
use crate::when;
use crate::{t, tf};

/// The most minutes that a step may have in the record.
const MINUTES_MOST: u16 = 60;
/// The most lashes that are counted.
const COUNT_MOST: u16 = 400;

#[derive(Template)]
#[template(path = "practitioner/treatment.html")]
struct TreatmentPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    chair: Chair,
}

/// What the form needs around it.
struct Chair {
    who: String,
    /// On which it began.
    day: Date,
    client: ClientId,
    names: Names,
    services: Vec<(ServiceId, String)>,
    products: Vec<Offered>,
    /// Fields for further bottles of them, and what can be chosen there: value and words.
    further: (Vec<String>, Vec<(String, String)>),
    outcomes: Vec<(&'static str, &'static str)>,
    /// What was used the last time, and how it came out.
    last: String,
    /// Steps by side.
    rows: Vec<Row>,
    /// What fields are filled with from the chair.
    filled: Vec<(String, String)>,
    /// What it shows of the chair.
    mark: Mark,
    /// The record, once it is written.
    record: Option<Treatment>,
    /// What stands, where somebody else wrote it meanwhile.
    stands: Option<VersionView>,
    /// Whether the eyes have to be rinsed, since no tint follows.
    rinse: bool,
    /// The number of the version that is corrected.
    corrects: Option<u32>,
    action: String,
    back: String,
}

/// A product with its batches: value and words.
struct Offered {
    field: String,
    id: ProductId,
    name: String,
    batches: Vec<(String, String)>,
}

impl Chair {
    fn day_words(&self) -> String {
        when::day(self.day)
    }

    /// Where a reaction is reported.
    fn report(&self, visit: &VisitId) -> String {
        format!("/desk/clients/{}/reaction?visit={visit}", self.client)
    }

    async fn load(
        c: &mut Connection,
        ctx: &Ctx,
        visit: &Visit,
        client: &ClientId,
        record: Option<&Treatment>,
    ) -> Result<Self, Fault> {
        let names = Names::load(c, ctx.studio()?).await?;
        let (all, day) = (catalogue::batches(c).await?, visit.civil.date());
        let current = record.and_then(Treatment::current);
        let used = |id: &ProductId| current.is_some_and(|v| v.products.iter().any(|(product, _)| product == id));
        let kind = names.services.iter().find(|service| service.id == visit.service).map(|service| service.kind);
        let fits = |product: &Product| kind.is_some_and(|kind| kind.chemistries().contains(&product.chemistry));
        let mut products: Vec<&Product> = names.products.iter().filter(|one| one.active || used(&one.id)).collect();
        // What this service brings near the eye stands first.
        products.sort_by_key(|product| !fits(product));
        let services = names.services.iter().filter(|s| s.active || s.id == visit.service);
        let corrects = current.map(|version| version.version);
        let area = kind.map_or(Area::Lash, ServiceKind::area);
        let (rows, mut filled) = times::rows(c, visit, area, current, &names).await?;
        let begun = treatments::start(c, &visit.id).await?.map(|begun| begun.started_at);
        let named = match current {
            Some(version) => bottles::filled(&version.products),
            None => bottles::filled(&chair::bottles(c, &visit.id).await?),
        };
        let products: Vec<_> = products.iter().map(|product| offered(&product.id, &product.name, &all, day)).collect();
        let further = (bottles::further(&named), bottles::choices(&products));
        if record.is_none() {
            filled.extend(named);
            let measured = chair::measured(c, client, Some(&visit.id)).await?;
            filled.push(("shield".to_owned(), measured.map(|measured| measured.used).unwrap_or_default()));
        }
        let (action, back) = match record {
            Some(record) => {
                (format!("/desk/treatments/{}/correction", record.id), format!("/desk/visits/{}", visit.id))
            }
            None => (format!("/desk/visits/{}/treatment", visit.id), format!("/desk/visits/{}", visit.id)),
        };
        Ok(Self {
            who: clients::get(c, client).await?.map_or_else(String::new, |client| client.name.as_str().to_owned()),
            day: current.map(|version| version.started_at).or(begun).map_or(day, |at| names.zone.date_at(at)),
            client: client.clone(),
            services: services.map(|service| (service.id.clone(), service.name.clone())).collect(),
            products,
            further,
            outcomes: Outcome::ALL.map(|one| (one.as_str(), words::outcome(one))).to_vec(),
            last: last_time(c, client, &visit.id, &names).await?,
            rows,
            filled,
            rinse: kind == Some(ServiceKind::LashLift),
            mark: at_chair::mark(c, &visit.id, client).await?,
            record: record.cloned(),
            stands: None,
            corrects,
            action,
            back,
            names,
        })
    }

    fn read(&self, fields: &Fields) -> Result<Record, Errors> {
        let mut errors = Errors::new();
        let service = self.services.iter().find(|(id, _)| id.as_str() == fields.trimmed("service"));
        if service.is_none() {
            errors.add("service", t(CHOOSE));
        }
        let zone = &self.names.zone;
        let started_at = read::moment(&mut errors, fields, "started", Some(self.day), zone);
        let ended_at = read::moment(&mut errors, fields, "ended", Some(self.day), zone);
        let ended_at = ended_at.zip(started_at).map(|(end, start)| self.past_midnight(start, end)).or(ended_at);
        let shield = read::text(&mut errors, fields, "shield", 60, false);
        let [one, two, tint] =
            ["lotion_one", "lotion_two", "tint"].map(|field| read::number(&mut errors, fields, field, 0, MINUTES_MOST));
        let products = self.bottles(fields, &mut errors);
        let span = started_at.zip(ended_at).filter(|(start, end)| start <= end);
        let times = span.map(|span| times::read_all(&self.rows, &mut errors, fields, span, &self.names));
        let times = times.unwrap_or_default();
        let count = read_count(&mut errors, fields);
        let notes = read::text(&mut errors, fields, "notes", 2000, false);
        let used_although = read::text(&mut errors, fields, "used_although", 500, false).unwrap_or_default();
        let outcome = Outcome::parse(fields.trimmed("outcome"));
        if outcome.is_none() {
            errors.add("outcome", t(CHOOSE));
        }
        match (service, started_at, ended_at, shield, notes, outcome) {
            (Some((service, _)), Some(started_at), Some(ended_at), Some(shield), Some(notes), Some(outcome))
                if errors.is_empty() =>
            {
                Ok(Record {
                    service: service.clone(),
                    started_at,
                    ended_at,
                    shield,
                    lotion_one_minutes: one.unwrap_or_default().or_else(|| minutes_of(&times, Part::LotionOne)),
                    lotion_two_minutes: two.unwrap_or_default().or_else(|| minutes_of(&times, Part::LotionTwo)),
                    tint_minutes: tint.unwrap_or_default().or_else(|| minutes_of(&times, Part::Tint)),
                    notes,
                    aftercare_given: fields.ticked("aftercare"),
                    outcome,
                    count,
                    products,
                    used_although,
                    rinsed: self.rinse.then(|| fields.ticked("rinsed")),
                    times: times.into_iter().map(|(_, time)| time).collect(),
                    mail_aftercare: self.corrects.is_none() && fields.ticked("mail_aftercare"),
                })
            }
            _ => Err(errors),
        }
    }
}

/// Both numbers or none.
fn read_count(errors: &mut Errors, fields: &Fields) -> Option<(u16, u16)> {
    let counted = read::number(errors, fields, "counted", 1, COUNT_MOST).ok()?;
    let lifted = read::number(errors, fields, "still_lifted", 0, COUNT_MOST).ok()?;
    match (counted, lifted) {
        (Some(_), None) => {
            errors.add("still_lifted", t("Write how many of them were still lifted, or neither number."))
        }
        (None, Some(_)) => errors.add("counted", t("Write how many were counted, or neither number.")),
        _ => {}
    }
    counted.zip(lifted)
}

fn offered(id: &ProductId, name: &str, all: &[Batch], day: Date) -> Offered {
    let words = |batch: &Batch| match batch.days.over(day) {
        Some(Unfit::Discarded(day)) => {
            tf("{batch} (thrown away {day})").with("batch", &batch.number).with("day", when::day(day)).to_string()
        }
        Some(Unfit::Expired(day)) => tf("{batch} (ended {day}, not to be used)")
            .with("batch", &batch.number)
            .with("day", when::day(day))
            .to_string(),
        _ => batch.number.clone(),
    };
    let own = all.iter().filter(|batch| batch.product == *id);
    let batches = own.map(|batch| (batch.number.clone(), words(batch))).collect();
    Offered { field: format!("batch_{id}"), id: id.clone(), name: name.to_owned(), batches }
}

pub(super) async fn last_time(c: &mut Connection, client: &ClientId, visit: &VisitId, names: &Names) -> Stored<String> {
    let before = treatments::of_client(c, client).await?;
    let last = before.iter().find(|treatment| treatment.visit != *visit).and_then(Treatment::current);
    Ok(last.map_or_else(String::new, |version| {
        let minutes = |minutes: Option<u16>| minutes.map_or_else(|| "–".to_owned(), |minutes| minutes.to_string());
        let shield = if version.shield.is_empty() { t("no shield noted") } else { &version.shield };
        tf("{day}, {service}: {shield}; lotions {one} and {two}, tint {tint} minutes; {outcome}")
            .with("day", when::day(names.zone.date_at(version.started_at)))
            .with("service", names.service(&version.service))
            .with("shield", shield)
            .with("one", minutes(version.lotion_one_minutes))
            .with("two", minutes(version.lotion_two_minutes))
            .with("tint", minutes(version.tint_minutes))
            .with("outcome", words::outcome_within(version.outcome))
            .to_string()
    }))
}

/// What a version says, as fields.
fn fields_of(version: &Version, chair: &Chair) -> Result<Fields, Fault> {
    let names = &chair.names;
    let number = |number: Option<u16>| number.map_or_else(String::new, |number| number.to_string());
    let (counted, lifted) = version.count.unzip();
    let named = [
        ("service", version.service.to_string()),
        ("started", names.clock(version.started_at)),
        ("ended", names.clock(version.ended_at)),
        ("shield", version.shield.clone()),
        ("lotion_one", number(version.lotion_one_minutes)),
        ("lotion_two", number(version.lotion_two_minutes)),
        ("tint", number(version.tint_minutes)),
        ("counted", number(counted)),
        ("still_lifted", number(lifted)),
        ("notes", version.notes.clone()),
        ("aftercare", if version.aftercare_given { "yes".to_owned() } else { String::new() }),
        ("rinsed", if version.rinsed == Some(true) { "yes".to_owned() } else { String::new() }),
        ("outcome", version.outcome.as_str().to_owned()),
    ];
    let batches = bottles::filled(&version.products);
    let named = named.into_iter().map(|(name, value)| (name.to_owned(), value));
    Ok(Fields::of(named.chain(batches).chain(chair.filled.clone()).chain(chair.carried()?).collect()))
}

impl Chair {
    /// What ends before it began has ended on the day after, unless it would be longer than any treatment.
    fn past_midnight(&self, start: OffsetDateTime, end: OffsetDateTime) -> OffsetDateTime {
        let zone = &self.names.zone;
        let next = self.day.next_day().map(|day| PrimitiveDateTime::new(day, zone.to_civil(end).time()));
        let next = next.and_then(|civil| zone.to_instant(civil).ok());
        next.filter(|next| end < start && *next - start <= LONGEST).unwrap_or(end)
    }
}

async fn blank(app: &App, ctx: &Ctx, team: &Team, id: &VisitId) -> Result<(Chair, Fields), Fault> {
    let mut c = app.db.read().await?;
    let (visit, client) = treating::visit_for(&mut c, &team.0, id).await?.ok_or(Fault::NotFound)?;
    let mut chair = Chair::load(&mut c, ctx, &visit, &client, None).await?;
    let begun = treatments::start(&mut c, id).await?.map(|begun| begun.started_at);
    chair.record = treatments::of_visit(&mut c, id).await?;
    if !treating::can_record(&visit) && chair.record.is_none() {
        return Err(Fault::SeeOther(chair.back));
    }
    // A record that is written on a later day was not over just now.
    let now = Some(app.clock.now()).filter(|now| begun.is_none_or(|begun| *now - begun <= LONGEST));
    let clock = |at: Option<OffsetDateTime>| at.map_or_else(String::new, |at| chair.names.clock(at));
    let pairs = [
        ("service", visit.service.to_string()),
        ("started", clock(begun)),
        ("ended", clock(now)),
        ("mail_aftercare", "yes".to_owned()),
    ];
    let pairs = pairs.map(|(name, value)| (name.to_owned(), value));
    let fields = pairs.into_iter().chain(chair.filled.clone()).chain(chair.carried()?).collect();
    Ok((chair, Fields::of(fields)))
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let id = VisitId::parse(&id).map_err(|_| Fault::NotFound)?;
    let (chair, fields) = blank(&app, &ctx, &team, &id).await?;
    if chair.record.is_some() {
        return Ok(see_other(&chair.back));
    }
    looked(&app, &team.0, "treatment.seen", Some(&chair.client), id.as_str()).await?;
    Ok(Page::ok(TreatmentPage { ctx, fields, errors: Errors::new(), chair }).into_response())
}

/// Writes the record.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let id = VisitId::parse(&id).map_err(|_| Fault::NotFound)?;
    let (chair, _) = blank(&app, &ctx, &team, &id).await?;
    let record = match chair.read(&fields) {
        Ok(record) => record,
        Err(errors) => return chair.unread(ctx, fields, errors),
    };
    let reacted = record.outcome == Outcome::Reaction;
    match treating::record(&app, &team.0, &id, record, &Mark::sent(fields.get("shown"))).await {
        Ok(_) if reacted => Ok(see_other(&chair.report(&id))),
        Ok(_) => Ok(see_other(&chair.back)),
        Err(refusal) => blank(&app, &ctx, &team, &id).await?.0.refused(ctx, fields, refusal),
    }
}

async fn correction(app: &App, ctx: &Ctx, team: &Team, id: &TreatmentId) -> Result<(Chair, Fields), Fault> {
    let mut c = app.db.read().await?;
    let (treatment, visit) = treating::record_for(&mut c, &team.0, id).await?.ok_or(Fault::NotFound)?;
    let chair = Chair::load(&mut c, ctx, &visit, &treatment.client, Some(&treatment)).await?;
    let current = treatment.current().ok_or(Fault::NotFound)?;
    let fields = fields_of(current, &chair)?;
    Ok((chair, fields))
}

/// Shows what stands, to be corrected.
pub async fn get_correction(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let id = TreatmentId::parse(&id).map_err(|_| Fault::NotFound)?;
    let (chair, fields) = correction(&app, &ctx, &team, &id).await?;
    looked(&app, &team.0, "treatment.seen", Some(&chair.client), id.as_str()).await?;
    Ok(Page::ok(TreatmentPage { ctx, fields, errors: Errors::new(), chair }).into_response())
}

/// Adds a version.
pub async fn post_correction(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    fields: Fields,
) -> Answer {
    let id = TreatmentId::parse(&id).map_err(|_| Fault::NotFound)?;
    let (chair, _) = correction(&app, &ctx, &team, &id).await?;
    let read = chair.read(&fields).and_then(|record| {
        let mut errors = Errors::new();
        let reason = read::text(&mut errors, &fields, "reason", 1000, true);
        reason.map(|reason| (record, reason)).ok_or(errors)
    });
    let (record, reason) = match read {
        Ok(read) => read,
        Err(errors) => return chair.unread(ctx, fields, errors),
    };
    let reacts = |version: &Version| version.outcome == Outcome::Reaction;
    let newly = record.outcome == Outcome::Reaction && !chair.record.iter().flat_map(Treatment::current).any(reacts);
    let of = fields.get("corrects").parse().unwrap_or_default();
    let said = Correction { reason: &reason, of, shown: Mark::sent(fields.get("shown")) };
    match treating::correct(&app, &team.0, &id, record, said).await {
        Ok(visit) if newly => Ok(see_other(&chair.report(&visit))),
        Ok(_) => Ok(see_other(&chair.back)),
        Err(refusal) => correction(&app, &ctx, &team, &id).await?.0.refused(ctx, fields, refusal),
    }
}
