//! Other hours on a day, the gaps that are avoided, and what they do to the times on offer.

use super::Desk;

const PATH: &str = "/owner/other-hours";

/// A studio with one practitioner, one room, and a service of an hour; gives the practitioner and the service.
async fn open(desk: &Desk) -> (String, String) {
    let liv = desk.practitioner("Liv Tannhauer").await;
    desk.fill("/owner/rooms", "/owner/rooms", &[("name", "Room 1")]).await;
    let service = desk.service("lash_lift", &[("turnaround_minutes", "0"), ("many-by", &liv)]).await;
    (liv, service)
}

/// The times on offer on a day, as the clock shows them.
async fn times(desk: &Desk, service: &str, day: &str) -> Vec<String> {
    let page = desk.app.visitor().get(&format!("/services/{service}?from={day}")).await;
    page.all(&format!("[aria-labelledby=day-{day}] button.slot b"))
}

#[tokio::test]
async fn a_day_has_other_hours_and_then_its_usual_ones_again() {
    let desk = Desk::new().await;
    let (liv, service) = open(&desk).await;
    let day = "2026-03-10";
    assert_eq!(times(&desk, &service, day).await.first().unwrap(), "09:00");
    desk.fill(PATH, PATH, &[("who", &liv), ("day", day), ("hours", "14:00-15:30, 19:00-20:00")]).await;
    assert_eq!(times(&desk, &service, day).await, ["14:00", "14:15", "14:30", "19:00"]);
    desk.fill(PATH, PATH, &[("who", "studio"), ("day", day), ("hours", "8:00-15:00"), ("reason", "Street fair")]).await;
    assert_eq!(times(&desk, &service, day).await, ["14:00"], "the studio closes early");
    desk.fill(PATH, PATH, &[("who", &liv), ("day", day), ("hours", "")]).await;
    assert_eq!(times(&desk, &service, day).await, Vec::<String>::new(), "the later entry stands in for the earlier");
    let page = desk.owner.get(PATH).await;
    assert!(page.main().contains("Street fair") && page.main().contains("Free"), "{}", page.main());
    for _ in 0..2 {
        let page = desk.owner.get(PATH).await;
        assert_eq!(desk.owner.submit(&page, &format!("{PATH}/"), &[]).await.status, 303);
    }
    assert!(desk.owner.get(PATH).await.main().contains("None ahead"));
    assert_eq!(times(&desk, &service, day).await.len(), 26);
}

#[tokio::test]
async fn other_hours_that_cant_be_are_refused() {
    let desk = Desk::new().await;
    let studio = ("who", "studio");
    for (fields, field) in [
        ([studio, ("day", ""), ("hours", "9:00-10:00")], "day"),
        ([studio, ("day", "2026-03-01"), ("hours", "9:00-10:00")], "day"),
        ([studio, ("day", "2062-03-01"), ("hours", "9:00-10:00")], "day"),
        ([studio, ("day", "2026-03-10"), ("hours", "9-10")], "hours"),
        ([studio, ("day", "2026-03-10"), ("hours", "10:00-9:00")], "hours"),
    ] {
        desk.refuse(PATH, PATH, &fields, field).await;
    }
    let page = desk.owner.get(PATH).await;
    let again = desk.owner.submit(&page, PATH, &[("who", super::NOBODY), ("day", "2026-03-10")]).await;
    assert_eq!((again.status, again.attributes(".summary a", "href")), (422, vec!["#who".to_owned()]));
}

#[tokio::test]
async fn gaps_too_short_to_sell_are_avoided_when_the_studio_wishes() {
    let desk = Desk::new().await;
    let (liv, service) = open(&desk).await;
    desk.fill(PATH, PATH, &[("who", &liv), ("day", "2026-03-10"), ("hours", "9:00-11:30")]).await;
    assert_eq!(times(&desk, &service, "2026-03-10").await.len(), 7);
    desk.fill("/owner/studio", "/owner/studio", &[("shortest_gap_minutes", "60")]).await;
    // At either end the rest is one piece of an hour and a half.
    assert_eq!(times(&desk, &service, "2026-03-10").await, ["09:00", "10:30"]);
}
