//! Earlier times: wished for, offered one after the other, claimed or passed on.

use palpebra::actions::wishes;
use palpebra::domain::ids::VisitId;
use palpebra::store::visits::{self, Purpose};
use time::macros::{date, datetime};
use time::{Duration, OffsetDateTime};

use crate::support::studio::{LIV, MIA, Studio};
use crate::support::{Html, Person, TestApp};

const ZORA: &str = "zora@clients.example.org";

/// A visit that is cancelled in a moment, and two clients who would rather come then, Mia first.
struct Scene {
    app: TestApp,
    studio: Studio,
    opening: VisitId,
    of_mia: VisitId,
    of_zora: VisitId,
}

const OPENS: OffsetDateTime = datetime!(2026-03-05 09:00 UTC);

impl Scene {
    async fn new() -> Self {
        let (app, studio) = TestApp::with_studio().await;
        let zora = studio.client("Zora Halvig", ZORA, date!(1999 - 01 - 02)).await;
        let third = studio.client("Ines Korvald", "ines@clients.example.org", date!(1979 - 01 - 02)).await;
        let visit = |client, at| studio.visit(Purpose::Treatment, client, &studio.lift, &studio.liv, at);
        let opening = visit(&third, OPENS).await;
        let of_mia = visit(&studio.mia, datetime!(2026-03-20 09:00 UTC)).await;
        let of_zora = visit(&zora, datetime!(2026-03-21 09:00 UTC)).await;
        Self { app, opening, of_mia, of_zora, studio }
    }

    async fn wish(&self, mail: &str, visit: &VisitId, fields: &[(&str, &str)]) -> Person {
        let person = self.app.client(mail).await;
        let page = person.get(&format!("/me/visits/{visit}/earlier")).await;
        let stored = person.submit(&page, "/me/visits/", fields).await;
        assert_eq!(stored.status, 303, "{}", stored.main());
        assert!(person.get("/me").await.main().contains("Earlier time wished"));
        person
    }

    async fn cancel(&self, visit: &VisitId) {
        let liv = self.app.member(LIV.0, LIV.1).await;
        let page = liv.get(&format!("/desk/visits/{visit}")).await;
        assert_eq!(liv.submit(&page, &format!("/desk/visits/{visit}/cancel"), &[]).await.status, 303);
    }

    async fn starts(&self, visit: &VisitId) -> OffsetDateTime {
        let mut c = self.app.app.db.read().await.unwrap();
        visits::get(&mut c, visit).await.unwrap().unwrap().starts_at
    }

    async fn offers(&self, mail: &str) -> Vec<String> {
        let told = self.app.mails().await.into_iter();
        told.filter(|out| out.to == mail && out.letter.subject.starts_with("An earlier time"))
            .map(|out| out.letter.text)
            .collect()
    }

    async fn open_link(&self, mail: &str) -> (Person, Html, String) {
        let link = self.app.mail_to(mail).await.link("/earlier/");
        let person = self.app.visitor();
        let page = person.get(&link).await;
        (person, page, link)
    }
}

#[tokio::test]
async fn the_first_wish_is_told_and_her_claim_moves_her_visit_there() {
    let scene = Scene::new().await;
    scene.wish(MIA, &scene.of_mia, &[]).await;
    scene.wish(ZORA, &scene.of_zora, &[]).await;
    scene.cancel(&scene.opening).await;
    let told = scene.offers(MIA).await;
    assert!(told[0].contains("Thursday 5 March 2026, 10:00, with Liv Tannhauer"), "{told:?}");
    assert!(told[0].contains("It is kept for you until Monday 2 March 2026, 09:30"), "{told:?}");
    assert!(!told[0].to_lowercase().contains("lift"), "a mail says nothing of the treatment");
    assert_eq!(scene.offers(ZORA).await, Vec::<String>::new(), "one at a time");

    let public = scene.app.visitor().get(&format!("/services/{}?from=2026-03-05", scene.studio.lift)).await;
    let kept = format!("{}.{}", OPENS.unix_timestamp(), scene.studio.liv);
    assert!(!public.attributes("button.slot", "value").contains(&kept), "it is kept");

    let (mia, page, link) = scene.open_link(MIA).await;
    assert_eq!(scene.starts(&scene.of_mia).await, datetime!(2026-03-20 09:00 UTC), "a look takes nothing");
    let done = mia.submit(&page, &link, &[("answer", "yes")]).await;
    assert!(done.status == 200 && done.main().contains("It is yours"), "{}", done.main());
    assert_eq!(scene.starts(&scene.of_mia).await, OPENS);
    let again = mia.submit(&page, &link, &[("answer", "yes")]).await;
    assert_eq!(again.status, 200, "pressed twice, it is still hers");

    let told = scene.offers(ZORA).await;
    assert!(told[0].contains("Friday 20 March 2026, 10:00"), "what Mia left suits Zora: {told:?}");
    assert!(scene.app.dump().await.iter().all(|cell| !link.contains(cell.as_str()) || cell.len() < 20), "no token");
}

