//! What reads bytes that others wrote, and what must hold of it whatever they are: it doesn't panic, and what it took it takes
//! again as it wrote it. How long and how much memory it may take, `tests/run --fuzz` says.
//!
//! libFuzzer runs these on bytes that it makes up; `tests/it/fuzz.rs` runs them on every seed.

use std::convert::Infallible;
use std::fmt::Display;
use std::io::{self, Cursor, Read};
use std::sync::LazyLock;

use axum::body::Body;
use axum::extract::{FromRequest, Multipart, Request};
use axum::http::header::CONTENT_TYPE;
use futures_util::stream;
use palpebra::actions::booking::Choice;
use palpebra::cli::settings;
use palpebra::documents::csv;
use palpebra::documents::sheet::{self, Charset, Separator, Sheet};
use palpebra::documents::upload::{self, Checked, MOST_LOGO_BYTES, Takes};
use palpebra::documents::verify::{Limits, verify_within};
use palpebra::domain::accent::Colour;
use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::consent::{ConsentText, Drawing};
use palpebra::domain::fingerprint::Fingerprint;
use palpebra::domain::hours::{DayHours, clock, parse_clock};
use palpebra::domain::ids::VisitId;
use palpebra::domain::label::{Label, Note};
use palpebra::domain::money::{Currency, Money};
use palpebra::domain::outside::{Address, busy_times};
use palpebra::domain::person::{BirthDate, HomeDial, Mail, PersonName, Phone};
use palpebra::domain::questionnaire::{AnswerSet, Answers, Questionnaire};
use palpebra::domain::rotation::Rotation;
use palpebra::domain::screening::{RuleTable, Screening};
use palpebra::domain::takeover::{Catalogue, DayOrder, Mapping, Told, read_day};
use palpebra::domain::timing::worn;
use palpebra::domain::zone::Zone;
use palpebra::language::Language;
use palpebra::sealing::{self, Lock};
use palpebra::studio_key::PublicKey;
use palpebra::web::form::{Fields, FormWithFile, Opened, Upload};
use palpebra::web::practitioner::chair::presses as chair;
use palpebra::web::session;
use time::macros::{date, datetime};
use time::{Date, OffsetDateTime};
use tokio::runtime::Runtime;

/// One parser, or a few that read the same kind of bytes.
pub(crate) struct Target {
    /// Its seeds lie in a folder of this name.
    pub(crate) name: &'static str,
    /// Reads bytes; whether they were taken for what is read here.
    pub(crate) run: fn(&[u8]) -> bool,
}

macro_rules! targets {
    ($($name:ident)*) => { &[$(Target { name: stringify!($name), run: $name }),*] };
}

/// All of them.
pub(crate) const TARGETS: &[Target] = targets! {
    answers calendar cards drawing form form_with_file headers hours package pdf person photo presses published sealed settings
    table words
};

const TODAY: Date = date!(2026 - 03 - 01);
const WITHIN: (OffsetDateTime, OffsetDateTime) = (datetime!(2026-02-01 0:00 UTC), datetime!(2026-09-01 0:00 UTC));
/// The secret half of a key that opens the seed of `sealed` and nothing else.
const KEY: &str = include_str!("../seeds/key.txt");

static BERLIN: LazyLock<Zone> = LazyLock::new(|| Zone::parse("Europe/Berlin").expect("a zone"));
static QUESTIONS: LazyLock<Questionnaire> = LazyLock::new(|| Questionnaire::built_in().expect("questions"));
static RULES: LazyLock<RuleTable> = LazyLock::new(|| RuleTable::built_in().expect("rules"));

static RUNTIME: LazyLock<Runtime> =
    LazyLock::new(|| tokio::runtime::Builder::new_current_thread().build().expect("a runtime"));

fn text(bytes: &[u8]) -> Option<&str> {
    std::str::from_utf8(bytes).ok()
}

/// What was taken is taken again as it was written.
fn again<T: PartialEq, E>(taken: Result<T, E>, write: fn(&T) -> String, read: fn(&str) -> Result<T, E>) -> bool {
    let Ok(taken) = taken else { return false };
    let written = write(&taken);
    assert!(read(&written).is_ok_and(|reread| reread == taken), "written as {written:?}, it is not read as it was");
    true
}

fn shown<T: Display>(value: &T) -> String {
    value.to_string()
}

/// Many are tried on the same bytes: whether any took them.
fn any(taken: &[bool]) -> bool {
    taken.contains(&true)
}

