//! What is compiled in: its licences, where it comes from, and the bill of materials.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test may fail where it stands"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

const RULES: &str = include_str!("../../deny.toml");

fn metadata() -> Value {
    let arguments = ["metadata", "--locked", "--offline", "--format-version", "1"];
    let platform = ["--filter-platform", "x86_64-unknown-linux-gnu"];
    let out = Command::new("cargo")
        .args(arguments)
        .args(platform)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

/// The packages that the program is made of: `(name, licence, source)` by id.
fn shipped(data: &Value) -> BTreeMap<String, (String, String, Option<String>)> {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let nodes: BTreeMap<String, &Value> =
        data["resolve"]["nodes"].as_array().unwrap().iter().map(|node| (text(&node["id"]), node)).collect();
    let mut waiting = vec![text(&data["resolve"]["root"])];
    let mut reached = BTreeSet::new();
    while let Some(id) = waiting.pop() {
        if reached.insert(id.clone()) {
            for dep in nodes[&id]["deps"].as_array().unwrap() {
                let kinds = dep["dep_kinds"].as_array().unwrap();
                if kinds.iter().any(|kind| kind["kind"].is_null() || kind["kind"] == "build") {
                    waiting.push(text(&dep["pkg"]));
                }
            }
        }
    }
    let packages =
        data["packages"].as_array().unwrap().iter().filter(|package| reached.contains(&text(&package["id"])));
    packages
        .map(|package| {
            let source = package["source"].as_str().map(str::to_owned);
            let licence = package["license"].as_str().unwrap_or_default().to_owned();
            (text(&package["id"]), (text(&package["name"]), licence, source))
        })
        .collect()
}

/// The words in quotes of one list of `deny.toml`.
fn list(name: &str) -> BTreeSet<String> {
    let start = RULES.find(&format!("\n{name} = [")).unwrap();
    let end = RULES[start..].find("\n]").unwrap();
    RULES[start..start + end].split('"').skip(1).step_by(2).map(str::to_owned).collect()
}

/// Whether a licence expression (SPDX, annex D) can be met with these licences.
fn may(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let tidy = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = tidy.split_whitespace().collect();
    let (met, rest) = any_of(&words, allowed);
    assert!(rest.is_empty(), "{expression}");
    met
}

fn any_of<'a>(words: &'a [&'a str], allowed: &BTreeSet<String>) -> (bool, &'a [&'a str]) {
    let (mut met, mut rest) = all_of(words, allowed);
    while let ["OR", after @ ..] = rest {
        let (also, left) = all_of(after, allowed);
        (met, rest) = (met || also, left);
    }
    (met, rest)
}

fn all_of<'a>(words: &'a [&'a str], allowed: &BTreeSet<String>) -> (bool, &'a [&'a str]) {
    let (mut met, mut rest) = one(words, allowed);
    while let ["AND", after @ ..] = rest {
        let (also, left) = one(after, allowed);
        (met, rest) = (met && also, left);
    }
    (met, rest)
}

fn one<'a>(words: &'a [&'a str], allowed: &BTreeSet<String>) -> (bool, &'a [&'a str]) {
    match words {
        ["(", after @ ..] => {
            let (met, rest) = any_of(after, allowed);
            (met, rest.strip_prefix(&[")"]).expect("a closing bracket"))
        }
        // An exception gives more leave than the licence alone.
        [licence, "WITH", _, rest @ ..] | [licence, rest @ ..] => (allowed.contains(*licence), rest),
        [] => (false, words),
    }
}

#[test]
fn licence_expressions_are_read_as_they_are_meant() {
    let allowed = BTreeSet::from(["MIT", "ISC"].map(str::to_owned));
    for good in
        ["MIT", "GPL-3.0 OR MIT", "MIT/Apache-2.0", "MIT AND ISC", "(GPL-3.0 OR ISC) AND MIT", "MIT WITH x OR A"]
    {
        assert!(may(good, &allowed), "{good}");
    }
    for bad in ["", "GPL-3.0", "MIT AND GPL-3.0", "(GPL-3.0 OR ISC) AND BSD", "GPL-3.0 WITH x"] {
        assert!(!may(bad, &allowed), "{bad}");
    }
}

#[test]
fn every_crate_of_the_program_has_a_licence_that_we_may_use_and_comes_from_the_registry() {
    let data = metadata();
    let (allowed, shipped) = (list("allow"), shipped(&data));
    assert!(allowed.contains("MIT") && shipped.len() > 100, "{allowed:?} {}", shipped.len());
    for (name, licence, source) in shipped.values().filter(|(name, ..)| name != "palpebra") {
        assert!(may(licence, &allowed), "{name}: {licence}");
        let source = source.as_deref().unwrap_or_default();
        assert!(source.starts_with("registry+") && source.ends_with("/crates.io-index"), "{name}: {source}");
        assert!(!RULES.contains(&format!("{{ crate = \"{name}\" }}")), "{name} is banned");
    }
    let sqlite = shipped.keys().find(|id| id.contains("libsqlite3-sys")).unwrap();
    let version = sqlite.rsplit(['@', '#']).next().unwrap();
    let minor: u32 = version.split('.').nth(1).unwrap().parse().unwrap();
    assert!(minor >= 37, "libsqlite3-sys {version} holds an SQLite with a known fault");
}

#[test]
fn the_bill_of_materials_names_all_of_them_with_their_checksums() {
    let shipped = shipped(&metadata());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/deploy/sbom");
    let out =
        Command::new("python3").arg(script).current_dir(env!("CARGO_MANIFEST_DIR")).output().expect("python3 runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let bill: Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!((bill["bomFormat"].as_str(), bill["specVersion"].as_str()), (Some("CycloneDX"), Some("1.5")));
    let listed = bill["components"].as_array().unwrap();
    assert_eq!(listed.len(), shipped.len() - 1, "all but the program itself");
    for part in listed {
        let hash = part["hashes"][0]["content"].as_str().unwrap();
        assert!(hash.len() == 64 && part["licenses"][0]["expression"].is_string(), "{part}");
    }
    let refs: BTreeSet<&str> = listed.iter().map(|part| part["bom-ref"].as_str().unwrap()).collect();
    for needs in bill["dependencies"].as_array().unwrap() {
        for need in needs["dependsOn"].as_array().unwrap() {
            assert!(refs.contains(need.as_str().unwrap()), "{need}");
        }
    }
}
