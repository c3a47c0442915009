//! What becomes of each row, before anything is written.

use std::collections::{HashMap, HashSet};

use time::Date;

use super::{PastTest, PastVisit, Told, Wrong};
use crate::domain::ids::{ClientId, ProductId, ServiceId};
use crate::domain::person::Phone;
use crate::domain::person::{BirthDate, Mail, PersonName};
use crate::domain::skin_test::TestResult;

/// Whom and what the records hold already.
#[derive(Debug, Default)]
pub struct Gathered {
    clients: HashMap<(String, String, Date), ClientId>,
    mails: HashSet<String>,
    visits: HashSet<(ClientId, ServiceId, Date)>,
    tests: HashSet<(ClientId, ProductId, Date, Option<TestResult>)>,
}

impl Gathered {
    /// Adds a client; the first of two who agree in everything stands.
    pub fn client(&mut self, id: &ClientId, name: &PersonName, mail: &Mail, born: BirthDate) {
        self.mails.insert(mail.key());
        self.clients.entry((name.key(), mail.key(), born.date())).or_insert_with(|| id.clone());
    }

    /// Adds a visit or a treatment.
    pub fn visit(&mut self, client: &ClientId, service: &ServiceId, on: Date) {
        self.visits.insert((client.clone(), service.clone(), on));
    }

    /// Adds a skin test with one thing that was seen of it, or nothing.
    pub fn test(&mut self, client: &ClientId, product: &ProductId, on: Date, result: Option<TestResult>) {
        self.tests.insert((client.clone(), product.clone(), on, result));
    }
}

/// What becomes of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fate {
    /// Whose record it goes into.
    pub client: ClientId,
    /// Her phone, when she is new: she is added.
    pub new: Option<Phone>,
    /// Somebody else has the same mail: a mother and a daughter, or one client written in two ways.
    pub shares_mail: bool,
    /// What was told.
    pub told: Told,
    /// The visit, where it is new.
    pub visit: Option<PastVisit>,
    /// The skin test, where it is new.
    pub test: Option<PastTest>,
}

impl Fate {
    /// Whether it changes nothing.
    pub fn is_known(&self) -> bool {
        self.new.is_none() && self.visit.is_none() && self.test.is_none()
    }
}

/// A row and what becomes of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Planned {
    /// The line on which it begins.
    pub line: u64,
    /// What becomes of it, or why it is left out.
    pub fate: Result<Fate, Wrong>,
}

/// Puts the rows before what is known, one after the other: a later row joins the client whom an earlier one adds.
/// `fresh` makes an id.
pub fn plan(
    rows: impl IntoIterator<Item = (u64, Result<Told, Wrong>)>,
    mut known: Gathered,
    mut fresh: impl FnMut() -> ClientId,
) -> Vec<Planned> {
    let mut one = |told: Told| -> Result<Fate, Wrong> {
        let person = &told.person;
        let key = (person.name.key(), person.mail.key(), person.born.date());
        let (client, new) = match known.clients.get(&key) {
            Some(client) => (client.clone(), None),
            None => (fresh(), Some(person.phone.clone().map_err(Wrong::Phone)?)),
        };
        let shares_mail = new.is_some() && known.mails.contains(&person.mail.key());
        known.client(&client, &person.name, &person.mail, person.born);
        let visit =
            told.visit.clone().filter(|visit| known.visits.insert((client.clone(), visit.service.clone(), visit.on)));
        let test = told
            .test
            .clone()
            .filter(|test| known.tests.insert((client.clone(), test.product.clone(), test.on, test.result)));
        Ok(Fate { client, new, shares_mail, told, visit, test })
    };
    rows.into_iter().map(|(line, told)| Planned { line, fate: told.and_then(&mut one) }).collect()
}
