//! What another rule would change for the clients there are, told before it is saved.

use super::{RetouchRule, window};
use serde::Serialize;
use time::Date;

/// How many windows a change of rule moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Effect {
    /// Clients whose window would open later.
    pub opens_later: usize,
    /// Clients whose window would open earlier.
    pub opens_earlier: usize,
    /// Clients who would be due later.
    pub due_later: usize,
    /// Clients who would be due earlier.
    pub due_earlier: usize,
    /// Clients for whom neither date moves.
    pub unmoved: usize,
}

/// Counts the clients (one history of visits each) whose window moves from `now` to `then`. Clients
/// without a visit are not counted. Other waits are left out: they are the same under both.
pub fn effect<'a>(histories: impl IntoIterator<Item = &'a [Date]>, now: &RetouchRule, then: &RetouchRule) -> Effect {
    let mut effect = Effect::default();
    for history in histories {
        let (Some(now), Some(then)) = (window(history, now, &[]), window(history, then, &[])) else { continue };
        effect.opens_later += usize::from(then.opens() > now.opens());
        effect.opens_earlier += usize::from(then.opens() < now.opens());
        effect.due_later += usize::from(then.due() > now.due());
        effect.due_earlier += usize::from(then.due() < now.due());
        effect.unmoved += usize::from(then.opens() == now.opens() && then.due() == now.due());
    }
    effect
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::window::{GrowthRule, Limits};
    use time::macros::date;

    #[test]
    fn a_longer_floor_moves_those_whom_it_binds() {
        let cycle = GrowthRule::default().cycle().clone();
        let rule = |floor| RetouchRule::Growth(GrowthRule::parse(cycle.clone(), Limits::default(), floor).unwrap());
        let histories: [&[Date]; 3] = [&[date!(2026 - 01 - 01)], &[date!(2026 - 01 - 01), date!(2026 - 03 - 01)], &[]];
        // A first lift opens after 46 days and is due after 55.
        let count = |floor| effect(histories, &rule(42), &rule(floor));
        assert_eq!(count(46), Effect { unmoved: 2, ..Effect::default() });
        assert_eq!(count(50), Effect { opens_later: 2, ..Effect::default() });
        assert_eq!(count(60), Effect { opens_later: 2, due_later: 2, ..Effect::default() });
        let back = effect(histories, &rule(60), &rule(42));
        assert_eq!(back, Effect { opens_earlier: 2, due_earlier: 2, ..Effect::default() });
    }
}
