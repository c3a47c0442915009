//! The steps of services, shields, and the studio's own lists.

use palpebra::actions::steps::{list, shields};
use palpebra::domain::checklist::ListName;

use super::Desk;

#[tokio::test]
async fn steps_are_kept_in_versions_and_no_time_is_over_the_labels_longest() {
    let desk = Desk::new().await;
    let path = "/owner/skin-test-steps";
    let page = desk.owner.get(path).await;
    assert!(page.main().contains("These are the steps that ship"), "{}", page.main());
    assert!(page.main().contains("The product’s label decides"), "{}", page.main());
    let refused = desk.owner.submit(&page, path, &[("usual_1", "9"), ("most_1", "8")]).await;
    assert_eq!((refused.status, refused.all("#usual_1-error").len()), (422, 1), "{}", refused.main());
    let refused = desk.owner.submit(&page, path, &[("usual_1", "9")]).await;
    assert_eq!(refused.all("#most_1-error"), ["Write the label’s longest time, or the same as the usual one."]);
    let refused = desk.owner.submit(&page, path, &[("usual_1", "8"), ("most_1", "8"), ("fine_1", "9")]).await;
    assert_eq!(refused.all("#fine_1-error").len(), 1, "a reduced time is shorter");
    desk.fill(path, path, &[("usual_1", "8"), ("most_1", "10"), ("fine_1", "6")]).await;
    desk.fill(path, path, &[("name_0", ""), ("place_0", "")]).await;
    let page = desk.owner.get(path).await;
    assert!(page.main().contains("This is version 2"), "{}", page.main());
    let fields = page.form(path).1;
    for (name, value) in [("name_0", "Product"), ("usual_0", "8"), ("most_0", "10"), ("fine_0", "6"), ("tinted_0", "")]
    {
        assert!(fields.contains(&(name.to_owned(), value.to_owned())), "{name}: {fields:?}");
    }
}

#[tokio::test]
async fn shields_and_lists_are_the_studios_own() {
    let desk = Desk::new().await;
    let path = "/owner/shields";
    let page = desk.owner.get(path).await;
    for (arc, field) in [("31", "arc_0"), ("ten", "arc_0"), ("", "arc_0")] {
        let refused = desk.owner.submit(&page, path, &[("name_0", "S"), ("arc_0", arc)]).await;
        assert_eq!((refused.status, refused.all(&format!("#{field}-error")).len()), (422, 1), "{arc}");
    }
    desk.fill(path, path, &[("name_0", "S"), ("arc_0", "9,5"), ("name_4", "M"), ("arc_4", "11")]).await;
    let table = shields(&mut desk.app.app.db.read().await.unwrap()).await.unwrap();
    let table: Vec<_> = table.iter().map(|shield| (shield.name(), shield.arc_mm())).collect();
    assert_eq!(table, [("S", 9.5), ("M", 11.0)]);

    let path = "/owner/lists";
    let page = desk.owner.get(path).await;
    let refused = desk.owner.submit(&page, path, &[("hygiene", " \n ")]).await;
    assert_eq!(refused.all("#hygiene-error").len(), 1);
    desk.fill(path, path, &[("hygiene", "Hands washed\n\n  Mask on ")]).await;
    let mut c = desk.app.app.db.read().await.unwrap();
    assert_eq!(list(&mut c, ListName::Hygiene).await.unwrap(), ["Hands washed", "Mask on"]);
    assert_eq!(list(&mut c, ListName::OnTheDay).await.unwrap(), ListName::OnTheDay.shipped());
}
