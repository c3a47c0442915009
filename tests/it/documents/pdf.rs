//! The paper record, read back with programs that had no part in writing it (qpdf, poppler).

use std::io::Write as _;
use std::process::Command;

use palpebra::documents::pdf::{PdfRefused, Press};
use palpebra::documents::record::{ClientRecord, ExportHead};
use palpebra::language::Language;
use proptest::prelude::*;

use super::sample;

fn run(program: &str, args: &[&str], pdf: &[u8]) -> String {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(pdf).unwrap();
    let path = file.path().to_str().unwrap().to_owned();
    let args = args.iter().map(|arg| if *arg == "FILE" { path.as_str() } else { arg });
    let out =
        Command::new(program).args(args).output().unwrap_or_else(|e| panic!("{program} (tests/run installs it): {e}"));
    assert!(out.status.success(), "{program}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8_lossy(&out.stdout).into_owned()
}

fn client_record(head: &ExportHead, client: &ClientRecord) -> Result<Vec<u8>, PdfRefused> {
    Press::default().client_record(head, client)
}

fn words(pdf: &[u8]) -> String {
    let text = run("pdftotext", &["-layout", "FILE", "-"], pdf);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_record_holds_its_facts() {
    let pdf = client_record(&sample::head(), &sample::client(1)).unwrap();
    if let Ok(path) = std::env::var("PALPEBRA_KEEP_PDF") {
        std::fs::write(path, &pdf).unwrap();
    }
    let text = words(&pdf);
    for fact in [
        "Fernlight Lash Room",
        "Zoë Łącka-Nørgård 1",
        "17 February 1994",
        "Asked for by the insurer, file 77-B",
        "Itchy lids after a hair dye in 2019",
        "2 May 2026, 20:40 (18:40 UTC)",
        "7 May 2026, 00:30 (6 May 2026,",
        "behind the left ear",
        "MT3-0412",
        "Photos may be kept in my record.",
        "not ticked",
        "HLA-881",
        "31 January 2027",
        "8 min",
        "Shield size was noted wrong",
        "Asked: a single itch after home dye, none at this test",
        "slight redness of the right lid",
        "Dr Elowen",
        "Keep lashes dry for 24 hours.",
        "Tools come from a closed pouch",
        "Wendla Nørgård",
        "MT3-0500",
        "visit 40",
        "7 November 2025",
        "short shields",
        "taken over from elsewhere on 5",
        "not recorded",
        "does not rule out a later one",
    ] {
        assert!(text.contains(fact), "{fact:?} is missing in: {text}");
    }
}

#[test]
fn the_record_is_in_the_language_of_the_studio_and_says_so() {
    for (language, facts) in [
        (Language::English, ["Date of birth", "17 February 1994", "Skin tests"]),
        (Language::German, ["Geburtsdatum", "17. Februar 1994", "Hauttests"]),
    ] {
        let pdf = language.within(|| client_record(&sample::head(), &sample::client(1))).unwrap();
        let text = words(&pdf);
        for fact in facts {
            assert!(text.contains(fact), "{fact:?} is missing in: {text}");
        }
        let plain = run("qpdf", &["--qdf", "--object-streams=disable", "FILE", "-"], &pdf);
        assert!(plain.contains(&format!("/Lang ({})", language.code())), "{}", language.code());
    }
}

#[test]
fn every_page_is_numbered_and_a_broken_table_repeats_its_header() {
    let pdf = client_record(&sample::head(), &sample::client(1)).unwrap();
    let pages: usize = run("qpdf", &["--show-npages", "FILE"], &pdf).trim().parse().unwrap();
    assert!(pages >= 4);
    let text = words(&pdf);
    for page in 1..=pages {
        assert!(text.contains(&format!("page {page} of {pages}")), "page {page} of {pages}");
    }
    assert!(text.matches("Hash begins").count() >= 2, "the log runs over two pages");
}

#[test]
fn the_file_is_sound_and_says_that_it_is_for_keeping_and_for_everybody() {
    let pdf = client_record(&sample::head(), &sample::client(1)).unwrap();
    assert!(run("qpdf", &["--check", "FILE"], &pdf).contains("No syntax or stream encoding errors found"));
    let info = run("pdfinfo", &["-meta", "FILE"], &pdf);
    for mark in ["<pdfaid:part>3", "<pdfaid:conformance>A", "<pdfuaid:part>1"] {
        assert!(info.contains(mark), "{mark}: {info}");
    }
    let fonts = run("pdffonts", &["FILE"], &pdf);
    for font in fonts.lines().skip(2) {
        let flags: Vec<_> = font.split_whitespace().rev().skip(2).take(3).collect();
        assert_eq!(flags, ["yes", "yes", "yes"], "embedded, subset, with a Unicode map: {font}");
    }
    let structure = run("pdfinfo", &["-struct", "FILE"], &pdf);
    for part in ["H1", "H2", "Table", "TH", "Figure"] {
        assert!(structure.contains(part), "{part}");
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let once = client_record(&sample::head(), &sample::client(1)).unwrap();
    assert!(once == client_record(&sample::head(), &sample::client(1)).unwrap());
    assert!(once != client_record(&sample::head(), &sample::client(2)).unwrap());
    let mut press = Press::default();
    for n in [2, 1, 2, 1] {
        let printed = press.client_record(&sample::head(), &sample::client(n)).unwrap();
        assert_eq!(printed == once, n == 1, "what was printed before doesn't show");
    }
}

#[test]
fn names_in_many_scripts_can_be_read_back() {
    let names = [
        "Ngô Thị Đào",
        "Σοφία Ψάλτη",
        "Дарья Щукина",
        "נועה בר",
        "نورة",
        "Սոնա",
        "ნინო",
        "ሰላም",
        "林佳穎",
        "さくら",
        "지우",
    ];
    for name in names {
        let mut client = sample::client(1);
        client.person.name = name.to_owned();
        let text = words(&client_record(&sample::head(), &client).unwrap());
        let plain: String =
            text.chars().filter(|c| !matches!(c, '\u{202A}'..='\u{202E}' | '\u{200E}' | '\u{200F}')).collect();
        assert!(plain.contains(name), "{name}: {}", plain.chars().take(300).collect::<String>());
    }
}

#[test]
fn a_character_without_a_font_is_written_as_its_number() {
    let mut client = sample::client(1);
    client.person.name = "Mo \u{1F98B} Fen".to_owned();
    assert!(words(&client_record(&sample::head(), &client).unwrap()).contains("Mo [U+1F98B] Fen"));
}

#[test]
fn an_empty_record_and_an_endless_one_are_both_written() {
    let mut client = sample::client(1);
    client.visits.clear();
    client.past_visits.clear();
    client.answers.clear();
    client.skin_tests.clear();
    client.consents.clear();
    client.reactions.clear();
    client.letters.clear();
    client.audit.clear();
    let empty = words(&client_record(&sample::head(), &client).unwrap());
    assert!(empty.contains("None on file.") && !empty.contains("taken over"), "{empty}");
    let mut client = sample::client(1);
    client.answers[0].answers[0].answer = "word ".repeat(20_000);
    client.answers[0].answers[1].question = "x".repeat(20_000);
    client.consents[0].text = "line\n".repeat(500);
    assert!(client_record(&sample::head(), &client).is_ok());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, ..ProptestConfig::default() })]
    #[test]
    fn no_text_stops_the_paper(text in any::<String>(), name in "\\PC{0,40}") {
        let mut client = sample::client(1);
        client.person.name = name;
        client.person.address = Some(text.clone());
        client.consents[0].text = text.clone();
        client.audit[0].object = text;
        prop_assert!(client_record(&sample::head(), &client).is_ok());
    }
}
