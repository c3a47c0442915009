//! The pictures: well-formed, described, without style attributes, and true to their tables.

use super::day;
use palpebra::documents::svg::{
    Belief, Candidate, Mark, Picture, ShareInput, ShareRow, compare_rules, share_over_time,
};
use palpebra::domain::growth::{Count, CycleName, CycleSet, LiftHistory, PersonalFit, Prior};
use palpebra::domain::window::{GrowthRule, Limits, RetouchRule, Wait, window};
use scraper::{Html, Selector};

/// Every element that is opened is closed in its turn, and no attribute is written twice.
fn assert_well_formed(svg: &str) {
    let mut open = Vec::new();
    let mut rest = svg;
    while let Some(at) = rest.find('<') {
        let end = at + rest[at..].find('>').unwrap();
        let tag = &rest[at + 1..end];
        let name = tag.trim_start_matches('/').split([' ', '/']).next().unwrap();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "in {svg}");
        } else if !tag.ends_with('/') {
            open.push(name);
        }
        let mut names: Vec<&str> = tag.split('"').step_by(2).filter_map(|part| part.trim().strip_suffix('=')).collect();
        let all = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), all, "{tag}");
        rest = &rest[end + 1..];
    }
    assert!(open.is_empty(), "{open:?}");
    for ampersand in svg.match_indices('&').map(|(at, _)| &svg[at..]) {
        let known = ["&amp;", "&lt;", "&gt;", "&quot;", "&#39;"].iter().any(|entity| ampersand.starts_with(entity));
        assert!(known, "{}", &ampersand[..10.min(ampersand.len())]);
    }
}

/// Named by its title and description, fit for a page under a strict policy.
fn assert_accessible(svg: &str) {
    assert_well_formed(svg);
    for forbidden in ["style=", "<style", "<script", "href", " on", "NaN", "inf"] {
        let outside_text = svg.split('<').map(|part| part.split('>').next().unwrap()).collect::<Vec<_>>().join("\n");
        assert!(!outside_text.contains(forbidden), "{forbidden}");
    }
    let page = Html::parse_fragment(svg);
    let root = page.select(&Selector::parse("svg[role=img]").unwrap()).next().unwrap();
    let names: Vec<&str> = root.value().attr("aria-labelledby").unwrap().split(' ').collect();
    for (name, element) in names.into_iter().zip(["title", "desc"]) {
        let named = Selector::parse(&format!("svg > {element}[id='{name}']")).unwrap();
        let text: String = page.select(&named).next().unwrap().text().collect();
        assert!(text.len() > 10, "{element}: {text}");
    }
}

fn picture(lifts: &[i64], today: i64, counts: &[Count], extra: &[Wait]) -> Picture<ShareRow> {
    let history = LiftHistory::parse(lifts.iter().map(|&n| day(n)).collect(), day(today)).unwrap();
    let rule = GrowthRule::default();
    let window = window(history.days(), &RetouchRule::Growth(rule.clone()), extra).unwrap();
    let fit = PersonalFit::new(rule.cycle(), Prior::default(), counts, &[]);
    let (mean_days, belief) = fit.map_or_else(
        |_| (Prior::default().mean_days(rule.cycle()), Belief::Assumed),
        |fit| (fit.mean_days(), Belief::Counted(fit.counts())),
    );
    let (lifts, today) = (&history, day(today));
    let input = ShareInput { id: "p1", rule: &rule, mean_days, belief, lifts, window: &window, today };
    share_over_time(&input).unwrap().unwrap()
}

#[test]
fn a_client_is_drawn_with_lifts_today_window_and_band() {
    let history = LiftHistory::parse(vec![day(0)], day(49)).unwrap();
    let count = Count::parse(31, 60, &history, day(49)).unwrap();
    let picture = picture(&[0, 49, 101], 120, &[count], &[]);
    assert_accessible(&picture.svg);
    let page = Html::parse_fragment(&picture.svg);
    let number = |what: &str| page.select(&Selector::parse(what).unwrap()).count();
    assert_eq!((number(".band"), number(".share"), number("line.lift")), (3, 3, 3));
    for line in ["line.today", "line.opens", "line.due", "line.lapsed"] {
        assert_eq!(number(line), 1, "{line}");
    }
    assert!(picture.svg.contains("fitted to one count"));
    write_artefact("share-over-time.svg", &picture.svg);
}

#[test]
fn the_table_has_the_shares_of_the_model() {
    let picture = picture(&[0, 49], 70, &[], &[]);
    let cycle = CycleSet::default();
    let today = picture.rows.iter().find(|row| row.marks.contains(&Mark::Today)).unwrap();
    assert_eq!(today.share.median, cycle.still_lifted(21.0));
    let (low, high) = (90.0 * (-0.25 * 1.644_853_627_f64).exp(), 90.0 * (0.25 * 1.644_853_627_f64).exp());
    let at = |mean| cycle.with_mean(mean).unwrap().still_lifted(21.0).get();
    assert!((today.share.low.get() - at(low)).abs() < 1e-9 && (today.share.high.get() - at(high)).abs() < 1e-9);
    assert!(picture.rows.is_sorted_by(|a, b| a.date < b.date));
    let lifts: Vec<_> = picture.rows.iter().filter(|row| row.marks.contains(&Mark::Lift)).map(|row| row.date).collect();
    assert_eq!(lifts, [day(0), day(49)]);
    assert!(picture.rows.iter().all(|row| row.share.low <= row.share.median && row.share.median <= row.share.high));
    assert_eq!(picture.rows.last().unwrap().marks, [Mark::Lapsed]);
}

#[test]
fn odd_histories_are_drawn_too() {
    let wait = Wait::Health { question: "eye_surgery".to_owned(), until: day(900) };
    for picture in [
        picture(&[0], 0, &[], &[]),
        picture(&[0], 5000, &[], &[]),
        picture(&[0, 1, 2, 3, 4, 5, 6, 7], 7, &[], &[]),
        picture(&[0], 10, &[], &[wait]),
    ] {
        assert_accessible(&picture.svg);
        assert!(!picture.rows.is_empty());
    }
}

#[test]
fn sets_and_limits_are_compared_by_their_windows() {
    let limits = Limits::parse(0.4, 0.2, 0.3, 0.1).unwrap();
    let mut rules: Vec<(String, GrowthRule)> = CycleName::SHIPPED
        .iter()
        .map(|&name| {
            let set = CycleSet::shipped(name).unwrap();
            (name.as_str().to_owned(), GrowthRule::parse(set, Limits::default(), 42).unwrap())
        })
        .collect();
    rules.push((
        "<now> & a label too long for its place".to_owned(),
        GrowthRule::parse(CycleSet::default(), limits, 60).unwrap(),
    ));
    let candidates: Vec<Candidate<'_>> = rules.iter().map(|(label, rule)| Candidate { label, rule }).collect();
    let picture = compare_rules("c1", &candidates);
    assert_accessible(&picture.svg);
    let edges: Vec<_> = picture.rows.iter().map(|row| (row.opens, row.due, row.lapsed)).collect();
    assert_eq!(edges[..3], [(46, 55, 94), (76, 91, 157), (121, 146, 251)]);
    assert!(edges[3].0 >= 60 && edges[3].1 >= edges[3].0);
    assert!(picture.rows.iter().all(|row| row.opens_again >= 42));
    write_artefact("rules-compared.svg", &picture.svg);
}

/// Keeps a picture where a person can look at it.
fn write_artefact(name: &str, svg: &str) {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/artefacts");
    std::fs::create_dir_all(folder).unwrap();
    std::fs::write(format!("{folder}/{name}"), svg).unwrap();
}
