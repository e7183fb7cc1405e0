//! Seasons from files: what loads, what is rejected, and what the messages say.

mod files;
mod roundtrip;
