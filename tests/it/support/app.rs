//! The server under test: its own database file, a clock that stands, mail kept in memory.

use std::sync::{Arc, Mutex};

use palpebra::actions::backup::Backups;
use palpebra::actions::export::UnderWay;
use palpebra::actions::people::{self, NewOwner};
use palpebra::app::{Address, App, Parts, SecondFactor};
use palpebra::clock::{Clock, Random};
use palpebra::domain::money::Currency;
use palpebra::domain::person::{Mail, PersonName};
use palpebra::domain::zone::Zone;
use palpebra::jobs::outbox;
use palpebra::mail::transport::{Outgoing, Transport};
use palpebra::password::Passwords;
use palpebra::store::audit_end::EndFile;
use palpebra::store::keyring::KeyPlace;
use palpebra::store::{Db, audit};
use palpebra::web;
use palpebra::web::limits::Limits;
use palpebra::web::server::{Patience, Proxies};
use time::OffsetDateTime;
use time::macros::datetime;

use super::Person;

/// What signs the owner in.
pub(crate) const OWNER: (&str, &str) = ("owner@studio.example.org", "quiet green lamp post");
/// A Monday, 09:00 in Berlin.
pub(crate) const NOW: OffsetDateTime = datetime!(2026-03-02 08:00 UTC);

/// How a server is made that is not quite the usual one.
pub(crate) struct Made {
    pub(crate) limits: Limits,
    pub(crate) second_factor: SecondFactor,
    pub(crate) patience: Patience,
    pub(crate) proxies: Proxies,
    /// The address that its links begin with, when it is not the one it listens on; `{port}` stands for its port.
    pub(crate) base_url: Option<String>,
}

impl Default for Made {
    fn default() -> Self {
        Self {
            limits: Limits::new(),
            second_factor: SecondFactor::Off,
            patience: Patience::USUAL,
            proxies: Proxies::default(),
            base_url: None,
        }
    }
}

/// A server of one test.
pub(crate) struct TestApp {
    /// What its handlers are handed.
    pub(crate) app: App,
    /// Where it listens.
    pub(crate) url: String,
    mails: Arc<Mutex<Vec<Outgoing>>>,
    folder: tempfile::TempDir,
}

impl TestApp {
    /// Nobody has set it up yet.
    pub(crate) async fn empty() -> Self {
        Self::with(Limits::new()).await
    }

    /// With a studio in Berlin and its owner, and nothing else.
    pub(crate) async fn with_owner() -> Self {
        Self::with_owner_and(Limits::new()).await
    }

    /// The same, with limits of the caller's choice.
    pub(crate) async fn with_owner_and(limits: Limits) -> Self {
        Self::made_with_owner(Made { limits, ..Made::default() }).await
    }

    /// The same, made in this way.
    pub(crate) async fn made_with_owner(made: Made) -> Self {
        let test = Self::made(made).await;
        let owner = NewOwner {
            language: palpebra::language::Language::English,
            studio: PersonName::parse("Studio Lidbogen").unwrap(),
            zone: Zone::parse("Europe/Berlin").unwrap(),
            currency: Currency::parse("EUR").unwrap(),
            name: PersonName::parse("Runa Ostfeld").unwrap(),
            mail: Mail::parse(OWNER.0).unwrap(),
            password: OWNER.1.to_owned(),
            demo: false,
        };
        people::create_owner(&test.app, owner).await.unwrap().expect("the first owner");
        test
    }

    /// With limits of the caller's choice; passwords alone sign in.
    pub(crate) async fn with(limits: Limits) -> Self {
        Self::made(Made { limits, ..Made::default() }).await
    }

    /// Nobody has set it up yet, and a second factor is asked for, as in a real studio.
    pub(crate) async fn empty_with_second_factor() -> Self {
        Self::made(Made { second_factor: SecondFactor::Asked, ..Made::default() }).await
    }

