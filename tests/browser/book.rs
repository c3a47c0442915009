//! Clients book on a phone, 320 px wide and without JavaScript: with something in their answers, with nothing new, and
//! with a stop on the way.

use fantoccini::Locator;

use crate::support::{Browser, Server};

const PHONE: u32 = 320;
const ALL_NO: &str = "No to everything that I left open";
/// The lift alone: the name of its link goes on with its description.
const LIFT: &str = "Lash lift Your own";
/// A Monday, 08:00 on the studio's clock.
const NOW: &str = "2026-03-02T08:00:00Z";

/// Somebody who books, and what she says besides no.
struct Guest {
    name: &'static str,
    mail: &'static str,
    /// Day, month, year.
    born: [&'static str; 3],
    /// Question, answer.
    says: &'static [(&'static str, &'static str)],
    /// Label of a field, what she fills in.
    fills: &'static [(&'static str, &'static str)],
}

async fn phone() -> Browser {
    let phone = Browser::without_scripts().await;
    phone.set_width(PHONE).await;
    phone
}

async fn fits(phone: &Browser) {
    let sideways = phone.sideways(PHONE).await;
    assert!(sideways.is_empty(), "{}: {sideways:?}", phone.address().await);
}

/// From the list of services to the details, with the first time that is free.
async fn takes_first(phone: &Browser, server: &Server, service: &str) {
    phone.open(&server.url("/")).await;
    phone.click(&phone.first("a.pick", service).await.unwrap()).await;
    for _ in 0..2 {
        fits(phone).await;
        match phone.first("button.slot", "").await {
            Some(slot) => phone.click(&slot).await,
            None => break,
        }
    }
}

async fn details(phone: &Browser, guest: &Guest) {
    fits(phone).await;
    let [day, month, year] = guest.born;
    for (label, value) in [
        ("Your name", guest.name),
        ("Your mail", guest.mail),
        ("Your phone", "020 555 0143"),
        ("Day", day),
        ("Month", month),
        ("Year", year),
    ] {
        phone.fill(label, value).await;
    }
    phone.press("Go on to the health questions").await;
}

/// Answers every page of questions: what the guest says, and no to the rest. One group stands on each page.
async fn answers(phone: &Browser, guest: &Guest) {
    for _ in 0..12 {
        fits(phone).await;
        if phone.first("button", ALL_NO).await.is_none() {
            return;
        }
        let headings = phone.client.find_all(Locator::Css("main h1, main h2")).await.unwrap();
        assert_eq!(headings.len(), 1, "one group of questions a page");
        // An answer may open a further question, so the page is read anew for each.
        for (question, answer) in guest.says {
            if phone.text().await.contains(question) {
                phone.choose(question, answer).await;
            }
        }
        for (label, value) in guest.fills {
            if phone.text().await.contains(label) {
                phone.fill(label, value).await;
            }
        }
        phone.press(ALL_NO).await;
    }
    panic!("the questions don't end");
}

async fn fills_all(phone: &Browser, server: &Server, service: &str, guest: &Guest) {
    takes_first(phone, server, service).await;
    details(phone, guest).await;
    answers(phone, guest).await;
}

async fn signs(phone: &Browser, name: &str) {
    for tick in ["treatment", "health_data"] {
        let tick = phone.client.find(Locator::Id(tick)).await.unwrap();
        assert!(!tick.is_selected().await.unwrap(), "nothing is ticked beforehand");
        tick.click().await.unwrap();
    }
    phone.fill("Your name as signature", name).await;
    phone.press("Sign and book").await;
    phone.assert_shows("We look forward to seeing you").await;
}

/// The studio refuses, says why, and books nothing.
async fn refused(phone: &Browser, why: &str) {
    fits(phone).await;
    phone.assert_shows(why).await;
    assert!(phone.first("button", "Sign and book").await.is_none());
}

/// Tint after a reaction to colour: never (Regulation (EC) 1223/2009, Annex III entry 8b, label warning). Lotion alone
/// holds no colour, so the lift without tint is hers.
#[tokio::test]
async fn a_past_reaction_to_dye_ends_the_tint_and_leaves_the_lift() {
    let server = Server::demo(NOW).await;
    let guest = Guest {
        name: "Tamsin Orrelby",
        mail: "tamsin@clients.example.org",
        born: ["12", "5", "1990"],
        says: &[("Have you ever had itching, a rash or swelling after colouring your hair, brows or lashes?", "Yes")],
        fills: &[],
    };
    let phone = phone().await;
    fills_all(&phone, &server, "Lash lift and tint", &guest).await;
    refused(&phone, "Because colour has made your skin react before").await;
    phone.follow("Other services").await;
    phone.click(&phone.first("a.pick", LIFT).await.unwrap()).await;
    phone.click(&phone.first("button.slot", "").await.unwrap()).await;
    details(&phone, &guest).await;
    answers(&phone, &guest).await;
    signs(&phone, guest.name).await;
    server.mail(guest.mail, "you are booked").await;
    phone.close().await;
}

/// Tint under 16: never (Regulation (EC) 1223/2009, Annex III entries 8b, 9a and 22, label line). Anything else under 16
/// is the studio's choice, and its default is not to (common practice, no source).
#[tokio::test]
async fn a_fifteen_year_old_is_asked_to_come_back_at_sixteen() {
    let server = Server::demo(NOW).await;
    let guest = Guest {
        name: "Wren Asterholm",
        mail: "wren@clients.example.org",
        born: ["5", "5", "2010"],
        says: &[],
        fills: &[],
    };
    let phone = phone().await;
    for (service, why) in [("Lash lift and tint", "Tint is not meant for anyone under 16"), (LIFT, "once you are 16")] {
        fills_all(&phone, &server, service, &guest).await;
        refused(&phone, why).await;
    }
    assert!(!server.mails().iter().any(|mail| mail.contains(guest.mail)), "nothing is booked");
    phone.close().await;
}

/// Contact lenses: out before the visit and for 24 hours after it (common practice, no source); no reason to wait.
#[tokio::test]
async fn a_lens_wearer_books_and_is_told_to_bring_her_glasses() {
    let server = Server::demo(NOW).await;
    let guest = Guest {
        name: "Ines Calloway-Birk",
        mail: "ines@clients.example.org",
        born: ["30", "11", "1994"],
        says: &[("Do you wear contact lenses?", "Yes")],
        fills: &[],
    };
    let phone = phone().await;
    fills_all(&phone, &server, LIFT, &guest).await;
    phone.assert_shows("Good to know before you come").await;
    phone.assert_shows("bring your glasses, and leave the lenses out for 24 hours afterwards").await;
    signs(&phone, guest.name).await;
    phone.close().await;
}

/// Isotretinoin: no lotion on brow skin while it is taken and for six months after (American Academy of Dermatology on
/// waxing, carried over to lotion); on lashes a talk first (common practice, no source).
#[tokio::test]
async fn isotretinoin_stops_the_brows_moves_them_by_six_months_and_asks_for_a_talk_on_lashes() {
    let server = Server::demo(NOW).await;
    const TAKES: (&str, &str) = ("Do you take isotretinoin, or did you stop in the last six months?", "Yes");
    let mut guest = Guest {
        name: "Oda Lindemark",
        mail: "oda@clients.example.org",
        born: ["8", "1", "2001"],
        says: &[TAKES, ("Which is it?", "I take it now")],
        fills: &[],
    };
    let phone = phone().await;
    fills_all(&phone, &server, "Brow lamination", &guest).await;
    refused(&phone, "While you take isotretinoin your brow skin is too fragile for lotion.").await;
    guest.says = &[TAKES, ("Which is it?", "I have stopped")];
    guest.fills = &[("About when did you stop?", "2025-11-10")];
    fills_all(&phone, &server, "Brow lamination", &guest).await;
    refused(&phone, "From Sunday 10 May 2026 on it should be fine").await;
    phone.follow("See times from then on").await;
    let slot = phone.first("button.slot", "").await.unwrap();
    assert!(phone.name_of(&slot).await.contains(" May, "), "{}", phone.name_of(&slot).await);
    phone.click(&slot).await;
    signs(&phone, guest.name).await;
    guest.mail = "oda.lashes@clients.example.org";
    guest.says = &[TAKES, ("Which is it?", "I take it now")];
    guest.fills = &[];
    fills_all(&phone, &server, LIFT, &guest).await;
    phone.assert_shows("Isotretinoin dries eyes and skin, so we talk with you first.").await;
    signs(&phone, guest.name).await;
    phone.close().await;
}

/// The link in a mail with which somebody goes on.
fn link(mail: &str, start: &str) -> String {
    mail.split_whitespace().find(|word| word.contains(start)).unwrap().to_owned()
}

#[tokio::test]
async fn she_stops_on_her_phone_goes_back_and_goes_on_from_the_link_in_her_mail() {
    let server = Server::demo(NOW).await;
    let guest = Guest {
        name: "Maren Tisbury",
        mail: "maren@clients.example.org",
        born: ["21", "9", "1987"],
        says: &[("Do you tend to asthma, eczema or hay fever?", "Yes")],
        fills: &[],
    };
    let bus = phone().await;
    takes_first(&bus, &server, LIFT).await;
    details(&bus, &guest).await;
    bus.choose("Do you tend to asthma, eczema or hay fever?", "Yes").await;
    bus.press(ALL_NO).await;
    bus.choose("Do you have a stye or a tender lump on an eyelid?", "No").await;
    bus.press("Back").await;
    bus.assert_shows("Allergies and earlier reactions").await;
    assert!(chosen(&bus, "atopy-yes").await && chosen(&bus, "perm_reaction-no").await, "back loses nothing");
    bus.press("Go on").await;
    assert!(chosen(&bus, "stye-no").await, "nor does what was left open");
    bus.press("Stop here and mail me a link to go on").await;
    fits(&bus).await;
    bus.assert_shows("is on its way to maren@clients.example.org").await;
    bus.close().await;
    let letter = server.mail(guest.mail, "/go-on/").await;
    let home = phone().await;
    home.open(&link(&letter, "/go-on/")).await;
    fits(&home).await;
    for (label, value) in [("Day", "21"), ("Month", "9"), ("Year", "1978")] {
        home.fill(label, value).await;
    }
    home.press("Go on").await;
    home.assert_shows("That is not the date of birth that you gave").await;
    home.fill("Year", "1987").await;
    home.press("Go on").await;
    home.assert_shows("Your eyes and skin today").await;
    assert!(chosen(&home, "stye-no").await);
    answers(&home, &guest).await;
    home.assert_shows(guest.name).await;
    signs(&home, guest.name).await;
    home.close().await;
}

async fn chosen(phone: &Browser, id: &str) -> bool {
    phone.client.find(Locator::Id(id)).await.unwrap().is_selected().await.unwrap()
}

/// Signs in by mail; ends on her visits.
async fn signs_in(phone: &Browser, server: &Server, mail: &str) {
    phone.open(&server.url("/me")).await;
    phone.fill("Your mail", mail).await;
    phone.press("Send me a link").await;
    let letter = server.mail(mail, "/sign-in/").await;
    phone.open(&link(&letter, "/sign-in/")).await;
    phone.press("Sign in").await;
}

#[tokio::test]
async fn with_nothing_new_two_pages_lie_between_the_service_and_the_booked_visit() {
    let server = Server::demo(NOW).await;
    let guest = Guest {
        name: "Birte Solvang",
        mail: "birte@clients.example.org",
        born: ["2", "2", "1992"],
        says: &[],
        fills: &[],
    };
    let phone = phone().await;
    fills_all(&phone, &server, "Brow lamination", &guest).await;
    signs(&phone, guest.name).await;
    signs_in(&phone, &server, guest.mail).await;
    phone.open(&server.url("/")).await;
    phone.click(&phone.first("a.pick", "Brow lamination").await.unwrap()).await;
    let mut pages = 1;
    phone.click(&phone.first("button.slot", "").await.unwrap()).await;
    pages += 1;
    fits(&phone).await;
    phone.assert_shows("You gave these answers on Monday 2 March 2026").await;
    phone.assert_shows("What you signed on Monday 2 March 2026 still holds").await;
    phone.press("Nothing has changed: book").await;
    phone.assert_shows("We look forward to seeing you").await;
    assert!(pages <= 3, "{pages} pages from the service to the booked visit");
    phone.close().await;
}
