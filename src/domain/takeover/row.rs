//! One row of a table, read.

use std::collections::HashMap;
use std::fmt;

use time::Date;

use super::{Column, DayOrder, DayRefused, Mapping, read_day};
use crate::domain::ids::{ProductId, ServiceId};
use crate::domain::person::{
    BirthDate, BirthDateRefused, HomeDial, Mail, MailRefused, PersonName, PersonNameRefused, Phone, PhoneRefused,
};
use crate::domain::skin_test::TestResult;
use crate::{t, tf};

/// A row as it stands in the file.
#[derive(Clone, PartialEq, Eq)]
pub struct Row {
    /// The line on which it begins, from 1.
    pub line: u64,
    /// Its cells.
    pub cells: Vec<String>,
}

/// Who a row is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Her name.
    pub name: PersonName,
    /// Her mail.
    pub mail: Mail,
    /// Her date of birth.
    pub born: BirthDate,
    /// Her phone, which only a new client needs.
    pub phone: Result<Phone, PhoneRefused>,
}

/// A visit that was elsewhere.
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct PastVisit {
    /// What was done.
    pub service: ServiceId,
    /// When.
    pub on: Date,
    /// Anything about it.
    pub note: String,
}

/// A skin test that was elsewhere.
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct PastTest {
    /// What was tested.
    pub product: ProductId,
    /// When.
    pub on: Date,
    /// What was seen; nothing where the papers don't say.
    pub result: Option<TestResult>,
}

/// What a row tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// Of whom.
    pub person: Person,
    /// A visit.
    pub visit: Option<PastVisit>,
    /// A skin test.
    pub test: Option<PastTest>,
}

