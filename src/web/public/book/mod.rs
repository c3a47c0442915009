//! A booking, step by step: time, details, health questions, check and sign, booked.
//!
//! The time is held while the forms are filled. Every step renews the hold, and so does the button that stands on
//! every page; when it ran out, what was typed is kept, and the time is taken again if it is still free.

use time::{Date, OffsetDateTime};

use crate::app::App;
use crate::domain::ids::DraftId;
use crate::domain::mark::Mark;
use crate::domain::money::Money;
use crate::domain::person::{BirthDate, Mail, PersonName, Phone};
use crate::domain::questionnaire::{Answers, Section};
use crate::domain::zone::Zone;
use crate::store::catalogue::Service;
use crate::store::clients::Client;
use crate::store::drafts::{By, Draft};
use crate::store::health::{InForce, StoredAnswers};
use crate::store::studio::Studio;
use crate::store::visits::{Purpose, Visit};
use crate::store::{catalogue, clients, drafts, health, visits};
use crate::tf;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::page::Ctx;
use crate::web::signing;
use crate::web::words;
use crate::when;

mod decide;
pub mod details;
pub mod done;
pub mod hold;
mod kept;
pub mod later;
pub mod questions;
pub mod review;
pub mod sign;
pub mod slots;
pub mod time_again;
pub mod times;

/// A booking that is being filled in, with everything that its pages show.
pub(in crate::web::public) struct Booking {
    pub(in crate::web::public) draft: Draft,
    /// The mark of the draft as it was read.
    read: Mark,
    pub(super) studio: Studio,
    pub(super) service: Service,
    pub(super) visits: Vec<Visit>,
    pub(super) in_force: InForce,
    /// The sections to ask for this service and this client.
    pub(super) sections: Vec<Section>,
    /// The signed-in client.
    pub(super) client: Option<Client>,
    /// Her last answers to this version of the questions.
    pub(super) last: Option<StoredAnswers>,
    pub(super) now: OffsetDateTime,
    /// From where she asks, as limits count it.
    pub(super) from: String,
    /// Who holds its times, as limits count it.
    holder: String,
}

impl Booking {
    /// Opens a booking of this browser.
    pub(super) async fn open(app: &App, ctx: &Ctx, id: &str) -> Result<Self, Fault> {
        let id = DraftId::parse(id).map_err(|_| Fault::NotFound)?;
        let mut c = app.db.read().await?;
        let (hash, client) = (ctx.seen.visit_hash(), ctx.seen.client_id());
        let draft = match drafts::get(&mut c, &id, By::Browser(&hash, client)).await? {
            Some(draft) => draft,
            // A client's own, and her session is over.
            None if client.is_none() && drafts::is_of_browser(&mut c, &id, &hash).await? => {
                return Err(Fault::SeeOther(format!("/sign-in?draft={id}")));
            }
            None => return Err(Fault::NotFound),
        };
        drop(c);
        Self::of(app, ctx, draft).await
    }

    /// Opens a booking to take in a page of it. When the session of the client whose it is has ended meanwhile, it comes with
    /// the way on, on which she signs in: what she typed is kept, and shown to nobody before.
    pub(super) async fn open_for_form(app: &App, ctx: &Ctx, id: &str) -> Result<(Self, Option<Fault>), Fault> {
        let led = match Self::open(app, ctx, id).await {
            Ok(booking) => return Ok((booking, None)),
            Err(led) => led,
        };
        let (Fault::SeeOther(_), Ok(id)) = (&led, DraftId::parse(id)) else { return Err(led) };
        let draft = drafts::get(&mut *app.db.read().await?, &id, By::Form(&ctx.seen.visit_hash())).await?;
        match draft.filter(|draft| !draft.booked) {
            Some(draft) => Ok((Self::of(app, ctx, draft).await?, Some(led))),
            None => Err(led),
        }
    }

    /// A booking that may be opened.
    pub(in crate::web::public) async fn of(app: &App, ctx: &Ctx, draft: Draft) -> Result<Self, Fault> {
        let (studio, id) = (ctx.studio()?.clone(), draft.id.clone());
        let mut c = app.db.read().await?;
        if draft.booked {
            return Err(Fault::SeeOther(format!("/book/{id}/done")));
        }
        let service = catalogue::service(&mut c, &draft.service).await?.ok_or(Fault::NotFound)?;
        let in_force = health::in_force(&mut c).await?;
        let (mut client, mut last) = (None, None);
        if let Some(id) = &draft.client {
            client = clients::get(&mut c, id).await?;
            last = health::answers(&mut c, id).await?.into_iter().next();
        }
        last = last.filter(|last| last.set.questionnaire == in_force.questionnaire.version());
        let sections = in_force.rules.sections_for(&in_force.questionnaire, &[service.kind], last.is_some());
        let visits = visits::of_draft(&mut c, &id).await?;
        Ok(Self {
            read: draft.mark(),
            draft,
            studio,
            service,
            visits,
            in_force,
            sections,
            client,
            last,
            now: app.clock.now(),
            from: ctx.seen.from.clone(),
            holder: ctx.seen.holder(),
        })
    }

