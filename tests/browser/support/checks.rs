//! What must hold on every page, at every width and in both colour schemes.

use std::path::{Path, PathBuf};
use std::{env, fs};

use data_encoding::BASE64;
use serde_json::{Value, json};

use super::Browser;

/// The widths of the checks, in CSS pixels: the narrowest that WCAG 2.2 (1.4.10 Reflow) asks for, a tablet, a desk.
const WIDTHS: [u32; 3] = [320, 768, 1280];
const SCHEMES: [&str; 2] = ["light", "dark"];
/// Narrower than this is a phone, which lays a page out by its viewport element.
const PHONE: u32 = 600;

impl Browser {
    /// Checks the page at every width in both colour schemes, and keeps a picture of each under `artefacts/NAME/`.
    pub(crate) async fn inspect(&self, name: &str) {
        let found = self.problems(name).await;
        assert!(found.is_empty(), "{}", found.join("\n"));
    }

    /// What [`Self::inspect`] finds.
    pub(crate) async fn problems(&self, name: &str) -> Vec<String> {
        let mut found = Vec::new();
        for width in WIDTHS {
            self.set_width(width).await;
            for scheme in SCHEMES {
                self.set_scheme(scheme).await;
                self.picture(&artefacts().join(name).join(format!("{width}-{scheme}.png"))).await;
                let problems = self.accessibility_problems().await.into_iter().chain(self.sideways(width).await);
                found.extend(problems.map(|problem| format!("{width} px, {scheme}: {problem}")));
            }
        }
        self.devtools("Emulation.clearDeviceMetricsOverride", json!({})).await;
        self.set_scheme("").await;
        let address = self.address().await;
        found.into_iter().map(|problem| format!("{name}, {address}: {problem}")).collect()
    }

    /// Lays the page out as a screen of this width would, in CSS pixels.
    pub(crate) async fn set_width(&self, width: u32) {
        let metrics = json!({ "width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < PHONE });
        self.devtools("Emulation.setDeviceMetricsOverride", metrics).await;
    }

    async fn set_scheme(&self, scheme: &str) {
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.devtools("Emulation.setEmulatedMedia", features).await;
    }

    async fn picture(&self, file: &Path) {
        let metrics = self.devtools("Page.getLayoutMetrics", json!({})).await;
        let size = &metrics["cssContentSize"];
        let clip = json!({ "x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1 });
        let options = json!({ "format": "png", "captureBeyondViewport": true, "clip": clip });
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, BASE64.decode(self.capture(options).await.as_bytes()).unwrap()).unwrap();
    }

    /// A picture as the browser gives it, in base 64.
    pub(crate) async fn capture(&self, options: Value) -> String {
        let taken = self.devtools("Page.captureScreenshot", options).await;
        taken["data"].as_str().unwrap().to_owned()
    }

    /// What sticks out of a page that is this wide, in CSS pixels (WCAG 2.2, 1.4.10 Reflow).
    pub(crate) async fn sideways(&self, width: u32) -> Vec<String> {
        let script = "
            const page = document.documentElement, found = [];
            if (page.clientWidth > arguments[0]) found.push(`the page is laid out ${page.clientWidth} px wide`);
            if (page.scrollWidth <= page.clientWidth) return found;
            found.push(`the page scrolls sideways, ${page.scrollWidth} px in ${page.clientWidth} px`);
            for (const element of document.body.querySelectorAll('*')) {
                const right = element.getBoundingClientRect().right + window.scrollX;
                if (right > page.clientWidth + 1) found.push(`${element.outerHTML.slice(0, 80)} ends at ${right} px`);
            }
            return found.slice(0, 10);";
        texts(&self.client.execute(script, vec![json!(width)]).await.unwrap())
    }

    /// What axe-core finds against WCAG 2.2 at level AA.
    pub(crate) async fn accessibility_problems(&self) -> Vec<String> {
        let present = self.client.execute("return typeof axe", vec![]).await.unwrap();
        if present != "object" {
            self.client.execute(&axe(), vec![]).await.unwrap();
        }
        let script = "
            const done = arguments[arguments.length - 1];
            const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22a', 'wcag22aa'];
            axe.run(document, { runOnly: { type: 'tag', values: tags }, resultTypes: ['violations'] }).then(
                result => done(result.violations.map(rule => `${rule.id} (${rule.help}): `
                    + rule.nodes.slice(0, 5).map(node => node.html.slice(0, 120)).join(' … '))),
                error => done([`axe-core failed: ${error}`]));";
        texts(&self.client.execute_async(script, vec![]).await.unwrap())
    }
}

fn texts(found: &Value) -> Vec<String> {
    found.as_array().unwrap().iter().map(|text| text.as_str().unwrap().to_owned()).collect()
}

fn artefacts() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("artefacts")
}

fn axe() -> String {
    let file = env::var("PALPEBRA_AXE").unwrap_or_else(|_| panic!("PALPEBRA_AXE is not set: use tests/run"));
    fs::read_to_string(&file).unwrap_or_else(|e| panic!("{file}: {e}"))
}
