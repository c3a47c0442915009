//! Every page, as every kind of person who may see it: nothing against WCAG 2.2 AA, nothing scrolls sideways, whatever it
//! leads to is there, a client's page is light, and the console stays silent.

use std::cell::RefCell;
use std::collections::BTreeSet;

use axum::http::Method;
use fantoccini::Locator;
use palpebra::domain::role::Who;
use palpebra::web::routes;

use crate::support::{Browser, Server};

const NOW: &str = "2026-03-02T08:00:00Z";
/// No pages: files for machines, an icon, a spreadsheet; and pages that a studio which is set up, or somebody who is
/// signed in, no longer has. Nor does the desk ask for whom before there is a time.
const NO_PAGES: [&str; 8] = [
    "/healthz",
    "/favicon.ico",
    "/.well-known/security.txt",
    "/owner/retouch/list.csv",
    "/owner/trace/list.csv",
    "/set-up",
    "/team/code",
    "/desk/book/who",
];

/// The pages that are for this kind of person and whose address needs no id.
fn plain(who: Who) -> Vec<&'static str> {
    let routes = routes::table().into_iter();
    let pages = routes.filter(|route| route.method == Method::GET && route.who == who);
    let pages = pages.map(|route| route.path).filter(|path| !path.contains('{') && !NO_PAGES.contains(path));
    pages.collect()
}

/// One kind of person at her browser, and what was wrong with the pages that she saw.
struct Person<'a> {
    server: &'a Server,
    browser: Browser,
    who: &'static str,
    found: RefCell<Vec<String>>,
    /// The kinds of address that lead somewhere.
    known: RefCell<BTreeSet<String>>,
}

impl<'a> Person<'a> {
    async fn new(server: &'a Server, who: &'static str) -> Self {
        Self { server, browser: Browser::new().await, who, found: RefCell::default(), known: RefCell::default() }
    }

    /// A practitioner or the owner, signed in.
    async fn of_team(server: &'a Server, who: &'static str) -> Self {
        let (she, sign_in) = (Self::new(server, who).await, server.sign_in(who));
        she.open("/team/sign-in").await;
        she.browser.fill("Mail", &sign_in.mail).await;
        she.browser.fill("Password", &sign_in.password).await;
        she.browser.press("Sign in").await;
        assert_eq!(she.browser.address().await, "/desk");
        she
    }

    async fn open(&self, path: &str) {
        self.browser.open(&self.server.url(path)).await;
    }

    /// Looks at the page that is open.
    async fn inspect(&self, page: &str) {
        let mut wrong = Vec::new();
        let of_team = self.browser.address().await.starts_with("/team/");
        if ["visitor", "client"].contains(&self.who) && !of_team {
            wrong.extend(self.browser.too_heavy().await);
        }
        let mut known = self.known.take();
        wrong.extend(self.browser.dead_ends(&mut known).await);
        self.known.replace(known);
        let named = wrong.into_iter().map(|wrong| format!("{}-{page}: {wrong}", self.who));
        let problems = self.browser.problems(&format!("pages/{}-{page}", self.who)).await;
        self.found.borrow_mut().extend(named.chain(problems));
    }

    async fn inspect_all(&self, paths: &[&str]) {
        for path in paths {
            self.open(path).await;
            assert_eq!(self.browser.address().await, *path, "{} is sent elsewhere", self.who);
            let words: Vec<_> = path.split('/').filter(|word| !word.is_empty()).collect();
            self.inspect(if words.is_empty() { "start".to_owned() } else { words.join("-") }.as_str()).await;
        }
    }

    /// Follows the first link of a page whose address begins so and has more after it, and looks at what is behind it.
    async fn look_behind(&self, page: &str, beginning: &str, name: &str) {
        self.open(page).await;
        let links = self.browser.client.find_all(Locator::Css("main a[href]")).await.unwrap();
        for link in links {
            let address = link.attr("href").await.unwrap().unwrap();
            if address.strip_prefix(beginning).is_some_and(|id| !id.is_empty() && id != "new") {
                self.open(&address).await;
                self.inspect(name).await;
                return;
            }
        }
        panic!("no link to {beginning} on {page}:\n{}", self.browser.text().await);
    }

    async fn leave(self) -> Vec<String> {
        self.browser.close().await;
        self.found.into_inner()
    }
}

