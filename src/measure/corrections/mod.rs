//! What is known of sound card and tape, subtracted from what was measured.

pub(crate) mod between;
pub(crate) mod card;
pub(crate) mod card_at_tone;
pub(crate) mod card_subtracted;
pub(crate) mod loopback;
pub(crate) mod tape_values;
