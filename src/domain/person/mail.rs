//! Where mail reaches somebody.

use crate::t;

/// A mail address: ASCII, at most 254 octets, the domain in lower case.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mail(String);

/// Why a text is not a mail address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MailRefused {
    /// Nothing but spaces.
    #[error("{}", t("a mail address is missing"))]
    Missing,
    /// Over 254 octets, or over 64 before the @ (RFC 5321 §4.5.3.1).
    #[error("{}", t("the mail address is too long"))]
    TooLong,
    /// A letter outside ASCII.
    #[error("{}", t("a mail address has only the letters a-z, digits and signs"))]
    NotAscii,
    /// Not one `@` with something on both sides.
    #[error("{}", t("a mail address is written like name@example.org"))]
    NoAt,
    /// What stands before the @ is not a dot-atom (RFC 5322 §3.2.3).
    #[error("{}", t("the part before the @ is not right"))]
    Name,
    /// What stands after the @ is not a domain of two labels or more (RFC 1035 §2.3.1).
    #[error("{}", t("the part after the @ is not right"))]
    Domain,
}

impl Mail {
    /// Reads a mail address. Quoted names and address literals, which nobody types into a form, are refused.
    ///
    /// # Errors
    /// See [`MailRefused`].
    pub fn parse(text: &str) -> Result<Self, MailRefused> {
        let text = text.trim();
        if text.is_empty() {
            return Err(MailRefused::Missing);
        }
        if text.len() > 254 {
            return Err(MailRefused::TooLong);
        }
        if !text.is_ascii() {
            return Err(MailRefused::NotAscii);
        }
        let (name, domain) = text.split_once('@').ok_or(MailRefused::NoAt)?;
        if name.is_empty() || domain.is_empty() || domain.contains('@') {
            return Err(MailRefused::NoAt);
        }
        if name.len() > 64 {
            return Err(MailRefused::TooLong);
        }
        let atom = |b: u8| b.is_ascii_alphanumeric() || b"!#$%&'*+-/=?^_`{|}~".contains(&b);
        if !name.split('.').all(|part| !part.is_empty() && part.bytes().all(atom)) {
            return Err(MailRefused::Name);
        }
        let label = |part: &str| {
            (1..=63).contains(&part.len())
                && !part.starts_with('-')
                && !part.ends_with('-')
                && part.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-')
        };
        let top = domain.rsplit('.').next().unwrap_or_default();
        if !domain.contains('.') || !domain.split('.').all(label) || top.bytes().all(|b| b.is_ascii_digit()) {
            return Err(MailRefused::Domain);
        }
        Ok(Self(format!("{name}@{}", domain.to_ascii_lowercase())))
    }

    /// The address to send to.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The address to look people up by: lower case throughout. RFC 5321 §2.4 lets a host tell `A` from `a` before
    /// the @, but people do not.
    pub fn key(&self) -> String {
        self.0.to_ascii_lowercase()
    }
}
