//! Calendar files, written and read, against independent programs.
#![expect(clippy::unwrap_used, clippy::expect_used, reason = "a test may stop at the first surprise")]

mod outside;
mod repeats;
mod written;

use std::io::Write as _;
use std::process::{Command, Stdio};

use serde::de::DeserializeOwned;

/// What the reference program says of an input.
fn reference<T: DeserializeOwned>(task: &str, input: &str) -> T {
    let python = std::env::var_os("PALPEBRA_PYTHON").expect("run this test through tests/run, which installs Python");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/calendars.py");
    let mut child = Command::new(python)
        .arg(script)
        .arg(task)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_owned();
    let writer = std::thread::spawn(move || stdin.write_all(input.as_bytes()).unwrap());
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}
