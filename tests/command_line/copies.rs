//! One capture in several files, and several programmes in one.

use super::bench::{Bench, SHORT, first_look, short, warnings};
use super::containers::{Header, Sample, stereo, wav};
use crate::signals::noise;

/// The programme with hiss, as a tape has it.
fn hissing() -> Vec<[f64; 2]> {
    let hiss = [7, 8].map(|seed| noise(first_look().len(), seed));
    let frames = first_look().iter().zip(hiss[0].iter().zip(&hiss[1]));
    frames.map(|([left, right], (l, r))| [left + 0.001 * l, right + 0.001 * r]).collect()
}

#[test]
fn a_capture_saved_in_another_way_is_no_second_playing() {
    let bench = Bench::new();
    bench.put("one.wav", stereo(&hissing()));
    let finer = hissing().into_iter().map(|frame| frame.to_vec());
    bench.put("finer.wav", wav(Header::Plain, Sample::Int24, 48_000, finer));
    bench.run("read one.wav finer.wav --same-tape --recorded-on this-deck --json out.json").failed(&[
        "finer.wav",
        "the same playing as one.wav",
        "play the tape again",
    ]);
    for name in ["one", "finer"] {
        bench.run(&format!("read {name}.wav --recorded-on this-deck --json {name}.json")).done();
    }
    bench.put("again.json", bench.text("one.json"));
    bench.run("compare one.json finer.json --repeats one.json finer.json again.json").failed(&[
        "finer.json",
        "the same capture as one.json",
        "play the tape again",
    ]);
    assert_eq!(bench.files(), ["again.json", "finer.json", "finer.wav", "one.json", "one.wav"]);
}

#[test]
fn of_two_programmes_in_one_file_the_other_is_named_and_the_recipe_chooses() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    let both: Vec<[f64; 2]> = first_look().iter().chain(short()).copied().collect();
    bench.put("both.wav", stereo(&both));
    bench.run("read both.wav --recorded-on this-deck --json first.json").done();
    let first: serde_json::Value = serde_json::from_str(&bench.text("first.json")).unwrap();
    assert_eq!(first["recipe"]["name"], "first-look");
    assert!(warnings(&first).contains(&"other-programme"), "{first}");
    bench.run("read both.wav --recipe short.toml --recorded-on this-deck --json second.json").done();
    let second: serde_json::Value = serde_json::from_str(&bench.text("second.json")).unwrap();
    assert_eq!(second["recipe"]["name"], "short");
    let text = second["warnings"].to_string();
    assert!(text.contains("first-look") && text.contains("was not read"), "{text}");
}
