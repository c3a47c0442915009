use proptest::prelude::*;
use time::macros::date;

use super::*;
use crate::domain::ids::{ClientId, ProductId, ServiceId};
use crate::domain::person::{HomeDial, MailRefused, PersonNameRefused, PhoneRefused};
use crate::domain::skin_test::TestResult;

const TODAY: time::Date = date!(2026 - 03 - 02);

fn catalogue() -> Catalogue {
    Catalogue {
        services: [("lash lift".to_owned(), ServiceId::from_random([1; 16]))].into(),
        products: [("night tint".to_owned(), ProductId::from_random([2; 16]))].into(),
    }
}

fn mapping() -> Mapping {
    let heads = [
        "Name",
        "E-Mail",
        "Phone",
        "Date of birth",
        "Last visit",
        "Treatment",
        "Notes",
        "Patch test",
        "Product",
        "Result",
    ];
    Mapping::guess(heads)
}

fn told(cells: &[&str]) -> Result<Told, Wrong> {
    let row = Row { line: 2, cells: cells.iter().map(|cell| (*cell).to_owned()).collect() };
    Told::read(&row, &mapping(), DayOrder::DayFirst, &HomeDial::parse("49").unwrap(), &catalogue(), TODAY)
}

const MIA: [&str; 10] = [
    "Mia Holm",
    "mia@clients.example.org",
    "030 23125042",
    "30.5.1994",
    "2.1.2026",
    "Lash Lift",
    "as always",
    "1.1.2026",
    "Night Tint",
    "reaction",
];

fn but(place: usize, cell: &'static str) -> Result<Told, Wrong> {
    let mut cells = MIA;
    cells[place] = cell;
    told(&cells)
}

#[test]
fn heads_are_understood_and_columns_checked() {
    assert_eq!(mapping().check(), Ok(()));
    assert!(mapping().columns().iter().all(Option::is_some), "{:?}", mapping());
    let two = Mapping::guess(["Name", "Client", "Shoe size"]);
    assert_eq!(two.columns(), [Some(Column::Name), None, None]);
    assert_eq!(two.check(), Err(MappingRefused::Missing(Column::Mail)));
    let parse = |columns: &[Column]| Mapping::parse(columns.iter().copied().map(Some).collect());
    let person = [Column::Given, Column::Family, Column::Mail, Column::Born];
    assert!(parse(&person).is_ok());
    assert_eq!(parse(&person[1..]), Err(MappingRefused::Missing(Column::Name)));
    let with = |more: &[Column]| parse(&[&person, more].concat());
    assert_eq!(with(&[Column::Mail]), Err(MappingRefused::Twice(Column::Mail)));
    let (there, missing) = (Column::Service, Column::VisitOn);
    assert_eq!(with(&[Column::Service]), Err(MappingRefused::Alone { there, missing }));
    for column in Column::ALL {
        assert_eq!(Column::parse(column.as_str()), Some(column));
    }
}

#[test]
fn days_are_read_in_the_order_that_was_said_and_never_guessed() {
    for (text, order, day) in [
        ("1994-05-30", DayOrder::MonthFirst, date!(1994 - 05 - 30)),
        ("1994-05-30T00:00:00", DayOrder::DayFirst, date!(1994 - 05 - 30)),
        ("30.5.1994", DayOrder::DayFirst, date!(1994 - 05 - 30)),
        ("30/05/1994 00:00", DayOrder::DayFirst, date!(1994 - 05 - 30)),
        ("5/4/1994", DayOrder::DayFirst, date!(1994 - 04 - 05)),
        ("5/4/1994", DayOrder::MonthFirst, date!(1994 - 05 - 04)),
        ("29.2.2024", DayOrder::DayFirst, date!(2024 - 02 - 29)),
    ] {
        assert_eq!(read_day(text, order), Ok(day), "{text}");
    }
    for (text, why) in [
        ("", DayRefused::Missing),
        ("30.5.94", DayRefused::ShortYear),
        ("30.2.1994", DayRefused::NotADay),
        ("5/30/1994", DayRefused::NotADay),
        ("34484", DayRefused::NotADay),
        ("30. May 1994", DayRefused::NotADay),
        ("--05-30", DayRefused::NotADay),
        ("٣٠.٥.١٩٩٤", DayRefused::NotADay),
    ] {
        assert_eq!(read_day(text, DayOrder::DayFirst), Err(why), "{text}");
    }
}

