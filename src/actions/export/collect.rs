//! All that is stored about a client, as the plain values of an export.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::sync::Arc;

use time::{Date, OffsetDateTime};

use super::words;
use crate::actions::case::{self, Counted, Judged};
use crate::documents::record::{
    AnswerSet, AuditRow, ClientRecord, Consent, Guardian, Moment, Override, Person, Readiness, Reading, SkinTest,
    Studio, Tick, Visit,
};
use crate::domain::consent::{self, ConsentRecord, ConsentText};
use crate::domain::ids::{ClientId, PractitionerId, ProductId, RoomId, ServiceId, VisitId};
use crate::domain::questionnaire::Questionnaire;
use crate::domain::readiness;
use crate::domain::visit::VisitState;
use crate::domain::zone::Zone;
use crate::store::audit::Entry as Logged;
use crate::store::catalogue::Product;
use crate::store::clients::Client;
use crate::store::health::{StoredAnswers, StoredConsent};
use crate::store::treatments::Start;
use crate::store::types::read;
use crate::store::visits::{self, Purpose};
use crate::store::{
    Connection, Stored, audit, catalogue, clients, exports, health, papers, practitioners, studio, treatments,
};
use crate::{t, tf};

/// Collects client after client from one snapshot. What they share, such as names and texts, is loaded once.
#[derive(Clone)]
pub struct Collector {
    zone: Zone,
    now: OffsetDateTime,
    studio: studio::Studio,
    pub(super) services: BTreeMap<ServiceId, String>,
    practitioners: BTreeMap<PractitionerId, String>,
    rooms: BTreeMap<RoomId, String>,
    pub(super) products: BTreeMap<ProductId, Product>,
    pub(super) batches: BTreeMap<(ProductId, String), Option<Date>>,
    pub(super) papers: Vec<papers::Paper>,
    questionnaires: BTreeMap<u32, Arc<Questionnaire>>,
    texts: BTreeMap<u32, ConsentText>,
}

/// One client's visits with what belongs to them.
struct Around<'a> {
    taken: BTreeMap<VisitId, OffsetDateTime>,
    audit: &'a [Logged],
}

impl Collector {
    /// Loads what all clients share.
    ///
    /// # Errors
    /// When the file can't be read.
    pub async fn load(c: &mut Connection, studio: &studio::Studio, now: OffsetDateTime) -> Stored<Self> {
        let batches = catalogue::batches(c).await?.into_iter().map(|b| ((b.product, b.number), b.days.expires_on));
        Ok(Self {
            zone: studio.zone.clone(),
            now,
            studio: studio.clone(),
            batches: batches.collect(),
            papers: papers::ever(c).await?,
            services: catalogue::services(c).await?.into_iter().map(|s| (s.id, s.name)).collect(),
            practitioners: practitioners::all(c).await?.into_iter().map(|p| (p.id, p.name)).collect(),
            rooms: practitioners::rooms(c).await?.into_iter().map(|r| (r.id, r.name)).collect(),
            products: catalogue::products(c).await?.into_iter().map(|p| (p.id.clone(), p)).collect(),
            questionnaires: BTreeMap::new(),
            texts: BTreeMap::new(),
        })
    }

    /// All that is held about a client; `None` when there is no such client.
    ///
    /// # Errors
    /// When the file can't be read, or holds what none of our code writes.
    pub async fn client(&mut self, c: &mut Connection, id: &ClientId) -> Stored<Option<ClientRecord>> {
        let Some(client) = clients::even_restricted(c, id).await? else { return Ok(None) };
        let (since, taken) = exports::since(c, id).await?;
        let log = audit::of_client(c, id).await?;
        let around = Around { taken: taken.into_iter().collect(), audit: &log };
        let consents = self.consents(c, id).await?;
        let guardian = consents.iter().rev().find_map(|consent| consent.guardian.as_ref());
        Ok(Some(ClientRecord {
            id: id.clone(),
            person: self.person(&client, since, guardian),
            answers: self.answers(c, id).await?,
            skin_tests: self.skin_tests(c, id, &log).await?,
            visits: self.visits(c, id, &around).await?,
            past_visits: self.past_visits(c, id).await?,
            reactions: self.reactions(c, id).await?,
            letters: self.letters(c, id).await?,
            files: self.attached(c, id).await?,
            audit: log.iter().map(|entry| self.audit_row(entry)).collect::<Stored<_>>()?,
            consents,
        }))
    }

    pub(super) fn moment(&self, at: OffsetDateTime) -> Moment {
        Moment { utc: at, local: self.zone.to_civil(at) }
    }

    pub(super) fn practitioner(&self, id: &PractitionerId) -> String {
        self.practitioners.get(id).cloned().unwrap_or_default()
    }

