//! Clients are asked back: nobody who shouldn't be, nobody twice, and the letter's links do what they say.

use palpebra::actions::invite::{self, NotInvited};
use palpebra::actions::retouch;
use palpebra::domain::catalogue::Chemistry;
use palpebra::domain::ids::{ClientId, ServiceId};
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::role::{Actor, Member, Role};
use palpebra::domain::skin_test::TestResult;
use palpebra::domain::{consent::Tick, ids::AccountId};
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{audit, health};
use time::macros::{date, datetime};
use time::{Duration, OffsetDateTime};

use crate::support::studio::MIA;
use crate::support::{Html, Person, Studio, TestApp};

const LIFTED: OffsetDateTime = datetime!(2026-01-02 09:00 UTC);
const LIST: &str = "/owner/retouch";
const INVITE: &str = "/owner/retouch/invite";

async fn returning() -> (TestApp, Studio) {
    let (app, studio) = TestApp::with_studio().await;
    studio.treated(&studio.mia, &studio.lift, LIFTED, Outcome::AsWished, &[&studio.lotion]).await;
    studio.wants_letters(&studio.mia).await;
    (app, studio)
}

fn member() -> Member {
    let account = AccountId::from_random([1; 16]);
    Member { account, role: Role::Owner, name: "Runa Ostfeld".to_owned(), practitioner: None }
}

fn pair(client: &ClientId, service: &ServiceId) -> (ClientId, ServiceId) {
    (client.clone(), service.clone())
}

async fn fit(app: &TestApp, client: &ClientId, service: &ServiceId) -> Result<(), NotInvited> {
    retouch::freshen(&app.app.db).await.unwrap();
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let found = invite::look(&mut c, &row, app.app.clock.now(), &[pair(client, service)]).await.unwrap();
    assert_eq!(found.len(), 1, "she stands in the list");
    found.first().unwrap().fit
}

async fn letters(app: &TestApp) -> Vec<palpebra::mail::transport::Outgoing> {
    app.mails().await.into_iter().filter(|out| out.letter.unsubscribe.is_some()).collect()
}

