//! The real program with a file database of its own.
#![expect(dead_code, reason = "the walks that need it come with the pages")]

use std::fs;
use std::process::{Command, ExitStatus};
use std::time::Duration;

use tempfile::TempDir;
use tokio::time::{MissedTickBehavior, interval, timeout};

use super::Process;

/// A server of the demo studio; it ends, and its data go, when this is dropped.
pub(crate) struct Server {
    process: Process,
    data: TempDir,
    now: String,
    origin: String,
    sign_ins: Vec<SignIn>,
}

/// How one of the three people of the demo signs in.
#[derive(Debug, Clone)]
pub(crate) struct SignIn {
    pub(crate) who: String,
    pub(crate) mail: String,
    pub(crate) password: String,
}

impl Server {
    /// Fills an empty folder with the demo and serves it; its clock starts at `now` (RFC 3339).
    pub(crate) async fn demo(now: &str) -> Self {
        let data = tempfile::tempdir().unwrap();
        let (process, origin, sign_ins) = serve(&data, now).await;
        Self { process, data, now: now.to_owned(), origin, sign_ins }
    }

    /// The address of a page.
    pub(crate) fn url(&self, path: &str) -> String {
        format!("{}{path}", self.origin)
    }

    /// The sign-in of the demo's `owner`, `practitioner` or `client`.
    pub(crate) fn sign_in(&self, who: &str) -> &SignIn {
        let found = self.sign_ins.iter().find(|sign_in| sign_in.who == who);
        found.unwrap_or_else(|| panic!("the demo printed no sign-in for {who}: {:?}", self.sign_ins))
    }

    pub(crate) fn data(&self) -> &std::path::Path {
        self.data.path()
    }

    /// Ends the server without warning.
    pub(crate) fn kill(&mut self) {
        self.process.kill();
    }

    /// Asks the server to stop, as a service manager does.
    pub(crate) async fn terminate(&mut self) -> ExitStatus {
        self.process.terminate().await
    }

    /// Starts a server that has ended on the data that it left; its address changes.
    pub(crate) async fn start_again(&mut self) {
        (self.process, self.origin, self.sign_ins) = serve(&self.data, &self.now).await;
    }

    /// The oldest mail to this address that holds `text`; waits until the server has sent it.
    pub(crate) async fn mail(&self, to: &str, text: &str) -> String {
        // Mails come from a job after the answer, and a folder can't be awaited: look until it is there.
        let mut look = interval(Duration::from_millis(50));
        look.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let found = timeout(Duration::from_secs(20), async {
            loop {
                look.tick().await;
                if let Some(mail) = self.mails().into_iter().find(|mail| mail.contains(to) && mail.contains(text)) {
                    return mail;
                }
            }
        });
        found
            .await
            .unwrap_or_else(|_| panic!("no mail to {to} with {text:?}; there are:\n{}", self.mails().join("\n---\n")))
    }

    /// Every mail that the server has sent, the oldest first.
    pub(crate) fn mails(&self) -> Vec<String> {
        let Ok(folder) = fs::read_dir(self.data.path().join("mail")) else { return Vec::new() };
        let mut files: Vec<_> = folder.map(|entry| entry.unwrap().path()).collect();
        files.sort();
        files.into_iter().filter_map(|file| fs::read_to_string(file).ok()).collect()
    }
}

async fn serve(data: &TempDir, now: &str) -> (Process, String, Vec<SignIn>) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_palpebra"));
    command.args(["serve", "--demo", "--listen", "127.0.0.1:0", "--now", now, "--data"]).arg(data.path());
    let mut process = Process::start(&mut command);
    let (mut origin, mut sign_ins) = (None, Vec::new());
    while origin.is_none() || sign_ins.len() < 3 {
        match process.line(announcement).await {
            Announced::Origin(found) => origin = Some(found),
            Announced::SignIn(found) => sign_ins.push(found),
        }
    }
    (process, origin.unwrap(), sign_ins)
}

enum Announced {
    Origin(String),
    SignIn(SignIn),
}

fn announcement(line: &str) -> Option<Announced> {
    if let Some(origin) = line.strip_prefix("Listening on ") {
        return Some(Announced::Origin(origin.trim_end_matches('/').to_owned()));
    }
    let mut words = line.split_whitespace().map(str::to_owned);
    let (who, mail) = (words.next()?, words.next()?);
    let known = ["owner", "practitioner", "client"].contains(&who.as_str()) && mail.contains('@');
    known.then(|| Announced::SignIn(SignIn { who, mail, password: words.next().unwrap_or_default() }))
}

#[test]
fn what_the_server_announces_is_read() {
    assert!(
        matches!(announcement("Listening on http://127.0.0.1:4711"), Some(Announced::Origin(origin)) if origin == "http://127.0.0.1:4711")
    );
    assert!(matches!(announcement("owner ida@example.org a-pass-word"), Some(Announced::SignIn(found))
        if found.who == "owner" && found.mail == "ida@example.org" && found.password == "a-pass-word"));
    for other in ["owner", "The demo is invented.", "mail to ida@example.org", ""] {
        assert!(announcement(other).is_none(), "{other}");
    }
}