    fn person(&self, client: &Client, since: OffsetDateTime, guardian: Option<&Guardian>) -> Person {
        Person {
            name: client.name.as_str().to_owned(),
            birth_date: Some(client.born.date()),
            email: Some(client.mail.as_str().to_owned()),
            phone: Some(client.phone.as_str().to_owned()),
            address: None,
            guardian: guardian.map(|guardian| format!("{} ({})", guardian.name, guardian.relation)),
            since: self.moment(since),
        }
    }

    async fn answers(&mut self, c: &mut Connection, id: &ClientId) -> Stored<Vec<AnswerSet>> {
        let mut sets = Vec::new();
        for given in health::answers(c, id).await?.into_iter().rev() {
            let version = given.set.questionnaire;
            if let Entry::Vacant(space) = self.questionnaires.entry(version) {
                space.insert(health::questionnaire(c, version).await?);
            }
            sets.extend(self.questionnaires.get(&version).map(|questions| self.answer_set(questions, given)));
        }
        Ok(sets)
    }

    fn answer_set(&self, questions: &Questionnaire, given: StoredAnswers) -> AnswerSet {
        AnswerSet {
            version: given.set.questionnaire.to_string(),
            hash: questions.fingerprint().to_string(),
            given_at: self.moment(given.given_at),
            given_by: words::filled_in_by(given.taken.as_ref()),
            replaces: None,
            answers: words::answers(questions, &given.set.answers),
            id: given.id,
        }
    }

    async fn skin_tests(&self, c: &mut Connection, id: &ClientId, log: &[Logged]) -> Stored<Vec<SkinTest>> {
        let voided = log.iter().filter(|entry| entry.action == "skin-test.voided");
        let at = |entry: &Logged| OffsetDateTime::from_unix_timestamp(entry.at).ok();
        let voided = voided.filter_map(|entry| Some((entry.object_id.clone(), at(entry)?))).collect();
        let tests = case::counted(c, &self.studio, id, &voided, self.now).await?;
        Ok(tests.into_iter().rev().map(|test| self.skin_test(test)).collect())
    }

    fn skin_test(&self, Counted { judged: Judged { stored, until }, from, lost }: Counted) -> SkinTest {
        let until = until.or(lost.map(|(lost, until)| lost.min(until)));
        let product = self.products.get(&stored.test.product);
        let readings = stored.test.readings.iter().zip(&stored.notes).map(|(reading, (note, by))| Reading {
            at: self.moment(reading.at),
            by: words::writer(by),
            result: reading.result.to_string(),
            note: words::said(note),
        });
        SkinTest {
            applied_at: self.moment(stored.test.applied_at),
            applied_by: stored.practitioner.as_ref().map(|id| self.practitioner(id)).unwrap_or_default(),
            product: product.map(|product| product.name.clone()).unwrap_or_default(),
            batch: Some(words::known(stored.batch)),
            site: words::known(stored.site),
            counts_from: from.map(|from| self.zone.date_at(from)),
            valid_until: until.map(|until| self.zone.date_at(until)),
            caveat: words::caveat(&stored.test, lost.map(|(lost, _)| self.zone.date_at(lost))),
            readings: readings.collect(),
            id: stored.test.id.clone(),
        }
    }

    async fn consents(&mut self, c: &mut Connection, id: &ClientId) -> Stored<Vec<Consent>> {
        let mut found = Vec::new();
        let back = health::withdrawals(c, id).await?;
        for stored in health::consents(c, id).await?.into_iter().rev() {
            let version = stored.text_version;
            if let Entry::Vacant(space) = self.texts.entry(version) {
                space.insert(health::consent_text(c, version).await?);
            }
            found.extend(self.texts.get(&version).map(|text| self.consent(text, stored, &back)));
        }
        Ok(found)
    }

    fn consent(&self, text: &ConsentText, stored: StoredConsent, back: &[(consent::Tick, OffsetDateTime)]) -> Consent {
        let signed = match stored.record {
            ConsentRecord::Signed(signed) => Some(signed),
            ConsentRecord::Refused { .. } => None,
        };
        let tick = |line: &consent::TickText| {
            let ticked = signed.as_ref().is_some_and(|signed| signed.ticks.contains(&line.tick));
            let taken_back = back.iter().find(|(tick, at)| ticked && *tick == line.tick && *at >= stored.given_at);
            let taken_back_at = taken_back.map(|(_, at)| self.moment(*at));
            Tick { statement: line.text.clone(), ticked, taken_back_at }
        };
        let ticks = text.ticks().iter().map(tick).collect();
        let guardian = signed.as_ref().and_then(|signed| signed.guardian.as_ref());
        Consent {
            id: stored.id,
            title: if signed.is_some() { t("Consent") } else { t("Consent refused") }.to_owned(),
            text: words::consent_text(text, guardian.is_some()),
            version: text.version().to_string(),
            hash: text.fingerprint().to_string(),
            answers: stored.answers,
            ticks,
            guardian: guardian.map(|guardian| Guardian {
                name: guardian.name.as_str().to_owned(),
                relation: guardian.relation.as_str().to_owned(),
                present: guardian.present,
                drawing: guardian.drawing.as_ref().map(words::drawing),
            }),
            typed_name: signed.as_ref().map(|signed| signed.name.as_str().to_owned()).unwrap_or_default(),
            drawing: signed.as_ref().and_then(|signed| signed.drawing.as_ref()).map(words::drawing),
            signed_at: self.moment(stored.given_at),
            signed_by: if signed.is_some() { words::the_client() } else { t("the client, who refused").to_owned() },
            withdrawn_at: signed.and_then(|signed| signed.withdrawn_at).map(|at| self.moment(at)),
        }
    }

