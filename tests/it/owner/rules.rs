//! The health questions and rules: read, edited as a draft, tried on current clients, published, and kept as they were.

use palpebra::domain::questionnaire::Answer;
use palpebra::store::health;
use palpebra::store::visits::Purpose;
use time::Duration;

use crate::support::app::NOW;
use crate::support::studio::{LIV, Studio};
use crate::support::{Html, Person, TestApp};

const DRAFT: &str = "/owner/rules/draft";
const PUBLISH: &str = "/owner/rules/draft/publish";

struct Editor {
    app: TestApp,
    studio: Studio,
    owner: Person,
}

impl Editor {
    async fn new() -> Self {
        let (app, studio) = TestApp::with_studio().await;
        let owner = app.owner().await;
        Self { app, studio, owner }
    }

    async fn start(&self) {
        let page = self.owner.get("/owner/rules").await;
        let started = self.owner.submit(&page, DRAFT, &[("step", "start")]).await;
        assert_eq!((started.status, started.location().as_deref()), (303, Some(DRAFT)));
    }

    /// Fills a form of the draft.
    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Html {
        let page = self.owner.get(path).await;
        assert_eq!(page.status, 200, "{path}: {}", page.main());
        self.owner.submit(&page, path, fields).await
    }

    async fn keep(&self, path: &str, fields: &[(&str, &str)]) -> String {
        let kept = self.post(path, fields).await;
        assert_eq!(kept.status, 303, "{path}: {}", kept.main());
        kept.location().unwrap()
    }

    async fn refuse(&self, path: &str, fields: &[(&str, &str)], field: &str) -> Html {
        let again = self.post(path, fields).await;
        assert_eq!(again.status, 422, "{path} {fields:?}: {}", again.main());
        assert_eq!(again.attributes(".summary a", "href"), [format!("#{field}")], "{path} {fields:?}");
        again
    }

    async fn publish(&self) -> Html {
        let fields = [("reviewed_by", "Runa Ostfeld with her insurer"), ("reason", "The insurer’s new terms")];
        self.post(PUBLISH, &fields).await
    }

    async fn versions(&self) -> (u32, u32) {
        let now = health::in_force(&mut self.app.app.db.read().await.unwrap()).await.unwrap();
        (now.rules.version(), now.questionnaire.version())
    }
}

fn rule(key: &str) -> String {
    format!("{DRAFT}/rules/{key}")
}

fn question(key: &str) -> String {
    format!("{DRAFT}/questions/{key}")
}

#[tokio::test]
async fn the_version_in_force_shows_each_rule_with_its_ground_and_its_words() {
    let editor = Editor::new().await;
    let page = editor.owner.get("/owner/rules").await;
    for words in [
        "Version 1 is in force",
        "Nobody of the studio has reviewed it yet",
        "Do you wear contact lenses?",
        "Regulation (EC) 1223/2009, Annex III entry 8b: label warning",
        "common practice, no source",
        "Services with tint",
        "A known allergy: nothing overrides it",
        "3 months after the day given for “About when?”",
    ] {
        assert!(page.main().contains(words), "{words}");
    }
    assert!(editor.owner.get(DRAFT).await.main().contains("There is no draft"));
    assert!(editor.owner.get(PUBLISH).await.main().contains("There is no draft"));
    for path in ["/owner/rules/versions/1", "/owner/rules/versions/2", "/owner/rules/versions/x"] {
        let status = editor.owner.get(path).await.status;
        assert_eq!(status, if path.ends_with('1') { 200 } else { 404 }, "{path}");
    }
}

#[tokio::test]
async fn whoever_is_locked_away_is_left_out_of_what_a_draft_changes() {
    let editor = Editor::new().await;
    let studio = &editor.studio;
    let done = palpebra::store::treatments::Outcome::AsWished;
    studio.treated(&studio.mia, &studio.lift, NOW - Duration::days(30), done, &[]).await;
    let mut tx = editor.app.app.db.write().await.unwrap();
    palpebra::store::restriction::restrict(&mut tx, &studio.mia, NOW).await.unwrap();
    tx.commit().await.unwrap();
    editor.start().await;
    let ask = [("verdict", "ask"), ("say", "Please talk to us about your lenses first.")];
    editor.keep(&rule("contacts"), &ask).await;
    let preview = editor.owner.get(PUBLISH).await;
    assert_eq!(preview.status, 200);
    assert!(preview.main().contains("Of 0 clients"), "{}", preview.main());
    assert_eq!(editor.publish().await.status, 303);
}

