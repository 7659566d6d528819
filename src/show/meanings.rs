//! What every quantity can mean in this return, measured or not, alike in text and report.

use crate::judge::Reading;
use crate::judge::{Quantity, decimals, meaning, signed};
use crate::reading::CardUsed;

/// A quantity and its meaning, one row each, in the order of the table of meanings.
pub(super) fn rows(reading: &Reading) -> Vec<(&'static str, String)> {
    Quantity::ALL
        .iter()
        .map(|&quantity| (quantity.name(), meaning(quantity, &reading.circumstances).words()))
        .collect()
}

/// The card that was subtracted, in words.
pub(super) fn card(card: &CardUsed) -> String {
    let mut off = Vec::new();
    if !card.level.is_empty() {
        off.push("level".to_owned());
    }
    if card.response {
        off.push("response".to_owned());
    }
    off.extend(card.delay_us.map(|us| format!("delay {} us", signed(us, decimals(None, 1)))));
    off.extend(card.speed_percent.map(|percent| format!("speed {} %", signed(percent, 3))));
    let tape = card.calibrated.tape.as_deref().unwrap_or("a calibrated tape, not told which");
    format!(
        "{} ({}), made {} from {tape}; played {} times before; subtracted: {}",
        card.name,
        card.file,
        card.made_at,
        card.passes,
        if off.is_empty() { "nothing".to_owned() } else { off.join(", ") }
    )
}
