//! Deckproof computes, from a recording of what a compact-cassette deck played back, what is out of line and which
//! adjustment moves it.
//!
//! The rooms, in the direction in which data flows (nothing on the left imports from the right):
//! [`trade`] -> [`signal`] -> [`programme`] -> [`capture`] -> [`reading`] -> [`measure`] -> [`judge`] -> [`show`].
//! [`deck`], the virtual deck, stands beside them and imports [`trade`] and [`signal`] only.

#[macro_use]
mod assert_within;

pub mod capture;
pub mod deck;
pub mod job;
pub mod judge;
pub mod measure;
pub mod programme;
pub mod reading;
pub mod show;
pub mod signal;
pub mod trade;
