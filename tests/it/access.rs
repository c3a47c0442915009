//! Whose things are whose: real ids of one client tried by everybody else, ids that are none, accounts switched off,
//! fields that nobody asked for.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test may fail where it stands")]

use axum::http::Method;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::role::Who;
use palpebra::domain::skin_test::TestResult;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{clients, health};
use palpebra::web::routes::{Route, table};
use reqwest::multipart::{Form, Part};
use time::Duration;
use time::macros::date;

use crate::support::app::{NOW, OWNER};
use crate::support::booking::{DETAILS, SIGNED, fill, take_first};
use crate::support::studio::{LIV, MIA, NOOR};
use crate::support::{Html, NOBODY, Person, Studio, TestApp, address};

/// What Mia wrote and nobody else may read.
const SECRET: &str = "zirconium-canary";

/// One client with something of everything, treated by Liv alone; and what is hers, by the beginning of its address.
struct Mias {
    app: TestApp,
    studio: Studio,
    mia: Person,
    things: Vec<(&'static str, String)>,
}

impl Mias {
    async fn new() -> Self {
        let (app, studio) = TestApp::with_studio().await;
        let which = ("other_allergy_which", Answer::Text(SECRET.to_owned()));
        studio.answer(&studio.mia, &[("other_allergy", Answer::Yes), which]).await;
        studio.consent(&studio.mia, &studio.lift).await;
        let before = NOW - Duration::days(60);
        let treatment = studio.treated(&studio.mia, &studio.lift, before, Outcome::AsWished, &[&studio.lotion]).await;
        let test = studio.tested(&studio.mia, NOW - Duration::days(3), Some((TestResult::NoVisibleChange, NOW))).await;
        let at = NOW + Duration::days(3);
        let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
        let mia = app.client(MIA).await;
        let paper = mia.get("/me").await.attributes("a[href^='/me/papers/']", "href").remove(0);
        let draft = take_first(&mia, studio.lift.as_str()).await.form("/book/").0;
        let last = |path: &str, at: usize| path.split('/').nth(at).unwrap().to_owned();
        let things = vec![
            ("/me/visits/", visit.to_string()),
            ("/me/papers/", last(&paper, 3)),
            ("/book/", last(&draft, 2)),
            ("/desk/visits/", visit.to_string()),
            ("/desk/clients/", studio.mia.to_string()),
            ("/desk/treatments/", treatment.to_string()),
            ("/desk/skin-tests/", test.to_string()),
        ];
        Self { app, studio, mia, things }
    }

    /// The address of a route with Mia's own ids in it, if it is about something of hers.
    fn path(&self, route: &Route) -> Option<String> {
        let (_, id) = self.things.iter().find(|(beginning, _)| route.path.starts_with(beginning))?;
        let paper = &self.things.iter().find(|(beginning, _)| *beginning == "/me/papers/").unwrap().1;
        route.path.contains('{').then(|| address(route.path, &[("id", id), ("consent", paper)]))
    }

