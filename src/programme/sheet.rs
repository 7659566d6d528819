//! The running sheet: what plays when, how to set the level, and the cautions, to lie beside the deck.
//!
//! Here stands what it says; room `show` sets it in type, as text and as a page to print.

use super::{Channels, Colour, Depth, Feeding, PlacedPart, Recipe, Serves, Signal, Timeline, sheet_feeding};
use crate::trade::{CAUTIONS, INJECTION_CAUTIONS, TRIMMER_CAUTIONS};

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

/// All that a running sheet says, in words.
#[derive(Debug, Clone, PartialEq)]
pub struct RunningSheet {
    /// Title of the recipe.
    pub title: String,
    /// Name and fact: purpose, file, level, length, slate code.
    pub facts: Vec<(&'static str, String)>,
    /// Cautions that hold for this programme.
    pub cautions: Vec<&'static str>,
    /// What to do before it plays: a heading, and the steps.
    pub before: (&'static str, Vec<String>),
    /// What plays when. Rounds stand in one row.
    pub parts: Vec<SheetRow>,
    /// Rounds, in their order.
    pub rounds: Vec<SheetRounds>,
    /// Whether the player repeats it: then no round is noted.
    pub looped: bool,
}

/// One part, or a pause in which something is to be done.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SheetRow {
    /// Minutes, seconds and tenths from the start of the file; in a round, from its start.
    pub start: String,
    /// Its length, with its unit.
    pub length: String,
    /// Id of the part.
    pub part: String,
    /// Level in the programme, dB; empty where nothing is heard.
    pub db: String,
    /// What is heard.
    pub heard: String,
    /// What it is for, or what to do; said once for parts that follow each other.
    pub purpose: String,
}

/// Rounds that are all alike.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetRounds {
    /// Parts of one round.
    pub parts: Vec<SheetRow>,
    /// Start of each round, from the first one on.
    pub starts: Vec<String>,
}

/// The running sheet of a programme.
pub fn running_sheet(recipe: &Recipe, timeline: &Timeline, written: &Written<'_>) -> RunningSheet {
    let slates = timeline.parts.iter().filter(|part| matches!(part.signal, Signal::Slate { .. })).count();
    let facts = vec![
        ("Purpose", recipe.purpose.clone()),
        ("File", format!("{}, {} Hz, {}, stereo", written.wav_name, written.rate_hz, written.depth)),
        (
            "Level",
            format!(
                "0 dB of the programme is {} dBFS (0 dBFS: rms of a full-scale sine)",
                written.reference_dbfs
            ),
        ),
        ("Length", clock(timeline.length_s)),
        ("Slate code", format!("{:04x} (recipe {}), {slates} slates", timeline.code, timeline.name)),
    ];
    let trims = timeline.parts.iter().any(|part| matches!(part.serves, Serves::Bias | Serves::BiasSweep));
    let feed = timeline.feed();
    let more: &[&str] = match feed {
        Some(_) => &INJECTION_CAUTIONS,
        None if trims || timeline.looped => &TRIMMER_CAUTIONS,
        None => &[],
    };
    let before = match feed {
        Some(feed) => ("Feeding the signal in", sheet_feeding::steps(timeline, feed, &written.feeding)),
        None if timeline.looped => ("Turning while it repeats", looped_steps(timeline)),
        None => ("Setting the level", level_steps(timeline)),
    };
    let (parts, rounds) = rows(timeline);
    let cautions = CAUTIONS.iter().chain(more).copied().collect();
    RunningSheet {
        title: recipe.title.clone(),
        facts,
        cautions,
        before,
        parts,
        rounds,
        looped: timeline.looped,
    }
}

/// What plays when, and the rounds in it.
fn rows(timeline: &Timeline) -> (Vec<SheetRow>, Vec<SheetRounds>) {
    let all = &timeline.parts;
    let (mut rows, mut rounds) = (Vec::new(), Vec::new());
    let mut purpose = "";
    let mut at = 0;
    while let Some(part) = all.get(at) {
        if part.round() != Some(1) {
            rows.push(row(part, 0.0, &mut purpose));
            at += 1;
            continue;
        }
        // Slates carry no number: what stands between two parts of rounds is of them.
        let (mut starts, mut last) = (vec![at], at);
        for (k, part) in all.iter().enumerate().skip(at) {
            match part.round().map(|round| round as usize) {
                Some(round) if round == starts.len() => last = k,
                Some(round) if round == starts.len() + 1 => {
                    starts.push(k);
                    last = k;
                }
                Some(_) => break,
                None => {}
            }
        }
        let first = &all[at..starts.get(1).copied().unwrap_or(last + 1)];
        purpose = "";
        rounds.push(SheetRounds {
            parts: first.iter().map(|each| row(each, part.start_s, &mut purpose)).collect(),
            starts: starts.iter().map(|&k| clock(all[k].start_s)).collect(),
        });
        purpose = "";
        rows.push(SheetRow {
            start: clock(part.start_s),
            part: format!("rounds 1 to {}", starts.len()),
            purpose: "See below.".to_owned(),
            ..Default::default()
        });
        at = last + 1;
    }
    rows.push(SheetRow { start: clock(timeline.length_s), heard: "end".to_owned(), ..Default::default() });
    (rows, rounds)
}