fn form(bytes: &[u8]) -> bool {
    let Ok(fields) = Fields::parse(bytes) else { return false };
    let pairs = fields.pairs();
    assert!(pairs.iter().all(|(_, value)| value.chars().all(|c| matches!(c, '\n' | '\t') || !c.is_control())));
    let written = serde_urlencoded::to_string(&pairs).expect("pairs can be written");
    assert!(Fields::parse(written.as_bytes()).is_ok_and(|reread| reread.pairs() == pairs), "{written}");
    true
}

/// The first line is what the header says that the rest is. However it comes in, in one piece or in many, it is the same form.
fn form_with_file(bytes: &[u8]) -> bool {
    let Some(end) = bytes.iter().position(|byte| *byte == b'\n') else { return false };
    let (kind, body) = (&bytes[..end], &bytes[end + 1..]);
    let read = |size| {
        RUNTIME.block_on(async {
            let opened = async || Opened::of(multipart(kind, body, size).await?, ours).await.ok();
            let with_file = FormWithFile::read(opened().await?, tempfile::tempfile).await;
            let upload = Upload::read(opened().await?, tempfile::tempfile).await;
            let file = upload.ok().map(|mut upload| {
                let mut content = Vec::new();
                upload.file.read_to_end(&mut content).expect("a file is read");
                assert_eq!(content.len() as u64, upload.bytes);
                content
            });
            Some((with_file.ok().map(|form| form.fields.pairs()), file))
        })
    };
    let whole = read(usize::MAX);
    assert_eq!(whole, read(1 + kind.len() % 40), "it depends on how it comes in");
    let Some((pairs, file)) = whole else { return false };
    assert!(
        pairs.iter().flatten().all(|(_, value)| value.chars().all(|c| matches!(c, '\n' | '\t') || !c.is_control()))
    );
    any(&[pairs.is_some(), file.is_some()])
}

/// A form's token, as far as this is concerned.
fn ours(token: &str) -> bool {
    token == "t"
}

/// The body in pieces of so many bytes.
async fn multipart(kind: &[u8], body: &[u8], size: usize) -> Option<Multipart> {
    let pieces: Vec<_> = body.chunks(size).map(|piece| Ok::<_, Infallible>(piece.to_vec())).collect();
    let request = Request::post("/").header(CONTENT_TYPE, kind).body(Body::from_stream(stream::iter(pieces))).ok()?;
    Multipart::from_request(request, &()).await.ok()
}

fn answers(bytes: &[u8]) -> bool {
    let Ok(fields) = Fields::parse(bytes) else { return false };
    let (pairs, mut all) = (fields.pairs(), Answers::default());
    for section in QUESTIONS.sections() {
        match section.read(&pairs, TODAY) {
            Ok(read) => {
                let posted: Vec<_> = read.iter().map(|(key, answer)| (key.to_owned(), answer.form_value())).collect();
                assert!(section.read(&posted, TODAY).is_ok_and(|reread| reread == read), "{posted:?}");
                all.replace_section(section, read);
            }
            Err(refused) => all.replace_section(section, refused.read),
        }
    }
    let json = serde_json::to_string(&all).expect("answers can be written");
    assert!(serde_json::from_str::<Answers>(&json).is_ok_and(|reread| reread == all), "{json}");
    let any = !all.is_empty();
    let set = AnswerSet { questionnaire: QUESTIONS.version(), given_on: TODAY, returning: true, answers: all };
    let screening = Screening { questionnaire: &QUESTIONS, rules: &RULES, set: &set, letters: &[], ingredients: None };
    for service in ServiceKind::ALL {
        screening.reasons(service, TODAY);
    }
    any
}

fn published(bytes: &[u8]) -> bool {
    let Some(text) = text(bytes) else { return false };
    let questions = Questionnaire::parse(text).map(|read| {
        assert!(Questionnaire::parse(read.canonical()).is_ok_and(|again| again.fingerprint() == read.fingerprint()));
        RULES.misfits(&read);
    });
    let rules = RuleTable::parse(text).map(|read| {
        assert!(RuleTable::parse(read.canonical()).is_ok_and(|again| again.fingerprint() == read.fingerprint()));
        read.misfits(&QUESTIONS);
    });
    let words = ConsentText::parse(text).map(|read| {
        assert!(ConsentText::parse(read.canonical()).is_ok_and(|again| again.fingerprint() == read.fingerprint()));
    });
    any(&[questions.is_ok(), rules.is_ok(), words.is_ok()])
}

