//! Pages of the client.
