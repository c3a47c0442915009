//! The table behind the retouch list says what the whole history says, whatever happens to a history.
#![expect(clippy::indexing_slicing, reason = "the generator keeps every number in range")]

use std::collections::HashMap;

use palpebra::actions::retouch::{freshen, from_treatments, repair};
use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::ids::{ClientId, ServiceId, TreatmentId, VisitId};
use palpebra::domain::retouch::urgency_of;
use palpebra::domain::visit::VisitState;
use palpebra::domain::window::{IntervalRule, RetouchRule, WindowState, parts};
use palpebra::store::retouch::lines::{self, Filter, Order, Spot};
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::{self, Purpose};
use palpebra::store::{catalogue, treatments};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use time::macros::{date, datetime};
use time::{Date, Duration, OffsetDateTime};

use crate::support::{Studio, TestApp};

#[derive(Debug, Clone)]
enum Event {
    Treat { client: usize, service: usize, minute: i64, outcome: Outcome },
    Correct { nth: usize, service: usize, outcome: Outcome },
    Remove { nth: usize },
    Move { nth: usize, minute: i64 },
    Press { nth: usize },
    HandOver { nth: usize, client: usize },
    Rename { client: usize },
    Rule { service: usize, days: [u32; 3] },
}

const DAYS: i64 = 500;
const PEOPLE: usize = 3;
const SERVICES: usize = 6;

fn outcome() -> impl Strategy<Value = Outcome> {
    prop_oneof![4 => Just(Outcome::AsWished), 1 => Just(Outcome::Stopped), 1 => Just(Outcome::Reaction)]
}

/// Few minutes a day, so that treatments fall on one day or even on one moment.
fn minute() -> impl Strategy<Value = i64> {
    (0..DAYS, 0..3i64).prop_map(|(day, hour)| day * 1440 + hour * 60)
}

fn event() -> impl Strategy<Value = Event> {
    let (client, service, nth) = (0..PEOPLE, 0..SERVICES, 0..40usize);
    prop_oneof![
        8 => (client.clone(), service.clone(), minute(), outcome())
            .prop_map(|(client, service, minute, outcome)| Event::Treat { client, service, minute, outcome }),
        2 => (nth.clone(), service.clone(), outcome())
            .prop_map(|(nth, service, outcome)| Event::Correct { nth, service, outcome }),
        1 => nth.clone().prop_map(|nth| Event::Remove { nth }),
        1 => (nth.clone(), minute()).prop_map(|(nth, minute)| Event::Move { nth, minute }),
        1 => nth.clone().prop_map(|nth| Event::Press { nth }),
        1 => (nth, client.clone()).prop_map(|(nth, client)| Event::HandOver { nth, client }),
        1 => client.prop_map(|client| Event::Rename { client }),
        1 => (service, [0u32..90, 0u32..90, 0u32..90]).prop_map(|(service, days)| Event::Rule { service, days }),
    ]
}

struct World {
    app: TestApp,
    studio: Studio,
    services: Vec<ServiceId>,
}

fn start(minute: i64) -> OffsetDateTime {
    datetime!(2024-11-01 08:00 UTC) + Duration::minutes(minute)
}

impl World {
    async fn open() -> Self {
        let (app, studio) = TestApp::with_studio().await;
        let mut services = vec![studio.lift.clone(), studio.lift_and_tint.clone()];
        let mut tx = app.app.db.write().await.unwrap();
        let pattern = catalogue::service(&mut tx, &studio.lift).await.unwrap().unwrap();
        for (n, kind) in
            [ServiceKind::LashLift, ServiceKind::LashTint, ServiceKind::BrowTint, ServiceKind::BrowLamination]
                .into_iter()
                .enumerate()
        {
            let id = ServiceId::from_random(app.app.random.id());
            let retouch = RetouchRule::default_for(kind);
            let service = catalogue::Service { id: id.clone(), kind, name: format!("{n}"), retouch, ..pattern.clone() };
            catalogue::save_service(&mut tx, &service, &[], &[]).await.unwrap();
            services.push(id);
        }
        // A treatment that goes alone leaves the list as one that goes with its client does, and is easier to see.
        for guard in ["treatment", "treatment_version", "treatment_product", "treatment_time"] {
            sqlx::query(sqlx::AssertSqlSafe(format!("DROP TRIGGER {guard}_leaves"))).execute(&mut *tx).await.unwrap();
        }
        tx.commit().await.unwrap();
        Self { app, studio, services }
    }

