//! Whole clients before the joined rules.

use palpebra::domain::age::{AgePolicy, GuardianPart, Jurisdiction, Under16};
use palpebra::domain::catalogue::{Area, Chemistry, ServiceKind};
use palpebra::domain::consent::ConsentStanding;
use palpebra::domain::limits::{Ingredient, Label};
use palpebra::domain::person::BirthDate;
use palpebra::domain::questionnaire::{Answer, AnswerSet};
use palpebra::domain::readiness::{Case, Readiness, Shelved};
use palpebra::domain::skin_test::{Planned, SkinTest, TestResult, TestRules};
use palpebra::domain::verdict::{About, Clears, Earliest, Start, Verdict};
use time::macros::{date, datetime};
use time::{Date, Duration, OffsetDateTime};

use super::skin_tests::{applied, planned};
use super::{GIVEN, Shipped};

const NOW: OffsetDateTime = datetime!(2026-03-09 12:00 +1);

/// A client of 36 years, a no to everything, a clear skin test, a signature, a visit in a week.
struct Client {
    shipped: Shipped,
    service: ServiceKind,
    now: OffsetDateTime,
    at: OffsetDateTime,
    born: Date,
    policy: AgePolicy,
    place: Jurisdiction,
    shelf: Vec<Shelved>,
    guardian: GuardianPart,
    answers: Option<AnswerSet>,
    products: Vec<Planned>,
    tests: Vec<SkinTest>,
    consent: ConsentStanding,
    window_opens: Option<Date>,
    reaction_open: bool,
}

impl Client {
    fn new(service: ServiceKind) -> Self {
        let shipped = Shipped::new();
        let answers = Some(shipped.no_but(&[]));
        Self {
            shipped,
            service,
            now: NOW,
            at: NOW + Duration::days(7),
            born: date!(1990 - 04 - 23),
            policy: AgePolicy::default(),
            place: Jurisdiction::EuUk,
            shelf: Vec::new(),
            guardian: GuardianPart::default(),
            answers,
            products: vec![planned(1)],
            tests: vec![applied(1, NOW - Duration::days(10), &[(48, TestResult::NoVisibleChange)])],
            consent: ConsentStanding::SignedCurrent,
            window_opens: None,
            reaction_open: false,
        }
    }

    fn answering(mut self, given: &[(&str, Answer)]) -> Self {
        self.answers = Some(self.shipped.no_but(given));
        self
    }

    fn readiness(&self) -> Readiness {
        Readiness::of(&Case {
            service: self.service,
            now: self.now,
            at: self.at,
            birth: Some(BirthDate::of(self.born, GIVEN).unwrap()),
            age_policy: self.policy,
            guardian: self.guardian,
            questionnaire: &self.shipped.questionnaire,
            rules: &self.shipped.rules,
            answers: self.answers.as_ref(),
            taken_back: &[],
            letters: &[],
            ingredients: None,
            place: self.place,
            shelf: &self.shelf,
            products: &self.products,
            tests: &self.tests,
            test_rules: TestRules::default(),
            consent: self.consent,
            window_opens: self.window_opens,
            reaction_open: self.reaction_open,
        })
    }
}

fn rules(readiness: &Readiness) -> Vec<&str> {
    readiness.reasons.iter().map(|reason| reason.rule.as_str()).collect()
}

#[test]
fn a_returning_client_with_nothing_changed_is_clear() {
    for service in ServiceKind::ALL {
        let readiness = Client::new(service).readiness();
        assert_eq!((readiness.verdict, readiness.may_start(), readiness.from), (Verdict::Clear, Start::Yes, None));
        assert!(readiness.reasons.is_empty() && readiness.can_be_booked());
        assert_eq!(readiness.answers_given_on.map(|given| (readiness.on - given).whole_days()), Some(7));
    }
}

