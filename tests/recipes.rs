//! Recipes as a technician writes them: what they mean, and how a mistake is named.

use crate::effort;
use deckproof::assert_within;
use deckproof::internals::programme::{
    Channels, Colour, ProgrammeError, Recipe, Renderer, Serves, Signal, Timeline, slate,
};
use proptest::prelude::*;

const HEAD: &str = "name = \"test\"\ntitle = \"Test\"\n[[part]]\nkind = \"slate\"\n";

fn timeline(parts: &str) -> Timeline {
    let recipe = Recipe::parse(&format!("{HEAD}{parts}"), "test.toml");
    Timeline::from(&recipe.unwrap_or_else(|error| panic!("{error}")))
}

fn ids(timeline: &Timeline) -> Vec<&str> {
    timeline.parts.iter().map(|part| part.id.as_str()).collect()
}

// 3.14 s is a slate and its gap, not pi.
#[allow(clippy::approx_constant)]
#[test]
fn parts_follow_one_another_with_their_gaps() {
    let timeline = timeline(
        r#"
        [[part]]
        kind = "silence"
        length_s = 1.5
        [[part]]
        kind = "tone"
        id = "level"
        hz = 315
        level_db = 0
        length_s = 2
        gap_s = 0.25
        [[part]]
        kind = "pause"
        length_s = 20
        say = "Turn the tape over"
        [[part]]
        kind = "tone"
        id = "azimuth"
        hz = 10_000
        level_db = -20
        length_s = 12
        serves = "azimuth"
        channels = "opposed"
        "#,
    );
    assert_eq!(ids(&timeline), ["slate-0", "silence-1", "level", "pause-1", "azimuth"]);
    let starts: Vec<f64> = timeline.parts.iter().map(|part| part.start_s).collect();
    assert_eq!(starts, [0.0, 3.14, 4.64, 6.89, 26.89]);
    assert_eq!(timeline.length_s, 38.99);
    assert_eq!(timeline.reference_hz, 400.0);
    let serves: Vec<Serves> = timeline.parts.iter().map(|part| part.serves).collect();
    assert_eq!(serves, [Serves::Place, Serves::Noise, Serves::Level, Serves::Nothing, Serves::Azimuth]);
    assert_eq!(timeline.parts[3].signal, Signal::Pause { say: "Turn the tape over".into() });
    assert_eq!(timeline.parts[4].channels, Channels::Opposed);
}

#[test]
fn record_trim_rounds_repeat_with_their_number() {
    let timeline = timeline(
        r#"
        [[part]]
        kind = "rounds"
        count = 3
        [[part.part]]
        kind = "tone"
        id = "level"
        hz = 315
        level_db = 0
        length_s = 3
        [[part.part]]
        kind = "steps"
        id = "pair"
        hz = [1000, 10000]
        level_db = -20
        length_s = 2
        serves = "bias"
        [[part.part]]
        kind = "pause"
        length_s = 5
        say = "Turn bias, then record level"
        [[part.part]]
        kind = "slate"
        "#,
    );
    let want =
        ["level-round-1", "pair-1000-round-1", "pair-10000-round-1", "pause-1", "slate-1", "level-round-2"];
    assert_eq!(ids(&timeline)[1..7], want);
    assert_eq!(ids(&timeline).last(), Some(&"slate-3"));
    assert_eq!(timeline.parts.iter().filter(|part| part.serves == Serves::Bias).count(), 6);
}

#[test]
fn saturation_steps_over_level_and_noise() {
    let timeline = timeline(
        r#"
        [[part]]
        kind = "steps"
        id = "mol"
        hz = 315
        level_db = [-10, -4, 0, 4, 8]
        length_s = 1
        [[part]]
        kind = "steps"
        id = "sol"
        hz = [10000, 14000]
        level_db = [0, 4.5]
        length_s = [1, 0.8]
        serves = "saturation"
        [[part]]
        kind = "noise"
        id = "white-6"
        colour = "white"
        seed = 7
        level_db = -6
        length_s = 4
        serves = "saturation"
        "#,
    );
    let want = [
        "slate-0",
        "mol-10dB",
        "mol-4dB",
        "mol+0dB",
        "mol+4dB",
        "mol+8dB",
        "sol-10000+0dB",
        "sol-10000+4.5dB",
        "sol-14000+0dB",
        "sol-14000+4.5dB",
        "white-6",
    ];
    assert_eq!(ids(&timeline), want);
    assert!(timeline.parts[1..].iter().all(|part| part.serves == Serves::Saturation));
    assert_eq!((timeline.parts[7].length_s, timeline.parts[8].length_s), (1.0, 0.8));
    assert_eq!(timeline.parts[10].signal, Signal::Noise { colour: Colour::White, seed: 7 });
    Renderer::new(&timeline, 44_100, -12.0).unwrap();
}

