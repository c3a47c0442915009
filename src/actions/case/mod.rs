//! What is known of a client for a service, loaded once and put before the rules.
//!
//! The client who books, the practitioner at the chair and the owner's list all ask here, so that the same case gets
//! the same verdict from all three.

mod agreed;
mod barred;
mod booked;
mod bottle;
mod choices;
mod judged;
mod shelf;
mod testing;
mod visit;

use std::collections::BTreeSet;

use time::{Date, OffsetDateTime};

use crate::domain::age::{AgePolicy, Jurisdiction};
use crate::domain::catalogue::ServiceKind;
use crate::domain::consent::ConsentRecord;
use crate::domain::harm::blocks;
use crate::domain::ids::{ClientId, ProductId, ServiceId, VisitId};
use crate::domain::letter::Letter;
use crate::domain::limits::Ingredient;
use crate::domain::person::BirthDate;
use crate::domain::questionnaire::AnswerSet;
use crate::domain::readiness::{Case, Readiness, Shelved};
use crate::domain::screening::Screening;
use crate::domain::skin_test::{Planned, SkinTest, TestRules};
use crate::domain::verdict::{About, Clears, Earliest, Reason, Verdict};
use crate::domain::window::{self, RetouchRule, Wait, Window};
use crate::domain::zone::Zone;
use crate::store::catalogue::{Product, Service};
use crate::store::harm::{self, Harm};
use crate::store::health::{InForce, StoredAnswers};
use crate::store::studio::Studio;
use crate::store::types::impossible;
use crate::store::{Connection, Stored, catalogue, clients, health, letters, skin_tests, treatments, visits};
pub use barred::Barred;
pub use choices::{RetouchRules, test_rules};
pub use judged::{Counted, Judged, counted, judged};
pub use testing::NO_ANSWERS;

/// Whose visit for what is judged.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// The client; nobody while a new one fills in her first booking.
    pub client: Option<&'a ClientId>,
    /// The service.
    pub service: &'a ServiceId,
    /// When the visit starts; at the chair this is `now`.
    pub at: OffsetDateTime,
    /// The moment of asking.
    pub now: OffsetDateTime,
}

/// What a booking holds that is not stored yet. Each part that is there takes the place of what is stored.
#[derive(Debug, Clone, Default)]
pub struct Drafted {
    /// The date of birth.
    pub birth: Option<BirthDate>,
    /// The answers, and when they were given.
    pub answers: Option<(AnswerSet, OffsetDateTime)>,
    /// The signature or the refusal.
    pub consent: Option<ConsentRecord>,
    /// When the skin test that is booked along begins.
    pub test_booked_at: Option<OffsetDateTime>,
}

/// Answers as they stand in a record or in a draft.
struct Given {
    set: AnswerSet,
    at: OffsetDateTime,
    /// Whether somebody of the team took them down.
    by_team: bool,
}

impl From<StoredAnswers> for Given {
    fn from(stored: StoredAnswers) -> Self {
        Self { by_team: stored.taken.is_some(), at: stored.given_at, set: stored.set }
    }
}

/// What is known of a client for a service.
pub struct Known {
    /// The service.
    pub service: Service,
    /// The products that it wants tested.
    pub products: Vec<Product>,
    /// What is asked, meant and signed now.
    pub in_force: InForce,
    /// Her date of birth.
    pub birth: Option<BirthDate>,
    zone: Zone,
    age_policy: AgePolicy,
    place: Jurisdiction,
    /// Every product of the register, in use or not.
    register: Vec<Product>,
    shelf: Vec<Shelved>,
    ingredients: Option<BTreeSet<Ingredient>>,
    /// At the chair: whether a parent or guardian was noted as present. Before that, what was promised counts.
    guardian_here: Option<bool>,
    test_rules: TestRules,
    retouch: RetouchRules,
    /// Newest first.
    answers: Vec<Given>,
    /// Newest first.
    consents: Vec<ConsentRecord>,
    tests: Vec<SkinTest>,
    booked_tests: Vec<testing::Booked>,
    uses: Vec<(ProductId, OffsetDateTime)>,
    harm: Vec<Harm>,
    /// When she reacted, and at which visit.
    reactions: Vec<(OffsetDateTime, Option<VisitId>)>,
    /// Whether a reaction of hers, from moderate on, is not settled.
    reaction_open: bool,
    past: Vec<treatments::Past>,
    /// Her treatments that are booked.
    booked: Vec<booked::Booked>,
    letters: Vec<Letter>,
}

/// The verdict from everything that is stored.
///
/// # Errors
/// When the file can't be read.
pub async fn readiness(c: &mut Connection, studio: &Studio, asked: &Asked<'_>) -> Stored<Readiness> {
    Ok(Known::load(c, studio, asked.client, asked.service).await?.readiness(asked.at, asked.now))
}

/// The verdict as it would be once a booking's draft is stored.
///
/// # Errors
/// When the file can't be read.
pub async fn readiness_of_draft(
    c: &mut Connection,
    studio: &Studio,
    asked: &Asked<'_>,
    draft: Drafted,
) -> Stored<Readiness> {
    let mut known = Known::load(c, studio, asked.client, asked.service).await?;
    known.add(draft);
    Ok(known.readiness(asked.at, asked.now))
}

