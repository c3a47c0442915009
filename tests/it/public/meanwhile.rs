//! What changes while somebody books: the text, the questions, and who sits before the browser.

use palpebra::store::{audit, clients, health, visits};

use crate::support::TestApp;
use crate::support::booking::{DETAILS, SIGNED, answer_all, answer_page, fill, take_first};
use crate::support::studio::MIA;

#[tokio::test]
async fn nobody_signs_a_text_that_she_had_not_before_her() {
    let (app, studio) = TestApp::with_studio().await;
    let she = app.visitor();
    let details = take_first(&she, studio.lift.as_str()).await;
    let sign = fill(&she, &details, &DETAILS, &[]).await;
    let owner = app.owner().await;
    let page = owner.get("/owner/consent-text").await;
    let words = [("words", "What is new\nWe now open the window."), ("reviewed_by", "x"), ("reason", "y")];
    assert_eq!(owner.submit(&page, "/owner/consent-text", &words).await.status, 303);

    let changed = she.submit(&sign, "/book/", &SIGNED).await;
    assert_eq!(changed.status, 409);
    assert!(changed.main().contains("has changed while you read it"), "{}", changed.main());
    assert!(changed.main().contains("We now open the window."), "{}", changed.main());
    assert!(
        changed.attributes("main input[type=checkbox][checked]", "name").is_empty(),
        "ticks to other words count for nothing"
    );
    let (path, _) = sign.form("/book/");
    assert!(she.get(&path).await.attributes("main input[type=checkbox][checked]", "name").is_empty());
    let done = she.submit(&changed, "/book/", &SIGNED).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let mut c = app.app.db.read().await.unwrap();
    let client = clients::search(&mut c, "Ottilie", 5).await.unwrap().remove(0);
    let versions: Vec<_> =
        health::consents(&mut c, &client.id).await.unwrap().iter().map(|it| it.text_version).collect();
    assert_eq!(versions, [2]);
}

#[tokio::test]
async fn an_answer_to_other_words_is_none() {
    let (app, studio) = TestApp::with_studio().await;
    let she = app.visitor();
    let details = take_first(&she, studio.lift.as_str()).await;
    let next = she.submit(&details, "/book/", &DETAILS).await;
    let first = she.follow(next).await;
    let key = first.attributes("fieldset.answer input[value=no]", "name").remove(0);
    let answered = answer_page(&she, &first, &[]).await;
    let second = she.follow(answered).await;

    let owner = app.owner().await;
    let page = owner.get("/owner/rules/draft").await;
    owner.submit(&page, "/owner/rules/draft", &[("step", "start")]).await;
    let question = format!("/owner/rules/draft/questions/{key}");
    let page = owner.get(&question).await;
    let said = owner.submit(&page, &question, &[("text", "Do you see the moon by day?")]).await;
    assert_eq!(said.status, 303, "{}", said.main());
    let publish = "/owner/rules/draft/publish";
    let page = owner.get(publish).await;
    let done = owner.submit(&page, publish, &[("reason", "Our insurer asks for it")]).await;
    assert_eq!(done.status, 303, "{}", done.main());

    let rest = she.submit(&second, "/book/", &[("rest", "no")]).await;
    assert_eq!(rest.status, 409);
    assert!(rest.attributes("main input[type=radio][checked]", "value").is_empty(), "what she has not seen stays open");
    let (there, mut elsewhere) = second.form("/book/");
    elsewhere.retain(|(name, _)| name == "csrf" || name == "version");
    elsewhere.push((key.clone(), "yes".to_owned()));
    let led = she.post(&there.replace("health/2", "health/99"), &elsewhere).await;
    assert!(led.location().unwrap().ends_with("/health/1"), "a section that is gone: {:?}", led.location());
    let first_again = she.follow(led).await;
    assert_eq!(
        first_again.attributes(&format!("input[name={key}][checked]"), "value"),
        ["yes"],
        "wherever it is asked now"
    );
    let changed = answer_page(&she, &second, &[]).await;
    assert_eq!(changed.status, 409, "she had the questions of before");
    assert!(changed.main().contains("The questions have changed while you answered them"), "{}", changed.main());
    assert_eq!(answer_page(&she, &changed, &[]).await.status, 303);
    let (path, _) = second.form("/book/");
    let sign = path.replace("health/2", "sign");
    assert_ne!(path, sign);
    let back = she.visit(&sign).await;
    assert!(back.main().contains("Do you see the moon by day?"), "the first page is open again: {}", back.main());
    let answered = answer_page(&she, &back, &[]).await;
    assert_eq!(answered.status, 303, "{}", answered.main());
    let page = she.follow(answered).await;
    let sign = answer_all(&she, page, &[]).await;
    let done = she.submit(&sign, "/book/", &SIGNED).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let mut c = app.app.db.read().await.unwrap();
    let client = clients::search(&mut c, "Ottilie", 5).await.unwrap().remove(0);
    let answers = health::answers(&mut c, &client.id).await.unwrap().remove(0);
    assert_eq!(answers.set.questionnaire, health::in_force(&mut c).await.unwrap().questionnaire.version());
}

