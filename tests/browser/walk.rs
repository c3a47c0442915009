//! The main job from end to end, as the people who do it: a client books herself, the practitioner tests, checks, treats
//! and records, the owner sees who may return and hands the records out.

mod client;
mod owner;
mod practitioner;

use crate::support::Server;

/// A day of the story. In March the studio's clock shows UTC until the 29th.
struct Day {
    date: &'static str,
    short: &'static str,
    long: &'static str,
}

impl Day {
    /// The moment when the studio's clock shows this, as RFC 3339.
    fn at(&self, clock: &str) -> String {
        format!("{}T{clock}:00Z", self.date)
    }
}

const FIRST_DAY: Day = Day { date: "2026-03-02", short: "Mon 2 March", long: "Monday 2 March 2026" };
/// On Thursdays one practitioner alone lifts and tints.
const TEST_DAY: Day = Day { date: "2026-03-05", short: "Thu 5 March", long: "Thursday 5 March 2026" };
const READING_DAY: Day = Day { date: "2026-03-08", short: "Sun 8 March", long: "Sunday 8 March 2026" };
const TREATMENT_DAY: Day = Day { date: "2026-03-12", short: "Thu 12 March", long: "Thursday 12 March 2026" };

const SERVICE: &str = "Lash lift and tint";
const NAME: &str = "Nóra Tislavey";
const MAIL: &str = "nora.tislavey@clients.example.org";

/// What the client did, and what the others must find again.
struct Story {
    /// When her skin test begins on its day, as `9:00`.
    test: String,
    /// When her treatment begins on its day.
    treatment: String,
    /// The SHA-256 of the text that she signed.
    text: String,
}

/// A clock time an hour and ten minutes after another, on the same day.
fn later(clock: &str) -> String {
    let (hour, minute) = clock.split_once(':').unwrap();
    let minutes = hour.parse::<u16>().unwrap() * 60 + minute.parse::<u16>().unwrap() + 70;
    format!("{:02}:{:02}", minutes / 60, minutes % 60)
}

#[tokio::test]
async fn three_people_walk_the_whole_story() {
    let mut server = Server::demo(&FIRST_DAY.at("08:00")).await;
    let story = client::books(&server).await;
    practitioner::treats(&mut server, &story).await;
    owner::hands_out(&server, &story).await;
}
