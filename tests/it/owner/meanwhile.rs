//! A form that was filled before somebody else changed the same saves nothing, says so, and keeps what was typed.

use palpebra::store::{catalogue, health};

use crate::support::studio::Studio;
use crate::support::{Html, Person, TestApp};

const MEANWHILE: &str = "Somebody changed this meanwhile";

/// What a form held, by name.
fn typed(page: &Html, action: &str, name: &str) -> Vec<String> {
    page.form(action).1.into_iter().filter(|(key, _)| key == name).map(|(_, value)| value).collect()
}

async fn saved(owner: &Person, page: &Html, path: &str, fields: &[(&str, &str)]) {
    let after = owner.submit(page, path, fields).await;
    assert_eq!(after.status, 303, "{path}: {}", after.main());
}

async fn overtaken(owner: &Person, page: &Html, path: &str, fields: &[(&str, &str)]) -> Html {
    let again = owner.submit(page, path, fields).await;
    assert_eq!(again.status, 409, "{path}: {}", again.main());
    assert!(again.main().contains(MEANWHILE), "{path}: {}", again.main());
    again
}

async fn tests_of(app: &TestApp, studio: &Studio) -> usize {
    catalogue::tests_for(&mut app.app.db.read().await.unwrap(), &studio.lift).await.unwrap().len()
}

#[tokio::test]
async fn a_stale_page_takes_no_skin_test_out_of_a_service() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let path = format!("/owner/services/{}", studio.lift);
    let (stale, other) = (owner.get(&path).await, owner.get(&path).await);
    saved(&owner, &other, &path, &[("many-tests", studio.tint.as_str())]).await;
    let again = overtaken(&owner, &stale, &path, &[("price", "61.00")]).await;
    assert_eq!(typed(&again, &path, "price"), ["61.00"]);
    assert_eq!(tests_of(&app, &studio).await, 1, "the skin test is still asked for");
    overtaken(&owner, &again, &path, &[]).await;
    let fresh = owner.get(&path).await;
    saved(&owner, &fresh, &path, &[("price", "61.00")]).await;
    assert_eq!(tests_of(&app, &studio).await, 1);
    let retouched = owner.get(&path).await;
    let rule = format!("{path}/rule");
    let preview = owner.submit(&owner.get(&rule).await, &rule, &[("floor_days", "50")]).await;
    saved(&owner, &preview, &rule, &[("step", "save")]).await;
    saved(&owner, &retouched, &path, &[("price", "62.00")]).await;
}

#[tokio::test]
async fn only_the_draft_that_was_looked_at_is_published() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let draft = "/owner/rules/draft";
    let (rule, publish) = (format!("{draft}/rules/contacts"), format!("{draft}/publish"));
    let page = owner.get("/owner/rules").await;
    saved(&owner, &page, draft, &[("step", "start")]).await;
    saved(&owner, &owner.get(&rule).await, &rule, &[("verdict", "ask"), ("say", "Please talk to us.")]).await;
    let looked_at = owner.get(&publish).await;
    let other = format!("{draft}/questions/contacts");
    saved(&owner, &owner.get(&other).await, &other, &[("text", "Do you wear lenses?")]).await;
    let review = [("reviewed_by", "Runa Ostfeld"), ("reason", "New terms")];
    let again = overtaken(&owner, &looked_at, &publish, &review).await;
    assert!(again.main().contains("Question: Do you wear lenses?"), "{}", again.main());
    assert_eq!(typed(&again, &publish, "reason"), ["New terms"]);
    let version = || async { health::in_force(&mut app.app.db.read().await.unwrap()).await.unwrap().rules.version() };
    assert_eq!(version().await, 1);
    saved(&owner, &again, &publish, &[]).await;
    assert_eq!(version().await, 2, "what she was shown then");
}

#[tokio::test]
async fn a_stale_page_of_anything_else_saves_nothing_either() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let page = owner.get("/owner/rules").await;
    saved(&owner, &page, "/owner/rules/draft", &[("step", "start")]).await;
    let product = format!("/owner/products/{}", studio.tint);
    for (path, first, second) in [
        (product.clone(), vec![("label_test_hours", "72")], ("name", "Day Tint")),
        (format!("{product}/label"), vec![("many-areas", "lash")], ("age", "18")),
        (format!("/owner/practitioners/{}", studio.liv), vec![("Monday", "")], ("name", "Liv T")),
        ("/owner/rules/draft/questions/contacts".to_owned(), vec![("why", "First.")], ("why", "Second.")),
        ("/owner/rules/draft/rules/contacts".to_owned(), vec![("say", "One.")], ("say", "Two.")),
    ] {
        let (stale, other) = (owner.get(&path).await, owner.get(&path).await);
        saved(&owner, &other, &path, &first).await;
        let mut fields = vec![second];
        if path.ends_with("/label") {
            fields.push(("many-areas", "brow"));
        }
        let before = app.fingerprint().await;
        let again = overtaken(&owner, &stale, &path, &fields).await;
        assert_eq!(typed(&again, &path, second.0), [second.1], "{path}");
        assert_eq!(app.fingerprint().await, before, "{path}");
        saved(&owner, &owner.get(&path).await, &path, &fields).await;
    }
    let rule = format!("/owner/services/{}/rule", studio.lift);
    let (stale, other) = (owner.get(&rule).await, owner.get(&rule).await);
    let preview = owner.submit(&other, &rule, &[("floor_days", "50")]).await;
    saved(&owner, &preview, &rule, &[("step", "save")]).await;
    let preview = owner.submit(&stale, &rule, &[("floor_days", "20")]).await;
    overtaken(&owner, &preview, &rule, &[("step", "save")]).await;
}
