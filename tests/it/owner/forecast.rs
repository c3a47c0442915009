//! The forecast: what it counts is what the list holds and what the calendar says.

use palpebra::actions::{forecast, retouch};
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use time::macros::{date, datetime};
use time::{Date, Duration};

use crate::support::studio::Studio;
use crate::support::{Html, TestApp};

async fn page(app: &TestApp) -> Html {
    app.owner().await.get("/owner/retouch/forecast").await
}

/// Two clients whose windows open in the week of 16 March, one of whom has something booked, and one later.
async fn three_returning(app: &TestApp, studio: &Studio) -> [Date; 3] {
    let lifted = [datetime!(2026-02-02 09:00 UTC), datetime!(2026-02-03 09:00 UTC), datetime!(2026-02-16 09:00 UTC)];
    let zora = studio.client("Zora Halvig", "zora@clients.example.org", date!(1999 - 01 - 02)).await;
    let ines = studio.client("Ines Korvald", "ines@clients.example.org", date!(1979 - 01 - 02)).await;
    for (client, at) in [&studio.mia, &zora, &ines].into_iter().zip(lifted) {
        studio.treated(client, &studio.lift, at, Outcome::AsWished, &[&studio.lotion]).await;
    }
    studio.visit(Purpose::Treatment, &zora, &studio.lift, &studio.liv, datetime!(2026-03-30 09:00 UTC)).await;
    retouch::freshen(&app.app.db).await.unwrap();
    // 46 days after a first lift, as the default cycle and limits give it.
    lifted.map(|at| at.date() + Duration::days(46))
}

#[tokio::test]
async fn windows_and_hours_are_counted_by_the_week() {
    let (app, studio) = TestApp::with_studio().await;
    let opens = three_returning(&app, &studio).await;
    let row = palpebra::store::studio::get(&mut app.app.db.read().await.unwrap()).await.unwrap().unwrap();
    let mut c = app.app.db.read().await.unwrap();
    let weeks = forecast::load(&mut c, &row, app.app.clock.now()).await.unwrap();
    assert_eq!(weeks.len(), 26);
    assert_eq!((weeks[0].monday, weeks[25].monday), (date!(2026 - 03 - 02), date!(2026 - 08 - 24)));
    for week in &weeks {
        let within = |day: &&Date| **day >= week.monday && **day < week.monday + Duration::WEEK;
        let windows = opens.iter().filter(within).count();
        assert_eq!(usize::try_from(week.windows).unwrap(), windows, "{week:?}");
        let booked = u32::from(within(&&opens[1]));
        assert_eq!(week.booked, booked, "{week:?}");
        // A lift of 60 minutes and 15 to turn around.
        assert_eq!(week.wanted_minutes, (week.windows - booked) * 75, "{week:?}");
        // Two who work nine hours on six days; clocks that change change no hours.
        assert_eq!(week.open_minutes, 2 * 6 * 9 * 60, "{week:?}");
    }
    assert_eq!(weeks.iter().map(|week| week.windows).sum::<u32>(), 3);
}

#[tokio::test]
async fn days_off_and_closed_days_are_not_open() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    for (who, from, to) in [
        ("studio", "2026-03-09", "2026-03-10"),
        (studio.liv.as_str(), "2026-03-11", "2026-03-11"),
        // A closed day on which she has a day off anyway counts once.
        (studio.noor.as_str(), "2026-03-10", "2026-03-10"),
    ] {
        let form = owner.get("/owner/days-off").await;
        let fields = [("who", who), ("from", from), ("to", to), ("reason", "")];
        let done = owner.submit(&form, "/owner/days-off", &fields).await;
        assert_eq!(done.status, 303, "{}", done.main());
    }
    let row = palpebra::store::studio::get(&mut app.app.db.read().await.unwrap()).await.unwrap().unwrap();
    let mut c = app.app.db.read().await.unwrap();
    let weeks = forecast::load(&mut c, &row, app.app.clock.now()).await.unwrap();
    let day = 9 * 60;
    assert_eq!(weeks[0].open_minutes, 12 * day);
    assert_eq!(weeks[1].open_minutes, 12 * day - 4 * day - day);
}

#[tokio::test]
async fn the_page_shows_the_picture_and_its_table() {
    let (app, studio) = TestApp::with_studio().await;
    assert!(page(&app).await.main().contains("No window opens in these weeks."));
    three_returning(&app, &studio).await;
    let page = page(&app).await;
    assert_eq!(page.all("tbody tr").len(), 26);
    assert_eq!(page.all("svg title"), ["Windows that open, week by week"]);
    let row = page.all("tbody tr").into_iter().find(|row| row.contains("Mon 16 March 2026")).unwrap();
    assert!(row.ends_with("2 1 1.2 108.0") || row.ends_with("2 1 1.3 108.0"), "{row}");
}