/// The first day that window and waits leave to a client for a service; nothing when any day does.
///
/// # Errors
/// When the file can't be read.
pub async fn earliest(
    c: &mut Connection,
    studio: &Studio,
    client: Option<&ClientId>,
    service: &ServiceId,
    now: OffsetDateTime,
) -> Stored<Option<Date>> {
    Ok(Known::load(c, studio, client, service).await?.earliest(now))
}

impl Known {
    /// Loads it.
    ///
    /// # Errors
    /// When the service or the client isn't there, or the file can't be read.
    pub async fn load(
        c: &mut Connection,
        studio: &Studio,
        client: Option<&ClientId>,
        service: &ServiceId,
    ) -> Stored<Self> {
        let services = catalogue::services(c).await?;
        let retouch = RetouchRules::of(&services);
        let service = services.iter().find(|one| one.id == *service).cloned();
        let service = service.ok_or_else(|| impossible("service", "id", "asked for"))?;
        let products = catalogue::tests_for(c, &service.id).await?;
        let register = catalogue::products(c).await?;
        let mut known = Self {
            shelf: shelf::shelf(&register, &products, &BTreeSet::new()),
            ingredients: shelf::ingredients(&register, &products, service.kind),
            products,
            register,
            in_force: health::in_force(c).await?,
            birth: None,
            zone: studio.zone.clone(),
            age_policy: studio.age_policy,
            place: studio.jurisdiction,
            guardian_here: None,
            test_rules: test_rules(studio)?,
            retouch: retouch.with(&service),
            answers: Vec::new(),
            consents: Vec::new(),
            tests: Vec::new(),
            booked_tests: Vec::new(),
            uses: Vec::new(),
            harm: Vec::new(),
            reactions: Vec::new(),
            reaction_open: false,
            past: Vec::new(),
            booked: Vec::new(),
            letters: Vec::new(),
            service,
        };
        if let Some(client) = client {
            known.load_client(c, client, &services).await?;
        }
        Ok(known)
    }

    async fn load_client(&mut self, c: &mut Connection, id: &ClientId, services: &[Service]) -> Stored<()> {
        let client = clients::even_restricted(c, id).await?.ok_or_else(|| impossible("client", "id", id.as_str()))?;
        self.birth = Some(client.born);
        self.answers = health::answers(c, id).await?.into_iter().map(Given::from).collect();
        self.consents = health::consents(c, id).await?.into_iter().map(|consent| consent.record).collect();
        self.tests = skin_tests::of_client(c, id).await?.into_iter().map(|stored| stored.test).collect();
        self.uses = treatments::uses(c, id).await?;
        self.harm = harm::of(c, &[id]).await?;
        let harmed = self.harm.iter().map(|harm| harm.product.clone()).collect();
        self.shelf = shelf::shelf(&self.register, &self.products, &harmed);
        self.reaction_open = !harm::unsettled(c, &[id]).await?.is_empty();
        self.letters = letters::counting(c, id).await?;
        self.reactions = treatments::reactions(c, id).await?;
        self.past = treatments::past(c, Some(id)).await?;
        let visits = visits::of_client(c, id).await?;
        self.booked = visits.iter().filter_map(|visit| booked::Booked::of(visit, services)).collect();
        for visit in visits.into_iter().filter(testing::is_to_come) {
            let products = catalogue::tests_for(c, &visit.service).await?;
            let products = products.into_iter().map(|product| product.id).collect();
            self.booked_tests.push(testing::Booked { at: visit.starts_at, products, visit: Some(visit) });
        }
        Ok(())
    }

    /// Puts what a booking holds in place of what is stored.
    pub fn add(&mut self, draft: Drafted) {
        self.birth = draft.birth.or(self.birth);
        if let Some((set, at)) = draft.answers {
            self.answers.insert(0, Given { set, at, by_team: false });
        }
        if let Some(consent) = draft.consent {
            self.consents.insert(0, consent);
        }
        if let Some(at) = draft.test_booked_at {
            self.booked_tests.push(testing::Booked { at, products: self.product_ids().collect(), visit: None });
        }
    }

    fn product_ids(&self) -> impl Iterator<Item = ProductId> {
        self.products.iter().map(|product| product.id.clone())
    }

    /// The newest answers.
    pub fn answers(&self) -> Option<&AnswerSet> {
        self.answers.first().map(|given| &given.set)
    }

    fn screening<'a>(&'a self, set: &'a AnswerSet) -> Screening<'a> {
        Screening {
            questionnaire: &self.in_force.questionnaire,
            rules: &self.in_force.rules,
            set,
            letters: &self.letters,
            ingredients: self.ingredients.as_ref(),
        }
    }

