//! Why a mutant may live.

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use anyhow::{Context, Result, ensure};

pub struct Survivors(HashMap<String, String>);

impl Survivors {
    /// Reads `FILE | FUNCTION | CHANGE | REASON` in each line; lines with `#` and empty ones are for people.
    pub fn read(path: &Path) -> Result<Self> {
        let mut reasons = HashMap::new();
        let text = fs::read_to_string(path).with_context(|| path.display().to_string())?;
        for (number, line) in text.lines().enumerate() {
            if line.trim().is_empty() || line.starts_with('#') {
                continue;
            }
            let place = || format!("{}:{}", path.display(), number + 1);
            let (name, reason) = line.rsplit_once(" | ").with_context(|| format!("{}: no reason", place()))?;
            ensure!(name.matches(" | ").count() >= 2, "{}: not FILE | FUNCTION | CHANGE | REASON", place());
            ensure!(!reason.trim().is_empty(), "{}: no reason", place());
            ensure!(reasons.insert(name.to_owned(), reason.to_owned()).is_none(), "{}: explained twice", place());
        }
        Ok(Self(reasons))
    }

    pub fn reason(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(String::as_str)
    }

    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }
}