#[test]
fn a_past_dye_reaction_stops_lift_and_tint_and_leaves_the_lift() {
    let given = [("dye_reaction", Answer::Yes)];
    let both = Client::new(ServiceKind::LiftAndTint).answering(&given).readiness();
    assert_eq!((both.verdict, both.may_start()), (Verdict::DoNotTreat, Start::No));
    assert_eq!(rules(&both), ["dye_reaction"]);
    assert!(both.reasons[0].clears.is_empty(), "nothing clears a known allergy");
    assert!(both.reasons[0].basis.to_string().contains("Annex III entry 8b"));
    assert_eq!(both.reasons[0].version, 1);
    let lift = Client::new(ServiceKind::LashLift).answering(&given).readiness();
    assert_eq!(lift.verdict, Verdict::Clear);
}

/// "No colour and no allergy test under 16": advice of a UK trade body for hairdressing.
#[test]
fn whoever_turns_sixteen_between_test_and_tint_is_tested_on_her_birthday_at_the_earliest() {
    let booked = |on: OffsetDateTime| Client {
        born: date!(2010 - 03 - 14),
        guardian: GuardianPart { signed: true, present: false },
        tests: Vec::new(),
        products: vec![Planned { test_booked_at: Some(on), ..planned(1) }],
        ..Client::new(ServiceKind::LashTint)
    };
    let early = booked(datetime!(2026-03-13 23:59 +1)).readiness();
    assert_eq!((early.verdict, early.may_start()), (Verdict::WaitUntil, Start::No));
    assert!(rules(&early).contains(&"age_test_under_16"));
    assert_eq!(early.from, Some(Earliest::Moment(datetime!(2026-03-16 00:00 +1))), "her birthday and 48 hours");
    let on_the_day = booked(datetime!(2026-03-14 00:00 +1)).readiness();
    assert_eq!(rules(&on_the_day), ["skin_test_booked"]);
    let untested = Client { products: vec![planned(1)], ..booked(NOW) }.readiness();
    assert_eq!(untested.from, Some(Earliest::Moment(datetime!(2026-03-16 00:00 +1))), "nor from now on");
}

#[test]
fn a_fifteen_year_old_gets_no_tint_and_a_lift_only_where_the_studio_allows_it() {
    let born = date!(2010 - 05 - 02);
    let tint = Client { born, ..Client::new(ServiceKind::LashTint) }.readiness();
    assert_eq!((tint.verdict, tint.may_start()), (Verdict::DoNotTreat, Start::No));
    assert_eq!(tint.from, Some(Earliest::Day(date!(2026 - 05 - 02))), "her sixteenth birthday");
    let lift = Client { born, ..Client::new(ServiceKind::LashLift) };
    assert_eq!(lift.readiness().may_start(), Start::No);
    let policy = AgePolicy { under_16: Under16::GuardianPresent, guardian_under_18: true };
    let lift = Client { policy, ..lift };
    assert_eq!(rules(&lift.readiness()), ["age_guardian_present"]);
    let guardian = GuardianPart { signed: true, present: true };
    assert_eq!(Client { guardian, ..lift }.readiness().verdict, Verdict::Clear);
    let seventeen = Client { born: date!(2008 - 06 - 01), ..Client::new(ServiceKind::LashTint) }.readiness();
    assert_eq!((seventeen.verdict, rules(&seventeen)), (Verdict::LetterNeeded, vec!["age_guardian_signs"]));
    assert_eq!(seventeen.reasons[0].clears, [Clears::Guardian]);
}

#[test]
fn a_contact_lens_wearer_gets_a_note() {
    let readiness = Client::new(ServiceKind::LashLift).answering(&[("contacts", Answer::Yes)]).readiness();
    assert_eq!((readiness.verdict, readiness.may_start()), (Verdict::Note, Start::Yes));
    assert!(readiness.reasons[0].say.contains("lenses out") && readiness.reasons[0].say.contains("24 hours"));
    assert!(readiness.can_be_booked());
}

