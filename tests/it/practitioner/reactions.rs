//! Reactions: reported with first aid in sight, asked after, settled; products blocked; on paper and in the export.

use palpebra::domain::ids::ReactionId;
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::skin_test::TestResult;
use palpebra::store::reactions::{self, Reaction};
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use time::Duration;
use time::macros::date;

use super::changes;
use crate::support::app::NOW;
use crate::support::studio::{LIV, NOOR};
use crate::support::{Html, Person, Studio, TestApp};

/// Mia was lifted yesterday; Liv did it.
async fn studio() -> (TestApp, Studio, Person) {
    let (app, studio) = TestApp::with_studio().await;
    studio.treated(&studio.mia, &studio.lift, NOW - Duration::hours(20), Outcome::AsWished, &[&studio.lotion]).await;
    let liv = app.member(LIV.0, LIV.1).await;
    (app, studio, liv)
}

async fn all(app: &TestApp, studio: &Studio) -> Vec<Reaction> {
    reactions::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap()
}

async fn report(liv: &Person, studio: &Studio, but: &[(&str, &str)]) -> Html {
    let path = format!("/desk/clients/{}/reaction", studio.mia);
    let page = liv.get(&path).await;
    assert!(page.all(".lead").join(" ").contains("Rinse at once with clean water, for at least 20 minutes"));
    let treatment = page.attributes("select#treatment option", "value").remove(1);
    let mut fields = vec![("treatment", treatment.as_str()), ("day", "2026-03-01"), ("time", "18:30")];
    fields.extend(but);
    liv.submit(&page, &path, &fields).await
}

