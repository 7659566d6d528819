//! The running sheet: what plays when, how to set the level, and the cautions, to lie beside the deck.

use super::{Channels, Colour, Depth, Feeding, PlacedPart, Recipe, Serves, Signal, Timeline, sheet_feeding};
use crate::harmless::harmless;
use crate::trade::{CAUTIONS, INJECTION_CAUTIONS, TRIMMER_CAUTIONS};

/// Widest line, columns.
const WIDTH: usize = 100;

/// How the programme was written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Written<'a> {
    /// Name of the WAV file.
    pub wav_name: &'a str,
    /// Its sample rate, Hz.
    pub rate_hz: u32,
    /// Its depth.
    pub depth: Depth,
    /// Where 0 dB of the programme lies, dBFS.
    pub reference_dbfs: f64,
    /// What the technician said of an injection.
    pub feeding: Feeding,
}

/// Running sheet of a programme as text, at most 100 columns wide.
pub fn running_sheet(recipe: &Recipe, timeline: &Timeline, written: &Written<'_>) -> String {
    let mut sheet = Sheet::default();
    sheet.paragraph("", &format!("RUNNING SHEET: {}", recipe.title));
    sheet.paragraph("", &recipe.purpose);
    sheet.blank();
    let slates = timeline.parts.iter().filter(|part| matches!(part.signal, Signal::Slate { .. })).count();
    sheet.paragraph(
        "File        ",
        &format!("{}, {} Hz, {}, stereo", written.wav_name, written.rate_hz, written.depth),
    );
    sheet.paragraph(
        "Level       ",
        &format!(
            "0 dB of the programme is {} dBFS (0 dBFS: rms of a full-scale sine)",
            written.reference_dbfs
        ),
    );
    sheet.paragraph("Length      ", &clock(timeline.length_s));
    sheet.paragraph(
        "Slate code  ",
        &format!("{:04x} (recipe {}), {slates} slates", timeline.code, timeline.name),
    );

    sheet.heading("CAUTIONS");
    let trims = timeline.parts.iter().any(|part| matches!(part.serves, Serves::Bias | Serves::BiasSweep));
    let feed = timeline.feed();
    let more: &[&str] = match feed {
        Some(_) => &INJECTION_CAUTIONS,
        None if trims => &TRIMMER_CAUTIONS,
        None => &[],
    };
    for caution in CAUTIONS.iter().chain(more) {
        sheet.paragraph("! ", caution);
    }

    let steps = match feed {
        Some(feed) => {
            sheet.heading("FEEDING THE SIGNAL IN");
            sheet_feeding::steps(timeline, feed, &written.feeding)
        }
        None => {
            sheet.heading("SETTING THE LEVEL");
            level_steps(timeline)
        }
    };
    for (k, line) in steps.iter().enumerate() {
        sheet.paragraph(&format!("{}. ", k + 1), line);
    }

    sheet.heading("WHAT PLAYS WHEN (minutes:seconds from the start of the file)");
    sheet.row(["start", "length", "part", "heard", "dB", "purpose"]);
    let mut last_purpose = "";
    for part in &timeline.parts {
        if let Signal::Pause { say } = &part.signal {
            let lead = format!("{}  >>> ", clock(part.start_s));
            match part.round() {
                // What to do is said in full once; every round has room for what was done.
                Some(round) if round > 1 => {
                    sheet.paragraph(&lead, &format!("ROUND {round}: the same. {NOTED}"))
                }
                Some(round) => sheet.paragraph(&lead, &format!("ROUND {round}: {say} {NOTED}")),
                None => sheet.paragraph(&lead, &format!("{say} (pause of {} s)", part.length_s)),
            }
            last_purpose = "";
            continue;
        }
        let silent = matches!(part.signal, Signal::Silence);
        let level = if silent { String::new() } else { level_text(part.level_db) };
        // A row of steps says its purpose once.
        let purpose = if part.purpose == last_purpose { "" } else { &part.purpose };
        last_purpose = &part.purpose;
        let length = format!("{} s", part.length_s);
        sheet.row([&clock(part.start_s), &length, &part.id, &heard(part), &level, purpose]);
    }
    sheet.row([&clock(timeline.length_s), "", "", "end", "", ""]);
    sheet.text
}

/// Room to write down what was turned.
const NOTED: &str = "Left ____________ right ____________";

/// The tone by which levels are set.
pub(super) fn level_tone(timeline: &Timeline) -> Option<&PlacedPart> {
    let is_level = |part: &&PlacedPart| {
        matches!(part.serves, Serves::Level | Serves::Source) && matches!(part.signal, Signal::Tone { .. })
    };
    timeline.parts.iter().find(is_level)
}

