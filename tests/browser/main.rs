//! Walks through the pages in a real Chromium.
