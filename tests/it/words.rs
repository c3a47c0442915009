//! Every text of the program is there in every language, with the same gaps and the same markup.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use palpebra::language::Language;
use scraper::{ElementRef, Html, Node};

use crate::support::app::OWNER;
use crate::support::studio::{LIV, MIA};
use crate::support::{Person, TestApp, address};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// A text of the sources: its meaning, its English, and its English for many.
type Text = (String, String, Option<String>);

fn collect(path: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(path).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, files);
        } else {
            files.push(path);
        }
    }
}

/// A string literal at the start of a text, and what comes after it.
fn literal(text: &str) -> Option<(String, &str)> {
    let mut chars = text.strip_prefix('"')?.char_indices();
    let mut said = String::new();
    while let Some((at, c)) = chars.next() {
        match c {
            '"' => return Some((said, &text[at + 2..])),
            '\\' => match chars.next()?.1 {
                'n' => said.push('\n'),
                '\n' => {
                    while chars.as_str().starts_with(char::is_whitespace) {
                        chars.next();
                    }
                }
                other => said.push(other),
            },
            c => said.push(c),
        }
    }
    None
}

/// The arguments, up to two, that are literals right after an opening bracket.
fn literals(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut rest = text.trim_start();
    while let Some((said, after)) = literal(rest) {
        found.push(said);
        let Some(after) = after.trim_start().strip_prefix(',') else { break };
        rest = after.trim_start();
    }
    found
}

fn texts_of(source: &str) -> Vec<Text> {
    let mut found = Vec::new();
    for (at, _) in source.match_indices('(') {
        let before = &source[..at];
        let start = before.rfind(|c: char| !c.is_alphanumeric() && c != '_').map_or(0, |i| i + 1);
        let said = literals(&source[at + 1..]);
        match (&before[start..], said.as_slice()) {
            ("t" | "tf" | "tm" | "msg", [english, ..]) => found.push((String::new(), english.clone(), None)),
            ("tc", [meaning, english, ..]) => found.push((meaning.clone(), english.clone(), None)),
            ("tn", [one, many, ..]) => found.push((String::new(), one.clone(), Some(many.clone()))),
            _ => {}
        }
    }
    found
}

/// What the questions, rules and consent text that ship give to be read.
fn shipped(value: &serde_json::Value, found: &mut impl FnMut(&str)) {
    const WORDS: [&str; 7] = ["text", "why", "title", "intro", "label", "say", "guardian"];
    match value {
        serde_json::Value::Object(fields) => {
            for (name, value) in fields {
                match value.as_str() {
                    Some(text) if WORDS.contains(&name.as_str()) && !text.is_empty() => found(text),
                    _ => shipped(value, found),
                }
            }
        }
        serde_json::Value::Array(values) => values.iter().for_each(|value| shipped(value, found)),
        _ => {}
    }
}

/// Every text of templates and sources, with where it stands.
fn said() -> BTreeMap<Text, String> {
    let mut files = Vec::new();
    collect(&Path::new(ROOT).join("templates"), &mut files);
    collect(&Path::new(ROOT).join("src"), &mut files);
    let mut found = BTreeMap::new();
    for path in files {
        let name = path.strip_prefix(ROOT).unwrap().display().to_string();
        // The page of parts is for those who build pages, and `language.rs` has samples.
        if name.ends_with(".po") || name == "templates/public/styleguide.html" {
            continue;
        }
        let source = fs::read_to_string(&path).unwrap();
        if name.ends_with("default.json") {
            shipped(&serde_json::from_str(&source).unwrap(), &mut |text| {
                found.insert((String::new(), text.to_owned(), None), name.clone());
            });
            continue;
        }
        let source = source.split("\n#[cfg(test)]\nmod tests").next().unwrap();
        let code: String =
            source.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n");
        for text in texts_of(&code) {
            found.insert(text, name.clone());
        }
    }
    found
}

fn marks(text: &str, open: char, close: char) -> Vec<String> {
    let mut found: Vec<String> = text
        .split(open)
        .skip(1)
        .filter_map(|rest| rest.split_once(close).map(|(inside, _)| inside.to_owned()))
        .collect();
    found.sort();
    found
}

