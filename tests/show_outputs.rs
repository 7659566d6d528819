//! Whole outputs of the sample readings: width, escaping, digits, and that no table is lost.

use crate::show::sample;
use deckproof::internals::judge::{Limits, Reading, conclude};
use deckproof::internals::show::{report, summary, tables};
use deckproof::internals::trade::{CAUTIONS, Medium};
use deckproof::reading::WarningId;

/// What follows from the facts, as the code concludes now.
fn concluded(reading: Reading) -> Reading {
    conclude(reading.into_facts(), &Medium::COMPACT_CASSETTE, &Limits::full_size(), None)
}

fn readings() -> Vec<Reading> {
    ["healthy", "faulty", "empty", "rounds", "unslated", "injected"].map(sample).to_vec()
}

#[test]
fn no_line_is_too_wide_and_no_dashes_stand_for_numbers() {
    for mut reading in readings() {
        reading.capture.file = "a".repeat(300) + " and then " + &"b".repeat(40);
        if let Some(response) = &mut reading.response {
            response.steps[0].db = [None, None];
            response.steps[0].uncertainty_db = [None, None];
            response.steps[0].difference_db = None;
        }
        let text = summary(&reading);
        for line in text.lines() {
            assert!(line.chars().count() <= 100, "{line}");
            assert_eq!(line, line.trim_end());
            assert!(!line.contains(" --- ") && !line.ends_with("--") && !line.contains(" -- "), "{line}");
        }
        assert!(!text.contains("NaN") && !text.contains("None,") && !text.contains("Some("));
    }
}

#[test]
fn control_characters_in_a_file_name_never_reach_the_terminal() {
    let mut reading = readings().remove(1);
    reading.capture.file = "evil\u{1b}[2J\u{7}\u{202e}name.wav".to_owned();
    reading.level[0].part = "le\u{9b}vel".to_owned();
    let text = summary(&reading);
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text}");
    assert!(text.contains("evil\\u{1b}[2J\\u{7}\\u{202e}name.wav"));
}

#[test]
fn text_from_outside_is_escaped_everywhere() {
    let mut reading = readings().remove(1);
    let evil = "<script>alert('x')</script>&\"\u{1b}";
    reading.capture.file = evil.to_owned();
    reading.capture.loopback = Some(evil.to_owned());
    reading.recipe.as_mut().unwrap().name = evil.to_owned();
    reading.level[0].part = evil.to_owned();
    reading.dropouts[0].part = evil.to_owned();
    reading.warnings[0].text = evil.to_owned();
    reading.warnings[0].id = WarningId::Other(evil.to_owned());
    reading.noise.as_mut().unwrap().reference = evil.to_owned();
    reading.flutter.as_mut().unwrap().lines[0].part = Some(evil.to_owned());
    reading = concluded(reading);
    reading.findings[0].why = evil.to_owned();
    reading.findings[0].id = evil.to_owned();
    let page = report(&reading, None);
    assert!(!page.contains("<script") && !page.contains('\u{1b}'));
    assert!(page.matches("&lt;script&gt;").count() >= 11);
}

#[test]
fn figures_shrink_with_the_page_and_nothing_is_hidden() {
    let page = report(&readings().remove(1), Some(&Limits::full_size()));
    let style = page.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    for hiding in ["display: none", "overflow: hidden", "overflow-x: hidden", "visibility:", "min-width: 3"] {
        assert!(!style.contains(hiding), "{hiding}");
    }
    assert!(page.matches("<svg ").count() >= 10);
    for svg in page.split("<svg ").skip(1) {
        let head = svg.split('>').next().unwrap();
        assert!(head.contains("viewBox=") && !head.contains(" width="), "{head}");
    }
}

