//! What didn't leave stands on the owner's page with its reason, and can be tried again or taken off.

use palpebra::actions::Pending;
use palpebra::domain::ids::MailId;
use palpebra::store::outbox;

use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::studio::MIA;

async fn one_given_up(app: &TestApp, id: u8) -> MailId {
    let client = palpebra::domain::ids::ClientId::from_random([9; 16]);
    let body = serde_json::to_string(&Pending::SignInLink { client, draft: None }).unwrap();
    let id = MailId::from_random([id; 16]);
    let mut tx = app.app.db.write().await.unwrap();
    outbox::add(&mut tx, &id, MIA, &body, NOW, NOW).await.unwrap();
    outbox::failed(&mut tx, &id, "never: 550 <no such mailbox>", None).await.unwrap();
    tx.commit().await.unwrap();
    id
}

#[tokio::test]
async fn it_is_told_and_can_be_tried_again() {
    let app = TestApp::with_owner().await;
    let id = one_given_up(&app, 1).await;
    let owner = app.owner().await;
    assert!(owner.get("/owner").await.main().contains("One mail was given up"));
    let page = owner.get("/owner/mail").await;
    let row = page.all("tbody tr").concat();
    for told in ["Sign-in link", MIA, "never: 550 <no such mailbox>", "Given up", "Mon 2 March 2026"] {
        assert!(row.contains(told), "{told}: {row}");
    }
    let after = owner.submit(&page, &format!("/owner/mail/{id}/again"), &[]).await;
    assert_eq!(owner.follow(after).await.all(".said"), ["It will be tried again in a moment."]);
    let standing = outbox::standing(&mut app.app.db.read().await.unwrap()).await.unwrap();
    assert_eq!((standing.waiting, standing.given_up), (1, 0));
    assert_eq!(owner.submit(&page, &format!("/owner/mail/{id}/again"), &[]).await.status, 404, "once");
}

#[tokio::test]
async fn it_can_be_taken_off() {
    let app = TestApp::with_owner().await;
    let (first, second) = (one_given_up(&app, 1).await, one_given_up(&app, 2).await);
    let owner = app.owner().await;
    let page = owner.get("/owner/mail").await;
    assert_eq!(owner.submit(&page, &format!("/owner/mail/{first}/set-aside"), &[]).await.status, 303);
    let page = owner.get("/owner/mail").await;
    assert!(page.source().contains(second.as_str()) && !page.source().contains(first.as_str()));
    assert!(owner.get("/owner/audit").await.main().contains("Mail set-aside"));
}

/// The owner is written to when an export of hers is made, at the address that she signs in with.
#[tokio::test]
async fn an_export_tells_whoever_made_it() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let page = owner.get("/owner/exports").await;
    let fields = [("scope", "client"), ("client", studio.mia.as_str()), ("why", "The insurer asked")];
    assert_eq!(owner.submit(&page, "/owner/exports", &fields).await.status, 303);
    let letter = app.mail_to(crate::support::app::OWNER.0).await;
    assert_eq!(letter.0.letter.subject, "A package of records at Studio Lidbogen");
    assert!(letter.link("/owner/exports").ends_with("/owner/exports"));
    assert!(!letter.0.letter.text.contains("Mia") && !letter.0.letter.text.contains("insurer"));
}
