//! `GET /owner`: what is set up and what is still missing. Template: `owner/home.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use time::Date;

use super::today;
use crate::app::App;
use crate::domain::ids::PractitionerId;
use crate::domain::paper::{Holds, holds};
use crate::domain::rotation;
use crate::store::backup as tries;
use crate::store::catalogue::{self, Service};
use crate::store::outbox::{self, Standing};
use crate::store::practitioners::{self, Practitioner};
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, accounts, audit, feeds, health, papers, restriction, retention_lists, rules};
use crate::web::page::{Answer, Ctx, Page};
use crate::when;

/// Something that the owner should still do.
struct Todo {
    words: String,
    link: &'static str,
    href: String,
}

fn todo(words: impl Into<String>, link: &'static str, href: impl Into<String>) -> Todo {
    Todo { words: words.into(), link, href: href.into() }
}

/// What there is.
struct Stock {
    bookable: Vec<(Practitioner, bool)>,
    rooms: usize,
    /// Services on offer, with who of the bookable gives each, and how many products it wants tested.
    services: Vec<(Service, Vec<PractitionerId>, usize)>,
    products: usize,
    expired: usize,
    days_off: usize,
    without_sign_in: Vec<Practitioner>,
    /// Papers of the studio that end soon or have ended.
    papers: usize,
}

impl Stock {
    async fn load(c: &mut Connection, today: Date) -> Stored<Self> {
        let (mut bookable, mut without_sign_in, mut services) = (Vec::new(), Vec::new(), Vec::new());
        for she in practitioners::all(c).await?.into_iter().filter(|she| she.active) {
            if accounts::of_practitioner(c, &she.id).await?.is_none() {
                without_sign_in.push(she.clone());
            }
            let works = !practitioners::hours(c, &she.id).await?.is_empty();
            bookable.push((she, works));
        }
        for service in catalogue::services(c).await?.into_iter().filter(|service| service.active) {
            let by = catalogue::practitioners_for(c, &service.id).await?;
            let tests = catalogue::tests_for(c, &service.id).await?.len();
            services.push((service, by, tests));
        }
        let products = catalogue::products(c).await?.into_iter().filter(|product| product.active);
        let products: Vec<_> = products.map(|product| product.id).collect();
        let batches = catalogue::batches(c).await?;
        let expired = batches.iter().filter(|batch| {
            products.contains(&batch.product) && batch.days.discarded_on.is_none() && batch.days.over(today).is_some()
        });
        Ok(Self {
            bookable,
            rooms: practitioners::rooms(c).await?.iter().filter(|room| room.active).count(),
            services,
            products: products.len(),
            expired: expired.count(),
            papers: papers::all(c).await?.iter().filter(|one| holds(one.expires_on, today) != Holds::Long).count(),
            days_off: practitioners::time_off(c, today).await?.len(),
            without_sign_in,
        })
    }

    /// What keeps clients from booking.
    fn missing(&self) -> Vec<Todo> {
        let mut todos = Vec::new();
        if self.bookable.is_empty() {
            todos.push(todo(
                crate::t("Nobody can be booked yet."),
                crate::t("Add a practitioner"),
                "/owner/practitioners",
            ));
        }
        for (she, _) in self.bookable.iter().filter(|(_, works)| !works) {
            let href = format!("/owner/practitioners/{}", she.id);
            let words = crate::tf("{name} has no hours yet.").with("name", &she.name);
            todos.push(todo(words, crate::t("Set her hours"), href));
        }
        if self.rooms == 0 {
            todos.push(todo(crate::t("There is no room to treat in."), crate::t("Add a room"), "/owner/rooms"));
        }
        if self.services.is_empty() {
            todos.push(todo(crate::t("There is nothing to book."), crate::t("Add a service"), "/owner/services/new"));
        }
        for (service, by, _) in &self.services {
            let works = |id: &PractitionerId| self.bookable.iter().any(|(she, works)| *works && she.id == *id);
            if !by.iter().any(works) {
                let words = crate::tf("Nobody with hours gives {service}.").with("service", &service.name);
                let href = format!("/owner/services/{}", service.id);
                todos.push(todo(words, crate::t("Choose who gives it"), href));
            }
        }
        todos
    }

