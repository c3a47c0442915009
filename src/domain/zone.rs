//! Civil time and instants in an IANA zone.
