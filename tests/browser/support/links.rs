//! Where a page leads, and what it weighs.

use std::collections::BTreeSet;

use axum::http::Method;
use palpebra::web::routes::{self, Route};
use serde::Deserialize;

use super::Browser;

/// What a page of a client weighs at most, as it comes over the wire, and how many requests it takes.
const MOST_BYTES: u64 = 60_000;
const MOST_REQUESTS: u64 = 4;

#[derive(Deserialize)]
struct Leads {
    links: Vec<String>,
    forms: Vec<(String, String)>,
    lost: Vec<String>,
}

#[derive(Deserialize)]
struct Weight {
    bytes: u64,
    requests: u64,
}

/// An address without what tells one thing of a kind from another, so that one of each kind is tried.
fn kind(address: &str) -> String {
    let (path, query) = address.split_once('?').unwrap_or((address, ""));
    let part =
        |part: &str| if part.len() > 20 || part.parse::<u64>().is_ok() { "…".to_owned() } else { part.to_owned() };
    let path: Vec<_> = path.split('/').map(part).collect();
    let names: Vec<_> = query.split('&').map(|pair| pair.split('=').next().unwrap_or_default()).collect();
    format!("{}?{}", path.join("/"), names.join("&"))
}

/// The route that answers such a request.
pub(crate) fn route(method: &Method, path: &str) -> Option<Route> {
    let fits = |pattern: &str| {
        let (pattern, path): (Vec<_>, Vec<_>) = (pattern.split('/').collect(), path.split('/').collect());
        pattern.len() == path.len()
            && std::iter::zip(pattern, path).all(|(pattern, part)| pattern.starts_with('{') || pattern == part)
    };
    let found = routes::table().into_iter().filter(|route| route.method == *method && fits(route.path));
    // A part that stands in the pattern itself goes before one that may be anything.
    found.min_by_key(|route| route.path.matches('{').count())
}

/// Whether the program answers such a form.
fn takes(method: &str, path: &str) -> bool {
    route(&method.to_uppercase().parse().unwrap(), path).is_some()
}

impl Browser {
    /// Links, forms, styles, scripts and pictures of the page that lead nowhere. A kind of address that is `known` to lead
    /// somewhere is not tried again.
    pub(crate) async fn dead_ends(&self, known: &mut BTreeSet<String>) -> Vec<String> {
        let script = "
            const own = (address) => { const url = new URL(address, location.href); return url.origin === location.origin ? url.pathname + url.search : '' };
            const all = (selector, name) => [...document.querySelectorAll(selector)].map(element => element.getAttribute(name));
            const links = [...all('a[href]', 'href'), ...all('link[href]', 'href'), ...all('[src]', 'src')];
            const lost = all('a[href^=\"#\"]', 'href').filter(href => href.length > 1 && !document.getElementById(href.slice(1)));
            const inside = all('[for]', 'for').filter(id => !document.getElementById(id)).map(id => `the label of ${id}`);
            const forms = [...document.forms].filter(form => form.method !== 'dialog').map(form => [form.getAttribute('method') || 'get', own(form.getAttribute('action') || location.href).split('?')[0]]);
            const wanted = links.filter(href => !href.startsWith('#') && !/^(mailto|tel|data|blob):/.test(href)).map(own).filter(href => href !== '');
            return { links: [...new Set(wanted)], forms, lost: [...lost, ...inside] };";
        let leads: Leads = serde_json::from_value(self.client.execute(script, vec![]).await.unwrap()).unwrap();
        let mut found: Vec<_> = leads.lost.iter().map(|lost| format!("{lost} is not on the page")).collect();
        let strays = leads.forms.iter().filter(|(method, path)| !takes(method, path));
        found.extend(strays.map(|(method, path)| format!("no form is taken by {method} {path}")));
        for link in leads.links.iter().filter(|link| !known.contains(&kind(link))).collect::<Vec<_>>() {
            let status = self.status(link).await;
            if (200..400).contains(&status) {
                known.insert(kind(link));
            } else {
                found.push(format!("{link} answers with {status}"));
            }
        }
        found
    }

    /// What is too much for a page of a client.
    pub(crate) async fn too_heavy(&self) -> Vec<String> {
        // A browser asks for the icon once, by itself, so most pages' clocks don't know of it.
        let script = "
            const all = [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')];
            const icons = [...document.querySelectorAll('link[rel~=icon]')].map(icon => icon.href);
            return { bytes: all.reduce((sum, one) => sum + one.encodedBodySize, 0), requests: new Set([...all.map(one => one.name), ...icons]).size };";
        let weight: Weight = serde_json::from_value(self.client.execute(script, vec![]).await.unwrap()).unwrap();
        let mut found = Vec::new();
        if weight.bytes > MOST_BYTES {
            found.push(format!("{} bytes", weight.bytes));
        }
        if weight.requests > MOST_REQUESTS {
            found.push(format!("{} requests", weight.requests));
        }
        assert!(weight.bytes > 1000 && weight.requests >= 3, "{} bytes, {} requests", weight.bytes, weight.requests);
        found
    }
}

#[test]
fn addresses_of_one_kind_are_one() {
    let id = "aaaaaaaaaaaaaaaaaaaaaaaaaa";
    assert_eq!(kind(&format!("/me/visits/{id}/move?from=2026-03-04")), "/me/visits/…/move?from");
    assert!(takes("post", &format!("/me/visits/{id}/move")) && !takes("post", &format!("/me/visits/{id}/moved")));
}
