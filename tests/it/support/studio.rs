//! A small invented studio that can open its doors: two practitioners, a room, products, services, a client.

use palpebra::actions::case::Known;
use palpebra::app::App;
use palpebra::domain::bottle::Days;
use palpebra::domain::catalogue::{Chemistry, ServiceKind};
use palpebra::domain::consent::{ConsentRecord, Guardian, Offer, Signed, Tick, TypedName};
use palpebra::domain::ids::{
    AccountId, AnswersId, ClientId, ConsentId, PractitionerId, ProductId, ReactionId, RoomId, ServiceId, SkinTestId,
    TreatmentId, VisitId,
};
use palpebra::domain::person::{BirthDate, Mail, PersonName, Phone};
use palpebra::domain::questionnaire::{Answer, AnswerSet, Answers, Kind};
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::role::{Member, Role};
use palpebra::domain::skin_test::{ReadBy, Reading, SkinTest, TestResult};
use palpebra::domain::visit::VisitState;
use palpebra::domain::window::RetouchRule;
use palpebra::store::catalogue::{Batch, Product, Service};
use palpebra::store::clients::Client;
use palpebra::store::health::{StoredAnswers, StoredConsent};
use palpebra::store::practitioners::{Practitioner, Room};
use palpebra::store::reactions::Reaction;
use palpebra::store::skin_tests::StoredTest;
use palpebra::store::treatments::{Outcome, Version};
use palpebra::store::visits::{Purpose, Visit};
use palpebra::store::{accounts, catalogue, clients, health, practitioners, reactions, skin_tests, treatments, visits};
use palpebra::web::limits::Limits;
use time::macros::date;
use time::{Date, Duration, OffsetDateTime};

use super::TestApp;
use super::app::{Made, NOW};

/// What signs the practitioner in who does everything here.
pub(crate) const LIV: (&str, &str) = ("liv@studio.example.org", "seven slow brown bears");
/// What signs the other practitioner in.
pub(crate) const NOOR: (&str, &str) = ("noor@studio.example.org", "three loud yellow boats");
/// The mail of the client.
pub(crate) const MIA: &str = "mia@clients.example.org";

/// What stands in the database.
pub(crate) struct Studio {
    /// Liv.
    pub(crate) liv: PractitionerId,
    /// Noor.
    pub(crate) noor: PractitionerId,
    /// The one room.
    pub(crate) room: RoomId,
    /// A lotion; no service wants it tested.
    pub(crate) lotion: ProductId,
    /// A tint, whose label asks for 48 hours.
    pub(crate) tint: ProductId,
    /// A lash lift of 60 minutes without a skin test.
    pub(crate) lift: ServiceId,
    /// A lift and tint of 75 minutes that wants the tint tested.
    pub(crate) lift_and_tint: ServiceId,
    /// Mia, an adult with nothing against any service and no consent.
    pub(crate) mia: ClientId,
    app: App,
}

/// A batch of either product that is good for years.
pub(crate) const GOOD_BATCH: &str = "A-2031";
/// A batch of either product that ended on the last day of 2025.
pub(crate) const OLD_BATCH: &str = "A-1907";

impl TestApp {
    /// With a studio in Berlin that can be booked.
    pub(crate) async fn with_studio() -> (Self, Studio) {
        Self::with_studio_and(Limits::new()).await
    }

    /// The same, with limits of the caller's choice.
    pub(crate) async fn with_studio_and(limits: Limits) -> (Self, Studio) {
        Self::studio_made(Made { limits, ..Made::default() }).await
    }

    /// The same, made in this way.
    pub(crate) async fn studio_made(made: Made) -> (Self, Studio) {
        let test = Self::made_with_owner(made).await;
        let studio = Studio::open(test.app.clone()).await;
        (test, studio)
    }
}

