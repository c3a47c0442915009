//! `palpebra seed-demo`, and what `serve --demo` does first: an invented studio in an empty database.
//!
//! Everything goes through [`crate::actions`] with a clock that is moved by hand through the past, so the demo obeys
//! the rules. It is filled beside the database and put in its place when it is whole: a fill that was cut short leaves
//! nothing behind.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use time::OffsetDateTime;

use super::{DataArgs, Failed, say};
use crate::actions::backup::Backups;
use crate::actions::export::UnderWay;
use crate::actions::health::TestRefused;
use crate::actions::people::PeopleError;
use crate::actions::treating;
use crate::app::{Address, App, Parts, SecondFactor};
use crate::clock::{Clock, Random};
use crate::mail::transport::Transport;
use crate::password::{Passwords, Unavailable};
use crate::store::audit_end::EndFile;
use crate::store::keyring::KeyPlace;
use crate::store::{Db, StoreError, studio};
use crate::web::limits::Limits;
use crate::web::server::Patience;

mod booking;
mod chair;
mod data;
mod opening;
mod story;

/// What the demo's dice begin with.
const SEED: u64 = 20_240_229;

/// Why there is no demo.
#[derive(Debug, thiserror::Error)]
pub enum DemoRefused {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A password can't be hashed.
    #[error(transparent)]
    Passwords(#[from] Unavailable),
    /// The file can't be put in its place.
    #[error(transparent)]
    File(#[from] std::io::Error),
    /// The database holds a studio that is no demo.
    #[error("the database holds a studio that is not the demo: name another folder with --data")]
    NotEmpty,
    /// The demo's data don't hold together.
    #[error("the demo's data: {0}")]
    Data(String),
}

impl From<PeopleError> for DemoRefused {
    fn from(error: PeopleError) -> Self {
        match error {
            PeopleError::Store(error) => Self::Store(error),
            PeopleError::Passwords(error) => Self::Passwords(error),
        }
    }
}

impl From<treating::Refused> for DemoRefused {
    fn from(refused: treating::Refused) -> Self {
        match refused {
            treating::Refused::Store(error) => Self::Store(error),
            other => Self::Data(other.to_string()),
        }
    }
}

impl From<TestRefused> for DemoRefused {
    fn from(refused: TestRefused) -> Self {
        match refused {
            TestRefused::Store(error) => Self::Store(error),
            other => Self::Data(other.to_string()),
        }
    }
}

impl From<DemoRefused> for Failed {
    fn from(refused: DemoRefused) -> Self {
        match refused {
            DemoRefused::Store(error) => error.into(),
            DemoRefused::File(error) => error.into(),
            DemoRefused::Passwords(error) => Self { code: 71, line: error.to_string() },
            DemoRefused::NotEmpty => Self::usage(DemoRefused::NotEmpty.to_string()),
            DemoRefused::Data(_) => Self { code: 70, line: refused.to_string() },
        }
    }
}

/// Who can sign in to the demo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignIns {
    /// The owner's mail and password.
    pub owner: (String, String),
    /// A practitioner's mail and password.
    pub practitioner: (String, String),
    /// A client's mail: clients have no password.
    pub client: String,
}

impl SignIns {
    /// As lines for whoever starts the program.
    fn say(&self, data: &Path) {
        say(&format!("owner {} {}", self.owner.0, self.owner.1));
        say(&format!("practitioner {} {}", self.practitioner.0, self.practitioner.1));
        say(&format!("client {} (asks for a link; mail is in {})", self.client, data.join("mail").display()));
    }
}

pub(super) async fn run(args: DataArgs) -> Result<(), Failed> {
    std::fs::create_dir_all(&args.data)?;
    let _lock = super::lock(&args.data)?;
    before_serving(&args, Clock::system().now()).await
}

/// Sees to it that the demo is there, and says who can sign in.
pub(super) async fn before_serving(args: &DataArgs, now: OffsetDateTime) -> Result<(), Failed> {
    prepare_with(&args.database(), &args.keys(), now, Passwords::strong()).await?.say(&args.data);
    Ok(())
}

/// [`prepare_with`] the keys beside the database.
///
/// # Errors
/// [`DemoRefused`]
pub async fn prepare(file: &Path, now: OffsetDateTime, passwords: Passwords) -> Result<SignIns, DemoRefused> {
    prepare_with(file, &KeyPlace::beside(file), now, passwords).await
}

/// Fills an empty database with the demo as of `now`. A demo that is there already stays as it is.
///
/// # Errors
/// [`DemoRefused`]
pub async fn prepare_with(
    file: &Path,
    keys: &KeyPlace,
    now: OffsetDateTime,
    passwords: Passwords,
) -> Result<SignIns, DemoRefused> {
    let script = story::Script::read()?;
    if file.exists() {
        let db = Db::open_with(file, keys).await?;
        let studio = studio::get(&mut *db.read().await?).await?;
        db.close().await;
        match studio {
            Some(studio) if studio.demo => return script.sign_ins(),
            Some(_) => return Err(DemoRefused::NotEmpty),
            None => {}
        }
    }
    remove(file)?;
    let app = App::new(Parts {
        db: Db::open_with(&beside(file), keys).await?,
        clock: Clock::by_hand(now - story::PAST),
        random: Random::seeded(SEED),
        passwords,
        transport: Transport::Memory(Arc::new(Mutex::new(Vec::new()))),
        address: Address::new("http://localhost"),
        second_factor: SecondFactor::Off,
        patience: Patience::USUAL,
        limits: Limits::off(),
        backups: Backups::beside(file.parent().unwrap_or(Path::new(""))),
        exports: UnderWay::default(),
        set_up_code: Mutex::new(None),
    });
    let told = match script.tell(&app, now).await {
        // Renamed as it is, the file could lack what still stands in its write-ahead log: a reader that is the last to
        // close doesn't fold the log in.
        Ok(()) => app.db.copy_to(&whole(file)).await.map_err(DemoRefused::from),
        refused => refused,
    };
    app.db.close().await;
    if told.is_ok() {
        // What an empty database left in its log would be read into the new one.
        for end in ["db-wal", "db-shm"] {
            gone(&file.with_extension(end))?;
        }
        std::fs::rename(whole(file), file)?;
        std::fs::rename(EndFile::of(&beside(file)).path(), EndFile::of(file).path())?;
    }
    remove(file)?;
    told?;
    script.sign_ins()
}

fn beside(file: &Path) -> PathBuf {
    file.with_extension("filling")
}

fn whole(file: &Path) -> PathBuf {
    file.with_extension("filled")
}

/// Takes away what a fill that was cut short has left.
fn remove(file: &Path) -> std::io::Result<()> {
    ["filling", "filling-wal", "filling-shm", "filling.end", "filled"]
        .into_iter()
        .try_for_each(|end| gone(&file.with_extension(end)))
}

fn gone(file: &Path) -> std::io::Result<()> {
    match std::fs::remove_file(file) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}
