//! The client books on her phone, 320 px wide and without JavaScript, and looks after her visits.

use super::{MAIL, NAME, SERVICE, Story, TEST_DAY, TREATMENT_DAY};
use crate::support::{Browser, Server};

const PHONE: u32 = 320;
const ALL_NO: &str = "No to everything that I left open";

/// From the list of services to a visit that is moved.
pub(super) async fn books(server: &Server) -> Story {
    let phone = Browser::without_scripts().await;
    phone.set_width(PHONE).await;
    phone.open(&server.url("/")).await;
    let service = phone.first("a[href]", SERVICE).await.unwrap();
    phone.click(&service).await;
    fits(&phone).await;
    phone.assert_shows("Two visits").await;
    let test = take_time(&phone, TEST_DAY.short).await;
    phone.assert_shows(&format!("Skin test {}, {test}", TEST_DAY.long)).await;
    assert!(phone.first("button.slot", "Sat 7 March").await.is_none(), "48 hours lie between test and treatment");
    let booked = take_time(&phone, TREATMENT_DAY.short).await;
    details(&phone).await;
    health(&phone).await;
    signs(&phone).await;
    phone.assert_shows("We look forward to seeing you").await;
    phone.assert_shows(&format!("{}, {test}", TEST_DAY.long)).await;
    phone.assert_shows(&format!("{}, {booked}", TREATMENT_DAY.long)).await;
    let mail = server.mail(MAIL, "you are booked").await;
    for time in [format!("{}, {test}", TEST_DAY.long), format!("{}, {booked}", TREATMENT_DAY.long)] {
        assert!(mail.contains(&time), "{time} is missing from:\n{mail}");
    }
    signs_in(server, &phone).await;
    let treatment = moves(server, &phone, &test, &booked).await;
    calendar(server, &phone, &treatment).await;
    let text = paper(&phone).await;
    phone.close().await;
    Story { test, treatment, text }
}

async fn fits(phone: &Browser) {
    let sideways = phone.sideways(PHONE).await;
    assert!(sideways.is_empty(), "{}: {sideways:?}", phone.address().await);
}

/// Takes the first free time of a day, and tells when it begins.
async fn take_time(phone: &Browser, day: &str) -> String {
    const PAGES: usize = 4;
    for _ in 0..PAGES {
        fits(phone).await;
        phone.open_days().await;
        if let Some(slot) = phone.first("button.slot", &format!("{day}, ")).await {
            let name = phone.name_of(&slot).await;
            phone.click(&slot).await;
            return name.split(", ").nth(1).unwrap().to_owned();
        }
        phone.follow("Later days").await;
    }
    panic!("no free time on {day}");
}

async fn details(phone: &Browser) {
    phone.assert_shows("This time is held for you until").await;
    phone.fill("Your name", NAME).await;
    phone.fill("Your mail", MAIL).await;
    phone.fill("Your phone", "020 555 0142").await;
    phone.fill("Day", "3").await;
    phone.fill("Month", "7").await;
    phone.press("Go on to the health questions").await;
    phone.assert_shows("One answer needs another look").await;
    assert_eq!(phone.value("Your name").await, NAME);
    phone.fill("Year", "1991").await;
    phone.press("I need more time").await;
    assert_eq!(phone.value("Year").await, "1991", "what was typed stays");
    phone.press("Go on to the health questions").await;
}

/// No to everything but a sensitive chest and a settled thyroid, which both ask further.
async fn health(phone: &Browser) {
    for page in 1.. {
        fits(phone).await;
        let text = phone.text().await;
        if text.contains("Check and sign") && !text.contains("Only whoever treats you") {
            assert!(page > 4, "the questions ended after {page} pages");
            return;
        }
        if text.contains("Do strong smells") {
            phone.choose("Do strong smells or glue vapour trigger your breathing?", "Yes").await;
            phone.choose("How strong does it get?", "A cough or tightness that soon passes").await;
        }
        if text.contains("thyroid") {
            phone.choose("Do you have a thyroid illness, or sudden hair loss?", "Yes").await;
            phone.press(ALL_NO).await;
            phone.assert_shows("One answer needs another look").await;
            phone.choose("Which is closest?", "Thyroid, well settled").await;
        }
        phone.press(ALL_NO).await;
    }
}