impl Studio {
    async fn open(app: App) -> Self {
        let id = || app.random.id();
        let studio = Self {
            liv: PractitionerId::from_random(id()),
            noor: PractitionerId::from_random(id()),
            room: RoomId::from_random(id()),
            lotion: ProductId::from_random(id()),
            tint: ProductId::from_random(id()),
            lift: ServiceId::from_random(id()),
            lift_and_tint: ServiceId::from_random(id()),
            mia: ClientId::from_random(id()),
            app: app.clone(),
        };
        studio.add_team().await;
        studio.add_catalogue().await;
        studio.add_client(&studio.mia, "Mia Sandgren", MIA, date!(1991 - 06 - 14)).await;
        studio.answer(&studio.mia, &[]).await;
        studio
    }

    async fn add_team(&self) {
        let mut tx = self.app.db.write().await.unwrap();
        let team = [(&self.liv, "Liv Tannhauer", LIV), (&self.noor, "Noor Elvestad", NOOR)];
        for (id, name, (mail, password)) in team {
            let practitioner = Practitioner { id: id.clone(), name: name.to_owned(), active: true };
            practitioners::save(&mut tx, &practitioner, NOW).await.unwrap();
            let week = (1..=6).map(|day| (day, 9 * 60, 18 * 60));
            practitioners::set_hours(&mut tx, id, week).await.unwrap();
            let hash = self.app.passwords.hash(password.to_owned()).await.unwrap();
            let member = Member {
                account: AccountId::from_random(self.app.random.id()),
                role: Role::Practitioner,
                name: name.to_owned(),
                practitioner: Some(id.clone()),
            };
            accounts::insert(&mut tx, &member, mail, &hash, NOW).await.unwrap();
        }
        let room = Room { id: self.room.clone(), name: "Garden room".to_owned(), active: true };
        practitioners::save_room(&mut tx, &room).await.unwrap();
        let second =
            Room { id: RoomId::from_random(self.app.random.id()), name: "Street room".to_owned(), active: true };
        practitioners::save_room(&mut tx, &second).await.unwrap();
        tx.commit().await.unwrap();
    }

    async fn add_catalogue(&self) {
        let mut tx = self.app.db.write().await.unwrap();
        let products = [
            (&self.lotion, "Bow Lotion", Chemistry::Lotion, None),
            (&self.tint, "Night Tint", Chemistry::Tint, Some(48)),
        ];
        for (id, name, chemistry, label_test_hours) in products {
            let (name, maker) = (name.to_owned(), "Invented Works".to_owned());
            let supplier = "Invented Trade".to_owned();
            let product = Product {
                id: id.clone(),
                name,
                maker,
                supplier,
                chemistry,
                label_test_hours,
                label: None,
                active: true,
            };
            catalogue::save_product(&mut tx, &product).await.unwrap();
            for (number, ends) in [(GOOD_BATCH, date!(2031 - 12 - 31)), (OLD_BATCH, date!(2025 - 12 - 31))] {
                let days = Days { expires_on: Some(ends), ..Days::default() };
                let batch = Batch { product: id.clone(), number: number.to_owned(), days };
                catalogue::save_batch(&mut tx, &batch).await.unwrap();
            }
        }
        let services = [
            (&self.lift, ServiceKind::LashLift, "Lash lift", 60, 5500, vec![]),
            (&self.lift_and_tint, ServiceKind::LiftAndTint, "Lift and tint", 75, 7000, vec![self.tint.clone()]),
        ];
        for (id, kind, name, minutes, price_minor, tests) in services {
            let service = Service {
                id: id.clone(),
                kind,
                name: name.to_owned(),
                description: String::new(),
                minutes,
                turnaround_minutes: 15,
                price_minor,
                retouch: RetouchRule::default_for(kind),
                active: true,
            };
            let by = [self.liv.clone(), self.noor.clone()];
            catalogue::save_service(&mut tx, &service, &by, &tests).await.unwrap();
        }
        tx.commit().await.unwrap();
    }