    /// What can wait, but not for long.
    fn advice(&self, studio: &Studio) -> Vec<Todo> {
        let mut todos = Vec::new();
        if studio.address.is_empty() || (studio.phone.is_empty() && studio.mail.is_empty()) {
            let words = crate::t("Clients can’t read yet where you are and how to reach you.");
            todos.push(todo(words, crate::t("Fill in address, phone and mail"), "/owner/studio"));
        }
        for (service, _, _) in self.services.iter().filter(|(_, _, tests)| *tests == 0) {
            let words = crate::tf("{service} asks for no skin test. The label and your insurer may.");
            let href = format!("/owner/services/{}", service.id);
            todos.push(todo(words.with("service", &service.name), crate::t("Look at its products"), href));
        }
        if self.expired > 0 {
            let words = crate::tn(
                "One batch of a product in use has expired.",
                "{n} batches of products in use have expired.",
                self.expired,
            );
            todos.push(todo(words, crate::t("Look at the products"), "/owner/products"));
        }
        if self.papers > 0 {
            let words = crate::tn(
                "A certificate or the insurance policy ends soon or has ended.",
                "{n} papers of the studio end soon or have ended.",
                self.papers,
            );
            todos.push(todo(words, crate::t("Look at the papers"), "/owner/papers"));
        }
        for she in &self.without_sign_in {
            let href = format!("/owner/practitioners/{}", she.id);
            let words = crate::tf("{name} can’t sign in yet.").with("name", &she.name);
            todos.push(todo(words, crate::t("Give her a sign-in"), href));
        }
        todos
    }
}

/// What has to be looked at of what is kept.
struct Keeping {
    /// Records whose time is over, on a list that waits.
    leaving: usize,
    /// How many asked to be erased and wait.
    requests: usize,
    /// What is wrong with the audit's chain.
    chain: Option<String>,
}

impl Keeping {
    async fn load(c: &mut Connection, studio: &Studio) -> Stored<Self> {
        let mut leaving = 0;
        for list in retention_lists::newest(c, 1).await?.iter().filter(|list| list.done.is_none()) {
            leaving = retention_lists::lines(c, &list.id).await?.len();
        }
        let check = audit::last_check(c).await?;
        let chain = check.map(|check| super::audit::chain(&check, &studio.zone)).filter(|(well, _)| !well);
        Ok(Self { leaving, requests: restriction::requests(c).await?.len(), chain: chain.map(|(_, words)| words) })
    }
}

#[derive(Template)]
#[template(path = "owner/home.html")]
struct HomePage {
    ctx: Ctx,
    stock: Stock,
    missing: Vec<Todo>,
    advice: Vec<Todo>,
    mail: Standing,
    folder: Option<String>,
    /// Whose other calendar can't be read, since when, and why.
    unread: Vec<(String, String, String)>,
    /// What keeping and the audit have to say.
    keeping: Keeping,
    consent_version: u32,
    /// The version of the rules in force.
    rules: u32,
    backup: Backup,
}

/// How the backups stand.
struct Backup {
    /// When the last good one was made.
    good: Option<String>,
    /// Why the newest try failed; empty when it didn't.
    trouble: String,
    stale: bool,
}

impl Backup {
    async fn load(c: &mut Connection, app: &App, studio: &Studio) -> Stored<Self> {
        let (good, since) = (tries::last_good(c).await?, crate::store::studio::set_up_at(c).await?);
        let last = tries::tries(c, 1).await?.into_iter().next();
        Ok(Self {
            good: good.map(|at| when::moment(studio.zone.to_civil(at))),
            trouble: last.map(|last| last.trouble).unwrap_or_default(),
            stale: !studio.demo && rotation::is_stale(good, since, app.clock.now()),
        })
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx) -> Answer {
    let studio = ctx.studio()?;
    let mut c = app.db.read().await?;
    let stock = Stock::load(&mut c, today(&app, studio)).await?;
    let mail = outbox::standing(&mut c).await?;
    let consent_version = health::in_force(&mut c).await?.consent.version();
    let mut unread = Vec::new();
    for outside in feeds::all_outside(&mut c).await?.into_iter().filter(|outside| !outside.trouble.is_empty()) {
        let name = practitioners::get(&mut c, &outside.practitioner).await?.map(|she| she.name).unwrap_or_default();
        let age = outside.read_at.map_or_else(
            || crate::t("So it was never read.").to_owned(),
            |at| {
                let words = crate::tf("So what was read on {when} still counts.");
                words.with("when", when::moment(studio.zone.to_civil(at))).to_string()
            },
        );
        unread.push((name, outside.trouble, age));
    }
    let folder = app.transport.folder().map(|folder| folder.display().to_string());
    let rules = rules::in_force(&mut c).await?.rules.version();
    let keeping = Keeping::load(&mut c, studio).await?;
    let backup = Backup::load(&mut c, &app, studio).await?;
    let (missing, advice) = (stock.missing(), stock.advice(studio));
    Ok(Page::ok(HomePage {
        ctx,
        stock,
        missing,
        advice,
        mail,
        folder,
        unread,
        keeping,
        consent_version,
        rules,
        backup,
    })
    .into_response())
}