fn level_steps(timeline: &Timeline) -> Vec<String> {
    let mut steps = Vec::new();
    match level_tone(timeline) {
        Some(part) => {
            steps.push(format!(
                "Play the level tone, which begins at {} ({}, {} s, {} dB of the programme), as often as you need it.",
                clock(part.start_s),
                heard(part),
                part.length_s,
                level_text(part.level_db)
            ));
            let mark = if part.level_db == 0.0 {
                String::from("the deck's reference mark")
            } else {
                format!("{} dB re the deck's reference mark", level_text(part.level_db))
            };
            steps.push(format!(
                "With the deck at record and pause, turn its record level until the meter shows {mark}, both channels \
                 alike. Which mark that is the service manual says; without it take 0 dB or the noise-reduction mark \
                 and note which (common practice, no source)."
            ));
        }
        None => steps.push(String::from(
            "This programme has no level tone: set the record level with one that has, or feed the level that the \
             job asks for.",
        )),
    }
    let heard =
        timeline.parts.iter().filter(|part| !matches!(part.signal, Signal::Silence | Signal::Pause { .. }));
    let loudest_db = heard.map(|part| part.level_db).fold(f64::NEG_INFINITY, f64::max);
    if loudest_db > 0.0 {
        steps.push(format!(
            "The loudest part lies {loudest_db:.1} dB above that mark: this is meant, do not turn down."
        ));
    }
    let serves = |serves: Serves| timeline.parts.iter().any(|part| part.serves == serves);
    let begin = "Noise reduction, loudness, tone controls and automatic level off, unless the job is about them. Then \
                 rewind, record the whole file";
    if serves(Serves::Bias) || serves(Serves::BiasSweep) {
        steps.push(format!(
            "{begin}, and touch neither the record-level knob nor the player's volume until the end; turn trimmers only \
             where it says so below. Playback level, playback response and azimuth must be right before (calibrated tape): \
             what they lack would be trimmed into the recording."
        ));
        steps.push(String::from(match timeline.monitor_switch() {
            Some(_) => {
                "This programme is for decks with three heads. Capture while recording. Begin with the monitor switch at \
                 SOURCE; switch to TAPE in the pause that says so. Touch no output level in between. Leave the first round \
                 as found, then turn."
            }
            None => {
                "Three heads: monitor switch at tape, capture while recording, and stop turning when it reads right. Two \
                 heads: turn by equal steps and note each place; rewind, play and capture; read which round was right and \
                 turn back to its place. Leave the first round as found."
            }
        }));
    } else {
        steps.push(format!(
            "{begin}, and touch neither the record level nor the player's volume until the end."
        ));
    }
    steps.push(String::from(
        "At the sound card, switch every enhancement and automatic gain off, and set the input so that the level tone, as \
         it comes back from the deck, stands near -12 dBFS; lower, if the loudest part does not stay clear of full \
         scale. Start recording there first, then the tape.",
    ));
    steps
}

/// What is heard in a part, in a few words.
fn heard(part: &PlacedPart) -> String {
    let signal = match &part.signal {
        Signal::Slate { .. } => String::from("slate"),
        Signal::Silence | Signal::Pause { .. } => String::from("silence"),
        Signal::Tone { hz } => format!("{hz} Hz"),
        Signal::Chord { hz } => {
            let hz: Vec<String> = hz.iter().map(f64::to_string).collect();
            format!("{} Hz", hz.join(" + "))
        }
        Signal::Sweep { from_hz, to_hz } => format!("{from_hz} to {to_hz} Hz"),
        Signal::Noise { colour: Colour::White, .. } => String::from("white noise"),
        Signal::Noise { colour: Colour::Pink, .. } => String::from("pink noise"),
    };
    let channels = match part.channels {
        Channels::Both => "",
        Channels::Left => ", left only",
        Channels::Right => ", right only",
        Channels::Opposed => ", opposed",
    };
    signal + channels
}

fn level_text(level_db: f64) -> String {
    if level_db == 0.0 { String::from("0.0") } else { format!("{level_db:+.1}") }
}

