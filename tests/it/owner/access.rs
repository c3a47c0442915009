//! Nobody but the owner comes here.

use axum::http::Method;
use palpebra::domain::role::Who;
use palpebra::web::routes;

use super::{Desk, NOBODY};

#[tokio::test]
async fn every_page_of_the_owner_is_closed_to_others() {
    let desk = Desk::new().await;
    let (_, practitioner) = desk.member("Noor Lindqvist", "noor@studio.example.org").await;
    let visitor = desk.app.visitor();
    let (_, token) = desk.owner.get("/owner").await.form("/team/sign-out");
    let mut tried = 0;
    for route in routes::table().into_iter().filter(|route| route.who == Who::Owner && !route.path.contains("export")) {
        let path = route.path.replace("{id}", NOBODY);
        let (hers, theirs) = if route.method == Method::GET {
            (practitioner.get(&path).await, visitor.get(&path).await)
        } else {
            (practitioner.post(&path, &token).await, visitor.post(&path, &token).await)
        };
        assert_eq!(hers.status, 403, "{} {path}", route.method);
        assert_eq!(theirs.location().as_deref(), Some("/team/sign-in"), "{} {path}", route.method);
        tried += 1;
    }
    assert!(tried > 25, "only {tried} routes");
}

#[tokio::test]
async fn ids_that_are_none_or_nobodys_lead_nowhere() {
    let desk = Desk::new().await;
    let (_, token) = desk.owner.get("/owner").await.form("/team/sign-out");
    let named = ["practitioners", "rooms", "products", "services"];
    for (what, id) in named.iter().flat_map(|what| ["1", "A%00", NOBODY].map(|id| (what, id))) {
        assert_eq!(desk.owner.get(&format!("/owner/{what}/{id}")).await.status, 404, "{what} {id}");
    }
    for path in ["services/x/rule", "audit?client=x", &format!("audit?client={NOBODY}")] {
        assert_eq!(desk.owner.get(&format!("/owner/{path}")).await.status, 404, "{path}");
    }
    let good: Vec<(String, String)> = token
        .into_iter()
        .chain(
            [
                ("name", "X"),
                ("kind", "lash_lift"),
                ("chemistry", "tint"),
                ("minutes", "60"),
                ("turnaround_minutes", "5"),
                ("price", "1"),
                ("mail", "x@example.org"),
                ("password", super::PASSWORD),
                ("access", "off"),
                ("number", "1"),
            ]
            .map(|(name, value)| (name.to_owned(), value.to_owned())),
        )
        .collect();
    for path in [
        "practitioners/{}",
        "practitioners/{}/sign-in",
        "practitioners/{}/password",
        "practitioners/{}/access",
        "rooms/{}",
        "products/{}",
        "products/{}/batches",
        "services/{}",
        "services/{}/rule",
        "days-off/{}/remove",
    ] {
        for id in ["1", NOBODY] {
            let path = format!("/owner/{}", path.replace("{}", id));
            assert_eq!(desk.owner.post(&path, &good).await.status, 404, "{path}");
        }
    }
}

#[tokio::test]
async fn a_form_without_its_token_changes_nothing() {
    let desk = Desk::new().await;
    let bare = [("name".to_owned(), "Attic".to_owned())];
    assert_eq!(desk.owner.post("/owner/rooms", &bare).await.status, 403);
    assert!(!desk.owner.get("/owner/rooms").await.main().contains("Attic"));
}