#[test]
fn texts_are_found_in_templates_and_sources() {
    let source = "{{ crate::t(\"One \\\"two\\\"\") }} tn(\n  \"{n} a\",\n \"{n} b\", n) tc(\"verb\", \"Book\") not(\"this\") t(value)";
    let text =
        |meaning: &str, one: &str, many: Option<&str>| (meaning.to_owned(), one.to_owned(), many.map(str::to_owned));
    let expected = [text("", "One \"two\"", None), text("", "{n} a", Some("{n} b")), text("verb", "Book", None)];
    assert_eq!(texts_of(source), expected);
}

#[test]
fn every_language_has_every_text_and_no_other() {
    let said = said();
    assert!(said.len() > 1000, "only {} texts were found", said.len());
    let mut wrong = Vec::new();
    for language in Language::ALL.into_iter().filter(|language| *language != Language::English) {
        let file = Path::new(ROOT).join(format!("templates/words/{}.po", language.code()));
        let catalogue = polib::po_file::parse(&file).unwrap();
        let mut there = BTreeSet::new();
        for message in catalogue.messages() {
            let many = message.is_plural().then(|| message.msgid_plural().unwrap().to_owned());
            let text = (message.msgctxt().unwrap_or_default().to_owned(), message.msgid().to_owned(), many);
            let forms = if message.is_plural() {
                message.msgstr_plural().unwrap().clone()
            } else {
                vec![message.msgstr().unwrap().to_owned()]
            };
            let english: Vec<&String> = [Some(&text.1), text.2.as_ref()].into_iter().flatten().collect();
            if forms.len() != english.len() || forms.iter().any(String::is_empty) {
                wrong.push(format!("{}: not every form of {:?}", language.code(), text.1));
            }
            for (ours, theirs) in forms.iter().zip(&english) {
                if marks(ours, '<', '>') != marks(theirs, '<', '>') {
                    wrong.push(format!("{}: other markup in {ours:?}", language.code()));
                }
                // A form for one may leave its number out.
                let (ours, theirs) = (marks(ours, '{', '}'), marks(theirs, '{', '}'));
                let without = |gaps: &[String]| gaps.iter().filter(|gap| *gap != "n").cloned().collect::<Vec<_>>();
                if if english.len() == 2 { without(&ours) != without(&theirs) } else { ours != theirs } {
                    wrong.push(format!("{}: other gaps in {:?}", language.code(), text.1));
                }
            }
            if !said.contains_key(&text) {
                wrong.push(format!("{}: nobody says {:?}", language.code(), text.1));
            }
            there.insert(text);
        }
        for (text, place) in &said {
            if !there.contains(text) {
                wrong.push(format!("{}: misses {:?} of {place}", language.code(), text.1));
            }
        }
    }
    assert!(wrong.is_empty(), "{} texts:\n{}", wrong.len(), wrong.join("\n"));
}

/// Words of English sentences that no German sentence has.
const ENGLISH: [&str; 18] = [
    "the", "your", "with", "and", "is", "are", "this", "that", "have", "been", "you", "for", "of", "to", "it", "be",
    "by", "which",
];

/// The words of an element, but for what people wrote themselves: that stands in <bdi>, in fields, or has a direction.
fn words_of(element: ElementRef<'_>, found: &mut Vec<String>) {
    let elsewhere = element.value().attr("lang").is_some_and(|tag| tag != "de");
    let data = elsewhere
        || element.value().attr("dir").is_some()
        || ["bdi", "textarea", "script", "style"].contains(&element.value().name());
    if data {
        return;
    }
    for label in ["aria-label", "placeholder", "alt", "title", "data-soon", "data-over"] {
        found.extend(element.value().attr(label).map(str::to_owned));
    }
    for child in element.children() {
        match child.value() {
            Node::Text(text) => found.push(text.trim().to_owned()),
            Node::Element(_) => words_of(ElementRef::wrap(child).unwrap(), found),
            _ => {}
        }
    }
}

/// What is English on a German page too: names of services and products of the studio, of places, of those who publish.
const NAMES: [&str; 4] = ["Lift and tint", "Isle_of_Man", "Port_of_Spain", "American Academy of Dermatology"];

