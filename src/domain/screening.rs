//! The rule table: what an answer means for a service.
