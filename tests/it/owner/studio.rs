//! The studio's settings.

use palpebra::domain::age::{AgePolicy, Under16};
use palpebra::store::studio::Studio;
use palpebra::store::{catalogue, studio};

use super::Desk;

const PATH: &str = "/owner/studio";

async fn stored(desk: &Desk) -> Studio {
    studio::get(&mut desk.app.app.db.read().await.unwrap()).await.unwrap().unwrap()
}

#[tokio::test]
async fn everything_that_is_typed_is_stored() {
    let desk = Desk::new().await;
    let fields = [
        ("name", "Lidbogen & Töchter"),
        ("address", "1 Lidbogen Lane\n10115 Berlin"),
        ("phone", "030 901820"),
        ("mail", "hello@studio.example.org"),
        ("home_dial", "49"),
        ("jurisdiction", "other"),
        ("under_16", "guardian_present"),
        ("grid_minutes", "30"),
        ("hold_minutes", "25"),
        ("notice_minutes", "180"),
        ("horizon_days", "90"),
        ("cancel_limit_hours", "36"),
        ("skin_test_minutes", "15"),
        ("skin_test_floor_hours", "72"),
        ("skin_test_valid_days", "90"),
    ];
    assert_eq!(desk.fill(PATH, PATH, &fields).await, PATH);
    let s = stored(&desk).await;
    assert_eq!((s.name.as_str(), s.address.as_str()), ("Lidbogen & Töchter", "1 Lidbogen Lane\n10115 Berlin"));
    assert_eq!((s.phone.as_str(), s.mail.as_str()), ("+4930901820", "hello@studio.example.org"));
    assert_eq!((s.home_dial.digits(), s.jurisdiction.as_str()), ("49", "other"));
    assert_eq!((s.grid_minutes, s.hold_minutes, s.notice_minutes, s.horizon_days), (30, 25, 180, 90));
    assert_eq!((s.cancel_limit_hours, s.skin_test_minutes), (36, 15));
    assert_eq!((s.skin_test_floor_hours, s.skin_test_valid_days), (72, 90));
    assert_eq!(s.age_policy, AgePolicy { under_16: Under16::GuardianPresent, guardian_under_18: true });
    assert_eq!((s.zone.name(), s.currency.as_str()), ("Europe/Berlin", "EUR"));
    let page = desk.owner.get(&format!("{PATH}?saved")).await;
    assert_eq!(page.all(".said"), ["Saved."]);
    let (_, shown) = page.form(PATH);
    assert!(shown.contains(&("address".to_owned(), "1 Lidbogen Lane\n10115 Berlin".to_owned())), "{shown:?}");
    assert!(page.main().contains("Lidbogen") && page.text().contains("+4930901820"), "the foot shows the phone");
}

/// The form's ranges are those of the schema: both ends are stored, one beyond is refused beside the field.
#[tokio::test]
async fn numbers_keep_to_their_ranges() {
    let desk = Desk::new().await;
    for (field, least, most) in [
        ("hold_minutes", 5, 240),
        ("notice_minutes", 0, 20160),
        ("horizon_days", 7, 400),
        ("cancel_limit_hours", 0, 336),
        ("skin_test_minutes", 5, 60),
        ("skin_test_floor_hours", 24, 72),
        ("skin_test_valid_days", 30, 366),
    ] {
        for good in [least, most] {
            desk.fill(PATH, PATH, &[(field, &good.to_string())]).await;
        }
        for bad in [(least - 1).to_string(), (most + 1).to_string(), String::new(), "1e2".to_owned(), "9".repeat(40)] {
            let page = desk.refuse(PATH, PATH, &[(field, &bad)], field).await;
            let words = format!("from {least} to {most}");
            assert!(page.all(".error").iter().any(|error| error.contains(&words)), "{:?}", page.all(".error"));
        }
    }
    for good in ["5", "10", "15", "20", "30", "60"] {
        desk.fill(PATH, PATH, &[("grid_minutes", good)]).await;
    }
}

#[tokio::test]
async fn what_is_wrong_is_told_beside_its_field() {
    let desk = Desk::new().await;
    for (field, bad) in [
        ("name", ""),
        ("name", "ab\u{202e}cd"),
        ("name", &"n".repeat(121)),
        ("address", &"n".repeat(401)),
        ("phone", "call me"),
        ("mail", "no at sign"),
        ("home_dial", "+0"),
        ("currency", "euro"),
    ] {
        desk.refuse(PATH, PATH, &[(field, bad)], field).await;
    }
    for (field, bad) in [("zone", "Mars/Olympus"), ("jurisdiction", "moon"), ("grid_minutes", "7")] {
        let page = desk.owner.get(PATH).await;
        let again = desk.owner.submit(&page, PATH, &[(field, bad)]).await;
        assert_eq!((again.status, again.attributes(".summary a", "href")), (422, vec![format!("#{field}")]));
    }
    assert_eq!(stored(&desk).await.name, "Studio Lidbogen");
}

#[tokio::test]
async fn another_zone_is_explained_and_wants_a_tick() {
    let desk = Desk::new().await;
    let page = desk.refuse(PATH, PATH, &[("zone", "Europe/London")], "sure").await;
    assert!(page.main().contains("0 visits are booked ahead. They are not moved"), "{}", page.main());
    assert_eq!(stored(&desk).await.zone.name(), "Europe/Berlin");
    let saved = desk.owner.submit(&page, PATH, &[("sure", "yes")]).await;
    assert_eq!(saved.status, 303, "{}", saved.main());
    assert_eq!(stored(&desk).await.zone.name(), "Europe/London");
}

#[tokio::test]
async fn another_currency_keeps_the_figures_or_says_which_it_cant() {
    let desk = Desk::new().await;
    let id = desk.service("lash_lift", &[]).await;
    let sure = |code| [("currency", code), ("sure", "yes")];
    let page = desk.refuse(PATH, PATH, &[("currency", "GBP")], "sure").await;
    assert_eq!(desk.owner.submit(&page, PATH, &sure("JPY")).await.status, 422);
    let page = desk.owner.submit(&page, PATH, &sure("JPY")).await;
    assert!(page.all(".error").iter().any(|words| words.contains("price of Soft lift")), "{:?}", page.all(".error"));
    assert_eq!(stored(&desk).await.currency.as_str(), "EUR");
    assert_eq!(desk.owner.submit(&page, PATH, &sure("KWD")).await.status, 303);
    assert_eq!(stored(&desk).await.currency.as_str(), "KWD");
    let mut c = desk.app.app.db.read().await.unwrap();
    let services = catalogue::services(&mut c).await.unwrap();
    assert_eq!(services.iter().map(|s| (s.id.as_str(), s.price_minor)).collect::<Vec<_>>(), [(id.as_str(), 45_500)]);
}
