//! Who calls, and who is written down as having acted.

use serde::{Deserialize, Serialize};

use super::ids::{AccountId, ClientId, PractitionerId};

/// The role of an account.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Sets the studio up, sees everything, exports.
    Owner,
    /// Treats clients.
    Practitioner,
}

impl Role {
    /// The word that the database uses.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Owner => "owner",
            Self::Practitioner => "practitioner",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        [Self::Owner, Self::Practitioner].into_iter().find(|role| role.as_str() == word)
    }
}

/// Who may call a route. The guard of every route is one of these.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Who {
    /// Everybody.
    Anyone,
    /// A client who is signed in.
    Client,
    /// A practitioner or the owner who has given her password, whatever else is still asked of her.
    AtTheDoor,
    /// A practitioner or the owner, signed in.
    Practitioner,
    /// The owner alone, signed in.
    Owner,
}

/// A practitioner or the owner, signed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// The account.
    pub account: AccountId,
    /// Its role.
    pub role: Role,
    /// The name in the audit and on pages.
    pub name: String,
    /// The practitioner it treats as, when it treats.
    pub practitioner: Option<PractitionerId>,
}

/// Whoever an audit row names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Actor {
    /// Nobody signed in.
    Visitor,
    /// A client.
    Client(ClientId),
    /// A practitioner or the owner.
    Member(Member),
    /// A job of the program.
    Program,
    /// Somebody at the command line.
    Command,
}

impl Actor {
    /// Kind, id and name as the audit holds them. A client's name stays out: her id is enough, and it can be erased.
    pub fn columns(&self) -> (&'static str, &str, &str) {
        match self {
            Self::Visitor => ("visitor", "", ""),
            Self::Client(id) => ("client", id.as_str(), ""),
            Self::Member(member) => (member.role.as_str(), member.account.as_str(), &member.name),
            Self::Program => ("program", "", ""),
            Self::Command => ("command", "", ""),
        }
    }
}

/// What happened to somebody's sign-in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum News {
    /// It was used in a browser that it was not used in before.
    NewBrowser {
        /// The kind of device.
        device: String,
    },
    /// Her password was right, and several codes after it were wrong.
    CodesRefused,
    /// She changed her password.
    PasswordChanged,
    /// The owner set a new first password.
    PasswordRenewed,
    /// A second factor was set up.
    SecondFactorSetUp,
    /// The second factor was taken away.
    SecondFactorForgotten,
    /// There are new recovery codes.
    RecoveryCodesMade,
    /// A recovery code was used.
    RecoveryCodeUsed {
        /// How many are left.
        left: i64,
    },
    /// A passkey was added.
    PasskeyAdded {
        /// What she calls it.
        name: String,
    },
    /// A passkey was removed.
    PasskeyRemoved {
        /// What she called it.
        name: String,
    },
    /// A passkey's counter went back, and it was refused.
    PasskeyCopied {
        /// What she calls it.
        name: String,
    },
    /// There is a new address at which a calendar program reads her visits.
    FeedMade,
    /// The address ended with her sign-ins.
    FeedEnded,
    /// A calendar elsewhere was set whose busy times count for her.
    OutsideSet,
}

/// How long a session may rest and how long it may last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stay {
    /// It ends when it was not used for so long.
    pub idle: time::Duration,
    /// It ends after so long in any case.
    pub longest: time::Duration,
}

impl Stay {
    /// Of the team: the figures of NIST's draft SP 800-63B-4 for AAL2, from memory.
    pub const TEAM: Self = Self { idle: time::Duration::minutes(30), longest: time::Duration::hours(12) };
    /// How long a password or a code, given once more, is enough for what is grave; our own choice.
    pub const PROOF: time::Duration = time::Duration::minutes(10);
    /// Of a client; our own choice.
    pub const CLIENT: Self = Self { idle: time::Duration::minutes(60), longest: time::Duration::hours(24) };
}
