//! One kind of person at her browser, and what was wrong with the pages that she saw.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

use axum::http::Method;
use palpebra::domain::role::Who;

use super::places::{self, Walk};
use crate::support::{Browser, Server, route};

/// Where pictures go and what a finding begins with: `full`, `names`, `empty`, `hostile`.
pub(crate) type State = &'static str;

pub(crate) struct Person {
    pub(crate) browser: Browser,
    origin: String,
    who: &'static str,
    state: State,
    found: RefCell<Vec<String>>,
    /// The kinds of address that lead somewhere.
    known: RefCell<BTreeSet<String>>,
    /// The routes that she has looked at, with an address of each.
    seen: RefCell<BTreeMap<&'static str, String>>,
}

impl Person {
    pub(crate) async fn new(origin: &str, who: &'static str, state: State) -> Self {
        let she = Self {
            browser: Browser::new().await,
            origin: origin.trim_end_matches('/').to_owned(),
            who,
            state,
            found: RefCell::default(),
            known: RefCell::default(),
            seen: RefCell::default(),
        };
        she.hold_device().await;
        she
    }

    /// Clients come with a phone, the team sits at a desk.
    async fn hold_device(&self) {
        let client = ["visitor", "client"].contains(&self.who);
        self.browser.set_width(if client { 320 } else { 1280 }).await;
    }

    /// A practitioner or the owner of the demo, signed in.
    pub(crate) async fn of_team(server: &Server, who: &'static str, state: State) -> Self {
        let sign_in = server.sign_in(who);
        Self::signed_in(&server.url(""), who, state, (&sign_in.mail, &sign_in.password)).await
    }

    pub(crate) async fn signed_in(origin: &str, who: &'static str, state: State, with: (&str, &str)) -> Self {
        let she = Self::new(origin, who, state).await;
        she.open("/team/sign-in").await;
        she.browser.fill("Mail", with.0).await;
        she.browser.fill("Password", with.1).await;
        she.browser.press("Sign in").await;
        assert_eq!(she.browser.address().await, "/desk");
        she
    }

    pub(crate) fn url(&self, path: &str) -> String {
        format!("{}{path}", self.origin)
    }

    pub(crate) async fn open(&self, path: &str) {
        self.browser.open(&self.url(path)).await;
    }

    /// Looks at the page that is open.
    pub(crate) async fn inspect(&self, page: &str) {
        let address = self.browser.address().await;
        let path = address.split('?').next().unwrap();
        if let Some(route) = route(&Method::GET, path) {
            self.seen.borrow_mut().entry(route.path).or_insert_with(|| address.clone());
        }
        let mut wrong = Vec::new();
        if ["visitor", "client"].contains(&self.who) && !path.starts_with("/team/") {
            wrong.extend(self.browser.too_heavy().await);
            wrong.extend(self.browser.shifts().await);
        }
        let mut known = self.known.take();
        wrong.extend(self.browser.dead_ends(&mut known).await);
        self.known.replace(known);
        let named = wrong.into_iter().map(|wrong| format!("{} {}-{page}: {wrong}", self.state, self.who));
        let mut problems = self.browser.problems(&format!("pages/{}/{}-{page}", self.state, self.who)).await;
        if self.state == "full" {
            let unmet = self.browser.wishes_unmet().await;
            problems.extend(unmet.into_iter().map(|problem| format!("{}-{page}: {problem}", self.who)));
        }
        self.found.borrow_mut().extend(named.chain(problems));
        self.hold_device().await;
    }

    pub(crate) async fn inspect_at(&self, path: &str, page: &str) {
        self.open(path).await;
        assert_eq!(self.browser.address().await, path, "{} is sent elsewhere", self.who);
        self.inspect(page).await;
    }

    /// Looks at these pages and at whatever links from them lead to, one page of each route.
    pub(crate) async fn look_around(&self, paths: &[&str]) {
        self.go_around(paths, async |pattern, path| self.inspect_at(path, &named(pattern)).await).await;
    }

