//! The real program with a file database of its own.

use std::collections::BTreeMap;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitStatus};
use std::time::Duration;

use data_encoding::HEXUPPER;
use image::{ImageFormat, Rgb, RgbImage};
use palpebra::cli::seed_demo;
use palpebra::password::Passwords;
use palpebra::store::types::sha256_hex;
use sqlx::Connection;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use tempfile::TempDir;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;
use tokio::sync::Mutex;
use tokio::time::{MissedTickBehavior, interval, timeout};

use super::Process;
use crate::people::hostile::plant;

/// A running server; it ends, and its data go, when this is dropped.
pub(crate) struct Server {
    process: Process,
    data: TempDir,
    arguments: Vec<String>,
    announced: Announced,
}

/// What a server prints before it can be visited.
#[derive(Debug, Default)]
struct Announced {
    origin: Option<String>,
    set_up_code: Option<String>,
    sign_ins: Vec<SignIn>,
}

/// How one of the people of the demo signs in.
#[derive(Debug, PartialEq)]
pub(crate) struct SignIn {
    pub(crate) who: String,
    pub(crate) mail: String,
    pub(crate) password: String,
}

impl Server {
    /// A server without a studio.
    pub(crate) async fn empty() -> Self {
        Self::start(tempfile::tempdir().unwrap(), Vec::new()).await
    }

    /// A server of the demo studio; its clock starts at `now` (RFC 3339).
    pub(crate) async fn demo(now: &str) -> Self {
        Self::start(with_demo(now).await, demo(now)).await
    }

    /// The same, where every name is long, or written from right to left, in a studio that speaks
    /// German and has a colour and a logo of its own.
    pub(crate) async fn demo_of_long_names(now: &str) -> Self {
        let data = with_demo(now).await;
        let mut c = open(&data).await;
        for change in RENAMING {
            sqlx::query(change).execute(&mut c).await.unwrap();
        }
        let logo = logo();
        sqlx::query("INSERT INTO logo (id, sha256, width, height, body) VALUES (1, ?, 288, 96, ?)")
            .bind(sha256_hex("a logo"))
            .bind(logo)
            .execute(&mut c)
            .await
            .unwrap();
        c.close().await.unwrap();
        Self::start(data, demo(now)).await
    }

    /// The same as [`Self::demo`], with hostile text wherever people write.
    pub(crate) async fn demo_of_hostile_texts(now: &str) -> Self {
        let data = with_demo(now).await;
        let mut c = open(&data).await;
        let planted = plant(&mut c).await;
        assert!(planted.len() >= 12, "{planted:?}");
        c.close().await.unwrap();
        Self::start(data, demo(now)).await
    }

    async fn start(data: TempDir, arguments: Vec<String>) -> Self {
        let (process, announced) = serve(&data, &arguments).await;
        Self { process, data, arguments, announced }
    }

    /// The address of a page.
    pub(crate) fn url(&self, path: &str) -> String {
        format!("{}{path}", self.announced.origin.as_deref().unwrap())
    }

    /// The code that the set-up of an empty server asks for.
    pub(crate) fn set_up_code(&self) -> &str {
        self.announced.set_up_code.as_deref().unwrap_or_else(|| panic!("no set-up code:\n{}", self.process.printed()))
    }

    /// The sign-in of the demo's `owner`, `practitioner` or `client`.
    pub(crate) fn sign_in(&self, who: &str) -> &SignIn {
        let found = self.announced.sign_ins.iter().find(|sign_in| sign_in.who == who);
        found.unwrap_or_else(|| panic!("no sign-in for {who}:\n{}", self.process.printed()))
    }

    /// How many requests it has answered, as its log has them.
    pub(crate) fn requests(&self) -> usize {
        self.process.printed().matches("\"answered\"").count()
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
        (self.process, self.announced) = serve(&self.data, &self.arguments).await;
    }

    /// Starts the demo's server that has ended as if it were `now` (RFC 3339).
    pub(crate) async fn start_at(&mut self, now: &str) {
        self.arguments = demo(now);
        self.start_again().await;
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
        files.into_iter().filter_map(|file| fs::read_to_string(file).ok()).map(|mail| readable(&mail)).collect()
    }
}

/// The database in the folder of a server.
const FILE: &str = "palpebra.db";

/// Every second person has an invented name of nearly a hundred letters, the others one in Hebrew or Arabic; what services,
/// products and rooms are called begins as it did.
const RENAMING: [&str; 7] = [
    "UPDATE client SET name = CASE rowid % 3
        WHEN 0 THEN 'Wilhelmina-Theodosia Brackenthwaitehollowmeresbyostrowinds von und zu Quellenbach ' || rowid
        WHEN 1 THEN 'נוריאלה בת-שחרון אבישגונית ' || rowid ELSE 'نورسينة بنت زهيران الياسمونية ' || rowid END",
    "UPDATE practitioner SET name = CASE rowid % 2
        WHEN 0 THEN 'Annegret-Philomena Donaudampfkesselwärterinnenhausmeister zu Ober- und Unterlinden'
        ELSE 'شهرونة بنت ديلمان' END",
    "UPDATE account SET name = CASE rowid % 2 WHEN 0 THEN 'תמרונה גלעדיאל' ELSE
        'Hildegundis-Apollonia Schwarzwaldquellwasserträgerinnenbund zu Ober- und Unterlinden' END",
    "UPDATE service SET name = name || CASE rowid % 2
        WHEN 0 THEN ' mit außergewöhnlichlangerundausführlicherberatungsstunde' ELSE ' וטיפול ארוך' END",
    "UPDATE product SET name = name || CASE rowid % 2
        WHEN 0 THEN ' Unterwimpernpflegezwischenlotionskonzentrat' ELSE ' للرموش الطويلة' END",
    "UPDATE room SET name = name || ' im Hinterhausdachgeschosswintergarten'",
    "UPDATE studio SET language = 'de', accent = '#f4a6c8', name = 'Wimpernwerkstattundaugenbrauenhandwerksmeisterbetrieb עפעף ורמוש'",
];

