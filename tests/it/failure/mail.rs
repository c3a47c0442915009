//! A mail server that is down, slow to like us, or hangs up in the middle: pages don't wait for it, nothing is lost.

use std::sync::{Arc, Mutex};

use palpebra::actions::export::UnderWay;
use palpebra::app::{Address, App, Parts, SecondFactor};
use palpebra::clock::Random;
use palpebra::jobs::outbox::{self, Step};
use palpebra::mail::transport::Transport;
use palpebra::password::Passwords;
use palpebra::web::limits::Limits;
use palpebra::web::server::Patience;
use time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpListener;

use crate::support::TestApp;
use crate::support::studio::MIA;

/// How the server answers one connection.
#[derive(Clone, Copy)]
enum Mood {
    /// Takes the letter.
    Takes,
    /// This reply to this command (RFC 5321, 4.2.1: 4yz is "later", 5yz is "no").
    Refuses(&'static str, &'static [u8]),
    /// Hangs up once the letter is there, before it says so.
    HangsUp,
}

/// A mail server that goes through these moods, one for each connection, and keeps what it took.
async fn server(moods: Vec<Mood>) -> (String, Arc<Mutex<Vec<String>>>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("smtp://{}", listener.local_addr().unwrap());
    let took = Arc::new(Mutex::new(Vec::new()));
    let keep = took.clone();
    tokio::spawn(async move {
        for mood in moods {
            let (stream, _) = listener.accept().await.unwrap();
            let _ = converse(stream, mood, &keep).await;
        }
    });
    (url, took)
}

async fn converse(stream: tokio::net::TcpStream, mood: Mood, took: &Mutex<Vec<String>>) -> std::io::Result<()> {
    let (read, mut write) = stream.into_split();
    let mut lines = BufReader::new(read).lines();
    write.write_all(b"220 test\r\n").await?;
    while let Some(line) = lines.next_line().await? {
        let command = line.split([' ', ':']).next().unwrap_or_default().to_uppercase();
        match mood {
            Mood::Refuses(at, reply) if at == command => write.write_all(reply).await?,
            _ if command == "DATA" => {
                write.write_all(b"354 go on\r\n").await?;
                let mut letter = String::new();
                while let Some(line) = lines.next_line().await? {
                    if line == "." {
                        break;
                    }
                    letter += &line;
                    letter.push('\n');
                }
                took.lock().unwrap().push(letter);
                if matches!(mood, Mood::HangsUp) {
                    return Ok(());
                }
                write.write_all(b"250 taken\r\n").await?;
            }
            _ if command == "QUIT" => return write.write_all(b"221 bye\r\n").await,
            _ => write.write_all(b"250 well\r\n").await?,
        }
    }
    Ok(())
}

/// The same studio, whose mail leaves by this server.
async fn posting(test: &TestApp, url: &str) -> App {
    App::new(Parts {
        db: test.app.db.clone(),
        clock: test.app.clock.clone(),
        random: Random::seeded(7),
        passwords: Passwords::quick(),
        transport: Transport::smtp(url).unwrap(),
        address: Address::new(&test.url),
        second_factor: SecondFactor::Off,
        patience: Patience::USUAL,
        limits: Limits::new(),
        backups: test.app.backups.clone(),
        exports: UnderWay::default(),
        set_up_code: Mutex::new(None),
    })
}

/// Somebody asks for a link, and the answer comes at once.
async fn ask(test: &TestApp) {
    let mut tx = test.app.db.write().await.unwrap();
    sqlx::query("UPDATE studio SET mail = 'studio@example.org'").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let person = test.visitor();
    let page = person.get("/sign-in").await;
    assert_eq!(person.submit(&page, "/sign-in", &[("mail", MIA)]).await.status, 200);
}

