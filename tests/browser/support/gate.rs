//! A network that can go: a door before a server, which a test shuts and opens.

use std::sync::Arc;

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

/// A door before a server.
pub(crate) struct Gate {
    /// Where the door is.
    pub(crate) origin: String,
    open: Arc<watch::Sender<bool>>,
}

impl Gate {
    /// An open door before the server at this origin.
    pub(crate) async fn before(origin: &str) -> Self {
        let target = origin.trim_start_matches("http://").to_owned();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let origin = format!("http://{}", listener.local_addr().unwrap());
        let open = Arc::new(watch::Sender::new(true));
        let door = Arc::clone(&open);
        tokio::spawn(async move {
            while let Ok((mut visitor, _)) = listener.accept().await {
                let (target, mut door) = (target.clone(), door.subscribe());
                tokio::spawn(async move {
                    if !*door.borrow() {
                        return;
                    }
                    let Ok(mut server) = TcpStream::connect(&target).await else { return };
                    tokio::select! {
                        _ = copy_bidirectional(&mut visitor, &mut server) => {}
                        _ = door.wait_for(|open| !open) => {}
                    }
                });
            }
        });
        Self { origin, open }
    }

    /// Nothing comes through any more, and what was on its way is cut.
    pub(crate) fn shut(&self) {
        self.open.send_replace(false);
    }

    /// It comes through again.
    pub(crate) fn open(&self) {
        self.open.send_replace(true);
    }
}
