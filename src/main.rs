//! The `deckproof` command.

fn main() {}
