//! Public ids: 128 random bits in 26 lower-case base32 letters, never a row number.

use std::fmt;

/// Why a text is not an id.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("an id has 26 letters of a-z and 2-7")]
pub struct IdRefused;

const LENGTH: usize = 26;

fn well_formed(text: &str) -> bool {
    text.len() == LENGTH && text.bytes().all(|b| matches!(b, b'a'..=b'z' | b'2'..=b'7'))
}

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// Takes 128 bits from the caller's source of randomness.
            pub fn from_random(bits: [u8; 16]) -> Self {
                Self(data_encoding::BASE32_NOPAD.encode(&bits).to_ascii_lowercase())
            }

            /// Reads an id.
            ///
            /// # Errors
            /// [`IdRefused`] when the text has another length or other letters.
            pub fn parse(text: &str) -> Result<Self, IdRefused> {
                if well_formed(text) { Ok(Self(text.to_owned())) } else { Err(IdRefused) }
            }

            /// The id as it stands in the database and in paths.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl TryFrom<String> for $name {
            type Error = IdRefused;
            fn try_from(text: String) -> Result<Self, IdRefused> {
                Self::parse(&text)
            }
        }

        impl From<$name> for String {
            fn from(id: $name) -> String {
                id.0
            }
        }
    )+};
}

ids! {
    /// A sign-in of the owner or of a practitioner.
    AccountId,
    /// Somebody who treats.
    PractitionerId,
    /// Somebody who is treated.
    ClientId,
    /// A room or chair.
    RoomId,
    /// A letter that asks a client back.
    InvitationId,
    /// A service on offer.
    ServiceId,
    /// A product in the register.
    ProductId,
    /// A visit, held or booked.
    VisitId,
    /// A booking that is being filled in.
    DraftId,
    /// One set of health answers.
    AnswersId,
    /// A signed consent.
    ConsentId,
    /// A skin test.
    SkinTestId,
    /// A treatment record.
    TreatmentId,
    /// A span of days off.
    TimeOffId,
    /// Other hours on one day.
    DayHoursId,
    /// A stretch that is blocked.
    BlockId,
    /// A wish for an earlier time.
    WishId,
    /// An earlier time that is kept for somebody.
    OfferId,
    /// A letter from a clinician.
    LetterId,
    /// A file that is kept with a record.
    FileId,
    /// A reaction.
    ReactionId,
    /// An export package.
    ExportId,
    /// A certificate or the insurance policy.
    PaperId,
    /// A file that is being taken over.
    TakeoverId,
    /// A visit from before, taken over.
    PastVisitId,
    /// A hold on a client's records.
    HoldId,
    /// A list of what may leave.
    RetentionListId,
    /// A mail in the outbox.
    MailId,
    /// A key on a device of the team.
    PasskeyId,
    /// One press at the chair, made where it was pressed.
    ChairEventId,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_reads_back_as_itself() {
        let id = ClientId::from_random([7; 16]);
        assert_eq!(ClientId::parse(id.as_str()), Ok(id));
    }

    #[test]
    fn other_texts_are_refused() {
        for text in ["", "1", "A2345672345672345672345672", "a b", "é2345672345672345672345672"] {
            assert_eq!(ClientId::parse(text), Err(IdRefused), "{text}");
        }
    }
}