    /// Adds a client.
    pub(crate) async fn add_client(&self, id: &ClientId, name: &str, mail: &str, born: Date) {
        let client = Client {
            id: id.clone(),
            name: PersonName::parse(name).unwrap(),
            mail: Mail::parse(mail).unwrap(),
            phone: Phone::parse_e164("+493055501234").unwrap(),
            born: BirthDate::of(born, born).unwrap(),
        };
        let mut tx = self.app.db.write().await.unwrap();
        clients::insert(&mut tx, &client, self.app.clock.now()).await.unwrap();
        tx.commit().await.unwrap();
    }

    /// A further client, with a no to every question.
    pub(crate) async fn client(&self, name: &str, mail: &str, born: Date) -> ClientId {
        let id = ClientId::from_random(self.app.random.id());
        self.add_client(&id, name, mail, born).await;
        self.answer(&id, &[]).await;
        id
    }

    /// Every question of the first visit answered with no, but for these.
    pub(crate) async fn answers(&self, but: &[(&str, Answer)]) -> AnswerSet {
        let mut c = self.app.db.read().await.unwrap();
        let in_force = health::in_force(&mut c).await.unwrap();
        let asked = in_force.rules.sections_for(&in_force.questionnaire, &ServiceKind::ALL, false);
        let asked = asked.iter().flat_map(|section| &section.questions).filter(|question| question.after.is_none());
        let mut answers: Answers = asked
            .inspect(|question| assert_eq!(question.kind, Kind::YesNo, "{}", question.key))
            .map(|question| (question.key.clone(), Answer::No))
            .collect();
        for (key, answer) in but {
            answers.set(*key, answer.clone());
        }
        let given_on = self.app.clock.now().date();
        AnswerSet { questionnaire: in_force.questionnaire.version(), given_on, returning: false, answers }
    }

    /// She answers: no to all, but for these.
    pub(crate) async fn answer(&self, client: &ClientId, but: &[(&str, Answer)]) -> AnswersId {
        let given = StoredAnswers {
            id: AnswersId::from_random(self.app.random.id()),
            set: self.answers(but).await,
            taken: None,
            given_at: self.app.clock.now(),
        };
        let mut tx = self.app.db.write().await.unwrap();
        health::add_answers(&mut tx, client, &given).await.unwrap();
        tx.commit().await.unwrap();
        given.id
    }

    /// She signs the consent for a service, on what stands now.
    pub(crate) async fn consent(&self, client: &ClientId, service: &ServiceId) {
        self.sign(client, service, None, &[]).await;
    }

    /// She signs, and agrees to more than is needed.
    pub(crate) async fn consent_with(&self, client: &ClientId, service: &ServiceId, ticks: &[Tick]) {
        self.sign(client, service, None, ticks).await;
    }

    /// She signs, and wants to be asked back by mail.
    pub(crate) async fn wants_letters(&self, client: &ClientId) {
        self.sign(client, &self.lift, None, &[Tick::Marketing]).await;
    }

    /// She signs with a guardian who promises to be present.
    pub(crate) async fn consent_with_guardian(&self, client: &ClientId, service: &ServiceId) {
        let (name, relation) = (TypedName::parse("Sunniva Tallgren").unwrap(), TypedName::parse("mother").unwrap());
        self.sign(client, service, Some(Guardian { name, relation, present: true, drawing: None }), &[]).await;
    }

    async fn sign(&self, client: &ClientId, service: &ServiceId, guardian: Option<Guardian>, more: &[Tick]) {
        let now = self.app.clock.now();
        let mut tx = self.app.db.write().await.unwrap();
        let row = palpebra::store::studio::get(&mut tx).await.unwrap().unwrap();
        let known = Known::load(&mut tx, &row, Some(client), service).await.unwrap();
        let offer = Offer {
            id: ConsentId::from_random(self.app.random.id()),
            subject: known.subject(),
            ticks: [Tick::Treatment, Tick::HealthData].iter().chain(more).copied().collect(),
            name: TypedName::parse("Mia Sandgren").unwrap(),
            drawing: None,
            guardian,
        };
        let answers = health::answers(&mut tx, client).await.unwrap().into_iter().next().map(|given| given.id);
        let stored = StoredConsent {
            id: offer.id.clone(),
            client: client.clone(),
            visit: None,
            text_version: known.in_force.consent.version(),
            answers,
            record: ConsentRecord::Signed(Box::new(Signed::sign(offer, now).unwrap())),
            given_at: now,
        };
        health::add_consent(&mut tx, &stored).await.unwrap();
        tx.commit().await.unwrap();
    }

