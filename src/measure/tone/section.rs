//! Dropouts in all steady tones.

use crate::measure::tone::dropouts;
use crate::measure::whole::played::{Outcome, Played};
use crate::programme::PlacedPart;
use crate::reading::Dropout;

/// Shorter tones are not looked at, s.
const SHORTEST_S: f64 = 1.0;

/// The dropouts in the order of time.
pub(crate) fn dropouts(played: &Played<'_>) -> Vec<Dropout> {
    // Without slates one tone may serve twice, and be followed twice.
    let read_for_flutter = |part: &PlacedPart| {
        played.parts().any(|(other, outcome)| {
            matches!(outcome, Outcome::Flutter(..)) && other.start_s == part.start_s && other.id != part.id
        })
    };
    let mut found: Vec<Dropout> = played
        .parts()
        .flat_map(|(part, outcome)| {
            let (bands, noise, stretch) = match outcome {
                Outcome::Tone(tone, stretch)
                    if part.length_s >= SHORTEST_S && played.is_first(part) && !read_for_flutter(part) =>
                {
                    // The band is 3.2 times as wide as that in which the noise was found.
                    let noise = tone.levels.map(|level| level.map_or(1.0, |level| 3.2 * level.noise_share));
                    (&tone.band, noise, stretch)
                }
                Outcome::Flutter(result, stretch) => (&result.1, [0.0; 2], stretch),
                Outcome::Harmonics(found, stretch) => (&found.band, [0.0; 2], stretch),
                _ => return Vec::new(),
            };
            dropouts::dropouts(bands, noise, &part.id, played.clock(stretch))
        })
        .collect();
    found.sort_by(|a, b| a.at_s.seconds().total_cmp(&b.at_s.seconds()));
    found
}
