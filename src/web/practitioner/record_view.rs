//! A treatment record with its versions, as several pages of the desk show it.

use super::view::Names;
use super::words;
use crate::domain::catalogue::Area;
use crate::domain::timing::SideTime;
use crate::store::treatments::{Outcome, Treatment, Version};
use crate::when;
use crate::{t, tc, tf};

/// One version of a record.
pub(super) struct VersionView {
    pub(super) number: u32,
    pub(super) facts: Vec<(&'static str, String)>,
    pub(super) reason: String,
    pub(super) written: String,
    /// Written after the day of the treatment had ended.
    pub(super) late: bool,
    /// Each step on each side: what, from when to when, and what went beyond its time.
    pub(super) times: Vec<(String, String, String)>,
    pub(super) reaction: bool,
}

/// A record with all its versions, the newest first.
pub(super) struct RecordView {
    pub(super) id: String,
    pub(super) visit: String,
    pub(super) title: String,
    pub(super) versions: Vec<VersionView>,
}

impl RecordView {
    pub(super) fn of(treatment: &Treatment, names: &Names) -> Self {
        let title = treatment.current().map_or_else(String::new, |version| {
            format!("{}, {}", names.service(&version.service), when::day(names.zone.date_at(version.started_at)))
        });
        Self {
            id: treatment.id.to_string(),
            visit: treatment.visit.to_string(),
            title,
            versions: treatment.versions.iter().map(|version| VersionView::of(version, names)).collect(),
        }
    }
}

impl VersionView {
    fn of(version: &Version, names: &Names) -> Self {
        let service = names.services.iter().find(|service| service.id == version.service);
        let area = service.map_or(Area::Lash, |service| service.kind.area());
        let minutes = |minutes: Option<u16>| minutes.map(when::length);
        let products = version.products.iter();
        let products: Vec<String> = products.map(|(id, batch)| words::bottle(names.product(id), batch)).collect();
        let facts = [
            (t("Service"), Some(names.service(&version.service).to_owned())),
            (t("By"), Some(names.practitioner(&version.practitioner).to_owned())),
            (t("From"), Some(names.clock(version.started_at))),
            (t("Until"), Some(names.clock(version.ended_at))),
            (t("Shield"), Some(version.shield.clone()).filter(|shield| !shield.is_empty())),
            (t("First lotion"), minutes(version.lotion_one_minutes)),
            (t("Second lotion"), minutes(version.lotion_two_minutes)),
            (t("Tint"), minutes(version.tint_minutes)),
            (t("Products"), Some(products.join("; ")).filter(|products| !products.is_empty())),
            (
                t("Still lifted"),
                version.count.map(|(counted, lifted)| {
                    let said = tf("{lifted} of {counted} counted").with("lifted", lifted).with("counted", counted);
                    said.to_string()
                }),
            ),
            (t("Eyes rinsed"), version.rinsed.map(|rinsed| if rinsed { t("Yes") } else { t("Not noted") }.to_owned())),
            (
                t("Aftercare"),
                Some(
                    if version.aftercare_given { tc("aftercare", "Given") } else { tc("aftercare", "Not given") }
                        .to_owned(),
                ),
            ),
            (t("Outcome"), Some(words::outcome(version.outcome).to_owned())),
            (t("Notes"), Some(version.notes.clone()).filter(|notes| !notes.is_empty())),
        ];
        Self {
            number: version.version,
            facts: facts.into_iter().filter_map(|(name, value)| Some((name, value?))).collect(),
            reason: version.reason.clone(),
            written: words::noted(names.moment(version.written_at), &version.written_by),
            late: names.zone.date_at(version.written_at) > names.zone.date_at(version.started_at),
            times: version.times.iter().map(|time| worn(time, area, names)).collect(),
            reaction: version.outcome == Outcome::Reaction,
        }
    }
}

/// What was where, from when to when, and what went beyond its time.
fn worn(time: &SideTime, area: Area, names: &Names) -> (String, String, String) {
    let what = format!("{}, {}", t(&time.step), words::side_within(time.side, area));
    let from_to = match time.up {
        Some(up) => tf("{from} to {to}, time up {up}").with("up", names.second(up)),
        None => tf("{from} to {to}"),
    };
    let from_to = from_to.with("from", names.second(time.on)).with("to", names.second(time.off));
    let late = time.late().map(|late| tf("{time} after its time was up").with("time", when::stretch(late)));
    let over = time.over().map(|over| tf("{time} over the label’s longest time").with("time", when::stretch(over)));
    let beyond: Vec<String> = late.into_iter().chain(over).map(String::from).collect();
    (what, format!("{from_to}: {}", when::stretch(time.length())), beyond.join(", "))
}