    pub(in crate::web::public) fn path(&self, step: &str) -> String {
        format!("/book/{}/{step}", self.draft.id)
    }

    /// Her answers so far. Until she has confirmed or changed any, they are those of last time, but to what is asked of
    /// whoever returns: whether anything has changed since.
    pub(super) fn answers(&self) -> Answers {
        let Some(last) = self.last.as_ref().filter(|_| self.to_confirm()) else { return self.given() };
        let anew = |key: &str| {
            let mut questions = self.sections.iter().flat_map(|section| &section.questions);
            questions.any(|question| question.returning && question.key == key)
        };
        last.set.answers.clone().without(anew)
    }

    fn given(&self) -> Answers {
        serde_json::from_str(&self.draft.answers).unwrap_or_default()
    }

    pub(super) fn keep_answers(&mut self, answers: &Answers) -> Result<(), Fault> {
        self.draft.answers = serde_json::to_string(answers).map_err(Fault::internal)?;
        Ok(())
    }

    /// Her mail, once she has given it.
    pub(in crate::web::public) fn mail(&self) -> Option<Mail> {
        match &self.client {
            Some(client) => Some(client.mail.clone()),
            None => self.person().ok().map(|given| given.mail),
        }
    }

    /// The sections whose questions she has answered as they are now: an answer to other words is none to these.
    fn done_sections(&self) -> Vec<String> {
        let done: Vec<(u32, String)> = serde_json::from_str(&self.draft.sections).unwrap_or_default();
        done.into_iter().filter(|(version, _)| *version == self.questions_version()).map(|(_, key)| key).collect()
    }

    fn keep_sections(&mut self, done: Vec<String>) {
        let version = self.questions_version();
        let done: Vec<(u32, String)> = done.into_iter().map(|key| (version, key)).collect();
        self.draft.sections = serde_json::to_string(&done).unwrap_or_default();
    }

    /// The version of the questions that are asked.
    pub(super) fn questions_version(&self) -> u32 {
        self.in_force.questionnaire.version()
    }

    pub(super) fn mark_done(&mut self, section: &str) {
        let mut done = self.done_sections();
        if !done.iter().any(|key| key == section) {
            done.push(section.to_owned());
        }
        self.keep_sections(done);
    }

    /// Something in it is open again.
    pub(super) fn mark_open(&mut self, section: &str) {
        let mut done = self.done_sections();
        done.retain(|key| key != section);
        self.keep_sections(done);
    }

    pub(super) fn answered(&self) -> bool {
        let done = self.done_sections();
        self.sections.iter().all(|section| done.contains(&section.key))
    }

    /// All sections are to be gone through again, with the answers that she gave.
    pub(super) fn mark_all_open(&mut self) {
        self.keep_sections(Vec::new());
    }

    /// Whether her last answers wait to be confirmed, and she has given no others since she began.
    pub(super) fn to_confirm(&self) -> bool {
        let begun = self.sections.is_empty() || !self.done_sections().is_empty() || !self.given().is_empty();
        self.last.is_some() && !begun
    }

    /// The page that is next to be filled in.
    pub(in crate::web::public) fn next(&self) -> String {
        if self.client.is_none() && self.person().is_err() {
            return self.path("details");
        }
        if self.to_confirm() {
            return self.path("answers");
        }
        let done = self.done_sections();
        match self.sections.iter().position(|section| !done.contains(&section.key)) {
            Some(at) => self.path(&format!("health/{}", at + 1)),
            None => self.path("sign"),
        }
    }

    /// The page before check and sign.
    pub(super) fn before_sign(&self) -> String {
        self.path(&if self.last.is_some() { "answers".to_owned() } else { format!("health/{}", self.sections.len()) })
    }

    /// How many steps there are in all: details, questions, check and sign. The time is behind her by then.
    pub(super) fn steps(&self) -> usize {
        let questions = if self.last.is_some() { 1 } else { self.sections.len() };
        self.first_question() + questions
    }

    /// The step of the first question.
    pub(super) fn first_question(&self) -> usize {
        if self.client.is_none() { 2 } else { 1 }
    }

    /// Details as typed.
    pub(super) fn typed(&self) -> Fields {
        Fields::of(stored_pairs(self.draft.details.as_deref()))
    }

    /// Consent as typed, to the text as it is now: ticks that were set beside another one say nothing of this.
    pub(super) fn consent_typed(&self) -> Fields {
        let typed = Fields::of(stored_pairs(self.draft.consent.as_deref()));
        if signing::shows(&typed, &self.in_force.consent) { typed } else { Fields::default() }
    }