/// The row of a part, its start counted from `from_s`. A purpose that is `said` already is left out.
fn row<'a>(part: &'a PlacedPart, from_s: f64, said: &mut &'a str) -> SheetRow {
    let to_do = match &part.signal {
        Signal::Pause { say } => Some(say),
        _ => None,
    };
    let purpose = to_do.unwrap_or(&part.purpose);
    let is_said = to_do.is_none() && purpose == *said;
    *said = purpose;
    let is_heard = !matches!(part.signal, Signal::Silence | Signal::Pause { .. });
    let id = match part.round() {
        Some(1) => part.id.trim_end_matches("-round-1"),
        _ => &part.id,
    };
    SheetRow {
        start: clock(part.start_s - from_s),
        length: format!("{} s", part.length_s),
        part: id.to_owned(),
        db: if is_heard { level_text(part.level_db) } else { String::new() },
        heard: heard(part),
        purpose: if is_said { String::new() } else { purpose.to_owned() },
    }
}

/// The tone by which levels are set.
pub(super) fn level_tone(timeline: &Timeline) -> Option<&PlacedPart> {
    let is_level = |part: &&PlacedPart| {
        matches!(part.serves, Serves::Level | Serves::Source) && matches!(part.signal, Signal::Tone { .. })
    };
    timeline.parts.iter().find(is_level)
}

/// What to do with a programme that is followed while something is turned.
fn looped_steps(timeline: &Timeline) -> Vec<String> {
    let length = timeline.length_s.round();
    vec![
        format!(
            "Let the player repeat the file ({length} s) without a pause: repeat one track, or a loop. A short gap where it \
             begins again does no harm."
        ),
        String::from(
            "To turn what records (record level, bias), record the programme and listen to the tape meanwhile: three heads, \
             monitor switch at TAPE. To turn what plays back (azimuth, speed, playback level), play a tape that carries it, \
             recorded on a deck that is right; fill as much tape with it as the work takes.",
        ),
        String::from(
            "Switch noise reduction, loudness, tone controls and automatic level off, unless the job is about them.",
        ),
        String::from(
            "At the sound card, switch every enhancement and automatic gain off. Set the input so that 0 dB of the programme \
             stands near -12 dBFS as it comes back, and leave it there.",
        ),
        String::from(
            "Follow the signal live (`deckproof follow`, see `deckproof guide follow`), and turn slowly, a little at a time. \
             Wait where the tones stop for the slate. No figures are made of a recording of it: read another programme before and after.",
        ),
    ]
}

