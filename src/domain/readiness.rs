//! One verdict from age, skin tests, answers, consent and window, with all its reasons.
