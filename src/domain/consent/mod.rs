//! Consent: separate ticks, a typed name, the exact text and answers that were signed.
//!
//! Consent is per visit: it is signed again when the text, a product or a health answer changed.

mod agreement;
mod drawing;
mod text;

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;

pub use agreement::{Agreement, agreement};
pub use drawing::{Drawing, DrawingRefused, Point};
pub use text::{ConsentText, ConsentTextRefused, Paragraph, TickText};

use super::age::GuardianPart;
use super::fingerprint::Fingerprint;
use super::ids::{ConsentId, ProductId, ServiceId};
use super::person::{PersonName, PersonNameRefused};

/// What a client may agree to. Each is a tick of its own, none ticked beforehand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tick {
    /// To be treated.
    Treatment,
    /// That health answers are kept (explicit consent, GDPR Art. 9(2)(a)).
    HealthData,
    /// Photos for the record.
    RecordPhotos,
    /// Photos that others may see.
    PublicityPhotos,
    /// News from the studio.
    Marketing,
}

impl Tick {
    /// Every tick, in the order in which they are shown.
    pub const ALL: [Self; 5] =
        [Self::Treatment, Self::HealthData, Self::RecordPhotos, Self::PublicityPhotos, Self::Marketing];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Treatment => "treatment",
            Self::HealthData => "health_data",
            Self::RecordPhotos => "record_photos",
            Self::PublicityPhotos => "publicity_photos",
            Self::Marketing => "marketing",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|tick| tick.as_str() == word)
    }

    /// Whether a visit can't happen without it.
    pub fn is_needed(self) -> bool {
        matches!(self, Self::Treatment | Self::HealthData)
    }
}

/// What a signature is for: the text, the answers and the products as they were shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Subject {
    /// The consent text.
    pub text: Fingerprint,
    /// The health answers.
    pub answers: Fingerprint,
    /// The products that are planned, as far as they are known.
    pub products: BTreeSet<ProductId>,
    /// The service that was named above the text; early signatures don't tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub service: Option<ServiceId>,
}

impl Subject {
    /// Whether the same is planned: the service, as far as both tell, and the products.
    pub fn same_plan(&self, other: &Self) -> bool {
        self.same_service(other) && self.products == other.products
    }

    /// Whether it is the same service, as far as both tell.
    pub fn same_service(&self, other: &Self) -> bool {
        match (&self.service, &other.service) {
            (Some(one), Some(two)) => one == two,
            _ => true,
        }
    }
}

/// A name as it was typed under a text, within the limits of [`PersonName`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct TypedName(PersonName);

impl TypedName {
    /// Reads a name.
    ///
    /// # Errors
    /// [`PersonNameRefused`] says which limit was crossed.
    pub fn parse(text: &str) -> Result<Self, PersonNameRefused> {
        PersonName::parse(text).map(Self)
    }

    /// The name.
    pub fn as_str(&self) -> &str {
        self.0.as_str()
    }
}

impl TryFrom<String> for TypedName {
    type Error = PersonNameRefused;
    fn try_from(text: String) -> Result<Self, PersonNameRefused> {
        Self::parse(&text)
    }
}

impl From<TypedName> for String {
    fn from(name: TypedName) -> Self {
        name.as_str().to_owned()
    }
}

/// A parent's or guardian's part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Guardian {
    /// The name as typed.
    pub name: TypedName,
    /// What the guardian is to the client, in a word or two.
    pub relation: TypedName,
    /// Whether the guardian is, or promised to be, present.
    pub present: bool,
    /// The drawn signature, if one was drawn.
    pub drawing: Option<Drawing>,
}

/// A consent that was signed, whole: it is never changed, only withdrawn or followed by another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signed {
    /// Its id.
    pub id: ConsentId,
    /// What it is for.
    pub subject: Subject,
    /// What was ticked; always the two without which a visit can't happen.
    pub ticks: BTreeSet<Tick>,
    /// The name as typed.
    pub name: TypedName,
    /// The drawn signature, if one was drawn: it is never required.
    pub drawing: Option<Drawing>,
    /// The guardian's part.
    pub guardian: Option<Guardian>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub at: OffsetDateTime,
    /// When it was withdrawn.
    #[serde(with = "time::serde::rfc3339::option")]
    pub withdrawn_at: Option<OffsetDateTime>,
}

/// What the consent form sends.
#[derive(Debug, Clone)]
pub struct Offer {
    /// The id of the consent.
    pub id: ConsentId,
    /// What was shown.
    pub subject: Subject,
    /// What was ticked.
    pub ticks: BTreeSet<Tick>,
    /// The name as typed.
    pub name: TypedName,
    /// The drawn signature, if one was drawn.
    pub drawing: Option<Drawing>,
    /// The guardian's part.
    pub guardian: Option<Guardian>,
}