#[tokio::test]
async fn a_report_that_is_sent_twice_is_one() {
    let (app, studio, liv) = studio().await;
    let path = format!("/desk/clients/{}/reaction", studio.mia);
    let page = liv.get(&path).await;
    let fields = [("day", "2026-03-01"), ("time", "18:30"), ("many-sign", "lid_swelling")];
    let sent = liv.submit(&page, &path, &fields).await;
    assert_eq!(sent.status, 303, "{}", sent.text());
    assert_eq!(liv.submit(&page, &path, &fields).await.location(), sent.location());
    assert_eq!(all(&app, &studio).await.len(), 1);
    assert_eq!(changes(&app).await.iter().filter(|action| *action == "reaction.reported").count(), 1);
    let other = studio.client("Ada Nilsen", "ada@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.visit(Purpose::Treatment, &other, &studio.lift, &studio.liv, NOW + Duration::days(1)).await;
    let path = format!("/desk/clients/{other}/reaction");
    let mut fields = fields.to_vec();
    let id = sent.location().unwrap().rsplit('/').next().unwrap().to_owned();
    fields.push(("id", &id));
    assert_eq!(liv.submit(&liv.get(&path).await, &path, &fields).await.status, 404, "that is another one's");
}

async fn add(liv: &Person, page: &str, fields: &[(&str, &str)]) -> Html {
    let open = liv.get(page).await;
    let mut fields = fields.to_vec();
    fields.retain(|(_, value)| !value.is_empty());
    liv.submit(&open, &format!("{page}/add"), &fields).await
}

#[tokio::test]
async fn a_reaction_is_reported_asked_after_and_settled() {
    let (app, studio, liv) = studio().await;
    let sent =
        report(&liv, &studio, &[("many-sign", "lid_swelling"), ("rinsed", "20"), ("care", "Seen by a doctor")]).await;
    assert_eq!(sent.status, 303, "{}", sent.text());
    let page = sent.location().unwrap();
    let [written] = &all(&app, &studio).await[..] else { unreachable!("one report") };
    assert_eq!((written.level, written.state), (Level::Moderate, State::Reported));
    assert_eq!(written.due_at, Some(NOW + Duration::hours(24)));
    assert_eq!(written.products.len(), 1, "the batches come from the treatment");
    let shown = liv.get(&page).await;
    assert!(
        shown.main().contains("Medical advice on the same day") && shown.main().contains("batch A-2031"),
        "{}",
        shown.main()
    );
    let mut c = app.app.db.read().await.unwrap();
    let harm = palpebra::store::harm::of(&mut c, &[&studio.mia]).await.unwrap();
    assert!(harm.len() == 1 && harm[0].product == studio.lotion, "blocked for her");
    drop(c);
    let early = add(&liv, &page, &[("add", "settled"), ("outcome", "Gone"), ("corrective", "Other lotion")]).await;
    assert_eq!(early.status, 422, "somebody has to ask again first");
    app.app.clock.advance(Duration::hours(25));
    let liv = app.member(LIV.0, LIV.1).await;
    let today = liv.get("/desk").await;
    assert!(today.main().contains("Ask again"), "{}", today.main());
    let asked = add(&liv, &page, &[("add", "follow_up"), ("many-sign", "itch"), ("note", "Less red")]).await;
    assert_eq!(asked.status, 303, "{}", asked.text());
    let [written] = &all(&app, &studio).await[..] else { unreachable!("one report") };
    assert_eq!((written.level, written.state), (Level::Moderate, State::FollowedUp), "a level never falls");
    assert_eq!(written.due_at, Some(NOW + Duration::hours(48)));
    assert!(!liv.get("/desk").await.main().contains("Ask again"), "not due today any more");
    assert_eq!(add(&liv, &page, &[("add", "told"), ("whom", "Insurer"), ("reference", "X 12")]).await.status, 303);
    assert_eq!(
        add(&liv, &page, &[("add", "settled"), ("outcome", "Gone"), ("corrective", "Other lotion")]).await.status,
        303
    );
    let [written] = &all(&app, &studio).await[..] else { unreachable!("one report") };
    assert_eq!((written.state, written.due_at), (State::Settled, None));
    assert_eq!(add(&liv, &page, &[("add", "reopened"), ("why", "It came back")]).await.status, 303);
    assert_eq!(all(&app, &studio).await[0].state, State::Reported);
    assert_eq!(
        super::changes(&app).await[..5],
        ["reaction.reopened", "reaction.settled", "reaction.told", "reaction.asked-again", "reaction.reported"]
    );
}

#[tokio::test]
async fn a_report_is_refused_at_its_field() {
    let (app, studio, liv) = studio().await;
    for (but, field, said) in [
        (&[("day", "2026-03-04"), ("many-sign", "itch")][..], "day", "still to come"),
        (&[("day", "2026-02-20"), ("many-sign", "itch")], "day", "before the treatment"),
        (&[], "signs", "Tick what"),
        (&[("many-sign", "eye_shut"), ("level", "mild")], "level", "at least “serious”"),
        (&[("many-sign", "itch"), ("rinsed", "-3")], "rinsed", "whole number"),
    ] {
        let refused = report(&liv, &studio, but).await;
        assert_eq!(refused.status, 422, "{said}");
        assert!(refused.all(&format!("#{field}-error")).join(" ").contains(said), "{said}: {}", refused.main());
    }
    assert!(all(&app, &studio).await.is_empty());
}

#[tokio::test]
async fn a_failed_skin_test_opens_a_report_once_and_a_graver_reading_raises_it() {
    let (app, studio, liv) = studio().await;
    let test = studio.tested(&studio.mia, NOW - Duration::hours(50), None).await;
    let path = format!("/desk/skin-tests/{test}/reading");
    for (result, level, entries) in [
        (TestResult::FaintPink, None, 0),
        (TestResult::ItchOrRaised, Some(Level::Moderate), 1),
        (TestResult::SwellingOrBlister, Some(Level::Serious), 2),
        (TestResult::ItchOrRaised, Some(Level::Serious), 2),
    ] {
        let page = liv.get(&path).await;
        assert_eq!(liv.submit(&page, &path, &[("result", result.as_str())]).await.status, 303);
        let written = all(&app, &studio).await;
        assert_eq!(written.len(), usize::from(level.is_some()), "one for each test");
        assert_eq!(written.first().map(|one| (one.level, one.entries.len())), level.map(|level| (level, entries)));
    }
    let [written] = &all(&app, &studio).await[..] else { unreachable!("one report") };
    assert_eq!((written.state, written.skin_test.as_ref()), (State::Reported, Some(&test)));
    assert_eq!(written.products[0].0, studio.tint);
}

#[tokio::test]
async fn the_paper_and_the_page_are_for_those_who_treat_her() {
    let (app, studio, liv) = studio().await;
    let page = report(&liv, &studio, &[("many-sign", "short_breath")]).await.location().unwrap();
    let shown = liv.get(&page).await.main();
    assert!(shown.contains("Call an ambulance"), "{shown}");
    let paper = liv.get(&format!("{page}/report.pdf")).await;
    assert_eq!(paper.status, 200);
    assert!(paper.bytes.starts_with(b"%PDF-") && paper.bytes.len() > 5_000);
    let noor = app.member(NOOR.0, NOOR.1).await;
    for path in [page.clone(), format!("{page}/report.pdf"), format!("/desk/clients/{}/reaction", studio.mia)] {
        assert_eq!(noor.get(&path).await.status, 404, "{path}");
    }
    assert_eq!(liv.get(&format!("/desk/reactions/{}", ReactionId::from_random([9; 16]))).await.status, 404);
}

#[tokio::test]
async fn a_client_with_a_report_is_not_deleted() {
    let (app, studio, liv) = studio().await;
    report(&liv, &studio, &[("many-sign", "itch")]).await;
    let options =
        sqlx::sqlite::SqliteConnectOptions::new().filename(app.folder().join("palpebra.db")).foreign_keys(true);
    let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
    let gone = sqlx::query("DELETE FROM client WHERE id = ?").bind(studio.mia.as_str()).execute(&pool).await;
    assert!(gone.unwrap_err().to_string().contains("records leave by their period or on request"));
}

#[tokio::test]
async fn what_was_soon_gone_is_not_graver_for_being_told_days_later() {
    for (sign, lasted, level) in [
        ("itch", "two_hours", Level::Mild),
        ("itch", "two_days", Level::Mild),
        ("itch", "longer", Level::Moderate),
        ("itch", "still", Level::Moderate),
        ("itch", "", Level::Moderate),
        ("brief_watering", "", Level::Expected),
    ] {
        let (app, studio, liv) = studio().await;
        let said = [("treatment", ""), ("day", "2026-02-26"), ("many-sign", sign), ("lasted", lasted)];
        let sent = report(&liv, &studio, &[&said[..], &[("level", level.as_str())]].concat()).await;
        assert_eq!(sent.status, 303, "{sign} {lasted}: {}", sent.main());
        assert_eq!(all(&app, &studio).await[0].level, level, "{sign} {lasted}");
        let shown = liv.follow(sent).await;
        assert_eq!(shown.main().contains("Still there No, it was gone within two hours"), lasted == "two_hours");
    }
}
