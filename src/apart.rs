//! Work in a task or a thread of its own. When it breaks, that is told and no more: the words it broke with may hold what
//! it broke on, such as somebody's health.

use tokio::task::JoinError;

/// The work broke; the line that `cli::log` writes says where.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("it broke: the log says where")]
pub struct Broke;

impl From<JoinError> for Broke {
    fn from(_: JoinError) -> Self {
        Self
    }
}

/// Begins at once, on a thread of its own, what keeps a thread busy or waits for the disk.
///
/// # Errors
/// When it breaks.
#[expect(clippy::disallowed_methods, reason = "the one place")]
pub fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> impl Future<Output = Result<T, Broke>> + Send {
    let running = tokio::task::spawn_blocking(work);
    async { Ok(running.await?) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn what_it_broke_on_is_told_nowhere() {
        let broke = blocking(|| -> u8 { panic!("with somebody's health in it") }).await.unwrap_err();
        assert!(!format!("{broke} {broke:?}").contains("health"));
        assert_eq!(blocking(|| 7).await, Ok(7));
    }
}