#[test]
fn an_isotretinoin_user_is_stopped_at_brow_lotion_and_asked_about_the_rest() {
    let given = [("isotretinoin", Answer::Yes), ("isotretinoin_state", Answer::Choice("now".to_owned()))];
    let verdict = |service| Client::new(service).answering(&given).readiness().verdict;
    assert_eq!(verdict(ServiceKind::BrowLamination), Verdict::DoNotTreat);
    for service in [ServiceKind::LashLift, ServiceKind::LashTint, ServiceKind::LiftAndTint, ServiceKind::BrowTint] {
        assert_eq!(verdict(service), Verdict::Ask, "{service:?}");
    }
}

#[test]
fn the_strictest_reason_decides_and_the_latest_wait_is_named() {
    let given = [
        ("contacts", Answer::Yes),
        ("stye", Answer::Yes),
        ("last_lash_tint", Answer::Yes),
        ("last_lash_tint_on", Answer::Date(GIVEN)),
        ("glaucoma", Answer::Yes),
    ];
    let window_opens = Some(date!(2026 - 03 - 20));
    let readiness = Client { window_opens, ..Client::new(ServiceKind::LiftAndTint) }.answering(&given).readiness();
    assert_eq!(readiness.verdict, Verdict::LetterNeeded);
    assert_eq!(readiness.from, Some(Earliest::Day(date!(2026 - 03 - 30))), "three weeks after the tint");
    assert_eq!(rules(&readiness), ["glaucoma", "stye", "last_lash_tint", "window_not_open", "contacts"]);
    assert_eq!(readiness.may_start(), Start::WithReason);
}

#[test]
fn without_answers_or_with_old_ones_it_asks() {
    let none = Client { answers: None, ..Client::new(ServiceKind::LashLift) }.readiness();
    assert_eq!((none.verdict, rules(&none)), (Verdict::Ask, vec!["answers_missing"]));
    let mut old = Client::new(ServiceKind::LashLift);
    old.at = datetime!(2026-09-09 12:00 +2);
    assert_eq!(rules(&old.readiness()), ["skin_test_expired", "answers_old"]);
    old.at = datetime!(2026-09-08 12:00 +2);
    assert!(!rules(&old.readiness()).contains(&"answers_old"));
}

#[test]
fn nobody_starts_without_a_signature() {
    for (consent, verdict) in [
        (ConsentStanding::Missing, Verdict::Ask),
        (ConsentStanding::TextChanged, Verdict::Ask),
        (ConsentStanding::AnswersChanged, Verdict::Ask),
        (ConsentStanding::ProductsChanged, Verdict::Ask),
        (ConsentStanding::OtherService, Verdict::Ask),
        (ConsentStanding::Refused, Verdict::DoNotTreat),
        (ConsentStanding::Withdrawn, Verdict::DoNotTreat),
    ] {
        let readiness = Client { consent, ..Client::new(ServiceKind::LashLift) }.readiness();
        assert_eq!((readiness.verdict, readiness.may_start()), (verdict, Start::No), "{consent:?}");
        assert_eq!(readiness.reasons[0].about, About::Consent);
    }
}