fn level_steps(timeline: &Timeline) -> Vec<String> {
    let mut steps = Vec::new();
    match level_tone(timeline) {
        Some(part) => {
            steps.push(format!(
                "Play the level tone: {}, {} dB of the programme, {} s from {} on. Repeat it as often as you need.",
                heard(part),
                level_text(part.level_db),
                part.length_s,
                clock(part.start_s)
            ));
            let mark = if part.level_db == 0.0 {
                String::from("the deck's reference mark")
            } else {
                format!("{} dB re the deck's reference mark", level_text(part.level_db))
            };
            steps.push(format!(
                "Set the deck to record and pause. Turn its record level until the meter shows {mark}, both channels \
                 alike. The service manual says which mark that is. Without it, take 0 dB or the noise-reduction mark, \
                 and note which (common practice, no source)."
            ));
        }
        None => steps.push(String::from(
            "This programme has no level tone. Set the record level with a programme that has one, or feed the level \
             that the job asks for.",
        )),
    }
    let heard =
        timeline.parts.iter().filter(|part| !matches!(part.signal, Signal::Silence | Signal::Pause { .. }));
    let loudest_db = heard.map(|part| part.level_db).fold(f64::NEG_INFINITY, f64::max);
    if loudest_db > 0.0 {
        steps.push(format!(
            "The loudest part is {loudest_db:.1} dB above that mark. This is meant: do not turn it down."
        ));
    }
    let mut say = |step: &str| steps.push(step.to_owned());
    say(
        "Switch noise reduction, loudness, tone controls and automatic level off, unless the job is about them.",
    );
    let serves = |serves: Serves| timeline.parts.iter().any(|part| part.serves == serves);
    let record =
        "Rewind. Record the whole file. Do not touch the record level or the player's volume until the end.";
    if serves(Serves::Bias) || serves(Serves::BiasSweep) {
        say(
            "First set playback level, playback response and azimuth with a calibrated tape. What they lack would be \
             trimmed into the recording.",
        );
        say(&format!("{record} Turn trimmers only where it says so below. Leave the first round as found."));
        match timeline.monitor_switch() {
            Some(_) => say(
                "This programme is for decks with three heads. Capture while you record. Begin with the monitor switch \
                 at SOURCE. Switch to TAPE in the pause that says so. Touch no output level between them.",
            ),
            None => {
                say(
                    "Three heads: set the monitor switch to TAPE, capture while you record, and stop turning when it \
                     reads right.",
                );
                say(
                    "Two heads: turn by equal steps and note each place. Then rewind, play and capture. Read which \
                     round was right, and turn back to its place.",
                );
            }
        }
    } else {
        say(record);
    }
    say(
        "At the sound card, switch every enhancement and automatic gain off. Set the input so that the level tone, as it \
         comes back from the deck, stands near -12 dBFS. Set it lower if the loudest part comes near full scale.",
    );
    say("Start the capture first, then the tape.");
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::programme::{built_in, built_in_by_name};

    fn sheet(recipe: &Recipe) -> RunningSheet {
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
    fn every_part_is_listed_with_its_time() {
        for recipe in built_in() {
            let (sheet, timeline) = (sheet(&recipe), Timeline::from(&recipe));
            let alone: Vec<&PlacedPart> =
                timeline.parts.iter().filter(|part| part.round().is_none()).collect();
            for part in &alone {
                let start = clock(part.start_s);
                let slate_of_round = matches!(part.signal, Signal::Slate { .. }) && !sheet.rounds.is_empty();
                let listed = sheet.parts.iter().any(|row| row.start == start && row.part == part.id);
                assert!(listed || slate_of_round, "{}: {} at {start}", recipe.name, part.id);
            }
            for part in timeline.parts.iter().filter(|part| matches!(part.signal, Signal::Pause { .. })) {
                let start = clock(part.start_s);
                let round = sheet.rounds.iter().any(|rounds| rounds.starts.contains(&start));
                let alone = sheet.parts.iter().any(|row| row.start == start && !row.purpose.is_empty());
                assert!(round || alone, "{}: pause at {start}", recipe.name);
            }
        }
    }

    #[test]
    fn rounds_are_listed_once_and_start_where_they_do() {
        for (name, count) in
            [("record-trim", 24), ("monitor-trim", 24), ("bias-sweep", 15), ("noise-reduction", 0)]
        {
            let recipe = built_in_by_name(name).unwrap();
            let sheet = sheet(&recipe);
            assert_eq!(sheet.rounds.iter().map(|rounds| rounds.starts.len()).sum::<usize>(), count, "{name}");
            for rounds in &sheet.rounds {
                assert!(rounds.parts[0].purpose.contains("Hands off while tones sound"), "{rounds:?}");
                assert!(rounds.parts.iter().any(|row| row.heard == "slate"));
                assert!(rounds.parts.iter().all(|row| !row.part.contains("round")));
                assert_eq!(rounds.parts[0].start, "00:00.0");
                let row = |row: &&SheetRow| row.part == format!("rounds 1 to {count}");
                assert_eq!(sheet.parts.iter().find(row).unwrap().start, rounds.starts[0]);
            }
            assert_eq!(sheet.cautions.iter().any(|text| text.contains("insulated tools only")), count > 0);
        }
    }

    #[test]
    fn a_looped_programme_is_repeated_and_warns_of_what_is_inside() {
        for recipe in built_in().into_iter().filter(|recipe| recipe.looped) {
            let sheet = sheet(&recipe);
            let (heading, steps) = &sheet.before;
            assert_eq!(*heading, "Turning while it repeats");
            assert!(sheet.looped && steps[0].contains("repeat the file (6"), "{steps:?}");
            assert!(!steps.iter().any(|step| step.contains("Do not touch")), "{steps:?}");
            assert!(sheet.cautions.iter().any(|text| text.contains("insulated tools only")));
        }
    }

    #[test]
    fn code_file_level_and_cautions_are_told() {
        let recipe = built_in_by_name("first-look").unwrap();
        let sheet = sheet(&recipe);
        assert!(CAUTIONS.iter().all(|caution| sheet.cautions.contains(caution)));
        // As the reading writes it.
        let code = format!("{:04x}", Timeline::from(&recipe).code);
        let text = format!("{:?}", sheet);
        for want in ["a.wav, 44100 Hz, 16 bit", "-12 dBFS", &code, "4 s from 00:05.1 on", "315 Hz"] {
            assert!(text.contains(want), "{want}\n{text}");
        }
    }

    #[test]
    fn the_clock_carries_over() {
        assert_eq!([clock(0.0), clock(59.96), clock(605.14)], ["00:00.0", "01:00.0", "10:05.1"]);
    }
}
