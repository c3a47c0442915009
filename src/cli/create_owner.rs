//! `palpebra create-owner`

use std::io::{BufRead, IsTerminal, Write};

use super::{Failed, OwnerArgs, say};
use crate::actions::people::{self, NewOwner, PeopleError};
use crate::domain::money::Currency;
use crate::domain::person::{Mail, PersonName};
use crate::domain::zone::Zone;
use crate::language::Language;
use crate::password;

pub(super) async fn run(args: OwnerArgs) -> Result<(), Failed> {
    let studio = PersonName::parse(&args.studio).map_err(|error| Failed::usage(format!("--studio: {error}")))?;
    let zone = Zone::parse(&args.zone).map_err(|_| Failed::usage("--zone: no such time zone"))?;
    let currency = Currency::parse(&args.currency).map_err(|error| Failed::usage(format!("--currency: {error}")))?;
    let language = Language::parse(&args.language).ok_or_else(|| Failed::usage("--language: no such language here"))?;
    let name = PersonName::parse(&ask("Your name: ")?).map_err(|error| Failed::usage(error.to_string()))?;
    let mail = Mail::parse(&ask("Mail: ")?).map_err(|error| Failed::usage(error.to_string()))?;
    let password = ask_secretly("Password (at least 15 characters): ")?;
    password::check(&password, &[studio.as_str(), name.as_str(), mail.as_str()])
        .map_err(|error| Failed::usage(error.to_string()))?;
    std::fs::create_dir_all(&args.data.data)?;
    let app = args.data.app().await?;
    let made =
        people::create_owner(&app, NewOwner { studio, zone, currency, language, name, mail, password, demo: false })
            .await;
    app.db.close().await;
    match made {
        Ok(Some(_)) => {
            say("The studio and its owner are made.");
            Ok(())
        }
        Ok(None) => Err(Failed::usage("there is an owner already")),
        Err(PeopleError::Store(error)) => Err(error.into()),
        Err(PeopleError::Passwords(error)) => Err(Failed { code: 71, line: error.to_string() }),
    }
}

fn ask(question: &str) -> Result<String, Failed> {
    let mut error = std::io::stderr();
    write!(error, "{question}")?;
    error.flush()?;
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line)?;
    Ok(line.trim_end_matches(['\n', '\r']).to_owned())
}

fn ask_secretly(question: &str) -> Result<String, Failed> {
    if std::io::stdin().is_terminal() { Ok(rpassword::prompt_password(question)?) } else { ask(question) }
}