#[test]
fn the_skin_test_is_carried_to_the_time_of_the_visit() {
    let with = |tests: Vec<SkinTest>, at: OffsetDateTime| {
        Client { tests, at, ..Client::new(ServiceKind::LashTint) }.readiness()
    };
    let week = NOW + Duration::days(7);
    let untested = with(Vec::new(), week);
    assert_eq!((untested.verdict, rules(&untested)), (Verdict::WaitUntil, vec!["skin_test_not_done"]));
    assert_eq!(untested.from, Some(Earliest::Moment(NOW + Duration::hours(48))));
    assert_eq!(untested.may_start(), Start::WithReason);

    let running = vec![applied(1, NOW - Duration::hours(1), &[])];
    assert_eq!(rules(&with(running.clone(), week)), ["skin_test_running"]);
    assert!(with(running.clone(), week).can_be_booked());
    let soon = with(running, NOW + Duration::hours(40));
    assert_eq!((soon.verdict, rules(&soon)), (Verdict::WaitUntil, vec!["skin_test_too_early"]));
    assert_eq!(soon.from, Some(Earliest::Moment(NOW + Duration::hours(47))));

    let unread = with(vec![applied(1, NOW - Duration::days(3), &[])], week);
    assert_eq!((unread.verdict, rules(&unread)), (Verdict::Ask, vec!["skin_test_not_read"]));

    let unclear = with(vec![applied(1, NOW - Duration::days(3), &[(48, TestResult::FaintPink)])], week);
    assert_eq!((unclear.verdict, unclear.may_start()), (Verdict::WaitUntil, Start::No), "no treatment meanwhile");

    let failed = with(vec![applied(1, NOW - Duration::days(3), &[(48, TestResult::ItchOrRaised)])], week);
    assert_eq!((failed.verdict, failed.may_start()), (Verdict::DoNotTreat, Start::No));
    assert_eq!(failed.reasons[0].clears, [Clears::OtherProduct]);

    let clear = vec![applied(1, NOW - Duration::days(10), &[(48, TestResult::NoVisibleChange)])];
    let late = with(clear, datetime!(2026-09-01 12:00 +2));
    assert_eq!(rules(&late), ["skin_test_expired"], "valid now, and not at the visit");
}

#[test]
fn a_booked_test_counts_while_its_wait_ends_before_the_visit() {
    let mut client = Client { tests: Vec::new(), ..Client::new(ServiceKind::LashTint) };
    client.products[0].test_booked_at = Some(client.at - Duration::hours(48));
    let readiness = client.readiness();
    assert_eq!((readiness.verdict, rules(&readiness)), (Verdict::Note, vec!["skin_test_booked"]));
    client.products[0].test_booked_at = Some(client.at - Duration::hours(47));
    assert_eq!(rules(&client.readiness()), ["skin_test_not_done"], "an hour short of the floor");
    client.products[0].test_booked_at = Some(client.at - Duration::hours(72));
    client.now = client.at - Duration::hours(48);
    assert_eq!(rules(&client.readiness()), ["skin_test_booked"], "it has begun, and can be applied now");
    client.now += Duration::SECOND;
    assert_eq!(rules(&client.readiness()), ["skin_test_not_done"]);
    client.now = client.at;
    let chair = client.readiness();
    assert_eq!((chair.verdict, rules(&chair)), (Verdict::WaitUntil, vec!["skin_test_not_done"]), "it was not applied");
}

#[test]
fn a_test_that_ends_before_the_visit_is_followed_by_a_booked_one_and_needs_none_up_to_its_last_moment() {
    let end = datetime!(2026-08-20 12:00 +1);
    let says = |at: OffsetDateTime, hours_before: i64| {
        let products = vec![Planned { test_booked_at: Some(at - Duration::hours(hours_before)), ..planned(1) }];
        let tests = vec![applied(1, datetime!(2026-02-20 12:00 +1), &[(48, TestResult::NoVisibleChange)])];
        let readiness = Client { products, tests, at, ..Client::new(ServiceKind::LashTint) }.readiness();
        rules(&readiness).join(" ")
    };
    assert_eq!(says(end + Duration::SECOND, 48), "skin_test_booked");
    assert_eq!(says(end + Duration::SECOND, 47), "skin_test_expired", "an hour short of the floor");
    assert_eq!(says(end, 48), "", "the one that counts is enough");
    assert_eq!(says(end - Duration::DAY, 48), "");
}