    fn routes(&self) -> Vec<(Route, String)> {
        table().into_iter().filter_map(|route| self.path(&route).map(|path| (route, path))).collect()
    }
}

/// Calls a route with a form that is otherwise right: the caller's own token, and fields that such forms have.
async fn call(person: &Person, token: &[(String, String)], route: &Route, path: &str) -> Html {
    if route.method == Method::GET {
        return person.get(path).await;
    }
    let now = NOW.unix_timestamp().to_string();
    let time = format!("{}.{NOBODY}", (NOW + Duration::days(4)).unix_timestamp());
    let fields = [
        ("name", "Somebody Else"),
        ("time", &time),
        ("now", &now),
        ("presses", "[]"),
        ("how", "cash"),
        ("fate", "held"),
        ("treatment", "yes"),
        ("health_data", "yes"),
        ("typed_name", "Mia Sandgren"),
        ("reason", "because"),
        ("verdict", "clear"),
        ("amount", "1"),
        ("result", "nothing"),
    ];
    let fields = fields.map(|(name, value)| (name.to_owned(), value.to_owned()));
    let fields = [token, &fields].concat();
    if !["/letters", "/photos", "/photo"].iter().any(|end| route.path.ends_with(end)) {
        return person.post(path, &fields).await;
    }
    // The form of a letter or a photo takes a file.
    let form = fields.into_iter().fold(Form::new(), |form, (name, value)| form.text(name, value));
    let form = form.part("file", Part::bytes(Vec::new()).file_name("letter.pdf"));
    Html::read(person.request(Method::POST, path).multipart(form).send().await.unwrap()).await
}

async fn token(person: &Person, page: &str) -> Vec<(String, String)> {
    let csrf = person.get(page).await.attributes("input[name=csrf]", "value");
    vec![("csrf".to_owned(), csrf.first().unwrap_or_else(|| panic!("no form on {page}")).clone())]
}

#[tokio::test]
async fn what_is_one_clients_is_there_for_no_other_visitor_client_or_practitioner() {
    let mias = Mias::new().await;
    let app = &mias.app;
    mias.studio.client("Fay Nilsen", "fay@clients.example.org", date!(1988 - 02 - 01)).await;
    let (visitor, fay) = (app.visitor(), app.client("fay@clients.example.org").await);
    let noor = app.member(NOOR.0, NOOR.1).await;
    let others = [
        (&visitor, token(&visitor, "/sign-in").await, "a visitor"),
        (&fay, token(&fay, "/me").await, "another client"),
        (&noor, token(&noor, "/desk").await, "another practitioner"),
    ];
    let before = app.fingerprint().await;
    let (mut tried, mut wrong) = (0, Vec::new());
    for (route, path) in mias.routes() {
        for (person, token, who) in &others {
            let page = call(person, token, &route, &path).await;
            let what = format!("{} {path} by {who}: {} {}", route.method, page.status, page.main());
            let door = page.location().filter(|place| page.status == 303 && place.ends_with("sign-in"));
            if page.status != 404 && page.status != 403 && door.is_none() {
                wrong.push(what.clone());
            }
            assert!(!page.source().contains(SECRET) && !page.source().contains("Mia Sandgren"), "{what}");
            tried += 1;
        }
    }
    assert!(tried > 100, "{tried}");
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert_eq!(app.fingerprint().await, before, "nothing was changed by any of it");
    // The same addresses are hers.
    for path in mias.routes().iter().filter(|(route, _)| route.path.starts_with("/me") && route.method == Method::GET) {
        let page = mias.mia.get(&path.1).await;
        assert!(page.status == 200 || page.status == 409, "{}: {}", path.1, page.status);
    }
}

#[tokio::test]
async fn the_practitioner_who_treats_her_and_the_owner_have_what_another_has_not() {
    let mias = Mias::new().await;
    let (liv, owner) = (mias.app.member(LIV.0, LIV.1).await, mias.app.owner().await);
    let mut seen = 0;
    for (route, path) in mias.routes() {
        if route.who == Who::Practitioner && route.method == Method::GET {
            for person in [&liv, &owner] {
                let page = person.get(&path).await;
                // Some pages wait for the visit to begin; none is kept from her.
                assert!(page.status < 500 && page.status != 403, "{path}: {}", page.status);
                seen += usize::from(page.source().contains(SECRET));
            }
        }
    }
    assert!(seen >= 2, "the answer is shown to whoever treats: {seen}");
}

#[tokio::test]
async fn answers_are_on_no_list() {
    let mias = Mias::new().await;
    let people = [mias.app.owner().await, mias.app.member(LIV.0, LIV.1).await];
    let lists = table().into_iter().filter(|route| route.method == Method::GET && !route.path.contains('{'));
    for route in lists {
        for person in &people {
            let page = person.get(route.path).await;
            let shown = String::from_utf8_lossy(&page.bytes).contains(SECRET);
            assert!(!shown, "{}", route.path);
        }
    }
}

#[tokio::test]
async fn an_id_that_is_none_or_of_another_kind_leads_nowhere() {
    let mias = Mias::new().await;
    let owner = mias.app.owner().await;
    let (long, client) = ("a".repeat(300), mias.studio.mia.to_string());
    let odd = ["1", "%00", "%2e%2e%2fowner", "a%20b", "%F0%9F%92%A5", "%ff", "'--", "<b>", &long, &client];
    let mut tried = 0;
    for route in table().into_iter().filter(|route| route.method == Method::GET && route.path.contains('{')) {
        // A stamp names no object: it only makes the address new when the studio's colours are.
        if route.path == "/face/{stamp}/app.css" {
            continue;
        }
        for id in odd {
            let names = ["id", "consent", "n", "token", "name", "stamp", "product", "version"];
            let path = address(route.path, &names.map(|name| (name, id)));
            let of_clients = ["/desk/clients/", "/owner/clients/"].iter().any(|start| route.path.starts_with(start));
            let is_one = id == client && of_clients
                || id == "1" && ["/owner/consent-text/{version}", "/owner/rules/versions/{n}"].contains(&route.path);
            if is_one {
                continue;
            }
            let page = owner.get(&path).await;
            tried += 1;
            // The owner is no client, and a link that has ended has a page of its own.
            let ended = route.path.contains("{token}") && page.status == 200;
            let door = page.location().as_deref() == Some("/sign-in");
            let refused = matches!(page.status, 400 | 404 | 410)
                || page.location().is_some_and(|to| to.starts_with("/team/prove"));
            assert!(refused || ended || door, "{path}: {} {}", page.status, page.text());
        }
    }
    assert!(tried > 200, "{tried}");
}

#[tokio::test]
async fn a_sign_in_that_is_switched_off_opens_nothing_from_that_moment_on() {
    let mias = Mias::new().await;
    let (owner, liv) = (mias.app.owner().await, mias.app.member(LIV.0, LIV.1).await);
    assert_eq!(liv.get("/desk").await.status, 200);
    let path = format!("/owner/practitioners/{}", mias.studio.liv);
    let page = owner.get(&path).await;
    let off = owner.submit(&page, &format!("{path}/access"), &[("access", "off")]).await;
    assert_eq!(off.status, 303, "{}", off.main());
    for route in
        table().into_iter().filter(|route| matches!(route.who, Who::Practitioner | Who::Owner | Who::AtTheDoor))
    {
        let path = mias.path(&route).unwrap_or_else(|| address(route.path, &[]));
        let page = call(&liv, &[], &route, &path).await;
        assert_eq!(page.location().as_deref(), Some("/team/sign-in"), "{} {path}: {}", route.method, page.status);
    }
    let again = mias.app.visitor().gives_password(LIV.0, LIV.1).await;
    let unknown = mias.app.visitor().gives_password("nobody@studio.example.org", LIV.1).await;
    assert_eq!((again.status, again.all(".summary")), (422, unknown.all(".summary")));
}

/// Names that columns and code have, and no form asks for.
const UNASKED: [(&str, &str); 16] = [
    ("role", "owner"),
    ("account_id", NOBODY),
    ("client_id", NOBODY),
    ("practitioner_id", NOBODY),
    ("id", NOBODY),
    ("price_minor", "0"),
    ("state", "done"),
    ("status", "signed"),
    ("demo", "1"),
    ("stage", "open"),
    ("proved_at", "99999999999"),
    ("password_hash", "x"),
    ("disabled_at", ""),
    ("created_at", "0"),
    ("verdict_kind", "clear"),
    ("hold_until", "99999999999"),
];

/// A booking, a change of the studio, a new room, a price, a skin test and a start, with fields that nobody asked for
/// or without them; then every cell of the database.
async fn a_day(unasked: &[(&str, &str)]) -> Vec<String> {
    let (app, studio) = TestApp::with_studio().await;
    let (person, owner) = (app.visitor().adding(unasked), app.owner().await.adding(unasked));
    let details = take_first(&person, studio.lift.as_str()).await;
    let sign = fill(&person, &details, &DETAILS, &[]).await;
    let done = person.submit(&sign, "/book/", &SIGNED).await;
    assert!(done.location().unwrap().ends_with("/done"), "{}", done.main());
    let service = format!("/owner/services/{}", studio.lift);
    for (path, fields) in [
        ("/owner/studio", vec![("phone", "+49 30 5550 1999")]),
        ("/owner/rooms", vec![("name", "Attic")]),
        (service.as_str(), vec![("price", "61.00")]),
        ("/owner/days-off", vec![("who", "studio"), ("from", "2026-12-24"), ("reason", "Holiday")]),
        ("/desk/password", vec![("old", OWNER.1), ("new", "seven slow blue kettles")]),
    ] {
        let page = owner.get(path).await;
        let saved = owner.submit(&page, path, &fields).await;
        assert_eq!(saved.status, 303, "{path}: {}", saved.main());
    }
    let mut cells = app.dump().await;
    let mut c = app.app.db.read().await.unwrap();
    for client in clients::all(&mut c).await.unwrap() {
        let (answers, consents) =
            (health::answers(&mut c, &client.id).await.unwrap(), health::consents(&mut c, &client.id).await.unwrap());
        cells.extend(answers.iter().map(|given| serde_json::to_string(&given.set.answers).unwrap()));
        cells.extend(consents.iter().map(|given| serde_json::to_string(&given.record).unwrap()));
    }
    cells
}

/// Cells that are salted or sealed anew for every run.
fn is_salted(cell: &str) -> bool {
    cell.starts_with("$argon2id$") || cell.contains("\"sealed:")
}

#[tokio::test]
async fn fields_that_nobody_asked_for_change_not_one_cell() {
    let plain = a_day(&[]).await;
    let forged = a_day(&UNASKED).await;
    assert_eq!(plain.len(), forged.len());
    let differ = plain.iter().zip(&forged).filter(|(a, b)| a != b && !is_salted(a) && !is_salted(b));
    assert_eq!(differ.collect::<Vec<_>>(), []);
    assert!(plain.iter().any(|cell| cell == "Attic") && plain.iter().any(|cell| cell == "6100"), "it did happen");
}
