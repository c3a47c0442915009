//! Whose folder it is.

use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

use clap::ArgMatches;

use super::Failed;

/// Refuses root where the data folder is another user's: what root wrote there, such as a restored database, that user's server
/// could not read. `settings` only lists, and is let through.
pub(super) fn may_write(matches: &ArgMatches) -> Result<(), Failed> {
    let Some((name, given)) = matches.subcommand() else { return Ok(()) };
    match given.try_get_one::<PathBuf>("data") {
        Ok(Some(folder)) if name != "settings" => refuse(user_of(Path::new("/proc/self")), user_of(folder), folder),
        _ => Ok(()),
    }
}

fn user_of(path: &Path) -> Option<u32> {
    std::fs::metadata(path).ok().map(|metadata| metadata.uid())
}

fn refuse(me: Option<u32>, owner: Option<u32>, folder: &Path) -> Result<(), Failed> {
    match (me, owner) {
        (Some(0), Some(user)) if user != 0 => Err(Failed {
            code: 77,
            line: format!(
                "{} belongs to user {user}, whose server could not read what root writes there: run this as that user, \
                 such as with `runuser -u palpebra -- palpebra …`",
                folder.display()
            ),
        }),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_root_is_kept_out_and_only_of_another_user_s_folder() {
        let folder = tempfile::tempdir().unwrap();
        let refused = |me, owner| refuse(me, owner, folder.path()).err().map(|failed| failed.code);
        assert_eq!(refused(Some(0), Some(1000)), Some(77));
        assert_eq!(refused(Some(1000), Some(1000)), None);
        assert_eq!(refused(Some(1000), Some(1001)), None, "the system keeps her out, or lets her in");
        assert_eq!(refused(Some(0), Some(0)), None, "root's own");
        assert_eq!(refused(Some(0), user_of(&folder.path().join("not-there"))), None, "it is made anew");
        assert_eq!(refused(None, Some(1000)), None, "a system that doesn't say");
        assert!(user_of(folder.path()).is_some() && user_of(Path::new("/")) == Some(0));
    }
}