/// Why a row is left out, whole: half a row would be half a truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Wrong {
    /// The name.
    #[error("{0}")]
    Name(#[from] PersonNameRefused),
    /// The mail.
    #[error("{0}")]
    Mail(#[from] MailRefused),
    /// The phone of somebody new.
    #[error("{0}")]
    Phone(PhoneRefused),
    /// The date of birth.
    #[error("{}", tf("the date of birth {wrong}").with("wrong", .0))]
    BirthDay(DayRefused),
    /// The date of birth is a day, but not hers.
    #[error("{0}")]
    Born(#[from] BirthDateRefused),
    /// The day of a visit.
    #[error("{}", tf("the day of the visit {wrong}").with("wrong", .0))]
    VisitDay(DayRefused),
    /// It is today or still to come: such a visit is booked.
    #[error("{}", t("the visit is not past; book it instead"))]
    VisitNotPast,
    /// Earlier than she was born, or more than fifty years ago.
    #[error("{}", t("the visit lies too far back"))]
    VisitTooOld,
    /// What was done is not said.
    #[error("{}", t("the service is missing"))]
    ServiceMissing,
    /// The catalogue doesn't know it.
    #[error("{}", t("no service of the studio has this name"))]
    Service,
    /// Too much is said.
    #[error("{}", tf("the note has more than {most} characters").with("most", .0))]
    Note(usize),
    /// The day of a skin test.
    #[error("{}", tf("the day of the skin test {wrong}").with("wrong", .0))]
    TestDay(DayRefused),
    /// It is today or still to come.
    #[error("{}", t("the skin test is not past; record it at the chair instead"))]
    TestNotPast,
    /// Earlier than she was born, or more than fifty years ago.
    #[error("{}", t("the skin test lies too far back"))]
    TestTooOld,
    /// What was tested is not said.
    #[error("{}", t("the tested product is missing"))]
    ProductMissing,
    /// The register doesn't know it.
    #[error("{}", t("no product of the register has this name"))]
    Product,
    /// What was seen can't be told from the words.
    #[error("{}", t("the result is none of the words that are understood"))]
    Result,
}

/// The most characters of a note.
const NOTE: usize = 500;

/// What the names in a row stand for, in small letters. A name that two products share stands for neither.
#[derive(Debug, Clone, Default)]
pub struct Catalogue {
    /// Services.
    pub services: HashMap<String, ServiceId>,
    /// Products.
    pub products: HashMap<String, ProductId>,
}

/// Words for what was seen, in small letters.
const RESULTS: [(TestResult, &[&str]); 5] = [
    (
        TestResult::NoVisibleChange,
        &["clear", "negative", "none", "no reaction", "no visible change", "ok", "passed", "negativ", "keine reaktion"],
    ),
    (TestResult::FaintPink, &["faint", "faint pink", "unclear", "doubtful", "unklar"]),
    (
        TestResult::ItchOrRaised,
        &["itch", "itching", "raised", "redness", "reaction", "positive", "failed", "positiv", "reaktion"],
    ),
    (TestResult::SwellingOrBlister, &["swelling", "blister", "blisters", "weeping", "schwellung", "blasen"]),
    (TestResult::EyeOrBreathing, &["eyes", "breathing", "eye or breathing"]),
];

/// Fifty years in days: before that no papers speak of lifts.
const FURTHEST: i64 = 50 * 366;

impl Told {
    /// Reads a row.
    ///
    /// # Errors
    /// The first thing that is wrong with it, from left to right.
    pub fn read(
        row: &Row,
        mapping: &Mapping,
        order: DayOrder,
        home: &HomeDial,
        catalogue: &Catalogue,
        today: Date,
    ) -> Result<Self, Wrong> {
        let cell = |column| mapping.cell(&row.cells, column);
        let name = match cell(Column::Name) {
            "" => PersonName::parse(&format!("{} {}", cell(Column::Given), cell(Column::Family)))?,
            name => PersonName::parse(name)?,
        };
        let mail = Mail::parse(cell(Column::Mail))?;
        let born = BirthDate::of(read_day(cell(Column::Born), order).map_err(Wrong::BirthDay)?, today)?;
        let phone = Phone::parse(cell(Column::Phone), home);
        let visit = match (cell(Column::VisitOn), cell(Column::Service)) {
            ("", "") => None,
            (_, "") => return Err(Wrong::ServiceMissing),
            (day, service) => {
                let on = read_day(day, order).map_err(Wrong::VisitDay)?;
                past(on, born, today, Wrong::VisitNotPast, Wrong::VisitTooOld)?;
                let service = catalogue.services.get(&service.to_lowercase()).cloned().ok_or(Wrong::Service)?;
                let note = cell(Column::Note).to_owned();
                if note.chars().count() > NOTE {
                    return Err(Wrong::Note(NOTE));
                }
                Some(PastVisit { service, on, note })
            }
        };
        let test = match (cell(Column::TestOn), cell(Column::Product), cell(Column::Result)) {
            ("", "", "") => None,
            (_, "", _) => return Err(Wrong::ProductMissing),
            (day, product, result) => {
                let on = read_day(day, order).map_err(Wrong::TestDay)?;
                past(on, born, today, Wrong::TestNotPast, Wrong::TestTooOld)?;
                let product = catalogue.products.get(&product.to_lowercase()).cloned().ok_or(Wrong::Product)?;
                let result = if result.is_empty() { None } else { Some(seen(result).ok_or(Wrong::Result)?) };
                Some(PastTest { product, on, result })
            }
        };
        Ok(Self { person: Person { name, mail, born, phone }, visit, test })
    }
}

/// A day that lies before today, after her birth and within reach.
fn past(on: Date, born: BirthDate, today: Date, not_past: Wrong, too_old: Wrong) -> Result<(), Wrong> {
    if on >= today {
        Err(not_past)
    } else if on < born.date() || (today - on).whole_days() > FURTHEST {
        Err(too_old)
    } else {
        Ok(())
    }
}

fn seen(words: &str) -> Option<TestResult> {
    let words = words.to_lowercase();
    if let Some(result) = TestResult::parse(&words) {
        return Some(result);
    }
    RESULTS.iter().find(|(_, known)| known.contains(&words.as_str())).map(|(result, _)| *result)
}

hidden!(PastVisit, PastTest);

impl fmt::Debug for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Row").field("line", &self.line).finish_non_exhaustive()
    }
}
