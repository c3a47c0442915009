//! What the program does by itself, one drainable step at a time.

use crate::language::Language;
use crate::store::Stored;

pub mod housekeeping;
pub mod outbox;
pub mod outside;

/// Gives a job its turn, in the language that its studio speaks. Whatever becomes of it, the caller goes on: a job that can't, or that breaks, is written down
/// and tried again at its next turn.
pub async fn turn(name: &'static str, language: Language, job: impl Future<Output = Stored<()>> + Send + 'static) {
    match tokio::spawn(language.scope(job)).await {
        Ok(Ok(())) => {}
        Ok(Err(error)) => tracing::error!(name, %error, "a job can't"),
        Err(_) => tracing::error!(name, "a job broke"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_job_that_breaks_or_can_t_takes_nobody_with_it() {
        turn("breaks", Language::English, async { panic!("with somebody's health in it") }).await;
        turn("can't", Language::English, async { Err(crate::store::StoreError::Damaged("x".to_owned())) }).await;
        let (tell, told) = tokio::sync::oneshot::channel();
        turn("goes on", Language::English, async {
            let _ = tell.send(());
            Ok(())
        })
        .await;
        told.await.unwrap();
    }
}
