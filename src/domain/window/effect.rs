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
