//! Letters from clinicians: what they cover, and until when.

use std::collections::BTreeSet;
use std::fmt;

use serde::{Deserialize, Serialize};
use time::Date;

use super::catalogue::ServiceKind;
use super::fingerprint::Fingerprint;
use super::ids::LetterId;
use super::iso;
use super::person::is_control;

/// The longest clinician's name, in characters.
pub const CLINICIAN_MAX: usize = 120;

/// A clinician's letter: it satisfies only what its scope says.
///
/// `Debug` shows the id only: the rest is health data.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Letter {
    id: LetterId,
    clinician: String,
    #[serde(with = "iso::day")]
    dated: Date,
    #[serde(with = "iso::day")]
    expires: Date,
    questions: BTreeSet<String>,
    services: BTreeSet<ServiceKind>,
    file: Fingerprint,
}

/// What is typed in from a letter.
#[derive(Clone, PartialEq, Eq)]
pub struct LetterDraft {
    /// Its id.
    pub id: LetterId,
    /// Who signed it.
    pub clinician: String,
    /// The day it was written.
    pub dated: Date,
    /// The last day on which it counts.
    pub expires: Date,
    /// The questions that it speaks to, by key.
    pub questions: BTreeSet<String>,
    /// The services that it allows.
    pub services: BTreeSet<ServiceKind>,
    /// SHA-256 of the stored file.
    pub file: Fingerprint,
}

/// Why a letter is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LetterRefused {
    /// No clinician is named.
    #[error("the letter needs the clinician's name")]
    NoClinician,
    /// The clinician's name is longer than [`CLINICIAN_MAX`] or holds control characters.
    #[error("the clinician's name is too long or holds characters that can't be shown")]
    BadClinician,
    /// It is dated after today.
    #[error("the letter is dated in the future")]
    Future,
    /// It ends before it was written.
    #[error("the letter expires before it was written")]
    ExpiresBeforeDated,
    /// It speaks to no question.
    #[error("the letter's scope names no question")]
    NoQuestion,
    /// It allows no service.
    #[error("the letter's scope names no service")]
    NoService,
}

impl Letter {
    /// Checks what was typed in.
    ///
    /// # Errors
    /// [`LetterRefused`] says what is wrong.
    pub fn parse(draft: LetterDraft, today: Date) -> Result<Self, LetterRefused> {
        let clinician = draft.clinician.trim().to_owned();
        if clinician.is_empty() {
            return Err(LetterRefused::NoClinician);
        }
        if clinician.chars().count() > CLINICIAN_MAX || clinician.chars().any(is_control) {
            return Err(LetterRefused::BadClinician);
        }
        if draft.dated > today {
            return Err(LetterRefused::Future);
        }
        if draft.expires < draft.dated {
            return Err(LetterRefused::ExpiresBeforeDated);
        }
        if draft.questions.is_empty() {
            return Err(LetterRefused::NoQuestion);
        }
        if draft.services.is_empty() {
            return Err(LetterRefused::NoService);
        }
        let LetterDraft { id, dated, expires, questions, services, file, .. } = draft;
        Ok(Self { id, clinician, dated, expires, questions, services, file })
    }

    /// Whether it satisfies what a rule on `question` asks for `service` on a day.
    pub fn covers(&self, question: &str, service: ServiceKind, on: Date) -> bool {
        self.questions.contains(question) && self.services.contains(&service) && self.dated <= on && on <= self.expires
    }

    /// Its id.
    pub fn id(&self) -> &LetterId {
        &self.id
    }

    /// Who signed it.
    pub fn clinician(&self) -> &str {
        &self.clinician
    }

    /// The day it was written.
    pub fn dated(&self) -> Date {
        self.dated
    }

    /// The last day on which it counts.
    pub fn expires(&self) -> Date {
        self.expires
    }

    /// The questions that it speaks to.
    pub fn questions(&self) -> &BTreeSet<String> {
        &self.questions
    }

    /// The services that it allows.
    pub fn services(&self) -> &BTreeSet<ServiceKind> {
        &self.services
    }

    /// SHA-256 of the stored file.
    pub fn file(&self) -> Fingerprint {
        self.file
    }
}

impl fmt::Debug for Letter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Letter").field("id", &self.id).finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    fn draft() -> LetterDraft {
        LetterDraft {
            id: LetterId::from_random([1; 16]),
            clinician: " Dr Example ".to_owned(),
            dated: date!(2026 - 03 - 01),
            expires: date!(2026 - 03 - 01),
            questions: BTreeSet::from(["glaucoma".to_owned()]),
            services: BTreeSet::from([ServiceKind::LashLift]),
            file: Fingerprint::of(b"letter"),
        }
    }

    #[test]
    fn a_letter_keeps_what_was_typed_in_and_debug_hides_it() {
        let letter = Letter::parse(draft(), date!(2026 - 03 - 01)).unwrap();
        assert_eq!((letter.clinician(), letter.questions()), ("Dr Example", &draft().questions));
        assert_eq!(
            (letter.services(), letter.dated(), letter.expires()),
            (&draft().services, draft().dated, draft().expires)
        );
        let shown = format!("{letter:?}");
        assert!(shown.starts_with("Letter {") && !shown.contains("Example") && !shown.contains("glaucoma"), "{shown}");
    }

    #[test]
    fn a_letter_is_taken_up_to_its_limits() {
        let parse = |draft| Letter::parse(draft, date!(2026 - 03 - 09)).err();
        let named = |length: usize| LetterDraft { clinician: "é".repeat(length), ..draft() };
        assert_eq!(parse(named(CLINICIAN_MAX)), None);
        assert_eq!(parse(named(CLINICIAN_MAX + 1)), Some(LetterRefused::BadClinician));
        let expired = LetterDraft { expires: date!(2026 - 02 - 28), ..draft() };
        assert_eq!(parse(expired), Some(LetterRefused::ExpiresBeforeDated));
    }
}