async fn signs(phone: &Browser) {
    phone.assert_shows("Good to know before you come").await;
    phone.assert_shows("We will talk with you").await;
    phone.press("Sign and book").await;
    phone.assert_shows("answers need another look").await;
    for tick in [
        "I want to have this treatment.",
        "The studio may keep and use my health answers, skin tests and treatment records to decide whether and how it can treat me, and to prove it later.",
    ] {
        phone.tick(tick).await;
    }
    phone.fill("Your name as signature", NAME).await;
    phone.press("Sign and book").await;
    fits(phone).await;
}

/// The link in the mail signs in once, and only when its button is pressed.
async fn signs_in(server: &Server, phone: &Browser) {
    phone.open(&server.url("/me")).await;
    phone.fill("Your mail", MAIL).await;
    phone.press("Send me a link").await;
    phone.assert_shows("Look in your mail").await;
    let mail = server.mail(MAIL, "/sign-in/").await;
    let link = mail.split_whitespace().find(|word| word.contains("/sign-in/")).unwrap();
    phone.open(link).await;
    phone.press("Sign in").await;
    assert_eq!(phone.address().await, "/me");
    let stranger = Browser::without_scripts().await;
    stranger.open(link).await;
    stranger.assert_shows("This link has ended").await;
    stranger.close().await;
}

async fn moves(server: &Server, phone: &Browser, test: &str, booked: &str) -> String {
    fits(phone).await;
    phone.assert_shows(&format!("{}, {test}", TEST_DAY.long)).await;
    let old = format!("{}, {booked}", TREATMENT_DAY.long);
    phone.follow(&format!("Move {SERVICE}, {old}")).await;
    phone.assert_shows("Your time is given up only when the new one is yours").await;
    let moved = take_time(phone, TREATMENT_DAY.short).await;
    assert_ne!(moved, booked);
    assert_eq!(phone.address().await, "/me");
    phone.assert_shows(&format!("{}, {moved}", TREATMENT_DAY.long)).await;
    assert!(!phone.text().await.contains(&old), "the old time is given up");
    server.mail(MAIL, &format!("{}, {moved}", TREATMENT_DAY.long)).await;
    moved
}

async fn calendar(server: &Server, phone: &Browser, treatment: &str) {
    let link =
        phone.named("a[href]", &format!("Add to calendar: {SERVICE}, {}, {treatment}", TREATMENT_DAY.long)).await;
    let answer = phone.fetch(&server.url(&link.attr("href").await.unwrap().unwrap())).await;
    assert!(answer.headers()["content-type"].to_str().unwrap().starts_with("text/calendar"));
    let calendar = answer.text().await.unwrap();
    let starts = format!("DTSTART;TZID=Europe/Dublin:20260312T{}00", treatment.replace(':', ""));
    assert!(calendar.contains(&starts) && calendar.contains("SEQUENCE:1"), "{starts} is missing from:\n{calendar}");
    assert!(!calendar.contains("ash lift"), "a calendar is read over shoulders:\n{calendar}");
}

/// What she signed, and the checksum of its text.
async fn paper(phone: &Browser) -> String {
    phone.click(&phone.first("a[href]", "Signed on ").await.unwrap()).await;
    fits(phone).await;
    phone.assert_shows(&format!("Signed by {NAME}")).await;
    phone.assert_shows("Yes: I want to have this treatment.").await;
    phone.assert_shows("How strong does it get? A cough or tightness that soon passes").await;
    let text = phone.text().await;
    let (_, rest) = text.split_once("SHA-256 of the text: ").unwrap();
    rest.split(' ').next().unwrap().to_owned()
}