/// Colour touches her skin on the day of the test too.
#[test]
fn whoever_comes_of_age_between_test_and_visit_needs_her_guardian_for_a_test_that_is_still_to_come() {
    let at = |booked: &[OffsetDateTime], now| {
        let product = |(number, at): (u8, &OffsetDateTime)| Planned { test_booked_at: Some(*at), ..planned(number) };
        let products = (1..).zip(booked).map(product).collect();
        Client { born: date!(2008 - 03 - 12), products, tests: Vec::new(), now, ..Client::new(ServiceKind::LashTint) }
    };
    let signs = |client: Client| rules(&client.readiness()).contains(&"age_guardian_signs");
    let (minor, adult) = (datetime!(2026-03-11 23:59 +1), datetime!(2026-03-12 0:00 +1));
    assert!(signs(at(&[minor], NOW)));
    assert!(!signs(at(&[adult], NOW)), "she comes of age on that day");
    assert!(signs(at(&[adult, minor], NOW)), "the first of two tests");
    assert!(signs(at(&[minor.to_offset(time::UtcOffset::UTC)], NOW)));
    assert!(!signs(at(&[adult.to_offset(time::UtcOffset::UTC)], NOW)), "by the studio's clock, whatever its offset");
    assert!(signs(at(&[minor], minor)), "she lies there for it");
    let mut untested = at(&[minor], NOW);
    untested.products[0].needs_test = false;
    assert!(!signs(untested));
    let guardian = GuardianPart { signed: true, present: false };
    assert!(!signs(Client { guardian, ..at(&[minor], NOW) }), "who has signed");
}

#[test]
fn a_product_that_needs_no_test_is_still_blocked_by_a_reaction() {
    let mut client = Client { tests: Vec::new(), ..Client::new(ServiceKind::LashLift) };
    client.products[0].needs_test = false;
    assert_eq!(client.readiness().verdict, Verdict::Clear);
    client.products[0].blocked = true;
    assert_eq!((client.readiness().verdict, client.readiness().may_start()), (Verdict::DoNotTreat, Start::No));
    client.products[0].blocked = false;
    client.tests = vec![applied(1, NOW - Duration::days(3), &[(1, TestResult::SwellingOrBlister)])];
    assert_eq!(rules(&client.readiness()), ["skin_test_failed"]);
}

#[test]
fn a_snapshot_is_stored_and_read_back_and_debug_hides_it() {
    let given = [("pregnant", Answer::Yes), ("stye", Answer::Yes)];
    let client = Client { tests: Vec::new(), ..Client::new(ServiceKind::LiftAndTint) }.answering(&given);
    let readiness = client.readiness();
    let json = serde_json::to_string(&readiness).unwrap();
    assert_eq!(serde_json::from_str::<Readiness>(&json).unwrap(), readiness);
    let shown = format!("{readiness:?}");
    assert!(!shown.contains("pregnant") && !shown.contains("stye") && !shown.contains("skin"), "{shown}");
}

fn shelved(chemistry: Chemistry, label: Label) -> Shelved {
    Shelved { product: planned(1).product, chemistry, label: Some(label), planned: true, in_use: true, blocked: false }
}

fn label(ingredient: Ingredient, share: Option<u16>, area: Area) -> Label {
    Label {
        holds: [(ingredient, share)].into(),
        areas: [area].into(),
        professional_only: true,
        ph: Some(90),
        age: Some(16),
        step: None,
    }
}

/// Regulation (EC) 1223/2009, Annex III entry 2a (d): 11 % on lashes; its pH from memory. A label for brows alone allows
/// nothing on lashes (inference from Regulation (EU) 2017/237).
#[test]
fn a_product_above_its_limit_or_for_another_area_stops_the_visit_and_no_reason_helps() {
    let lift = |label: Label| {
        let shelf = vec![shelved(Chemistry::Lotion, label)];
        Client { shelf, ..Client::new(ServiceKind::LashLift) }.readiness()
    };
    let fits = label(Ingredient::Thioglycolate, Some(1100), Area::Lash);
    assert_eq!(lift(fits.clone()).verdict, Verdict::Clear);
    let above = lift(label(Ingredient::Thioglycolate, Some(1101), Area::Lash));
    assert_eq!((above.verdict, above.may_start()), (Verdict::DoNotTreat, Start::No));
    assert_eq!((rules(&above), &above.reasons[0].clears), (vec!["product_above_limit"], &vec![Clears::OtherProduct]));
    assert!(above.reasons[0].basis.to_string().contains("entry 2a (d)"));
    let brow = lift(label(Ingredient::Thioglycolate, Some(800), Area::Brow));
    assert_eq!((rules(&brow), brow.may_start()), (vec!["product_area"], Start::No));
    let acid = lift(Label { ph: Some(60), ..fits.clone() });
    assert_eq!((acid.verdict, rules(&acid)), (Verdict::Ask, vec!["product_ph"]), "from memory, so it is asked");
    let silent = lift(Label { ph: None, holds: [(Ingredient::Thioglycolate, None)].into(), ..fits });
    assert_eq!(silent.verdict, Verdict::Clear, "what is not declared is a matter for the register");
    let ester = lift(label(Ingredient::ThioglycolateEster, Some(800), Area::Lash));
    assert_eq!((ester.verdict, rules(&ester)), (Verdict::Ask, vec!["product_not_allowed"]), "an inference is asked");
}