#[test]
fn nothing_is_fetched_and_the_page_is_well_formed() {
    for reading in readings() {
        let page = report(&reading, Some(&Limits::full_size()));
        for bad in ["src=", "href=", "url(", "@import", "<script", "javascript:", "NaN"] {
            assert!(!page.contains(bad), "{bad}");
        }
        // Void elements closed, the rest is XML already.
        let xml = page
            .replace("<!DOCTYPE html>\n", "")
            .replace("<br>", "<br/>")
            .lines()
            .filter(|line| !line.starts_with("<meta"))
            .collect::<Vec<_>>()
            .join("\n");
        roxmltree::Document::parse(&xml).unwrap();
        for caution in CAUTIONS {
            assert!(page.contains(caution), "{caution}");
        }
    }
}

/// Numbers of `text` with the unit behind them.
fn figures(text: &str) -> Vec<(String, String)> {
    let plain = text.replace('\u{a0}', " ").replace(['(', ')', ',', ';', ':', '/', '<', '>'], " ");
    let words: Vec<&str> = plain.split_whitespace().map(|word| word.trim_end_matches('.')).collect();
    let is_number = |word: &str| {
        let digits = word.trim_start_matches(['+', '-', '\u{2212}']);
        digits.starts_with(|c: char| c.is_ascii_digit()) && digits.parse::<f64>().is_ok()
    };
    let mut found = Vec::new();
    for (k, word) in words.iter().enumerate().filter(|(_, word)| is_number(word)) {
        // The unit of a value with its uncertainty stands behind that.
        let is_sure = words.get(k + 1).is_some_and(|word| matches!(*word, "+-" | "\u{b1}"));
        let unit = words.get(k + if is_sure { 3 } else { 1 }).copied().unwrap_or_default();
        found.push(((*word).to_owned(), unit.to_owned()));
    }
    found
}

#[test]
fn no_number_has_more_digits_than_a_bench_instrument() {
    let mut seen = 0;
    for mut reading in readings() {
        reading = concluded(reading);
        let report = report(&reading, None);
        // Pictures have coordinates.
        let shown: String = report
            .split("<svg")
            .map(|part| part.split_once("</svg>").map_or(part, |(_, rest)| rest))
            .collect();
        let inside: String = shown
            .split('<')
            .filter_map(|tag| tag.split_once('>'))
            .map(|(_, text)| format!("{text}\n"))
            .collect();
        let page = inside.replace('\u{2212}', "-").replace(['\u{2007}', '\u{2008}'], "");
        for text in [summary(&reading), page] {
            for (number, unit) in text.lines().flat_map(figures) {
                let decimals = number.split_once('.').map_or(0, |(_, digits)| digits.len());
                let counting = number.trim_start_matches(['+', '-', '0', '.']).replace('.', "").len();
                let is_sound = match unit.as_str() {
                    "dB" | "dBFS" | "s" | "kHz" => decimals <= 2,
                    "um" => decimals <= 3,
                    // 47.625 mm/s is the nominal speed.
                    "mm/s" => decimals <= 2 || number == "47.625",
                    "us" | "minutes" | "degrees" | "ms" | "nWb/m" => decimals <= 1,
                    // Lines of hum and flutter have 0.01 Hz where they are that sure.
                    "Hz" => decimals <= 2 && (decimals <= 1 || number.parse::<f64>().unwrap() < 1000.0),
                    "%" => decimals <= 4 && (decimals <= 2 || counting <= 3),
                    _ => decimals <= 4,
                };
                assert!(is_sound, "{number} {unit} in\n{text}");
                seen += 1;
            }
            for spread in text.split("+- ").skip(1).filter_map(|rest| rest.split_whitespace().next()) {
                assert_ne!(spread.parse().ok(), Some(0.0), "an uncertainty of nothing in\n{text}");
            }
        }
    }
    assert!(seen > 3000, "{seen}");
}

