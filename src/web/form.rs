//! Forms: read once, checked for their token, refused by field.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::{FromRequest, Request};
use axum::http::header;

use crate::app::App;
use crate::web::error::Fault;
use crate::web::session::Seen;

mod files;

pub use files::{FormWithFile, Opened, Upload};

/// A name that may come more than once begins with this; any other that does makes the form a bad one,
/// since two readers could take it for two different things.
pub const MANY: &str = "many-";

/// The fields of a posted form whose token was right.
///
/// Values come with line ends as `\n` and without the control characters that no keyboard makes.
#[derive(Clone, Default)]
pub struct Fields(Vec<(String, String)>);

impl Fields {
    /// From pairs, for a form that is shown before it was ever posted.
    pub fn of(pairs: Vec<(String, String)>) -> Self {
        Self(pairs)
    }

    /// Reads the body of a form that carries no file.
    ///
    /// # Errors
    /// [`Fault::BadRequest`] when it is no such form, or has a field twice that may come once; [`Fault::TooLarge`].
    pub fn parse(body: &[u8]) -> Result<Self, Fault> {
        // The decoder would put a replacement character for bytes that are no UTF-8; a name changed that way
        // would stand in the records, so such a form is refused instead.
        let text = std::str::from_utf8(body).map_err(|_| Fault::BadRequest)?;
        let decoded = percent_decoded_is_utf8(text);
        if !decoded {
            return Err(Fault::BadRequest);
        }
        let pairs: Vec<(String, String)> = serde_urlencoded::from_str(text).map_err(|_| Fault::BadRequest)?;
        if pairs.len() > 600 {
            return Err(Fault::TooLarge);
        }
        checked(pairs)
    }

    /// A field's value, or nothing when it wasn't sent.
    pub fn get(&self, name: &str) -> &str {
        self.0.iter().find(|(key, _)| key == name).map_or("", |(_, value)| value)
    }

    /// A field's value without the spaces around it.
    pub fn trimmed(&self, name: &str) -> &str {
        self.get(name).trim()
    }

    /// Whether a box was ticked.
    pub fn ticked(&self, name: &str) -> bool {
        !self.get(name).is_empty()
    }

    /// All values of a name that may come more than once.
    pub fn many<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(key, _)| key == name).map(|(_, value)| value.as_str())
    }

    /// Whether one of the values of a name is this one.
    pub fn has(&self, name: &str, value: &str) -> bool {
        self.many(name).any(|one| one == value)
    }

    /// With a field in the place of the one of this name.
    #[must_use]
    pub fn with(self, name: &str, value: impl Into<String>) -> Self {
        let mut fields = self.without(name);
        fields.0.push((name.to_owned(), value.into()));
        fields
    }

    /// Without a field.
    #[must_use]
    pub fn without(mut self, name: &str) -> Self {
        self.0.retain(|(key, _)| key != name);
        self
    }

    /// All pairs but the token, to keep or to hand to a rule.
    pub fn pairs(&self) -> Vec<(String, String)> {
        self.0.iter().filter(|(key, _)| key != "csrf").cloned().collect()
    }
}

impl FromRequest<App> for Fields {
    type Rejection = Fault;

    async fn from_request(request: Request, app: &App) -> Result<Self, Fault> {
        let seen = seen(&request)?;
        let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or("");
        if !kind.starts_with("application/x-www-form-urlencoded") {
            return Err(Fault::WrongKind);
        }
        let body = Bytes::from_request(request, app).await.map_err(|rejection| match rejection.status().as_u16() {
            413 => Fault::TooLarge,
            _ => Fault::BadRequest,
        })?;
        let fields = Self::parse(&body)?;
        if seen.owns_form(fields.get("csrf")) { Ok(fields) } else { Err(Fault::ForeignForm) }
    }
}

/// Who sent it.
fn seen(request: &Request) -> Result<Arc<Seen>, Fault> {
    request.extensions().get::<Arc<Seen>>().cloned().ok_or_else(|| Fault::internal("no session layer"))
}

fn checked(pairs: Vec<(String, String)>) -> Result<Fields, Fault> {
    let mut names: Vec<&str> =
        pairs.iter().map(|(name, _)| name.as_str()).filter(|name| !name.starts_with(MANY)).collect();
    names.sort_unstable();
    if names.windows(2).any(|pair| pair.first() == pair.last()) {
        return Err(Fault::BadRequest);
    }
    let clean = pairs.into_iter().map(|(name, value)| (name, clean(&value))).collect();
    Ok(Fields(clean))
}

fn percent_decoded_is_utf8(text: &str) -> bool {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        if byte != b'%' {
            bytes.push(byte);
            continue;
        }
        let digits = [rest.next(), rest.next()].map(|digit| digit.and_then(|d| char::from(d).to_digit(16)));
        let [Some(high), Some(low)] = digits else { return false };
        bytes.push(u8::try_from(high * 16 + low).unwrap_or(0));
    }
    std::str::from_utf8(&bytes).is_ok()
}

fn clean(value: &str) -> String {
    let unified = value.replace("\r\n", "\n").replace('\r', "\n");
    unified.chars().filter(|c| *c == '\n' || *c == '\t' || !c.is_control()).collect()
}

/// What is wrong with a form, by field, in the words that stand beside it.
#[derive(Debug, Clone, Default)]
pub struct Errors(Vec<(String, String)>);

impl Errors {
    /// Nothing wrong yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Something is wrong with a field; the first word on it stands.
    pub fn add(&mut self, field: &str, words: impl Into<String>) {
        if self.of(field).is_none() {
            self.0.push((field.to_owned(), words.into()));
        }
    }

    /// Takes a parsed value, or notes why there is none.
    pub fn take<T, E>(&mut self, field: &str, parsed: Result<T, E>, words: impl Fn(&E) -> String) -> Option<T> {
        match parsed {
            Ok(value) => Some(value),
            Err(refusal) => {
                self.add(field, words(&refusal));
                None
            }
        }
    }

    /// Whether all is well.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// What stands beside a field.
    pub fn of(&self, field: &str) -> Option<&str> {
        self.0.iter().find(|(name, _)| name == field).map(|(_, words)| words.as_str())
    }

    /// Field and words, in the order of the form.
    pub fn list(&self) -> &[(String, String)] {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_repeated_field_makes_the_form_a_bad_one() {
        assert!(Fields::parse(b"a=1&a=2").is_err());
        assert_eq!(Fields::parse(b"many-a=1&many-a=2").unwrap().many("many-a").collect::<Vec<_>>(), ["1", "2"]);
    }

    #[test]
    fn bytes_that_are_no_text_are_refused_rather_than_replaced() {
        assert!(Fields::parse(b"a=%ff").is_err());
        assert!(Fields::parse(b"a=\xff").is_err());
        assert!(Fields::parse(b"a=%4").is_err());
        assert_eq!(Fields::parse(b"a=Zo%C3%AB+x").unwrap().get("a"), "Zoë x");
    }

    #[test]
    fn control_characters_go_and_line_ends_are_one() {
        assert_eq!(Fields::parse(b"a=x%00y%0D%0Az%1B").unwrap().get("a"), "xy\nz");
    }
}
