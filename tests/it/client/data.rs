//! What a client can do with her data: take a copy, and ask to be erased.

use std::io::{Cursor, Read as _};

use palpebra::domain::consent::Tick;
use palpebra::domain::retention::OnRequest;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{audit, clients, health, restriction};
use time::Duration;
use time::macros::date;

use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA};
use crate::support::{Html, Person, Studio, TestApp};

const ZOE: &str = "zoe@clients.example.org";

async fn asks(person: &Person) -> Html {
    let page = person.get("/me/data").await;
    person.submit(&page, "/me/data/erase", &[]).await
}

async fn erases(owner: &Person, client: &str) -> Html {
    let page = owner.get(&format!("/owner/clients/{client}/data")).await;
    owner.submit(&page, &format!("/owner/clients/{client}/erase"), &[]).await
}

/// Mia was lifted a month ago, and agreed to everything.
async fn treated() -> (TestApp, Studio) {
    let (app, studio) = TestApp::with_studio().await;
    let ticks = [Tick::RecordPhotos, Tick::PublicityPhotos, Tick::Marketing];
    studio.consent_with(&studio.mia, &studio.lift, &ticks).await;
    let at = NOW - Duration::days(30);
    studio.treated(&studio.mia, &studio.lift, at, Outcome::AsWished, &[&studio.lotion]).await;
    (app, studio)
}

#[tokio::test]
async fn her_copy_is_the_package_of_her_record_and_nobody_else_fetches_it() {
    let (app, studio) = treated().await;
    studio.client("Zoë Birkholm", ZOE, date!(1988 - 02 - 03)).await;
    let mia = app.client(MIA).await;
    let page = mia.get("/me/data").await;
    assert_eq!(mia.submit(&page, "/me/data/copy", &[]).await.status, 303);
    let page = mia.get("/me/data").await;
    let link = page.link("Fetch your copy");
    let zip = mia.get(&link).await;
    assert_eq!(zip.status, 200);
    assert!(zip.headers["content-disposition"].to_str().unwrap().contains("my-data.zip"));
    let mut archive = zip::ZipArchive::new(Cursor::new(&zip.bytes)).unwrap();
    let folder = format!("data/clients/{}", studio.mia);
    let mut json = String::new();
    archive.by_name(&format!("{folder}/record.json")).unwrap().read_to_string(&mut json).unwrap();
    assert!(json.contains("Mia Sandgren") && json.contains("1991-06-14"), "{json}");
    let mut rows = String::new();
    archive.by_name(&format!("{folder}/rows.json")).unwrap().read_to_string(&mut rows).unwrap();
    let rows: serde_json::Value = serde_json::from_str(&rows).unwrap();
    assert_eq!(rows["client"][0]["mail"], MIA);
    assert!(rows["consent"][0]["body"].is_object(), "what is sealed can be read: {rows}");
    let session = rows["session"][0].as_object().unwrap();
    assert!(session.contains_key("device") && !session.contains_key("token_hash"), "{session:?}");
    let mut pdf = Vec::new();
    archive.by_name(&format!("{folder}/record.pdf")).unwrap().read_to_end(&mut pdf).unwrap();
    assert!(pdf.starts_with(b"%PDF-"));
    assert!(!json.contains("Birkholm"));

    let zoe = app.client(ZOE).await;
    assert_eq!(zoe.get(&link).await.status, 404);
    assert!(!zoe.get("/me/data").await.main().contains("Fetch your copy"));
    // What the owner took for an insurer is not hers to fetch here, though it is about her.
    let owner = app.owner().await;
    let form = owner.get("/owner/exports").await;
    let fields = [("scope", "client"), ("client", studio.mia.as_str()), ("why", "Claim 77")];
    assert_eq!(owner.submit(&form, "/owner/exports", &fields).await.status, 303);
    let list = owner.get("/owner/exports").await;
    let package = owner.get(&list.link("Fetch it")).await;
    let archive = zip::ZipArchive::new(Cursor::new(&package.bytes)).unwrap();
    assert!(!archive.file_names().any(|name| name.unwrap().ends_with("rows.json")), "an insurer needs no sign-ins");
    let id = list.link("Fetch it").trim_start_matches("/owner/exports/").split('/').next().unwrap().to_owned();
    assert_eq!(mia.get(&format!("/me/data/copies/{id}/my-data.zip")).await.status, 404);
    let log = audit::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
    assert!(log.iter().any(|row| row.action == "record.exported" && row.actor_kind == "client"));
    app.app.clock.advance(Duration::hours(24));
    assert_ne!(mia.get(&link).await.status, 200);
}

