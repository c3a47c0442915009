//! The command line's answer about a list of lifts.

use clap::Parser;
use palpebra::cli::window::{WindowArgs, WindowRefused, run};
use serde_json::Value;
use time::macros::date;

#[derive(Debug, Parser)]
struct Typed {
    #[command(flatten)]
    args: WindowArgs,
}

fn typed(options: &str) -> Result<String, WindowRefused> {
    let words = ["window"].into_iter().chain(options.split_whitespace());
    run(&Typed::try_parse_from(words).unwrap().args, date!(2026 - 04 - 06))
}

fn json(options: &str) -> Value {
    serde_json::from_str(&typed(&format!("{options} --json")).unwrap()).unwrap()
}

#[test]
fn the_shares_are_those_of_the_check_values() {
    // Erlang 16 about 90 days, 28 and 84 days after the lifts (numerical integration).
    let answer = json("--lifts 2026-01-12,2026-03-09 --on 2026-04-06 --cycle observed --mean-days 90 --cv 0.25");
    let share = |key: &str| answer[key].as_f64().unwrap();
    assert!((share("share_lifted") - 0.688_890).abs() <= 1e-6);
    assert!((share("share_two_or_more") - 0.688_890).abs() <= 1e-6);
    assert!((share("share_three_or_more") - 0.133_920).abs() <= 1e-6);
    assert_eq!(share("mean_days"), 90.0);
}

#[test]
fn a_first_lift_tells_its_window_and_what_decides() {
    let answer = json("--lifts 2026-01-01 --on 2026-02-01");
    let word = |key: &str| answer[key].as_str().unwrap();
    assert_eq!((word("opens"), word("due"), word("lapsed")), ("2026-02-16", "2026-02-25", "2026-04-05"));
    assert_eq!((word("binding"), word("state"), word("cycle")), ("two_or_more", "not_yet", "observed"));
    assert_eq!(answer["contributors"][0]["reason"], "studio_minimum");
    assert_eq!(answer["contributors"][0]["date"], "2026-02-12");
    assert_eq!(answer["share_three_or_more"], 0.0);
}

#[test]
fn a_count_gives_ranges_and_leaves_the_floor() {
    // 5 of 60 on day 42 speak of a cycle far shorter than the set's.
    let answer = json("--lifts 2026-01-05,2026-02-16 --count 5/60@2026-02-16");
    let mean = &answer["mean_days"];
    let of = |key: &str| mean[key].as_f64().unwrap();
    assert!(of("low") < of("median") && of("median") < of("high") && of("high") < 90.0, "{mean}");
    assert_eq!((answer["opens"].as_str(), answer["binding"].as_str()), (Some("2026-03-30"), Some("studio_minimum")));
    assert_eq!(answer["ranges"]["opens"]["low"], "2026-03-30");
    assert!(answer["ranges"]["lapsed"]["low"].as_str() < answer["ranges"]["lapsed"]["high"].as_str());
}

#[test]
fn a_disturbed_client_is_not_fitted() {
    let answer = json("--lifts 2026-01-05 --count 5/60@2026-02-16 --disturbed serum");
    assert_eq!(answer["not_fitted"][0], "serum");
    assert_eq!(answer["mean_days"], 90.0);
}

#[test]
fn a_shortest_length_gives_both_figures() {
    let answer = json("--lifts 2026-02-23 --liftable-mm 1.2");
    let (long, all) = (answer["share_lifted"].as_f64().unwrap(), answer["of_all_lashes"]["share_lifted"].as_f64());
    assert!(all.unwrap() < long);
    assert_eq!(answer["cycle"], "observed");
}

#[test]
fn the_text_tells_what_the_json_tells() {
    let text = typed("--lifts 2026-01-05,2026-02-23 --count 31/60@2026-02-23").unwrap();
    for part in ["2026-04-06", "opens", "due", "lapsed", "(decides)", "not a promise", "Thibaut", "90 % from"] {
        assert!(text.contains(part), "{part} in {text}");
    }
}

#[test]
fn an_absent_day_is_today() {
    assert_eq!(json("--lifts 2026-02-23")["on"], "2026-04-06");
}

#[test]
fn what_cannot_be_is_refused_in_one_line() {
    let lifts = "--lifts 2026-01-05,2026-02-23";
    for options in [
        "--lifts 2026-02-23,2026-01-05",
        "--lifts 2026-02-23,2026-02-23",
        "--lifts 2026-04-07",
        "--lifts 2026-02-30",
        "--lifts 2026-02-23,",
        "--lifts yesterday",
        &format!("{lifts} --on 2026-02-22"),
        &format!("{lifts} --on soon"),
        &format!("{lifts} --cycle lunar"),
        &format!("{lifts} --cycle own"),
        &format!("{lifts} --mean-days 0"),
        &format!("{lifts} --mean-days -90"),
        &format!("{lifts} --mean-days NaN"),
        &format!("{lifts} --mean-days inf"),
        &format!("{lifts} --cv 0"),
        &format!("{lifts} --cv -0.3"),
        &format!("{lifts} --cv many"),
        &format!("{lifts} --growth-mm-per-day 0"),
        &format!("{lifts} --floor-days -1"),
        &format!("{lifts} --floor-days 6.5"),
        &format!("{lifts} --limit-two 0"),
        &format!("{lifts} --limit-three 1.2"),
        &format!("{lifts} --due -0.4"),
        &format!("{lifts} --due 0.1 --lapsed 0.4"),
        &format!("{lifts} --liftable-mm -1"),
        &format!("{lifts} --liftable-mm 100"),
        &format!("{lifts} --prior-sd 0"),
        &format!("{lifts} --count 61/60@2026-02-23"),
        &format!("{lifts} --count 0/0@2026-02-23"),
        &format!("{lifts} --count -1/60@2026-02-23"),
        &format!("{lifts} --count 31@2026-02-23"),
        &format!("{lifts} --count 31/60"),
        &format!("{lifts} --count 31/60@2026-01-05"),
        &format!("{lifts} --count 31/60@2026-04-07"),
        &format!("{lifts} --count 31/60@2026-02-23 --disturbed boredom"),
    ] {
        let refused = typed(options).expect_err(options).to_string();
        assert!(!refused.is_empty() && !refused.contains('\n'), "{options}: {refused}");
    }
    assert_eq!(WindowRefused::EXIT_CODE, 2);
}
