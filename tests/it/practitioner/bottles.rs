//! Bottles at the chair: what may not be used is refused before it is used, and the record is filled with the rest.

use std::collections::{BTreeMap, BTreeSet};

use palpebra::actions::catalogue;
use palpebra::actions::seen::Saved;
use palpebra::domain::bottle::Days;
use palpebra::domain::catalogue::Area;
use palpebra::domain::limits::{Ingredient, Label};
use palpebra::domain::steps::Part;
use palpebra::store::catalogue::Batch;
use palpebra::store::{accounts, chair, treatments};
use time::Duration;
use time::macros::date;

use super::treatment::under_way;
use crate::support::studio::{GOOD_BATCH, LIV, OLD_BATCH};
use crate::support::{Studio, TestApp};

fn label(areas: &[Area], thioglycolate: u16) -> Label {
    Label {
        holds: BTreeMap::from([(Ingredient::Thioglycolate, Some(thioglycolate))]),
        areas: areas.iter().copied().collect::<BTreeSet<_>>(),
        professional_only: true,
        ..Label::default()
    }
}

async fn set_label(app: &TestApp, studio: &Studio, label: &Label) {
    let liv = accounts::by_mail(&mut app.app.db.read().await.unwrap(), LIV.0).await.unwrap().unwrap().member;
    let actor = palpebra::domain::role::Actor::Member(liv);
    let saved = catalogue::save_label(&app.app, &actor, &studio.lotion, None, label).await.unwrap();
    assert_eq!(saved, Saved::Done(()));
}