#[tokio::test]
async fn nobody_claims_after_the_limit_and_it_is_passed_on() {
    let scene = Scene::new().await;
    scene.wish(MIA, &scene.of_mia, &[]).await;
    scene.wish(ZORA, &scene.of_zora, &[]).await;
    scene.cancel(&scene.opening).await;
    let (mia, page, link) = scene.open_link(MIA).await;
    scene.app.app.clock.advance(Duration::minutes(30));
    let late = mia.submit(&page, &link, &[("answer", "yes")]).await;
    assert!(late.status == 409 && late.main().contains("This time is gone"), "{}", late.main());
    assert_eq!(wishes::lapse(&scene.app.app).await.unwrap(), 1);
    assert_eq!(scene.offers(ZORA).await.len(), 1);
    assert_eq!(mia.submit(&page, &link, &[("answer", "yes")]).await.status, 409, "it is Zora's to take now");
    let (zora, page, link) = scene.open_link(ZORA).await;
    assert_eq!(zora.submit(&page, &link, &[("answer", "no")]).await.status, 200);
    assert_eq!(scene.offers(MIA).await.len(), 1, "she was asked already");
    let kept = format!("{}.{}", OPENS.unix_timestamp(), scene.studio.liv);
    let public = scene.app.visitor().get(&format!("/services/{}?from=2026-03-05", scene.studio.lift)).await;
    assert!(public.attributes("button.slot", "value").contains(&kept), "nobody else wished: it is for everybody");
    assert_eq!(wishes::lapse(&scene.app.app).await.unwrap(), 0);
}

#[tokio::test]
async fn only_what_suits_is_offered() {
    let scene = Scene::new().await;
    let fields = [("many-days", "Thursday"), ("many-parts", "evening")];
    scene.wish(MIA, &scene.of_mia, &fields).await;
    scene
        .wish(ZORA, &scene.of_zora, &[("from", "2026-03-06"), ("many-days", "Thursday"), ("many-parts", "morning")])
        .await;
    scene.cancel(&scene.opening).await;
    assert_eq!(scene.offers(MIA).await.len() + scene.offers(ZORA).await.len(), 0);
    let mia = scene.app.client(MIA).await;
    let path = format!("/me/visits/{}/earlier", scene.of_mia);
    let page = mia.get(&path).await;
    let (target, fields) = page.form(&path);
    let none: Vec<_> = fields.into_iter().filter(|(name, _)| name != "many-days").collect();
    let refused = mia.post(&target, &none).await;
    assert_eq!((refused.status, refused.attributes(".summary a", "href")), (422, vec!["#many-days".to_owned()]));
}

#[tokio::test]
async fn a_wish_ends_with_its_visit_and_what_was_kept_goes_on() {
    let scene = Scene::new().await;
    scene.wish(MIA, &scene.of_mia, &[]).await;
    scene.wish(ZORA, &scene.of_zora, &[]).await;
    scene.cancel(&scene.opening).await;
    assert_eq!(scene.offers(MIA).await.len(), 1);
    let (mia, page, link) = scene.open_link(MIA).await;
    scene.cancel(&scene.of_mia).await;
    assert!(!scene.offers(ZORA).await.is_empty(), "she is next");
    assert_eq!(mia.submit(&page, &link, &[("answer", "yes")]).await.status, 409);
    let other = scene.app.client(ZORA).await;
    assert_eq!(other.get(&format!("/me/visits/{}/earlier", scene.of_mia)).await.status, 404, "not hers");
    let page = other.get(&format!("/me/visits/{}/earlier", scene.of_zora)).await;
    assert_eq!(other.submit(&page, "/me/visits/", &[("withdraw", "yes")]).await.status, 303);
    assert!(other.get("/me").await.main().contains("Rather earlier"));
}