#[tokio::test]
async fn a_changed_rule_is_shown_on_whom_it_changes_and_counts_only_once_published() {
    let editor = Editor::new().await;
    let studio = &editor.studio;
    studio.answer(&studio.mia, &[("contacts", Answer::Yes)]).await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::days(3)).await;
    let noor = studio.client("Noa Brandvold", "noa@clients.example.org", time::macros::date!(1990 - 01 - 02)).await;
    studio.visit(Purpose::Treatment, &noor, &studio.lift, &studio.liv, NOW + Duration::days(4)).await;
    editor.start().await;
    let ask = [("verdict", "ask"), ("say", "Please talk to us about your lenses first.")];
    assert_eq!(editor.keep(&rule("contacts"), &ask).await, format!("{DRAFT}?saved"));
    assert_eq!(editor.versions().await, (1, 1));
    let draft = editor.owner.get(DRAFT).await;
    assert!(draft.main().contains("1 rule differs from what is in force, and 0 questions"), "{}", draft.main());
    let preview = editor.owner.get(PUBLISH).await;
    assert!(preview.main().contains("Of 2 clients"), "{}", preview.main());
    assert_eq!(preview.all("tbody tr > *"), ["Mia Sandgren", "Lash lift", "Note", "Ask"]);

    let published = editor.publish().await;
    assert_eq!((published.status, published.location().as_deref()), (303, Some("/owner/rules?saved")));
    assert_eq!(editor.versions().await, (2, 1), "the questions stay the version that they were");
    let page = editor.owner.get("/owner/rules").await;
    for words in ["Version 2 is in force", "Reviewed by Runa Ostfeld with her insurer", "The insurer’s new terms"] {
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
    assert!(page.main().contains("Please talk to us about your lenses first."));
    let old = editor.owner.get("/owner/rules/versions/1").await;
    assert!(old.main().contains("as it stood") && old.main().contains("leave the lenses out for 24 hours"));
    let log = palpebra::store::audit::list(&mut editor.app.app.db.read().await.unwrap(), None, None, 20).await.unwrap();
    let published = log.iter().find(|entry| entry.action == "rules.published").unwrap();
    assert!(
        published.detail.contains("version 2") && published.detail.contains("rules contacts"),
        "{}",
        published.detail
    );
    assert!(published.detail.contains("The insurer’s new terms") && published.actor_name == "Runa Ostfeld");
    assert!(editor.owner.get(PUBLISH).await.main().contains("There is no draft"), "it is spent");
}

#[tokio::test]
async fn a_new_question_needs_a_rule_and_is_then_asked_of_everybody() {
    let editor = Editor::new().await;
    editor.start().await;
    let add = format!("{DRAFT}/sections/health/question");
    editor.refuse(&add, &[("text", "Do you use a sun bed?"), ("kind", "yes_no")], "why").await;
    let why = ("why", "Burnt skin lets more product in.");
    let next = editor.keep(&add, &[("text", "Do you use a sun bed?"), ("kind", "yes_no"), why]).await;
    let path = format!("{}/rule", question("you_use_sun_bed"));
    assert_eq!(next, format!("{path}?added"));
    let draft = editor.owner.get(DRAFT).await;
    assert!(draft.main().contains("No rule uses “Do you use a sun bed?”"), "{}", draft.main());
    assert_eq!(editor.publish_refused().await, 422);
    assert_eq!(editor.versions().await, (1, 1));
    editor.refuse(&path, &[("verdict", "wait_until"), ("wait", ""), ("say", "Wait.")], "wait").await;
    editor.refuse(&path, &[("verdict", "note"), ("say", " ")], "say").await;
    editor.refuse(&path, &[("verdict", "note"), ("say", "W"), ("basis_kind", "source")], "basis_text").await;
    let wait =
        [("verdict", "wait_until"), ("wait", "7"), ("wait_unit", "days"), ("then", "note"), ("say", "Wait a week.")];
    editor.keep(&path, &wait).await;
    assert_eq!(editor.publish().await.status, 303);
    assert_eq!(editor.versions().await, (2, 2));
    let now = health::in_force(&mut editor.app.app.db.read().await.unwrap()).await.unwrap();
    let rule = now.rules.rule("you_use_sun_bed_1").unwrap();
    assert_eq!((rule.question.as_str(), rule.when.as_str()), ("you_use_sun_bed", "yes"));
}

impl Editor {
    /// The page of a draft that doesn't hold together has no form to publish it; a forged one is refused.
    async fn publish_refused(&self) -> u16 {
        let page = self.owner.get(PUBLISH).await;
        assert!(page.main().contains("Before it can be published"), "{}", page.main());
        let token = self.owner.get(DRAFT).await.form(DRAFT).1.into_iter().find(|(name, _)| name == "csrf").unwrap().1;
        let fields =
            [("csrf", token.as_str()), ("reviewed_by", "Runa"), ("reviewed_on", "2026-03-01"), ("reason", "No reason")];
        self.owner.post(PUBLISH, &fields.map(|(name, value)| (name.to_owned(), value.to_owned()))).await.status
    }
}