    /// Details, read.
    pub(super) fn person(&self) -> Result<Given, Errors> {
        read_person(&self.typed(), &self.studio, self.today())
    }

    pub(in crate::web::public) fn today(&self) -> Date {
        self.studio.zone.date_at(self.now)
    }

    /// Her date of birth, if she has given it.
    pub(in crate::web::public) fn born(&self) -> Option<BirthDate> {
        match &self.client {
            Some(client) => Some(client.born),
            None => self.person().ok().map(|given| given.born),
        }
    }

    pub(super) fn treatment(&self) -> Option<&Visit> {
        self.visits.iter().find(|visit| visit.purpose == Purpose::Treatment)
    }

    /// Stores what was filled in, before anything else can fail. What another tab saved in the same moment is not written
    /// over; the same form sent twice is.
    pub(super) async fn save(&self, app: &App) -> Result<(), Fault> {
        let mut tx = app.db.write().await?;
        let stored = drafts::get(&mut tx, &self.draft.id, By::Link).await?.ok_or(Fault::NotFound)?.mark();
        if stored != self.read && stored != self.draft.mark() {
            return Err(Fault::Conflict);
        }
        drafts::save(&mut tx, &self.draft, self.now).await?;
        tx.commit().await?;
        Ok(())
    }

    /// What it costs.
    pub(super) fn price(&self) -> String {
        Money::of(self.service.price_minor, self.studio.currency.clone()).to_string()
    }

    /// The version of the consent text that would be signed.
    pub(super) fn text_version(&self) -> u32 {
        self.in_force.consent.version()
    }

    /// What the foot of every page says of the hold.
    pub(super) fn hold_view(&self) -> Option<HoldView> {
        let until = self.visits.iter().filter_map(|visit| visit.hold_until).min()?;
        let left = (until - self.now).whole_seconds().max(0);
        Some(HoldView { until: when::clock(self.studio.zone.to_civil(until)), left })
    }

    /// The visits in words.
    pub(super) fn visit_views(&self) -> Vec<VisitView> {
        self.visits.iter().map(|visit| VisitView::of(visit, &self.service)).collect()
    }
}

/// When a hold ends.
pub(super) struct HoldView {
    pub(super) until: String,
    pub(super) left: i64,
}

/// A visit in words.
pub(in crate::web) struct VisitView {
    pub(in crate::web) what: String,
    pub(in crate::web) when: String,
    pub(in crate::web) length: String,
}

impl VisitView {
    pub(in crate::web) fn of(visit: &Visit, service: &Service) -> Self {
        let minutes = u16::try_from((visit.ends_at - visit.starts_at).whole_minutes()).unwrap_or(0);
        let what = match visit.purpose {
            Purpose::Treatment => service.name.clone(),
            Purpose::SkinTest => tf("Skin test for {service}").with("service", &service.name).to_string(),
        };
        Self { what, when: when::moment(visit.civil), length: when::length(minutes) }
    }
}

/// Details, read.
pub(in crate::web) struct Given {
    pub(in crate::web) name: PersonName,
    pub(in crate::web) mail: Mail,
    pub(in crate::web) phone: Phone,
    pub(in crate::web) born: BirthDate,
}

fn stored_pairs(json: Option<&str>) -> Vec<(String, String)> {
    json.and_then(|json| serde_json::from_str(json).ok()).unwrap_or_default()
}

/// Pairs as the draft keeps them.
pub(super) fn pairs_text(fields: &Fields) -> Option<String> {
    serde_json::to_string(&fields.pairs()).ok()
}

/// Day, month and year as three fields, put together as a date is read.
pub(super) fn date_text(fields: &Fields, name: &str) -> String {
    let part = |which: &str| fields.trimmed(&format!("{name}_{which}")).to_owned();
    let (day, month, year) = (part("day"), part("month"), part("year"));
    if day.is_empty() && month.is_empty() && year.is_empty() {
        String::new()
    } else {
        format!("{year}-{month:0>2}-{day:0>2}")
    }
}

pub(in crate::web) fn read_person(fields: &Fields, studio: &Studio, today: Date) -> Result<Given, Errors> {
    let mut errors = Errors::new();
    let name = errors.take("name", PersonName::parse(fields.get("name")), words::name);
    let mail = errors.take("mail", Mail::parse(fields.get("mail")), words::mail);
    let phone = errors.take("phone", Phone::parse(fields.get("phone"), &studio.home_dial), words::phone);
    let born = errors.take("born", BirthDate::parse(&date_text(fields, "born"), today), words::birth);
    match (name, mail, phone, born) {
        (Some(name), Some(mail), Some(phone), Some(born)) => Ok(Given { name, mail, phone, born }),
        _ => Err(errors),
    }
}

/// The zone's name in words, for visitors from elsewhere.
pub(super) fn zone_words(zone: &Zone) -> String {
    zone.name().replace('_', " ")
}