#[tokio::test]
async fn a_server_that_is_down_costs_nothing_but_time() {
    let (test, _) = TestApp::with_studio().await;
    // A port that was free a moment ago: nobody listens there.
    let nobody = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap();
    let down = posting(&test, &format!("smtp://{nobody}")).await;
    ask(&test).await;
    assert_eq!(outbox::step(&down).await.unwrap(), Step::Sorted);
    assert_eq!(outbox::step(&down).await.unwrap(), Step::Failed);
    let mut waits = Vec::new();
    for _ in 0..5 {
        let mut minutes = 0;
        let next = loop {
            match outbox::step(&down).await.unwrap() {
                Step::Empty => test.app.clock.advance(Duration::minutes(1)),
                other => break other,
            }
            minutes += 1;
        };
        assert_eq!(next, Step::Failed);
        waits.push(minutes);
    }
    assert_eq!(waits, [1, 2, 4, 8, 16], "each wait is twice the one before");
    // A restart forgets nothing: another program on the same file sends it, once.
    let (url, took) = server(vec![Mood::Takes; 2]).await;
    let up = posting(&test, &url).await;
    test.app.clock.advance(Duration::DAY);
    assert_eq!(outbox::step(&up).await.unwrap(), Step::Sent);
    assert_eq!(outbox::step(&up).await.unwrap(), Step::Empty);
    let took = took.lock().unwrap().clone();
    assert_eq!(took.len(), 1);
    assert!(took[0].contains("/sign-in"), "{}", took[0]);
}

#[tokio::test]
async fn later_is_tried_again_never_is_given_up_and_told_of() {
    let (test, _) = TestApp::with_studio().await;
    let owner = test.owner().await;
    let moods = vec![
        Mood::Refuses("RCPT", b"451 later\r\n"),
        Mood::Refuses("DATA", b"451 later\r\n"),
        Mood::Takes,
        Mood::Refuses("RCPT", b"550 nobody of that name\r\n"),
    ];
    let (url, took) = server(moods).await;
    let app = posting(&test, &url).await;
    ask(&test).await;
    let mut steps = Vec::new();
    for _ in 0..4 {
        steps.push(outbox::step(&app).await.unwrap());
        test.app.clock.advance(Duration::minutes(5));
    }
    assert_eq!(steps, [Step::Sorted, Step::Failed, Step::Failed, Step::Sent]);
    assert!(!owner.get("/owner").await.main().contains("Mail that didn’t arrive"));
    ask(&test).await;
    assert_eq!(outbox::step(&app).await.unwrap(), Step::Sorted);
    assert_eq!(outbox::step(&app).await.unwrap(), Step::Failed);
    test.app.clock.advance(Duration::days(3));
    assert_eq!(outbox::step(&app).await.unwrap(), Step::Empty, "a server that says never is not asked again");
    let owner = test.owner().await;
    assert!(owner.get("/owner").await.main().contains("Mail that didn’t arrive"), "the owner is told");
    assert_eq!(took.lock().unwrap().len(), 1);
}

/// A refusal that the owner can mend, such as that of a password, gives no letter up.
#[tokio::test]
async fn a_refusal_that_is_not_about_the_address_is_tried_again() {
    let (test, _) = TestApp::with_studio().await;
    let moods = vec![
        Mood::Refuses("MAIL", b"530 sign in first\r\n"),
        Mood::Refuses("MAIL", b"535 wrong password\r\n"),
        Mood::Refuses("RCPT", b"554 no relaying\r\n"),
        Mood::Refuses("DATA", b"552 full\r\n"),
        Mood::Takes,
    ];
    let (url, took) = server(moods).await;
    let app = posting(&test, &url).await;
    ask(&test).await;
    assert_eq!(outbox::step(&app).await.unwrap(), Step::Sorted);
    for _ in 0..4 {
        assert_eq!(outbox::step(&app).await.unwrap(), Step::Failed);
        test.app.clock.advance(Duration::minutes(10));
    }
    assert_eq!(outbox::step(&app).await.unwrap(), Step::Sent);
    assert_eq!(took.lock().unwrap().len(), 1);
}

/// The one case in which a letter comes twice: the server has it and never said so. Both carry one Message-ID, by which
/// a mailbox can tell (RFC 5322, 3.6.4).
#[tokio::test]
async fn a_server_that_hangs_up_after_the_letter_gets_it_again_under_the_same_name() {
    let (test, _) = TestApp::with_studio().await;
    let (url, took) = server(vec![Mood::HangsUp, Mood::Takes]).await;
    let app = posting(&test, &url).await;
    ask(&test).await;
    outbox::step(&app).await.unwrap();
    assert_eq!(outbox::step(&app).await.unwrap(), Step::Failed);
    test.app.clock.advance(Duration::minutes(5));
    assert_eq!(outbox::step(&app).await.unwrap(), Step::Sent);
    let took = took.lock().unwrap().clone();
    let name = |letter: &String| letter.lines().find(|line| line.starts_with("Message-ID")).unwrap().to_owned();
    assert_eq!(took.iter().map(name).collect::<std::collections::BTreeSet<_>>().len(), 1, "{took:?}");
    assert_eq!(took.len(), 2);
}
