//! A client's skin tests as the rules see them, for whoever shows or hands them out.

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
    let mut cases = Vec::new();
    if !tests.is_empty() {
        for service in catalogue::services(c).await? {
            cases.push(Known::load(c, studio, Some(client), &service.id).await?);
        }
    }
    let judge = |mut stored: StoredTest| {
        let seen: Vec<Seen> = cases.iter().filter_map(|case| case.sees(&stored.test, now)).collect();
        let wanting: Vec<&Seen> = seen.iter().filter(|seen| seen.wanted).collect();
        let wanting = if wanting.is_empty() { seen.iter().collect() } else { wanting };
        stored.test.voided = stored.test.voided.or_else(|| wanting.iter().find_map(|seen| seen.voided));
        let counts = stored.test.voided.is_none() && wanting.iter().all(|seen| seen.until.is_some());
        Judged { until: wanting.iter().filter_map(|seen| seen.until).min().filter(|_| counts), stored }
    };
    Ok(tests.into_iter().map(judge).collect())
}

/// What one service makes of a test.
struct Seen {
    /// Whether it wants the product tested.
    wanted: bool,
    voided: Option<VoidCause>,
    until: Option<OffsetDateTime>,
}

impl Known {
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
