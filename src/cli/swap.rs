//! Putting a restored database in the place of what was there, so that a cut between any two steps leaves a folder that can
//! be served or restored to again; and telling a folder where a database was lost from one where a studio may begin.

use std::fs;
use std::io;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

use super::keys::Staged;
use super::{DataArgs, Failed, say};
use crate::durable::{self, beside};
use crate::store::audit_end::{End, EndFile};
use crate::store::{Trouble, backup as copies, keyring};

/// The tail of a file that is not in use yet.
pub(super) const RESTORING: &str = "restoring";
/// What SQLite keeps beside a database.
const LOG: &str = "-wal";
const INDEX: &str = "-shm";

/// A checked database that waits for its place.
pub(super) struct Swap<'a> {
    target: &'a Path,
    half: &'a Path,
    aside: PathBuf,
    /// The log of what was there could not be folded in.
    loose: bool,
    keys: &'a Staged,
    end: End,
}

type Step = fn(&Swap<'_>) -> Result<(), Failed>;

/// What was there gets a second name before it loses its own. The keys go first, since those that come hold those that were
/// there too. Without an end the next change begins one; the end of the other database would raise an alarm. A log that
/// could not be folded in goes last, for SQLite would read it into the new file.
const STEPS: [Step; 8] = [
    |swap| Ok(keep(swap.target, &swap.aside)?),
    |swap| Ok(keep_log(swap)?),
    |swap| Ok(keep(EndFile::of(swap.target).path(), EndFile::of(&swap.aside).path())?),
    |swap| swap.keys.settle(),
    |swap| Ok(gone(EndFile::of(swap.target).path())?),
    |swap| forget_log(swap.target),
    |swap| Ok(durable::rename(swap.half, swap.target)?),
    |swap| Ok(EndFile::of(swap.target).set(&swap.end)?),
];

impl<'a> Swap<'a> {
    /// Folds the log of what is there in, and touches nothing else yet.
    pub(super) async fn prepare(target: &'a Path, half: &'a Path, keys: &'a Staged, end: End) -> Result<Self, Failed> {
        let loose = !fold(target).await?;
        Ok(Self { target, half, aside: aside(target), loose, keys, end })
    }

    /// Does it: where what was there is kept, if something was.
    pub(super) fn run(self) -> Result<Option<PathBuf>, Failed> {
        for step in STEPS {
            step(&self)?;
            durable::keep_names_beside(self.target)?;
        }
        Ok(self.aside.exists().then_some(self.aside))
    }
}

/// Whether the log is in the file; a file that is damaged, which is what backups are for, has to go with its log.
async fn fold(target: &Path) -> Result<bool, Failed> {
    if !target.exists() {
        return Ok(false);
    }
    match copies::fold(target).await {
        Ok(true) => Ok(fs::metadata(with(target, LOG)).map_or(0, |log| log.len()) == 0),
        Ok(false) => {
            Err(Failed { code: 75, line: "another program reads the database; try again when it is done".to_owned() })
        }
        Err(error) if matches!(error.trouble(), Trouble::Busy | Trouble::Full | Trouble::ReadOnly) => Err(error.into()),
        Err(_) => Ok(false),
    }
}

/// The first name that is free, or that a restore which was cut off has given to the very file.
fn aside(target: &Path) -> PathBuf {
    let mut n = 1;
    loop {
        let aside = beside(target, &format!("before-{n}"));
        if !aside.exists() || same(&aside, target) {
            return aside;
        }
        n += 1;
    }
}

fn keep_log(swap: &Swap<'_>) -> io::Result<()> {
    if swap.loose { keep(&with(swap.target, LOG), &with(&swap.aside, LOG)) } else { Ok(()) }
}

/// Gives a file a second name, or where the disk has no such thing, makes a copy of it.
fn keep(from: &Path, to: &Path) -> io::Result<()> {
    if !from.exists() || same(from, to) || fs::hard_link(from, to).is_ok() {
        return Ok(());
    }
    let half = beside(to, "part");
    let copied = fs::copy(from, &half).and_then(|_| durable::rename(&half, to));
    if copied.is_err() {
        let _ = fs::remove_file(&half);
    }
    copied
}

/// Whether two names are of one file.
pub(super) fn same(one: &Path, other: &Path) -> bool {
    let file = |path| fs::metadata(path).map(|file| (file.dev(), file.ino())).ok();
    file(one).is_some_and(|one| file(other) == Some(one))
}

/// Takes away what SQLite kept beside a file that is no longer there.
pub(super) fn forget_log(file: &Path) -> Result<(), Failed> {
    gone(&with(file, LOG))?;
    Ok(gone(&with(file, INDEX))?)
}

fn gone(file: &Path) -> io::Result<()> {
    match fs::remove_file(file) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

pub(super) fn with(file: &Path, tail: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(tail);
    name.into()
}

/// Takes away what a restore left that was cut off before it took effect, since it holds keys that nobody would destroy;
/// where there is no database, refuses as [`may_begin`]. Only for whoever holds the folder's lock.
pub(super) async fn before_serving(data: &DataArgs) -> Result<(), Failed> {
    may_begin(data).await?;
    let target = data.database();
    if !is_there(&target) {
        return Ok(());
    }
    let half = beside(&target, RESTORING);
    if half.exists() {
        say("a restore was cut off before it took effect, and the database is the one from before: restore again");
    }
    Staged::new(&data.keys()).drop();
    let twin = aside(&target);
    if same(&twin, &target) {
        // A log may hold what the file lacks, and was taken from beside it last.
        let (own, kept) = (with(&target, LOG), with(&twin, LOG));
        if kept.exists() && !own.exists() {
            durable::rename(&kept, &own)?;
        }
        gone(&kept)?;
        gone(EndFile::of(&twin).path())?;
        gone(&twin)?;
    }
    forget_log(&half)?;
    Ok(gone(&half)?)
}

fn is_there(database: &Path) -> bool {
    fs::metadata(database).is_ok_and(|file| file.len() > 0)
}

/// Refuses a new, empty database where there was one, and says what lies there and what to do.
pub(super) async fn may_begin(data: &DataArgs) -> Result<(), Failed> {
    let database = data.database();
    if is_there(&database) {
        return Ok(());
    }
    let (half, keys) = (beside(&database, RESTORING), data.keys());
    let (lies, remedy) = if half.exists() {
        (format!("{} is of a restore that was cut off", half.display()), "restore the backup again".to_owned())
    } else if let Some(kept) = kept(&database)? {
        let kept = kept.display();
        (format!("{kept} is one that was there before"), format!("restore a backup, or that file (--from {kept})"))
    } else if keyring::holds_keys(&keys).await? {
        (format!("{} holds the keys of its records", keys.keys.display()), "restore the newest backup".to_owned())
    } else {
        return Ok(());
    };
    let line = format!(
        "there is no database at {}, but {lies}, so no empty one is made; {remedy}, or name another folder with --data",
        database.display()
    );
    Err(Failed { code: 66, line })
}

/// Of the databases that were kept when another one took their place, the one that was written last.
fn kept(database: &Path) -> io::Result<Option<PathBuf>> {
    let begins = beside(database, "before-");
    let begins = begins.file_name().unwrap_or_default().to_string_lossy();
    let mut last = None;
    for entry in fs::read_dir(database.parent().unwrap_or(Path::new("")).join("."))? {
        let path = entry?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let number = name.strip_prefix(&*begins).map(|rest| rest.trim_start_matches("upgrade-"));
        if number.is_some_and(|number| number.parse::<u32>().is_ok()) {
            last = last.max(Some((fs::metadata(&path)?.modified()?, path.clone())));
        }
    }
    Ok(last.map(|(_, path)| path))
}

#[cfg(test)]
mod tests {
    use std::time::{Duration, SystemTime};

    use super::*;
    use crate::store::keyring::KeyPlace;

    fn end(seq: i64) -> End {
        End { seq, hash: format!("{seq:064x}") }
    }

    fn read(file: &Path) -> Option<String> {
        fs::read_to_string(file).ok()
    }

    /// A folder with a database and its log, which can't be folded in where it is `loose`.
    struct Folder {
        _folder: tempfile::TempDir,
        place: KeyPlace,
        target: PathBuf,
        half: PathBuf,
        loose: bool,
    }

    impl Folder {
        fn new(loose: bool) -> Self {
            let folder = tempfile::tempdir().unwrap();
            let target = folder.path().join("palpebra.db");
            fs::write(&target, "old").unwrap();
            fs::write(with(&target, LOG), if loose { "log" } else { "" }).unwrap();
            fs::write(with(&target, INDEX), "index").unwrap();
            EndFile::of(&target).set(&end(9)).unwrap();
            let place = KeyPlace::beside(&target);
            fs::write(&place.keys, "old").unwrap();
            fs::write(&place.master, "master").unwrap();
            Self { half: beside(&target, RESTORING), _folder: folder, place, target, loose }
        }

        /// Brings a backup, and does so many steps of putting it in its place.
        fn steps(&self, count: usize) {
            let keys = Staged::new(&self.place);
            fs::write(&self.half, "new").unwrap();
            fs::write(&keys.place().keys, "both").unwrap();
            let (target, half) = (&*self.target, &*self.half);
            let swap = Swap { target, half, aside: aside(target), loose: self.loose, keys: &keys, end: end(5) };
            for step in &STEPS[..count] {
                assert!(step(&swap).is_ok());
            }
        }

        fn names(&self) -> Vec<String> {
            let names = fs::read_dir(self.target.parent().unwrap()).unwrap();
            let mut names: Vec<_> = names.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
            names.sort();
            names
        }
    }

    #[test]
    fn a_cut_after_any_step_leaves_one_database_or_the_other_and_the_restore_is_done_again() {
        for (loose, count) in [false, true].into_iter().flat_map(|loose| (0..=STEPS.len()).map(move |n| (loose, n))) {
            let folder = Folder::new(loose);
            folder.steps(count);
            let (target, aside) = (&folder.target, beside(&folder.target, "before-1"));
            let what = format!("{count} steps, loose: {loose}");
            let ended = EndFile::of(target).read();
            let log = read(&with(target, LOG)).unwrap_or_default();
            match read(target).as_deref() {
                Some("old") => {
                    assert!(ended.is_none() || ended == Some(end(9)), "{what}");
                    assert!(!loose || log == "log" || read(&with(&aside, LOG)).as_deref() == Some("log"), "{what}");
                }
                Some("new") => {
                    assert!(ended.is_none() || ended == Some(end(5)), "{what}");
                    assert!(log.is_empty(), "{what}");
                    assert_eq!(read(&folder.place.keys).as_deref(), Some("both"), "{what}");
                    assert_eq!(EndFile::of(&aside).read(), Some(end(9)), "{what}");
                }
                other => panic!("{what}: {other:?}"),
            }
            if read(target).as_deref() == Some("new") {
                continue;
            }
            folder.steps(STEPS.len());
            assert_eq!(read(target).as_deref(), Some("new"), "{what}");
            assert_eq!(EndFile::of(target).read(), Some(end(5)), "{what}");
            let kept = (read(&aside), EndFile::of(&aside).read(), read(&with(&aside, LOG)));
            assert_eq!(kept, (Some("old".to_owned()), Some(end(9)), loose.then(|| "log".to_owned())), "{what}");
            let mut names = vec!["palpebra.db", "palpebra.db.before-1", "palpebra.db.before-1-wal"];
            names.extend(["palpebra.db.before-1.end", "palpebra.db.end", "palpebra.keys", "palpebra.master"]);
            names.retain(|name| loose || !name.ends_with(LOG));
            assert_eq!(folder.names(), names, "{what}");
        }
    }

    #[tokio::test]
    async fn serving_takes_back_what_was_cut_off_and_loses_nothing() {
        for (loose, count) in [false, true].into_iter().flat_map(|loose| (0..=STEPS.len()).map(move |n| (loose, n))) {
            let folder = Folder::new(loose);
            folder.steps(count);
            fs::write(with(&beside(&folder.place.keys, RESTORING), "-journal"), "keys").unwrap();
            let (before, what) = (read(&folder.target), format!("{count} steps, loose: {loose}"));
            let data = folder.target.parent().unwrap().to_owned();
            assert!(before_serving(&DataArgs { data, key_file: None }).await.is_ok());
            assert_eq!(read(&folder.target), before, "{what}");
            let names = folder.names();
            assert!(!names.iter().any(|name| name.contains(RESTORING)), "{what}: {names:?}");
            let keeps = names.iter().any(|name| name == "palpebra.db.before-1");
            assert!(keeps || before.as_deref() == Some("old"), "{what}");
            let log = names
                .iter()
                .filter(|name| name.ends_with(LOG))
                .any(|name| read(&folder.target.with_file_name(name)).as_deref() == Some("log"));
            assert_eq!(log, loose, "{what}");
            let (aside, log) = (beside(&folder.target, "before-1"), with(&folder.target, LOG));
            assert!(!same(&aside, &folder.target), "{what}: what is kept changes with what is served");
            assert!(before.as_deref() == Some("new") || !loose || read(&log).as_deref() == Some("log"), "{what}");
        }
    }

    #[tokio::test]
    async fn where_a_database_was_lost_the_one_that_was_kept_last_is_named() {
        let folder = Folder::new(false);
        fs::remove_file(&folder.target).unwrap();
        let names = ["before-upgrade-1", "before-2", "before-9", "before-10", "before-10-wal", "before-then"];
        for (at, name) in (0..).zip(names) {
            let file = fs::File::create(beside(&folder.target, name)).unwrap();
            file.set_modified(SystemTime::UNIX_EPOCH + Duration::from_secs(at)).unwrap();
        }
        let data = DataArgs { data: folder.target.parent().unwrap().to_owned(), key_file: None };
        let Err(refused) = may_begin(&data).await else { panic!("it begins anew") };
        assert!(refused.code == 66 && refused.line.contains("before-10 is one"), "{}", refused.line);
    }

    #[test]
    fn a_file_that_can_have_no_second_name_is_copied() {
        let folder = Folder::new(false);
        let aside = beside(&folder.target, "before-1.end");
        fs::write(&aside, "from before").unwrap();
        keep(&folder.target, &aside).unwrap();
        assert_eq!(read(&aside).as_deref(), Some("old"));
        assert!(!same(&aside, &folder.target) && !beside(&aside, "part").exists());
    }
}