#[tokio::test]
async fn what_a_client_fills_in_ends_with_her_session() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = app.visitor();
    let page = mia.get("/sign-in").await;
    mia.submit(&page, "/sign-in", &[("mail", MIA)]).await;
    let page = mia.get(&app.mail_to(MIA).await.link("/sign-in/")).await;
    let kept = mia.submit(&page, "/sign-in/", &[]).await.cookie("visit");
    let answers = take_first(&mia, studio.lift.as_str()).await;
    let (path, _) = answers.form("/book/");
    assert!(app.visitor().get_with(&kept, &path).await.main().contains("Is this still right?"));
    let me = mia.get("/me").await;
    mia.submit(&me, "/sign-out", &[]).await;
    let gone = app.visitor().get_with(&kept, &path).await;
    assert!(gone.location().unwrap().starts_with("/sign-in?draft="), "whoever kept her cookie: {}", gone.main());

    // Again, but the session ends by resting: the same browser is led to sign in, and then goes on.
    let mia = app.client(MIA).await;
    let answers = take_first(&mia, studio.lift.as_str()).await;
    let (path, _) = answers.form("/book/");
    app.app.clock.advance(time::Duration::minutes(61));
    // What she types now is kept, and shown to nobody before she has signed in.
    let questions = mia.get(&path).await;
    let there = questions.location().unwrap();
    let (_, mut typed) = answers.form("/book/");
    typed.retain(|(name, _)| name == "csrf");
    typed.extend([("contacts".to_owned(), "yes".to_owned()), ("version".to_owned(), "1".to_owned())]);
    let led = mia.post(&path.replace("answers", "health/1"), &typed).await;
    assert_eq!(led.location().as_ref(), Some(&there));
    assert!(there.starts_with("/sign-in?draft="), "{there}");
    let page = mia.get(&there).await;
    assert!(page.main().contains("Your booking is kept"), "{}", page.main());
    let asked = mia.submit(&page, "/sign-in", &[("mail", MIA)]).await;
    assert_eq!(asked.link("ask again"), there, "which forgets the booking no more");
    mia.submit(&page, "/sign-in", &[("mail", MIA)]).await;
    let link = app.mail_to(MIA).await.link("/sign-in/");
    let page = mia.get(&link).await;
    let back = mia.submit(&page, "/sign-in/", &[]).await;
    let there = back.location().unwrap();
    assert!(path.starts_with(&there), "{there} {path}");
    let page = mia.follow(back).await;
    let mut found = false;
    for n in 1..9 {
        let section = mia.get(&path.replace("answers", &format!("health/{n}"))).await;
        found |= section.attributes("input[name=contacts][checked]", "value") == ["yes"];
    }
    assert!(found && !page.main().contains("Is this still right?"), "{}", page.main());
    assert_eq!(visits::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().len(), 0);
}

#[tokio::test]
async fn another_phone_number_is_written_down() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let mut fields = DETAILS.to_vec();
    fields.extend([("name", "mia sandgren"), ("mail", MIA)]);
    fields.extend([("born_day", "14"), ("born_month", "6"), ("born_year", "1991")]);
    let sign = fill(&person, &details, &fields, &[]).await;
    assert_eq!(person.submit(&sign, "/book/", &SIGNED).await.status, 303);
    let log = audit::list(&mut app.app.db.read().await.unwrap(), None, None, 50).await.unwrap();
    let row = log.iter().find(|row| row.action == "client.phone-changed").unwrap();
    assert_eq!((row.client_id.as_str(), row.detail.as_str()), (studio.mia.as_str(), ""));
}