#[test]
fn injection_levels_undo_the_playback_curve() {
    let timeline = timeline(
        r#"
        [[part]]
        kind = "steps"
        id = "response"
        hz = [40, 400, 1000, 10000, 16000]
        level_db = -20
        length_s = 2
        shape = "inverse-playback-120us"
        [[part]]
        kind = "tone"
        id = "treble"
        hz = 10000
        level_db = -20
        length_s = 2
        shape = "inverse-playback-70us"
        "#,
    );
    // IEC 60094-1:1981 clauses 15 and 15.1 relative to 400 Hz, computed to 3 decimals; 0.001 dB from rounding.
    let want_db = [4.398, 0.0, -1.633, -17.312, -21.349, -13.019];
    for (part, want_db) in timeline.parts[1..].iter().zip(want_db) {
        assert_within!(part.level_db, -20.0 + want_db, 0.0011, "dB", "{}", part.id);
    }
}

#[test]
fn noise_twin_tone_and_noise_reduction_recipes_can_be_written() {
    let timeline = timeline(
        r#"
        [[part]]
        kind = "chord"
        id = "twin"
        hz = [9500, 10500]
        level_db = -10
        length_s = 4
        [[part]]
        kind = "silence"
        id = "noise-reduction-off"
        length_s = 15
        [[part]]
        kind = "pause"
        length_s = 15
        say = "Switch noise reduction on"
        [[part]]
        kind = "steps"
        id = "tracking"
        hz = [1000, 5000]
        level_db = [0, -10, -20, -30, -40]
        length_s = 1.5
        serves = "level"
        [[part]]
        kind = "tone"
        id = "separation-left"
        hz = 1000
        level_db = 0
        length_s = 3
        channels = "left"
        serves = "separation"
        "#,
    );
    assert_eq!(timeline.parts[1].signal, Signal::Chord { hz: vec![9_500.0, 10_500.0] });
    assert_eq!(timeline.parts[1].serves, Serves::Distortion);
    assert_eq!(timeline.parts.len(), 4 + 10 + 1);
    Renderer::new(&timeline, 44_100, -12.0).unwrap();
}

/// A head and two slates around `part`.
fn around(part: &str) -> String {
    let slate = "[[part]]\nkind = \"slate\"\n";
    format!("name = \"twins\"\ntitle = \"Twins\"\n{slate}{part}{slate}")
}

const TWIN: &str = "[[part]]\nkind = \"twin-tone\"\nid = \"twin\"\nhz = [10930, 10000]\nlevel_db = [-10, -3]\nlength_s = 1\n";

#[test]
fn twin_tones_have_two_tones_in_steps_of_level_and_the_peak_of_one() {
    let timeline = Timeline::from(&Recipe::parse(&around(TWIN), "twins.toml").unwrap());
    let twins = &timeline.parts[1..3];
    for (part, (id, level_db)) in twins.iter().zip([("twin-10dB", -10.0), ("twin-3dB", -3.0)]) {
        assert_eq!((part.id.as_str(), part.level_db), (id, level_db));
        assert_eq!(part.signal, Signal::Chord { hz: vec![10_000.0, 10_930.0] });
        assert_eq!(part.serves, Serves::Distortion);
    }
    // Together they reach the peak of a sine at -3 dB re -12 dBFS, and no more.
    let [left, _] = Renderer::new(&timeline, 48_000, -12.0).unwrap().collect();
    let from = (twins[1].start_s * 48_000.0) as usize;
    let peak = left[from..from + 48_000].iter().fold(0f64, |peak, x| peak.max(x.abs()));
    let want = 10f64.powf(-15.0 / 20.0);
    assert!(peak <= want + 1e-12 && peak > 0.99 * want, "{peak} {want}");
}

#[test]
fn twin_tones_that_cannot_be_told_apart_are_refused() {
    for hz in ["[10000]", "10000", "[10000, 10080]", "[10000, 10930, 12000]", "[5000, 9000]"] {
        let text = around(&TWIN.replace("[10930, 10000]", hz));
        let message = Recipe::parse(&text, "twins.toml").unwrap_err().to_string();
        assert!(message.contains("twins.toml, line 8") && message.contains("two frequencies"), "{message}");
    }
}