/// Overrides are barred where a block stands on a known allergy or an active infection (common practice).
#[tokio::test]
async fn no_edit_softens_a_known_allergy_or_an_infection() {
    let editor = Editor::new().await;
    editor.start().await;
    let dye = rule("dye_reaction");
    editor.refuse(&dye, &[("overridable", "yes")], "overridable").await;
    editor.refuse(&dye, &[("verdict", "note")], "verdict").await;
    editor.refuse(&dye, &[("cause", "other"), ("overridable", "yes")], "verdict").await;
    editor.refuse(&dye, &[("letter", "yes")], "verdict").await;
    editor.refuse(&dye, &[("lasts", "3")], "verdict").await;
    editor.refuse(&dye, &[("test", "")], "verdict").await;
    editor.refuse(&dye, &[("many-areas", "brow")], "verdict").await;
    editor.refuse(&rule("conjunctivitis_today"), &[("verdict", "ask")], "verdict").await;
    let page = editor.owner.get(&question("dye_reaction")).await;
    let kept = editor.owner.submit(&page, &format!("{}/retire", question("dye_reaction")), &[]).await;
    assert!(kept.status == 422 && kept.main().contains("It can’t be retired"), "{}", kept.main());
    editor.keep(&dye, &[("say", "No tint, as your skin has reacted before.")]).await;
    editor.keep(&rule("conjunctivitis_today"), &[("lasts", "3")]).await;
}

#[tokio::test]
async fn a_retired_question_goes_with_its_follow_ups_and_old_answers_stay_readable() {
    let editor = Editor::new().await;
    let studio = &editor.studio;
    studio
        .answer(&studio.mia, &[("epilepsy", Answer::Yes), ("epilepsy_last", Answer::Choice("over_a_year".into()))])
        .await;
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::days(3)).await;
    editor.start().await;
    let page = editor.owner.get(&question("epilepsy")).await;
    assert!(page.main().contains("1 question that follows and 2 rules"), "{}", page.main());
    editor.owner.submit(&page, &format!("{}/retire", question("epilepsy")), &[]).await;
    assert!(editor.owner.get(DRAFT).await.main().contains("No longer asked"));
    assert_eq!(editor.publish().await.status, 303);
    assert_eq!(editor.versions().await, (2, 2));
    let shown = editor.app.member(LIV.0, LIV.1).await.get(&format!("/desk/visits/{visit}")).await;
    assert!(shown.main().contains("Have you ever had seizures?"), "{}", shown.main());
    assert!(!shown.main().contains("if you feel one coming"), "its rule speaks no longer");
}

#[tokio::test]
async fn what_is_no_question_is_refused_beside_its_field() {
    let editor = Editor::new().await;
    editor.start().await;
    let asked = question("dry_eye_care");
    editor.refuse(&asked, &[("text", "")], "text").await;
    editor.refuse(&asked, &[("after", "dry_eye=no")], "after").await;
    editor.refuse(&asked, &[("option_mild", ""), ("option_prescribed", "")], "new_options").await;
    editor.refuse(&question("contacts"), &[("optional", "yes")], "optional").await;
    editor.refuse(&question("contacts"), &[("why", "")], "why").await;
    editor.keep(&asked, &[("new_options", "With compresses")]).await;
    let draft = editor.owner.get(DRAFT).await;
    assert!(draft.main().contains("No rule says what “With compresses” means"), "{}", draft.main());
    editor.keep(&format!("{asked}/rule"), &[("when", "with_compresses"), ("verdict", "note"), ("say", "Fine.")]).await;
    assert!(!editor.owner.get(DRAFT).await.main().contains("Before it can be published"));
    for (field, bad) in [("reviewed_by", ""), ("reviewed_on", "2026-03-03"), ("reviewed_on", "soon"), ("reason", " ")] {
        let mut fields = vec![("reviewed_by", "Runa"), ("reason", "A new answer")];
        fields.retain(|(name, _)| *name != field);
        fields.push((field, bad));
        editor.refuse(PUBLISH, &fields, field).await;
    }
    let page = editor.owner.get(DRAFT).await;
    editor.owner.submit(&page, DRAFT, &[("step", "discard")]).await;
    assert!(editor.owner.get(DRAFT).await.main().contains("There is no draft"));
    assert_eq!(editor.owner.get(&asked).await.status, 404);
}

#[tokio::test]
async fn a_rule_out_of_use_says_nothing_and_its_question_must_go_or_get_another() {
    let editor = Editor::new().await;
    editor.start().await;
    editor.keep(&rule("contacts"), &[("in_use", "")]).await;
    let draft = editor.owner.get(DRAFT).await;
    assert!(draft.main().contains("No rule uses “Do you wear contact lenses?”"), "{}", draft.main());
    editor.keep(&format!("{}/rule", question("contacts")), &[("verdict", "ask"), ("say", "Lenses out, please.")]).await;
    assert_eq!(editor.publish().await.status, 303);
    let now = health::in_force(&mut editor.app.app.db.read().await.unwrap()).await.unwrap();
    let set = editor.studio.answers(&[("contacts", Answer::Yes)]).await;
    let screening = palpebra::domain::screening::Screening {
        questionnaire: &now.questionnaire,
        rules: &now.rules,
        set: &set,
        letters: &[],
        ingredients: None,
    };
    let reasons = screening.reasons(palpebra::domain::catalogue::ServiceKind::LashLift, NOW.date());
    assert_eq!(reasons.iter().map(|reason| reason.rule.as_str()).collect::<Vec<_>>(), ["contacts_1"]);
}
