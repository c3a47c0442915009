use super::*;

#[test]
fn the_shipped_table_says_the_same_in_every_language() {
    let shipped = RuleTable::built_in().unwrap();
    assert_eq!(shipped, RuleTable::parse(include_str!("default.json")).unwrap(), "English as it is written");
    for language in Language::ALL.into_iter().filter(|language| *language != Language::English) {
        let mut said = language.within(RuleTable::built_in).unwrap();
        assert_eq!(said.softened(&shipped), None);
        let mut english = shipped.content.clone();
        for (here, there) in said.content.words().zip(english.words()).filter(|(here, _)| !here.is_empty()) {
            assert_ne!(here, there, "not in {}", language.name());
            here.clear();
            there.clear();
        }
        assert_eq!(said.content, english, "only the words differ");
    }
}
