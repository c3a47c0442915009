//! `palpebra doctor`: what is well and what isn't, a line each; exit code 1 when something isn't.

use super::{DataArgs, Failed, say};
use crate::actions::{post, retouch, zones};
use crate::clock::Clock;
use crate::domain::{rotation, zone};
use crate::person_keys;
use crate::store::audit::Found;
use crate::store::audit_end::EndFile;
use crate::store::{Db, accounts, audit, backup, outbox, studio};
use crate::studio_key::{self, StudioKey};
use crate::when;

pub(super) async fn run(args: DataArgs) -> Result<(), Failed> {
    let file = args.database();
    if !file.exists() {
        return Err(Failed { code: 66, line: format!("there is no database at {}", file.display()) });
    }
    let db = Db::open_with(&file, &args.keys()).await?;
    let mut ill = 0_u32;
    let mut report = |well: bool, line: String| {
        ill += u32::from(!well);
        say(&format!("{} {line}", if well { "well:" } else { "ILL: " }));
    };
    let (version, journal, synchronous) = db.settings().await?;
    report(
        journal == "wal" && synchronous == 2,
        format!("SQLite {version}, journal {journal}, synchronous {synchronous}"),
    );
    let faults = db.check().await?;
    report(faults.is_empty(), if faults.is_empty() { "the file is whole".to_owned() } else { faults.join("; ") });
    let end = db.audit_end();
    let mut c = db.read().await?;
    match audit::check(&mut c, end.as_ref()).await? {
        Found::Holds(rows) => report(true, format!("the audit's chain holds over {rows} rows")),
        Found::Breaks(row) => report(false, format!("the audit's chain breaks at row {row}")),
        Found::CutOff(row) => report(false, format!("the audit once reached row {row}, which is gone or another one")),
    }
    if end.is_none() && audit::last(&mut c).await?.seq > 0 {
        report(
            false,
            format!(
                "nobody knows where the audit ended: {} is not there or can't be read",
                EndFile::of(&file).path().display()
            ),
        );
    }
    let owner = accounts::has_owner(&mut c).await?;
    report(owner, if owner { "there is an owner".to_owned() } else { "there is no owner yet".to_owned() });
    let mail = outbox::standing(&mut c).await?;
    report(mail.given_up == 0, format!("{} mails wait, {} were given up", mail.waiting, mail.given_up));
    for one in outbox::troubled(&mut c).await?.into_iter().filter(|one| one.given_up) {
        report(false, format!("{} of {} was given up: {}", post::kind(&one.body), one.created_at.date(), one.error));
    }
    drop(c);
    let differed = retouch::repair(&db).await?;
    let line = match differed {
        0 => "the retouch list agrees with the treatments".to_owned(),
        more => format!("the retouch list differed from the treatments for {more} clients and was made anew"),
    };
    report(differed == 0, line);
    let mut c = db.read().await?;
    if let Some(studio) = studio::get(&mut c).await? {
        let (now, good) = (Clock::system().now(), backup::last_good(&mut c).await?);
        let since = studio::set_up_at(&mut c).await?;
        let last = backup::tries(&mut c, 1).await?.into_iter().next().filter(|last| !last.trouble.is_empty());
        let stale = !studio.demo && rotation::is_stale(good, since, now);
        let line = match good {
            Some(good) => format!("the last good backup is of {}", when::moment(studio.zone.to_civil(good))),
            None => "there is no backup yet".to_owned(),
        };
        report(!stale, line);
        if let Some(last) = last {
            report(false, format!("the newest try to make a backup failed: {}", last.trouble));
        }
        report(true, format!("zone {}, zone data {}", studio.zone.name(), zone::database_version()));
        let before = studio::zone_database(&mut c).await?;
        if !before.is_empty() && before != zone::database_version() {
            let line = format!(
                "the zone data was {before} before: serving takes the new one up, visits keep their clock time"
            );
            report(false, line);
        }
        let off = zones::off_the_clock(&mut c, Clock::system().now()).await?;
        let line = format!("{} visits ahead are not at the moment that their clock time means", off.len());
        report(off.is_empty(), line);
    }
    drop(c);
    match StudioKey::load(&args.data) {
        Ok(None) => report(true, "the studio has no key yet: the first package makes it".to_owned()),
        Ok(Some(key)) => {
            let open = studio_key::is_open_to_others(&args.data)?;
            let who = if open { "and others on this computer may read its secret half" } else { "for its owner alone" };
            report(!open, format!("the studio's key is {}, {who}", key.public()));
        }
        Err(error) => report(false, error.to_string()),
    }
    let sealed = db.sealed_people().await?;
    report(true, format!("the keys of {} clients' health records are there", sealed.readable));
    for who in &sealed.missing {
        report(false, format!("the health records of client {who} can't be read: her key is missing"));
    }
    for who in &sealed.erased {
        let line = "was erased: her health records in this copy can't be read any more, and serving lets her go";
        report(true, format!("client {who} {line}"));
    }
    let open = person_keys::is_open_to_others(&args.keys().master)?;
    let who = if open { "and others on this computer may read it" } else { "for its owner alone" };
    report(!open, format!("the master key is in {}, {who}", args.keys().master.display()));
    db.close().await;
    if ill == 0 { Ok(()) } else { Err(Failed { code: 1, line: format!("{ill} of these need care") }) }
}
