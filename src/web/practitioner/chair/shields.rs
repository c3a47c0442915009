//! The shield guide: lengths, the wanted effect, the studio's shields ranked for them, and which one was used.

use axum::extract::{Path, State};

use super::{Typed, found, under_way};
use crate::actions::{chair as at_chair, steps as own};
use crate::app::App;
use crate::documents::svg::reach_on_shield;
use crate::domain::ids::ClientId;
use crate::domain::shield::{AlongLid, Effect, LashLengths, Look, ShieldChoice, rank};
use crate::language::decimal;
use crate::store::chair::{self, Measured};
use crate::store::visits::Visit;
use crate::store::{Connection, Stored};
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Drawing, see_other};
use crate::web::practitioner::treatment::last_time;
use crate::web::practitioner::view::Names;
use crate::web::words::CHOOSE;
use crate::{t, tf};

/// The lengths on offer, in half millimetres: from 4 to 16 mm.
const HALVES: std::ops::RangeInclusive<u16> = 8..=32;
/// How many shields are proposed.
const PROPOSALS: usize = 4;

/// The guide as the page shows it.
pub(super) struct Guide {
    /// Field, words and choice of each length.
    pub(super) lengths: [(&'static str, &'static str, String); 3],
    /// Value and words of each length on offer.
    pub(super) offered: Vec<(String, String)>,
    pub(super) effect: Effect,
    /// Whether lengths were measured at this visit.
    pub(super) measured: bool,
    pub(super) proposals: Vec<Proposal>,
    pub(super) used: String,
    /// Whether the studio has a table of shields.
    pub(super) has_table: bool,
    pub(super) last: String,
}

/// One shield as it would lie.
pub(super) struct Proposal {
    pub(super) name: String,
    pub(super) drawing: Drawing,
    pub(super) words: String,
    pub(super) kinks: bool,
    pub(super) used: bool,
}

fn mm(tenths: u16) -> f64 {
    f64::from(tenths) / 10.0
}

fn lashes(measured: &Measured) -> Option<LashLengths> {
    let AlongLid { inner, middle, outer } = measured.tenths;
    LashLengths::parse(AlongLid { inner: mm(inner), middle: mm(middle), outer: mm(outer) }).ok()
}

impl Guide {
    pub(super) async fn load(
        c: &mut Connection,
        names: &Names,
        visit: &Visit,
        client: &ClientId,
        typed: Option<&Fields>,
    ) -> Stored<Self> {
        let here = chair::measured(c, client, Some(&visit.id)).await?;
        let before = if here.is_none() { chair::measured(c, client, None).await? } else { None };
        let shields = own::shields(c).await?;
        let lengths = here.as_ref().or(before.as_ref()).map(|measured| measured.tenths);
        let of = |name: &str, pick: fn(AlongLid<u16>) -> u16| match typed {
            Some(fields) => fields.get(name).to_owned(),
            None => lengths.map_or_else(String::new, |tenths| pick(tenths).to_string()),
        };
        let effect = here.as_ref().or(before.as_ref()).map_or(Effect::Even, |measured| measured.effect);
        let used = here.as_ref().map(|measured| measured.used.clone()).unwrap_or_default();
        let proposals = here.as_ref().and_then(lashes).map_or_else(Vec::new, |lashes| {
            let ranked = rank(&shields, lashes, effect).into_iter().take(PROPOSALS).enumerate();
            ranked.map(|(n, choice)| Proposal::of(n, &choice, lashes, effect, &used)).collect()
        });
        Ok(Self {
            lengths: [
                ("inner", t("Inner lashes"), of("inner", |tenths| tenths.inner)),
                ("middle", t("Middle lashes"), of("middle", |tenths| tenths.middle)),
                ("outer", t("Outer lashes"), of("outer", |tenths| tenths.outer)),
            ],
            offered: HALVES
                .map(|half| ((half * 5).to_string(), format!("{} mm", decimal(&format!("{:.1}", mm(half * 5))))))
                .collect(),
            effect,
            measured: here.is_some(),
            proposals,
            used,
            has_table: !shields.is_empty(),
            last: last_time(c, client, &visit.id, names).await?,
        })
    }
}

impl Proposal {
    fn of(n: usize, choice: &ShieldChoice<'_>, lashes: LashLengths, effect: Effect, used: &str) -> Self {
        let picture = reach_on_shield(&format!("reach-{n}"), choice, lashes, effect);
        let name = choice.shield.name().to_owned();
        let looks = choice.look.parts();
        let kinks = looks.contains(&Look::KinksOverTheTop);
        let mut told: Vec<String> = picture
            .rows
            .iter()
            .zip(looks)
            .zip([t("inner"), t("middle"), t("outer")])
            .map(|((row, look), part)| format!("{part} {:.0} %, {}", row.reach * 100.0, look_words(look)))
            .collect();
        if looks.iter().all(|look| *look == looks[0]) {
            let reach: Vec<String> = picture.rows.iter().map(|row| format!("{:.0} %", row.reach * 100.0)).collect();
            told = vec![format!("{}, {}", reach.join(", "), look_words(looks[0]))];
        }
        let words = tf("The lashes reach up the arc of {length} mm: {told}.")
            .with("length", decimal(&format!("{:.1}", choice.shield.arc_mm())))
            .with("told", told.join("; "))
            .to_string();
        Self { used: name == used, name, drawing: Drawing::of(&picture), words, kinks }
    }
}

fn look_words(look: Look) -> &'static str {
    match look {
        Look::KinksOverTheTop => t("over the top: they would kink"),
        Look::Lifts => t("they lie on it"),
        Look::LittleDifference => t("hardly a difference"),
    }
}

fn read(fields: &Fields, errors: &mut Errors) -> Option<Measured> {
    let mut length = |field: &str| {
        let tenths = fields.get(field).parse().ok().filter(|tenths: &u16| HALVES.contains(&(tenths / 5)));
        if tenths.is_none() {
            errors.add(field, t(CHOOSE));
        }
        tenths
    };
    let (inner, middle, outer) = (length("inner"), length("middle"), length("outer"));
    let effect = Effect::parse(fields.get("effect"));
    if effect.is_none() {
        errors.add("effect", t(CHOOSE));
    }
    let tenths = AlongLid { inner: inner?, middle: middle?, outer: outer? };
    Some(Measured { tenths, effect: effect?, used: String::new() })
}

/// Keeps the lengths, or which shield is used.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut c = app.db.read().await?;
    let (visit, client) = found(&mut c, &team, &id).await?;
    let mut errors = Errors::new();
    let used = fields.trimmed("used");
    let measured = if used.is_empty() {
        read(&fields, &mut errors)
    } else {
        let known = own::shields(&mut c).await?.iter().any(|shield| shield.name() == used);
        let here = chair::measured(&mut c, &client, Some(&visit.id)).await?;
        if !known {
            errors.add("main", t("This shield is no longer in the studio’s table."));
        }
        here.filter(|_| known).map(|here| Measured { used: used.to_owned(), ..here })
    };
    let Some(measured) = measured else {
        return under_way(&mut c, ctx, &visit, &client, Typed::Lengths(&fields), errors).await;
    };
    drop(c);
    at_chair::measure(&app, &team.0, &visit.id, &measured).await?;
    let part = if measured.used.is_empty() { "#shields" } else { "#steps" };
    Ok(see_other(&format!("/desk/visits/{}/chair{part}", visit.id)))
}
