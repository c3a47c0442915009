//! Hostile text wherever people write: the browser shows it and does nothing else.

use super::NOW;
use super::person::Person;
use super::places::{self, Walk};
use crate::people::hostile::HOSTILE;
use crate::support::Server;

/// That nothing was run, loaded or refused is what the console says at the end of each walk.
#[tokio::test]
async fn no_text_is_taken_for_a_part_of_the_page() {
    let server = Server::demo_of_hostile_texts(NOW).await;
    for (who, walk) in [("practitioner", Walk::Practitioner), ("owner", Walk::Owner)] {
        let she = Person::of_team(&server, who, "hostile").await;
        let shown = she.pass_by(&places::plain(walk), HOSTILE).await;
        assert!(shown.len() > 8, "to the {who} it stands on {shown:?}");
        she.leave(Walk::Again).await;
    }
}