fn calendar(bytes: &[u8]) -> bool {
    let Some(text) = text(bytes) else { return false };
    let Ok(busy) = busy_times(text, &BERLIN, WITHIN) else { return false };
    let (from, to) = (WITHIN.0.unix_timestamp(), WITHIN.1.unix_timestamp());
    assert!(busy.iter().all(|(start, end)| start < end && *start < to && *end > from) && busy.is_sorted());
    !busy.is_empty()
}

fn table(bytes: &[u8]) -> bool {
    sheet::read(bytes, None, None).is_ok_and(|sheet| rows(&sheet))
}

fn cards(bytes: &[u8]) -> bool {
    let Ok(sheet) = sheet::read(bytes, None, None) else { return false };
    rows(&sheet) && sheet.separator.is_none()
}

/// Whether any row tells of somebody. The table is written as we write tables, and read again.
fn rows(sheet: &Sheet) -> bool {
    assert!(sheet.rows.windows(2).all(|pair| pair[0].line < pair[1].line), "lines are in order");
    let lines = || std::iter::once(&sheet.heads).chain(sheet.rows.iter().map(|row| &row.cells));
    // A column in front, so that the table doesn't begin with what says how it is written; a cell that was cut may end in
    // a space, which is not read again.
    if lines().all(|cells| cells.len() < sheet::MOST_COLUMNS && cells.iter().all(|cell| cell.len() < 2000)) {
        let mut out = Vec::new();
        for cells in lines() {
            csv::write_row(&mut out, std::iter::once("row").chain(cells.iter().map(String::as_str)));
        }
        let reread = sheet::read(&out, Some(Charset::Unicode), Some(Separator::Comma)).expect("our own table is read");
        let reread = std::iter::once(&reread.heads).chain(reread.rows.iter().map(|row| &row.cells));
        assert!(reread.map(|cells| &cells[1..]).eq(lines().map(Vec::as_slice)), "{:?}", String::from_utf8_lossy(&out));
    }
    let (mapping, home) =
        (Mapping::guess(sheet.heads.iter().map(String::as_str)), HomeDial::parse("49").expect("a number"));
    let told = |order| {
        let catalogue = Catalogue::default();
        sheet.rows.iter().any(|row| Told::read(row, &mapping, order, &home, &catalogue, TODAY).is_ok())
    };
    any(&[told(DayOrder::DayFirst), told(DayOrder::MonthFirst)])
}

/// Photos of more pixels are left out: they take long, and hold nothing that few pixels can't.
const PIXELS: u32 = 1 << 18;

fn photo(bytes: &[u8]) -> bool {
    let reader = image::ImageReader::new(Cursor::new(bytes)).with_guessed_format().ok();
    let size = reader.and_then(|reader| reader.into_dimensions().ok());
    if size.is_some_and(|(width, height)| width.saturating_mul(height) > PIXELS) {
        return false;
    }
    let whole = |checked: &Checked, most: u16| {
        let (width, height) = upload::size(&checked.bytes).expect("a JPEG has a size");
        assert!((1..=most).contains(&width) && (1..=most).contains(&height), "{width} × {height}");
        assert!(upload::check(&checked.bytes, Takes::Photo).is_ok(), "what was written anew is taken again");
    };
    let Ok(renewed) = upload::check(bytes, Takes::Photo) else { return false };
    whole(&renewed, 2560);
    let thumbnail = renewed.thumbnail.expect("a photo has a thumbnail");
    whole(&Checked { bytes: thumbnail, thumbnail: None, ..renewed }, 320);
    let logo = upload::check(bytes, Takes::Logo).expect("what is a photo can be a logo");
    assert!(logo.bytes.len() <= MOST_LOGO_BYTES);
    whole(&logo, 288);
    true
}

fn pdf(bytes: &[u8]) -> bool {
    if !bytes.starts_with(b"%PDF-") {
        return false;
    }
    let Ok(taken) = upload::check(bytes, Takes::PhotoOrPdf) else { return false };
    assert!(taken.bytes == bytes, "a letter is kept byte for byte");
    true
}

fn package(bytes: &[u8]) -> bool {
    let limits = Limits { bytes: 1 << 22, files: 200, tag_bytes: 1 << 18 };
    match verify_within(Cursor::new(bytes), limits) {
        Ok(verified) => verified.files <= limits.files && verified.bytes <= limits.bytes,
        Err(faults) => {
            assert!(!faults.is_empty(), "a refusal says why");
            false
        }
    }
}