#[test]
fn every_table_of_the_samples_has_its_file() {
    let mut reading = readings().remove(1);
    reading.azimuth.as_mut().unwrap().phase[0].response_deg = None;
    reading.level[0].part = "a \"loud\", long one".to_owned();
    let files = tables(&reading);
    let mut names: Vec<&str> = files.iter().map(|file| file.0).collect();
    names.sort_unstable();
    assert_eq!(
        names,
        [
            "causes.csv",
            "distortion.csv",
            "dropouts.csv",
            "erasing.csv",
            "figures.csv",
            "findings.csv",
            "flutter-lines.csv",
            "flutter-spectrum.csv",
            "flutter-stretches.csv",
            "hum.csv",
            "intermodulation.csv",
            "level.csv",
            "noise-bands.csv",
            "phase.csv",
            "response.csv",
            "saturation.csv",
            "separation.csv",
            "speed-against-time.csv",
            "unexplained.csv"
        ]
    );
    let of = |name: &str| &files.iter().find(|file| file.0 == name).unwrap().1;
    // Together, by steps, by the sweep.
    assert_eq!(of("response.csv").lines().count(), 1 + 16 + 16 + 27);
    assert!(
        of("level.csv")
            .lines()
            .nth(1)
            .unwrap()
            .starts_with("\"a \"\"loud\"\", long one\",400,0,-13.92,-12.3,")
    );
    assert!(of("phase.csv").lines().nth(1).unwrap().ends_with(','));
}

#[test]
fn jobs_in_rounds_have_their_tables() {
    let files = tables(&readings()[3]);
    let lines = |name: &str| files.iter().find(|file| file.0 == name).unwrap().1.lines().count();
    let names = ["level.csv", "rounds.csv", "bias.csv", "bias-sweep.csv", "noise-reduction.csv"];
    assert_eq!(names.map(lines), [2, 11, 21, 1 + 10 * 8, 29]);
    assert_eq!(files.len(), 7);
}

#[test]
fn nothing_measured_gives_the_findings_only() {
    let files = tables(&readings()[2]);
    assert_eq!(files.iter().map(|file| file.0).collect::<Vec<_>>(), ["findings.csv"]);
}

#[test]
fn level_tones_stand_in_decibels_millivolts_and_dbfs_as_far_as_they_are_known() {
    let page = |text: &str| {
        let limits = Limits::from_toml(text, "manual.toml").unwrap();
        let facts = readings().remove(0).into_facts();
        conclude(facts, &Medium::COMPACT_CASSETTE, &limits, None)
    };
    let tone = "level_tone_mv = [612, 605]\nlevel_tone_dbfs = [-12.1, -12.3]\n";
    let whole = page(&format!("source = \"invented manual\"\noutput_nominal_mv = 580\n{tone}"));
    let text = summary(&whole);
    let (_, section) = text.split_once("LEVEL AT THE DECK'S OUTPUT\n").unwrap();
    let section = section.split("\n\n").next().unwrap();
    // One table, a line a tone: 20 lg(612/580) = +0.47 dB, 20 lg(605/580) = +0.37 dB; 3 % are some 0.26 dB and 20 mV.
    let columns = |line: &str| line.split_whitespace().map(str::to_owned).collect::<Vec<_>>().join(" ");
    let lines: Vec<String> = section.lines().map(columns).collect();
    let head = "tone left, dB right, dB left, mV right, mV left, dBFS right, dBFS";
    let at = lines.iter().position(|line| line == head).unwrap_or_else(|| panic!("{section}"));
    assert_eq!(lines[at + 1], "400 Hz +0.47 +0.37 612 605 -12.10 -12.30", "{section}");
    for words in
        ["580 mV at the deck's mark (invented manual)", "left 612 +- 19 mV", "common practice, no source"]
    {
        assert!(columns(&section.replace('\n', " ")).contains(words), "{words}\n{section}");
    }
    assert!(report(&whole, None).contains("Level at the deck"));
    let table = tables(&whole).into_iter().find(|file| file.0 == "output.csv").unwrap().1;
    assert!(table.starts_with("part,hz,left_tape_nwb_m,"), "{table}");
    let no_zero = summary(&page(tone));
    assert!(no_zero.contains("left, mV") && !no_zero.contains("0 of the deck"), "{no_zero}");
    assert!(!summary(&page("")).contains("AT THE DECK'S OUTPUT"));
}
