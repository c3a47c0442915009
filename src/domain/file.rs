//! Files that are kept with a client's record: letters and photos.

/// What a file is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Purpose {
    /// A clinician's letter.
    Letter,
    /// How it looked before the treatment.
    Before,
    /// How it looked after the treatment.
    After,
    /// What a reaction looks like.
    Reaction,
    /// What a skin test looks like.
    SkinTest,
}

impl Purpose {
    /// Every purpose.
    pub const ALL: [Self; 5] = [Self::Letter, Self::Before, Self::After, Self::Reaction, Self::SkinTest];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Letter => "letter",
            Self::Before => "before",
            Self::After => "after",
            Self::Reaction => "reaction",
            Self::SkinTest => "skin_test",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|purpose| purpose.as_str() == word)
    }
}

/// What a kept file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A photo, written anew as JPEG whatever it came as.
    Jpeg,
    /// A PDF, kept byte for byte.
    Pdf,
}

impl Kind {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Jpeg, Self::Pdf];

    /// The word that the database uses, and the ending of a file's name.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Jpeg => "jpeg",
            Self::Pdf => "pdf",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }

    /// The media type (RFC 2046, RFC 8118).
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Pdf => "application/pdf",
        }
    }
}
