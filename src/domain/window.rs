//! When a client may and should return: opens, due, lapsed, and what each date rests on.
