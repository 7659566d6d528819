//! Injection, several playings of one recording, and speed from a length.

use super::bench::Bench;
use crate::effort;

#[test]
fn the_sheet_of_an_injection_has_the_resistors_and_other_recipes_refuse_them() {
    let bench = Bench::new();
    bench.run("write injection --out i.wav --source-volts 1 --input-millivolts 0.3").done();
    let sheet = bench.text("i.sheet.txt").split_whitespace().collect::<Vec<_>>().join(" ");
    for words in ["upper resistor 33 kohm", "lower resistor 10 ohm", "capacitor", "can kill"] {
        assert!(sheet.contains(words), "{words}\n{sheet}");
    }
    for (line, words) in [
        ("write first-look --out a.wav --source-volts 1", "is recorded on a tape, not injected"),
        ("write injection --out a.wav --source-volts 1 --loop-milliamps 1", "take injection-loop"),
        ("write injection-loop --out a.wav --source-volts 1 --input-millivolts 1", "give --loop-milliamps"),
        ("write injection --out a.wav --source-volts 0.1 --input-millivolts 200", "turn the player up"),
    ] {
        bench.run(line).refused(&[words]);
    }
    bench.run("write injection --out a.wav --input-millivolts 1").wrong(&["--source-volts"]);
    bench.run("write injection --out a.wav --source-volts 0 --input-millivolts 1").wrong(&["0.01 to 20 V"]);
    assert_eq!(bench.files(), ["i.sheet.html", "i.sheet.txt", "i.wav"]);
}

#[test]
fn an_injection_is_rehearsed_from_end_to_end() {
    if effort::left_to_ci() {
        return;
    }
    let bench = Bench::new();
    let ran = bench.run("rehearse injection --out injected --rate 44100 --depth 16 --long").done();
    for words in
        ["PLAYBACK EQUALISATION", "The selector does nothing", "has drifted", "Fed into: amplifier input"]
    {
        assert!(ran.out.contains(words), "{words}\n{}", ran.out);
    }
    for name in ["injected/amplifier.csv", "injected/amplifier.svg", "injected/response.svg"] {
        assert!(bench.files().iter().any(|file| file == name), "{name}");
    }
    // One return is no set of playings, and what is no tape has no length.
    bench.run("read injected/return.wav --same-tape").refused(&["give two or more playings"]);
    bench
        .run("read injected/return.wav --between-marks-mm 2000 --mark-slates 0,3")
        .refused(&["no tape was in this return"]);
    bench.run("read injected/return.wav injected/return.wav").refused(&["give --same-tape"]);
    bench.run("read injected/return.wav injected/return.wav --same-tape").refused(&["given twice"]);
}

#[test]
fn a_length_needs_its_marks_and_marks_need_a_length() {
    if effort::left_to_ci() {
        return;
    }
    let bench = Bench::new();
    bench.run("rehearse first-look --out first --rate 44100 --depth 16").done();
    let read = "read first/return.wav --recorded-on other-deck";
    bench.run(&format!("{read} --between-marks-mm 2000")).refused(&["say where the marks are"]);
    bench.run(&format!("{read} --mark-s 1,20")).wrong(&["--between-marks-mm"]);
    for marks in ["20,1", "1,1.5", "1", "1,x"] {
        bench.run(&format!("{read} --between-marks-mm 2000 --mark-s {marks}")).wrong(&["--mark-s"]);
    }
    bench
        .run(&format!("{read} --between-marks-mm 2000 --mark-s 1,900"))
        .refused(&["900 s lie behind its end"]);
    bench.run(&format!("{read} --between-marks-mm 2000 --mark-s 1,5")).refused(&["which no deck for"]);
    let ran =
        bench.run(&format!("{read} --between-marks-mm 1428.75 --ruler-mm 2 --mark-s 5,35 --json -")).done();
    let speed = &ran.json()["speed"]["from_length"];
    assert_eq!(speed["speed_mm_s"], 47.625);
    assert_eq!(speed["error_percent"], 0.0);
}