#[test]
fn a_row_is_read_whole_or_not_at_all() {
    let mia = told(&MIA).unwrap();
    assert_eq!(mia.person.phone.unwrap().as_str(), "+493023125042");
    assert_eq!(mia.visit.unwrap().on, date!(2026 - 01 - 02));
    assert_eq!(mia.test.unwrap().result, Some(TestResult::ItchOrRaised));
    let none = told(&MIA[..4]).unwrap();
    assert!(none.visit.is_none() && none.test.is_none());
    for (place, cell, why) in [
        (0, "", Wrong::Name(PersonNameRefused::Missing)),
        (1, "mia", Wrong::Mail(MailRefused::NoAt)),
        (3, "", Wrong::BirthDay(DayRefused::Missing)),
        (3, "30.5.94", Wrong::BirthDay(DayRefused::ShortYear)),
        (4, "32.1.2026", Wrong::VisitDay(DayRefused::NotADay)),
        (4, "2.3.2026", Wrong::VisitNotPast),
        (4, "1.1.1990", Wrong::VisitTooOld),
        (5, "", Wrong::ServiceMissing),
        (5, "Lash lifting", Wrong::Service),
        (7, "", Wrong::TestDay(DayRefused::Missing)),
        (7, "3.3.2026", Wrong::TestNotPast),
        (8, "", Wrong::ProductMissing),
        (8, "Day Tint", Wrong::Product),
        (9, "hm", Wrong::Result),
    ] {
        assert_eq!(but(place, cell), Err(why), "{place} {cell}");
    }
    assert_eq!(but(2, "").unwrap().person.phone, Err(PhoneRefused::Missing), "only somebody new needs one");
}

fn ids() -> impl FnMut() -> ClientId {
    let mut next = 0_u8;
    move || {
        next += 1;
        ClientId::from_random([next; 16])
    }
}

fn rows(rows: &[Result<Told, Wrong>]) -> Vec<(u64, Result<Told, Wrong>)> {
    rows.iter().cloned().zip(2..).map(|(told, line)| (line, told)).collect()
}

/// What is known once a plan was carried out.
fn after(planned: &[Planned]) -> Gathered {
    let mut known = Gathered::default();
    for fate in planned.iter().filter_map(|row| row.fate.as_ref().ok()) {
        let person = &fate.told.person;
        known.client(&fate.client, &person.name, &person.mail, person.born);
        if let Some(visit) = &fate.visit {
            known.visit(&fate.client, &visit.service, visit.on);
        }
        if let Some(test) = &fate.test {
            known.test(&fate.client, &test.product, test.on, test.result);
        }
    }
    known
}

#[test]
fn a_known_client_is_joined_and_never_doubled() {
    let again = told(&["MIA HOLM", "Mia@Clients.example.org", "", "1994-05-30", "3.1.2026", "lash lift"]);
    let daughter = told(&["Ida Holm", "mia@clients.example.org", "030 23125042", "2012-05-30"]);
    let no_phone = told(&["Zoë Løve", "zoe@clients.example.org", "", "1991-06-14"]);
    let planned = plan(rows(&[told(&MIA), again, daughter, no_phone, told(&MIA)]), Gathered::default(), ids());
    let fate = |at: usize| planned[at].fate.as_ref().unwrap();
    assert!(fate(0).new.is_some() && fate(0).visit.is_some() && fate(0).test.is_some());
    assert_eq!((&fate(1).client, fate(1).new.is_some(), fate(1).visit.is_some()), (&fate(0).client, false, true));
    assert!(fate(2).new.is_some() && fate(2).shares_mail && fate(2).client != fate(0).client);
    assert_eq!(planned[3].fate, Err(Wrong::Phone(PhoneRefused::Missing)));
    assert!(fate(4).is_known());
    let second = plan(rows(&[told(&MIA)]), after(&planned), ids());
    assert_eq!(second[0].fate.as_ref().unwrap().client, fate(0).client);
}

