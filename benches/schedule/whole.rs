//! The same studio asked as a whole: as a question for other programs, as a file, as pages of a server under load.
#![expect(
    clippy::print_stdout,
    clippy::indexing_slicing,
    reason = "it answers another program, and may stop at the first surprise"
)]

use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::ids::{ClientId, PractitionerId, RoomId, ServiceId, VisitId};
use palpebra::domain::money::Currency;
use palpebra::domain::person::{BirthDate, Mail, PersonName, Phone};
use palpebra::domain::schedule::free_times;
use palpebra::domain::visit::VisitState;
use palpebra::domain::window::RetouchRule;
use palpebra::language::Language;
use palpebra::store::catalogue::{self, Service};
use palpebra::store::clients::{self, Client};
use palpebra::store::practitioners::{self, Practitioner, Room};
use palpebra::store::visits::{self, Purpose, Visit};
use palpebra::store::{Db, studio};
use time::{OffsetDateTime, PrimitiveDateTime};

use super::{NOW, Studio, TODAY};

const FUTURE: u16 = 5000;
/// What fits each gap that is left, and what fits none: a page full of times, and the longest search.
const MINUTES: [u16; 2] = [20, 60];

/// Prints, as JSON, the rows of the busiest studio, its days of work, the starts that are free, and how many nanoseconds
/// the rule takes from the rows and from busy times that are in order already (medians).
pub(super) fn question(minutes: u16) {
    let studio = Studio::new(FUTURE);
    let busy = studio.busy();
    let starts: Vec<i64> = studio.search(&busy, minutes, |search| {
        free_times(search).iter().map(|time| time.starts_at().unix_timestamp()).collect()
    });
    let in_order = median(|| studio.search(&busy, minutes, |search| free_times(black_box(search)).len()));
    let from_rows = median(|| studio.search(&black_box(&studio).busy(), minutes, |search| free_times(search).len()));
    let not_before = (NOW + time::Duration::minutes(120)).unix_timestamp();
    let work = palpebra::domain::zone::days(TODAY, 60)
        .map(|date| palpebra::domain::schedule::work_on(&studio.zone, &studio.hours, date));
    let work: Vec<(i64, i64)> = work.flatten().collect();
    println!(
        "{}",
        serde_json::json!({
            "practitioners": studio.of_practitioners, "rooms": studio.of_rooms, "work": work, "not_before": not_before,
            "grid": 900, "taken": i64::from(minutes) * 60, "starts": starts,
            "ns_in_order": in_order, "ns_from_rows": from_rows,
        })
    );
}

fn median<T>(ask: impl Fn() -> T) -> u128 {
    let mut all: Vec<u128> = (0..501)
        .map(|_| {
            let begin = Instant::now();
            black_box(ask());
            begin.elapsed().as_nanos()
        })
        .collect();
    all.sort_unstable();
    all[all.len() / 2]
}

fn run<F: Future>(task: F) -> F::Output {
    tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap().block_on(task)
}

