//! Rooms, products with batches, services.

use palpebra::domain::catalogue::{Chemistry, ServiceKind};
use palpebra::domain::ids::{ProductId, ServiceId};
use palpebra::domain::window::RetouchRule;
use palpebra::store::{catalogue, practitioners};
use time::macros::date;

use super::{Desk, NOBODY};

#[tokio::test]
async fn rooms_are_added_renamed_and_taken_out_of_use() {
    let desk = Desk::new().await;
    assert_eq!(desk.fill("/owner/rooms", "/owner/rooms", &[("name", "1")]).await, "/owner/rooms");
    let path = desk.owner.get("/owner/rooms").await.link("Change 1");
    let page = desk.owner.get(&path).await;
    let (_, mut fields) = page.form(&path);
    fields.retain(|(name, _)| name != "active" && name != "name");
    fields.push(("name".to_owned(), "Window chair".to_owned()));
    assert_eq!(desk.owner.post(&path, &fields).await.status, 303);
    let rooms = practitioners::rooms(&mut desk.app.app.db.read().await.unwrap()).await.unwrap();
    let rooms: Vec<_> = rooms.iter().map(|room| (room.name.as_str(), room.active)).collect();
    assert_eq!(rooms, [("Window chair", false)]);
    for bad in ["", "   ", &"n".repeat(121), "a\u{200e}b"] {
        desk.refuse("/owner/rooms", "/owner/rooms", &[("name", bad)], "name").await;
        desk.refuse(&path, &path, &[("name", bad)], "name").await;
    }
}

