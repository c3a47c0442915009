//! What every page knows, and how a page struct becomes a response.

use std::fmt;
use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};

use crate::app::App;
use crate::documents::svg::Picture;
use crate::domain::role::Role;
use crate::language::Language;
use crate::store::studio::Studio;
use crate::web::assets;
use crate::web::error::Fault;
use crate::web::face;
use crate::web::session::{self, Seen};
use crate::{msg, t};

/// An entry of the navigation.
#[derive(Debug, Clone)]
pub struct NavItem {
    /// Where it leads.
    pub href: &'static str,
    /// What it says.
    pub label: &'static str,
    /// Whether this page is it.
    pub current: bool,
}

/// What the layout shows around every page.
#[derive(Clone)]
pub struct Ctx {
    /// The studio's name.
    pub studio_name: String,
    /// The form token.
    pub csrf: String,
    /// Whether all of this is invented.
    pub demo: bool,
    /// The navigation.
    pub nav: Vec<NavItem>,
    /// Who is signed in here.
    pub person: Option<String>,
    /// The studio's phone, for the help line.
    pub help_phone: String,
    /// The studio's mail, for the help line.
    pub help_mail: String,
    /// A line above the page, such as "Saved."
    pub notice: Option<String>,
    /// Nothing was saved, since somebody changed the same meanwhile.
    pub overtaken: bool,
    /// The page's language.
    pub lang: &'static str,
    /// The stylesheet.
    pub css_href: String,
    /// The studio's logo.
    pub logo: Option<face::Logo>,
    /// The script.
    pub js_href: String,
    /// `public`, `client`, `practitioner` or `owner`.
    pub area: &'static str,
    /// Where the button to sign out posts.
    pub sign_out: &'static str,
    /// The request's id.
    pub request_id: String,
    /// Who asks.
    pub seen: Arc<Seen>,
}

const PUBLIC: &[(&str, &str)] = &[("/", msg("Book")), ("/me", msg("My visits")), ("/privacy", msg("Privacy"))];
const DESK: &[(&str, &str)] =
    &[("/desk", msg("Today")), ("/desk/calendar", msg("Calendar")), ("/desk/clients", msg("Clients"))];
const OWNER: &[(&str, &str)] = &[
    ("/desk", msg("Today")),
    ("/desk/calendar", msg("Calendar")),
    ("/desk/clients", msg("Clients")),
    ("/owner/retouch", msg("Retouch")),
    ("/owner/exports", msg("Records")),
    ("/owner", msg("Set-up")),
];

impl Ctx {
    /// For the page that was asked for.
    pub fn new(seen: Arc<Seen>) -> Self {
        let path = seen.path.as_str();
        let team = is_under(path, "/desk") || is_under(path, "/owner") || is_under(path, "/team");
        let owner = seen.member.as_ref().is_some_and(|member| member.role == Role::Owner);
        let (area, entries) = match (team, &seen.member) {
            (true, Some(_)) if owner => (if is_under(path, "/owner") { "owner" } else { "practitioner" }, OWNER),
            (true, Some(_)) => ("practitioner", DESK),
            (true, None) => ("practitioner", &[][..]),
            (false, _) => (if is_under(path, "/me") { "client" } else { "public" }, PUBLIC),
        };
        let best = entries.iter().filter(|(href, _)| is_under(path, href)).map(|(href, _)| href.len()).max();
        let nav = entries.iter().map(|&(href, label)| NavItem {
            href,
            label: t(label),
            current: is_under(path, href) && Some(href.len()) == best && (href != "/" || path == "/"),
        });
        let person = if team {
            seen.member.as_ref().map(|m| m.name.clone())
        } else {
            seen.client.as_ref().map(|(_, name)| name.clone())
        };
        let studio = seen.studio.as_deref();
        Self {
            studio_name: studio.map_or_else(|| "Palpebra".to_owned(), |s| s.name.clone()),
            csrf: seen.form_token(team),
            demo: studio.is_some_and(|s| s.demo),
            nav: nav.collect(),
            person,
            help_phone: studio.map(|s| s.phone.clone()).unwrap_or_default(),
            help_mail: studio.map(|s| s.mail.clone()).unwrap_or_default(),
            notice: None,
            overtaken: false,
            lang: Language::spoken().code(),
            css_href: face::css_href(studio),
            logo: studio.and_then(face::logo_of),
            js_href: assets::href("app.js"),
            area,
            sign_out: if team { "/team/sign-out" } else { "/sign-out" },
            request_id: seen.request_id.clone(),
            seen,
        }
    }