    /// A booked visit.
    pub(crate) async fn visit(
        &self,
        purpose: Purpose,
        client: &ClientId,
        service: &ServiceId,
        by: &PractitionerId,
        starts_at: OffsetDateTime,
    ) -> VisitId {
        let mut tx = self.app.db.write().await.unwrap();
        let studio = palpebra::store::studio::get(&mut tx).await.unwrap().unwrap();
        let stored = catalogue::service(&mut tx, service).await.unwrap().unwrap();
        let minutes = if purpose == Purpose::SkinTest { 10 } else { i64::from(stored.minutes) };
        let ends_at = starts_at + Duration::minutes(minutes);
        let visit = Visit {
            id: VisitId::from_random(self.app.random.id()),
            purpose,
            state: VisitState::Booked,
            service: service.clone(),
            practitioner: by.clone(),
            room: self.room.clone(),
            client: Some(client.clone()),
            draft: None,
            paired_test: None,
            starts_at,
            ends_at,
            busy_until: ends_at,
            civil: studio.zone.to_civil(starts_at),
            zone: studio.zone.name().to_owned(),
            hold_until: None,
            price_minor: stored.price_minor,
            currency: studio.currency.as_str().to_owned(),
            sequence: 0,
        };
        visits::insert(&mut tx, &visit, self.app.clock.now()).await.unwrap();
        tx.commit().await.unwrap();
        visit.id
    }

    /// A skin test of the tint that was applied, and read if it says so.
    pub(crate) async fn tested(
        &self,
        client: &ClientId,
        applied_at: OffsetDateTime,
        read: Option<(TestResult, OffsetDateTime)>,
    ) -> SkinTestId {
        let id = SkinTestId::from_random(self.app.random.id());
        let test = SkinTest {
            id: id.clone(),
            product: self.tint.clone(),
            applied_at,
            reliable: true,
            voided: None,
            readings: Vec::new(),
        };
        let stored = StoredTest {
            test,
            client: client.clone(),
            visit: None,
            practitioner: Some(self.liv.clone()),
            batch: GOOD_BATCH.to_owned(),
            site: "behind the left ear".to_owned(),
            voiding: None,
            notes: Vec::new(),
        };
        let mut tx = self.app.db.write().await.unwrap();
        skin_tests::insert(&mut tx, &stored, applied_at).await.unwrap();
        if let Some((result, at)) = read {
            let reading = Reading { at, result, by: ReadBy::Practitioner };
            skin_tests::add_reading(&mut tx, &id, &reading, "", "Liv Tannhauer", at).await.unwrap();
        }
        tx.commit().await.unwrap();
        id
    }

    /// A report of a reaction that began now, after a visit or none.
    pub(crate) async fn reacted(
        &self,
        client: &ClientId,
        (level, state): (Level, State),
        visit: Option<&VisitId>,
        products: &[&ProductId],
    ) -> ReactionId {
        let now = self.app.clock.now();
        let reaction = Reaction {
            id: ReactionId::from_random(self.app.random.id()),
            client: client.clone(),
            visit: visit.cloned(),
            skin_test: None,
            state,
            level,
            began_at: now,
            reported_at: now,
            due_at: None,
            products: products.iter().map(|id| ((*id).clone(), GOOD_BATCH.to_owned())).collect(),
            entries: Vec::new(),
        };
        let mut tx = self.app.db.write().await.unwrap();
        reactions::insert(&mut tx, &reaction).await.unwrap();
        tx.commit().await.unwrap();
        reaction.id
    }

