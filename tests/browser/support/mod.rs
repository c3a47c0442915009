//! What the browser tests stand on: programs that are started and always ended, a browser, and what may be asked of a page.

mod browser;
mod checks;
mod gate;
mod keyboard;
mod links;
mod page;
mod page_clock;
mod process;
mod server;

pub(crate) use browser::Browser;
pub(crate) use gate::Gate;
pub(crate) use links::route;
pub(crate) use page_clock::PageClock;
pub(crate) use process::Process;
pub(crate) use server::Server;
