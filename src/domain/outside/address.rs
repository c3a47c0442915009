//! Where a calendar may be read from.

/// The address of a calendar: `https` alone.
#[derive(Clone, PartialEq, Eq)]
pub struct Address {
    url: String,
    host: String,
}

/// Why an address is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{}", crate::t("a calendar is read over https"))]
pub struct AddressRefused;

impl Address {
    /// The longest address.
    pub const MOST: usize = 2000;

    /// Takes `https://…`; `webcal://…` means the same.
    ///
    /// # Errors
    /// [`AddressRefused`] for another scheme, a missing host, a user name, or characters that no address has.
    pub fn parse(text: &str) -> Result<Self, AddressRefused> {
        let text = text.trim();
        let lower = text.get(..9).unwrap_or(text).to_ascii_lowercase();
        let rest = match () {
            () if lower.starts_with("https://") => text.get(8..),
            () if lower.starts_with("webcal://") => text.get(9..),
            () => None,
        };
        let rest = rest.filter(|rest| rest.len() <= Self::MOST).ok_or(AddressRefused)?;
        let end = rest.find(['/', '?', '#']).unwrap_or(rest.len());
        let host = rest.get(..end).unwrap_or_default();
        let fine =
            |b: u8| b.is_ascii_graphic() && !matches!(b, b'"' | b'<' | b'>' | b'\\' | b'^' | b'`' | b'{' | b'}' | b'|');
        if host.is_empty() || host.contains('@') || !rest.bytes().all(fine) {
            return Err(AddressRefused);
        }
        let rest = rest.split('#').next().unwrap_or_default();
        Ok(Self { url: format!("https://{rest}"), host: host.to_owned() })
    }

    /// The whole address. It is a secret: whoever has it can read the calendar.
    pub fn as_str(&self) -> &str {
        &self.url
    }

    /// The host, with its port where it has one.
    pub fn host(&self) -> &str {
        &self.host
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_https_is_taken() {
        let address = Address::parse(" webcal://cal.example.org:8443/u/secret.ics?x=1#top ").unwrap();
        assert_eq!(
            (address.as_str(), address.host()),
            ("https://cal.example.org:8443/u/secret.ics?x=1", "cal.example.org:8443")
        );
        assert!(Address::parse("HTTPS://example.org").is_ok());
        for text in [
            "",
            "http://example.org/a.ics",
            "file:///etc/passwd",
            "https://",
            "https:///a",
            "https://me:pw@example.org/a",
            "https://example.org/a b",
            "https://example.org/\r\nHost: x",
            "ftp://example.org",
        ] {
            assert_eq!(Address::parse(text).err(), Some(AddressRefused), "{text:?}");
        }
    }

    #[test]
    fn an_address_may_be_as_long_as_its_limit() {
        let of = |length: usize| Address::parse(&format!("webcal://a.org/{}", "x".repeat(length - "a.org/".len())));
        assert!(of(Address::MOST).is_ok());
        assert_eq!(of(Address::MOST + 1).err(), Some(AddressRefused));
    }
}
