//! From a recipe to its timeline: one part after another.

use super::{PlacedPart, Recipe, Timeline, code};

impl From<&Recipe> for Timeline {
    /// Places every part. Starts and lengths are whole hundredths of a second.
    fn from(recipe: &Recipe) -> Self {
        // Counted in whole numbers, so that no rounding piles up.
        let mut now_cs = 0u64;
        let parts: Vec<PlacedPart> = recipe
            .parts
            .iter()
            .map(|part| {
                let start_s = now_cs as f64 / 100.0;
                now_cs += part.length_cs + part.gap_cs;
                PlacedPart {
                    id: part.id.clone(),
                    start_s,
                    length_s: part.length_cs as f64 / 100.0,
                    level_db: part.level_db,
                    channels: part.channels,
                    signal: part.signal.clone(),
                    serves: part.serves,
                    purpose: part.purpose.clone(),
                }
            })
            .collect();
        let length_s = now_cs as f64 / 100.0;
        Self {
            name: recipe.name.clone(),
            code: code::code(&parts, length_s),
            reference_hz: recipe.reference_hz,
            looped: recipe.looped,
            parts,
            length_s,
        }
    }
}