fn sealed(bytes: &[u8]) -> bool {
    sealing::decrypt(bytes, KEY, &mut io::sink()).is_ok()
}

fn settings(bytes: &[u8]) -> bool {
    text(bytes).is_some_and(|text| settings::parse(text).is_ok_and(|values| !values.is_empty()))
}

fn drawing(bytes: &[u8]) -> bool {
    text(bytes).is_some_and(|text| again(Drawing::parse(text), Drawing::text, Drawing::parse))
}

fn presses(bytes: &[u8]) -> bool {
    let Some(events) = text(bytes).and_then(chair::read) else { return false };
    let written = chair::written(events.clone()).expect("presses can be written");
    assert!(chair::read(&written).is_some_and(|reread| reread == events), "{written}");
    worn(&events);
    !events.is_empty()
}

fn headers(bytes: &[u8]) -> bool {
    let Some(text) = text(bytes) else { return false };
    let token = session::token(text.lines(), "visit");
    assert!(token.is_none_or(|token| session::token([format!("visit={token}").as_str()], "visit") == Some(token)));
    any(&[token.is_some(), text.lines().any(|line| Language::accepted(line) != Language::English)])
}

fn person(bytes: &[u8]) -> bool {
    let Some(text) = text(bytes) else { return false };
    let phones = ["1", "49", "353"].map(|home| {
        let home = HomeDial::parse(home).expect("a country's number");
        again(Phone::parse(text, &home), |phone| phone.as_str().to_owned(), Phone::parse_e164)
    });
    let name = PersonName::parse(text).inspect(|name| assert!(!name.key().is_empty() && !name.initials().is_empty()));
    any(&[
        any(&phones),
        again(name, |name| name.as_str().to_owned(), PersonName::parse),
        again(Mail::parse(text), |mail| mail.as_str().to_owned(), Mail::parse),
        again(HomeDial::parse(text), |home| home.digits().to_owned(), HomeDial::parse),
        again(BirthDate::parse(text, TODAY), |born| born.date().to_string(), |text| BirthDate::parse(text, TODAY)),
    ])
}

fn hours(bytes: &[u8]) -> bool {
    let Some(text) = text(bytes) else { return false };
    any(&[
        again(DayHours::parse_text(text), shown, DayHours::parse_text),
        again(parse_clock(text), |minutes| clock(*minutes), parse_clock),
        again(read_day(text, DayOrder::DayFirst), shown, |text| read_day(text, DayOrder::DayFirst)),
        again(read_day(text, DayOrder::MonthFirst), shown, |text| read_day(text, DayOrder::MonthFirst)),
        again(Zone::parse(text), |zone| zone.name().to_owned(), Zone::parse),
        again(Rotation::parse(text).ok_or(()), shown, |text| Rotation::parse(text).ok_or(())),
    ])
}

fn words(bytes: &[u8]) -> bool {
    let Some(text) = text(bytes) else { return false };
    let money = ["EUR", "JPY", "KWD"].map(|currency| {
        let currency = Currency::parse(currency).expect("a currency");
        let Ok(sum) = Money::parse(text, currency.clone()) else { return false };
        assert!(Money::parse(&sum.plain(), currency).is_ok_and(|reread| reread == sum), "{sum:?}");
        true
    });
    let colour = Colour::parse(text).inspect(|colour| {
        colour.shades();
    });
    any(&[
        any(&money),
        again(Currency::parse(text), |currency| currency.as_str().to_owned(), Currency::parse),
        again(colour, shown, Colour::parse),
        again(VisitId::parse(text), shown, VisitId::parse),
        again(Fingerprint::parse(text), shown, Fingerprint::parse),
        again(Label::parse(text, 80), |label| label.as_str().to_owned(), |text| Label::parse(text, 80)),
        again(Note::parse(text, 400), |note| note.as_str().to_owned(), |text| Note::parse(text, 400)),
        again(Address::parse(text), |address| address.as_str().to_owned(), Address::parse),
        again(Choice::parse(text).ok_or(()), Choice::text, |text| Choice::parse(text).ok_or(())),
        again(PublicKey::parse(text).ok_or(()), shown, |text| PublicKey::parse(text).ok_or(())),
        again(PublicKey::from_pem(text).ok_or(()), |key| key.to_pem(), |text| PublicKey::from_pem(text).ok_or(())),
        Lock::parse(text).is_ok_and(|lock| Lock::parse(&lock.to_string()).is_ok()),
    ])
}