    /// Opens the same pages as [`Self::look_around`] would, and gives those on which a text is to be read.
    pub(crate) async fn pass_by(&self, paths: &[&str], text: &str) -> Vec<String> {
        let found = RefCell::new(Vec::new());
        self.go_around(paths, async |_, path| {
            self.open(path).await;
            let script = "return document.body.innerText.includes(arguments[0])";
            if self.browser.client.execute(script, vec![text.into()]).await.unwrap() == true {
                found.borrow_mut().push(path.to_owned());
            }
        })
        .await;
        found.into_inner()
    }

    async fn go_around(&self, paths: &[&str], look: impl AsyncFn(&'static str, &str)) {
        let mut waiting: VecDeque<String> = paths.iter().map(|path| (*path).to_owned()).collect();
        let mut taken: BTreeSet<&str> = paths.iter().filter_map(|path| Some(route(&Method::GET, path)?.path)).collect();
        while let Some(path) = waiting.pop_front() {
            let pattern = route(&Method::GET, &path).unwrap().path;
            look(pattern, &path).await;
            for link in self.links().await {
                let Some(route) = route(&Method::GET, &link) else { continue };
                // To a visitor a client's page is the door to it, which she has seen.
                if self.who == "visitor" && route.who == Who::Client {
                    continue;
                }
                if !places::is_no_page(route.path) && taken.insert(route.path) {
                    waiting.push_back(link);
                }
            }
        }
    }

    /// Where the links of the page lead, without their queries.
    async fn links(&self) -> Vec<String> {
        let script = "return [...document.querySelectorAll('main a[href]')]
            .filter(link => link.origin === location.origin && link.pathname !== location.pathname).map(link => link.pathname)";
        let links = self.browser.client.execute(script, vec![]).await.unwrap();
        links.as_array().unwrap().iter().map(|link| link.as_str().unwrap().to_owned()).collect()
    }

    /// Fills each form of the pages that she saw with what can't be right, and looks at how it is refused.
    pub(crate) async fn be_refused(&self) {
        let seen = self.seen.borrow().clone();
        let mut refused = 0;
        for (pattern, address) in seen {
            for n in 0.. {
                self.open(&address).await;
                let Some(status) = self.browser.send_nonsense(n).await else { break };
                assert!(status < 500, "{address}: {status}");
                if status == 422 {
                    refused += 1;
                    self.inspect(&format!("{}-refused-{n}", named(pattern))).await;
                }
            }
        }
        assert!(refused > 0, "no form was refused");
    }

    /// The first link of a page whose address begins so and has more after it.
    pub(crate) async fn first_link(&self, page: &str, beginning: &str) -> String {
        self.open(page).await;
        let links = self.links().await;
        let fits = |link: &&String| link.strip_prefix(beginning).is_some_and(|id| !id.is_empty() && id != "new");
        links.iter().find(fits).unwrap_or_else(|| panic!("no link to {beginning} on {page}: {links:?}")).clone()
    }

    /// Ends the walk: nothing was wrong, and each page that it is there for was seen.
    pub(crate) async fn leave(self, walk: Walk) {
        let missed: Vec<_> =
            places::of(walk).into_iter().filter(|path| !self.seen.borrow().contains_key(path)).collect();
        let mut found = self.found.take();
        found.extend(missed.into_iter().map(|path| format!("{} {} did not see {path}", self.state, self.who)));
        assert!(found.is_empty(), "{}", found.join("\n"));
        self.browser.close().await;
    }
}

/// A route's pattern as the name of a folder.
fn named(pattern: &str) -> String {
    let words: Vec<_> = pattern.split('/').filter(|word| !word.is_empty()).collect();
    if words.is_empty() { "start".to_owned() } else { words.join("-").replace(['{', '}'], "") }
}
