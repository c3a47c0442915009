//! Why records are taken out.

/// Why somebody takes records out of the studio: 1 to 500 characters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Why(String);

/// Why a text is no [`Why`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WhyRefused {
    /// There is nothing in it.
    #[error("a reason is needed")]
    Missing,
    /// It is longer than 500 characters.
    #[error("a reason has at most {} characters", Why::MOST)]
    TooLong,
    /// It holds a control character other than a line break or a tab.
    #[error("a reason holds no control characters")]
    Control,
}

impl Why {
    /// The most characters.
    pub const MOST: usize = 500;

    /// Reads a reason, without the spaces around it.
    ///
    /// # Errors
    /// [`WhyRefused`]
    pub fn parse(text: &str) -> Result<Self, WhyRefused> {
        let text = text.trim();
        if text.is_empty() {
            Err(WhyRefused::Missing)
        } else if text.chars().count() > Self::MOST {
            Err(WhyRefused::TooLong)
        } else if text.chars().any(|c| c.is_control() && c != '\n' && c != '\t') {
            Err(WhyRefused::Control)
        } else {
            Ok(Self(text.to_owned()))
        }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reason_is_there_and_not_a_book() {
        assert_eq!(Why::parse(" \n "), Err(WhyRefused::Missing));
        assert_eq!(Why::parse(&"é".repeat(501)), Err(WhyRefused::TooLong));
        assert_eq!(Why::parse("a\u{7}b"), Err(WhyRefused::Control));
        assert_eq!(Why::parse(&"é".repeat(500)).unwrap().as_str().chars().count(), 500);
        assert_eq!(Why::parse(" Claim 12\n").unwrap().as_str(), "Claim 12");
    }
}