/// A tick without which a visit can't happen is missing: this one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("without the tick for {} there can be no visit", .0.as_str())]
pub struct TickMissing(pub Tick);

impl Signed {
    /// Signs what was shown.
    ///
    /// # Errors
    /// [`TickMissing`] names the first needed tick that is not set. Whoever does not want to tick
    /// it refuses, which is recorded as [`ConsentRecord::Refused`].
    pub fn sign(offer: Offer, at: OffsetDateTime) -> Result<Self, TickMissing> {
        if let Some(missing) = Tick::ALL.into_iter().find(|tick| tick.is_needed() && !offer.ticks.contains(tick)) {
            return Err(TickMissing(missing));
        }
        let Offer { id, subject, ticks, name, drawing, guardian } = offer;
        Ok(Self { id, subject, ticks, name, drawing, guardian, at, withdrawn_at: None })
    }

    /// The guardian's part as the age rules read it.
    pub fn guardian_part(&self) -> GuardianPart {
        self.guardian
            .as_ref()
            .map_or_else(GuardianPart::default, |guardian| GuardianPart { signed: true, present: guardian.present })
    }
}

/// What a client last did with the consent for a visit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ConsentRecord {
    /// She signed.
    Signed(Box<Signed>),
    /// She refused.
    Refused {
        /// What was shown.
        subject: Subject,
        /// When.
        #[serde(with = "time::serde::rfc3339")]
        at: OffsetDateTime,
    },
}

/// Where the consent for a visit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ConsentStanding {
    /// Signed on the text, answers and products that are in force.
    SignedCurrent,
    /// The text was changed since.
    TextChanged,
    /// A health answer was changed since.
    AnswersChanged,
    /// The products were changed since.
    ProductsChanged,
    /// Signed for another service.
    OtherService,
    /// Never signed.
    Missing,
    /// Refused.
    Refused,
    /// Withdrawn.
    Withdrawn,
}

/// Where the consent stands against what is in force now. A withdrawal outweighs every change.
pub fn standing(last: Option<&ConsentRecord>, now: &Subject) -> ConsentStanding {
    match last {
        None => ConsentStanding::Missing,
        Some(ConsentRecord::Refused { .. }) => ConsentStanding::Refused,
        Some(ConsentRecord::Signed(signed)) if signed.withdrawn_at.is_some() => ConsentStanding::Withdrawn,
        Some(ConsentRecord::Signed(signed)) if signed.subject.text != now.text => ConsentStanding::TextChanged,
        Some(ConsentRecord::Signed(signed)) if signed.subject.answers != now.answers => ConsentStanding::AnswersChanged,
        Some(ConsentRecord::Signed(signed)) if !signed.subject.same_service(now) => ConsentStanding::OtherService,
        Some(ConsentRecord::Signed(signed)) if signed.subject.products != now.products => {
            ConsentStanding::ProductsChanged
        }
        Some(ConsentRecord::Signed(_)) => ConsentStanding::SignedCurrent,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn subject(product: Option<u8>, service: Option<u8>) -> Subject {
        let empty = Fingerprint::of(b"");
        Subject {
            text: empty,
            answers: empty,
            products: product.map(|number| ProductId::from_random([number; 16])).into_iter().collect(),
            service: service.map(|number| ServiceId::from_random([number; 16])),
        }
    }

    #[test]
    fn a_plan_is_the_same_with_the_same_products_and_as_far_as_both_tell_the_same_service() {
        let plan = subject(Some(1), Some(1));
        assert!(
            plan.same_plan(&plan) && plan.same_plan(&subject(Some(1), None)) && subject(Some(1), None).same_plan(&plan)
        );
        for other in [subject(Some(2), Some(1)), subject(Some(1), Some(2)), subject(None, Some(1))] {
            assert!(!plan.same_plan(&other) && !other.same_plan(&plan), "{other:?}");
        }
    }

    #[test]
    fn a_signature_for_another_service_is_none_for_this_one() {
        let ticks = Tick::ALL.into_iter().collect();
        let (id, name) = (ConsentId::from_random([1; 16]), TypedName::parse("Mia").unwrap());
        let offer = Offer { id, subject: subject(Some(1), Some(1)), ticks, name, drawing: None, guardian: None };
        let signed = Signed::sign(offer, time::macros::datetime!(2026-03-02 09:00 UTC)).unwrap();
        let record = ConsentRecord::Signed(Box::new(signed));
        let stands = |now| standing(Some(&record), &now);
        assert_eq!(stands(subject(Some(1), Some(1))), ConsentStanding::SignedCurrent);
        assert_eq!(stands(subject(Some(1), None)), ConsentStanding::SignedCurrent, "an early one doesn't tell");
        assert_eq!(stands(subject(Some(1), Some(2))), ConsentStanding::OtherService);
        assert_eq!(stands(subject(Some(2), Some(1))), ConsentStanding::ProductsChanged);
    }
}
