//! The recipes that come with the program.

use super::{ProgrammeError, Recipe, Timeline};
use std::path::Path;

/// Names and texts, in the order in which they are listed.
const TEXTS: [(&str, &str); 18] = [
    ("full", include_str!("../../tones/full.toml")),
    ("first-look", include_str!("../../tones/first-look.toml")),
    ("playback", include_str!("../../tones/playback.toml")),
    ("flutter", include_str!("../../tones/flutter.toml")),
    ("noise", include_str!("../../tones/noise.toml")),
    ("saturation", include_str!("../../tones/saturation.toml")),
    ("separation", include_str!("../../tones/separation.toml")),
    ("erasing", include_str!("../../tones/erasing.toml")),
    ("record-trim", include_str!("../../tones/record-trim.toml")),
    ("monitor-trim", include_str!("../../tones/monitor-trim.toml")),
    ("bias-sweep", include_str!("../../tones/bias-sweep.toml")),
    ("turn-azimuth", include_str!("../../tones/turn-azimuth.toml")),
    ("turn-level", include_str!("../../tones/turn-level.toml")),
    ("turn-bias", include_str!("../../tones/turn-bias.toml")),
    ("turn-speed", include_str!("../../tones/turn-speed.toml")),
    ("noise-reduction", include_str!("../../tones/noise-reduction.toml")),
    ("injection", include_str!("../../tones/injection.toml")),
    ("injection-loop", include_str!("../../tones/injection-loop.toml")),
];

fn parse(name: &str, text: &str) -> Recipe {
    // A test parses every one of them.
    Recipe::parse(text, &format!("tones/{name}.toml")).expect("built-in recipes are sound")
}

/// Names of the built-in recipes, in the order in which they are listed.
pub fn built_in_names() -> impl Iterator<Item = &'static str> {
    TEXTS.into_iter().map(|(name, _)| name)
}

/// All built-in recipes.
pub fn built_in() -> Vec<Recipe> {
    TEXTS.into_iter().map(|(name, text)| parse(name, text)).collect()
}

/// The text of the built-in recipe `name`, as a start for a recipe of one's own; `None` if there is none.
pub fn built_in_text(name: &str) -> Option<&'static str> {
    TEXTS.into_iter().find(|(built_in, _)| *built_in == name).map(|(_, text)| text)
}

/// The built-in recipe `name`; `None` if there is none.
pub fn built_in_by_name(name: &str) -> Option<Recipe> {
    built_in_text(name).map(|text| parse(name, text))
}

/// The built-in recipe whose slates carry `code`; `None` if there is none.
pub fn built_in_by_code(code: u16) -> Option<Recipe> {
    built_in().into_iter().find(|recipe| Timeline::from(recipe).code == code)
}

