//! `palpebra export`

use std::path::PathBuf;

use clap::Args;
use time::Date;
use time::macros::format_description;

use super::{DataArgs, Failed, passphrase, say};
use crate::actions::export::{self, ExportError, Order, Passphrase, Place, Why};
use crate::actions::studio;
use crate::documents::package::PackageRefused;
use crate::documents::record::Scope;
use crate::domain::ids::ClientId;
use crate::domain::role::Actor;
use crate::studio_key::StudioKey;

/// Whose records go where, and why.
#[derive(Args)]
#[command(group = clap::ArgGroup::new("whose").required(true).args(["client", "from", "everyone"]))]
pub(super) struct ExportArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Who asked for the records, and for what: it is written down, and stands in the package.
    #[arg(long)]
    why: String,
    /// One client, by the id that her page's address holds.
    #[arg(long)]
    client: Option<String>,
    /// Each client with a visit from this day on, such as 2026-01-31 …
    #[arg(long, requires = "to")]
    from: Option<String>,
    /// … to this day.
    #[arg(long, requires = "from")]
    to: Option<String>,
    /// Everybody.
    #[arg(long)]
    everyone: bool,
    /// The file to write; it must not be there yet.
    #[arg(long)]
    out: PathBuf,
    /// Encrypt it with a passphrase: from --passphrase-file, else PALPEBRA_PASSPHRASE, else it is asked for.
    #[arg(long)]
    encrypt: bool,
    /// A file whose first line is the passphrase.
    #[arg(long, requires = "encrypt")]
    passphrase_file: Option<PathBuf>,
}

impl From<ExportError> for Failed {
    fn from(error: ExportError) -> Self {
        let line = error.to_string();
        match error {
            ExportError::Store(error) => error.into(),
            ExportError::Nobody | ExportError::NoStudio => Self { code: 1, line },
            ExportError::Package(PackageRefused::Io(_)) | ExportError::Io(_) | ExportError::Key(_) => {
                Self { code: 74, line }
            }
            ExportError::SomebodyLeft => Self { code: 75, line },
            ExportError::Package(_) | ExportError::CutOff => Self { code: 70, line },
        }
    }
}

fn day(name: &str, text: &str) -> Result<Date, Failed> {
    Date::parse(text, format_description!("[year]-[month]-[day]"))
        .map_err(|_| Failed::usage(format!("{name}: a day is written like 2026-01-31")))
}

fn scope(args: &ExportArgs) -> Result<Scope, Failed> {
    match (&args.client, &args.from, &args.to) {
        (Some(id), _, _) => {
            let client = ClientId::parse(id).map_err(|error| Failed::usage(format!("--client: {error}")))?;
            Ok(Scope::Client { client })
        }
        (None, Some(from), Some(to)) => {
            let (from, to) = (day("--from", from)?, day("--to", to)?);
            if from > to { Err(Failed::usage("--to is before --from")) } else { Ok(Scope::Days { from, to }) }
        }
        _ => Ok(Scope::Everyone),
    }
}

/// The passphrase, when one is wanted.
fn passphrase(args: &ExportArgs) -> Result<Option<Passphrase>, Failed> {
    if !args.encrypt {
        return match passphrase::from_environment()? {
            Some(_) => {
                Err(Failed::usage("a passphrase is set, and --encrypt is missing: say it, or unset the variable"))
            }
            None => Ok(None),
        };
    }
    let questions = ["Passphrase (at least 15 characters): ", "The same again: "];
    let text = passphrase::find(args.passphrase_file.as_deref(), &questions)?
        .ok_or_else(|| Failed::usage("--encrypt: there is no passphrase and nobody to ask"))?;
    export::passphrase(text).map(Some).map_err(|error| Failed::usage(format!("the passphrase: {error}")))
}

pub(super) async fn run(args: ExportArgs) -> Result<(), Failed> {
    let why = Why::parse(&args.why).map_err(|error| Failed::usage(format!("--why: {error}")))?;
    let (scope, passphrase) = (scope(&args)?, passphrase(&args)?);
    let app = args.data.open().await?;
    let language = studio::language(&app).await;
    let order = Order { scope, why, place: Place::At(args.out.clone()), passphrase };
    let made = language.scope(export::make(&app, &Actor::Command, order)).await;
    app.db.close().await;
    let made = made?;
    let clients = if made.clients == 1 { "1 client".to_owned() } else { format!("{} clients", made.clients) };
    let sealed = if made.encrypted { ", encrypted" } else { "" };
    say(&format!("{}: {clients}, {} bytes{sealed}", args.out.display(), made.bytes));
    say(&format!("SHA-256 of the file:     {}", made.sha256));
    say(&format!("SHA-256 of the manifest: {}", made.manifest_sha256));
    if let Ok(Some(key)) = StudioKey::load(&args.data.data) {
        say(&format!("signed with the key:     {}", key.public()));
    }
    Ok(())
}