/// FDA: no colour additive is approved for dyeing lashes or brows but silver nitrate (21 CFR 73.2550).
#[test]
fn a_dye_is_refused_in_the_united_states_alone() {
    let tint = |place, ingredient| {
        let shelf = vec![shelved(Chemistry::Tint, label(ingredient, Some(200), Area::Lash))];
        Client { shelf, place, ..Client::new(ServiceKind::LashTint) }.readiness()
    };
    let refused = tint(Jurisdiction::Us, Ingredient::Phenylenediamine);
    assert_eq!((refused.may_start(), rules(&refused)), (Start::No, vec!["product_not_allowed"]));
    assert_eq!(tint(Jurisdiction::Us, Ingredient::SilverNitrate).verdict, Verdict::Clear);
    for place in [Jurisdiction::EuUk, Jurisdiction::Other] {
        assert_eq!(tint(place, Ingredient::Phenylenediamine).verdict, Verdict::Clear, "{place:?}");
    }
}

#[test]
fn without_a_named_product_the_shelf_stops_a_visit_only_when_nothing_on_it_would_do() {
    let lotion = |share| Shelved {
        planned: false,
        ..shelved(Chemistry::Lotion, label(Ingredient::Thioglycolate, Some(share), Area::Lash))
    };
    let (bad, good) = (lotion(1200), lotion(900));
    let lift = |shelf| Client { shelf, ..Client::new(ServiceKind::LashLift) }.readiness();
    assert_eq!(rules(&lift(vec![bad.clone()])), ["product_above_limit"]);
    assert_eq!(lift(vec![bad.clone(), good.clone()]).verdict, Verdict::Clear);
    assert_eq!(rules(&lift(vec![Shelved { planned: true, ..bad }, good])), ["product_above_limit"]);
}

/// What is blocked for her stands beside what the labels say: neither is another product that is left.
#[test]
fn a_reaction_stops_what_has_no_other_product_and_is_asked_about_otherwise() {
    let lotion = |number, share, blocked| Shelved {
        product: planned(number).product,
        planned: false,
        blocked,
        ..shelved(Chemistry::Lotion, label(Ingredient::Thioglycolate, Some(share), Area::Lash))
    };
    let lift = |shelf| Client { shelf, ..Client::new(ServiceKind::LashLift) }.readiness();
    let reacted = lotion(7, 900, true);
    let alone = lift(vec![reacted.clone()]);
    assert_eq!(
        (rules(&alone), alone.verdict, alone.may_start()),
        (vec!["product_blocked"], Verdict::DoNotTreat, Start::No)
    );
    assert_eq!(alone.reasons[0].about, About::Reaction(Some(planned(7).product)));
    assert_eq!(alone.reasons[0].clears, [Clears::OtherProduct]);
    assert_eq!(alone.against_booking().count(), 1);
    let another = lift(vec![reacted.clone(), lotion(8, 900, false)]);
    assert_eq!((rules(&another), another.verdict), (vec!["product_blocked"], Verdict::Ask));
    assert_eq!((another.may_start(), another.against_booking().count()), (Start::WithReason, 0));
    let unfit = lift(vec![reacted.clone(), lotion(8, 1200, false)]);
    assert_eq!((rules(&unfit), unfit.verdict), (vec!["product_above_limit", "product_blocked"], Verdict::DoNotTreat));
    assert!(unfit.reasons.iter().all(|reason| reason.start == Start::No), "{:?}", rules(&unfit));
    let mut doubtful = lotion(8, 900, false);
    doubtful.label.as_mut().unwrap().ph = Some(60);
    let left = lift(vec![reacted.clone(), doubtful]);
    assert_eq!(rules(&left), ["product_ph", "product_blocked"]);
    assert_eq!((left.verdict, left.may_start()), (Verdict::Ask, Start::WithReason), "what is asked about may be used");
    let retired = lift(vec![Shelved { in_use: false, ..lotion(7, 1200, false) }, lotion(8, 900, false)]);
    assert_eq!(retired.verdict, Verdict::Clear, "what nobody uses any more says nothing");
    let tint = Client { shelf: vec![reacted], ..Client::new(ServiceKind::BrowTint) }.readiness();
    assert_eq!(tint.verdict, Verdict::Clear, "a tint needs no lotion");
    let planned = Shelved { planned: true, ..lotion(1, 900, true) };
    let products = vec![Planned { blocked: true, ..super::skin_tests::planned(1) }];
    let said = Client { shelf: vec![planned], products, ..Client::new(ServiceKind::LashLift) }.readiness();
    assert_eq!(rules(&said), ["product_blocked"], "it is said once");
}

