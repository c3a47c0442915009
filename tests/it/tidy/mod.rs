//! The walls of the program keep themselves: each rule reads the sources, and each rule is tried on a sample that breaks it.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may fail where it stands")]

mod rules;
mod source;

use std::fs;
use std::path::{Path, PathBuf};

use rules::{File, MOST_LINES, RULES, length};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// What the rules read; anything absent is skipped, and anything that is no text.
const READ: [&str; 9] =
    ["src", "templates", "static", "migrations", "seed-demo", "deploy", "tests", "README.md", "DEVELOPERS.md"];

#[test]
fn the_sources_are_tidy() {
    let mut files = Vec::new();
    for start in READ {
        collect(&Path::new(ROOT).join(start), &mut files);
    }
    assert!(files.len() > 20, "only {} files were found", files.len());
    let mut found = Vec::new();
    for path in files {
        let Ok(text) = fs::read_to_string(&path) else { continue };
        let name = path.strip_prefix(ROOT).unwrap().to_str().unwrap().replace('\\', "/");
        let file = File::new(&name, &text);
        for rule in RULES {
            found.extend((rule.finds)(&file).into_iter().map(|(line, what)| format!("{name}:{line}: {what}")));
        }
    }
    assert!(found.is_empty(), "{} broken rules:\n{}", found.len(), found.join("\n"));
}

#[test]
fn every_source_is_named_by_the_module_above_it() {
    let mut files = Vec::new();
    for start in ["src", "tests/it", "tests/browser"] {
        collect(&Path::new(ROOT).join(start), &mut files);
    }
    let named = |path: &Path| {
        let (folder, name) = (path.parent().unwrap(), path.file_stem().unwrap().to_str().unwrap());
        let (folder, name) = if name == "mod" {
            (folder.parent().unwrap(), folder.file_name().unwrap().to_str().unwrap())
        } else {
            (folder, name)
        };
        let above = ["mod.rs", "main.rs", "lib.rs"].map(|above| folder.join(above));
        let above = above.into_iter().chain([folder.with_extension("rs")]).filter(|above| above != path);
        let wanted = format!("mod {name};");
        above.filter_map(|above| fs::read_to_string(above).ok()).any(|text| text.contains(&wanted))
    };
    let roots = ["main.rs", "lib.rs"].map(std::ffi::OsStr::new);
    let sources = files.iter().filter(|path| path.extension().is_some_and(|kind| kind == "rs"));
    let left: Vec<_> = sources.filter(|path| !roots.contains(&path.file_name().unwrap()) && !named(path)).collect();
    assert!(left.is_empty(), "nothing compiles {left:?}");
}

#[test]
fn every_rule_catches_what_breaks_it_and_nothing_else() {
    for rule in RULES {
        assert!(!rule.bad.is_empty() && !rule.good.is_empty(), "{}: no samples", rule.name);
        for (path, text) in rule.bad {
            assert!(!(rule.finds)(&File::new(path, text)).is_empty(), "{}: misses {path}: {text}", rule.name);
        }
        for (path, text) in rule.good {
            let found = (rule.finds)(&File::new(path, text));
            assert!(found.is_empty(), "{}: wrongly fires on {path}: {text}: {found:?}", rule.name);
        }
    }
}

#[test]
fn length_counts_code_and_comments_but_not_tests() {
    let code = "// why\n".repeat(MOST_LINES - 1) + "fn f() {}\n";
    let tests = "#[cfg(test)]\nmod tests {\n".to_owned() + &"    // case\n".repeat(100) + "}\n";
    let finds = |text: &str| length(&File::new("src/web/page.rs", text)).len();
    assert_eq!(finds(&(code.clone() + &tests)), 0);
    assert_eq!(finds(&(code + "// one too many\n" + &tests)), 1);
}

fn collect(path: &Path, files: &mut Vec<PathBuf>) {
    if path.is_file() {
        files.push(path.to_owned());
    } else if let Ok(entries) = fs::read_dir(path) {
        let mut inside: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
        inside.sort();
        for path in inside {
            collect(&path, files);
        }
    }
}
