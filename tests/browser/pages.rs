//! Every page, as every kind of person who may see it, in each of its states: nothing against WCAG 2.2 AA, nothing scrolls
//! sideways, whatever it leads to is there, a client's page is light, and the console stays silent.
//!
//! `full` is the demo, with every form refused too; `names` the demo in German, with names that are long or run from right to left;
//! `empty` a studio that has just opened. Which walk sees which page stands in `places.rs`.

mod clients;
mod hostile;
mod letters;
mod person;
mod places;
mod rules;
mod team;

pub(crate) use person::Person;
pub(crate) use places::Walk;

const NOW: &str = "2026-03-02T08:00:00Z";