/// File, line, key, found, allowed and remedy all stand in the message.
#[test]
fn every_mistake_is_named_with_its_line_and_its_key() {
    let tone = "[[part]]\nkind = \"tone\"\nid = \"a\"\nhz = 315\nlevel_db = 0\nlength_s = 1\n";
    let with = |old: &str, new: &str| tone.replace(old, new);
    // The first part begins in line 5, below the head.
    let cases: Vec<(String, usize, &str, &str)> = vec![
        (with("hz = 315", "hz = 3"), 8, "hz", "5 to 44000 Hz"),
        (with("hz = 315", "hz = nan"), 8, "hz", "5 to 44000 Hz"),
        (with("hz = 315", "hz = \"315 Hz\""), 8, "hz", "plain number"),
        (with("hz = 315", "hz = [315, 400]"), 8, "hz", "steps"),
        (with("hz = 315", "hz = []"), 8, "hz", "empty list"),
        (with("length_s = 1", ""), 5, "length_s", "add the key"),
        (with("hz = 315\n", ""), 5, "hz", "add the key"),
        (with("level_db = 0", "level_db = inf"), 9, "level_db", "-100 to 30 dB"),
        (with("length_s = 1", "length_s = 0.1"), 10, "length_s", "0.2 to 1800 s"),
        (with("length_s = 1", "length_s = -1"), 10, "length_s", "0.2 to 1800 s"),
        (with("length_s = 1", "length_s = 1.005"), 10, "length_s", "multiples of 0.01 s"),
        (with("length_s = 1", "lenght_s = 1"), 10, "lenght_s", "correct its spelling"),
        (with("length_s = 1", "length_s = 1\nvolume = 3"), 11, "volume", "level_db, length_s"),
        (with("length_s = 1", "length_s = 1\nseed = 3"), 11, "seed", "a tone does not know"),
        (with("length_s = 1", "length_s = 1\nserves = \"place\""), 11, "serves", "azimuth"),
        (with("length_s = 1", "length_s = 1\nchannels = \"mono\""), 11, "channels", "opposed"),
        (with("length_s = 1", "length_s = 1\ngap_s = -0.1"), 11, "gap_s", "0 to 1800 s"),
        (with("\"tone\"", "\"beep\""), 6, "kind", "slate, silence"),
        (with("kind = \"tone\"\n", ""), 5, "kind", "slate, silence"),
        (with("id = \"a\"", "id = \"a b\""), 7, "id", "letters, digits"),
        (with("id = \"a\"", "id = \"\\u001b[2J\""), 7, "id", "control characters"),
        (tone.repeat(2), 11, "id", "the part in line 5"),
        ("[[part]]\nkind = \"slate\"\n".repeat(32), 67, "kind", "1 to 32 slates"),
        ("[[part]]\nkind = \"silence\"\nlength_s = 1798\n".into(), 5, "length_s", "at most 30 minutes"),
        ("[[part]]\nkind = \"rounds\"\ncount = 2\n".into(), 5, "part", "[[part.part]]"),
        ("[[part]]\nkind = \"rounds\"\ncount = 1.5\n".into(), 7, "count", "whole number"),
        (
            "[[part]]\nkind = \"rounds\"\ncount = 2\n[[part.part]]\nkind = \"rounds\"\ncount = 2\n".into(),
            9,
            "kind",
            "rounds once",
        ),
        (
            "[[part]]\nkind = \"steps\"\nid = \"s\"\nhz = [100, 200, 300]\nlevel_db = 0\nlength_s = [1, 2]\n"
                .into(),
            10,
            "length_s",
            "one length, or 3",
        ),
        (
            "[[part]]\nkind = \"steps\"\nid = \"s\"\nhz = [\n  100,\n  2,\n]\nlevel_db = 0\nlength_s = 1\n"
                .into(),
            10,
            "hz",
            "found 2 Hz",
        ),
        (
            "[[part]]\nkind = \"chord\"\nid = \"c\"\nhz = [100, 100]\nlevel_db = 0\nlength_s = 1\n".into(),
            8,
            "hz",
            "different frequencies",
        ),
        ("[[part]]\nkind = \"pause\"\nlength_s = 3\n".into(), 5, "say", "what to do"),
    ];
    for (parts, line, key, words) in cases {
        let error = Recipe::parse(&format!("{HEAD}{parts}"), "tones/mine.toml").err();
        let error = error.unwrap_or_else(|| panic!("accepted:\n{parts}"));
        let message = error.to_string();
        let ProgrammeError::Recipe(fault) = &error else {
            panic!("{message}\n{parts}");
        };
        assert_eq!((fault.line, fault.key.as_str()), (line, key), "{message}\n{parts}");
        assert!(message.starts_with(&format!("tones/mine.toml, line {line}: {key}: found ")), "{message}");
        assert!(message.contains(words), "{words:?} is missing: {message}");
    }
}

