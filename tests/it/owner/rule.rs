//! When clients return: the rule of a service, and what another one would change.

use palpebra::domain::growth::CycleName;
use palpebra::domain::ids::{ClientId, PractitionerId, RoomId, ServiceId, TreatmentId, VisitId};
use palpebra::domain::person::{BirthDate, HomeDial, Mail, PersonName, Phone};
use palpebra::domain::visit::VisitState;
use palpebra::domain::window::RetouchRule;
use palpebra::store::clients::Client;
use palpebra::store::treatments::{Outcome, Version};
use palpebra::store::visits::{Purpose, Visit};
use palpebra::store::{catalogue, clients, practitioners, treatments, visits};
use time::macros::{date, time};
use time::{Duration, OffsetDateTime, PrimitiveDateTime};

use super::Desk;

/// One treatment each for so many clients, as many days ago.
async fn treated(desk: &Desk, service: &str, practitioner: &str, days_ago: &[i64]) {
    let app = &desk.app.app;
    let now = app.clock.now();
    desk.fill("/owner/rooms", "/owner/rooms", &[("name", "Window chair")]).await;
    let mut tx = app.db.write().await.unwrap();
    let room: RoomId = practitioners::rooms(&mut tx).await.unwrap().remove(0).id;
    for (n, days) in days_ago.iter().enumerate() {
        let bits = [u8::try_from(n + 1).unwrap(); 16];
        let client = Client {
            id: ClientId::from_random(bits),
            name: PersonName::parse("Mia Tannenau").unwrap(),
            mail: Mail::parse("mia@clients.example.org").unwrap(),
            phone: Phone::parse("030 901820", &HomeDial::parse("+49").unwrap()).unwrap(),
            born: BirthDate::of(date!(1990 - 03 - 27), now.date()).unwrap(),
        };
        clients::insert(&mut tx, &client, now).await.unwrap();
        let day = now.date() - Duration::days(*days);
        let starts_at =
            PrimitiveDateTime::new(day, time!(10:00)).assume_utc() + Duration::hours(i64::try_from(n).unwrap());
        let visit = visit(bits, service, practitioner, &room, &client.id, starts_at);
        visits::insert(&mut tx, &visit, now).await.unwrap();
        let id = TreatmentId::from_random(bits);
        treatments::insert(&mut tx, &id, &client.id, &visit.id, now).await.unwrap();
        treatments::add_version(&mut tx, &id, &version(&visit)).await.unwrap();
    }
    tx.commit().await.unwrap();
}

fn visit(
    bits: [u8; 16],
    service: &str,
    by: &str,
    room: &RoomId,
    client: &ClientId,
    starts_at: OffsetDateTime,
) -> Visit {
    let ends_at = starts_at + Duration::minutes(50);
    Visit {
        id: VisitId::from_random(bits),
        purpose: Purpose::Treatment,
        state: VisitState::Done,
        service: ServiceId::parse(service).unwrap(),
        practitioner: PractitionerId::parse(by).unwrap(),
        room: room.clone(),
        client: Some(client.clone()),
        draft: None,
        paired_test: None,
        starts_at,
        ends_at,
        busy_until: ends_at,
        civil: PrimitiveDateTime::new(starts_at.date(), starts_at.time()),
        zone: "UTC".to_owned(),
        hold_until: None,
        price_minor: 0,
        currency: "EUR".to_owned(),
        sequence: 0,
    }
}

fn version(visit: &Visit) -> Version {
    Version {
        version: 1,
        service: visit.service.clone(),
        practitioner: visit.practitioner.clone(),
        started_at: visit.starts_at,
        ended_at: visit.ends_at,
        shield: String::new(),
        lotion_one_minutes: None,
        lotion_two_minutes: None,
        tint_minutes: None,
        notes: String::new(),
        aftercare_given: true,
        outcome: Outcome::AsWished,
        count: None,
        reason: String::new(),
        written_by: "Noor Lindqvist".to_owned(),
        written_at: visit.ends_at,
        products: vec![],
        rinsed: None,
        times: Vec::new(),
    }
}

async fn stored(desk: &Desk, id: &str) -> RetouchRule {
    let id = ServiceId::parse(id).unwrap();
    let service = catalogue::service(&mut desk.app.app.db.read().await.unwrap(), &id).await.unwrap();
    service.unwrap().retouch
}

