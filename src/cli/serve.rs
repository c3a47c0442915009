//! `palpebra serve`

use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::sync::Mutex;
use std::time::Duration;

use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;
use tokio::net::TcpListener;
use tracing_subscriber::EnvFilter;
use tracing_subscriber::util::SubscriberInitExt;

use super::{Failed, ServeArgs, log, say, seed_demo, swap, upgrade};
use crate::actions::export::UnderWay;
use crate::actions::ledger::{self, LedgerError};
use crate::actions::{audit, backup, erasure, papers, post, studio as settings, verdicts, wishes, zones};
use crate::app::{Address, App, Parts, SecondFactor};
use crate::clock::{Clock, Random};
use crate::jobs::outside::{self, Access};
use crate::jobs::{self, housekeeping, outbox};
use crate::mail::transport::{PATIENCE, Transport};
use crate::password::Passwords;
use crate::store::{Db, Stored, accounts, studio};
use crate::web;
use crate::web::limits::Limits;
use crate::web::server::{Patience, Proxies};

/// How long requests that are under way may take to end once the server is told to stop.
const LAST_REQUESTS: Duration = Duration::from_secs(10);

impl From<LedgerError> for Failed {
    fn from(error: LedgerError) -> Self {
        match error {
            LedgerError::Store(error) => error.into(),
            LedgerError::Io(error) => error.into(),
        }
    }
}

pub(super) async fn run(mut args: ServeArgs) -> Result<(), Failed> {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("info"));
    log::lines(filter, std::io::stderr).init();
    std::panic::set_hook(Box::new(log::broke));
    let settings = &mut args.settings;
    if args.demo {
        settings.data = settings.data.clone().for_demo();
    }
    keep_private(&settings.data.data)?;
    let _lock = super::lock(&settings.data.data)?;
    let listener = TcpListener::bind(settings.listen).await?;
    let here = listener.local_addr()?;
    let base_url = args.settings.base_url.clone().unwrap_or_else(|| format!("http://{here}"));
    if args.settings.base_url.is_none() && !here.ip().is_loopback() {
        return Err(Failed::usage(
            "--base-url is needed when the server listens to other machines: links in mails begin with it",
        ));
    }
    let transport = match &args.settings.smtp {
        Some(url) => {
            let authority = args.settings.smtp_authority.as_ref().map(std::fs::read).transpose()?;
            let smtp = Transport::smtp_within(url, authority.as_deref(), PATIENCE);
            smtp.map_err(|error| Failed::usage(format!("--smtp: {error}")))?
        }
        None => Transport::Folder(args.settings.data.data.join("mail")),
    };
    let clock = clock(&args)?;
    if !args.demo {
        swap::before_serving(&args.settings.data).await?;
    }
    let keys = args.settings.data.keys();
    let has_master = keys.master.exists();
    upgrade::up_to_date(&args.settings.data.database(), &keys).await?;
    if args.demo {
        seed_demo::before_serving(&args.settings.data, clock.now()).await?;
    }
    let db = Db::open_with(&args.settings.data.database(), &keys).await?;
    db.look_over().await?;
    if !has_master && !args.demo {
        let file = keys.master.display();
        say(&format!("Made the master key of the health records: {file}"));
        say("Keep a copy of that file away from this computer: without it no backup's health records can be read.");
    }
    let demo = studio::get(&mut *db.read().await?).await?.is_some_and(|studio| studio.demo);
    let patience = if args.no_limits { Patience::LONG } else { Patience::USUAL };
    let app = App::new(Parts {
        db,
        clock,
        random: Random::system(),
        passwords: Passwords::strong(),
        transport,
        address: Address::new(&base_url),
        second_factor: if demo { SecondFactor::Off } else { SecondFactor::Asked },
        patience,
        limits: if args.no_limits { Limits::off() } else { Limits::new() },
        backups: args.settings.keep.backups(&args.settings.data),
        exports: UnderWay::default(),
        set_up_code: Mutex::new(None),
    });
    if let Some(zones) = zones::take_up(&app).await?.filter(|zones| zones.moved + zones.stuck > 0) {
        tracing::warn!(
            before = zones.before,
            moved = zones.moved,
            stuck = zones.stuck,
            "another version of the zone data"
        );
    }
    let back = ledger::apply(&app).await?;
    if back > 0 {
        tracing::warn!(back, "clients who had left were in the database again, and left anew");
    }
    let mut c = app.db.read().await?;
    let has_owner = accounts::has_owner(&mut c).await?;
    drop(c);
    if !has_owner {
        let code = data_encoding::BASE32_NOPAD.encode(&app.random.bytes::<10>()).to_ascii_lowercase();
        say(&format!("Set-up code: {code}  (open {base_url}/set-up)"));
        *app.set_up_code.lock().unwrap_or_else(std::sync::PoisonError::into_inner) = Some(code);
    }
    say(&format!("Listening on http://{here}"));
    let jobs = tokio::spawn(run_jobs(app.clone()));
    let mail = tokio::spawn(post_mail(app.clone()));
    let access = if args.settings.local_calendars { Access::Anywhere } else { Access::Public };
    let calendars = tokio::spawn(read_calendars(app.clone(), access));
    let watchdog = tokio::spawn(tell_systemd(app.clone()));
    let proxies = Proxies::new(args.settings.trusted_proxy);
    web::server::serve(listener, web::router(app.clone()), proxies, patience, stop(), LAST_REQUESTS).await;
    watchdog.abort();
    jobs.abort();
    mail.abort();
    calendars.abort();
    app.db.close().await;
    Ok(())
}