/// The demo's file, before a server opens it.
async fn open(data: &TempDir) -> SqliteConnection {
    let file = SqliteConnectOptions::new().filename(data.path().join(FILE));
    SqliteConnection::connect_with(&file).await.unwrap()
}

/// A picture as a logo is kept.
fn logo() -> Vec<u8> {
    let picture = RgbImage::from_fn(288, 96, |x, y| Rgb([x, y, x + y].map(|value| value.to_le_bytes()[0])));
    let mut out = Cursor::new(Vec::new());
    picture.write_to(&mut out, ImageFormat::Jpeg).unwrap();
    out.into_inner()
}

/// A folder with the demo as of `now`. Filling it takes most of a minute, so that is done once for all tests of a run.
async fn with_demo(now: &str) -> TempDir {
    static FILLED: Mutex<BTreeMap<String, PathBuf>> = Mutex::const_new(BTreeMap::new());
    let mut filled = FILLED.lock().await;
    if !filled.contains_key(now) {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("demo-{}", now.replace(':', "")));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).unwrap();
        let at = OffsetDateTime::parse(now, &Rfc3339).unwrap();
        seed_demo::prepare(&folder.join(FILE), at, Passwords::strong()).await.unwrap();
        filled.insert(now.to_owned(), folder);
    }
    let data = tempfile::tempdir().unwrap();
    for name in [FILE, "palpebra.keys", "palpebra.master"] {
        fs::copy(filled[now].join(name), data.path().join(name)).unwrap();
    }
    data
}

fn demo(now: &str) -> Vec<String> {
    ["--demo", "--now", now].map(str::to_owned).to_vec()
}

/// A mail with its quoted-printable parts undone (RFC 2045, 6.7).
fn readable(mail: &str) -> String {
    let joined = mail.replace("=\r\n", "");
    let mut bytes = Vec::with_capacity(joined.len());
    let mut rest = joined.as_bytes();
    while let [first, after @ ..] = rest {
        let code = after.get(..2).and_then(|code| HEXUPPER.decode(code).ok()).filter(|_| *first == b'=');
        bytes.push(code.as_ref().map_or(*first, |code| code[0]));
        rest = if code.is_some() { &after[2..] } else { after };
    }
    String::from_utf8(bytes).unwrap_or(joined)
}

/// Starts the program and waits until it listens, which it says last.
async fn serve(data: &TempDir, arguments: &[String]) -> (Process, Announced) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_palpebra"));
    command.args(["serve", "--listen", "127.0.0.1:0", "--data"]).arg(data.path()).args(arguments);
    let mut process = Process::start(&mut command);
    let mut announced = Announced::default();
    while announced.origin.is_none() {
        let line = process.line(|line| Some(line.to_owned())).await;
        announced.read(&line);
    }
    (process, announced)
}

impl Announced {
    fn read(&mut self, line: &str) {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words[..] {
            ["Listening", "on", origin] => self.origin = Some(origin.trim_end_matches('/').to_owned()),
            ["Set-up", "code:", code, ..] => self.set_up_code = Some(code.to_owned()),
            // A client has no password; how she signs in instead is told behind her mail.
            [who @ ("owner" | "practitioner" | "client"), mail, password, ..] if mail.contains('@') => {
                let [who, mail, password] = [who, mail, password].map(str::to_owned);
                self.sign_ins.push(SignIn { who, mail, password });
            }
            _ => {}
        }
    }
}

#[test]
fn a_mail_can_be_read() {
    assert_eq!(readable("N=C3=B3ra, your li=\r\nnk: a=3Db&c=d"), "Nóra, your link: a=b&c=d");
}

#[test]
fn what_the_server_announces_is_read() {
    let mut announced = Announced::default();
    for line in [
        "The demo is invented.",
        "owner ida@example.org a-pass-word",
        "mail to ida@example.org",
        "Set-up code: abc  (open http://127.0.0.1:4711/set-up)",
        "Listening on http://127.0.0.1:4711",
    ] {
        announced.read(line);
    }
    assert_eq!(announced.origin.as_deref(), Some("http://127.0.0.1:4711"));
    assert_eq!(announced.set_up_code.as_deref(), Some("abc"));
    let [who, mail, password] = ["owner", "ida@example.org", "a-pass-word"].map(str::to_owned);
    assert_eq!(announced.sign_ins, [SignIn { who, mail, password }]);
}
