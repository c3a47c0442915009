//! Those who treat, and the owner.

use fantoccini::Locator;

use super::NOW;
use super::person::{Person, State};
use super::places::{self, Walk};
use crate::people::TestApp;
use crate::people::app::OWNER;
use crate::people::studio::LIV;
use crate::support::Server;

const TINT: &str = "Hushmere Tint Blackthorn";

#[tokio::test]
async fn a_practitioner_in_a_full_studio() {
    practitioner(&Server::demo(NOW).await, "full").await;
}

#[tokio::test]
async fn a_practitioner_among_long_names() {
    practitioner(&Server::demo_of_long_names(NOW).await, "names").await;
}

#[tokio::test]
async fn the_owner_of_a_full_studio() {
    owner(&Server::demo(NOW).await, "full").await;
}

#[tokio::test]
async fn the_owner_among_long_names() {
    owner(&Server::demo_of_long_names(NOW).await, "names").await;
}

async fn practitioner(server: &Server, state: State) {
    let she = Person::of_team(server, "practitioner", state).await;
    she.look_around(&places::plain(Walk::Practitioner)).await;
    she.open("/desk/calendar?view=week").await;
    she.inspect("week").await;
    books_somebody_in(&she).await;
    let record = she.first_link("/desk/clients", "/desk/clients/").await;
    for page in ["growth", "letters", "reaction", "answers"] {
        she.inspect_at(&format!("{record}/{page}"), page).await;
    }
    if state == "full" {
        she.be_refused().await;
    }
    tests_skin(&she, &record).await;
    she.open(&format!("{record}/reaction")).await;
    she.browser.tick("Swollen lids").await;
    she.browser.press("Write the report").await;
    she.inspect("report").await;
    receives(&she).await;
    she.leave(Walk::Practitioner).await;
}

async fn books_somebody_in(she: &Person) {
    she.open("/desk/book").await;
    let first = she.browser.client.find(Locator::Css("#service option:nth-of-type(2)")).await.unwrap();
    she.browser.fill("What", first.text().await.unwrap().trim()).await;
    she.browser.press("Show free times").await;
    she.inspect("book-times").await;
    she.browser.click(&she.browser.first("button.slot", "").await.unwrap()).await;
    she.inspect("book-who").await;
}

/// Applies a skin test, and opens the page to read it.
async fn tests_skin(she: &Person, record: &str) {
    she.inspect_at(&format!("{record}/skin-test"), "skin-test").await;
    let product = she.browser.first("main input[type=radio]", TINT).await.unwrap();
    product.click().await.unwrap();
    let register = she.browser.client.find(Locator::Id("batch-hint")).await.unwrap().text().await.unwrap();
    let batch = register.trim_end_matches('.').split(", ").find(|one| one.contains(TINT)).unwrap();
    she.browser.fill("Batch", batch.rsplit(' ').next().unwrap()).await;
    she.browser.fill("Where on the skin", "behind the left ear").await;
    she.browser.press("It is applied").await;
    let reading = she.first_link(record, "/desk/skin-tests/").await;
    she.inspect_at(&reading, "reading").await;
}

/// Whoever is booked comes: the first skin test is begun, and the first client who can be treated is.
async fn receives(she: &Person) {
    she.open("/desk").await;
    let mut visits = Vec::new();
    for visit in she.browser.client.find_all(Locator::Css("a.visit-who")).await.unwrap() {
        visits.push(visit.attr("href").await.unwrap().unwrap());
    }
    let (mut tested, mut treated) = (false, false);
    for visit in visits {
        she.open(&visit).await;
        if she.browser.first("button", "The client is here").await.is_none() {
            continue;
        }
        she.browser.press("The client is here").await;
        if she.browser.first("a", "Apply the skin test").await.is_some() {
            if !tested {
                she.inspect_at(&format!("{visit}/skin-test"), "visit-skin-test").await;
            }
            tested = true;
        } else if !treated {
            she.inspect("arrived").await;
            she.inspect_at(&format!("{visit}/chair"), "chair-before").await;
            treated = treats(she, &visit).await;
        }
    }
    assert!(tested && treated, "tested: {tested}, treated: {treated}");
}

/// Whether it may be begun.
async fn treats(she: &Person, visit: &str) -> bool {
    if she.browser.first("button", "Start the treatment").await.is_none() {
        return false;
    }
    for point in she.browser.client.find_all(Locator::Css("[name=many-day], [name=many-hygiene]")).await.unwrap() {
        point.click().await.unwrap();
    }
    she.browser.press("Start the treatment").await;
    she.inspect("chair").await;
    she.inspect_at(&format!("{visit}/photos"), "photos").await;
    she.inspect_at(&format!("{visit}/treatment"), "treatment").await;
    she.inspect_at(&format!("{visit}/price"), "price").await;
    true
}

async fn owner(server: &Server, state: State) {
    let she = Person::of_team(server, "owner", state).await;
    she.look_around(&places::plain(Walk::Owner)).await;
    if state == "full" {
        she.be_refused().await;
    }
    she.open("/owner/exports").await;
    she.browser.choose("Whose records?", "Each client with a visit between two days").await;
    for day in ["First day (optional)", "Last day (optional)"] {
        she.browser.fill(day, "2026-03-02").await;
    }
    she.browser.fill("Why", "A day's records, to look at the list of packages").await;
    she.browser.press("Make the package").await;
    she.inspect("exports-made").await;
    holds(&she).await;
    she.open("/owner/retouch").await;
    she.browser.press("See who gets a letter").await;
    she.inspect("invite").await;
    takes_over(&she).await;
    she.leave(Walk::Owner).await;
}

async fn takes_over(she: &Person) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("clients.csv");
    let rows = "Name;Mail;Phone;Born\nAda Winterfeld;ada@clients.example.org;+493055501235;1994-05-30\nNobody;;;\n";
    std::fs::write(&file, rows).unwrap();
    she.open("/owner/takeover").await;
    she.browser.fill("The file", file.to_str().unwrap()).await;
    she.browser.press("Go on").await;
    she.inspect("takeover-columns").await;
    she.browser.press("See what becomes of each row").await;
    she.inspect("takeover-check").await;
}

/// What a client's records are held by, and how that ends.
async fn holds(she: &Person) {
    let record = she.first_link("/desk/clients", "/desk/clients/").await;
    let data = she.first_link(&record, "/owner/clients/").await;
    she.inspect_at(&data, "data").await;
    she.browser.fill("Why nothing may leave", "Claim 77").await;
    she.browser.press("Set a hold").await;
    let lift = she.first_link(&data, "/owner/holds/").await;
    she.inspect_at(&lift, "hold").await;
}

#[tokio::test]
async fn the_team_of_a_studio_that_has_just_opened() {
    let app = TestApp::with_owner().await;
    let she = Person::signed_in(&app.url, "owner", "empty", OWNER).await;
    let pages = [places::plain(Walk::Practitioner), places::plain(Walk::Owner)].concat();
    she.look_around(&pages).await;
    she.leave(Walk::Again).await;
    let (app, _) = TestApp::with_studio().await;
    let she = Person::signed_in(&app.url, "practitioner", "empty", LIV).await;
    she.look_around(&["/desk", "/desk/calendar", "/desk/clients"]).await;
    she.leave(Walk::Again).await;
}