/// Makes a file with so many visits in the past and 5,000 to come, and prints the paths of its services' pages.
pub(super) fn fill(file: &str, past: u32) {
    run(async {
        let db = Db::open(Path::new(file)).await.unwrap();
        let mut tx = db.write().await.unwrap();
        let scene = Studio::new(FUTURE);
        studio::create(
            &mut tx,
            "A studio",
            &scene.zone,
            &Currency::parse("EUR").unwrap(),
            Language::English,
            true,
            NOW,
        )
        .await
        .unwrap();
        let mut row = studio::get(&mut tx).await.unwrap().unwrap();
        row.horizon_days = 60;
        studio::save(&mut tx, &row).await.unwrap();
        for (id, name) in scene.practitioners.iter().zip(["A", "B", "C", "D"]) {
            let she = Practitioner { id: id.clone(), name: name.to_owned(), active: true };
            practitioners::save(&mut tx, &she, NOW).await.unwrap();
            practitioners::set_hours(&mut tx, id, (1..=7).map(|day| (day, 9 * 60, 18 * 60))).await.unwrap();
        }
        for id in &scene.rooms {
            let room = Room { id: id.clone(), name: id.to_string(), active: true };
            practitioners::save_room(&mut tx, &room).await.unwrap();
        }
        let services = MINUTES.map(|minutes| Service {
            id: ServiceId::from_random([u8::try_from(minutes).unwrap(); 16]),
            kind: ServiceKind::LashLift,
            name: "Lash lift".to_owned(),
            description: String::new(),
            minutes,
            turnaround_minutes: 0,
            price_minor: 5000,
            retouch: RetouchRule::default_for(ServiceKind::LashLift),
            active: true,
        });
        for service in &services {
            catalogue::save_service(&mut tx, service, &scene.practitioners, &[]).await.unwrap();
        }
        let born = time::macros::date!(1990 - 01 - 01);
        let client = Client {
            id: ClientId::from_random([8; 16]),
            name: PersonName::parse("Una Thistlewick").unwrap(),
            mail: Mail::parse("una@clients.example.org").unwrap(),
            phone: Phone::parse_e164("+493055501234").unwrap(),
            born: BirthDate::of(born, born).unwrap(),
        };
        clients::insert(&mut tx, &client, NOW).await.unwrap();
        let mut number = 0_u128;
        let mut add = async |who: &PractitionerId, room: &RoomId, at: i64, state| {
            number += 1;
            let starts_at = OffsetDateTime::from_unix_timestamp(at).unwrap();
            let ends_at = starts_at + time::Duration::minutes(20);
            let visit = Visit {
                id: VisitId::from_random(number.to_be_bytes()),
                purpose: Purpose::Treatment,
                state,
                service: services[0].id.clone(),
                practitioner: who.clone(),
                room: room.clone(),
                client: Some(client.id.clone()),
                draft: None,
                paired_test: None,
                starts_at,
                ends_at,
                busy_until: ends_at,
                civil: PrimitiveDateTime::new(starts_at.date(), starts_at.time()),
                zone: scene.zone.name().to_owned(),
                hold_until: None,
                price_minor: 5000,
                currency: "EUR".to_owned(),
                sequence: 0,
            };
            visits::insert(&mut tx, &visit, NOW).await.unwrap();
        };
        // 54 a day, back into the past: two rooms, 27 steps of twenty minutes.
        for n in 0..i64::from(past) {
            let (day, step) = (n / 54 + 1, n % 54);
            let at = TODAY.midnight().assume_utc().unix_timestamp() - day * 86_400 + 8 * 3600 + step / 2 * 1200;
            let (who, room) = (usize::try_from(step % 4).unwrap(), usize::try_from(step % 2).unwrap());
            add(&scene.practitioners[who], &scene.rooms[room], at, VisitState::Done).await;
        }
        for (room, rows) in scene.rooms.iter().zip(&scene.of_rooms) {
            for row in rows {
                let who = scene.of_practitioners.iter().position(|of| of.binary_search(row).is_ok_and(|_| true));
                // Both rooms have the same steps; who is where is told by the room.
                let side = usize::from(room != &scene.rooms[0]);
                let who = (side..4).step_by(2).find(|n| scene.of_practitioners[*n].binary_search(row).is_ok()).or(who);
                add(&scene.practitioners[who.unwrap()], room, row.0, VisitState::Booked).await;
            }
        }
        tx.commit().await.unwrap();
        db.close().await;
        for service in services {
            println!("/services/{}", service.id);
        }
    });
}

/// A hundred visitors, each of whom opens the page once a second for so many seconds, at moments spread evenly; prints
/// how many pages came and the latencies in microseconds at the 50th and the 99th percentile, and the largest.
pub(super) fn load(url: &str, seconds: u32) {
    const VISITORS: u32 = 100;
    let url = url.to_owned();
    let mut all = run(async {
        let http = reqwest::Client::builder().pool_max_idle_per_host(100).build().unwrap();
        let visitors = (0..VISITORS).map(|n| {
            let (http, url) = (http.clone(), url.clone());
            tokio::spawn(async move {
                let mut took = Vec::new();
                tokio::time::sleep(Duration::from_millis(u64::from(n * 10))).await;
                let mut beat = tokio::time::interval(Duration::from_secs(1));
                for second in 0..=seconds {
                    beat.tick().await;
                    let begin = Instant::now();
                    let response = http.get(&url).send().await.unwrap();
                    assert_eq!(response.status(), 200);
                    assert!(response.bytes().await.unwrap().len() > 1000);
                    // The first one opens the connection.
                    if second > 0 {
                        took.push(begin.elapsed().as_micros());
                    }
                }
                took
            })
        });
        let visitors: Vec<_> = visitors.collect();
        let mut all = Vec::new();
        for visitor in visitors {
            all.extend(visitor.await.unwrap());
        }
        all
    });
    all.sort_unstable();
    let at = |share: usize| all[(all.len() - 1) * share / 100];
    println!("{}", serde_json::json!({ "pages": all.len(), "p50": at(50), "p99": at(99), "most": at(100) }));
}
