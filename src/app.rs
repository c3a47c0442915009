//! What every request and every job is handed.

use std::sync::{Arc, Mutex};

use crate::actions::backup::Backups;
use crate::actions::export::UnderWay;
use crate::clock::{Clock, Random};
use crate::mail::transport::Transport;
use crate::password::Passwords;
use crate::store::Db;
use crate::web::limits::Limits;
use crate::web::server::Patience;

/// How this server is reached.
#[derive(Debug, Clone)]
pub struct Address {
    /// The start of every link in a mail, without a slash at its end.
    pub base_url: String,
    /// Whether clients reach it over TLS: then cookies are `__Host-` and `Secure`.
    pub https: bool,
}

impl Address {
    /// From the address that links begin with.
    pub fn new(base_url: &str) -> Self {
        let base_url = base_url.trim_end_matches('/').to_owned();
        let https = base_url.starts_with("https://");
        Self { base_url, https }
    }
}

/// Whether signing in asks the team for more than a password.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SecondFactor {
    /// For the second factor; who has none yet sets it up before anything else.
    Asked,
    /// For nothing more: in the demo, whose passwords are printed.
    Off,
}

/// The running program.
#[derive(Clone)]
pub struct App(Arc<Parts>);

/// The parts of an [`App`].
pub struct Parts {
    /// The database.
    pub db: Db,
    /// The present.
    pub clock: Clock,
    /// Random bits.
    pub random: Random,
    /// Passwords.
    pub passwords: Passwords,
    /// How mail leaves.
    pub transport: Transport,
    /// How the server is reached.
    pub address: Address,
    /// Whether a second factor is asked for.
    pub second_factor: SecondFactor,
    /// How long clients are waited for.
    pub patience: Patience,
    /// How often who may try what.
    pub limits: Limits,
    /// Where backups go and how many stay.
    pub backups: Backups,
    /// Packages of records that are being made.
    pub exports: UnderWay,
    /// The code that an empty server printed at its start; whoever makes the owner's account must know it.
    pub set_up_code: Mutex<Option<String>>,
}

impl App {
    /// Puts the parts together.
    pub fn new(parts: Parts) -> Self {
        Self(Arc::new(parts))
    }
}

impl std::ops::Deref for App {
    type Target = Parts;
    fn deref(&self) -> &Parts {
        &self.0
    }
}