fn english_in(page: &str) -> Vec<String> {
    let page = Html::parse_document(page);
    let mut found = Vec::new();
    words_of(page.root_element(), &mut found);
    let english = |text: &String| {
        let text = NAMES.iter().fold(text.clone(), |text, name| text.replace(name, ""));
        let mut words = text.split(|c: char| !c.is_alphabetic()).map(str::to_lowercase);
        words.any(|word| ENGLISH.contains(&word.as_str()))
    };
    found.retain(english);
    found
}

async fn speak_german(owner: &Person) {
    let page = owner.get("/owner/studio").await;
    assert_eq!(owner.submit(&page, "/owner/studio", &[("language", "de")]).await.status, 303);
}

/// A path with every id in it made one.
fn pattern(path: &str) -> String {
    let path = path.split(['?', '#']).next().unwrap();
    let id = |part: &str| part.len() > 12 && part.chars().all(|c| c.is_ascii_hexdigit() || c == '-');
    path.split('/').map(|part| if id(part) { "{}" } else { part }).collect::<Vec<_>>().join("/")
}

#[tokio::test]
async fn a_german_studio_has_no_english_on_any_page() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.member(OWNER.0, OWNER.1).await;
    speak_german(&owner).await;
    let mut wrong = BTreeMap::<String, BTreeSet<String>>::new();
    let mut pages = 0;
    for person in [app.visitor(), app.client(MIA).await, app.member(LIV.0, LIV.1).await, owner] {
        let routes = palpebra::web::routes::table();
        let fixed = routes.iter().filter(|route| route.method == reqwest::Method::GET && !route.path.contains('{'));
        let mut ahead: Vec<String> = fixed.map(|route| address(route.path, &[])).collect();
        let mut seen = BTreeSet::new();
        while let Some(path) = ahead.pop() {
            // What was in force before the studio spoke German is shown as it stood.
            let before = path.starts_with("/owner/rules/versions/1");
            if !seen.insert(pattern(&path)) || before || path.contains("sign-out") || path.contains("styleguide") {
                continue;
            }
            let page = person.get(&path).await;
            if page.status != 200 || !page.headers["content-type"].to_str().unwrap().starts_with("text/html") {
                continue;
            }
            pages += 1;
            assert_eq!(page.attributes("html", "lang"), ["de"], "{path}");
            for text in english_in(&page.source()) {
                wrong.entry(text).or_default().insert(pattern(&path));
            }
            ahead.extend(page.attributes("a", "href").into_iter().filter(|link| link.starts_with('/')));
        }
    }
    assert!(pages > 60, "{pages}");
    let list: Vec<String> = wrong.iter().map(|(text, paths)| format!("{text:?} on {paths:?}")).collect();
    assert!(list.is_empty(), "{} texts:\n{}", list.len(), list.join("\n"));
}

#[test]
fn english_is_known_where_people_read_and_not_in_what_they_wrote() {
    let page = "<p>Ihr Termin <bdi>Lift with tint</bdi></p><p aria-label='Back to the list'>Wie heißen <b>Sie?</b></p>";
    assert_eq!(english_in(page), ["Back to the list"]);
    assert_eq!(english_in("<p>Not <b>for you</b></p>"), ["for you"]);
}

/// The codes that a source gives the audit as `action: "…"`.
fn actions(source: &str) -> Vec<String> {
    let named = source.match_indices("action: \"").map(|(at, mark)| &source[at + mark.len()..]);
    named.filter_map(|rest| rest.split('"').next().map(str::to_owned)).filter(|code| code.contains('.')).collect()
}

#[test]
fn whatever_the_audit_says_was_done_is_there_in_every_language() {
    let mut files = Vec::new();
    collect(&Path::new(ROOT).join("src"), &mut files);
    let codes: BTreeSet<String> = files.iter().flat_map(|path| actions(&fs::read_to_string(path).unwrap())).collect();
    assert!(codes.len() > 50, "only {} codes were found", codes.len());
    let said = |code: &String| palpebra::web::words::done(code);
    let same = |code: &&String| Language::ALL.into_iter().skip(1).any(|one| one.within(|| said(code)) == said(code));
    let missing: Vec<&String> = codes.iter().filter(same).collect();
    assert!(missing.is_empty(), "in no list of deeds: {missing:?}");
}
