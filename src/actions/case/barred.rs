//! Which services are barred for which clients by what did them harm and what they answered, for many at once.

use std::collections::{BTreeSet, HashMap, HashSet};

use time::Date;

use super::shelf;
use crate::domain::bottle::{self, Bottle, Days};
use crate::domain::harm::{Bar, bars};
use crate::domain::ids::{ClientId, ProductId, ServiceId};
use crate::domain::screening::Screening;
use crate::domain::verdict::{Reason, Verdict};
use crate::store::catalogue::{self, Product, Service};
use crate::store::health::InForce;
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, harm, health, letters, retouch};

/// What did some clients harm, beside what the services use.
pub struct Barred {
    studio: Studio,
    on: Date,
    in_force: InForce,
    register: Vec<Product>,
    tested: HashMap<ServiceId, Vec<ProductId>>,
    harmed: HashMap<ClientId, BTreeSet<ProductId>>,
    unsettled: HashSet<ClientId>,
}

impl Barred {
    /// Loads it.
    ///
    /// # Errors
    /// When the file can't be read.
    pub async fn load(c: &mut Connection, studio: &Studio, on: Date, clients: &[&ClientId]) -> Stored<Self> {
        let mut harmed: HashMap<ClientId, BTreeSet<ProductId>> = HashMap::new();
        for harm in harm::of(c, clients).await? {
            harmed.entry(harm.client).or_default().insert(harm.product);
        }
        Ok(Self {
            studio: studio.clone(),
            on,
            in_force: health::in_force(c).await?,
            register: catalogue::products(c).await?,
            tested: retouch::tested(c).await?,
            harmed,
            unsettled: harm::unsettled(c, clients).await?,
        })
    }

    /// Whether she has a report that is not settled.
    pub fn unsettled(&self, client: &ClientId) -> bool {
        self.unsettled.contains(client)
    }

    /// Whether her newest answers forbid a service, and say no day on which they no longer do.
    ///
    /// # Errors
    /// When the file can't be read.
    pub async fn forbidden(&self, c: &mut Connection, client: &ClientId, service: &Service) -> Stored<bool> {
        let answers = health::answers(c, client).await?;
        let Some(newest) = answers.first() else { return Ok(false) };
        let letters = letters::counting(c, client).await?;
        let ingredients = shelf::ingredients(&self.register, &self.planned(service), service.kind);
        let screening = Screening {
            questionnaire: &self.in_force.questionnaire,
            rules: &self.in_force.rules,
            set: &newest.set,
            letters: &letters,
            ingredients: ingredients.as_ref(),
        };
        let forbids = |reason: &Reason| reason.verdict == Verdict::DoNotTreat && reason.from.is_none();
        Ok(screening.reasons(service.kind, self.on).iter().any(forbids))
    }

    fn planned(&self, service: &Service) -> Vec<Product> {
        let tested = self.tested.get(&service.id).map_or(&[][..], Vec::as_slice);
        self.register.iter().filter(|one| tested.contains(&one.id)).cloned().collect()
    }

    /// Whether what did her harm leaves nothing to give her a service with.
    pub fn stops(&self, client: &ClientId, service: &Service) -> bool {
        let Some(harmed) = self.harmed.get(client) else { return false };
        let shelf = shelf::shelf(&self.register, &self.planned(service), harmed);
        let would_do = |one: &crate::domain::readiness::Shelved| {
            let (days, label) = (&Days::default(), one.label.as_ref());
            let bottle = Bottle { days, chemistry: one.chemistry, label, blocked: false, untested: false };
            bottle::unfit(&bottle, service.kind, self.studio.jurisdiction, self.on).is_none()
        };
        bars(service.kind, &shelf, would_do).iter().any(|(_, bar)| *bar == Bar::Stop)
    }
}