    async fn treat(&self, client: &ClientId, service: &ServiceId, minute: i64, outcome: Outcome) -> TreatmentId {
        // The treatment of another time is the pattern; the visit says it was missed, so that any two may overlap.
        let far = datetime!(2000-01-01 08:00 UTC) + Duration::days(self.app.app.clock.now().unix_timestamp() % 7);
        let id = self.studio.visit(Purpose::Treatment, client, service, &self.studio.liv, far).await;
        let mut tx = self.app.app.db.write().await.unwrap();
        let mut visit = visits::get(&mut tx, &id).await.unwrap().unwrap();
        visit.state = VisitState::NoShow;
        visits::update(&mut tx, &visit, far).await.unwrap();
        let record = TreatmentId::from_random(self.app.app.random.id());
        treatments::insert(&mut tx, &record, client, &id, far).await.unwrap();
        treatments::add_version(&mut tx, &record, &self.version(1, service, outcome)).await.unwrap();
        self.put(&mut tx, &id, minute).await;
        tx.commit().await.unwrap();
        record
    }

    fn version(&self, version: u32, service: &ServiceId, outcome: Outcome) -> treatments::Version {
        let at = start(0);
        treatments::Version {
            version,
            service: service.clone(),
            practitioner: self.studio.liv.clone(),
            started_at: at,
            ended_at: at,
            shield: String::new(),
            lotion_one_minutes: version.is_multiple_of(2).then_some(4),
            lotion_two_minutes: None,
            tint_minutes: None,
            notes: String::new(),
            aftercare_given: true,
            outcome,
            count: None,
            reason: if version > 1 { "corrected".to_owned() } else { String::new() },
            written_by: String::new(),
            written_at: at,
            products: Vec::new(),
            rinsed: None,
            times: Vec::new(),
        }
    }

    async fn put(&self, tx: &mut palpebra::store::Connection, visit: &VisitId, minute: i64) {
        let mut row = visits::get(tx, visit).await.unwrap().unwrap();
        let length = row.ends_at - row.starts_at;
        row.starts_at = start(minute);
        row.ends_at = row.starts_at + length;
        row.busy_until = row.ends_at;
        row.civil = palpebra::store::studio::get(tx).await.unwrap().unwrap().zone.to_civil(row.starts_at);
        visits::update(tx, &row, row.starts_at).await.unwrap();
    }