/// The recipe that `name_or_path` means: a built-in name, or else the path of a recipe file.
///
/// # Errors
///
/// [`ProgrammeError::NoSuchRecipe`] if it is neither; what [`Recipe::load`] returns if it is a file.
pub fn find(name_or_path: &str) -> Result<Recipe, ProgrammeError> {
    if let Some(recipe) = built_in_by_name(name_or_path) {
        return Ok(recipe);
    }
    let path = Path::new(name_or_path);
    if path.exists() {
        return Recipe::load(path);
    }
    let built_in: Vec<&str> = built_in_names().collect();
    Err(ProgrammeError::NoSuchRecipe { name: name_or_path.into(), built_in: built_in.join(", ") })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::programme::{PlacedPart, Serves, Signal, slate};

    #[test]
    fn every_built_in_recipe_is_found_by_name_and_by_code() {
        for name in built_in_names() {
            let recipe = find(name).unwrap();
            assert_eq!(recipe.name, name);
            assert_eq!(built_in_by_code(Timeline::from(&recipe).code).unwrap().name, name);
        }
        assert!(built_in_by_code(0).is_none());
        let message = find("no/such.toml").unwrap_err().to_string();
        assert!(message.contains("first-look"), "{message}");
    }

    fn timeline(name: &str) -> Timeline {
        Timeline::from(&built_in_by_name(name).unwrap())
    }

    fn longest_s(timeline: &Timeline, serves: Serves) -> f64 {
        let parts = timeline.parts.iter().filter(|part| part.serves == serves);
        parts.map(|part| part.length_s).fold(0.0, f64::max)
    }

    #[test]
    fn lengths_are_as_promised() {
        assert!(timeline("full").length_s <= 480.0);
        assert!(timeline("first-look").length_s <= 90.0);
        assert!(longest_s(&timeline("full"), Serves::Flutter) >= 65.0);
        assert!(longest_s(&timeline("flutter"), Serves::Flutter) >= 65.0);
        assert!(longest_s(&timeline("playback"), Serves::Flutter) <= 15.0);
        assert!(timeline("noise").length_s <= 240.0);
    }

    fn is_slate(part: &&PlacedPart) -> bool {
        matches!(part.signal, Signal::Slate { .. })
    }

    /// Looped programmes are followed, not read: a slate a playing tells which one it is and where it begins.
    #[test]
    fn looped_recipes_have_one_slate_at_the_start_and_hardly_a_pause() {
        let looped: Vec<Recipe> = built_in().into_iter().filter(|recipe| recipe.looped).collect();
        let names: Vec<&str> = looped.iter().map(|recipe| recipe.name.as_str()).collect();
        assert_eq!(names, ["turn-azimuth", "turn-level", "turn-bias", "turn-speed"]);
        for recipe in looped {
            let timeline = Timeline::from(&recipe);
            let slates: Vec<&PlacedPart> = timeline.parts.iter().filter(is_slate).collect();
            assert_eq!((slates.len(), slates[0].start_s), (1, 0.5), "{}", recipe.name);
            assert!((58.0..62.0).contains(&timeline.length_s), "{}: {} s", recipe.name, timeline.length_s);
            // From round to round: behind the last part comes the first.
            let heard = timeline.parts.iter().filter(|part| part.signal != Signal::Silence);
            let mut ends_s = 0.0;
            for part in heard.clone() {
                assert!(part.start_s - ends_s < 0.7, "{}: {}", recipe.name, part.id);
                ends_s = part.start_s + part.length_s;
            }
            let first_s = heard.clone().next().unwrap().start_s;
            assert!(timeline.length_s - ends_s + first_s < 0.7, "{}", recipe.name);
        }
    }

    #[test]
    fn the_azimuth_chord_sounds_nine_tenths_of_the_time_without_a_break() {
        let timeline = timeline("turn-azimuth");
        let chords: Vec<&PlacedPart> =
            timeline.parts.iter().filter(|part| matches!(part.signal, Signal::Chord { .. })).collect();
        let [chord] = chords[..] else { panic!("{chords:?}") };
        assert!(chord.length_s > 0.9 * timeline.length_s, "{chord:?}");
    }

    #[test]
    fn slates_hold_the_place_everywhere() {
        for recipe in built_in().into_iter().filter(|recipe| !recipe.looped) {
            let timeline = Timeline::from(&recipe);
            let slates: Vec<&PlacedPart> = timeline.parts.iter().filter(is_slate).collect();
            assert!(slates.len() >= 4, "{}", recipe.name);
            assert_eq!(slates[0].start_s, 2.0, "{}", recipe.name);
            let last = slates[slates.len() - 1];
            // After the last slate the tape may stand still, but nothing is heard that needs a place.
            let behind = timeline.parts.iter().filter(|part| part.start_s > last.start_s);
            let is_quiet = |part: &PlacedPart| matches!(part.signal, Signal::Silence | Signal::Pause { .. });
            assert!(behind.clone().all(is_quiet), "{}", recipe.name);
            let says = behind.clone().any(|part| matches!(part.signal, Signal::Pause { .. }));
            assert!(says || timeline.length_s - last.start_s - slate::LENGTH_S < 2.0, "{}", recipe.name);
            for pair in slates.windows(2) {
                let apart_s = pair[1].start_s - pair[0].start_s - slate::LENGTH_S;
                let longest_s = timeline
                    .parts
                    .iter()
                    .filter(|part| part.start_s > pair[0].start_s && part.start_s < pair[1].start_s)
                    .map(|part| part.length_s)
                    .fold(0.0, f64::max);
                // Only one long part may stretch it.
                assert!(
                    apart_s <= f64::max(31.0, longest_s + 1.0),
                    "{}: {} and {apart_s} s",
                    recipe.name,
                    pair[0].id
                );
            }
        }
    }

    #[test]
    fn steady_tones_keep_clear_of_mains_harmonics() {
        for recipe in built_in() {
            for part in Timeline::from(&recipe).parts {
                // 315 and above stand between harmonics whose strength no longer matters; 400 Hz is the reference.
                let Signal::Tone { hz } = part.signal else { continue };
                if hz < 300.0 {
                    for mains_hz in [50.0f64, 60.0] {
                        let off_hz = (hz - (hz / mains_hz).round().max(1.0) * mains_hz).abs();
                        assert!(
                            off_hz >= 5.0,
                            "{}: {hz} Hz is {off_hz} Hz from a harmonic of {mains_hz}",
                            part.id
                        );
                    }
                }
            }
        }
    }
}