    /// The studio.
    ///
    /// # Errors
    /// Leads to the set-up page as long as there is none.
    pub fn studio(&self) -> Result<&Studio, Fault> {
        self.seen.studio.as_deref().ok_or(Fault::SeeOther("/set-up".to_owned()))
    }

    /// The same for a session whose token has just become another.
    #[must_use]
    pub fn renewed(mut self, team_token: &str) -> Self {
        self.csrf = session::form_token(team_token);
        self
    }

    /// With the word that somebody changed the same meanwhile.
    #[must_use]
    pub fn overtaken(self) -> Self {
        Self { overtaken: true, ..self }
    }

    /// With a line above the page.
    #[must_use]
    pub fn saying(mut self, notice: Option<&str>) -> Self {
        self.notice = notice.map(str::to_owned);
        self
    }
}

fn is_under(path: &str, prefix: &str) -> bool {
    path.strip_prefix(prefix).is_some_and(|rest| rest.is_empty() || rest.starts_with('/') || prefix.ends_with('/'))
}

impl FromRequestParts<App> for Ctx {
    type Rejection = Fault;
    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Fault> {
        let seen = parts.extensions.get::<Arc<Seen>>().ok_or_else(|| Fault::internal("no session layer"))?;
        Ok(Self::new(seen.clone()))
    }
}

/// A page, with its status.
pub struct Page<T>(pub StatusCode, pub T);

impl<T> Page<T> {
    /// A page that answers what was asked.
    pub fn ok(page: T) -> Self {
        Self(StatusCode::OK, page)
    }

    /// The same page again, with what was typed and what is wrong with it.
    pub fn refused(page: T) -> Self {
        Self(StatusCode::UNPROCESSABLE_ENTITY, page)
    }

    /// The page again because something else was there first.
    pub fn conflict(page: T) -> Self {
        Self(StatusCode::CONFLICT, page)
    }
}

impl<T: askama::Template> IntoResponse for Page<T> {
    fn into_response(self) -> Response {
        match self.1.render() {
            Ok(text) => (self.0, Html(text)).into_response(),
            Err(error) => Fault::internal(error).into_response(),
        }
    }
}

/// A picture of ours, placed in a page as it is.
pub struct Drawing(String);

impl Drawing {
    /// The picture's element.
    pub fn of<Row>(picture: &Picture<Row>) -> Self {
        Self(picture.svg.clone())
    }
}

impl fmt::Display for Drawing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

// A picture escapes every text that it draws, and only a picture becomes a drawing.
impl askama::filters::HtmlSafe for Drawing {}

/// What a handler gives: a page or a redirect, or a fault.
pub type Answer = Result<Response, Fault>;

/// A file to be kept instead of shown.
pub fn attachment(media_type: &'static str, name: &str, content: impl IntoResponse) -> Response {
    let how = format!("attachment; filename=\"{name}\"");
    ([(header::CONTENT_TYPE, media_type.to_owned()), (header::CONTENT_DISPOSITION, how)], content).into_response()
}

/// A table for other programs.
pub fn csv(name: &str, content: Vec<u8>) -> Response {
    attachment("text/csv; charset=utf-8", name, content)
}

/// On to another page after a change.
pub fn see_other(path: &str) -> Response {
    Redirect::to(path).into_response()
}