proptest! {
    #[test]
    fn the_same_rows_again_change_nothing(
        picks in proptest::collection::vec((0..3_usize, 0..3_usize, 0..4_usize, 0..3_usize), 0..20)
    ) {
        let names = ["Mia Holm", "mia holm", "Zoë Løve"];
        let mails = ["mia@clients.example.org", "zoe@clients.example.org", "broken"];
        let days = ["", "2.1.2026", "3.1.2026", "3.1.26"];
        let results = ["", "clear", "reaction"];
        let all: Vec<_> = picks.iter().map(|&(name, mail, day, result)| {
            let service = if days[day].is_empty() { "" } else { "Lash lift" };
            let product = if results[result].is_empty() { "" } else { "Night tint" };
            let tested = if product.is_empty() { "" } else { "1.1.2026" };
            told(&[names[name], mails[mail], "030 23125042", "1994-05-30", days[day], service, "", tested, product, results[result]])
        }).collect();
        let first = plan(rows(&all), Gathered::default(), ids());
        let again = plan(rows(&all), after(&first), ids());
        prop_assert_eq!(first.len(), all.len());
        for (one, two) in first.iter().zip(&again) {
            prop_assert_eq!(one.line, two.line);
            match (&one.fate, &two.fate) {
                (Ok(one), Ok(two)) => {
                    prop_assert_eq!(&one.client, &two.client);
                    prop_assert!(two.is_known());
                }
                (one, two) => prop_assert_eq!(one.as_ref().err(), two.as_ref().err()),
            }
        }
        let added = first.iter().filter_map(|row| row.fate.as_ref().ok()).filter(|fate| fate.new.is_some()).count();
        prop_assert!(added <= 4, "two names in two mails at most");
    }

    #[test]
    fn nothing_in_a_cell_breaks_the_reader(cells in proptest::collection::vec("\\PC{0,30}|[0-9./-]{0,12}", 0..12)) {
        let cells: Vec<&str> = cells.iter().map(String::as_str).collect();
        if let Ok(told) = told(&cells) {
            prop_assert!(told.visit.is_none_or(|visit| visit.on < TODAY));
            prop_assert!(told.test.is_none_or(|test| test.on < TODAY));
        }
    }
}

#[test]
fn a_name_in_two_columns_and_days_up_to_the_limits() {
    let mapping = Mapping::parse([Column::Given, Column::Family, Column::Mail, Column::Born].map(Some).into()).unwrap();
    let cells = ["Mia", "Holm", "mia@clients.example.org", "30.5.1994"].map(str::to_owned);
    let row = Row { line: 7, cells: cells.into() };
    assert_eq!(format!("{row:?}"), "Row { line: 7, .. }");
    let home = HomeDial::parse("49").unwrap();
    let mia = Told::read(&row, &mapping, DayOrder::DayFirst, &home, &catalogue(), TODAY).unwrap();
    assert_eq!(mia.person.name.as_str(), "Mia Holm");

    assert_eq!(but(4, "30.5.1994").unwrap().visit.unwrap().on, date!(1994 - 05 - 30), "the day of her birth");
    assert_eq!(but(4, "29.5.1994"), Err(Wrong::VisitTooOld));
    let old = |day: &'static str| {
        let mut cells = MIA;
        (cells[3], cells[4]) = ("1.1.1950", day);
        told(&cells)
    };
    assert!(old("24.1.1976").is_ok(), "fifty years of 366 days back");
    assert_eq!([old("23.1.1976"), old("1.1.1976")], [Err(Wrong::VisitTooOld), Err(Wrong::VisitTooOld)]);
    let noted = |length: usize| {
        let note = "é".repeat(length);
        let mut cells = MIA;
        cells[6] = &note;
        told(&cells)
    };
    assert_eq!(noted(500).unwrap().visit.unwrap().note.chars().count(), 500);
    assert_eq!([noted(501), noted(600)], [Err(Wrong::Note(500)), Err(Wrong::Note(500))]);
    assert_eq!(read_day("1994--05", DayOrder::DayFirst), Err(DayRefused::NotADay));
}

#[test]
fn a_row_that_brings_something_is_not_known() {
    let planned = plan(rows(&[told(&MIA)]), Gathered::default(), ids());
    let known = || after(&planned);
    let again = |cells: &[&str]| plan(rows(&[told(cells)]), known(), ids())[0].fate.clone().unwrap();
    assert!(again(&MIA).is_known() && !again(&MIA).shares_mail, "she shares it with nobody");
    let mut visit = MIA;
    visit[4] = "3.1.2026";
    let mut test = MIA;
    test[7] = "2.1.2026";
    assert!(!again(&visit).is_known() && !again(&test).is_known());
    let mut other = MIA;
    (other[0], other[1]) = ("Ida Berg", "ida@clients.example.org");
    assert!(!again(&other).is_known() && !again(&other).shares_mail);
}
