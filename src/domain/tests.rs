//! The words that are stored. Files, forms and exports of years hold them, so that each stays what it was.

use super::age::{Jurisdiction, Under16};
use super::catalogue::{Chemistry, ServiceKind};
use super::checklist::ListName;
use super::file::{Kind, Purpose};
use super::growth::{CycleName, Disturbance};
use super::ids::{AccountId, ClientId};
use super::reaction::Level;
use super::retention::Class;
use super::role::{Actor, Member, Role};
use super::shield::Effect;
use super::steps::{Part, Trait};
use super::timing::Side;
use super::visit::VisitEvent;

macro_rules! stored {
    ($($kind:ident: $($value:ident = $word:literal),+;)+) => {
        $(
            let words = [$(($kind::$value, $word)),+];
            for (value, word) in words {
                assert_eq!(value.as_str(), word);
                assert_eq!($kind::parse(word), Some(value), "{word}");
            }
            for other in ["", "Other words", " ", words[0].1.to_uppercase().as_str()] {
                assert_eq!($kind::parse(other), None, "{other:?}");
            }
        )+
    };
}

#[test]
fn stored_words_are_read_back_as_what_was_stored() {
    stored! {
        Chemistry: Lotion = "lotion", Tint = "tint", Adhesive = "adhesive";
        Class: Treated = "treated", Contact = "contact", Invitations = "invitations", Letters = "letters";
        CycleName: Observed = "observed", Textbook = "textbook", Review = "review", Own = "own";
        Disturbance: Drug = "drug", Serum = "serum", Chemotherapy = "chemotherapy", Extensions = "extensions",
            Pulling = "pulling", Pregnancy = "pregnancy", HairFall = "hair_fall";
        Effect: Soft = "soft", Even = "even", Strong = "strong";
        Jurisdiction: EuUk = "eu_uk", Us = "us", Other = "other";
        Kind: Jpeg = "jpeg", Pdf = "pdf";
        Level: Expected = "expected", Mild = "mild", Moderate = "moderate", Serious = "serious",
            Emergency = "emergency";
        Part: LotionOne = "lotion_one", LotionTwo = "lotion_two", Tint = "tint", Other = "other";
        Purpose: Letter = "letter", Before = "before", After = "after", Reaction = "reaction",
            SkinTest = "skin_test";
        Role: Owner = "owner", Practitioner = "practitioner";
        ServiceKind: LashLift = "lash_lift", LashTint = "lash_tint", LiftAndTint = "lift_and_tint",
            BrowLamination = "brow_lamination", BrowTint = "brow_tint";
        Side: Right = "right", Left = "left";
        Trait: Fine = "fine", Tinted = "tinted", Lifted = "lifted";
        Under16: Refuse = "refuse", GuardianPresent = "guardian_present";
    }
    assert_eq!(ListName::ALL.map(ListName::as_str), ["on_the_day", "hygiene", "aftercare_lash", "aftercare_brow"]);
    assert_eq!(VisitEvent::CancelByStudio.as_str(), "cancel_by_studio");
    assert_eq!(VisitEvent::NoShow.as_str(), "no_show");
    assert_eq!(VisitEvent::PutBack.as_str(), "put_back");
    assert_eq!(Level::Serious.to_string(), "serious");
}

#[test]
fn a_file_is_sent_as_what_it_is() {
    // RFC 2046, section 4.2, and RFC 8118.
    assert_eq!(Kind::ALL.map(Kind::media_type), ["image/jpeg", "application/pdf"]);
}

#[test]
fn the_audit_names_who_acted_but_no_client_by_name() {
    let (account, client) = (AccountId::from_random([1; 16]), ClientId::from_random([2; 16]));
    let member = Member { account: account.clone(), role: Role::Owner, name: "Ida".to_owned(), practitioner: None };
    assert_eq!(Actor::Member(member).columns(), ("owner", account.as_str(), "Ida"));
    assert_eq!(Actor::Client(client.clone()).columns(), ("client", client.as_str(), ""));
    let nobody = [Actor::Visitor, Actor::Program, Actor::Command];
    assert_eq!(
        nobody.each_ref().map(|actor| actor.columns()),
        [("visitor", "", ""), ("program", "", ""), ("command", "", "")]
    );
}

#[test]
fn the_lists_that_ship_are_there_and_fit_their_own_limits() {
    for list in ListName::ALL {
        let shipped = list.shipped();
        assert!((3..=ListName::MOST_ENTRIES).contains(&shipped.len()), "{list:?}");
        assert!(shipped.iter().all(|entry| !entry.is_empty()), "{list:?}");
    }
    for (list, about) in [(ListName::AftercareLash, "lashes"), (ListName::AftercareBrow, "brows")] {
        assert!(list.shipped()[0].contains(about), "{list:?}");
        assert!(list.shipped().iter().any(|entry| entry.contains("tell us at once")), "{list:?}");
    }
}

#[test]
fn lifts_of_lashes_and_no_others_follow_the_growth_cycle() {
    let lifts = ServiceKind::ALL.into_iter().filter(|kind| kind.lifts_lashes());
    assert_eq!(lifts.collect::<Vec<_>>(), [ServiceKind::LashLift, ServiceKind::LiftAndTint]);
}
