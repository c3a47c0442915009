//! Days off and closed days.

use palpebra::store::practitioners;
use time::macros::date;

use super::Desk;

const PATH: &str = "/owner/days-off";

#[tokio::test]
async fn days_off_are_added_shown_and_taken_back() {
    let desk = Desk::new().await;
    let id = desk.practitioner("Noor Lindqvist").await;
    let page = desk.owner.get(&format!("{PATH}?for={id}")).await;
    let (_, preset) = page.form(PATH);
    assert!(preset.contains(&("who".to_owned(), id.clone())), "{preset:?}");
    let fields = [("who", id.as_str()), ("from", "2026-04-01"), ("to", "2026-04-10"), ("reason", "At the sea")];
    desk.fill(PATH, PATH, &fields).await;
    desk.fill(PATH, PATH, &[("who", "studio"), ("from", "2026-03-02")]).await;
    let today = date!(2026 - 03 - 02);
    let all = practitioners::time_off(&mut desk.app.app.db.read().await.unwrap(), today).await.unwrap();
    let spans: Vec<_> = all.iter().map(|off| (off.practitioner.is_some(), off.from, off.to)).collect();
    assert_eq!(spans, [(false, today, today), (true, date!(2026 - 04 - 01), date!(2026 - 04 - 10))]);
    let hers = desk.owner.get(&format!("/owner/practitioners/{id}")).await.main();
    assert!(hers.contains("Wed 1 April 2026 to Fri 10 April 2026: At the sea"), "{hers}");

    let page = desk.owner.get(PATH).await;
    let remove = format!("{PATH}/{}/remove", all[1].id);
    assert_eq!(desk.owner.submit(&page, &remove, &[]).await.status, 303);
    assert_eq!(desk.owner.submit(&page, &remove, &[]).await.status, 404, "it is gone");
    let page = desk.owner.get(PATH).await;
    assert!(!page.main().contains("At the sea") && page.main().contains("The whole studio"), "{}", page.main());
}

#[tokio::test]
async fn days_that_cant_be_are_refused() {
    let desk = Desk::new().await;
    let studio = ("who", "studio");
    for (from, to, field) in [
        ("", "", "from"),
        ("2026-02-30", "", "from"),
        ("tomorrow", "", "from"),
        ("2026-03-01", "", "from"),
        ("2026-02-20", "2026-03-01", "to"),
        ("2026-04-10", "2026-04-01", "to"),
        ("2026-04-01", "2028-04-01", "to"),
        ("2062-04-01", "", "from"),
        ("9999-04-01", "", "from"),
        ("2026-04-01", "soon", "to"),
    ] {
        desk.refuse(PATH, PATH, &[studio, ("from", from), ("to", to)], field).await;
    }
    desk.refuse(PATH, PATH, &[studio, ("from", "2026-04-01"), ("reason", &"n".repeat(121))], "reason").await;
    for who in ["", super::NOBODY, "x"] {
        let page = desk.owner.get(PATH).await;
        let again = desk.owner.submit(&page, PATH, &[("who", who), ("from", "2026-04-01")]).await;
        assert_eq!((again.status, again.attributes(".summary a", "href")), (422, vec!["#who".to_owned()]));
    }
    assert!(desk.owner.get(PATH).await.main().contains("None ahead"));
}
