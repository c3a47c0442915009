//! What stands between the network and the pages: headers, cookies, limits, slow clients, hostile text.
#![expect(clippy::unwrap_used, clippy::expect_used, reason = "a test may fail where it stands")]

mod headers;
mod hostile;
mod limits;
mod slow;
