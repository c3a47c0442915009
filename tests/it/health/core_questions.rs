//! The twelve questions that matter most, each with what it rests on.

use std::collections::BTreeMap;

use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::verdict::BasisKind;

use super::Shipped;

/// The key, the worst that a yes can mean for a lift with tint, and the basis of one of its rules.
const TWELVE: [(&str, BasisKind, &str); 12] = [
    ("dye_reaction", BasisKind::Source, "Regulation (EC) 1223/2009, Annex III entry 8b: label warning"),
    ("ppd_allergy", BasisKind::Source, "Regulation (EC) 1223/2009, Annex III entry 8b: label warning"),
    ("black_henna_reaction", BasisKind::Source, "Regulation (EC) 1223/2009, Annex III entry 8b: label warning"),
    ("perm_reaction", BasisKind::Practice, "sensitiser data: Storrs 1984 and Landers 2003"),
    (
        "adhesive_reaction",
        BasisKind::Practice,
        "acrylates can sensitise (Finnish Student Health Service) and reactions grow with each contact (Semmelweis \
         University 2025)",
    ),
    ("anaphylaxis", BasisKind::Practice, ""),
    ("conjunctivitis", BasisKind::Source, "NHS: clears in about two weeks and spreads easily"),
    (
        "broken_skin",
        BasisKind::Practice,
        "the label bars use on a rash on the face: Regulation (EC) 1223/2009, Annex III entry 8b",
    ),
    (
        "laser_eye",
        BasisKind::Practice,
        "no treatment-specific figure found; an injury from lash-extension remover after earlier LASIK: Moshirfar 2018",
    ),
    ("contacts", BasisKind::Practice, ""),
    (
        "isotretinoin",
        BasisKind::Inference,
        "American Academy of Dermatology on waxing: none during isotretinoin and for six months after; carried over to \
         lotion by common practice",
    ),
    ("chemo", BasisKind::Source, "a cancer-charity nurse: talk to your treatment team first"),
];

#[test]
fn the_twelve_are_marked_and_each_rests_on_what_is_named() {
    let shipped = Shipped::new();
    let marked: Vec<&str> = shipped
        .questionnaire
        .questions()
        .filter(|question| question.core)
        .map(|question| question.key.as_str())
        .collect();
    let mut twelve: Vec<&str> = TWELVE.iter().map(|(key, _, _)| *key).collect();
    assert_eq!(
        {
            let mut marked = marked;
            marked.sort_unstable();
            marked
        },
        {
            twelve.sort_unstable();
            twelve
        }
    );

    let mut parents = BTreeMap::new();
    for question in shipped.questionnaire.questions() {
        if let Some(after) = &question.after {
            parents.insert(question.key.as_str(), after.question.as_str());
        }
    }
    for (key, kind, text) in TWELVE {
        let found = shipped.rules.rules().iter().any(|rule| {
            let root = parents.get(rule.question.as_str()).copied().unwrap_or(&rule.question);
            root == key && rule.basis.kind == kind && rule.basis.text == text
        });
        assert!(found, "{key} rests on something else");
    }
}

#[test]
fn every_one_of_the_twelve_is_asked_for_some_service_with_its_why() {
    let shipped = Shipped::new();
    let sections = shipped.rules.sections_for(&shipped.questionnaire, &ServiceKind::ALL, false);
    let asked: Vec<_> =
        sections.iter().flat_map(|section| &section.questions).filter(|question| question.core).collect();
    assert_eq!(asked.len(), 12);
    assert!(asked.iter().all(|question| !question.why.is_empty()));
}

#[test]
fn only_what_a_rule_uses_is_asked() {
    let shipped = Shipped::new();
    let keys = |services: &[ServiceKind], returning| -> Vec<String> {
        let sections = shipped.rules.sections_for(&shipped.questionnaire, services, returning);
        sections.iter().flat_map(|section| &section.questions).map(|question| question.key.clone()).collect()
    };
    let tint = keys(&[ServiceKind::BrowTint], false);
    for absent in [
        "perm_reaction",
        "adhesive_reaction",
        "asthma_fumes",
        "trich",
        "last_lash_lift_on",
        "last_lash_tint",
        "changes",
    ] {
        assert!(!tint.contains(&absent.to_owned()), "{absent}");
    }
    let lift = keys(&[ServiceKind::LashLift], true);
    for absent in [
        "dye_reaction",
        "black_henna_any",
        "last_lash_tint",
        "last_brow_lamination",
        "topical_retinoid",
        "isotretinoin_stopped_on",
    ] {
        assert!(!lift.contains(&absent.to_owned()), "{absent}");
    }
    assert!(lift.contains(&"changes".to_owned()), "asked from the second visit on");
    let both = keys(&[ServiceKind::BrowTint, ServiceKind::LashLift], true);
    assert!(tint.iter().chain(&lift).all(|key| both.contains(key)));
}

/// Pregnancy, hair-pulling, cancer and epilepsy are shown to the practitioner who treats alone (common practice, no
/// source), their follow-ups with them.
#[test]
fn sensitive_answers_are_kept_from_the_desk() {
    let questionnaire = Shipped::new().questionnaire;
    for key in ["pregnant", "pregnant_weeks", "trich", "trich_state", "chemo", "chemo_past_on", "epilepsy_last"] {
        assert!(questionnaire.is_sensitive(key), "{key}");
    }
    assert!(questionnaire.is_sensitive("not_a_key"));
    assert!(!questionnaire.is_sensitive("contacts"));
}
