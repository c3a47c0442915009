//! What is written is read back by two independent parsers with the same instants: downloads, invitations in mails,
//! cancellations, and a practitioner's feed.

use palpebra::actions::team;
use palpebra::documents::ics::{Calendar, Event, Method};
use palpebra::domain::ids::VisitId;
use palpebra::domain::role::Actor;
use palpebra::domain::zone::Zone;
use palpebra::store::visits::Purpose;
use serde::Deserialize;
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

use super::reference;
use crate::support::TestApp;
use crate::support::app::OWNER;
use crate::support::studio::{LIV, MIA};

#[derive(Deserialize, PartialEq, Eq, Debug, Clone)]
struct Read {
    method: String,
    events: Vec<(String, u32, i64, i64, String, String)>,
}

#[derive(Deserialize)]
struct Both {
    icalendar: Read,
    vobject: Read,
}

fn read(ics: &str) -> Read {
    let both: Both = reference("events", ics);
    assert_eq!(both.icalendar, both.vobject, "{ics}");
    both.icalendar
}

/// Every half hour around changes of the clocks, by an hour, by half an hour, at midnight, and for good.
#[test]
fn instants_survive_in_every_zone() {
    for (zone, start) in [
        ("Europe/Berlin", datetime!(2026-03-28 20:00 UTC)),
        ("Europe/Berlin", datetime!(2026-10-24 20:00 UTC)),
        ("Europe/Dublin", datetime!(2026-10-24 20:00 UTC)),
        ("Australia/Lord_Howe", datetime!(2026-04-04 08:00 UTC)),
        ("America/Santiago", datetime!(2026-04-04 20:00 UTC)),
        ("Asia/Kathmandu", datetime!(2026-05-01 00:00 UTC)),
        ("UTC", datetime!(2026-05-01 00:00 UTC)),
    ] {
        let zone = Zone::parse(zone).unwrap();
        let events: Vec<Event> = (0..24_u8)
            .map(|n| Event {
                visit: VisitId::from_random([n; 16]),
                sequence: u32::from(n),
                starts: start + Duration::minutes(30) * i32::from(n),
                ends: start + Duration::minutes(30) * i32::from(n) + Duration::minutes(75),
                cancelled: n % 5 == 0,
                summary: format!("Visit {n}, \"quoted\"; back\\slash"),
            })
            .collect();
        let expected = events.iter().map(|event| {
            let status = if event.cancelled { "CANCELLED" } else { "CONFIRMED" };
            let (from, to) = (event.starts.unix_timestamp(), event.ends.unix_timestamp());
            (event.visit.to_string(), event.sequence, from, to, event.summary.clone(), status.to_owned())
        });
        let expected = Read { method: "PUBLISH".to_owned(), events: expected.collect() };
        let calendar = Calendar {
            method: Method::Publish,
            zone: zone.clone(),
            address: "Mill Lane 4\n12345 Sampleton".to_owned(),
            organizer: None,
            attendee: None,
            stamp: start,
            events,
        };
        assert_eq!(read(&calendar.to_ics()), expected, "{}", zone.name());
    }
}

const AT: OffsetDateTime = datetime!(2026-03-30 07:00 UTC);

#[tokio::test]
async fn a_visit_keeps_its_uid_while_it_is_moved_and_cancelled() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.member(OWNER.0, OWNER.1).await;
    let settings = owner.get("/owner/studio").await;
    let saved = owner.submit(&settings, "/owner/studio", &[("mail", "hello@studio.example.org")]).await;
    assert_eq!(saved.status, 303, "{}", saved.main());
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, AT).await;
    let mia = app.client(MIA).await;
    let download = read(&mia.get(&format!("/me/visits/{id}/calendar.ics")).await.source());
    let (uid, sequence, starts, ..) = download.events.first().unwrap().clone();
    assert_eq!((uid.as_str(), sequence, starts), (id.as_str(), 0, AT.unix_timestamp()));

    let path = format!("/me/visits/{id}/move");
    let page = mia.get(&path).await;
    let slot = page.attributes("button.slot", "value").into_iter().nth(9).unwrap();
    assert_eq!(mia.submit(&page, "/me/visits/", &[("time", &slot)]).await.status, 303);
    let moved = app.mail_to(MIA).await.0.letter.calendar.expect("an invitation");
    let told = read(&moved.ics);
    let starts: i64 = slot.split('.').next().unwrap().parse().unwrap();
    let event = told.events.first().unwrap();
    assert_eq!((told.method.as_str(), event.0.as_str(), event.1, event.2), ("REQUEST", id.as_str(), 1, starts));
    assert!(moved.ics.contains("ORGANIZER;CN=\"Studio Lidbogen\":mailto:hello@studio.example.org"), "{}", moved.ics);

    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    assert_eq!(liv.submit(&page, &format!("/desk/visits/{id}/cancel"), &[]).await.status, 303);
    let cancelled = app.mail_to(MIA).await.0.letter.calendar.expect("a cancellation");
    let told = read(&cancelled.ics);
    let event = told.events.first().unwrap();
    assert_eq!((told.method.as_str(), event.1, event.5.as_str()), ("CANCEL", 2, "CANCELLED"));
    for ics in [moved.ics, cancelled.ics] {
        assert!(!ics.to_lowercase().contains("lift"), "{ics}");
    }
}

#[tokio::test]
async fn a_practitioner_s_feed_has_initials_and_service_and_ends_when_she_says_so() {
    let (app, studio) = TestApp::with_studio().await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, AT).await;
    studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, AT + Duration::hours(3)).await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.noor, AT + Duration::hours(5)).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let form = liv.get("/desk/feed").await;
    let page = liv.submit(&form, "/desk/feed/address", &[]).await;
    assert_eq!(page.status, 200);
    let address = page.all(".notice code").remove(0);
    let path = address.strip_prefix(&app.url).unwrap().to_owned();
    let anybody = app.visitor();
    let feed = anybody.get(&path).await;
    assert_eq!(feed.headers["content-type"], "text/calendar; charset=utf-8; method=PUBLISH");
    let told: Vec<_> = read(&feed.source()).events.into_iter().map(|event| (event.2, event.4)).collect();
    let hers = [(AT, "M. S. Lash lift"), (AT + Duration::hours(3), "M. S. Skin test")];
    assert_eq!(told, hers.map(|(at, words)| (at.unix_timestamp(), words.to_owned())));
    assert!(!feed.source().contains("Mia"), "{}", feed.source());
    let token = path.split('/').next_back().unwrap().trim_end_matches(".ics");
    assert!(app.dump().await.iter().all(|cell| !cell.contains(token)), "the token is stored nowhere");

    let second = liv.submit(&form, "/desk/feed/address", &[]).await.all(".notice code").remove(0);
    assert_eq!(anybody.get(&path).await.status, 404, "a new address ends the one before");
    let path = second.strip_prefix(&app.url).unwrap().to_owned();
    assert_eq!(anybody.get(&path).await.status, 200);
    let end = liv.submit(&liv.get("/desk/feed").await, "/desk/feed/address", &[("end", "yes")]).await;
    assert_eq!(end.status, 303);
    assert_eq!(anybody.get(&path).await.status, 404);

    let third = liv.submit(&form, "/desk/feed/address", &[]).await.all(".notice code").remove(0);
    let path = third.strip_prefix(&app.url).unwrap().to_owned();
    assert_eq!(anybody.get(&path).await.status, 200);
    assert!(team::set_enabled(&app.app, &Actor::Program, &studio.liv, false).await.unwrap());
    assert_eq!(anybody.get(&path).await.status, 404, "whoever no longer signs in reads no calendar either");
}
