//! `palpebra verify`: 0 when a package is as it was made, 1 when it isn't or is somebody else's, 66 when it can't be read.

use std::fs::File;
use std::path::PathBuf;

use clap::Args;

use super::{Failed, say};
use crate::documents::verify::{Fault, verify};
use crate::studio_key::PublicKey;
use crate::when;

/// Which package.
#[derive(Args)]
pub(super) struct VerifyArgs {
    /// The ZIP file.
    file: PathBuf,
    /// The studio's public key, 64 hexadecimal digits: then a package that another key signed is told apart.
    #[arg(long, value_parser = key)]
    key: Option<PublicKey>,
}

fn key(text: &str) -> Result<PublicKey, String> {
    PublicKey::parse(text).ok_or_else(|| "a key has 64 hexadecimal digits".to_owned())
}

pub(super) fn run(args: &VerifyArgs) -> Result<(), Failed> {
    let unreadable = |why: &dyn std::fmt::Display| Failed { code: 66, line: format!("{}: {why}", args.file.display()) };
    let file = File::open(&args.file).map_err(|error| unreadable(&error))?;
    let verified = match verify(file) {
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
