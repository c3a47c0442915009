//! What the database's owner asks of the keys.

use std::path::Path;

use time::OffsetDateTime;

use super::keyring::{Held, KeyPlace};
use super::{Db, Stored, drafts, sealed};

/// Of whom there are sealed records.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SealedPeople {
    /// How many clients' can be read.
    pub readable: usize,
    /// The ids of those who were erased.
    pub erased: Vec<String>,
    /// The ids of those whose key is missing.
    pub missing: Vec<String>,
}

impl Db {
    /// Destroys the keys of clients who were erased, so that no copy of their sealed values can be read any more; how many
    /// were still to be destroyed.
    ///
    /// # Errors
    /// When the keys' file can't be written.
    pub async fn destroy_keys(&self, of: &[String]) -> Stored<usize> {
        self.beside.keys.destroy(of, true).await
    }

    /// Destroys the keys of days whose drafts are all gone, but for the days from `since` on.
    ///
    /// # Errors
    /// When the keys' file can't be written.
    pub async fn forget_draft_keys(&self, since: OffsetDateTime) -> Stored<()> {
        let kept = drafts::keys_in_use(&mut *self.read().await?).await?;
        let (_, since) = drafts::key_of(since);
        let all = self.beside.keys.all().await?.into_iter().map(|(who, _)| who);
        let gone = all.filter(|who| drafts::is_key(who) && *who < since && !kept.contains(who));
        self.beside.keys.destroy(&gone.collect::<Vec<_>>(), false).await?;
        Ok(())
    }

    /// Whose keys there are (`true`), and whose were destroyed.
    ///
    /// # Errors
    /// When the keys' file can't be read.
    pub async fn keys(&self) -> Stored<Vec<(String, bool)>> {
        let mut all = self.beside.keys.all().await?;
        all.retain(|(who, _)| !drafts::is_key(who));
        Ok(all)
    }

    /// Where the keys are.
    pub fn key_place(&self) -> &KeyPlace {
        self.beside.keys.place()
    }

    /// Of whom there are sealed records: how many can be read, who was erased, and whose key is missing.
    ///
    /// # Errors
    /// When the files can't be read.
    pub async fn sealed_people(&self) -> Stored<SealedPeople> {
        let mut found = SealedPeople::default();
        for who in sealed::people(&mut *self.read().await?).await? {
            match self.beside.keys.held(&who).await? {
                Held::Key(_) => found.readable += 1,
                Held::Destroyed => found.erased.push(who),
                Held::Missing => found.missing.push(who),
            }
        }
        Ok(found)
    }

    /// Writes a checked copy of the keys, wrapped as they are, to a new file.
    ///
    /// # Errors
    /// As [`Db::copy_to`].
    pub async fn copy_keys_to(&self, file: &Path) -> Stored<()> {
        self.beside.keys.copy_to(file).await
    }
}