#[test]
fn mistakes_at_the_top_are_named() {
    let cases = [
        ("title = \"T\"\n", 1, "name"),
        ("name = \"A b\"\ntitle = \"T\"\n", 1, "name"),
        ("name = \"a\"\n", 1, "title"),
        ("name = \"a\"\ntitle = \"T\"\n\nauthor = 3\n", 4, "author"),
        ("name = \"a\"\ntitle = \"T\"\nreference_hz = 0\n", 3, "reference_hz"),
        ("name = \"a\"\ntitle = \"T\"\n", 1, "part"),
        ("name = \"a\"\ntitle = \"T\"\npart = 3\n", 3, "part"),
        ("name = \"a\"\ntitle = \"T\"\npart = [3]\n", 3, "part"),
    ];
    for (text, line, key) in cases {
        let error = Recipe::parse(text, "mine.toml").unwrap_err();
        let message = error.to_string();
        let start = format!("mine.toml, line {line}: {key}:");
        assert!(message.starts_with(&start), "want {start} got {message}");
    }
    let message = Recipe::parse("name = \"a\"\ntitle = Test\n", "mine.toml").unwrap_err().to_string();
    assert!(message.starts_with("mine.toml, line 2: this is not TOML"), "{message}");
}

#[test]
fn a_row_of_steps_cannot_fill_the_memory() {
    let list = vec!["100"; 3_000].join(", ");
    let parts = format!(
        "[[part]]\nkind = \"steps\"\nid = \"s\"\nhz = [{list}]\nlevel_db = [{list}]\nlength_s = 1\n",
        list = list.replace("100", "20")
    );
    let message = Recipe::parse(&format!("{HEAD}{parts}"), "mine.toml").unwrap_err().to_string();
    assert!(message.contains("at most 2000 parts"), "{message}");
}

#[test]
fn deep_nesting_is_refused_not_followed() {
    for text in ["x = ".to_owned() + &"[".repeat(100_000), "x = ".to_owned() + &"{a=".repeat(100_000)] {
        assert!(matches!(Recipe::parse(&text, "mine.toml"), Err(ProgrammeError::NotToml { line: 1, .. })));
    }
}

#[test]
fn as_many_slates_as_their_number_can_count() {
    let timeline = timeline(&"[[part]]\nkind = \"slate\"\n".repeat(slate::MAX_SLATES - 1));
    let last = &timeline.parts[slate::MAX_SLATES - 1];
    assert_eq!((last.id.as_str(), &last.signal), ("slate-31", &Signal::Slate { index: 31 }));
}

/// Pieces from which nearly right recipes are put together.
const PIECES: [&str; 24] = [
    "[[part]]\n",
    "[[part.part]]\n",
    "[part]\n",
    "kind = \"slate\"\n",
    "kind = \"tone\"\n",
    "kind = \"steps\"\n",
    "kind = \"rounds\"\n",
    "kind = \"noise\"\n",
    "kind = \"pause\"\n",
    "kind = \"chord\"\n",
    "id = \"a\"\n",
    "hz = 315\n",
    "hz = [40, 1e300]\n",
    "hz = [100, 200]\n",
    "level_db = -0x7f\n",
    "level_db = [0, -20.5]\n",
    "length_s = 1.0\n",
    "length_s = [1, 2]\n",
    "gap_s = 0\n",
    "count = 4294967296\n",
    "count = 3\n",
    "colour = \"pink\"\n",
    "say = \"\u{e9}\"\n",
    "name = \"test\"\ntitle = \"Test\"\n",
];

proptest! {
    #![proptest_config(effort::cases(256))]

    #[test]
    fn no_text_makes_the_parser_panic(text in any::<String>()) {
        let _ = Recipe::parse(&text, "any.toml");
        let _ = Recipe::parse(&format!("{HEAD}{text}"), "any.toml");
    }

    #[test]
    fn no_mixture_of_keys_makes_it_panic(pieces in prop::collection::vec(prop::sample::select(PIECES.to_vec()), 0..24)) {
        if let Ok(recipe) = Recipe::parse(&format!("{HEAD}{}", pieces.concat()), "any.toml") {
            let timeline = Timeline::from(&recipe);
            prop_assert!(timeline.code != 0);
            let in_order = timeline
                .parts
                .windows(2)
                .all(|pair| pair[0].start_s + pair[0].length_s <= pair[1].start_s + 1e-9);
            prop_assert!(in_order);
        }
    }
}
