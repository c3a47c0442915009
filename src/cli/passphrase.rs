//! The passphrase of a package: from a file, the environment or a prompt, and never from the command line, which other
//! programs of the machine can read.

use std::fs;
use std::io::IsTerminal as _;
use std::path::Path;

use super::Failed;

/// The variable.
const VARIABLE: &str = "PALPEBRA_PASSPHRASE";

/// What the environment holds.
pub(super) fn from_environment() -> Result<Option<String>, Failed> {
    match std::env::var(VARIABLE) {
        Ok(text) => Ok(Some(text).filter(|text| !text.is_empty())),
        Err(std::env::VarError::NotPresent) => Ok(None),
        Err(error) => Err(Failed::usage(format!("{VARIABLE}: {error}"))),
    }
}

/// From the file, where one is named, else from the environment, else from whoever sits there. `None` where nobody does.
pub(super) fn find(file: Option<&Path>, questions: &[&str]) -> Result<Option<String>, Failed> {
    if let Some(path) = file {
        let text = fs::read_to_string(path).map_err(|error| Failed::usage(format!("{}: {error}", path.display())))?;
        return Ok(Some(text.lines().next().unwrap_or_default().to_owned()));
    }
    if let Some(text) = from_environment()? {
        return Ok(Some(text));
    }
    if !std::io::stdin().is_terminal() {
        return Ok(None);
    }
    let mut typed: Option<String> = None;
    for question in questions {
        let text = rpassword::prompt_password(question)?;
        if typed.as_ref().is_some_and(|before| *before != text) {
            return Err(Failed::usage("the two are not the same"));
        }
        typed = Some(text);
    }
    Ok(typed)
}