    /// Nobody has set it up yet, and it is made in this way.
    pub(crate) async fn made(made: Made) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mails = Arc::new(Mutex::new(Vec::new()));
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        let base_url =
            made.base_url.map(|url| url.replace("{port}", &listener.local_addr().unwrap().port().to_string()));
        let app = App::new(Parts {
            db: Db::open(&folder.path().join("palpebra.db")).await.unwrap(),
            clock: Clock::by_hand(NOW),
            random: Random::seeded(42),
            passwords: Passwords::quick(),
            transport: Transport::Memory(mails.clone()),
            address: Address::new(base_url.as_deref().unwrap_or(&url)),
            second_factor: made.second_factor,
            patience: made.patience,
            limits: made.limits,
            backups: Backups::beside(folder.path()),
            exports: UnderWay::default(),
            set_up_code: Mutex::new(Some("the-code".to_owned())),
        });
        let router = web::router(app.clone());
        tokio::spawn(web::server::serve(
            listener,
            router,
            made.proxies,
            made.patience,
            std::future::pending(),
            std::time::Duration::ZERO,
        ));
        Self { app, url, mails, folder }
    }

    /// The program over a file that is there already, serving nobody.
    pub(crate) async fn made_over(file: &std::path::Path, transport: Transport) -> App {
        App::new(Parts {
            db: Db::open(file).await.unwrap(),
            clock: Clock::by_hand(NOW),
            random: Random::seeded(43),
            passwords: Passwords::quick(),
            transport,
            address: Address::new("https://book.example.org"),
            second_factor: SecondFactor::Off,
            patience: Patience::USUAL,
            limits: Limits::new(),
            backups: Backups::beside(file.parent().unwrap()),
            exports: UnderWay::default(),
            set_up_code: Mutex::new(None),
        })
    }

    /// Copies its database to a file, and what lies beside it: the keys of its records, and where the audit ends.
    pub(crate) async fn copy_to(&self, file: &std::path::Path) {
        self.app.db.copy_to(file).await.unwrap();
        let place = KeyPlace::beside(file);
        self.app.db.copy_keys_to(&place.keys).await.unwrap();
        std::fs::copy(&self.app.db.key_place().master, &place.master).unwrap();
        let end = audit::last(&mut self.app.db.read().await.unwrap()).await.unwrap();
        EndFile::of(file).set(&end).unwrap();
    }

    /// Where its files are.
    pub(crate) fn folder(&self) -> &std::path::Path {
        self.folder.path()
    }

    /// Somebody with a browser and no past here.
    pub(crate) fn visitor(&self) -> Person {
        Person::new(&self.url)
    }

    /// The owner, signed in.
    pub(crate) async fn owner(&self) -> Person {
        self.member(OWNER.0, OWNER.1).await
    }

    /// Somebody of the team, signed in.
    pub(crate) async fn member(&self, mail: &str, password: &str) -> Person {
        let person = self.visitor();
        let page = person.get("/team/sign-in").await;
        let home = person.submit(&page, "/team/sign-in", &[("mail", mail), ("password", password)]).await;
        assert_eq!(home.status, 303, "{}", home.text());
        person
    }

    /// A client, signed in by the link in her mail.
    pub(crate) async fn client(&self, mail: &str) -> Person {
        let person = self.visitor();
        self.signs_in(&person, mail).await;
        person
    }

    /// Somebody signs in as a client, in the browser in which she is.
    pub(crate) async fn signs_in(&self, person: &Person, mail: &str) {
        let page = person.get("/sign-in").await;
        person.submit(&page, "/sign-in", &[("mail", mail)]).await;
        let mails = self.mails().await.into_iter().rev();
        let letter = mails.filter(|out| out.to == mail).find(|out| out.letter.text.contains("/sign-in/"));
        let link = Letter(letter.expect("a letter with a link")).link("/sign-in/");
        let page = person.get(&link).await;
        let home = person.submit(&page, "/sign-in/", &[]).await;
        assert_eq!(home.status, 303, "{}", home.text());
    }

    /// Every cell of every table as text, but for the tables named.
    async fn cells(&self, but: &[&str]) -> Vec<String> {
        let options =
            sqlx::sqlite::SqliteConnectOptions::new().filename(self.folder.path().join("palpebra.db")).read_only(true);
        let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
        let tables = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name";
        let tables: Vec<String> = sqlx::query_scalar(tables).fetch_all(&pool).await.unwrap();
        let mut cells = Vec::new();
        for table in tables.iter().filter(|table| !but.contains(&table.as_str())) {
            let names: Vec<String> = sqlx::query_scalar("SELECT name FROM pragma_table_info(?) ORDER BY cid")
                .bind(table)
                .fetch_all(&pool)
                .await
                .unwrap();
            for name in names {
                let all = format!(
                    "SELECT CASE typeof(\"{name}\") WHEN 'blob' THEN hex(\"{name}\") ELSE coalesce(CAST(\"{name}\" AS TEXT), '') END FROM \"{table}\" ORDER BY 1"
                );
                let column: Vec<String> = sqlx::query_scalar(sqlx::AssertSqlSafe(all)).fetch_all(&pool).await.unwrap();
                cells.extend(column);
            }
        }
        pool.close().await;
        cells
    }

    /// Every cell of the database as text, but for when its schema was made, and the number that its copies share.
    pub(crate) async fn dump(&self) -> Vec<String> {
        self.cells(&["_sqlx_migrations", "identity"]).await
    }

    /// Everything in the database but who looked and when they were last here.
    pub(crate) async fn fingerprint(&self) -> String {
        palpebra::store::types::sha256_hex(&self.cells(&["audit", "session"]).await.join("\n"))
    }

    /// Sends all mail that is due.
    pub(crate) async fn send_mail(&self) {
        while outbox::step(&self.app).await.unwrap() != outbox::Step::Empty {}
    }

    /// All letters so far, after sending what is due.
    pub(crate) async fn mails(&self) -> Vec<Outgoing> {
        self.send_mail().await;
        self.mails.lock().unwrap().clone()
    }

    /// The newest letter to an address.
    pub(crate) async fn mail_to(&self, mail: &str) -> Letter {
        let mails = self.mails().await;
        Letter(mails.into_iter().rev().find(|out| out.to == mail).expect("a letter to her"))
    }
}

/// A letter that somebody reads.
pub(crate) struct Letter(pub(crate) Outgoing);

impl Letter {
    /// The path of the link whose path begins so.
    pub(crate) fn link(&self, start: &str) -> String {
        let text = &self.0.letter.text;
        let at = text.find(start).unwrap_or_else(|| panic!("no link to {start} in {text}"));
        text[at..].split_whitespace().next().unwrap().to_owned()
    }
}
