//! The studio's own choices: how skin tests count, and when clients of each kind of service return.

use crate::domain::catalogue::ServiceKind;
use crate::domain::skin_test::{TestRules, Validity};
use crate::domain::span::Span;
use crate::domain::window::RetouchRule;
use crate::store::Stored;
use crate::store::catalogue::Service;
use crate::store::studio::Studio;
use crate::store::types::{impossible, small};

/// The studio's choices about skin tests.
///
/// # Errors
/// When the studio's row holds a number that the rule refuses.
pub fn test_rules(studio: &Studio) -> Stored<TestRules> {
    let hours = small("studio", "skin_test_floor_hours", "1", studio.skin_test_floor_hours)?;
    let days = small("studio", "skin_test_valid_days", "1", studio.skin_test_valid_days)?;
    TestRules::parse(hours, Validity::For(Span::Days(days))).map_err(|_| impossible("studio", "skin_test", "1"))
}

/// The studio's retouch rule for each kind of service.
#[derive(Debug, Clone)]
pub struct RetouchRules(Vec<(ServiceKind, RetouchRule)>);

impl RetouchRules {
    /// Of each kind the first service on offer speaks; without one, the rule that a new studio starts with.
    pub fn of(services: &[Service]) -> Self {
        let own = |kind| services.iter().find(|service| service.kind == kind).map(|service| service.retouch.clone());
        let rule = |kind| {
            let joined = || (kind == ServiceKind::LashLift).then(|| own(ServiceKind::LiftAndTint)).flatten();
            own(kind).or_else(joined).unwrap_or_else(|| RetouchRule::default_for(kind))
        };
        Self(ServiceKind::ALL.into_iter().map(|kind| (kind, rule(kind))).collect())
    }

    /// The rules as each of these services sees them.
    pub fn of_each(services: &[Service]) -> Vec<Self> {
        let common = Self::of(services);
        services.iter().map(|service| common.clone().with(service)).collect()
    }

    /// … but for this service, its own.
    #[must_use]
    pub fn with(mut self, service: &Service) -> Self {
        let part = if service.kind == ServiceKind::LiftAndTint { ServiceKind::LashLift } else { service.kind };
        if let Some((_, rule)) = self.0.iter_mut().find(|(kind, _)| *kind == part) {
            *rule = service.retouch.clone();
        }
        self
    }

    /// The rule of a kind.
    pub fn get(&self, kind: ServiceKind) -> Option<&RetouchRule> {
        self.0.iter().find(|(known, _)| *known == kind).map(|(_, rule)| rule)
    }
}
