//! The table of contraindications, row by row: answers, services, what they mean, what it rests on.
//!
//! The expected side is written out here by hand and shares nothing with the shipped rules.

use std::collections::BTreeSet;

use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::questionnaire::{Answer, Kind};
use palpebra::domain::span::Span;
use palpebra::domain::verdict::{Earliest, Reason, Start, Verdict};
use time::{Date, Duration};

use super::{GIVEN, Shipped};

/// Answers as `key=answer`, where `~9` is a day nine days before the answers are given; then what
/// each part means: services, meaning, basis.
type Row = (&'static str, &'static [(&'static str, &'static str, &'static str)]);

const PRACTICE: &str = "common practice, no source";
const LABEL: &str = "Regulation (EC) 1223/2009, Annex III entry 8b";

macro_rules! rows {
    ($($name:ident: $answers:literal => $parts:expr;)+) => {
        const ROWS: &[Row] = &[$(($answers, $parts)),+];
        $(#[test]
        fn $name() {
            holds($answers, $parts);
        })+
    };
}

// Services: `P` lotion, `T` tint, `A` shield glue, `ANY`, with `brow` or `lash` for the area.
// Meanings: `note`, `ask`, `letter`, `wait 14d`, `wait 3mo from KEY`, with `then note` for what is
// left, `or letter` for what lifts it; `never` is a refusal that can't be overridden.
rows! {
    // Allergy and sensitivity
    dye_reaction_rests_on_annex_iii_entry_8b: "dye_reaction=yes" => &[("T", "never", LABEL)];
    ppd_allergy_rests_on_annex_iii_entry_8b_and_mukkanna_2017: "ppd_allergy=yes" => &[("T", "never", LABEL), ("P A", "ask", "Mukkanna 2017")];
    black_henna_reaction_rests_on_annex_iii_entry_8b: "black_henna_reaction=yes" => &[("T", "never", LABEL)];
    black_henna_any_rests_on_common_practice: "black_henna_any=yes" => &[("T", "ask", PRACTICE)];
    perm_reaction_rests_on_common_practice_sensitiser_data_storrs_1984_and: "perm_reaction=yes" => &[("P", "never", "common practice, no source: sensitiser data: Storrs 1984 and Landers 2003")];
    adhesive_reaction_rests_on_common_practice_acrylates_can_sensitise: "adhesive_reaction=yes" => &[("A", "never or letter", "common practice, no source: acrylates can sensitise")];
    other_allergy_rests_on_common_practice: "other_allergy=yes" => &[("ANY", "ask", PRACTICE)];
    other_allergy_which_nickel_rests_on_common_practice: "other_allergy=yes other_allergy_which=nickel" => &[("ANY", "ask", PRACTICE)];
    anaphylaxis_cause_unrelated_rests_on_common_practice: "anaphylaxis=yes anaphylaxis_cause=unrelated" => &[("ANY", "ask", PRACTICE)];
    anaphylaxis_cause_contact_rests_on_common_practice: "anaphylaxis=yes anaphylaxis_cause=contact" => &[("ANY", "letter", PRACTICE)];
    anaphylaxis_cause_unknown_rests_on_common_practice: "anaphylaxis=yes anaphylaxis_cause=unknown" => &[("ANY", "letter", PRACTICE)];
    atopy_rests_on_semmelweis_university_2025: "atopy=yes" => &[("ANY", "note", "Semmelweis University 2025")];
    asthma_fumes_strength_mild_rests_on_common_practice: "asthma_fumes=yes asthma_fumes_strength=mild" => &[("A P", "ask", PRACTICE)];
    asthma_fumes_strength_severe_rests_on_common_practice: "asthma_fumes=yes asthma_fumes_strength=severe" => &[("A P", "letter", PRACTICE)];
    // Infection and inflammation now
    conjunctivitis_rests_on_nhs_and_common_practice: "conjunctivitis=yes" => &[("ANY", "never for 1d", "NHS"), ("ANY", "wait 14d then note", PRACTICE)];
    stye_rests_on_nhs: "stye=yes" => &[("ANY", "wait 14d then note", "NHS")];
    blepharitis_state_active_rests_on_common_practice: "blepharitis=yes blepharitis_state=active" => &[("ANY", "wait 14d then note", PRACTICE)];
    blepharitis_state_settled_rests_on_nhs_trust_leaflet: "blepharitis=yes blepharitis_state=settled" => &[("ANY", "note", "NHS trust leaflet")];
    blepharitis_state_frequent_rests_on_common_practice: "blepharitis=yes blepharitis_state=frequent" => &[("ANY", "letter", PRACTICE)];
    keratitis_uveitis_state_now_rests_on_common_practice: "keratitis_uveitis=yes keratitis_uveitis_state=now" => &[("ANY", "never for 28d", PRACTICE), ("ANY", "letter", PRACTICE)];
    keratitis_uveitis_state_earlier_rests_on_common_practice: "keratitis_uveitis=yes keratitis_uveitis_state=earlier" => &[("ANY", "letter", PRACTICE)];
    herpes_state_active_rests_on_common_practice: "herpes=yes herpes_state=active" => &[("ANY", "never for 14d", PRACTICE), ("ANY", "wait 28d then ask", PRACTICE)];
    herpes_state_healed_rests_on_common_practice: "herpes=yes herpes_state=healed herpes_healed_on=~3" => &[("ANY", "wait 14d from herpes_healed_on then note", PRACTICE)];
    herpes_state_in_eye_rests_on_common_practice: "herpes=yes herpes_state=in_eye" => &[("ANY", "letter", PRACTICE)];
    impetigo_ringworm_rests_on_common_practice: "impetigo_ringworm=yes" => &[("ANY", "never for 14d", PRACTICE), ("ANY", "wait 28d then ask", PRACTICE)];
    lice_mites_rests_on_common_practice: "lice_mites=yes" => &[("ANY", "never for 14d or letter", PRACTICE), ("ANY", "letter", PRACTICE)];
    fever_unwell_rests_on_common_practice: "fever_unwell=yes" => &[("ANY", "wait 7d then note", PRACTICE)];
    broken_skin_rests_on_common_practice: "broken_skin=yes" => &[("ANY", "wait 7d then note", PRACTICE)];
    lump_unexplained_rests_on_common_practice: "lump_unexplained=yes" => &[("ANY", "letter", PRACTICE)];
    // Eye conditions and surgery
    laser_eye_rests_on_common_practice: "laser_eye=yes laser_eye_on=~20" => &[("ANY", "wait 3mo from laser_eye_on then note", PRACTICE)];
    cataract_rests_on_a_consultant_surgeon_and_common_practice: "cataract=yes cataract_on=~5" => &[("ANY", "wait 28d from cataract_on", "a consultant surgeon"), ("ANY", "letter", PRACTICE)];
    lid_surgery_rests_on_common_practice: "lid_surgery=yes lid_surgery_on=~30" => &[("ANY", "wait 3mo from lid_surgery_on", PRACTICE), ("ANY", "letter", PRACTICE)];
    other_eye_surgery_rests_on_eye_charity_2009_second_hand: "other_eye_surgery=yes" => &[("ANY", "letter", "eye charity, 2009, second hand")];
    dry_eye_care_mild_rests_on_common_practice: "dry_eye=yes dry_eye_care=mild" => &[("ANY", "note", PRACTICE)];
    dry_eye_care_prescribed_rests_on_common_practice: "dry_eye=yes dry_eye_care=prescribed" => &[("ANY", "letter", PRACTICE)];
    glaucoma_rests_on_common_practice: "glaucoma=yes" => &[("ANY", "letter", PRACTICE)];
    pg_drops_rests_on_common_practice: "pg_drops=yes" => &[("P T", "note", PRACTICE)];
    retina_rests_on_common_practice: "retina=yes" => &[("ANY", "letter", PRACTICE)];
    watery_closure_which_watering_rests_on_common_practice: "watery_closure=yes watery_closure_which=watering" => &[("P A", "ask", PRACTICE)];
    watery_closure_which_not_closing_rests_on_common_practice: "watery_closure=yes watery_closure_which=not_closing" => &[("P A", "letter", PRACTICE)];
    contacts_rests_on_common_practice: "contacts=yes" => &[("ANY", "note", PRACTICE)];
    eye_drops_other_rests_on_common_practice: "eye_drops_other=yes" => &[("ANY", "ask", PRACTICE)];
    one_eye_rests_on_common_practice: "one_eye=yes" => &[("ANY", "letter", PRACTICE)];
    hay_fever_now_rests_on_common_practice: "hay_fever_now=yes" => &[("ANY", "wait 3d then note", PRACTICE)];
    // Lashes, brows, hair and previous treatments
    extensions_thin_no_rests_on_common_practice: "extensions_now=yes extensions_thin=no" => &[("P T", "wait 2d then note", PRACTICE)];
    extensions_thin_rests_on_common_practice: "extensions_now=yes extensions_thin=yes" => &[("P T", "wait 2d then note", PRACTICE), ("P T", "ask", PRACTICE)];
    extensions_sight_no_rests_on_moshirfar_2018: "extensions_irritated=yes extensions_sight=no" => &[("ANY", "wait 14d then note", "Moshirfar 2018")];
    extensions_sight_rests_on_moshirfar_2018: "extensions_irritated=yes extensions_sight=yes" => &[("ANY", "wait 14d then note", "Moshirfar 2018"), ("ANY", "letter", "Moshirfar 2018")];
    last_lash_lift_rests_on_common_practice: "last_lash_lift=yes last_lash_lift_on=~10" => &[("P lash", "wait 42d from last_lash_lift_on", PRACTICE)];
    last_brow_lamination_rests_on_common_practice: "last_brow_lamination=yes last_brow_lamination_on=~10" => &[("P brow", "wait 42d from last_brow_lamination_on", PRACTICE)];
    last_lash_tint_rests_on_common_practice: "last_lash_tint=yes last_lash_tint_on=~10" => &[("T lash", "wait 21d from last_lash_tint_on", PRACTICE)];
    last_brow_tint_rests_on_common_practice: "last_brow_tint=yes last_brow_tint_on=~10" => &[("T brow", "wait 21d from last_brow_tint_on", PRACTICE)];
    sparse_brittle_how_some_rests_on_common_practice: "sparse_brittle=yes sparse_brittle_how=some" => &[("P A", "ask", PRACTICE)];
    sparse_brittle_how_poor_rests_on_common_practice: "sparse_brittle=yes sparse_brittle_how=poor" => &[("P", "refused or reason", PRACTICE), ("A", "ask", PRACTICE)];
    alopecia_state_stable_rests_on_common_practice: "alopecia=yes alopecia_state=stable" => &[("ANY", "ask", PRACTICE)];
    alopecia_state_active_rests_on_common_practice: "alopecia=yes alopecia_state=active" => &[("ANY", "letter", PRACTICE)];
    alopecia_state_none_left_rests_on_common_practice: "alopecia=yes alopecia_state=none_left" => &[("ANY", "refused or reason", PRACTICE)];
    trich_state_stable_rests_on_common_practice: "trich=yes trich_state=stable" => &[("P A", "note", PRACTICE)];
    trich_state_now_rests_on_common_practice: "trich=yes trich_state=now" => &[("P A", "ask", PRACTICE)];
    trich_state_broken_skin_rests_on_common_practice: "trich=yes trich_state=broken_skin" => &[("P A", "wait 7d then ask", PRACTICE)];
    serum_serum_prostaglandin_no_serum_redness_no_rests_on_common_practice: "serum=yes serum_last_on=~2 serum_prostaglandin=no serum_redness=no" => &[("ANY", "wait 7d from serum_last_on then note", PRACTICE)];
    serum_serum_redness_serum_which_drops_rests_on_common_practice_and_sccs_1635_21: "serum=yes serum_last_on=~2 serum_prostaglandin=yes serum_redness=yes serum_which=drops" => &[
            ("ANY", "wait 7d from serum_last_on then note", PRACTICE),
            ("ANY", "note", "SCCS/1635/21"),
            ("ANY", "ask", "SCCS/1635/21"),
        ];
    pmu_rests_on_common_practice: "pmu=yes pmu_on=~8" => &[("P T", "wait 42d from pmu_on", PRACTICE)];
    scar_rests_on_common_practice: "scar=yes scar_on=~40" => &[("ANY", "wait 6mo from scar_on then note", PRACTICE)];
    botulinum_rests_on_common_practice: "botulinum=yes botulinum_on=~1" => &[("ANY", "wait 14d from botulinum_on", PRACTICE)];
    filler_rests_on_common_practice: "filler=yes filler_on=~0" => &[("ANY", "wait 14d from filler_on", PRACTICE)];
    peel_laser_depth_light_rests_on_common_practice: "peel_laser=yes peel_laser_depth=light peel_laser_on=~3" => &[("P T", "wait 14d from peel_laser_on", PRACTICE)];
    peel_laser_depth_deep_rests_on_common_practice: "peel_laser=yes peel_laser_depth=deep peel_laser_on=~3" => &[("P T", "wait 28d from peel_laser_on", PRACTICE)];
    wax_thread_rests_on_common_practice: "wax_thread=yes" => &[("P T", "wait 2d", PRACTICE)];
    // Medicines
    isotretinoin_state_now_rests_on_inference_american_academy_of_dermatology_on_waxing_and_common_practice: "isotretinoin=yes isotretinoin_state=now" => &[
            ("P brow", "never", "inference: American Academy of Dermatology on waxing"),
            ("T brow", "ask", PRACTICE),
            ("ANY lash", "ask", PRACTICE),
        ];
    isotretinoin_state_stopped_rests_on_inference_american_academy_of_dermatology_on_waxing_and_common_practice: "isotretinoin=yes isotretinoin_state=stopped isotretinoin_stopped_on=~60" => &[
            ("P brow", "wait 6mo from isotretinoin_stopped_on", "inference: American Academy of Dermatology on waxing"),
            ("T brow", "ask", PRACTICE),
            ("ANY lash", "ask", PRACTICE),
        ];
    topical_retinoid_rests_on_common_practice: "topical_retinoid=yes topical_retinoid_last_on=~2" => &[("P T brow", "wait 7d from topical_retinoid_last_on then note", PRACTICE)];
    chemo_rests_on_a_cancer_charity_nurse: "chemo=yes" => &[("ANY", "never or letter", "a cancer-charity nurse")];
    chemo_past_rests_on_inference_a_cancer_charity_nurse: "chemo_past=yes chemo_past_on=~90" => &[("P T", "wait 6mo from chemo_past_on or letter", "inference: a cancer-charity nurse")];
    radio_face_rests_on_common_practice: "radio_face=yes" => &[("ANY", "letter", PRACTICE)];
    immunosup_kind_steroids_rests_on_a_dermatology_page: "immunosup=yes immunosup_kind=steroids" => &[("ANY", "ask", "a dermatology page")];
    immunosup_kind_other_rests_on_a_dermatology_page: "immunosup=yes immunosup_kind=other" => &[("ANY", "ask", "a dermatology page")];
    immunosup_kind_strong_rests_on_a_dermatology_page: "immunosup=yes immunosup_kind=strong" => &[("ANY", "letter", "a dermatology page")];
    steroid_eye_rests_on_a_dermatology_page: "steroid_eye=yes" => &[("ANY", "ask", "a dermatology page")];
    anticoag_rests_on_oar_817_015_0065: "anticoag=yes" => &[("ANY", "note", "OAR 817-015-0065")];
    new_medicine_rests_on_common_practice: "new_medicine=yes" => &[("ANY", "ask", PRACTICE)];
    // General health and life stage
    pregnant_rests_on_nhs_on_hair_dye_in_pregnancy: "pregnant=yes" => &[("P T", "note", "NHS on hair dye in pregnancy")];
    pregnant_weeks_up_to_12_rests_on_nhs_and_first_12_weeks: "pregnant=yes pregnant_weeks=up_to_12" => &[("P T", "note", "NHS"), ("P T", "note", "first 12 weeks")];
    pregnant_weeks_later_rests_on_nhs_and_common_practice: "pregnant=yes pregnant_weeks=later" => &[("P T", "note", "NHS"), ("P T", "note", PRACTICE)];
    breastfeeding_rests_on_nhs: "breastfeeding=yes" => &[("P T", "note", "NHS")];
    eczema_psoriasis_where_elsewhere_rests_on_common_practice: "eczema_psoriasis=yes eczema_psoriasis_where=elsewhere" => &[("ANY", "note", PRACTICE)];
    eczema_psoriasis_where_on_site_rests_on_common_practice: "eczema_psoriasis=yes eczema_psoriasis_where=on_site" => &[("ANY", "wait 14d then note", PRACTICE)];
    eczema_psoriasis_where_severe_rests_on_common_practice: "eczema_psoriasis=yes eczema_psoriasis_where=severe" => &[("ANY", "letter", PRACTICE)];
    rosacea_seb_rests_on_common_practice: "rosacea_seb=yes" => &[("ANY", "ask", PRACTICE)];
    epilepsy_last_over_a_year_rests_on_common_practice: "epilepsy=yes epilepsy_last=over_a_year" => &[("ANY", "note", PRACTICE)];
    epilepsy_last_within_a_year_rests_on_common_practice: "epilepsy=yes epilepsy_last=within_a_year" => &[("ANY", "letter", PRACTICE)];
    tremor_lie_rests_on_common_practice: "tremor_lie=yes" => &[("ANY", "ask", PRACTICE)];
    thyroid_which_steady_rests_on_common_practice: "thyroid=yes thyroid_which=steady" => &[("P A", "note", PRACTICE)];
    thyroid_which_hair_loss_rests_on_common_practice: "thyroid=yes thyroid_which=hair_loss" => &[("P A", "ask", PRACTICE)];
    diabetes_which_healing_rests_on_common_practice: "diabetes=yes diabetes_which=healing" => &[("ANY", "ask", PRACTICE)];
    diabetes_which_eyes_rests_on_common_practice: "diabetes=yes diabetes_which=eyes" => &[("ANY", "letter", PRACTICE)];
    autoimmune_rests_on_common_practice: "autoimmune=yes" => &[("ANY", "ask", PRACTICE)];
    recent_op_rests_on_common_practice: "recent_op=yes" => &[("ANY", "letter", PRACTICE)];
    alcohol_rests_on_common_practice: "alcohol=yes" => &[("ANY", "wait 1d", PRACTICE)];
    changes_rests_on_common_practice: "changes=yes" => &[("ANY", "ask", PRACTICE)];
}

fn concerns(scope: &str, service: ServiceKind) -> bool {
    let (p, t, a, brow) = match service {
        ServiceKind::LashLift => (true, false, true, false),
        ServiceKind::LashTint => (false, true, false, false),
        ServiceKind::LiftAndTint => (true, true, true, false),
        ServiceKind::BrowLamination => (true, false, false, true),
        ServiceKind::BrowTint => (false, true, false, true),
    };
    let words: BTreeSet<&str> = scope.split(' ').collect();
    let has = |word| words.contains(word);
    let chemistry = has("ANY") || (p && has("P")) || (t && has("T")) || (a && has("A"));
    chemistry && (brow || !has("brow")) && (!brow || !has("lash"))
}

fn answers(shipped: &Shipped, text: &'static str) -> Vec<(&'static str, Answer)> {
    let one = |pair: &'static str| {
        let (key, value) = pair.split_once('=').unwrap();
        let kind = shipped.questionnaire.question(key).unwrap_or_else(|| panic!("no question {key}")).kind;
        let answer = match (kind, value) {
            (Kind::YesNo, "yes") => Answer::Yes,
            (Kind::YesNo, "no") => Answer::No,
            (Kind::Date, day) => Answer::Date(GIVEN - Duration::days(day.strip_prefix('~').unwrap().parse().unwrap())),
            (Kind::Choice, option) => Answer::Choice(option.to_owned()),
            (Kind::Text, words) => Answer::Text(words.to_owned()),
            (Kind::YesNo, _) => panic!("{pair}"),
        };
        (key, answer)
    };
    text.split(' ').map(one).collect()
}

/// What one part of a row means on a day: verdict, start, the day from which it no longer stands,
/// whether a letter lifts it.
struct Meaning {
    verdict: Verdict,
    start: Start,
    until: Option<Date>,
    letter: bool,
    then: Verdict,
}

fn meaning(text: &str, given: &[(&str, Answer)]) -> Meaning {
    let (text, lifted) = match text.split_once(" or ") {
        Some((text, what)) => (text, Some(what)),
        None => (text, None),
    };
    let letter = lifted == Some("letter") || text == "letter";
    let mut words = text.split(' ');
    let (verdict, start) = match words.next().unwrap() {
        "note" => (Verdict::Note, Start::Yes),
        "ask" => (Verdict::Ask, Start::WithReason),
        "wait" => (Verdict::WaitUntil, Start::WithReason),
        "letter" => (Verdict::LetterNeeded, Start::WithReason),
        "never" => (Verdict::DoNotTreat, Start::No),
        "refused" if lifted == Some("reason") => (Verdict::DoNotTreat, Start::WithReason),
        other => panic!("{other}"),
    };
    let mut span = None;
    let mut from = GIVEN;
    let mut then = Verdict::Clear;
    while let Some(word) = words.next() {
        match word {
            "from" => {
                let key = words.next().unwrap();
                let Some((_, Answer::Date(day))) = given.iter().find(|(other, _)| *other == key) else {
                    panic!("no day {key}")
                };
                from = *day;
            }
            "then" => then = Verdict::parse(words.next().unwrap()).unwrap(),
            "for" => {}
            length => {
                span = Some(match (length.strip_suffix("mo"), length.strip_suffix('d')) {
                    (Some(months), _) => Span::Months(months.parse().unwrap()),
                    (_, Some(days)) => Span::Days(days.parse().unwrap()),
                    _ => panic!("{length}"),
                });
            }
        }
    }
    Meaning { verdict, start, until: span.map(|span| span.after(from)), letter, then }
}

/// A reason as far as rows speak of it.
fn shown(reason: &Reason) -> (Verdict, Start, Option<Date>, bool) {
    let letter = reason.clears.contains(&palpebra::domain::verdict::Clears::Letter);
    (reason.verdict, reason.start, reason.from.map(Earliest::day), letter)
}

fn expected(meaning: &Meaning, on: Date) -> Option<(Verdict, Start, Option<Date>, bool)> {
    match meaning.until {
        Some(until) if on >= until => {
            (meaning.then > Verdict::Clear).then(|| (meaning.then, meaning.then.start(), None, false))
        }
        until => Some((meaning.verdict, meaning.start, until, meaning.letter)),
    }
}

/// Holds one row against every service on every day that matters, and gives the rules that fired.
fn holds(text: &'static str, parts: &[(&str, &str, &str)]) -> BTreeSet<String> {
    let shipped = Shipped::once();
    let mut fired = BTreeSet::new();
    let given = answers(shipped, text);
    let set = shipped.no_but(&given);
    let meanings: Vec<_> = parts.iter().map(|(scope, means, basis)| (*scope, meaning(means, &given), *basis)).collect();
    let mut days = vec![GIVEN, GIVEN + Duration::days(400)];
    for until in meanings.iter().filter_map(|(_, meaning, _)| meaning.until) {
        days.extend([until.previous_day().unwrap(), until].into_iter().filter(|day| *day >= GIVEN));
    }
    for service in ServiceKind::ALL {
        for on in &days {
            let reasons = shipped.reasons(&set, service, *on);
            let case = format!("{text} · {service:?} · {on} · {parts:?}");
            let due: Vec<_> = meanings.iter().filter(|(scope, _, _)| concerns(scope, service)).collect();
            let mut want: Vec<_> = due.iter().filter_map(|(_, meaning, _)| expected(meaning, *on)).collect();
            let mut have: Vec<_> = reasons.iter().map(shown).collect();
            want.sort();
            have.sort();
            assert_eq!(have, want, "{case}");
            for reason in &reasons {
                let basis = reason.basis.to_string();
                assert!(due.iter().any(|(_, _, words)| basis.contains(words)), "{case}: rests on {basis}");
                assert!(!reason.say.is_empty(), "{case}");
                fired.insert(reason.rule.clone());
            }
        }
    }
    fired
}

#[test]
fn every_shipped_rule_has_a_row() {
    let fired: BTreeSet<String> = ROWS.iter().flat_map(|(text, parts)| holds(text, parts)).collect();
    let rules: BTreeSet<String> = Shipped::once().rules.rules().iter().map(|rule| rule.key.clone()).collect();
    assert_eq!(rules.difference(&fired).collect::<Vec<_>>(), Vec::<&String>::new(), "rules without a row");
}

#[test]
fn a_reaction_to_perm_lotion_asks_when_the_products_share_no_ingredient() {
    use palpebra::domain::limits::Ingredient;
    let shipped = Shipped::new();
    let set = shipped.no_but(&[("perm_reaction", Answer::Yes)]);
    for (held, verdict) in [
        (BTreeSet::from([Ingredient::Thioglycolate]), Verdict::DoNotTreat),
        (BTreeSet::from([Ingredient::ThioglycolateEster]), Verdict::DoNotTreat),
        (BTreeSet::from([Ingredient::Cysteamine, Ingredient::Latex]), Verdict::DoNotTreat),
        (BTreeSet::from([Ingredient::Latex]), Verdict::Ask),
        (BTreeSet::new(), Verdict::Ask),
    ] {
        let mut screening = shipped.screening(&set);
        screening.ingredients = Some(&held);
        let reasons = screening.reasons(ServiceKind::LashLift, GIVEN);
        assert_eq!(reasons.iter().map(|reason| reason.verdict).collect::<Vec<_>>(), [verdict], "{held:?}");
    }
}

/// What was done to the brows says nothing of the lashes, and the other way round.
#[test]
fn answers_to_the_questions_of_before_are_kept_and_each_area_is_asked_anew() {
    let shipped = Shipped::new();
    let gone = ["last_lash_lift", "last_brow_lamination", "last_lash_tint", "last_brow_tint"];
    let mut answers = shipped.all_no().without(|key| gone.contains(&key));
    answers.set("last_lift", Answer::Yes);
    answers.set("last_lift_on", Answer::Date(GIVEN));
    let set = super::set(answers);
    for (service, open) in [
        (ServiceKind::LashLift, &["last_lash_lift"][..]),
        (ServiceKind::LiftAndTint, &["last_lash_lift", "last_lash_tint"]),
        (ServiceKind::BrowLamination, &["last_brow_lamination"]),
        (ServiceKind::BrowTint, &["last_brow_tint"]),
    ] {
        let screening = shipped.screening(&set);
        let asked: Vec<&str> = screening.open(service).into_iter().map(|question| question.key.as_str()).collect();
        assert_eq!(asked, open, "{service:?}");
        let verdicts: Vec<_> = shipped.reasons(&set, service, GIVEN).iter().map(|reason| reason.verdict).collect();
        assert_eq!(verdicts, vec![Verdict::Ask; open.len()], "{service:?}");
    }
}

#[test]
fn a_blank_and_a_wish_to_talk_are_asked_for_every_service_that_uses_the_question() {
    let shipped = Shipped::new();
    for question in shipped.questionnaire.questions().filter(|question| question.after.is_none()) {
        for service in ServiceKind::ALL {
            let asked = shipped.rules.sections_for(&shipped.questionnaire, &[service], true);
            let asked = asked.iter().flat_map(|section| &section.questions).any(|other| other.key == question.key);
            let mut blank =
                shipped.all_no().iter().map(|(key, answer)| (key.to_owned(), answer.clone())).collect::<Vec<_>>();
            blank.retain(|(key, _)| *key != question.key);
            let blank = super::set(blank.into_iter().collect());
            let talk = shipped.no_but(&[(&question.key, Answer::PreferToTalk)]);
            for set in [blank, talk] {
                let verdicts: Vec<_> =
                    shipped.reasons(&set, service, GIVEN).iter().map(|reason| reason.verdict).collect();
                let want = if asked { vec![Verdict::Ask] } else { Vec::new() };
                assert_eq!(verdicts, want, "{} {service:?}", question.key);
            }
        }
    }
}

#[test]
fn a_yes_without_its_follow_up_is_at_least_asked() {
    let shipped = Shipped::new();
    for question in shipped.questionnaire.questions().filter(|question| question.after.is_none()) {
        let set = shipped.no_but(&[(&question.key, Answer::Yes)]);
        let asked_for: Vec<ServiceKind> = ServiceKind::ALL
            .into_iter()
            .filter(|service| {
                let sections = shipped.rules.sections_for(&shipped.questionnaire, &[*service], true);
                sections.iter().flat_map(|section| &section.questions).any(|other| other.key == question.key)
            })
            .collect();
        assert!(!asked_for.is_empty(), "{} is asked for nothing", question.key);
        for service in asked_for {
            let worst = shipped.reasons(&set, service, GIVEN).iter().map(|reason| reason.verdict).max();
            assert!(worst.is_some(), "a yes to {} is silent for {service:?}", question.key);
        }
    }
}
