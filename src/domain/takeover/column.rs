//! Which column of a table holds what.

use serde::{Deserialize, Serialize};

/// What a column can hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Column {
    /// The whole name.
    Name,
    /// The given name alone.
    Given,
    /// The family name alone.
    Family,
    /// The mail address.
    Mail,
    /// The telephone number.
    Phone,
    /// The date of birth.
    Born,
    /// The day of a past visit.
    VisitOn,
    /// What was done then.
    Service,
    /// Anything about that visit.
    Note,
    /// The day of a past skin test.
    TestOn,
    /// What was tested.
    Product,
    /// What was seen.
    Result,
}

/// Heads of columns as people write them, in small letters without signs. The longer, rarer ones stand before those that
/// they contain.
const HEADS: [(Column, &[&str]); 12] = [
    (
        Column::TestOn,
        &["skintest", "skintestdate", "patchtest", "patchtestdate", "testdate", "testedon", "teston", "hauttest"],
    ),
    (Column::Product, &["product", "testedproduct", "testproduct", "produkt"]),
    (Column::Result, &["result", "testresult", "ergebnis"]),
    (
        Column::Born,
        &[
            "born",
            "bornon",
            "birth",
            "birthdate",
            "birthday",
            "dateofbirth",
            "dob",
            "bday",
            "geburtsdatum",
            "geburtstag",
        ],
    ),
    (
        Column::VisitOn,
        &[
            "visit",
            "visiton",
            "visitdate",
            "dateofvisit",
            "treatedon",
            "treatmentdate",
            "lastvisit",
            "date",
            "datum",
            "termin",
        ],
    ),
    (Column::Service, &["service", "treatment", "treatedwith", "behandlung", "leistung"]),
    (Column::Note, &["note", "notes", "remark", "remarks", "comment", "notiz", "bemerkung"]),
    (Column::Mail, &["mail", "email", "emailaddress", "mailaddress"]),
    (
        Column::Phone,
        &["phone", "phonenumber", "telephone", "tel", "mobile", "mobilenumber", "cell", "telefon", "handy"],
    ),
    (Column::Given, &["given", "givenname", "firstname", "forename", "vorname"]),
    (Column::Family, &["family", "familyname", "lastname", "surname", "nachname"]),
    (Column::Name, &["name", "fullname", "client", "clientname", "customer", "customername", "kundin", "kunde"]),
];

impl Column {
    /// Every one, in the order of a form.
    pub const ALL: [Self; 12] = [
        Self::Name,
        Self::Given,
        Self::Family,
        Self::Mail,
        Self::Phone,
        Self::Born,
        Self::VisitOn,
        Self::Service,
        Self::Note,
        Self::TestOn,
        Self::Product,
        Self::Result,
    ];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::Given => "given",
            Self::Family => "family",
            Self::Mail => "mail",
            Self::Phone => "phone",
            Self::Born => "born",
            Self::VisitOn => "visit_on",
            Self::Service => "service",
            Self::Note => "note",
            Self::TestOn => "test_on",
            Self::Product => "product",
            Self::Result => "result",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|column| column.as_str() == word)
    }

    /// What a column under this head most likely holds.
    pub fn guess(head: &str) -> Option<Self> {
        let key: String = head.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
        HEADS.iter().find(|(_, heads)| heads.contains(&key.as_str())).map(|(column, _)| *column)
    }
}

/// What each column of a table holds, by its place; nothing where it is not taken over.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mapping(Vec<Option<Column>>);

/// Why columns can't be read so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MappingRefused {
    /// Two columns for one thing.
    #[error("two columns can't hold the same")]
    Twice(Column),
    /// Without name, mail and date of birth nobody is told from another.
    #[error("a column is missing that tells one client from another")]
    Missing(Column),
    /// A visit without a service, a skin test without a product, or the other way round.
    #[error("a column is missing that goes with another")]
    Alone {
        /// This one is there.
        there: Column,
        /// This one is not.
        missing: Column,
    },
}

/// A column on the left is worth nothing without the one on the right.
const NEEDS: [(Column, Column); 6] = [
    (Column::VisitOn, Column::Service),
    (Column::Service, Column::VisitOn),
    (Column::Note, Column::VisitOn),
    (Column::TestOn, Column::Product),
    (Column::Product, Column::TestOn),
    (Column::Result, Column::TestOn),
];

impl Mapping {
    /// What the heads suggest; of two that suggest the same, the first.
    pub fn guess<'a>(heads: impl IntoIterator<Item = &'a str>) -> Self {
        let mut columns: Vec<Option<Column>> = Vec::new();
        for head in heads {
            let column = Column::guess(head).filter(|column| !columns.contains(&Some(*column)));
            columns.push(column);
        }
        Self(columns)
    }

    /// What somebody chose, column by column.
    ///
    /// # Errors
    /// [`MappingRefused`]
    pub fn parse(columns: Vec<Option<Column>>) -> Result<Self, MappingRefused> {
        let mapping = Self(columns);
        mapping.check().map(|()| mapping)
    }

    /// Whether rows can be read with it.
    ///
    /// # Errors
    /// [`MappingRefused`]
    pub fn check(&self) -> Result<(), MappingRefused> {
        for column in Column::ALL {
            if self.0.iter().filter(|one| **one == Some(column)).count() > 1 {
                return Err(MappingRefused::Twice(column));
            }
        }
        let named = self.has(Column::Name) || (self.has(Column::Given) && self.has(Column::Family));
        if !named {
            return Err(MappingRefused::Missing(Column::Name));
        }
        if let Some(missing) = [Column::Mail, Column::Born].into_iter().find(|column| !self.has(*column)) {
            return Err(MappingRefused::Missing(missing));
        }
        match NEEDS.into_iter().find(|(there, missing)| self.has(*there) && !self.has(*missing)) {
            Some((there, missing)) => Err(MappingRefused::Alone { there, missing }),
            None => Ok(()),
        }
    }

    /// Whether a column holds this.
    pub fn has(&self, column: Column) -> bool {
        self.0.contains(&Some(column))
    }

    /// What the columns hold, by place.
    pub fn columns(&self) -> &[Option<Column>] {
        &self.0
    }

    /// The cell of a row that holds this, without the spaces around it; empty where there is none.
    pub fn cell<'a>(&self, cells: &'a [String], column: Column) -> &'a str {
        let place = self.0.iter().position(|one| *one == Some(column));
        place.and_then(|place| cells.get(place)).map_or("", |cell| cell.trim())
    }
}
