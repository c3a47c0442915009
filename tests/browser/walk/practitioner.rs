//! The practitioner tests the skin, reads the test, checks before she starts, treats and records.

use fantoccini::Locator;

use super::{NAME, READING_DAY, SERVICE, Story, TEST_DAY, TREATMENT_DAY, later};
use crate::support::{Browser, Server};

const TINT: &str = "Hushmere Tint Blackthorn";
/// The batches that she takes from the shelf; the demo's register knows them.
pub(super) const BATCHES: [(&str, &str); 4] = [
    ("Vessarine First Bend", "VF-0648"),
    ("Vessarine Second Rest", "VS-1274"),
    ("Tolvane Shield Hold", "H-9"),
    (TINT, "HB-70"),
];
/// First lotion, second lotion as it was written first, tint; in minutes.
const MINUTES: [u16; 3] = [10, 8, 7];
/// What the second lotion really took.
pub(super) const CORRECTED: u16 = 9;
pub(super) const SITE: &str = "behind the left ear";
pub(super) const SHIELD: &str = "M, with a soft rim";
/// Why she starts although the answers say to ask first.
pub(super) const ASKED: &str =
    "Talked it over: only cheap perfume makes her cough. Window open, she may stop at any time.";
pub(super) const WHY_CORRECTED: &str = "Read the timer again: the second lotion had nine minutes.";

pub(super) async fn treats(server: &mut Server, story: &Story) {
    server.terminate().await;
    server.start_at(&TEST_DAY.at(&story.test)).await;
    applies_the_test(server).await;
    server.terminate().await;
    server.start_at(&READING_DAY.at("11:00")).await;
    reads_the_test(server).await;
    server.terminate().await;
    server.start_at(&TREATMENT_DAY.at(&story.treatment)).await;
    checks_and_starts(server).await;
    server.terminate().await;
    server.start_at(&TREATMENT_DAY.at(&later(&story.treatment))).await;
    records(server, story).await;
}

/// Her browser on the day's page.
async fn desk(server: &Server) -> Browser {
    let browser = Browser::new().await;
    let sign_in = server.sign_in("practitioner");
    browser.open(&server.url("/team/sign-in")).await;
    browser.fill("Mail", &sign_in.mail).await;
    browser.fill("Password", &sign_in.password).await;
    browser.press("Sign in").await;
    assert_eq!(browser.address().await, "/desk");
    browser
}

async fn applies_the_test(server: &Server) {
    let desk = desk(server).await;
    desk.assert_shows("Today, Thursday 5 March 2026").await;
    desk.follow(NAME).await;
    desk.press("The client is here").await;
    desk.follow("Apply the skin test").await;
    desk.choose("Product", &format!("{TINT}, for {SERVICE}")).await;
    desk.press("It is applied").await;
    desk.assert_shows("2 answers need another look").await;
    desk.fill("Batch", "HB-70").await;
    desk.fill("Where on the skin", SITE).await;
    desk.press("It is applied").await;
    desk.assert_shows(&format!("Batch HB-70, {SITE}. Applied Thursday 5 March 2026")).await;
    desk.assert_shows("Not read yet. A clear result counts from Saturday 7 March 2026").await;
    desk.close().await;
}

async fn reads_the_test(server: &Server) {
    let desk = desk(server).await;
    desk.open(&server.url("/desk/clients")).await;
    desk.fill("Name or mail (optional)", NAME).await;
    desk.press("Find").await;
    desk.click(&desk.first("a.pick", NAME).await.unwrap()).await;
    desk.assert_shows("It can be read now.").await;
    desk.follow("Read it").await;
    desk.choose("What is to be seen?", "No visible change").await;
    desk.press("Note it").await;
    desk.assert_shows("No visible change, noted by Noémi Velcourt").await;
    desk.close().await;
}

/// The verdict with its reasons; she may start against it only with a reason of her own.
async fn checks_and_starts(server: &Server) {
    let desk = desk(server).await;
    desk.assert_shows("Ask before starting").await;
    desk.follow(NAME).await;
    for words in [
        "Ask before starting",
        "Ask How strong does it get?",
        "a talk, after which you decide",
        "Note Which is closest?",
        "Rests on: common practice",
        "Signed on the text in use",
        "No visible change",
    ] {
        desk.assert_shows(words).await;
    }
    desk.press("The client is here").await;
    desk.follow("Check and start").await;
    desk.press("Start, for this reason").await;
    desk.assert_shows("2 answers need another look").await;
    for point in desk.client.find_all(Locator::Css("[name=many-day], [name=many-hygiene]")).await.unwrap() {
        point.click().await.unwrap();
    }
    desk.press("Start, for this reason").await;
    desk.assert_shows("One answer needs another look").await;
    desk.tick("I have read the notes above.").await;
    desk.fill("Why do you start against the verdict?", ASKED).await;
    desk.press("Start, for this reason").await;
    desk.assert_shows("At the chair").await;
    desk.follow("The visit").await;
    desk.assert_shows("Under way").await;
    desk.assert_shows(&format!("Started against the verdict {ASKED}")).await;
    desk.close().await;
}

async fn records(server: &Server, story: &Story) {
    let desk = desk(server).await;
    desk.follow(NAME).await;
    desk.follow("Write the record").await;
    desk.fill("From", &story.treatment).await;
    desk.fill("Until", &later(&story.treatment)).await;
    for (product, batch) in BATCHES {
        desk.fill(product, batch).await;
    }
    desk.fill("Shield (optional)", SHIELD).await;
    let steps = ["First lotion, minutes (optional)", "Second lotion, minutes (optional)", "Tint, minutes (optional)"];
    for (step, minutes) in steps.into_iter().zip(MINUTES) {
        desk.fill(step, &minutes.to_string()).await;
    }
    desk.choose("How did it come out?", "As wished").await;
    desk.tick("Aftercare was explained, and when to call.").await;
    desk.press("Save the record").await;
    desk.assert_shows("Second lotion 8 minutes").await;
    desk.follow("Correct this record").await;
    desk.fill(steps[1], &CORRECTED.to_string()).await;
    desk.press("Add the correction").await;
    desk.assert_shows("One answer needs another look").await;
    desk.fill("Why is it corrected?", WHY_CORRECTED).await;
    desk.press("Add the correction").await;
    desk.assert_shows("Version 2, the one that counts").await;
    desk.assert_shows("Second lotion 9 minutes").await;
    desk.assert_shows("Second lotion 8 minutes").await;
    desk.close().await;
}
