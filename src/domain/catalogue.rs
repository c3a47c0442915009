//! What the studio offers: kinds of service, the chemistry each brings near the eye.

use serde::{Deserialize, Serialize};

/// A kind of service. The studio names and prices its own services; each is of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ServiceKind {
    /// Lifting the client's own lashes with two lotions.
    LashLift,
    /// Tinting lashes.
    LashTint,
    /// A lift followed by a tint in one visit.
    LiftAndTint,
    /// Laminating brows with two lotions.
    BrowLamination,
    /// Tinting brows.
    BrowTint,
}

/// A family of chemicals that a rule may speak of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Chemistry {
    /// Lifting or laminating lotion.
    Lotion,
    /// Tint.
    Tint,
    /// Shield glue.
    Adhesive,
}

/// Where on the face a service works.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Area {
    /// The lashes.
    Lash,
    /// The brows.
    Brow,
}

impl Chemistry {
    /// Every family.
    pub const ALL: [Self; 3] = [Self::Lotion, Self::Tint, Self::Adhesive];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Lotion => "lotion",
            Self::Tint => "tint",
            Self::Adhesive => "adhesive",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|family| family.as_str() == word)
    }
}

impl ServiceKind {
    /// Every kind, in the order in which the studio's pages list them.
    pub const ALL: [Self; 5] =
        [Self::LashLift, Self::LashTint, Self::LiftAndTint, Self::BrowLamination, Self::BrowTint];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::LashLift => "lash_lift",
            Self::LashTint => "lash_tint",
            Self::LiftAndTint => "lift_and_tint",
            Self::BrowLamination => "brow_lamination",
            Self::BrowTint => "brow_tint",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }

    /// The chemicals that this kind brings near the eye. Lash lifts hold the lashes to a shield
    /// with glue, so they carry the adhesive rules too.
    pub fn chemistries(self) -> &'static [Chemistry] {
        match self {
            Self::LashLift => &[Chemistry::Lotion, Chemistry::Adhesive],
            Self::LashTint | Self::BrowTint => &[Chemistry::Tint],
            Self::LiftAndTint => &[Chemistry::Lotion, Chemistry::Tint, Chemistry::Adhesive],
            Self::BrowLamination => &[Chemistry::Lotion],
        }
    }

    /// Where it works.
    pub fn area(self) -> Area {
        match self {
            Self::LashLift | Self::LashTint | Self::LiftAndTint => Area::Lash,
            Self::BrowLamination | Self::BrowTint => Area::Brow,
        }
    }

    /// Whether a lift or lamination is part of it, so that the growth cycle speaks for lashes.
    pub fn lifts_lashes(self) -> bool {
        matches!(self, Self::LashLift | Self::LiftAndTint)
    }
}
