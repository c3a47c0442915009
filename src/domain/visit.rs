//! The life of a visit as one state machine.
