//! The program's settings: a file, the environment and flags, each stronger than the one before it; and
//! `palpebra settings`, which lists them.

use std::ffi::OsString;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use clap::parser::ValueSource;
use clap::{ArgMatches, Command};
use toml::{Table, Value};

use super::{Failed, say};

/// What can be set, as flags and files name it, and whether it is kept secret.
const SETTINGS: [(&str, bool); 11] = [
    ("data", false),
    ("key-file", false),
    ("backups", false),
    ("backup-key", false),
    ("keep-backups", false),
    ("listen", false),
    ("base-url", false),
    ("trusted-proxy", false),
    ("smtp", true),
    ("smtp-authority", false),
    ("local-calendars", false),
];

/// What the file says, by the names of flags.
#[derive(Debug, Default, PartialEq)]
pub(super) struct FromFile {
    path: PathBuf,
    values: Vec<(&'static str, String)>,
}

impl FromFile {
    /// Reads the file that `--config` names, or else `PALPEBRA_CONFIG`; without either there is none.
    pub(super) fn find(mut args: impl Iterator<Item = OsString>, named: Option<OsString>) -> Result<Self, Failed> {
        let mut path = named.filter(|path| !path.is_empty());
        while let Some(arg) = args.next() {
            match arg.to_str() {
                Some("--config") => path = args.next(),
                Some("--") => break,
                Some(arg) => path = arg.strip_prefix("--config=").map(OsString::from).or(path),
                None => {}
            }
        }
        path.map_or_else(|| Ok(Self::default()), |path| Self::read(Path::new(&path)))
    }

    fn read(path: &Path) -> Result<Self, Failed> {
        let at = |line: String| Failed { code: 78, line: format!("{}: {line}", path.display()) };
        let text = std::fs::read_to_string(path).map_err(|error| at(error.to_string()))?;
        let values = parse(&text).map_err(at)?;
        let secret = values.iter().any(|(name, _)| SETTINGS.contains(&(*name, true)));
        if secret && std::fs::metadata(path)?.permissions().mode() & 0o007 != 0 {
            return Err(at(
                "it holds a password and everybody may read it; take that right away (chmod o= FILE)".to_owned()
            ));
        }
        Ok(Self { path: path.to_owned(), values })
    }

    /// The command line with what the file says as its defaults, so that the environment and flags win.
    pub(super) fn under(&self, command: Command) -> Command {
        command.mut_subcommands(|sub| {
            let mut sub = sub;
            for (name, value) in &self.values {
                if sub.get_arguments().any(|arg| arg.get_long() == Some(name)) {
                    sub = sub.mut_arg(name.replace('-', "_"), |arg| arg.default_value(value.clone()));
                }
            }
            sub
        })
    }

    fn has(&self, name: &str) -> bool {
        self.values.iter().any(|(one, _)| *one == name)
    }
}

/// Reads what a file says, by the names of flags.
///
/// # Errors
/// What is wrong with it, in words for whoever wrote it.
pub fn parse(text: &str) -> Result<Vec<(&'static str, String)>, String> {
    let table: Table = text.parse().map_err(|error: toml::de::Error| error.message().to_owned())?;
    table.into_iter().map(|(name, value)| one(&name, value)).collect()
}

fn one(name: &str, value: Value) -> Result<(&'static str, String), String> {
    let known = SETTINGS.iter().find(|(known, _)| *known == name);
    let (known, _) = known.ok_or_else(|| format!("“{name}” is no setting; `palpebra settings` lists them"))?;
    let several =
        |all: Vec<Value>| all.into_iter().map(|one| one.as_str().map(str::to_owned)).collect::<Option<Vec<_>>>();
    let text = match (*known, value) {
        ("local-calendars", Value::Boolean(on)) => Some(on.to_string()),
        ("local-calendars", _) => None,
        ("trusted-proxy", Value::Array(all)) => several(all).map(|all| all.join(",")),
        (_, Value::String(text)) => Some(text),
        _ => None,
    };
    text.map(|text| (*known, text)).ok_or_else(|| format!("“{name}” has the wrong kind of value"))
}

/// Prints every setting with its value and where that comes from.
pub(super) fn list(matches: &ArgMatches, file: &FromFile) {
    if !file.path.as_os_str().is_empty() {
        say(&format!("settings file: {}", file.path.display()));
    }
    for (name, secret) in SETTINGS {
        let id = name.replace('-', "_");
        let values: Vec<String> = matches
            .get_raw(&id)
            .map(|all| all.map(|one| one.to_string_lossy().into_owned()).collect())
            .unwrap_or_default();
        let shown = match values.as_slice() {
            [] => "not set".to_owned(),
            _ if secret => "set, hidden".to_owned(),
            all => all.join(","),
        };
        let source = match matches.value_source(&id) {
            Some(ValueSource::CommandLine) => "flag",
            Some(ValueSource::EnvVariable) => "environment",
            _ if file.has(name) => "file",
            _ => "default",
        };
        say(&format!("{name} = {shown}  ({source})"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_names_settings_as_flags_do_and_nothing_else() {
        let text = "data = \"/var/lib/palpebra\"\ntrusted-proxy = [\"127.0.0.1\", \"::1\"]\nlocal-calendars = true\n";
        let mut read = parse(text).unwrap();
        read.sort_unstable();
        assert_eq!(
            read,
            [
                ("data", "/var/lib/palpebra".to_owned()),
                ("local-calendars", "true".to_owned()),
                ("trusted-proxy", "127.0.0.1,::1".to_owned())
            ]
        );
        for (text, words) in [
            ("listn = \"x\"", "“listn” is no setting"),
            ("listen = 8080", "“listen” has the wrong kind of value"),
            ("local-calendars = \"yes\"", "wrong kind"),
            ("demo = true", "“demo” is no setting"),
            ("listen", "expected"),
        ] {
            assert!(parse(text).unwrap_err().contains(words), "{text}: {:?}", parse(text));
        }
    }
}