#[test]
fn a_reaction_that_is_not_settled_is_asked_about_whatever_the_service_is() {
    for service in ServiceKind::ALL {
        let readiness = Client { reaction_open: true, ..Client::new(service) }.readiness();
        assert_eq!((rules(&readiness), readiness.verdict), (vec!["reaction_open"], Verdict::Ask));
        assert_eq!((readiness.may_start(), &readiness.reasons[0].clears[..]), (Start::WithReason, &[Clears::Talk][..]));
        assert_eq!(readiness.reasons[0].about, About::Reaction(None));
    }
}

#[test]
fn a_client_younger_than_the_label_says_waits_for_her_birthday() {
    let born = date!(2007 - 05 - 02);
    let mut said = label(Ingredient::Thioglycolate, Some(900), Area::Lash);
    said.age = Some(21);
    let shelf = vec![shelved(Chemistry::Lotion, said)];
    let readiness = Client { shelf, born, ..Client::new(ServiceKind::LashLift) }.readiness();
    assert_eq!((rules(&readiness), readiness.may_start()), (vec!["product_age"], Start::No));
    assert_eq!(readiness.from, Some(Earliest::Day(date!(2028 - 05 - 02))));
}

#[test]
fn whoever_is_too_young_for_the_visit_reads_that_alone() {
    let mut young = Client { born: date!(2010 - 05 - 02), tests: Vec::new(), ..Client::new(ServiceKind::LashTint) };
    young.products[0].test_booked_at = Some(NOW + Duration::days(2));
    let readiness = young.readiness();
    let about: Vec<&About> = readiness.reasons.iter().map(|reason| &reason.about).collect();
    assert_eq!(about.iter().filter(|about| ***about == About::Age).count(), 1, "{:?}", rules(&readiness));
    assert!(!rules(&readiness).contains(&"age_test_under_16"));
}

#[test]
fn a_test_that_is_not_needed_is_not_asked_to_wait_for_her_birthday() {
    let mut turning = Client {
        born: date!(2010 - 03 - 14),
        guardian: GuardianPart { signed: true, present: false },
        tests: Vec::new(),
        ..Client::new(ServiceKind::LashTint)
    };
    let mut booked = |on, needs_test| {
        let products = vec![Planned { test_booked_at: Some(on), needs_test, ..planned(1) }];
        turning.products = products;
        rules(&turning.readiness()).contains(&"age_test_under_16")
    };
    assert!(booked(NOW + Duration::HOUR, true));
    assert!(!booked(NOW + Duration::HOUR, false), "it needs no test");
}

