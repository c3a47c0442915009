//! Which walk looks at which page. A page that stands in no list here is looked at by the walk of those whom it is for, so
//! a new route is missed by its walk until it links to it.

use std::collections::BTreeSet;

use axum::http::Method;
use palpebra::domain::role::Who;
use palpebra::web::routes;

/// A walk through the pages of one kind of person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Walk {
    Visitor,
    /// What the links of letters lead to.
    Letters,
    Client,
    Practitioner,
    Owner,
    /// The owner edits the health questions.
    Rules,
    /// From a server without a studio to an owner who is signed in.
    SetUp,
    /// A practitioner whose password is a first one.
    FirstPassword,
    /// Pages that other walks of the same kind of person have seen already.
    Again,
}

/// No page: the route, and what it is instead.
const NO_PAGES: [(&str, &str); 21] = [
    ("/healthz", "for machines"),
    ("/static/{stamp}/{name}", "a file"),
    ("/static/{name}", "a file"),
    ("/face/{stamp}/app.css", "a file"),
    ("/face/{stamp}/logo.jpg", "a file"),
    ("/favicon.ico", "leads to a file"),
    ("/.well-known/security.txt", "plain text"),
    ("/calendar/{token}", "a calendar file"),
    ("/me/visits/{id}/calendar.ics", "a calendar file"),
    ("/me/files/{id}", "a picture"),
    ("/me/files/{id}/small", "a picture"),
    ("/desk/files/{id}", "a picture"),
    ("/desk/files/{id}/small", "a picture"),
    ("/desk/reactions/{id}/report.pdf", "a PDF"),
    ("/owner/trace/list.csv", "a table"),
    ("/owner/retouch/list.csv", "a table"),
    ("/owner/takings/list.csv", "a table"),
    ("/owner/papers/{id}/file", "a picture or a PDF"),
    ("/owner/exports/{id}/package.zip", "a package"),
    ("/me/data/copies/{id}/my-data.zip", "a package"),
    ("/book/{id}", "leads to the step of the booking that is next"),
];

/// Pages that another walk than that of their people looks at.
const ELSEWHERE: [(&str, Walk); 23] = [
    ("/set-up", Walk::SetUp),
    ("/team/code", Walk::SetUp),
    ("/team/second-factor", Walk::SetUp),
    ("/team/passkey", Walk::SetUp),
    ("/tell-us/{token}", Walk::Letters),
    ("/go-on/{token}", Walk::Letters),
    ("/book/{id}/later", Walk::Letters),
    ("/book/{id}/time", Walk::Letters),
    ("/earlier/{token}", Walk::Letters),
    ("/invited/{token}", Walk::Letters),
    ("/unsubscribe/{token}", Walk::Letters),
    ("/sign-in/{token}", Walk::Client),
    ("/book/{id}/answers", Walk::Client),
    ("/me/skin-tests/{id}", Walk::Letters),
    ("/team/password", Walk::FirstPassword),
    ("/me/visits/{id}/sign", Walk::Client),
    ("/owner/rules/versions/{n}", Walk::Rules),
    ("/owner/rules/draft", Walk::Rules),
    ("/owner/rules/draft/publish", Walk::Rules),
    ("/owner/rules/draft/rules/{key}", Walk::Rules),
    ("/owner/rules/draft/questions/{key}", Walk::Rules),
    ("/owner/rules/draft/questions/{key}/rule", Walk::Rules),
    ("/owner/rules/draft/sections/{key}/question", Walk::Rules),
];

pub(crate) fn is_no_page(path: &str) -> bool {
    NO_PAGES.iter().any(|(one, _)| *one == path)
}

fn walk(path: &str, who: Who) -> Walk {
    let usual = match who {
        Who::Anyone => Walk::Visitor,
        Who::Client => Walk::Client,
        Who::AtTheDoor | Who::Practitioner => Walk::Practitioner,
        Who::Owner => Walk::Owner,
    };
    ELSEWHERE.iter().find(|(one, _)| *one == path).map_or(usual, |(_, walk)| *walk)
}

fn pages() -> impl Iterator<Item = (&'static str, Who)> {
    let routes = routes::table().into_iter().filter(|route| route.method == Method::GET && !is_no_page(route.path));
    routes.map(|route| (route.path, route.who))
}

/// The pages that a walk has to see.
pub(crate) fn of(wanted: Walk) -> Vec<&'static str> {
    pages().filter(|(path, who)| walk(path, *who) == wanted).map(|(path, _)| path).collect()
}

/// Those whose address needs no id.
pub(crate) fn plain(wanted: Walk) -> Vec<&'static str> {
    of(wanted).into_iter().filter(|path| !path.contains('{') && *path != "/desk/book/who").collect()
}

#[test]
fn every_page_has_a_walk_that_sees_it() {
    let table: BTreeSet<_> = routes::table().into_iter().filter(|r| r.method == Method::GET).map(|r| r.path).collect();
    let named: Vec<_> = NO_PAGES.iter().map(|(path, _)| *path).chain(ELSEWHERE.iter().map(|(path, _)| *path)).collect();
    for path in &named {
        assert!(table.contains(path), "{path} is no route");
    }
    assert_eq!(named.iter().collect::<BTreeSet<_>>().len(), named.len(), "one stands in two lists");
    assert!(NO_PAGES.iter().all(|(_, why)| !why.is_empty()));
    let walks = [
        Walk::Visitor,
        Walk::Letters,
        Walk::Client,
        Walk::Practitioner,
        Walk::Owner,
        Walk::Rules,
        Walk::SetUp,
        Walk::FirstPassword,
    ];
    let seen: usize = walks.into_iter().map(|walk| of(walk).len()).sum();
    assert_eq!(seen + NO_PAGES.len(), table.len());
    assert!(of(Walk::Again).is_empty());
}
