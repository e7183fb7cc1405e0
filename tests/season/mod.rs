//! Seasons from files: what loads, what is rejected, and what the messages say.

mod bad_input;
mod belongs;
mod contradictions;
mod damaged_parquet;
pub mod files;
mod folders;
mod mapping;
mod open_data;
pub mod published_data;
mod roundtrip;
mod slips;
mod tidying;