    async fn visits(&self, c: &mut Connection, id: &ClientId, around: &Around<'_>) -> Stored<Vec<Visit>> {
        let mut found = Vec::new();
        for visit in visits::of_client(c, id).await?.into_iter().rev() {
            if !matches!(visit.state, VisitState::Held | VisitState::HoldExpired) {
                found.push(self.visit(c, visit, around).await?);
            }
        }
        Ok(found)
    }

    async fn visit(&self, c: &mut Connection, visit: visits::Visit, around: &Around<'_>) -> Stored<Visit> {
        let start = treatments::start(c, &visit.id).await?;
        let readiness = match &start {
            Some(start) => Some(self.readiness(c, &visit.id, start).await?),
            None => None,
        };
        let set_aside = start.clone().filter(|start| !start.reason.is_empty()).map(|start| Override {
            at: self.moment(start.started_at),
            by: start.started_by,
            verdict: readiness.as_ref().map(|readiness| readiness.verdict.clone()).unwrap_or_default(),
            reason: start.reason,
        });
        let service = self.services.get(&visit.service).cloned().unwrap_or_default();
        let booked = around.audit.iter().find(|e| e.action == "visit.booked" && e.object_id == visit.id.as_str());
        let taken = around.taken.get(&visit.id).copied().unwrap_or(visit.starts_at);
        let booked_at = booked.and_then(|entry| OffsetDateTime::from_unix_timestamp(entry.at).ok()).unwrap_or(taken);
        let treatment = treatments::of_visit(c, &visit.id).await?;
        let unrecorded = start.is_some() && treatment.is_none();
        let bottles = if unrecorded { self.bottles(c, &visit.id).await? } else { Vec::new() };
        Ok(Visit {
            service: match visit.purpose {
                Purpose::Treatment => service,
                Purpose::SkinTest => tf("Skin test for {service}").with("service", service).to_string(),
            },
            practitioner: self.practitioner(&visit.practitioner),
            room: self.rooms.get(&visit.room).cloned(),
            // What the clock was promised to show, whatever zone the studio is in by now.
            starts: Moment { utc: visit.starts_at, local: visit.civil },
            ends: Moment { utc: visit.ends_at, local: visit.civil + (visit.ends_at - visit.starts_at) },
            booked_at: self.moment(booked_at),
            booked_by: booked.map_or_else(|| t("not recorded").to_owned(), words::booker),
            state: words::state(visit.purpose, visit.state).to_owned(),
            readiness,
            overrides: set_aside.into_iter().collect(),
            ticked: self.ticked(c, &visit.id).await?,
            guardian_present: self.guardian_present(c, &visit.id).await?,
            bottles,
            treatments: treatment.map(|treatment| self.treatments(treatment)).unwrap_or_default(),
            practitioner_id: visit.practitioner,
            id: visit.id,
        })
    }

    async fn readiness(&self, c: &mut Connection, visit: &VisitId, start: &Start) -> Stored<Readiness> {
        let parsed = serde_json::from_str::<readiness::Readiness>(&start.readiness);
        let drawn = read("visit_start", "readiness", visit.as_str(), parsed)?;
        let (version, hash) = exports::rules_at(c, start.started_at).await?.unzip();
        let product = |id: &ProductId| self.products.get(id).map(|product| product.name.clone());
        Ok(Readiness {
            at: self.moment(start.started_at),
            verdict: words::verdict(drawn.verdict, drawn.from),
            rules_version: version.map(|version| version.to_string()).unwrap_or_default(),
            rules_hash: hash.unwrap_or_default(),
            reasons: drawn.reasons.iter().map(|reason| words::reason(reason, product)).collect(),
        })
    }

    fn audit_row(&self, entry: &Logged) -> Stored<AuditRow> {
        let (number, at) = (entry.seq.to_string(), entry.at);
        Ok(AuditRow {
            number: read("audit", "seq", &number, entry.seq.try_into())?,
            at: self.moment(read("audit", "at", &number, OffsetDateTime::from_unix_timestamp(at))?),
            who: words::actor(entry),
            what: words::done(entry),
            object: entry.object_id.clone(),
            hash: entry.hash().to_owned(),
        })
    }
}

/// The studio as its papers name it.
pub(super) fn letterhead(studio: &studio::Studio) -> Studio {
    Studio { name: studio.name.clone(), address: studio.address.clone(), zone: studio.zone.name().to_owned() }
}
