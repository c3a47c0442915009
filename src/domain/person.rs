//! What is known of a person, read and checked.
