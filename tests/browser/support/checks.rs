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

/// What axe-core leaves to a person: the rule, its reason, and what somebody saw who looked.
const LOOKED_AT: &[(&str, &str, &str)] = &[(
    "color-contrast",
    "drawn",
    "text in a drawing, which axe-core takes for a part of a picture: `DRAWN` measures it",
)];

/// Text in a drawing that can't be told from the page or the card behind it: 4.5 to 1 at least (WCAG 2.2, 1.4.3). The
/// stylesheet keeps what is drawn below words away from them.
const DRAWN: &str = "
    const rgb = colour => colour.match(/[\\d.]+/g).map(Number);
    const light = ([r, g, b]) => [r, g, b].map(part => part / 255)
        .map(part => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4)
        .reduce((sum, part, at) => sum + part * [0.2126, 0.7152, 0.0722][at], 0);
    const behind = element => {
        for (let one = element; one; one = one.parentElement) {
            const colour = rgb(getComputedStyle(one).backgroundColor);
            if ((colour[3] ?? 1) === 1) return colour;
        }
        return [255, 255, 255];
    };
    return [...document.querySelectorAll('svg text')].filter(text => text.checkVisibility()).flatMap(text => {
        const [dark, pale] = [rgb(getComputedStyle(text).fill), behind(text.closest('svg'))].map(light).sort((a, b) => a - b);
        const ratio = (pale + 0.05) / (dark + 0.05);
        return ratio >= 4.5 ? [] : [`${ratio.toFixed(2)} to 1 in a drawing: ${text.outerHTML.slice(0, 120)}`];
    });";

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
        // Nothing moves, so that no picture and no contrast is that of a moment between two colours.
        self.prefer(&[("prefers-color-scheme", scheme), ("prefers-reduced-motion", "reduce")]).await;
    }

    /// What somebody has told her system.
    async fn prefer(&self, wishes: &[(&str, &str)]) {
        let wishes: Vec<_> = wishes.iter().map(|(name, value)| json!({ "name": name, "value": value })).collect();
        self.devtools("Emulation.setEmulatedMedia", json!({ "features": wishes })).await;
    }

    /// What is wrong for those who zoom to 200 % (WCAG 2.2, 1.4.4), whose system has colours of its own, and who want
    /// nothing to move.
    pub(crate) async fn wishes_unmet(&self) -> Vec<String> {
        let mut found = Vec::new();
        // A window of 1280 px at 200 % lays a page out in half of them.
        self.set_width(640).await;
        found.extend(self.sideways(640).await.into_iter().map(|problem| format!("200 %: {problem}")));
        self.set_width(1280).await;
        self.client.execute("document.documentElement.style.fontSize = '200%'", vec![]).await.unwrap();
        found.extend(self.sideways(1280).await.into_iter().map(|problem| format!("words of 200 %: {problem}")));
        self.client.execute("document.documentElement.style.fontSize = ''", vec![]).await.unwrap();
        self.prefer(&[("forced-colors", "active"), ("prefers-reduced-motion", "reduce")]).await;
        // Colours that tell a control from the page are gone, so a line has to, or what stands for links.
        let script = "
            if (!matchMedia('(forced-colors: active)').matches) return ['no forced colours'];
            const shown = [...document.body.querySelectorAll('button, .button, .slot, .pick, input, select, textarea, .verdict, .tag')]
                .filter(e => e.checkVisibility({ visibilityProperty: true }) && !e.closest('.vh') && !['radio', 'checkbox', 'hidden'].includes(e.type));
            const bare = shown.filter(e => {
                const style = getComputedStyle(e);
                return (style.borderTopStyle === 'none' || parseFloat(style.borderTopWidth) < 1) && !style.textDecorationLine.includes('underline');
            });
            const moving = [...document.querySelectorAll('*')].filter(e => {
                const style = getComputedStyle(e);
                return style.animationName !== 'none' || style.transitionDuration.split(',').some(time => parseFloat(time) > 0);
            });
            return [...bare.map(e => `no line in forced colours: ${e.outerHTML.slice(0, 80)}`), ...moving.map(e => `it moves: ${e.outerHTML.slice(0, 80)}`)].slice(0, 10);";
        found.extend(texts(&self.client.execute(script, vec![]).await.unwrap()));
        found
    }

    /// How far the page moved under the reader's eyes while it was put together: Cumulative Layout Shift, as the Layout
    /// Instability API tells of it.
    pub(crate) async fn shifts(&self) -> Vec<String> {
        let script = "
            const done = arguments[arguments.length - 1];
            const observer = new PerformanceObserver(() => {});
            observer.observe({ type: 'layout-shift', buffered: true });
            requestAnimationFrame(() => setTimeout(() => {
                const shifts = observer.takeRecords().filter(one => !one.hadRecentInput);
                done(shifts.map(one => `it shifted by ${one.value}: ${one.sources.map(from => from.node?.outerHTML?.slice(0, 60)).join(' … ')}`));
            }));";
        texts(&self.client.execute_async(script, vec![]).await.unwrap())
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

    /// What axe-core finds against WCAG 2.2 at level AA, and what it can't decide and nobody has looked at.
    pub(crate) async fn accessibility_problems(&self) -> Vec<String> {
        let present = self.client.execute("return typeof axe", vec![]).await.unwrap();
        if present != "object" {
            self.client.execute(&axe(), vec![]).await.unwrap();
        }
        let script = "
            const [looked_at, done] = arguments;
            const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22a', 'wcag22aa'];
            // Single letters count as words.
            const checks = { 'color-contrast': { options: { ignoreLength: true } } };
            const tell = (rule, nodes) => nodes.length === 0 ? []
                : [`${rule.id} (${rule.help}): ` + nodes.slice(0, 5).map(node => node.html.slice(0, 120)).join(' … ')];
            const drawn = node => document.querySelector(node.target[0])?.closest('svg') ? 'drawn' : null;
            const why = node => [...node.any, ...node.all, ...node.none].map(check => drawn(node) ?? check.data?.messageKey ?? check.id);
            const open = (rule, node) => !why(node).every(reason => looked_at.includes(`${rule.id} ${reason}`));
            axe.run(document, { runOnly: { type: 'tag', values: tags }, checks, resultTypes: ['violations', 'incomplete'] }).then(
                result => done([
                    ...result.violations.flatMap(rule => tell(rule, rule.nodes)),
                    ...result.incomplete.flatMap(rule => rule.nodes.filter(node => open(rule, node)).flatMap(node =>
                        tell(rule, [node]).map(told => `undecided, ${why(node)}: ${told}`))),
                ]),
                error => done([`axe-core failed: ${error}`]));";
        let looked_at: Vec<String> = LOOKED_AT.iter().map(|(rule, reason, _)| format!("{rule} {reason}")).collect();
        let mut found = texts(&self.client.execute_async(script, vec![json!(looked_at)]).await.unwrap());
        found.extend(texts(&self.client.execute(DRAWN, vec![]).await.unwrap()));
        found
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
