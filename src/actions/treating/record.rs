//! What a record says, and whether it holds together.

use time::{Duration, OffsetDateTime};

use crate::actions::case::Known;
use crate::actions::shelf::Shelf;
use crate::domain::bottle::{Unfit, wrong_step};
use crate::domain::catalogue::Chemistry;
use crate::domain::ids::{PractitionerId, ProductId, ServiceId, VisitId};
use crate::domain::role::Member;
use crate::domain::steps::Part;
use crate::domain::timing::SideTime;
use crate::store::treatments::{Outcome, Version};
use crate::tf;

/// Why a record doesn't hold together.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RecordRefused {
    /// It ends before it begins.
    #[error("it ends before it begins")]
    EndsBeforeStart,
    /// It lasts longer than any treatment.
    #[error("it lasts longer than any treatment")]
    TooLong,
    /// A time by side lies before its start or after its end.
    #[error("a time by side lies outside of it")]
    OutsideIt,
    /// It ends in the future.
    #[error("it ends in the future")]
    Future,
    /// More lashes were still lifted than were counted.
    #[error("more were still lifted than were counted")]
    Count,
    /// A treatment that was not stopped used a product.
    #[error("a product is missing")]
    NoProduct,
    /// The register doesn't know this batch of the product.
    #[error("the register doesn't know batch {1}")]
    UnknownBatch(ProductId, String),
    /// This batch of the product may not be used, and nobody wrote why it was.
    #[error("batch {1} may not be used: {2}")]
    Unfit(ProductId, String, Unfit),
}

/// What was done, as the form gives it.
#[derive(Clone)]
pub struct Record {
    /// What was done.
    pub service: ServiceId,
    /// From when.
    pub started_at: OffsetDateTime,
    /// Until when.
    pub ended_at: OffsetDateTime,
    /// Which shield.
    pub shield: String,
    /// Minutes of the first lotion.
    pub lotion_one_minutes: Option<u16>,
    /// Minutes of the second lotion.
    pub lotion_two_minutes: Option<u16>,
    /// Minutes of the tint.
    pub tint_minutes: Option<u16>,
    /// Anything else.
    pub notes: String,
    /// Whether aftercare was given.
    pub aftercare_given: bool,
    /// How it came out.
    pub outcome: Outcome,
    /// Lashes counted, and how many of them were still lifted.
    pub count: Option<(u16, u16)>,
    /// Products with their batch.
    pub products: Vec<(ProductId, String)>,
    /// Why a batch was used that may not be; a record has to be true even then.
    pub used_although: String,
    /// Whether the eyes were rinsed.
    pub rinsed: Option<bool>,
    /// How long each step was on each side.
    pub times: Vec<SideTime>,
    /// Whether the client gets the words on aftercare by mail.
    pub mail_aftercare: bool,
}

/// The longest that a treatment lasts: what ends later was written on another day than it was done. A design choice.
pub const LONGEST: Duration = Duration::hours(12);

/// Whether a moment lies in a treatment, whose start and end are written in whole minutes.
pub fn lies_within(at: OffsetDateTime, started_at: OffsetDateTime, ended_at: OffsetDateTime) -> bool {
    at >= started_at - Duration::MINUTE && at <= ended_at + Duration::MINUTE
}

/// Of a lotion, the step that it is said to be for.
fn step_of(shelf: &Shelf, product: &ProductId) -> Option<Option<Part>> {
    let lotion = shelf.product(product).filter(|product| product.chemistry == Chemistry::Lotion);
    lotion.map(|product| product.label.as_ref().and_then(|label| label.step))
}

impl Record {
    /// What was used stands against the register as of its day; what an earlier version named already is not asked again.
    /// A batch that may not be used on her is named in the notes, with why it was.
    pub(super) fn checked(
        mut self,
        shelf: &Shelf,
        known: &Known,
        visit: &VisitId,
        used: &[(ProductId, String)],
        now: OffsetDateTime,
    ) -> Result<Self, RecordRefused> {
        if self.ended_at < self.started_at {
            return Err(RecordRefused::EndsBeforeStart);
        }
        if self.ended_at - self.started_at > LONGEST {
            return Err(RecordRefused::TooLong);
        }
        let within = |at| lies_within(at, self.started_at, self.ended_at);
        if !self.times.iter().all(|time| within(time.on) && within(time.off)) {
            return Err(RecordRefused::OutsideIt);
        }
        if self.ended_at > now || self.times.iter().any(|time| time.off > now) {
            return Err(RecordRefused::Future);
        }
        if self.count.is_some_and(|(counted, lifted)| lifted > counted) {
            return Err(RecordRefused::Count);
        }
        if self.products.is_empty() && self.outcome != Outcome::Stopped {
            return Err(RecordRefused::NoProduct);
        }
        let missing = self.missing_lotion(shelf);
        let mut against = Vec::new();
        for named in self.products.iter().filter(|named| !used.contains(named)) {
            let (product, number) = named;
            let unknown = || RecordRefused::UnknownBatch(product.clone(), number.clone());
            let found = shelf.find(product, number).ok_or_else(unknown)?;
            let other_step = missing.filter(|_| step_of(shelf, product).is_some()).map(Unfit::OtherStep);
            let unfit = known.unfit(found, shelf.on(), self.started_at, Some(visit)).or(other_step);
            let Some(unfit) = unfit else { continue };
            let why = self.used_although.trim();
            if why.is_empty() {
                return Err(RecordRefused::Unfit(product.clone(), number.clone(), unfit));
            }
            let name = shelf.product(product).map_or("", |product| &product.name);
            let note = tf("{product}, {batch}: {unfit}. Used all the same: {why}").with("product", name);
            against.push(note.with("batch", number).with("unfit", unfit).with("why", why).to_string());
        }
        against.insert(0, self.notes);
        self.notes = against.join("\n").trim_start().to_owned();
        Ok(self)
    }

    /// The lotion that was on though every one that is named is said to be the other.
    fn missing_lotion(&self, shelf: &Shelf) -> Option<Part> {
        let lotions: Vec<_> = self.products.iter().filter_map(|(product, _)| step_of(shelf, product)).collect();
        let on = [(Part::LotionOne, self.lotion_one_minutes), (Part::LotionTwo, self.lotion_two_minutes)];
        let on = on.into_iter().filter(|(_, minutes)| minutes.is_some_and(|minutes| minutes > 0));
        on.map(|(step, _)| step).find(|step| wrong_step(*step, &lotions))
    }

    pub(super) fn version(
        self,
        number: u32,
        by: &PractitionerId,
        member: &Member,
        reason: &str,
        now: OffsetDateTime,
    ) -> Version {
        let mut products = self.products;
        products.sort();
        products.dedup();
        let mut times = self.times;
        times.sort_by_key(|time| (time.on, time.side));
        Version {
            version: number,
            service: self.service,
            practitioner: by.clone(),
            started_at: self.started_at,
            ended_at: self.ended_at,
            shield: self.shield,
            lotion_one_minutes: self.lotion_one_minutes,
            lotion_two_minutes: self.lotion_two_minutes,
            tint_minutes: self.tint_minutes,
            notes: self.notes,
            aftercare_given: self.aftercare_given,
            outcome: self.outcome,
            count: self.count,
            reason: reason.to_owned(),
            written_by: member.name.clone(),
            written_at: now,
            products,
            rinsed: self.rinsed,
            times,
        }
    }
}
