//! A program under test: its lines are waited for, and it ends with the test.

use std::io::{BufRead, BufReader, Read};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};
use tokio::time::timeout;

/// The longest wait for a line or for the end; only a broken program takes that long.
const PATIENCE: Duration = Duration::from_secs(180);

pub(crate) struct Process {
    child: Child,
    lines: UnboundedReceiver<String>,
    printed: Arc<Mutex<String>>,
}

impl Process {
    pub(crate) fn start(command: &mut Command) -> Self {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap_or_else(|e| panic!("{command:?} does not start: {e}"));
        let (sender, lines) = unbounded_channel();
        let printed = Arc::new(Mutex::new(String::new()));
        drain(child.stdout.take().unwrap(), Arc::clone(&printed), Some(sender));
        drain(child.stderr.take().unwrap(), Arc::clone(&printed), None);
        Self { child, lines, printed }
    }

    /// Waits for the next line of the standard output in which `find` finds something.
    pub(crate) async fn line<T>(&mut self, find: impl Fn(&str) -> Option<T>) -> T {
        match self.line_before_end(find).await {
            Some(found) => found,
            None => panic!("it ended before the line that was waited for:\n{}", self.printed()),
        }
    }

    /// The same; nothing when it ends before.
    pub(crate) async fn line_before_end<T>(&mut self, find: impl Fn(&str) -> Option<T>) -> Option<T> {
        let found = timeout(PATIENCE, async {
            while let Some(line) = self.lines.recv().await {
                if let Some(found) = find(&line) {
                    return Some(found);
                }
            }
            None
        });
        match found.await {
            Ok(found) => found,
            Err(_) => panic!("the line that was waited for did not come:\n{}", self.printed()),
        }
    }

    /// All that it has printed so far, errors included.
    pub(crate) fn printed(&self) -> String {
        self.printed.lock().unwrap().clone()
    }

    /// Ends it without warning, as a power cut would.
    pub(crate) fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Asks it to stop and waits until it has.
    pub(crate) async fn terminate(&mut self) -> ExitStatus {
        let sent = Command::new("kill").args(["-s", "TERM", &self.child.id().to_string()]).status().unwrap();
        assert!(sent.success(), "the signal could not be sent");
        // The output closes when the program ends.
        let ended = timeout(PATIENCE, async { while self.lines.recv().await.is_some() {} });
        assert!(ended.await.is_ok(), "it did not stop when asked:\n{}", self.printed());
        self.child.wait().unwrap()
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.kill();
    }
}

fn drain(from: impl Read + Send + 'static, printed: Arc<Mutex<String>>, lines: Option<UnboundedSender<String>>) {
    thread::spawn(move || {
        for line in BufReader::new(from).lines().map_while(Result::ok) {
            let mut printed = printed.lock().unwrap();
            printed.push_str(&line);
            printed.push('\n');
            if let Some(lines) = &lines {
                let _ = lines.send(line);
            }
        }
    });
}