#[tokio::test]
async fn every_page_is_accessible_to_everybody_who_may_see_it() {
    let server = Server::demo(NOW).await;
    let (a, b, c, d) = tokio::join!(visitor(&server), client(&server), practitioner(&server), owner(&server));
    let found = [a, b, c, d].concat();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

async fn visitor(server: &Server) -> Vec<String> {
    let she = Person::new(server, "visitor").await;
    she.inspect_all(&plain(Who::Anyone)).await;
    she.look_behind("/", "/services/", "times").await;
    books(&she).await;
    she.leave().await
}

/// What a link in a mail leads to, also once it works no longer.
#[tokio::test]
async fn what_lies_behind_the_links_of_mails_is_accessible() {
    let server = Server::demo(NOW).await;
    let she = Person::new(&server, "visitor").await;
    let browser = &she.browser;
    for place in ["go-on", "tell-us", "sign-in", "earlier"] {
        she.open(&format!("/{place}/{}", "a".repeat(26))).await;
        she.inspect(&format!("{place}-gone")).await;
    }
    // The browser itself notes that they are gone.
    let gone = browser.console_errors().await;
    assert!(gone.iter().all(|message| message.contains("a status of 4")), "{gone:#?}");
    she.open("/").await;
    browser.click(&browser.first("a.pick", "Brow lamination").await.unwrap()).await;
    browser.click(&browser.first("button.slot", "").await.unwrap()).await;
    for (label, value) in [
        ("Your name", "Odalie Brackenmoor"),
        ("Your mail", "odalie@clients.example.org"),
        ("Your phone", "020 555 0143"),
        ("Day", "4"),
        ("Month", "10"),
        ("Year", "1985"),
    ] {
        browser.fill(label, value).await;
    }
    browser.press("Go on to the health questions").await;
    browser.press("Stop here and mail me a link to go on").await;
    she.inspect("stopped").await;
    let letter = server.mail("odalie@clients.example.org", "/go-on/").await;
    browser.open(letter.split_whitespace().find(|word| word.contains("/go-on/")).unwrap()).await;
    she.inspect("go-on").await;
    browser.press("Go on").await;
    she.inspect("go-on-refused").await;
    let found = she.leave().await;
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// Each step of a booking, and how it looks when it is refused.
async fn books(she: &Person<'_>) {
    let browser = &she.browser;
    she.open("/").await;
    browser.click(&browser.first("a.pick", "Lash lift and tint").await.unwrap()).await;
    browser.click(&browser.first("button.slot", "").await.unwrap()).await;
    she.inspect("second-time").await;
    browser.click(&browser.first("button.slot", "").await.unwrap()).await;
    she.inspect("details").await;
    browser.press("Go on to the health questions").await;
    she.inspect("details-refused").await;
    for (label, value) in [
        ("Your name", "Odalie Brackenmoor"),
        ("Your mail", "odalie@clients.example.org"),
        ("Your phone", "020 555 0199"),
        ("Day", "4"),
        ("Month", "9"),
        ("Year", "1985"),
    ] {
        browser.fill(label, value).await;
    }
    browser.press("Go on to the health questions").await;
    browser.press("Go on").await;
    she.inspect("questions-refused").await;
    while browser.first("button", "No to everything").await.is_some() {
        browser.press("No to everything that I left open").await;
    }
    she.inspect("sign").await;
}

async fn client(server: &Server) -> Vec<String> {
    let she = Person::new(server, "client").await;
    let mail = &server.sign_in("client").mail;
    she.open("/me").await;
    she.browser.fill("Your mail", mail).await;
    she.browser.press("Send me a link").await;
    she.inspect("link-sent").await;
    let letter = server.mail(mail, "/sign-in/").await;
    she.browser.open(letter.split_whitespace().find(|word| word.contains("/sign-in/")).unwrap()).await;
    she.inspect("link").await;
    she.browser.press("Sign in").await;
    she.inspect_all(&plain(Who::Client)).await;
    she.look_behind("/me", "/me/papers/", "paper").await;
    she.open("/me/agreements?back=treatment").await;
    she.inspect("take-back").await;
    she.look_behind("/me", "/me/visits/", "visit").await;
    let address = she.browser.address().await;
    let (visit, _) = address.rsplit_once('/').unwrap();
    for page in ["move", "cancel", "earlier", "needs"] {
        she.open(&format!("{visit}/{page}")).await;
        she.inspect(page).await;
    }
    she.leave().await
}

async fn practitioner(server: &Server) -> Vec<String> {
    let she = Person::of_team(server, "practitioner").await;
    she.inspect_all(&plain(Who::AtTheDoor)).await;
    she.inspect_all(&plain(Who::Practitioner)).await;
    she.look_behind("/desk", "/desk/visits/", "visit").await;
    let visit = she.browser.address().await;
    for page in ["arrange", "photos"] {
        she.open(&format!("{visit}/{page}")).await;
        she.inspect(page).await;
    }
    she.open("/desk/calendar?view=week").await;
    she.inspect("week").await;
    she.open("/desk/book").await;
    she.browser.fill("What", "Lash lift").await;
    she.browser.press("Show free times").await;
    she.inspect("book-times").await;
    she.browser.click(&she.browser.first("button.slot", "").await.unwrap()).await;
    she.inspect("book-who").await;
    she.look_behind("/desk/clients", "/desk/clients/", "record").await;
    let record = she.browser.address().await;
    for page in ["growth", "skin-test", "letters", "reaction"] {
        she.open(&format!("{record}/{page}")).await;
        she.inspect(page).await;
    }
    she.open(&format!("{record}/reaction")).await;
    she.browser.tick("Swollen lids").await;
    she.browser.press("Write the report").await;
    she.inspect("report").await;
    she.look_behind(&record, &format!("{record}/consents/"), "consent").await;
    she.look_behind(&record, "/desk/treatments/", "correction").await;
    she.leave().await
}

async fn owner(server: &Server) -> Vec<String> {
    let she = Person::of_team(server, "owner").await;
    she.inspect_all(&plain(Who::Owner)).await;
    she.open("/owner/exports").await;
    she.browser.press("Make the package").await;
    she.inspect("exports-refused").await;
    she.browser.choose("Whose records?", "Each client with a visit between two days").await;
    for day in ["First day (optional)", "Last day (optional)"] {
        she.browser.fill(day, "2026-03-02").await;
    }
    she.browser.fill("Why", "A day's records, to look at the list of packages").await;
    she.browser.press("Make the package").await;
    she.inspect("exports-made").await;
    for list in ["practitioners", "rooms", "products", "services"] {
        let list = format!("/owner/{list}");
        she.look_behind(&list, &format!("{list}/"), &format!("one-of-{}", list.trim_start_matches("/owner/"))).await;
    }
    let service = she.browser.address().await;
    for page in ["rule", "cycle", "steps"] {
        she.open(&format!("{service}/{page}")).await;
        she.inspect(page).await;
    }
    she.leave().await
}

#[tokio::test]
async fn the_owner_edits_the_rules_and_a_label_on_accessible_pages() {
    let server = Server::demo(NOW).await;
    let she = Person::of_team(&server, "owner").await;
    let browser = &she.browser;
    she.open("/owner/rules").await;
    browser.press("Start a draft from this version").await;
    she.inspect("rules-draft").await;
    let draft = "/owner/rules/draft";
    for (path, page) in [
        ("rules/dye_reaction", "rules-guarded"),
        ("questions/dry_eye_care", "rules-question"),
        ("questions/contacts/rule", "rules-new-rule"),
        ("sections/health/question", "rules-new-question"),
    ] {
        she.open(&format!("{draft}/{path}")).await;
        she.inspect(page).await;
    }
    browser.press("Keep in the draft").await;
    she.inspect("rules-new-question-refused").await;
    she.open(&format!("{draft}/rules/contacts")).await;
    browser.choose("What does it mean?", "Ask: the practitioner asks and decides").await;
    browser.press("Keep in the draft").await;
    she.inspect("rules-draft-changed").await;
    she.open(&format!("{draft}/publish")).await;
    browser.fill("Why is it changed?", "Our insurer asks for a talk about lenses").await;
    she.inspect("rules-publish").await;
    browser.press("Publish: it counts for everybody from now on").await;
    browser.assert_shows("Version 2 is in force.").await;
    she.open("/owner/rules/versions/1").await;
    she.inspect("rules-old").await;
    she.look_behind("/owner/products", "/owner/products/", "rules-product").await;
    she.open(&format!("{}/label", browser.address().await)).await;
    she.inspect("label").await;
    let found = she.leave().await;
    assert!(found.is_empty(), "{}", found.join("\n"));
}