    /// A further product with a good batch of this number.
    pub(crate) async fn product(&self, name: &str, chemistry: Chemistry, hours: Option<u16>, batch: &str) -> ProductId {
        let product = Product {
            id: ProductId::from_random(self.app.random.id()),
            name: name.to_owned(),
            maker: "Invented Works".to_owned(),
            supplier: "Invented Trade".to_owned(),
            chemistry,
            label_test_hours: hours,
            label: None,
            active: true,
        };
        let mut tx = self.app.db.write().await.unwrap();
        catalogue::save_product(&mut tx, &product).await.unwrap();
        let batch = Batch { product: product.id.clone(), number: batch.to_owned(), days: Days::default() };
        catalogue::save_batch(&mut tx, &batch).await.unwrap();
        tx.commit().await.unwrap();
        product.id
    }

    /// A brow tint of 30 minutes that wants the tint tested.
    pub(crate) async fn brow_tint(&self) -> ServiceId {
        let mut tx = self.app.db.write().await.unwrap();
        let both = catalogue::service(&mut tx, &self.lift_and_tint).await.unwrap().unwrap();
        let (id, kind) = (ServiceId::from_random(self.app.random.id()), ServiceKind::BrowTint);
        let (name, retouch) = ("Brow tint".to_owned(), RetouchRule::default_for(kind));
        let service = Service { id: id.clone(), kind, name, retouch, minutes: 30, ..both };
        let by = [self.liv.clone(), self.noor.clone()];
        catalogue::save_service(&mut tx, &service, &by, std::slice::from_ref(&self.tint)).await.unwrap();
        tx.commit().await.unwrap();
        id
    }

    /// A skin test goes before a visit.
    pub(crate) async fn pair(&self, visit: &VisitId, test: &VisitId) {
        let mut tx = self.app.db.write().await.unwrap();
        let mut stored = visits::get(&mut tx, visit).await.unwrap().unwrap();
        stored.paired_test = Some(test.clone());
        visits::update(&mut tx, &stored, self.app.clock.now()).await.unwrap();
        tx.commit().await.unwrap();
    }

    /// A treatment that was done and recorded at a moment in the past.
    pub(crate) async fn treated(
        &self,
        client: &ClientId,
        service: &ServiceId,
        at: OffsetDateTime,
        outcome: Outcome,
        products: &[&ProductId],
    ) -> TreatmentId {
        let id = self.visit(Purpose::Treatment, client, service, &self.liv, at).await;
        let mut tx = self.app.db.write().await.unwrap();
        let mut visit = visits::get(&mut tx, &id).await.unwrap().unwrap();
        visit.state = VisitState::Done;
        visits::update(&mut tx, &visit, at).await.unwrap();
        let record = TreatmentId::from_random(self.app.random.id());
        treatments::insert(&mut tx, &record, client, &id, at).await.unwrap();
        let touched = outcome != Outcome::Stopped || !products.is_empty();
        let version = Version {
            version: 1,
            service: service.clone(),
            practitioner: self.liv.clone(),
            started_at: at,
            ended_at: at + Duration::minutes(55),
            shield: "medium".to_owned(),
            lotion_one_minutes: touched.then_some(6),
            lotion_two_minutes: touched.then_some(5),
            tint_minutes: None,
            notes: String::new(),
            aftercare_given: true,
            outcome,
            count: None,
            reason: String::new(),
            written_by: "Liv Tannhauer".to_owned(),
            written_at: at + Duration::HOUR,
            products: products.iter().map(|id| ((*id).clone(), GOOD_BATCH.to_owned())).collect(),
            rinsed: None,
            times: Vec::new(),
        };
        treatments::add_version(&mut tx, &record, &version).await.unwrap();
        tx.commit().await.unwrap();
        record
    }
}
