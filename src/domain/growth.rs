//! The lash growth cycle: how much of a past lift is still there on a day.