    async fn happen(&self, event: &Event, people: &[ClientId], records: &mut Vec<(TreatmentId, u32)>) {
        let nth = |nth: &usize| (!records.is_empty()).then(|| nth % records.len().max(1));
        let sql = |text: &'static str, values: [String; 2]| {
            let db = self.app.app.db.clone();
            async move {
                let mut tx = db.write().await.unwrap();
                sqlx::query(text).bind(&values[0]).bind(&values[1]).execute(&mut *tx).await.unwrap();
                tx.commit().await.unwrap();
            }
        };
        match event {
            Event::Treat { client, service, minute, outcome } => {
                let id = self.treat(&people[*client], &self.services[*service], *minute, *outcome).await;
                records.push((id, 1));
            }
            Event::Correct { nth: n, service, outcome } => {
                let Some(at) = nth(n) else { return };
                records[at].1 += 1;
                let version = self.version(records[at].1, &self.services[*service], *outcome);
                let mut tx = self.app.app.db.write().await.unwrap();
                treatments::add_version(&mut tx, &records[at].0, &version).await.unwrap();
                tx.commit().await.unwrap();
            }
            Event::Remove { nth: n } => {
                let Some(at) = nth(n) else { return };
                let (id, _) = records.swap_remove(at);
                sql("DELETE FROM treatment WHERE id = ?1 AND ?2 = ''", [id.as_str().to_owned(), String::new()]).await;
            }
            Event::Move { nth: n, minute } => {
                let Some(at) = nth(n) else { return };
                let mut tx = self.app.app.db.write().await.unwrap();
                // What is sealed in a record that was handed over is the other's.
                let visit =
                    sqlx::query_scalar("SELECT visit_id FROM treatment WHERE id = ?").bind(records[at].0.as_str());
                let visit: String = visit.fetch_one(&mut *tx).await.unwrap();
                self.put(&mut tx, &VisitId::parse(&visit).unwrap(), *minute).await;
                tx.commit().await.unwrap();
            }
            Event::Press { nth: n } => {
                let Some(at) = nth(n) else { return };
                let pressed = "INSERT INTO chair_event SELECT lower(hex(randomblob(16))), visit_id, 'on', 1, 'left', 0, 60, NULL, 0,
                                   'x', 0 FROM treatment WHERE id = ?1 AND ?2 = ''";
                sql(pressed, [records[at].0.as_str().to_owned(), String::new()]).await;
            }
            Event::HandOver { nth: n, client } => {
                let Some(at) = nth(n) else { return };
                let values = [records[at].0.as_str().to_owned(), people[*client].as_str().to_owned()];
                sql("UPDATE treatment SET client_id = ?2 WHERE id = ?1", values).await;
            }
            Event::Rename { client } => {
                let values = [people[*client].as_str().to_owned(), format!("ÉVA {}", records.len())];
                sql("UPDATE client SET name = ?2 WHERE id = ?1", values).await;
            }
            Event::Rule { service, days: [opens, due, lapsed] } => {
                let rule = IntervalRule::parse(*opens, opens + due, opens + due + lapsed).unwrap();
                let mut tx = self.app.app.db.write().await.unwrap();
                let id = &self.services[*service];
                catalogue::set_rule(&mut tx, id, &RetouchRule::Interval(rule)).await.unwrap();
                tx.commit().await.unwrap();
            }
        }
    }

    /// The table and the histories, both by client and service.
    async fn both(&self) -> (Vec<Spot>, Vec<Spot>) {
        freshen(&self.app.app.db).await.unwrap();
        let mut c = self.app.app.db.read().await.unwrap();
        let mut wanted = from_treatments(&mut c).await.unwrap();
        wanted.sort_by(|a, b| (&a.client, a.service.as_str()).cmp(&(&b.client, b.service.as_str())));
        (lines::all(&mut c).await.unwrap(), wanted)
    }
}

#[test]
fn the_table_follows_every_history() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let world = runtime.block_on(World::open());
    let events = proptest::collection::vec(event(), 1..16);
    // Each case adds people to the same file, and looks at everybody; more cases than this show nothing new.
    let mut runner = TestRunner::new(ProptestConfig { cases: 90, ..ProptestConfig::default() });
    let told = runner.run(&events, |events| {
        let (listed, wanted) = runtime.block_on(async {
            let mut people = Vec::new();
            for n in 0..PEOPLE {
                let mail = "somebody@clients.example.org";
                people.push(world.studio.client(&format!("Ågot {n}"), mail, date!(1990 - 01 - 01)).await);
            }
            let mut records = Vec::new();
            for event in &events {
                world.happen(event, &people, &mut records).await;
            }
            world.both().await
        });
        prop_assert_eq!(listed, wanted);
        Ok(())
    });
    told.unwrap();
    runtime.block_on(pages_are_slices(&world));
}

fn state(spot: &Spot, today: Date) -> WindowState {
    if today < spot.opens {
        WindowState::NotYet
    } else if today < spot.due {
        WindowState::Open
    } else if today < spot.lapsed {
        WindowState::Due
    } else {
        WindowState::Lapsed
    }
}

