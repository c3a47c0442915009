//! A person who uses the keyboard alone.

use fantoccini::elements::Element;
use fantoccini::key::Key;

use super::Browser;

/// More stops than any page has before what somebody looks for.
const MOST_STOPS: usize = 200;

impl Browser {
    /// Goes from stop to stop until one's name begins so. Wherever the focus stops it must be seen (WCAG 2.2, 2.4.7 Focus
    /// Visible and 2.4.11 Focus Not Obscured).
    pub(crate) async fn tab_to(&self, beginning: &str) -> Element {
        let mut names = Vec::new();
        for _ in 0..MOST_STOPS {
            self.keys(&Key::Tab.to_string()).await;
            let stop = self.client.active_element().await.unwrap();
            if stop.tag_name().await.unwrap() == "body" {
                continue;
            }
            let name = self.name_of(&stop).await;
            let seen = "
                const e = document.activeElement, style = getComputedStyle(e), box = e.getBoundingClientRect();
                const ring = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
                const [x, y] = [box.left + Math.min(box.width, innerWidth) / 2, box.top + Math.min(box.height, 20) / 2];
                const top = document.elementFromPoint(x, y);
                return ring && top !== null && (e.contains(top) || top.contains(e) || [...(e.labels ?? [])].some(l => l.contains(top)));";
            let seen = self.client.execute(seen, vec![]).await.unwrap();
            assert!(seen == true, "the focus on {name:?} is not seen on {}", self.address().await);
            if name.starts_with(beginning) {
                return stop;
            }
            names.push(name);
        }
        panic!("the keyboard finds no {beginning:?} on {}: {names:?}", self.address().await);
    }

    /// Presses keys where the focus is.
    pub(crate) async fn keys(&self, keys: &str) {
        self.client.active_element().await.unwrap().send_keys(keys).await.unwrap();
    }

    /// Goes to a link or a button and presses Enter on it.
    pub(crate) async fn enter_on(&self, beginning: &str) {
        let stop = self.tab_to(beginning).await;
        self.act_on(&stop, stop.send_keys(&Key::Enter.to_string())).await;
    }

    /// Goes to a field and types into it.
    pub(crate) async fn type_into(&self, label: &str, text: &str) {
        self.tab_to(label).await;
        self.keys(text).await;
    }
}
