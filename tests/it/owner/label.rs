//! What a label says, held against the published limits of the studio's place.

use palpebra::domain::catalogue::Area;
use palpebra::domain::ids::ProductId;
use palpebra::domain::limits::{Ingredient, Label};
use palpebra::domain::steps::Part;
use palpebra::store::catalogue;

use super::Desk;

async fn label(desk: &Desk, id: &str) -> Option<Label> {
    let id = ProductId::parse(id).unwrap();
    catalogue::product(&mut desk.app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap().label
}

/// Regulation (EC) 1223/2009, Annex III entry 2a (d).
#[tokio::test]
async fn a_lotion_that_fits_shows_no_warning_and_one_that_does_not_names_the_entry() {
    let desk = Desk::new().await;
    let id = desk.product("Bow Lotion", "lotion").await;
    let page = format!("/owner/products/{id}");
    assert!(desk.owner.get(&page).await.main().contains("Nobody has gone through it yet"));
    let path = format!("{page}/label");
    let fits = [
        ("many-areas", "lash"),
        ("professional_only", "yes"),
        ("many-holds", "thioglycolate"),
        ("share_thioglycolate", "11"),
        ("ph", "9,2"),
        ("step", "lotion_two"),
    ];
    desk.fill(&path, &path, &fits).await;
    let stored = label(&desk, &id).await.unwrap();
    assert_eq!(stored.holds, [(Ingredient::Thioglycolate, Some(1100))].into());
    assert_eq!((stored.areas, stored.ph, stored.professional_only), ([Area::Lash].into(), Some(92), true));
    assert_eq!(stored.step, Some(Part::LotionTwo));
    let shown = desk.owner.get(&page).await;
    assert!(shown.main().contains("The second, which sets it"), "{}", shown.main());
    assert!(shown.main().contains("11 %") && !shown.main().contains("doesn’t fit"), "{}", shown.main());
    desk.fill(&path, &path, &[("share_thioglycolate", "11.01")]).await;
    let shown = desk.owner.get(&page).await;
    for words in ["doesn’t fit", "more than the 11 % that are allowed on lashes", "Annex III entry 2a (d)"] {
        assert!(shown.main().contains(words), "{words}: {}", shown.main());
    }
    desk.fill(&page, &page, &[("name", "Bow Lotion, new")]).await;
    assert!(label(&desk, &id).await.is_some(), "a new name leaves the label");
}

/// FDA: no colour additive is approved for dyeing lashes or brows but silver nitrate (21 CFR 73.2550).
#[tokio::test]
async fn in_the_united_states_a_dye_is_warned_of_and_silver_nitrate_is_not() {
    let desk = Desk::new().await;
    let settle = async |place| desk.fill("/owner/studio", "/owner/studio", &[("jurisdiction", place)]).await;
    settle("us").await;
    let id = desk.product("Night Tint", "tint").await;
    let (page, path) = (format!("/owner/products/{id}"), format!("/owner/products/{id}/label"));
    let dye = [("many-areas", "lash"), ("professional_only", "yes"), ("many-holds", "phenylenediamine"), ("age", "16")];
    desk.fill(&path, &path, &dye).await;
    assert!(desk.owner.get(&page).await.main().contains("not allowed on lashes"));
    settle("other").await;
    let elsewhere = desk.owner.get(&page).await;
    assert!(elsewhere.main().contains("knows no limits") && !elsewhere.main().contains("doesn’t fit"));
    settle("us").await;
    let silver = desk.product("Silver Tint", "tint").await;
    let (page, path) = (format!("/owner/products/{silver}"), format!("/owner/products/{silver}/label"));
    let fields = [
        ("many-areas", "lash"),
        ("professional_only", "yes"),
        ("many-holds", "silver_nitrate"),
        ("share_silver_nitrate", "4"),
        ("age", "16"),
    ];
    desk.fill(&path, &path, &fields).await;
    assert!(!desk.owner.get(&page).await.main().contains("doesn’t fit"));
}

#[tokio::test]
async fn what_no_label_can_say_is_refused_beside_its_field() {
    let desk = Desk::new().await;
    let path = format!("/owner/products/{}/label", desk.product("Bow Lotion", "lotion").await);
    let lash = ("many-areas", "lash");
    desk.refuse(&path, &path, &[("ph", "7")], "many-areas").await;
    for (field, bad) in
        [("ph", "14.1"), ("ph", "acid"), ("age", "0"), ("share_peroxide", "0"), ("share_peroxide", "2.555")]
    {
        desk.refuse(&path, &path, &[lash, ("many-holds", "peroxide"), (field, bad)], field).await;
    }
    desk.refuse(&path, &path, &[lash, ("share_peroxide", "2")], "share_peroxide").await;
}