    fn planned(&self, product: &Product, at: OffsetDateTime, now: OffsetDateTime) -> Planned {
        let booked = self.tests_ahead(now).filter(|test| test.at < at && test.products.contains(&product.id));
        let related = shelf::sharing(&self.register, product);
        // A skin test that failed speaks for itself.
        let in_treatments = self.harm.iter().filter(|harm| !harm.in_test && harm.at <= now);
        let harmed = in_treatments.map(|harm| harm.product.clone()).collect();
        let blocked = blocks(&harmed, &product.id, &related);
        Planned {
            product: product.id.clone(),
            needs_test: true,
            label_hours: product.label_test_hours,
            related,
            treated: self.uses.iter().filter(|(used, _)| *used == product.id).map(|(_, when)| *when).collect(),
            test_booked_at: booked.map(|test| test.at).min(),
            blocked,
        }
    }

    /// Her treatments so far, oldest first.
    pub fn past(&self) -> &[treatments::Past] {
        &self.past
    }

    /// The rule that a single kind follows here.
    pub fn rule(&self, kind: ServiceKind) -> Option<&RetouchRule> {
        self.retouch.get(kind)
    }

    /// The retouch window, once she was treated before `at`, with waits that come on top.
    pub fn window(&self, at: OffsetDateTime, extra: &[Wait]) -> Option<Window> {
        self.window_after(self.treated(), at, extra)
    }

    fn window_after(
        &self,
        visits: impl Iterator<Item = (OffsetDateTime, ServiceKind, Date)>,
        at: OffsetDateTime,
        extra: &[Wait],
    ) -> Option<Window> {
        let before: Vec<_> = visits.filter(|(begun, ..)| *begun < at).map(|(_, kind, on)| (kind, on)).collect();
        window::window_of_service(self.service.kind, &before, |kind| self.retouch.get(kind), extra)
    }

    /// The waits that her answers ask for, as of `now`.
    pub fn waits(&self, now: OffsetDateTime) -> Vec<Wait> {
        let wait = |reason: Reason| match (reason.about, reason.from) {
            (About::Question(question), Some(from)) => Some(Wait::Health { question, until: from.day() }),
            _ => None,
        };
        self.readiness(now, now).reasons.into_iter().filter_map(wait).collect()
    }

    /// The verdict for a visit that starts at `at`.
    pub fn readiness(&self, at: OffsetDateTime, now: OffsetDateTime) -> Readiness {
        let products: Vec<Planned> = self.products.iter().map(|product| self.planned(product, at, now)).collect();
        let local = at.to_offset(self.zone.offset_at(at));
        Readiness::of(&Case {
            service: self.service.kind,
            now,
            at: local,
            birth: self.birth,
            age_policy: self.age_policy,
            guardian: self.guardian(),
            questionnaire: &self.in_force.questionnaire,
            rules: &self.in_force.rules,
            answers: self.answers(),
            taken_back: &self.taken_back(),
            letters: &self.letters,
            ingredients: self.ingredients.as_ref(),
            place: self.place,
            shelf: &self.shelf,
            products: &products,
            tests: &self.tests(now, None),
            test_rules: self.test_rules,
            consent: self.consent_standing(),
            window_opens: self.opens(at, now),
            reaction_open: self.reaction_open,
        })
    }

    /// The first day that window and waits leave; nothing when any day does. A skin test that is still to be made is
    /// left out: the pair of visits sees to it.
    pub fn earliest(&self, now: OffsetDateTime) -> Option<Date> {
        let readiness = self.readiness(now, now);
        let waits = readiness.reasons.iter().filter(|reason| !reason.clears.contains(&Clears::SkinTest));
        waits.filter_map(|reason| reason.from).reduce(Earliest::later).map(Earliest::day)
    }

    /// Whether a visit may not be moved from one moment to another, because of a skin test: one would have to be made that
    /// isn't needed where the visit is, or its wait isn't over by then.
    pub fn tests_forbid_move(&self, from: OffsetDateTime, to: OffsetDateTime, now: OffsetDateTime) -> bool {
        if self.products.is_empty() {
            return false;
        }
        let about_tests = |at| {
            let all = self.readiness(at, now).reasons.into_iter();
            all.filter(|reason| {
                (matches!(reason.about, About::SkinTest(_)) || reason.clears.contains(&Clears::SkinTest))
                    && matches!(reason.verdict, Verdict::WaitUntil | Verdict::DoNotTreat)
            })
        };
        let stands: Vec<Reason> = about_tests(from).collect();
        about_tests(to).any(|reason| {
            let too_soon = matches!(reason.from, Some(Earliest::Moment(moment)) if moment > to);
            too_soon || !stands.iter().any(|old| old.rule == reason.rule && old.about == reason.about)
        })
    }

    /// Whether a skin test has to be made before a visit at `at`, and none is booked for it.
    pub fn needs_test(&self, at: OffsetDateTime, now: OffsetDateTime) -> bool {
        let to_make = |verdict, clears: &[Clears]| verdict >= Verdict::WaitUntil && clears.contains(&Clears::SkinTest);
        self.readiness(at, now).reasons.iter().any(|reason| to_make(reason.verdict, &reason.clears))
    }
}