#[tokio::test]
async fn whoever_was_never_treated_is_erased_whole_and_told_so() {
    let (app, studio) = TestApp::with_studio().await;
    let zoe = studio.client("Zoë Birkholm", ZOE, date!(1988 - 02 - 03)).await;
    let she = app.client(ZOE).await;
    let page = she.get("/me/data").await;
    assert!(page.main().contains("Everything that we keep about you goes"), "{}", page.main());
    assert_eq!(asks(&she).await.status, 303);
    assert!(she.get("/me/data").await.main().contains("You hear from us by Thursday 2 April 2026"));
    // She may think better of it.
    let page = she.get("/me/data").await;
    she.submit(&page, "/me/data/keep", &[]).await;
    assert!(restriction::requests(&mut app.app.db.read().await.unwrap()).await.unwrap().is_empty());
    asks(&she).await;

    let owner = app.owner().await;
    let home = owner.get("/owner/keeping").await;
    assert!(home.main().contains("Zoë Birkholm to be answered by Thursday 2 April 2026"), "{}", home.main());
    assert!(owner.get("/owner").await.main().contains("asked to be erased"));
    let done = erases(&owner, zoe.as_str()).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let letter = app.mail_to(ZOE).await.0.letter;
    assert!(letter.text.contains("nothing about you is kept any more"), "{}", letter.text);
    assert_eq!(owner.get(&format!("/owner/clients/{zoe}/data")).await.status, 404);
    assert_eq!(she.get("/me").await.status, 303, "her session has ended");
    let cells = app.dump().await;
    for canary in ["Zoë Birkholm", ZOE] {
        assert!(!cells.iter().any(|cell| cell.contains(canary)), "{canary}");
    }
    let mut c = app.app.db.read().await.unwrap();
    let log = audit::of_client(&mut c, &zoe).await.unwrap();
    assert!(log.iter().any(|row| row.action == "record.erased" && row.detail == "on request"));
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
}

