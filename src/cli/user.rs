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
        Ok(Some(folder)) if name != "settings" => refuse(user_of(Path::new("/proc/self")), folder),
        _ => Ok(()),
    }
}

fn user_of(path: &Path) -> Option<u32> {
    std::fs::metadata(path).ok().map(|metadata| metadata.uid())
}

fn refuse(me: Option<u32>, folder: &Path) -> Result<(), Failed> {
    match (me, user_of(folder)) {
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
        let mine = user_of(folder.path()).unwrap();
        assert!(refuse(Some(mine), folder.path()).is_ok());
        assert!(refuse(Some(0), Path::new("/")).is_ok(), "root's own");
        assert!(refuse(Some(0), &folder.path().join("not-there")).is_ok(), "it is made anew");
        assert!(refuse(None, folder.path()).is_ok(), "a system that doesn't say");
    }
}