#[tokio::test]
async fn a_product_says_what_its_label_says() {
    let desk = Desk::new().await;
    let new = "/owner/products/new";
    let fields = [
        ("name", "Lotion one"),
        ("maker", "Invented Labs"),
        ("supplier", "Invented Trade"),
        ("chemistry", "lotion"),
        ("label_test_hours", "48"),
    ];
    let path = desk.fill(new, new, &fields).await;
    let id = ProductId::parse(path.rsplit('/').next().unwrap()).unwrap();
    let stored =
        || async { catalogue::product(&mut desk.app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap() };
    let product = stored().await;
    assert_eq!((product.name.as_str(), product.maker.as_str()), ("Lotion one", "Invented Labs"));
    assert_eq!(product.supplier, "Invented Trade");
    assert_eq!((product.chemistry, product.label_test_hours, product.active), (Chemistry::Lotion, Some(48), true));
    desk.fill(&path, &path, &[("label_test_hours", ""), ("chemistry", "tint")]).await;
    let product = stored().await;
    assert_eq!((product.chemistry, product.label_test_hours, product.active), (Chemistry::Tint, None, true));
    for hours in ["24", "168"] {
        desk.fill(&path, &path, &[("label_test_hours", hours)]).await;
    }
    for (field, bad) in [
        ("name", ""),
        ("name", &*"n".repeat(121)),
        ("maker", &"n".repeat(121)),
        ("supplier", &"n".repeat(121)),
        ("label_test_hours", "23"),
        ("label_test_hours", "169"),
        ("label_test_hours", "two days"),
    ] {
        desk.refuse(&path, &path, &[(field, bad)], field).await;
        let fine = [("name", "X"), ("chemistry", "tint")].into_iter().filter(|(name, _)| *name != field);
        desk.refuse(new, new, &fine.chain([(field, bad)]).collect::<Vec<_>>(), field).await;
    }
    let page = desk.owner.get(new).await;
    let again = desk.owner.submit(&page, new, &[("name", "X")]).await;
    assert_eq!((again.status, again.attributes(".summary a", "href")), (422, vec!["#chemistry".to_owned()]));
}

#[tokio::test]
async fn an_expired_batch_is_marked_and_a_known_number_gets_a_new_day() {
    let desk = Desk::new().await;
    let path = format!("/owner/products/{}", desk.product("Lotion one", "lotion").await);
    let batches = format!("{path}/batches");
    desk.fill(&path, &batches, &[("number", "A-1"), ("expires_on", "2026-03-01")]).await;
    desk.fill(&path, &batches, &[("number", "A-2")]).await;
    let page = desk.owner.get(&path).await;
    assert!(page.main().contains("A-1 Expired last day was Sun 1 March 2026"), "{}", page.main());
    assert!(page.main().contains("A-2 no last day named"), "{}", page.main());
    assert!(desk.owner.get("/owner/products").await.main().contains("1 in date 1 expired"));
    desk.fill(&path, &batches, &[("number", "A-1"), ("expires_on", "2026-03-02")]).await;
    let all = catalogue::batches(&mut desk.app.app.db.read().await.unwrap()).await.unwrap();
    let all: Vec<_> = all.iter().map(|batch| (batch.number.as_str(), batch.days.expires_on)).collect();
    assert_eq!(all, [("A-1", Some(date!(2026 - 03 - 02))), ("A-2", None)]);
    assert!(desk.owner.get(&path).await.main().contains("A-1 until Mon 2 March 2026"));
    for (number, day, field) in [
        ("", "", "number"),
        (&*"n".repeat(61), "", "number"),
        ("A-3", "2026-13-01", "expires_on"),
        ("A-3", "1926-01-01", "expires_on"),
        ("A-3", "soon", "expires_on"),
    ] {
        desk.refuse(&path, &batches, &[("number", number), ("expires_on", day)], field).await;
    }
}

#[tokio::test]
async fn a_service_is_stored_with_who_gives_it_and_what_is_tested() {
    let desk = Desk::new().await;
    let (noor, ida) = (desk.practitioner("Noor Lindqvist").await, desk.practitioner("Ida Quell").await);
    let (lotion, tint) = (desk.product("Lotion one", "lotion").await, desk.product("Deep brown", "tint").await);
    let more = [
        ("description", "With a cup of tea."),
        ("turnaround_minutes", "15"),
        ("many-by", &*noor),
        ("many-by", &ida),
        ("many-tests", &lotion),
    ];
    let id = desk.service("lift_and_tint", &more).await;
    let (path, key) = (format!("/owner/services/{id}"), ServiceId::parse(&id).unwrap());
    let mut c = desk.app.app.db.read().await.unwrap();
    let s = catalogue::service(&mut c, &key).await.unwrap().unwrap();
    assert_eq!(
        (s.kind, s.name.as_str(), s.description.as_str()),
        (ServiceKind::LiftAndTint, "Soft lift", "With a cup of tea.")
    );
    assert_eq!((s.minutes, s.turnaround_minutes, s.price_minor, s.active), (60, 15, 4550, true));
    assert_eq!(s.retouch, RetouchRule::default_for(ServiceKind::LiftAndTint));
    assert_eq!(catalogue::practitioners_for(&mut c, &key).await.unwrap().len(), 2);
    assert_eq!(catalogue::tests_for(&mut c, &key).await.unwrap().len(), 1);
    drop(c);

    desk.fill(&path, &path, &[("many-by", &ida), ("many-tests", &lotion), ("many-tests", &tint), ("price", "50")])
        .await;
    let mut c = desk.app.app.db.read().await.unwrap();
    let by = catalogue::practitioners_for(&mut c, &key).await.unwrap();
    assert_eq!(by.iter().map(|id| id.as_str()).collect::<Vec<_>>(), [&*ida]);
    assert_eq!(catalogue::tests_for(&mut c, &key).await.unwrap().len(), 2);
    assert_eq!(catalogue::service(&mut c, &key).await.unwrap().unwrap().price_minor, 5000);
    let list = desk.owner.get("/owner/services").await.main();
    assert!(list.contains("50.00 EUR") && list.contains("Ida Quell") && list.contains("Deep brown"), "{list}");
}

#[tokio::test]
async fn whoever_cant_be_booked_still_gives_the_service_when_she_is_back() {
    let desk = Desk::new().await;
    let noor = desk.practitioner("Noor Lindqvist").await;
    let id = desk.service("lash_tint", &[("many-by", &noor)]).await;
    let she = format!("/owner/practitioners/{noor}");
    let (_, mut fields) = desk.owner.get(&she).await.form(&she);
    fields.retain(|(name, _)| name != "active");
    desk.owner.post(&she, &fields).await;
    let path = format!("/owner/services/{id}");
    desk.fill(&path, &path, &[("price", "20")]).await;
    let key = ServiceId::parse(&id).unwrap();
    let mut c = desk.app.app.db.read().await.unwrap();
    assert!(catalogue::practitioners_for(&mut c, &key).await.unwrap().is_empty());
    assert_eq!(catalogue::given_by(&mut c, &key).await.unwrap().len(), 1);
}

#[tokio::test]
async fn what_is_wrong_with_a_service_is_told_beside_its_field() {
    let desk = Desk::new().await;
    let new = "/owner/services/new";
    desk.practitioner("Noor Lindqvist").await;
    desk.product("Lotion one", "lotion").await;
    let path = format!("/owner/services/{}", desk.service("brow_tint", &[]).await);
    let good = [("kind", "lash_lift"), ("name", "Lift"), ("minutes", "60"), ("price", "45")];
    for (field, bad) in [
        ("name", ""),
        ("name", &*"n".repeat(121)),
        ("description", &"n".repeat(601)),
        ("minutes", "4"),
        ("minutes", "481"),
        ("minutes", "an hour"),
        ("turnaround_minutes", "121"),
        ("turnaround_minutes", "-1"),
        ("price", "free"),
        ("price", "-1"),
        ("price", "1.005"),
        ("price", "1000001"),
    ] {
        desk.refuse(&path, &path, &[(field, bad)], field).await;
        let fine = good.into_iter().filter(|(name, _)| *name != field);
        desk.refuse(new, new, &fine.chain([(field, bad)]).collect::<Vec<_>>(), field).await;
    }
    for (field, bad) in
        [("many-by", NOBODY), ("many-by", "x"), ("many-tests", NOBODY), ("kind", "haircut"), ("kind", "")]
    {
        let page = desk.owner.get(new).await;
        let fields: Vec<_> = good.into_iter().filter(|(name, _)| *name != field).chain([(field, bad)]).collect();
        let again = desk.owner.submit(&page, new, &fields).await;
        assert_eq!((again.status, again.attributes(".summary a", "href")), (422, vec![format!("#{field}")]));
    }
    for edge in [
        ("minutes", "5"),
        ("minutes", "480"),
        ("turnaround_minutes", "0"),
        ("turnaround_minutes", "120"),
        ("price", "0"),
    ] {
        desk.fill(&path, &path, &[edge]).await;
    }
}