#[tokio::test]
async fn of_whoever_was_treated_the_rest_is_locked_away_for_claims() {
    let (app, studio) = treated().await;
    let mia = studio.mia.as_str();
    let she = app.client(MIA).await;
    assert!(she.get("/me/data").await.main().contains("we lock it away until Monday 31 January 2033"));
    asks(&she).await;
    let owner = app.owner().await;
    let page = owner.get(&format!("/owner/clients/{mia}/data")).await;
    assert!(
        page.main().contains("The rest is locked away for claims. Stays to Monday 31 January 2033"),
        "{}",
        page.main()
    );
    assert_eq!(erases(&owner, mia).await.status, 303);
    let letter = app.mail_to(MIA).await.0.letter;
    assert!(letter.text.contains("locked away until Monday 31 January 2033"), "{}", letter.text);

    // She is met nowhere.
    let liv = app.member(LIV.0, LIV.1).await;
    for person in [&owner, &liv] {
        assert_eq!(person.get(&format!("/desk/clients/{mia}")).await.status, 404);
        assert!(!person.get("/desk/clients?q=sandgren").await.main().contains("Mia Sandgren"));
        assert!(!person.get("/desk/calendar?view=week&day=2026-01-31").await.text().contains("Sandgren"));
    }
    for page in ["/owner/retouch", "/owner/exports", "/owner/audit", "/owner/trace"] {
        assert!(!owner.get(page).await.text().contains("Sandgren"), "{page}");
    }
    let visit: String = sqlx::query_scalar("SELECT id FROM visit WHERE client_id = ?")
        .bind(mia)
        .fetch_one(&mut *app.app.db.read().await.unwrap())
        .await
        .unwrap();
    assert_eq!(owner.get(&format!("/desk/visits/{visit}")).await.status, 404);
    assert_eq!(liv.get(&format!("/desk/visits/{visit}")).await.status, 404);
    assert_eq!(she.get("/me").await.status, 303, "her session has ended");
    assert_eq!(app.visitor().get("/sign-in").await.status, 200);
    let mut c = app.app.db.read().await.unwrap();
    assert!(clients::get(&mut c, &studio.mia).await.unwrap().is_none());
    let agreements = health::agreements(&mut c, &studio.mia).await.unwrap();
    assert_eq!(
        agreements.iter().filter(|(_, how)| matches!(how, palpebra::domain::consent::Agreement::Given { .. })).count(),
        2
    );
    drop(c);

    // The owner alone finds her, and takes the record for a claim.
    let home = owner.get("/owner/keeping").await;
    assert!(home.main().contains("Mia Sandgren since Monday 2 March 2026"), "{}", home.main());
    let page = owner.get(&format!("/owner/clients/{mia}/data")).await;
    let taken = owner.submit(&page, "/owner/exports", &[("why", "Claim 77")]).await;
    assert_eq!(taken.location().as_deref(), Some("/owner/exports?said=made"), "{}", taken.text());
    assert_eq!(liv.get(&format!("/owner/clients/{mia}/data")).await.status, 403);
    assert!(!page.source().contains("/erase"), "it is done once");

    // Nothing is added to her record any more, whoever tries.
    let mut tx = app.app.db.write().await.unwrap();
    for sql in [
        "UPDATE client SET phone = '+49' WHERE id = ?",
        "UPDATE client SET restricted_at = NULL WHERE id = ?",
        "INSERT INTO answers SELECT 'x', client_id, 1, '{}', '', 'client', '2026-03-02', 0, 0, NULL, NULL FROM answers WHERE client_id = ?",
    ] {
        let refused = sqlx::query(sql).bind(mia).execute(&mut *tx).await.unwrap_err();
        assert!(refused.to_string().contains("a restricted record is not"), "{sql}: {refused}");
    }
}

#[tokio::test]
async fn a_visit_ahead_comes_first_and_a_hold_keeps_everything() {
    let (app, studio) = treated().await;
    let owner = app.owner().await;
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::days(3)).await;
    let she = app.client(MIA).await;
    assert!(she.get("/me/data").await.main().contains("You have a visit ahead"));
    let page = owner.get(&format!("/owner/clients/{}/data", studio.mia)).await;
    assert!(page.main().contains("Cancel it first") && !page.source().contains("/erase"), "{}", page.main());
    let row = palpebra::store::studio::get(&mut app.app.db.read().await.unwrap()).await.unwrap().unwrap();
    let mut tx = app.app.db.write().await.unwrap();
    let answer = palpebra::actions::restriction::answer(&mut tx, &row, &studio.mia, NOW).await.unwrap();
    assert_eq!(answer, Some(OnRequest::VisitAhead));
    sqlx::query("UPDATE visit SET state = 'cancelled_by_studio' WHERE id = ?")
        .bind(visit.as_str())
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    owner.submit(&page, &format!("/owner/clients/{}/hold", studio.mia), &[("held_why", "Claim 77")]).await;
    assert_eq!(erases(&owner, studio.mia.as_str()).await.status, 303);
    let letter = app.mail_to(MIA).await.0.letter;
    assert!(letter.text.contains("as soon as nothing asks us to keep it"), "{}", letter.text);
    let log = audit::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
    assert!(log.iter().any(|row| row.action == "record.restricted" && row.detail == "on request; held"));
    assert!(!log.iter().any(|row| row.action == "photos.erased"));
}