#[tokio::test]
async fn a_lift_shows_its_sources_and_that_they_disagree() {
    let desk = Desk::new().await;
    let id = desk.service("lash_lift", &[]).await;
    let service = desk.owner.get(&format!("/owner/services/{id}")).await;
    assert!(service.main().contains("from day 46, it is time on day 55, and after day 94"), "{}", service.main());
    let page = desk.owner.get(&service.link("Look at the rule")).await;
    for words in ["The sources disagree", "design choices", "Thibaut et al.", "Aumond & Bitton", "common practice"] {
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
}

#[tokio::test]
async fn a_changed_rule_is_saved_only_after_its_effect_was_shown() {
    let desk = Desk::new().await;
    let noor = desk.practitioner("Noor Lindqvist").await;
    let id = desk.service("lash_lift", &[("many-by", &noor)]).await;
    treated(&desk, &id, &noor, &[20, 21, 200]).await;
    let path = format!("/owner/services/{id}/rule");
    let before = stored(&desk, &id).await;
    let page = desk.owner.get(&path).await;
    let preview = desk.owner.submit(&page, &path, &[("cycle", "textbook"), ("two", "40,5")]).await;
    assert_eq!(preview.status, 200);
    assert!(preview.main().contains("Nothing is saved yet"), "{}", preview.main());
    assert!(preview.main().contains("Of the 3 clients who had it here"), "{}", preview.main());
    let effects = preview.all("main li");
    assert_eq!(effects, ["3 clients could return later.", "3 clients would be due later."]);
    assert_eq!(preview.all("tbody tr:nth-child(2) > *"), ["It is time", "55", "91"]);
    assert_eq!(stored(&desk, &id).await, before);

    let again = desk.owner.submit(&preview, &path, &[("step", "again")]).await;
    let (_, kept) = again.form(&path);
    assert!(kept.contains(&("cycle".to_owned(), "textbook".to_owned())), "{kept:?}");
    assert!(kept.contains(&("two".to_owned(), "40,5".to_owned())), "{kept:?}");

    let saved = desk.owner.submit(&preview, &path, &[("step", "save")]).await;
    assert_eq!(saved.status, 303);
    let RetouchRule::Growth(rule) = stored(&desk, &id).await else { panic!("a lift keeps a growth rule") };
    assert_eq!((rule.cycle().name(), rule.floor_days()), (CycleName::Textbook, 42));
    assert!((rule.limits().two().get() - 0.405).abs() < 1e-12);
    let shown = desk.owner.get(&path).await.form(&path).1;
    assert!(shown.contains(&("two".to_owned(), "40.5".to_owned())), "{shown:?}");
}

#[tokio::test]
async fn plain_intervals_move_with_their_preview_too() {
    let desk = Desk::new().await;
    let id = desk.service("brow_tint", &[]).await;
    let path = format!("/owner/services/{id}/rule");
    let page = desk.owner.get(&path).await;
    let preview = desk.owner.submit(&page, &path, &[("opens_days", "14")]).await;
    assert!(preview.main().contains("nobody’s days move"), "{}", preview.main());
    assert_eq!(preview.all("tbody tr:nth-child(1) > *"), ["She may return", "21", "14"]);
    assert_eq!(desk.owner.submit(&preview, &path, &[("step", "save")]).await.status, 303);
    let RetouchRule::Interval(rule) = stored(&desk, &id).await else { panic!("a tint keeps its intervals") };
    assert_eq!((rule.opens_days(), rule.due_days(), rule.lapsed_days()), (14, 42, 84));
}

#[tokio::test]
async fn what_is_no_rule_is_refused_beside_its_field_also_on_the_way_to_save() {
    let desk = Desk::new().await;
    let lift = format!("/owner/services/{}/rule", desk.service("lift_and_tint", &[]).await);
    for (field, bad) in [
        ("floor_days", "366"),
        ("floor_days", "six weeks"),
        ("two", "0"),
        ("two", "100.1"),
        ("three", "NaN"),
        ("three", "1e1"),
        ("due", ""),
        ("lapsed", "50"),
    ] {
        desk.refuse(&lift, &lift, &[(field, bad)], field).await;
    }
    for bad in ["own", "moon", ""] {
        let page = desk.owner.get(&lift).await;
        let again = desk.owner.submit(&page, &lift, &[("cycle", bad)]).await;
        assert_eq!((again.status, again.attributes(".summary a", "href")), (422, vec!["#cycle".to_owned()]));
    }
    let tint = format!("/owner/services/{}/rule", desk.service("lash_tint", &[]).await);
    for (field, bad) in [("opens_days", "x"), ("due_days", "27"), ("lapsed_days", "41"), ("lapsed_days", "3653")] {
        desk.refuse(&tint, &tint, &[(field, bad)], field).await;
    }
    let page = desk.owner.get(&tint).await;
    let forged = desk.owner.submit(&page, &tint, &[("opens_days", "90"), ("step", "save")]).await;
    assert_eq!(forged.status, 422);
}
