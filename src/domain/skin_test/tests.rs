use super::*;

#[test]
fn choices_are_taken_up_to_their_limits() {
    let fits = |span| TestRules::parse(48, Validity::For(span)).is_ok();
    for (span, taken) in [
        (Span::Months(1), true),
        (Span::Days(27), false),
        (Span::Days(28), true),
        (Span::Days(366), true),
        (Span::Days(367), false),
    ] {
        assert_eq!(fits(span), taken, "{span:?}");
    }
}

#[test]
fn results_are_told_in_words_and_hidden_from_debug() {
    let words: std::collections::BTreeSet<String> = TestResult::ALL.iter().map(ToString::to_string).collect();
    assert!(words.len() == TestResult::ALL.len() && words.iter().all(|words| words.len() > 3), "{words:?}");
    let at = time::macros::datetime!(2026-03-09 10:00 UTC);
    let mut test = SkinTest {
        id: SkinTestId::from_random([1; 16]),
        product: ProductId::from_random([1; 16]),
        applied_at: at,
        reliable: true,
        voided: None,
        readings: Vec::new(),
    };
    let look = |at| Reading { at, result: TestResult::ItchOrRaised, by: ReadBy::Practitioner };
    assert_eq!(test.read(look(at - Duration::SECOND), at), Err(ReadingRefused::BeforeApplied));
    assert_eq!(test.may_be_voided(true, ""), Ok(()), "nothing was seen");
    let faint = Reading { at, result: TestResult::FaintPink, by: ReadBy::Client };
    let faint = SkinTest { readings: vec![faint], ..test.clone() };
    assert!(faint.unclear() && !test.unclear());
    assert_eq!(faint.may_be_voided(false, " "), Err(VoidRefused::WantsReason));
    assert_eq!(faint.may_be_voided(false, "It was another client's."), Ok(()));
    assert_eq!(test.read(look(at), at), Ok(()), "eyes may burn at once");
    assert!(test.failed());
    let why = "It was another client's.";
    assert_eq!(test.may_be_voided(true, why), Err(VoidRefused::Unsettled));
    assert_eq!(test.may_be_voided(false, " \u{a0} "), Err(VoidRefused::WantsReason));
    assert_eq!(test.may_be_voided(false, why), Ok(()));
    let shown = format!("{:?} {test:?}", test.readings[0]);
    assert!(shown.starts_with("Reading(..) SkinTest {") && !shown.contains("Itch"), "{shown}");
}
