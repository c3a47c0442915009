//! nginx and Caddy, as the samples set them up, before the real program: what reaches a browser, and what is kept out.
#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may fail where it stands")]

use serde_json::{Value, json};
use tokio::process::Command;

use crate::process::{Program, folder};

#[tokio::test(flavor = "multi_thread")]
async fn the_sample_for_nginx_keeps_what_it_promises() {
    keeps_what_it_promises("nginx", "nginx.conf").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_sample_for_caddy_keeps_what_it_promises() {
    keeps_what_it_promises("caddy", "Caddyfile").await;
}

async fn keeps_what_it_promises(kind: &str, sample: &str) {
    let (folder, _) = folder().await;
    let set = "export PALPEBRA_BASE_URL=https://book.example.org PALPEBRA_TRUSTED_PROXY=127.0.0.1;";
    let program = Program::start(folder.path(), set, "info").await;
    let here = env!("CARGO_MANIFEST_DIR");
    let python = std::env::var_os("PALPEBRA_PYTHON").unwrap();
    let output = Command::new(python)
        .arg(format!("{here}/tests/reference/proxy.py"))
        .arg(kind)
        .arg(format!("{here}/deploy/{sample}"))
        .arg(program.url.rsplit(':').next().unwrap())
        .output()
        .await
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();

    assert_eq!(told["plain_page"], json!([301, "https://book.example.org/services/x?y=1"]));
    assert_eq!(told["plain_form"], 403, "its sender is to notice");
    assert_eq!(told["page"], json!([200, "max-age=63072000"]));
    let cookies = told["cookies"].as_array().unwrap();
    assert!(!cookies.is_empty());
    for cookie in cookies {
        let cookie = cookie.as_str().unwrap();
        assert!(cookie.starts_with("__Host-") && cookie.contains("Secure") && cookie.contains("HttpOnly"), "{cookie}");
    }
    assert_eq!(told["form"], 200, "Host and Origin agree behind it");
    assert_eq!(told["forged_form"], 403);
    assert_eq!((&told["tls"]["1.0"], &told["tls"]["1.1"]), (&Value::Null, &Value::Null), "{told}");
    for version in ["1.2", "1.3"] {
        assert_eq!(told["tls"][version][0], format!("TLSv{version}"), "{told}");
    }
    let weak = told["weak"].as_object().unwrap();
    assert!(weak.len() >= 3, "{told}");
    assert!(weak.values().all(Value::is_null), "{told}");
    assert!(told["spoofed"].as_array().unwrap().contains(&json!(429)), "{told}");

    assert_eq!((&told["without_program"], &told["logged"]), (&json!(502), &json!([])), "a path may be a secret");

    let log = program.stop(folder.path()).await;
    let passed_on = log.lines().filter(|line| line.contains("\"POST\"") && line.contains("\"why\":\"form\"")).count();
    assert_eq!(passed_on, 1, "the forged form, and not the one in the clear: {log}");
}
