//! `palpebra verify`: 0 when a package is as it was made, 1 when it isn't or is somebody else's, 66 when it can't be read or
//! opened.

use std::fs::File;
use std::path::PathBuf;

use clap::Args;

use super::{Failed, passphrase, say};
use crate::documents::verify::{Fault, Verified, verify};
use crate::sealing::{Passphrase, SealError};
use crate::studio_key::PublicKey;
use crate::when;

/// Which package.
#[derive(Args)]
pub(super) struct VerifyArgs {
    /// The ZIP file, or the encrypted one.
    file: PathBuf,
    /// For an encrypted one: a file whose first line is the passphrase. Else PALPEBRA_PASSPHRASE, else it is asked for.
    #[arg(long)]
    passphrase_file: Option<PathBuf>,
    /// The studio's public key, 64 hexadecimal digits: then a package that another key signed is told apart.
    #[arg(long, value_parser = key)]
    key: Option<PublicKey>,
}

fn key(text: &str) -> Result<PublicKey, String> {
    PublicKey::parse(text).ok_or_else(|| "a key has 64 hexadecimal digits".to_owned())
}

type Unreadable<'a> = dyn Fn(&dyn std::fmt::Display) -> Failed + 'a;

/// Looks into an encrypted package, of which nothing is written to the disk.
fn opened(args: &VerifyArgs, file: &File, unreadable: &Unreadable<'_>) -> Result<Result<Verified, Vec<Fault>>, Failed> {
    let text =
        passphrase::find(args.passphrase_file.as_deref(), &["Passphrase of the package: "])?.ok_or_else(|| {
            unreadable(&format!("{}; name the file of its passphrase with --passphrase-file", Fault::Encrypted))
        })?;
    let changed = |error: SealError| match error {
        SealError::Damaged => Failed { code: 1, line: error.to_string() },
        _ => unreadable(&error),
    };
    let mut content = Passphrase::new(text).open(file).map_err(changed)?;
    content.check().map_err(changed)?;
    say("opened with the passphrase");
    Ok(verify(content))
}

pub(super) fn run(args: &VerifyArgs) -> Result<(), Failed> {
    let unreadable = |why: &dyn std::fmt::Display| Failed { code: 66, line: format!("{}: {why}", args.file.display()) };
    let file = File::open(&args.file).map_err(|error| unreadable(&error))?;
    let mut result = verify(&file);
    if matches!(&result, Err(faults) if *faults == [Fault::Encrypted]) {
        result = opened(args, &file, &unreadable)?;
    }
    let verified = match result {
        Ok(verified) => verified,
        Err(faults) if faults == [Fault::Unreadable] => return Err(unreadable(&Fault::Unreadable)),
        Err(faults) => {
            for fault in &faults {
                say(&fault.to_string());
            }
            return Err(Failed { code: 1, line: "the package is not as it was made".to_owned() });
        }
    };
    let head = verified.head;
    // A package comes from elsewhere: what it says of itself may not steer a terminal.
    let line = |text: &str| text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>();
    say("intact: no file in it was changed");
    say(&format!("studio:  {}", line(&head.studio.name)));
    say(&format!("made:    {} ({})", when::moment(head.at.local), line(&head.studio.zone)));
    say(&format!("by:      {}", line(&head.by)));
    say(&format!("why:     {}", line(&head.why)));
    say(&format!("export:  {}, by {}", head.id, line(&head.program)));
    say(&format!("payload: {} files, {} bytes", verified.files, verified.bytes));
    say(&format!("SHA-256 of the manifest: {}", verified.manifest_sha256));
    say(&format!("signed with the key: {}", verified.signed_by));
    match args.key {
        Some(key) if key == verified.signed_by => say("ours: it is the key that you gave"),
        Some(_) => {
            say("not ours: it is not the key that you gave");
            return Err(Failed { code: 1, line: "the package is intact, but another key signed it".to_owned() });
        }
        None => {
            say("Compare it with the key that the studio gave you: whoever changes a package can sign it with another.")
        }
    }
    Ok(())
}