/// Minutes, seconds and tenths.
pub(super) fn clock(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round() as u64;
    format!("{:02}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

/// Widths of the columns start, length, part, heard, level and purpose; two blanks stand between.
const COLUMNS: [usize; 6] = [7, 7, 24, 22, 6, 24];
/// Columns whose numbers stand to the right.
const RIGHT: [bool; 6] = [false, true, false, false, true, false];

#[derive(Debug, Default)]
struct Sheet {
    text: String,
}

impl Sheet {
    fn blank(&mut self) {
        self.text.push('\n');
    }

    fn heading(&mut self, heading: &str) {
        self.blank();
        self.paragraph("", heading);
    }

    /// Wrapped text behind `lead`; further lines are indented by as much.
    fn paragraph(&mut self, lead: &str, text: &str) {
        let indent = lead.chars().count();
        for (k, line) in wrap(text, WIDTH - indent).iter().enumerate() {
            let start = if k == 0 { lead.to_owned() } else { " ".repeat(indent) };
            self.text += (start + line).trim_end();
            self.blank();
        }
    }

    /// One row of the table; what is too wide for its column goes on below.
    fn row(&mut self, cells: [&str; 6]) {
        let columns: Vec<Vec<String>> =
            cells.into_iter().zip(COLUMNS).map(|(cell, width)| wrap(cell, width)).collect();
        for line in 0..columns.iter().map(Vec::len).max().unwrap_or_default() {
            let cells: Vec<String> = columns
                .iter()
                .zip(COLUMNS)
                .zip(RIGHT)
                .map(|((lines, width), right)| {
                    let text = lines.get(line).map_or("", String::as_str);
                    if right { format!("{text:>width$}") } else { format!("{text:<width$}") }
                })
                .collect();
            self.text += cells.join("  ").trim_end();
            self.blank();
        }
    }
}

/// Breaks a text into lines of at most `width` characters, between words where it can.
fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut used = 0;
    for word in harmless(text).split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        // A word wider than a line is cut.
        for piece in letters.chunks(width.max(1)) {
            if used > 0 && used + 1 + piece.len() > width {
                lines.push(std::mem::take(&mut line));
                used = 0;
            }
            if used > 0 {
                line.push(' ');
                used += 1;
            }
            line.extend(piece);
            used += piece.len();
        }
    }
    if used > 0 {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::programme::{built_in, built_in_by_name};

    fn sheet(recipe: &Recipe) -> String {
        let written = Written {
            wav_name: "a.wav",
            rate_hz: 44_100,
            depth: Depth::Sixteen,
            reference_dbfs: -12.0,
            feeding: Feeding::default(),
        };
        running_sheet(recipe, &Timeline::from(recipe), &written)
    }

    #[test]
    fn lists_every_part_with_its_time() {
        for recipe in built_in() {
            let text = sheet(&recipe);
            for part in Timeline::from(&recipe).parts {
                let start = clock(part.start_s);
                let name = match (&part.signal, part.round()) {
                    (Signal::Pause { .. }, Some(round)) => format!(">>> ROUND {round}: "),
                    (Signal::Pause { .. }, None) => ">>> ".to_owned(),
                    _ => part.id.clone(),
                };
                let listed = text.lines().any(|line| line.starts_with(&start) && line.contains(&name));
                assert!(listed, "{}: {} at {start}\n{text}", recipe.name, part.id);
            }
        }
    }

    #[test]
    fn shows_code_file_level_and_every_caution() {
        let recipe = built_in_by_name("first-look").unwrap();
        let text = sheet(&recipe);
        let flowing = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for caution in CAUTIONS {
            assert!(flowing.contains(caution), "{caution}\n{text}");
        }
        // As the reading writes it.
        let code = format!("{:04x}", Timeline::from(&recipe).code);
        for want in ["a.wav, 44100 Hz, 16 bit", "-12 dBFS", &code, "which begins at 00:05.1", "315 Hz"] {
            assert!(flowing.contains(want), "{want}\n{text}");
        }
    }

    #[test]
    fn rounds_have_room_for_notes_and_trimmers_their_cautions() {
        for (name, rounds) in
            [("record-trim", 24), ("monitor-trim", 24), ("bias-sweep", 15), ("noise-reduction", 0)]
        {
            let text = sheet(&built_in_by_name(name).unwrap());
            let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert_eq!(text.matches("Left ____________ right ____________").count(), rounds, "{name}");
            assert_eq!(text.contains("insulated tools only"), rounds > 0, "{name}");
            assert_eq!(text.contains("touch neither the record level nor"), rounds == 0, "{name}");
        }
    }

    #[test]
    fn stays_within_its_width_whatever_the_recipe_says() {
        let long = "a".repeat(250);
        let text = format!(
            r#"
            name = "long"
            title = "{long}"
            purpose = "{long} {long} with some words after it that go on and on until they need another line"
            [[part]]
            kind = "slate"
            [[part]]
            kind = "pause"
            length_s = 20
            say = "Turn the tape over, {long}"
            [[part]]
            kind = "rounds"
            count = 2
            [[part.part]]
            kind = "chord"
            id = "{}"
            hz = [{}]
            level_db = 8
            length_s = 1
            purpose = "{long}"
            "#,
            "b".repeat(40),
            (1..=32).map(|k| (k * 100).to_string()).collect::<Vec<_>>().join(", "),
        );
        let text = sheet(&Recipe::parse(&text, "long.toml").unwrap());
        for line in text.lines() {
            assert!(line.chars().count() <= WIDTH && line == line.trim_end(), "{line:?}");
        }
        assert!(text.contains("00:03.1  >>> Turn the tape over"), "{text}");
        assert!(text.contains("8.0 dB above"), "{text}");
    }

    #[test]
    fn the_clock_carries_over() {
        assert_eq!([clock(0.0), clock(59.96), clock(605.14)], ["00:00.0", "01:00.0", "10:05.1"]);
    }
}