#[test]
fn a_window_is_open_on_its_first_day() {
    let opens = |day| Client { window_opens: Some(day), ..Client::new(ServiceKind::LashLift) }.readiness();
    assert_eq!(opens(date!(2026 - 03 - 16)).verdict, Verdict::Clear);
    assert_eq!(rules(&opens(date!(2026 - 03 - 17))), ["window_not_open"]);
}

#[test]
fn a_skin_test_counts_to_its_last_moment_and_from_its_first() {
    let at = |tests: Vec<SkinTest>, at| Client { tests, at, ..Client::new(ServiceKind::LashTint) }.readiness();
    let clear = || vec![applied(1, datetime!(2026-02-20 12:00 +1), &[(48, TestResult::NoVisibleChange)])];
    let end = datetime!(2026-08-20 12:00 +1);
    assert_eq!(rules(&at(clear(), end)), [""; 0]);
    assert_eq!(rules(&at(clear(), end + Duration::SECOND)), ["skin_test_expired"]);
    let running = vec![applied(1, NOW - Duration::hours(1), &[])];
    assert_eq!(rules(&at(running, NOW + Duration::hours(47))), ["skin_test_running"]);
}

#[test]
fn a_booked_test_moves_the_soonest_treatment_and_one_whose_time_has_come_does_not() {
    let mut client = Client { tests: Vec::new(), ..Client::new(ServiceKind::LashTint) };
    let (visit, floor) = (client.at, Duration::hours(48));
    let mut soonest = |booked: OffsetDateTime, now: OffsetDateTime| {
        client.products[0].test_booked_at = Some(booked);
        client.now = now;
        let readiness = client.readiness();
        assert_eq!(rules(&readiness), ["skin_test_not_done"]);
        readiness.from
    };
    let late = visit - Duration::hours(47);
    assert_eq!(soonest(late, NOW), Some(Earliest::Moment(late + floor)));
    assert_eq!(soonest(late - Duration::HOUR, late), Some(Earliest::Moment(late + floor)));
    assert_eq!(soonest(late, late), Some(Earliest::Moment(late + floor)), "nobody can say that it was applied");
}

#[test]
fn of_several_products_that_would_not_do_one_is_named() {
    let lotion = |share| Shelved {
        planned: false,
        ..shelved(Chemistry::Lotion, label(Ingredient::Thioglycolate, Some(share), Area::Lash))
    };
    let shelf = vec![lotion(1200), lotion(1300)];
    let readiness = Client { shelf, ..Client::new(ServiceKind::LashLift) }.readiness();
    assert_eq!(rules(&readiness), ["product_above_limit"]);
}

/// Regulation (EC) 1223/2009, Annex III: the label of an oxidative dye has to name the age of 16.
#[test]
fn an_age_is_told_once_with_what_it_rests_on() {
    let policy = AgePolicy { under_16: Under16::GuardianPresent, guardian_under_18: true };
    let guardian = GuardianPart { signed: true, present: true };
    let client = |service, chemistry, age, born| {
        let said = Label { age, ..label(Ingredient::Phenylenediamine, Some(100), Area::Lash) };
        let shelf = vec![shelved(chemistry, said)];
        Client { shelf, policy, guardian, born, tests: Vec::new(), products: Vec::new(), ..Client::new(service) }
    };
    let young = date!(2010 - 05 - 02);
    let tint = client(ServiceKind::LashTint, Chemistry::Tint, Some(16), young).readiness();
    assert_eq!(rules(&tint), ["age_tint_under_16"], "said already");
    let lift = |age, born| client(ServiceKind::LashLift, Chemistry::Lotion, age, born).readiness();
    assert_eq!(rules(&lift(Some(16), young)), ["product_age"]);
    assert_eq!(rules(&lift(Some(16), date!(2010 - 03 - 16))), [""; 0], "sixteen on the day itself");
    let basis = |age| lift(age, young).reasons[0].basis.to_string();
    assert!(basis(None).contains("Annex III") && !basis(Some(16)).contains("Annex III"), "{}", basis(Some(16)));
}