/// Makes the folder if it isn't there, and closes it to everybody else on this computer.
fn keep_private(folder: &Path) -> Result<(), Failed> {
    std::fs::create_dir_all(folder)?;
    let mode = std::fs::metadata(folder)?.permissions().mode();
    if mode & 0o077 != 0 {
        std::fs::set_permissions(folder, std::fs::Permissions::from_mode(0o700)).map_err(|error| Failed {
            code: 77,
            line: format!("others may look into {}, and its rights can't be changed: {error}", folder.display()),
        })?;
    }
    Ok(())
}

fn clock(args: &ServeArgs) -> Result<Clock, Failed> {
    let Some(text) = &args.now else { return Ok(Clock::system()) };
    let start = OffsetDateTime::parse(text, &Rfc3339)
        .map_err(|_| Failed::usage("--now is written like 2026-11-25T09:00:00Z"))?;
    Ok(Clock::starting_at(start))
}

/// Tells systemd that the pages are served, and, as often as it asks, that the database still answers: when it doesn't,
/// systemd starts the program anew. Without systemd nothing is told.
async fn tell_systemd(app: App) {
    if let Err(error) = sd_notify::notify(&[sd_notify::NotifyState::Ready]) {
        tracing::warn!(%error, "systemd can't be told that the server is ready");
    }
    let Some(within) = sd_notify::watchdog_enabled() else { return };
    let mut beat = tokio::time::interval(within / 2);
    loop {
        beat.tick().await;
        match studio_answers(&app).await {
            Ok(()) => {
                let _ = sd_notify::notify(&[sd_notify::NotifyState::Watchdog]);
            }
            Err(error) => tracing::error!(%error, "the database doesn't answer"),
        }
    }
}

async fn studio_answers(app: &App) -> Stored<()> {
    studio::get(&mut *app.db.read().await?).await.map(|_| ())
}

/// Ends with the first of SIGTERM and Ctrl-C.
async fn stop() {
    let interrupt = tokio::signal::ctrl_c();
    match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
        Ok(mut terminate) => {
            tokio::select! { _ = interrupt => {}, _ = terminate.recv() => {} }
        }
        Err(_) => {
            let _ = interrupt.await;
        }
    }
}

/// Apart from the other jobs, since a host elsewhere may keep it waiting.
async fn read_calendars(app: App, access: Access) {
    let mut beat = tokio::time::interval(Duration::from_secs(30));
    loop {
        beat.tick().await;
        let language = settings::language(&app).await;
        jobs::turn("calendars elsewhere", language, read_all_calendars(app.clone(), access)).await;
    }
}

async fn read_all_calendars(app: App, access: Access) -> Stored<()> {
    while outside::step(&app, access).await? {}
    Ok(())
}

/// Apart from the other jobs, since a mail server may keep it waiting.
async fn post_mail(app: App) {
    let mut beat = tokio::time::interval(Duration::from_secs(2));
    loop {
        beat.tick().await;
        let language = settings::language(&app).await;
        jobs::turn("mail", language, send_mail(app.clone())).await;
    }
}

/// The other jobs, one after the other: what breaks is written down, and its next turn comes all the same.
async fn run_jobs(app: App) {
    let mut beat = tokio::time::interval(Duration::from_secs(2));
    let mut beats = 0_u32;
    loop {
        beat.tick().await;
        let language = settings::language(&app).await;
        jobs::turn("wishes", language, lapse(app.clone())).await;
        if beats.is_multiple_of(30) {
            jobs::turn("reminders", language, remind(app.clone())).await;
        }
        if beats.is_multiple_of(450) {
            jobs::turn("audit", language, look_at_audit(app.clone())).await;
            jobs::turn("retention", language, list_what_may_leave(app.clone())).await;
        }
        // Not at once: a start has enough to do.
        if beats % 30 == 29 {
            jobs::turn("backup", language, back_up(app.clone())).await;
        }
        if beats.is_multiple_of(300) {
            jobs::turn("housekeeping", language, sweep(app.clone())).await;
            jobs::turn("papers", language, warn_of_papers(app.clone())).await;
        }
        if beats.is_multiple_of(150) {
            jobs::turn("verdicts", language, judge(app.clone())).await;
        }
        beats = beats.wrapping_add(1);
    }
}

async fn send_mail(app: App) -> Stored<()> {
    while outbox::step(&app).await? != outbox::Step::Empty {}
    Ok(())
}

async fn remind(app: App) -> Stored<()> {
    post::remind(&app).await.map(|_| ())
}

async fn warn_of_papers(app: App) -> Stored<()> {
    papers::warn(&app).await.map(|_| ())
}

async fn back_up(app: App) -> Stored<()> {
    backup::nightly(&app).await.map(|_| ())
}

async fn lapse(app: App) -> Stored<()> {
    wishes::lapse(&app).await.map(|_| ())
}

async fn judge(app: App) -> Stored<()> {
    verdicts::watch(&app).await.map(|_| ())
}

async fn look_at_audit(app: App) -> Stored<()> {
    audit::nightly(&app).await
}

async fn list_what_may_leave(app: App) -> Stored<()> {
    erasure::monthly(&app).await
}

async fn sweep(app: App) -> Stored<()> {
    housekeeping::sweep(&app).await
}
