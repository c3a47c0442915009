//! A browser of its own for each person in a test.

use std::env;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;
use std::time::Duration;

use axum::http::Method;
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use fantoccini::wd::{Capabilities, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use reqwest::Url;
use serde_json::{Value, json};
use tempfile::TempDir;

use super::Process;

/// A running browser with an empty profile. End it with [`Browser::close`], which looks at what the console says.
pub(crate) struct Browser {
    pub(crate) client: Client,
    driver: Process,
    port: u16,
    session: String,
    closed: bool,
    _profile: TempDir,
}

impl Browser {
    pub(crate) async fn new() -> Self {
        Self::start(json!({})).await
    }

    /// A browser that runs no script of any page. The scripts of the tests themselves still run.
    pub(crate) async fn without_scripts() -> Self {
        const BLOCK: u8 = 2;
        Self::start(json!({ "profile.managed_default_content_settings.javascript": BLOCK })).await
    }

    async fn start(preferences: Value) -> Self {
        let (driver, port) = drive().await;
        let profile = tempfile::tempdir().unwrap();
        let capabilities: Capabilities = serde_json::from_value(json!({
            "browserName": "chrome",
            "goog:loggingPrefs": { "browser": "ALL" },
            "goog:chromeOptions": {
                "binary": program("chromium"),
                "prefs": preferences,
                "args": [
                    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                    "--disable-background-networking", "--disable-component-update", "--disable-sync",
                    "--disable-dev-shm-usage", "--window-size=1280,900",
                    format!("--user-data-dir={}", profile.path().display()),
                ],
            },
        }))
        .unwrap();
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .unwrap_or_else(|e| panic!("no browser: {e}\n{}", driver.printed()));
        let session = client.session_id().await.unwrap().unwrap();
        Self { client, driver, port, session, closed: false, _profile: profile }
    }

    /// Fails when a page wrote an error to the console or the browser refused something of a page, then ends the browser.
    pub(crate) async fn close(mut self) {
        let errors = self.console_errors().await;
        self.closed = true;
        assert!(errors.is_empty(), "errors in the browser's console:\n{}", errors.join("\n"));
    }

    /// The errors since the last time that this was asked. A form refused with 422 is no error.
    pub(crate) async fn console_errors(&self) -> Vec<String> {
        let entries = self.send(Method::POST, "se/log", Some(json!({ "type": "browser" }))).await.unwrap();
        let entries = entries.as_array().unwrap().iter();
        let errors = entries
            .filter(|entry| entry["level"] == "SEVERE")
            .map(|entry| entry["message"].as_str().unwrap().to_owned());
        errors.filter(|message| !message.contains("responded with a status of 422")).collect()
    }

    /// Gives it a device that makes passkeys and answers with them, and whose holder always agrees (W3C, Web Authentication,
    /// level 3, section 11.3: Add Virtual Authenticator).
    pub(crate) async fn hold_key(&self) {
        let device = json!({
            "protocol": "ctap2", "transport": "internal", "hasResidentKey": true, "hasUserVerification": true,
            "isUserConsenting": true, "isUserVerified": true,
        });
        self.send(Method::POST, "webauthn/authenticator", Some(device)).await.unwrap();
    }

    /// Sends a command of the Chrome DevTools Protocol.
    pub(crate) async fn devtools(&self, command: &str, parameters: Value) -> Value {
        let body = json!({ "cmd": command, "params": parameters });
        self.send(Method::POST, "goog/cdp/execute", Some(body)).await.unwrap()
    }

    /// The name and role that a screen reader is given for an element.
    pub(crate) async fn name_of(&self, element: &Element) -> String {
        let path = format!("element/{}/computedlabel", element.element_id());
        let name = self.send(Method::GET, &path, None).await.unwrap();
        // The browser puts a space before words that are hidden from sight.
        squeeze(name.as_str().unwrap()).replace(" ,", ",").replace(" :", ":")
    }

    async fn send(&self, method: Method, path: &str, body: Option<Value>) -> Result<Value, CmdError> {
        self.client.issue_cmd(Custom { method, path: path.to_owned(), body }).await
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The driver leaves the browser running when it is killed, so the session is ended first; and a test that
        // fails drops us where nothing can be awaited.
        if let Ok(mut driver) = TcpStream::connect(("127.0.0.1", self.port)) {
            let _ = driver.set_read_timeout(Some(Duration::from_secs(10)));
            let end =
                format!("DELETE /session/{} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n", self.session);
            let _ = driver.write_all(end.as_bytes());
            let _ = driver.read(&mut [0; 512]);
        }
        self.driver.kill();
        assert!(self.closed || thread::panicking(), "end a browser with `close`, which looks at the console");
    }
}

/// Text with every run of white space made one space.
pub(crate) fn squeeze(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A driver, and where it listens. It takes a free port of one kind of address and ends when the same of the other kind is
/// taken, so it is asked again.
async fn drive() -> (Process, u16) {
    loop {
        let mut driver = Process::start(Command::new(program("chromedriver")).arg("--port=0"));
        let port = |line: &str| line.trim_end_matches('.').rsplit_once("successfully on port ")?.1.parse().ok();
        match driver.line_before_end(port).await {
            Some(port) => return (driver, port),
            None => assert!(driver.printed().contains("port not available"), "{}", driver.printed()),
        }
    }
}

fn program(name: &str) -> PathBuf {
    let path = env::var_os("PATH").unwrap_or_default();
    let mut places = env::split_paths(&path).map(|folder| folder.join(name));
    places.find(|file| Path::is_file(file)).unwrap_or_else(|| panic!("{name} is missing: run tests/run --setup"))
}

/// A command that fantoccini has no method for.
#[derive(Debug)]
struct Custom {
    method: Method,
    path: String,
    body: Option<Value>,
}

impl WebDriverCompatibleCommand for Custom {
    fn endpoint(&self, base: &Url, session: Option<&str>) -> Result<Url, <Url as std::str::FromStr>::Err> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _: &Url) -> (Method, Option<String>) {
        (self.method.clone(), self.body.as_ref().map(Value::to_string))
    }
}