/// Every filter and order, page by page, against sorting everything.
async fn pages_are_slices(world: &World) {
    let (_, all) = world.both().await;
    assert!(all.len() > 150, "only {} lines", all.len());
    let now = start(DAYS * 1440 / 2);
    let today = date!(2025 - 07 - 09);
    for (n, spot) in all.iter().enumerate().filter(|(n, _)| n % 5 == 0) {
        let at = now + Duration::days(1 + i64::try_from(n).unwrap());
        world.studio.visit(Purpose::Treatment, &spot.client, &spot.service, &world.studio.liv, at).await;
    }
    let mut c = world.app.app.db.read().await.unwrap();
    let ids: Vec<&ClientId> = all.iter().map(|spot| &spot.client).collect();
    let names = palpebra::store::retouch::names(&mut c, &ids).await.unwrap();
    let names: HashMap<&ClientId, String> = names.iter().map(|(id, name)| (id, name.to_lowercase())).collect();
    let booked = palpebra::store::retouch::booked(&mut c, &ids, now).await.unwrap();
    let states = lines::STATES.into_iter().map(Some).chain([None]);
    for (wanted_state, free, name) in
        states.flat_map(|state| [(state, false, ""), (state, true, ""), (state, true, "éva"), (state, false, "got 1")])
    {
        let filter = Filter { today, state: wanted_state, free: free.then_some(now), name };
        let fits = |spot: &&Spot| {
            wanted_state.is_none_or(|wanted| state(spot, today) == wanted)
                && !(free && booked.contains_key(&spot.client))
                && names[&spot.client].contains(name)
        };
        for order in [Order::Urgent, Order::Date, Order::Name] {
            let mut wanted: Vec<Spot> = all.iter().filter(fits).cloned().collect();
            let tie = |spot: &Spot| (spot.client.clone(), spot.service.as_str().to_owned());
            match order {
                Order::Urgent => wanted.sort_by_cached_key(|spot| {
                    (urgency_of(state(spot, today), spot.opens, spot.due, spot.lapsed), tie(spot))
                }),
                Order::Date => wanted.sort_by_cached_key(|spot| (spot.opens, tie(spot))),
                Order::Name => wanted.sort_by_cached_key(|spot| (names[&spot.client].clone(), tie(spot))),
            }
            let mut found = Vec::new();
            let counts = lines::counts(&mut c, filter).await.unwrap();
            let from = |found: &Vec<Spot>| (i64::try_from(found.len()).unwrap(), 7);
            while let page = lines::page(&mut c, filter, order, counts, from(&found)).await.unwrap()
                && !page.is_empty()
            {
                found.extend(page);
            }
            assert_eq!(found, wanted, "{filter:?} {order:?}");
            let counted: i64 = counts.iter().map(|(_, count)| count).sum();
            assert_eq!(usize::try_from(counted).unwrap(), wanted.len(), "{filter:?}");
        }
    }
}

#[tokio::test]
async fn the_doctor_mends_what_was_damaged() {
    let (app, studio) = TestApp::with_studio().await;
    studio.treated(&studio.mia, &studio.lift, start(0), Outcome::AsWished, &[]).await;
    assert_eq!(repair(&app.app.db).await.unwrap(), 0);
    for damage in ["UPDATE retouch_line SET due = due + 1", "DELETE FROM retouch_line", "DELETE FROM retouch_part"] {
        let mut tx = app.app.db.write().await.unwrap();
        sqlx::query(damage).execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
        assert_eq!(repair(&app.app.db).await.unwrap(), 1, "{damage}");
        assert_eq!(repair(&app.app.db).await.unwrap(), 0, "{damage}");
    }
}

#[tokio::test]
async fn the_schema_knows_the_parts_of_each_kind() {
    let app = TestApp::with_owner().await;
    let mut c = app.app.db.read().await.unwrap();
    let rows: Vec<(String, String)> = sqlx::query_as("SELECT kind, part FROM retouch_kind_part ORDER BY kind, part")
        .fetch_all(&mut *c)
        .await
        .unwrap();
    let mut wanted: Vec<(String, String)> = ServiceKind::ALL
        .into_iter()
        .flat_map(|kind| parts(kind).iter().map(move |part| (kind.as_str().to_owned(), part.as_str().to_owned())))
        .collect();
    wanted.sort();
    assert_eq!(rows, wanted);
}