/// The list, its preview for what was chosen, and the letters.
async fn invite_by_hand(owner: &Person, fields: &[(&str, &str)]) -> (Html, Html) {
    let list = owner.get(LIST).await;
    let preview = owner.submit(&list, INVITE, fields).await;
    assert_eq!(preview.status, 200, "{}", preview.main());
    let done = owner.submit(&preview, INVITE, &[("sure", "yes")]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let after = owner.follow(done).await;
    (preview, after)
}

#[tokio::test]
async fn a_preview_first_then_one_letter_with_her_own_link() {
    let (app, studio) = returning().await;
    let owner = app.owner().await;
    let key = format!("{}.{}", studio.mia, studio.lift);
    let list = owner.get(LIST).await;
    assert!(list.source().contains(&key), "she can be ticked");
    let preview = owner.submit(&list, INVITE, &[("many-who", &key)]).await;
    assert_eq!(preview.all("table caption"), ["Who gets a letter"]);
    assert!(preview.all("tbody tr")[0].starts_with("Mia Sandgren Lash lift"), "{:?}", preview.all("tbody tr"));
    assert!(letters(&app).await.is_empty(), "a look writes nothing");
    let (_, after) = invite_by_hand(&owner, &[("many-who", &key)]).await;
    assert_eq!(after.all(".said"), ["One letter is on its way."]);
    let row = after.all("tbody tr").concat();
    assert!(row.contains("Invited once, on Mon 2 March 2026"), "{row}");
    let csv = owner.get("/owner/retouch/list.csv").await.source();
    assert!(csv.lines().nth(1).unwrap().ends_with(",yes,no,1,2026-03-02"), "{csv}");
    let sent = letters(&app).await;
    assert_eq!(sent.len(), 1);
    assert_eq!((sent[0].to.as_str(), sent[0].letter.subject.as_str()), (MIA, "Your next visit at Studio Lidbogen"));
    let words = format!("{} {} {}", sent[0].letter.subject, sent[0].letter.text, sent[0].letter.html).to_lowercase();
    assert!(!words.contains("lash") && !words.contains("lift") && !words.contains("tint"), "{words}");
    let mut c = app.app.db.read().await.unwrap();
    let log = audit::list(&mut c, Some(&studio.mia), None, 100).await.unwrap();
    assert!(log.iter().any(|entry| entry.action == "invitation.written" && entry.actor_name == "Runa Ostfeld"));
}

#[tokio::test]
async fn nobody_is_written_to_who_should_not_be() {
    let (app, studio) = returning().await;
    let (mia, lift) = (&studio.mia, &studio.lift);
    assert_eq!(fit(&app, mia, lift).await, Ok(()));
    let silent = studio.client("Zora Halvig", "zora@clients.example.org", date!(1999 - 01 - 02)).await;
    studio.treated(&silent, lift, LIFTED + Duration::DAY, Outcome::AsWished, &[&studio.lotion]).await;
    assert_eq!(fit(&app, &silent, lift).await, Err(NotInvited::NotWanted), "she never said yes");
    studio.consent(&silent, lift).await;
    assert_eq!(fit(&app, &silent, lift).await, Err(NotInvited::NotWanted), "she signed without that tick");
    studio.wants_letters(&silent).await;
    assert_eq!(fit(&app, &silent, lift).await, Ok(()));
    let mut tx = app.app.db.write().await.unwrap();
    health::withdraw(&mut tx, &silent, Tick::Marketing, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(fit(&app, &silent, lift).await, Err(NotInvited::NotWanted), "she took it back");
    let hurt = studio.client("Ines Korvald", "ines@clients.example.org", date!(1979 - 01 - 02)).await;
    studio.treated(&hurt, &studio.lift_and_tint, LIFTED + Duration::days(2), Outcome::AsWished, &[&studio.tint]).await;
    studio.wants_letters(&hurt).await;
    assert_eq!(fit(&app, &hurt, &studio.lift_and_tint).await, Ok(()));
    let failed = Some((TestResult::ItchOrRaised, LIFTED + Duration::days(12)));
    studio.tested(&hurt, LIFTED + Duration::days(10), failed).await;
    assert_eq!(fit(&app, &hurt, &studio.lift_and_tint).await, Err(NotInvited::Blocked));
    assert_eq!(fit(&app, mia, lift).await, Ok(()));
    for (level, state, products, fits) in [
        (Level::Mild, State::Reported, &[&studio.lotion][..], Ok(())),
        (Level::Moderate, State::Settled, &[&studio.tint], Ok(())),
        (Level::Serious, State::FollowedUp, &[], Err(NotInvited::Unsettled)),
    ] {
        studio.reacted(mia, (level, state), None, products).await;
        assert_eq!(fit(&app, mia, lift).await, fits, "{level}, {state:?}");
    }
    let next = datetime!(2026-03-20 09:00 UTC);
    studio.visit(Purpose::Treatment, mia, lift, &studio.liv, next).await;
    assert_eq!(fit(&app, mia, lift).await, Err(NotInvited::Booked));
}

#[tokio::test]
async fn whoever_was_invited_is_left_in_peace_for_the_studio_s_span() {
    let (app, studio) = returning().await;
    let wanted = [pair(&studio.mia, &studio.lift)];
    retouch::freshen(&app.app.db).await.unwrap();
    assert_eq!(invite::send(&app.app, &member(), &wanted).await.unwrap(), 1);
    assert_eq!(fit(&app, &studio.mia, &studio.lift).await, Err(NotInvited::Lately(date!(2026 - 03 - 02))));
    app.app.clock.advance(Duration::days(21) - Duration::SECOND);
    assert_eq!(invite::send(&app.app, &member(), &wanted).await.unwrap(), 0);
    app.app.clock.advance(Duration::SECOND);
    assert_eq!(invite::send(&app.app, &member(), &wanted).await.unwrap(), 1);
    assert_eq!(letters(&app).await.len(), 2);
}

/// The report comes after the letter was written, and before it leaves.
#[tokio::test]
async fn no_letter_leaves_to_whom_the_service_did_harm() {
    for (state, product) in [(State::Settled, true), (State::Reported, false)] {
        let (app, studio) = returning().await;
        retouch::freshen(&app.app.db).await.unwrap();
        assert_eq!(invite::send(&app.app, &member(), &[pair(&studio.mia, &studio.lift)]).await.unwrap(), 1);
        let products: &[_] = if product { &[&studio.lotion] } else { &[] };
        studio.reacted(&studio.mia, (Level::Moderate, state), None, products).await;
        assert!(letters(&app).await.is_empty(), "{state:?}");
        if product {
            assert_eq!(
                fit(&app, &studio.mia, &studio.lift).await,
                Err(NotInvited::Blocked),
                "there is no other lotion"
            );
            studio.product("Mild Lotion", Chemistry::Lotion, None, "M-1").await;
            assert_eq!(fit(&app, &studio.mia, &studio.lift).await, Ok(()), "another lotion is left");
        }
    }
}

/// The same client on two lines, the same line twice, and several who press at once: one letter.
#[tokio::test]
async fn nobody_gets_two_letters() {
    let (app, studio) = returning().await;
    studio
        .treated(&studio.mia, &studio.lift_and_tint, LIFTED - Duration::days(90), Outcome::AsWished, &[&studio.tint])
        .await;
    retouch::freshen(&app.app.db).await.unwrap();
    let wanted =
        [pair(&studio.mia, &studio.lift), pair(&studio.mia, &studio.lift_and_tint), pair(&studio.mia, &studio.lift)];
    let mut racing = tokio::task::JoinSet::new();
    for _ in 0..8 {
        let (app, wanted) = (app.app.clone(), wanted.clone());
        racing.spawn(async move { invite::send(&app, &member(), &wanted).await.unwrap() });
    }
    assert_eq!(racing.join_all().await.into_iter().sum::<usize>(), 1);
    assert_eq!(letters(&app).await.len(), 1);
}

#[tokio::test]
async fn all_that_fit_the_filter_can_be_taken_and_the_others_are_named_with_the_reason() {
    let (app, studio) = returning().await;
    for (n, name) in ["Zora Halvig", "Ines Korvald", "Jette Morland"].into_iter().enumerate() {
        let client = studio.client(name, &format!("c{n}@clients.example.org"), date!(1979 - 01 - 02)).await;
        let at = LIFTED + Duration::days(i64::try_from(n).unwrap() + 1);
        studio.treated(&client, &studio.lift, at, Outcome::AsWished, &[&studio.lotion]).await;
        if n > 0 {
            studio.wants_letters(&client).await;
        }
    }
    let owner = app.owner().await;
    let (preview, after) = invite_by_hand(&owner, &[("all", "yes")]).await;
    assert_eq!(preview.all("table caption"), ["Who gets a letter", "Who gets none, and why"]);
    let rows = preview.all("tbody tr");
    assert_eq!(rows.len(), 4, "{rows:?}");
    assert!(rows[3].contains("Zora Halvig") && rows[3].contains("wants no invitations"), "{rows:?}");
    assert_eq!(after.all(".said"), ["3 letters are on their way."]);
    let again = owner.submit(&owner.get(LIST).await, INVITE, &[("all", "yes")]).await;
    assert!(again.main().contains("None of those chosen can be written to."), "{}", again.main());
    assert!(again.all("tbody tr").iter().any(|row| row.contains("was invited on Mon 2 March 2026")));
    // The filter goes along: of those whose name fits nobody else is looked at.
    let list = owner.get(&format!("{LIST}?q=jette")).await;
    let some = owner.submit(&list, INVITE, &[("all", "yes")]).await;
    assert_eq!(some.all("tbody tr").len(), 1, "{}", some.main());
}

/// From now on bookings follow certificates, of which the studio has none.
async fn nobody_may_give_it(owner: &Person) {
    let page = owner.get("/owner/papers").await;
    assert_eq!(owner.submit(&page, "/owner/papers/rule", &[("keeps", "yes")]).await.status, 303);
}

#[tokio::test]
async fn nobody_is_asked_back_for_what_nobody_may_give() {
    let (app, studio) = returning().await;
    nobody_may_give_it(&app.owner().await).await;
    assert_eq!(fit(&app, &studio.mia, &studio.lift).await, Err(NotInvited::NotOffered));
}

/// Between the letter's writing and its leaving she books, or takes her word back, or nobody may give it any more: it
/// doesn't leave, and doesn't count.
#[tokio::test]
async fn a_letter_that_waits_is_taken_out_when_it_has_become_wrong() {
    for what in ["booked", "taken back", "not offered"] {
        let (app, studio) = returning().await;
        retouch::freshen(&app.app.db).await.unwrap();
        assert_eq!(invite::send(&app.app, &member(), &[pair(&studio.mia, &studio.lift)]).await.unwrap(), 1);
        match what {
            "booked" => {
                let at = datetime!(2026-03-20 09:00 UTC);
                studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
            }
            "taken back" => invite::stop(&app.app, &studio.mia).await.unwrap(),
            _ => nobody_may_give_it(&app.owner().await).await,
        }
        assert!(letters(&app).await.is_empty(), "{what}");
        let list = app.owner().await.get(LIST).await;
        assert!(!list.main().contains("Invited once"), "{}", list.main());
    }
}

async fn invited() -> (TestApp, Studio, String) {
    let (app, studio) = returning().await;
    retouch::freshen(&app.app.db).await.unwrap();
    invite::send(&app.app, &member(), &[pair(&studio.mia, &studio.lift)]).await.unwrap();
    let link = app.mail_to(MIA).await.link("/invited/");
    (app, studio, link)
}

const BORN: [(&str, &str); 3] = [("born_day", "14"), ("born_month", "6"), ("born_year", "1991")];

#[tokio::test]
async fn the_link_knows_the_service_and_asks_who_she_is() {
    let (app, studio, link) = invited().await;
    let mia = app.visitor();
    let page = mia.get(&link).await;
    assert!(!page.main().contains("Mia") && !page.main().to_lowercase().contains("lift"), "{}", page.main());
    let wrong = mia.submit(&page, &link, &[("born_day", "15"), ("born_month", "6"), ("born_year", "1991")]).await;
    assert_eq!(wrong.status, 422);
    let times = mia.submit(&page, &link, &BORN).await;
    // Her window opened on 17 February, 46 days after the lift: so the times begin today.
    assert_eq!(times.location().unwrap(), format!("/services/{}?from=2026-03-02", studio.lift));
    assert_eq!(mia.follow(times).await.status, 200);
    assert_eq!(mia.get("/me").await.status, 200, "she is signed in");
    let other = app.visitor();
    let used = other.get(&link).await;
    assert_eq!((used.status, used.all("h1")), (410, vec!["This link has ended".to_owned()]));
    assert!(used.main().contains("Sign in"));
}

#[tokio::test]
async fn before_her_window_opens_the_times_begin_with_it() {
    let (app, studio) = TestApp::with_studio().await;
    studio
        .treated(&studio.mia, &studio.lift, datetime!(2026-02-02 09:00 UTC), Outcome::AsWished, &[&studio.lotion])
        .await;
    studio.wants_letters(&studio.mia).await;
    retouch::freshen(&app.app.db).await.unwrap();
    invite::send(&app.app, &member(), &[pair(&studio.mia, &studio.lift)]).await.unwrap();
    let letter = app.mail_to(MIA).await;
    assert!(letter.0.letter.text.contains("from Friday 20 March 2026 on"), "{}", letter.0.letter.text);
    let mia = app.client(MIA).await;
    let times = mia.get(&letter.link("/invited/")).await;
    assert_eq!(
        times.location().unwrap(),
        format!("/services/{}?from=2026-03-20", studio.lift),
        "signed in, no question"
    );
}

/// As when many dates are tried at the same moment, all of them looked at before the first was counted.
#[tokio::test]
async fn a_right_date_that_was_looked_at_before_the_wrong_ones_were_counted_signs_nobody_in() {
    let (app, studio, link) = invited().await;
    let token = link.rsplit('/').next().unwrap();
    let letter = invite::find(&mut app.app.db.read().await.unwrap(), token).await.unwrap().unwrap().1;
    for _ in 0..5 {
        invite::wrong(&app.app, token, &letter.id).await.unwrap();
    }
    assert!(invite::open(&app.app, token, &studio.mia, "somewhere", "").await.unwrap().is_none());
}

#[tokio::test]
async fn a_link_ends_after_five_wrong_dates_or_four_weeks() {
    let (app, _, link) = invited().await;
    let guesser = app.visitor();
    let page = guesser.get(&link).await;
    for day in ["1", "2", "3", "4"] {
        let wrong =
            guesser.submit(&page, &link, &[("born_day", day), ("born_month", "6"), ("born_year", "1991")]).await;
        assert_eq!(wrong.status, 422, "{day}");
    }
    let last = guesser.submit(&page, &link, &[("born_day", "5"), ("born_month", "6"), ("born_year", "1991")]).await;
    assert_eq!(last.status, 410);
    assert_eq!(guesser.submit(&page, &link, &BORN).await.status, 410, "even the right one is too late");
    let (app, _, link) = invited().await;
    app.app.clock.advance(Duration::weeks(4) - Duration::SECOND);
    assert_eq!(app.visitor().get(&link).await.status, 200);
    app.app.clock.advance(Duration::SECOND);
    assert_eq!(app.visitor().get(&link).await.status, 410);
}

/// RFC 8058 §3.2: the mail program posts `List-Unsubscribe=One-Click` to the address in the header, without a cookie.
#[tokio::test]
async fn one_click_ends_the_letters_and_a_look_does_not() {
    let (app, studio, _) = invited().await;
    let header = letters(&app).await[0].letter.unsubscribe.clone().unwrap();
    let path = header.strip_prefix(&app.url).unwrap().to_owned();
    let program = app.visitor();
    let look = program.get(&path).await;
    assert_eq!((look.status, look.all("h1")), (200, vec!["Stop these letters?".to_owned()]));
    app.app.clock.advance(Duration::days(100));
    assert_eq!(fit(&app, &studio.mia, &studio.lift).await, Ok(()), "looking ends nothing");
    for _ in 0..2 {
        let sent = program.post(&path, &[("List-Unsubscribe".to_owned(), "One-Click".to_owned())]).await;
        assert_eq!(sent.status, 200, "it works for long, and twice");
        assert!(sent.main().contains("No more of these letters"));
    }
    assert_eq!(fit(&app, &studio.mia, &studio.lift).await, Err(NotInvited::NotWanted));
    let mut c = app.app.db.read().await.unwrap();
    let log = audit::list(&mut c, Some(&studio.mia), None, 100).await.unwrap();
    assert_eq!(log.iter().filter(|entry| entry.action == "consent.withdrawn").count(), 1);
    let (kind, ..) = Actor::Client(studio.mia.clone()).columns();
    assert!(log.iter().any(|entry| entry.action == "consent.withdrawn" && entry.actor_kind == kind));
    assert_eq!(program.get("/unsubscribe/nonsense").await.status, 404);
}

#[tokio::test]
async fn nobody_is_invited_to_what_her_answers_forbid_for_good() {
    let (app, studio) = returning().await;
    retouch::freshen(&app.app.db).await.unwrap();
    assert_eq!(invite::send(&app.app, &member(), &[pair(&studio.mia, &studio.lift)]).await.unwrap(), 1);
    studio.answer(&studio.mia, &[("chemo", Answer::Yes)]).await;
    assert!(letters(&app).await.is_empty(), "the letter that waits doesn't leave");
    app.app.clock.advance(Duration::days(30));
    assert_eq!(fit(&app, &studio.mia, &studio.lift).await, Err(NotInvited::Forbidden));
    let owner = app.owner().await;
    let key = format!("{}.{}", studio.mia, studio.lift);
    let preview = owner.submit(&owner.get(LIST).await, INVITE, &[("many-who", &key)]).await;
    assert!(preview.main().contains("what she answered forbids it"), "{}", preview.main());
    studio.answer(&studio.mia, &[("stye", Answer::Yes)]).await;
    assert_eq!(fit(&app, &studio.mia, &studio.lift).await, Ok(()), "that has an end");
}