#[tokio::test]
async fn what_may_not_be_used_is_refused_at_the_chair_and_in_the_record() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let (page, path) = (format!("/desk/visits/{id}/chair"), format!("/desk/visits/{id}/chair/batch"));
    let record = format!("/desk/visits/{id}/treatment");
    let thrown = Days { discarded_on: Some(date!(2026 - 03 - 01)), ..Days::default() };
    let thrown = Batch { product: studio.lotion.clone(), number: "THROWN".to_owned(), days: thrown };
    let mut tx = app.app.db.write().await.unwrap();
    palpebra::store::catalogue::save_batch(&mut tx, &thrown).await.unwrap();
    tx.commit().await.unwrap();
    let lotion = format!("batch_{}", studio.lotion);
    // 11 % at most near lashes: Regulation (EC) 1223/2009, Annex III entry 2a (d).
    for (number, of, said) in [
        (OLD_BATCH, None, "ended on Wednesday 31 December 2025"),
        ("THROWN", None, "thrown away on Sunday 1 March 2026"),
        (GOOD_BATCH, Some(label(&[Area::Brow], 800)), "label is not for lashes"),
        (GOOD_BATCH, Some(label(&[Area::Lash], 1200)), "published limits"),
    ] {
        if let Some(label) = &of {
            set_label(&app, &studio, label).await;
        }
        let open = liv.get(&page).await;
        let refused = liv.submit(&open, &path, &[("batch", number)]).await;
        assert_eq!(refused.status, 422, "{said}");
        let words = refused.all("#batch-error").join(" ");
        assert!(words.contains("Bow Lotion: don’t use it") && words.contains(said), "{said}: {words}");
        assert_eq!(refused.attributes("input#batch", "value"), [number]);
        let open = liv.get(&record).await;
        let refused = liv.submit(&open, &record, &[(&lotion, number), ("outcome", "as_wished")]).await;
        assert_eq!(refused.status, 422, "{said}");
        assert!(refused.all(&format!("#{lotion}-error")).join(" ").contains(said), "{said}: {}", refused.main());
    }
    let open = liv.get(&page).await;
    for (number, said) in [("", "fill this in"), ("Q-1", "doesn’t know this batch")] {
        let refused = liv.submit(&open, &path, &[("batch", number)]).await;
        assert_eq!(refused.status, 422);
        assert!(refused.all("#batch-error").join(" ").contains(said), "{number}: {}", refused.main());
    }
    assert!(chair::bottles(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_bottle_that_is_taken_stands_in_the_record_and_in_a_report_on_the_way() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    set_label(&app, &studio, &label(&[Area::Lash, Area::Brow], 800)).await;
    let (page, path) = (format!("/desk/visits/{id}/chair"), format!("/desk/visits/{id}/chair/batch"));
    let typed = GOOD_BATCH.to_lowercase().replace('-', " -");
    let open = liv.get(&page).await;
    let taken = liv.submit(&open, &path, &[("batch", &typed)]).await;
    assert_eq!(taken.status, 303, "{}", taken.text());
    assert!(
        liv.get(&page).await.main().contains("Bow Lotion, batch A-2031"),
        "the tint has the number too, but not here"
    );
    let stored = chair::bottles(&mut app.app.db.read().await.unwrap(), &id).await.unwrap();
    assert_eq!(stored, [(studio.lotion.clone(), GOOD_BATCH.to_owned())]);
    let record = format!("/desk/visits/{id}/treatment");
    let lotion = format!("batch_{}", studio.lotion);
    let filled = liv.get(&record).await.form(&record).1;
    assert!(filled.contains(&(lotion, GOOD_BATCH.to_owned())), "{filled:?}");

    let report = format!("/desk/clients/{}/reaction", studio.mia);
    let open = liv.get(&format!("{report}?visit={id}")).await;
    let sent = liv.submit(&open, &report, &[("many-sign", "light_hurts")]).await;
    let shown = liv.follow(sent).await.main();
    assert!(shown.contains("while it was under way") && shown.contains("Bow Lotion, batch A-2031"), "{shown}");
    assert!(shown.contains("Emergency eye care now"), "{shown}");
}

#[tokio::test]
async fn a_bottle_that_runs_out_is_followed_by_the_next_and_both_stand_in_the_record() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let next = Batch { product: studio.lotion.clone(), number: "B.2032".to_owned(), days: Days::default() };
    let mut tx = app.app.db.write().await.unwrap();
    palpebra::store::catalogue::save_batch(&mut tx, &next).await.unwrap();
    tx.commit().await.unwrap();
    let (chair_page, batch) = (format!("/desk/visits/{id}/chair"), format!("/desk/visits/{id}/chair/batch"));
    for number in [GOOD_BATCH, "B.2032", GOOD_BATCH] {
        let open = liv.get(&chair_page).await;
        assert_eq!(liv.submit(&open, &batch, &[("batch", number)]).await.status, 303);
        app.app.clock.advance(Duration::MINUTE);
    }
    let both = [(studio.lotion.clone(), GOOD_BATCH.to_owned()), (studio.lotion.clone(), "B.2032".to_owned())];
    let taken = liv.get(&chair_page).await.main();
    assert!(taken.contains("batch A-2031") && taken.contains("batch B.2032"), "{taken}");

    let record = format!("/desk/visits/{id}/treatment");
    let open = liv.get(&record).await;
    let further = format!("{}.B.2032", studio.lotion);
    let old = format!("{}.{OLD_BATCH}", studio.lotion);
    assert!(open.form(&record).1.contains(&("further_0".to_owned(), further)), "{:?}", open.form(&record).1);
    let fields = [("outcome", "as_wished"), ("further_1", old.as_str())];
    let refused = liv.submit(&open, &record, &fields).await;
    assert!(refused.all("#further_1-error").join(" ").contains("ended on"), "{}", refused.main());
    for (wrong, said) in [("x", "choose"), (old.strip_suffix(OLD_BATCH).unwrap(), "doesn’t know this batch")] {
        let refused = liv.submit(&open, &record, &[fields[0], ("further_1", wrong)]).await;
        assert!(refused.all("#further_1-error").join(" ").contains(said), "{wrong}: {}", refused.main());
    }
    assert_eq!(liv.submit(&open, &record, &fields[..1]).await.status, 303);
    let stored = treatments::of_visit(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    assert_eq!(stored.current().unwrap().products, both);
    let correction = format!("/desk/treatments/{}/correction", stored.id);
    let open = liv.get(&correction).await;
    assert_eq!(liv.submit(&open, &correction, &[("reason", "A word."), ("notes", "Calm.")]).await.status, 303);
    let stored = treatments::of_visit(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    assert_eq!((stored.versions.len(), &stored.current().unwrap().products[..]), (2, &both[..]));
    let owner = app.owner().await;
    for (_, number) in &both {
        let traced = owner.get(&format!("/owner/trace?batch={}.{number}", studio.lotion)).await.main();
        assert!(traced.contains("Mia Sandgren"), "{number}: {traced}");
    }
}

#[tokio::test]
async fn one_lotion_does_not_stand_for_both_steps_once_it_is_said_which_it_is() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    const WARNS: &str = "What was checked is the other lotion";
    let (chair_page, batch) = (format!("/desk/visits/{id}/chair"), format!("/desk/visits/{id}/chair/batch"));
    let open = liv.get(&chair_page).await;
    assert_eq!(liv.submit(&open, &batch, &[("batch", GOOD_BATCH)]).await.status, 303);
    assert!(!liv.get(&chair_page).await.main().contains(WARNS), "nobody said which lotion it is");
    let one = Label { step: Some(Part::LotionOne), ..label(&[Area::Lash], 800) };
    set_label(&app, &studio, &one).await;
    let cards = liv.get(&chair_page).await.all("ol.steps > li");
    let warned: Vec<bool> = cards.iter().map(|card| card.contains(WARNS)).collect();
    assert_eq!(warned.iter().filter(|warned| **warned).count(), 1, "{cards:?}");
    assert!(cards[1].contains("Bow Lotion, batch A-2031") && warned[3], "{cards:?}");

    let record = format!("/desk/visits/{id}/treatment");
    let open = liv.get(&record).await;
    let mut fields = vec![("outcome", "as_wished"), ("lotion_one", "6"), ("lotion_two", "5")];
    let refused = liv.submit(&open, &record, &fields).await;
    let said = refused.all(&format!("#batch_{}-error", studio.lotion)).join(" ");
    assert!(said.contains("The second one was on too"), "{}", refused.main());
    fields.push(("used_although", "Its bottle was lost."));
    assert_eq!(liv.submit(&open, &record, &fields).await.status, 303, "what was done has to be written down");
}
