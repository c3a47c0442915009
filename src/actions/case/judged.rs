//! A client's skin tests as the rules see them, for whoever shows or hands them out.

use std::collections::BTreeMap;
use std::slice;

use time::OffsetDateTime;

use super::Known;
use crate::domain::ids::ClientId;
use crate::domain::skin_test::{SkinTest, TestStanding, VoidCause, standing};
use crate::store::skin_tests::{self, StoredTest};
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, catalogue};

/// A skin test as the rules see it.
pub struct Judged {
    /// The test; voided too where a later answer or a reaction did that.
    pub stored: StoredTest,
    /// The last moment at which it counts or counted; nothing while anything else stands against it or its product.
    pub until: Option<OffsetDateTime>,
}

/// All skin tests of a client, newest first, as the rules see them for each service that may use the product. What voids one
/// for any of these voids it here.
///
/// # Errors
/// When the file can't be read.
pub async fn judged(
    c: &mut Connection,
    studio: &Studio,
    client: &ClientId,
    now: OffsetDateTime,
) -> Stored<Vec<Judged>> {
    let tests = skin_tests::of_client(c, client).await?;
    let cases = cases(c, studio, client, &tests).await?;
    Ok(tests.into_iter().map(|stored| judge(&cases, stored, now)).collect())
}

/// A skin test as the rules see it, with what they made of it before.
pub struct Counted {
    /// As of now.
    pub judged: Judged,
    /// Since when it counted.
    pub from: Option<OffsetDateTime>,
    /// Since when something stands against it, and until when it had counted by then.
    pub lost: Option<(OffsetDateTime, OffsetDateTime)>,
}

/// All skin tests of a client, newest first, from when to when each counted. `voided` says when somebody let one no longer
/// count, by its id.
///
/// # Errors
/// When the file can't be read.
pub async fn counted(
    c: &mut Connection,
    studio: &Studio,
    client: &ClientId,
    voided: &BTreeMap<String, OffsetDateTime>,
    now: OffsetDateTime,
) -> Stored<Vec<Counted>> {
    let tests = skin_tests::of_client(c, client).await?;
    let mut cases = cases(c, studio, client, &tests).await?;
    let judged: Vec<Judged> = tests.iter().map(|stored| judge(&cases, stored.clone(), now)).collect();
    for test in cases.iter_mut().flat_map(|case| &mut case.tests) {
        test.voided = test.voided.filter(|_| !voided.contains_key(test.id.as_str()));
    }
    let history = |(mut stored, judged): (StoredTest, Judged)| {
        let end = voided.get(stored.test.id.as_str()).copied();
        stored.test.voided = stored.test.voided.filter(|_| end.is_none());
        let read = stored.test.readings.iter().map(|reading| reading.at);
        let events = cases.first().into_iter().flat_map(Known::events);
        let mut moments: Vec<OffsetDateTime> = read.chain(events).chain(end).collect();
        moments.retain(|at| *at > stored.test.applied_at && *at <= now);
        moments.sort();
        let counts = |at: OffsetDateTime| {
            if end.is_some_and(|end| end <= at) { None } else { judge(&cases, stored.clone(), at).until }
        };
        let seen: Vec<_> = moments.into_iter().map(|at| (at, counts(at))).collect();
        let from = seen.iter().find(|(_, until)| until.is_some()).map(|(at, _)| *at);
        let last = seen.windows(2).rev().find_map(|pair| match pair {
            [(_, Some(until)), (lost, None)] => Some((*lost, *until)),
            _ => None,
        });
        Counted { lost: last.filter(|_| judged.until.is_none()), from, judged }
    };
    Ok(tests.into_iter().zip(judged).map(history).collect())
}

/// What each service knows of her, where she has tests.
async fn cases(c: &mut Connection, studio: &Studio, client: &ClientId, tests: &[StoredTest]) -> Stored<Vec<Known>> {
    let mut cases = Vec::new();
    if !tests.is_empty() {
        for service in catalogue::services(c).await? {
            cases.push(Known::load(c, studio, Some(client), &service.id).await?);
        }
    }
    Ok(cases)
}

fn judge(cases: &[Known], mut stored: StoredTest, now: OffsetDateTime) -> Judged {
    let seen: Vec<Seen> = cases.iter().filter_map(|case| case.sees(&stored.test, now)).collect();
    let wanting: Vec<&Seen> = seen.iter().filter(|seen| seen.wanted).collect();
    let wanting = if wanting.is_empty() { seen.iter().collect() } else { wanting };
    stored.test.voided = stored.test.voided.or_else(|| wanting.iter().find_map(|seen| seen.voided));
    let counts = stored.test.voided.is_none() && wanting.iter().all(|seen| seen.until.is_some());
    Judged { until: wanting.iter().filter_map(|seen| seen.until).min().filter(|_| counts), stored }
}

/// What one service makes of a test.
struct Seen {
    /// Whether it wants the product tested.
    wanted: bool,
    voided: Option<VoidCause>,
    until: Option<OffsetDateTime>,
}

impl Known {
    /// When something was told or happened that may stand against a test.
    fn events(&self) -> impl Iterator<Item = OffsetDateTime> {
        let answered = self.answers.iter().map(|given| given.at);
        answered.chain(self.reactions.iter().map(|(at, _)| *at)).chain(self.harm.iter().map(|harm| harm.at))
    }

    fn sees(&self, test: &SkinTest, now: OffsetDateTime) -> Option<Seen> {
        let product = self.register.iter().find(|product| product.id == test.product)?;
        let wanted = self.products.iter().any(|one| one.id == product.id);
        if !wanted && !self.service.kind.chemistries().contains(&product.chemistry) {
            return None;
        }
        let (planned, tests) = (self.planned(product, now, now), self.tests(now, None));
        let test = tests.iter().find(|one| one.id == test.id)?;
        let alone = match standing(&tests, &planned, now, &self.test_rules) {
            TestStanding::Failed { .. } | TestStanding::Unclear { .. } => None,
            _ => Some(standing(slice::from_ref(test), &planned, now, &self.test_rules)),
        };
        let until = match alone {
            Some(TestStanding::Valid { until } | TestStanding::Expired { at: until }) => Some(until),
            _ => None,
        };
        Some(Seen { wanted, voided: test.voided.or(planned.blocked.then_some(VoidCause::Reaction)), until })
    }
}
