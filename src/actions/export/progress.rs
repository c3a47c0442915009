//! Packages that are being made, and how far each is. Nothing of this is stored: a package that ends with the program is
//! gone, and so is its progress.

use std::sync::{Mutex, MutexGuard, PoisonError};

use time::OffsetDateTime;

/// A package that is being made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Work {
    /// The name of whoever wanted it.
    pub made_by: String,
    /// Since when.
    pub began_at: OffsetDateTime,
    /// How many clients are in it, and how many there will be; nothing while it waits for its turn.
    pub clients: Option<(usize, usize)>,
}

/// All of them.
#[derive(Debug, Default)]
pub struct UnderWay(Mutex<Numbered>);

#[derive(Debug, Default)]
struct Numbered {
    next: u64,
    works: Vec<(u64, Work)>,
}

impl UnderWay {
    fn open(&self) -> MutexGuard<'_, Numbered> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Those that are being made at this moment, in the order in which they were wanted.
    pub fn list(&self) -> Vec<Work> {
        self.open().works.iter().map(|(_, work)| work.clone()).collect()
    }

    /// One more, until what is returned is dropped.
    pub fn begin(&self, made_by: &str, began_at: OffsetDateTime) -> Going<'_> {
        let mut all = self.open();
        let number = all.next;
        all.next += 1;
        all.works.push((number, Work { made_by: made_by.to_owned(), began_at, clients: None }));
        Going { all: self, number }
    }
}

/// A package under way. Dropped, it is none any more, however it ended.
pub struct Going<'a> {
    all: &'a UnderWay,
    number: u64,
}

impl Going<'_> {
    fn with(&self, change: impl FnOnce(&mut Work)) {
        if let Some((_, work)) = self.all.open().works.iter_mut().find(|(number, _)| *number == self.number) {
            change(work);
        }
    }

    /// Its turn has come, and this is how many clients there will be.
    pub fn starts(&self, of: usize) {
        self.with(|work| work.clients = Some((0, of)));
    }

    /// One client more is in it.
    pub fn step(&self) {
        self.with(|work| work.clients = work.clients.map(|(done, of)| (done + 1, of)));
    }
}

impl Drop for Going<'_> {
    fn drop(&mut self) {
        self.all.open().works.retain(|(number, _)| *number != self.number);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_is_listed_with_its_own_count_until_it_ends() {
        let all = UnderWay::default();
        let (one, two) = (all.begin("Runa", OffsetDateTime::UNIX_EPOCH), all.begin("Liv", OffsetDateTime::UNIX_EPOCH));
        one.starts(3);
        one.step();
        one.step();
        two.step();
        let seen: Vec<_> = all.list().into_iter().map(|work| (work.made_by, work.clients)).collect();
        assert_eq!(seen, [("Runa".to_owned(), Some((2, 3))), ("Liv".to_owned(), None)]);
        drop(one);
        assert_eq!(all.list().len(), 1);
        two.starts(0);
        assert_eq!(all.list()[0].clients, Some((0, 0)));
        drop(two);
        assert!(all.list().is_empty());
    }
}
