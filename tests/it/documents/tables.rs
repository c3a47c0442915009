//! The tables hold the record's facts, and the dictionary names every column.

use palpebra::documents::tables::{PAPERS, TABLES, dictionary};

use super::sample;

fn read(bytes: &[u8]) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(bytes);
    reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn table(name: &str) -> Vec<Vec<String>> {
    let table = TABLES.iter().find(|table| table.name == name).unwrap();
    let mut out = Vec::new();
    table.write_header(&mut out);
    table.write_rows(&sample::client(1), &mut out);
    read(&out)
}

#[test]
fn every_table_has_rows_as_wide_as_its_header() {
    for t in &TABLES {
        let rows = table(t.name);
        assert!(rows.len() > 1, "{} has no row in the sample", t.name);
        for row in &rows {
            assert_eq!(row.len(), t.columns.len(), "{}", t.name);
        }
    }
}

#[test]
fn the_rows_hold_the_record() {
    let treatments = table("treatments");
    let column = |name: &str| treatments[0].iter().position(|column| column == name).unwrap();
    assert_eq!(treatments.len(), 3, "both versions");
    assert_eq!(treatments[1][column("shield")], "M");
    assert_eq!(treatments[2][column("shield")], "L");
    assert_eq!(treatments[2][column("why_corrected")], "Shield size was noted wrong");
    assert_eq!(treatments[1][column("started_utc")], "2026-05-08T08:02:00Z");
    assert_eq!(treatments[1][column("started_local")], "2026-05-08T10:02:00");
    let products = table("products_used");
    assert_eq!(products[1][4..], ["Hollow Lift A", "HLA-881", "2027-01-31"]);
    assert_eq!(table("clients")[1][4], "'+49301234567", "guarded against spreadsheets");
    let ticked = table("ticked");
    let ticked: Vec<_> = ticked[1..].iter().map(|row| row[2..5].join(", ")).collect();
    assert_eq!(
        ticked,
        ["on_the_day, Lenses are out, Maud Tansy", "hygiene, Tools come from a closed pouch, Maud Tansy"]
    );
    let visits = table("visits");
    let at = visits[0].iter().position(|column| column == "guardian").unwrap();
    let beside = ["Wendla Nørgård", "Maud Tansy", "2026-05-08T07:57:00Z", "Marrow Tint 3 (batch MT3-0500)"];
    assert_eq!(visits[1][at..at + 4], beside);
    let consents = table("consents");
    let unticked = consents[0].iter().position(|column| column == "not_ticked").unwrap();
    assert_eq!(consents[1][unticked], "Photos may be kept in my record.");
}

#[test]
fn papers_stand_in_a_table_of_their_own() {
    let mut out = Vec::new();
    PAPERS.write_header(&mut out);
    sample::papers().iter().for_each(|paper| PAPERS.write_rows(paper, &mut out));
    let rows = read(&out);
    let cell = |row: usize, name: &str| &rows[row][rows[0].iter().position(|column| column == name).unwrap()];
    assert!(rows.len() == 3 && rows.iter().all(|row| row.len() == PAPERS.columns.len()));
    assert_eq!((cell(1, "kind").as_str(), cell(2, "kind").as_str()), ("insurance policy", "certificate"));
    assert_eq!(cell(1, "services"), "Lash lift\nLift and tint");
    assert_eq!((cell(1, "expires").as_str(), cell(2, "expires").as_str()), ("2026-12-31", ""));
    assert_eq!(cell(1, "removed_utc"), "2026-06-01T10:00:00Z");
    assert_eq!(cell(2, "issuer"), "'=Invented School", "guarded against spreadsheets");
    let past = table("past_visits");
    assert_eq!(past[1][2..5], ["2025-11-07", "Lift and tint", "short shields, as always"]);
}

#[test]
fn the_dictionary_names_every_column_once() {
    let rows = read(&dictionary());
    let mut names: Vec<_> = rows[1..].iter().map(|row| (row[0].clone(), row[2].clone())).collect();
    let count = TABLES.iter().map(|t| t.columns.len()).sum::<usize>() + PAPERS.columns.len();
    assert_eq!(names.len(), count);
    names.sort();
    names.dedup();
    assert_eq!(names.len(), count, "a table has a column twice");
}
