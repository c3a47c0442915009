//! A visit that is moved, and moved back.

use std::sync::OnceLock;

use palpebra::actions::booking::Choice;
use palpebra::actions::diary::{Between, Diary};
use palpebra::actions::own_visits::{Change, relocate};
use palpebra::domain::ids::VisitId;
use palpebra::domain::schedule::free_times;
use palpebra::store::catalogue::Service;
use palpebra::store::studio::Studio as Settings;
use palpebra::store::visits::{self, Purpose, Visit};
use palpebra::store::{catalogue, studio};
use proptest::prelude::*;
use time::macros::{date, datetime};
use tokio::runtime::Runtime;

use crate::support::TestApp;
use crate::support::studio::Studio;

/// One studio for every case: a visit that is moved about while somebody else's is in the way.
struct Place {
    runtime: Runtime,
    app: TestApp,
    studio: Studio,
    settings: Settings,
    service: Service,
    moved: VisitId,
    /// The times that it may move to, wherever it is.
    around: Vec<Choice>,
}

static PLACE: OnceLock<Place> = OnceLock::new();

fn place() -> &'static Place {
    PLACE.get_or_init(|| {
        let runtime = Runtime::new().unwrap();
        let (app, studio) = runtime.block_on(TestApp::with_studio());
        let (settings, service, moved) = runtime.block_on(async {
            let at = datetime!(2026-03-28 11:00 UTC);
            let other = studio.client("Ines Korvald", "ines@clients.example.org", date!(1979 - 01 - 02)).await;
            studio.visit(Purpose::Treatment, &other, &studio.lift, &studio.noor, at).await;
            let at = datetime!(2026-03-27 09:00 UTC);
            let moved = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
            let mut c = app.app.db.read().await.unwrap();
            let settings = studio::get(&mut c).await.unwrap().unwrap();
            let service = catalogue::service(&mut c, &studio.lift).await.unwrap().unwrap();
            (settings, service, moved)
        });
        let mut place = Place { runtime, app, studio, settings, service, moved, around: Vec::new() };
        // Into the room that the program itself gives, which is the first that is free.
        let noon = Choice { starts_at: datetime!(2026-03-27 11:00 UTC), practitioner: place.studio.liv.clone() };
        assert_eq!(place.runtime.block_on(place.move_to(&noon)), Change::Done);
        place.around = place.runtime.block_on(place.free(Some(&place.moved)));
        place
    })
}

impl Place {
    async fn visit(&self) -> Visit {
        visits::get(&mut self.app.app.db.read().await.unwrap(), &self.moved).await.unwrap().unwrap()
    }

    /// The times around the night of the clocks on 29 March 2026.
    async fn free(&self, but: Option<&VisitId>) -> Vec<Choice> {
        let (now, days) = (self.app.app.clock.now(), (date!(2026 - 03 - 26), date!(2026 - 03 - 31)));
        let mut c = self.app.app.db.read().await.unwrap();
        let diary = Diary::of_days(&mut c, (&self.settings, &self.service), now, but, days).await.unwrap();
        diary.search(diary.service, &Between::default(), |search| {
            let times = free_times(search);
            let each = |time: &palpebra::domain::schedule::FreeTime<'_>| {
                let starts_at = time.starts_at();
                let all: Vec<_> = time.practitioners().cloned().collect();
                all.into_iter().map(move |practitioner| Choice { starts_at, practitioner })
            };
            times.iter().flat_map(each).collect()
        })
    }

    async fn move_to(&self, to: &Choice) -> Change {
        let Self { app, studio, settings, service, moved, .. } = self;
        relocate(&app.app, settings, service, &studio.mia, moved, to).await.unwrap()
    }
}

proptest! {
    #[test]
    fn schedule_moving_there_and_back_changes_nothing(pick in any::<prop::sample::Index>()) {
        let place = place();
        place.runtime.block_on(async {
            let before = place.visit().await;
            let home = Choice { starts_at: before.starts_at, practitioner: before.practitioner.clone() };
            let to = pick.get(&place.around);
            prop_assert_eq!(place.move_to(to).await, Change::Done);
            let there = place.visit().await;
            prop_assert_eq!((there.starts_at, &there.practitioner), (to.starts_at, &to.practitioner));
            prop_assert_eq!(place.move_to(&home).await, Change::Done);
            let back = place.visit().await;
            prop_assert_eq!(back.sequence, before.sequence + 2);
            prop_assert_eq!(format!("{:?}", Visit { sequence: before.sequence, ..back }), format!("{before:?}"));
            prop_assert_eq!(&place.free(Some(&place.moved)).await, &place.around);
            Ok(())
        })?;
    }
}
