//! One `[[part]]` table of a recipe, written out into single parts.

use super::keys::{Keys, Numbers};
use super::recipe::{MAX_LENGTH_S, MAX_PARTS, Part};
use super::shape::Shape;
use super::{
    Channels, Colour, Feed, ProgrammeError, Serves, Signal, shortest_sweep_s, shortest_tone_s, slate,
};
use crate::harmless::echo;
use crate::trade::Equalisation;

/// Lowest frequency of a recipe, Hz.
pub(super) const LOWEST_HZ: f64 = 5.0;
/// Highest frequency of a recipe, Hz; what the sample rate allows is checked when it is known.
pub(super) const HIGHEST_HZ: f64 = 44_000.0;
/// Shortest part that is heard, s.
const SHORTEST_S: f64 = 0.2;
/// Levels of a recipe, dB re the reference level.
const LOWEST_DB: f64 = -100.0;
const HIGHEST_DB: f64 = 30.0;
/// Least distance of twin tones, Hz: closer ones cannot be told apart under flutter.
const LEAST_APART_HZ: f64 = 150.0;
/// Most sines in a chord.
const MAX_CHORD: usize = 32;

/// A part before slates, silences and pauses have their numbers.
#[derive(Debug, Clone)]
pub(super) struct Draft {
    /// Byte position of its table.
    pub at: usize,
    /// Its id, if it has one.
    pub id: Option<String>,
    /// The rest; `part.id` is empty.
    pub part: Part,
}

/// Where a part stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Nesting {
    /// In the recipe itself.
    Top,
    /// In rounds.
    Rounds,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Slate,
    Silence,
    Pause,
    Tone,
    Chord,
    TwinTone,
    Steps,
    Sweep,
    Noise,
    Rounds,
}

impl Kind {
    /// What it is called in a message, and the keys that it knows.
    fn keys(self) -> (&'static str, &'static [&'static str]) {
        match self {
            Kind::Slate => ("a slate", &["kind", "purpose", "level_db", "gap_s"]),
            Kind::Silence => ("a silence", &["kind", "id", "purpose", "serves", "length_s", "gap_s"]),
            Kind::Pause => ("a pause", &["kind", "id", "purpose", "serves", "length_s", "gap_s", "say"]),
            Kind::Tone => ("a tone", SINE_KEYS),
            Kind::Steps => ("a row of steps", SINE_KEYS),
            Kind::Chord => (
                "a chord",
                &["kind", "id", "purpose", "serves", "hz", "level_db", "length_s", "gap_s", "channels"],
            ),
            Kind::TwinTone => (
                "a twin tone",
                &["kind", "id", "purpose", "serves", "hz", "level_db", "length_s", "gap_s", "channels"],
            ),
            Kind::Sweep => (
                "a sweep",
                &[
                    "kind", "id", "purpose", "serves", "from_hz", "to_hz", "level_db", "length_s", "gap_s",
                    "channels",
                ],
            ),
            Kind::Noise => (
                "a noise",
                &[
                    "kind", "id", "purpose", "serves", "colour", "seed", "level_db", "length_s", "gap_s",
                    "channels",
                ],
            ),
            Kind::Rounds => ("a part of kind rounds", &["kind", "purpose", "count", "part"]),
        }
    }
}

const SINE_KEYS: &[&str] =
    &["kind", "id", "purpose", "serves", "hz", "level_db", "length_s", "gap_s", "channels", "shape"];

const KINDS: [(&str, Kind); 10] = [
    ("slate", Kind::Slate),
    ("silence", Kind::Silence),
    ("pause", Kind::Pause),
    ("tone", Kind::Tone),
    ("chord", Kind::Chord),
    ("twin-tone", Kind::TwinTone),
    ("steps", Kind::Steps),
    ("sweep", Kind::Sweep),
    ("noise", Kind::Noise),
    ("rounds", Kind::Rounds),
];

const SERVES: [(&str, Serves); 19] = [
    ("level", Serves::Level),
    ("response", Serves::Response),
    ("azimuth", Serves::Azimuth),
    ("flutter", Serves::Flutter),
    ("noise", Serves::Noise),
    ("distortion", Serves::Distortion),
    ("saturation", Serves::Saturation),
    ("separation", Serves::Separation),
    ("bias", Serves::Bias),
    ("source", Serves::Source),
    ("bias-sweep", Serves::BiasSweep),
    ("noise-reduction-out", Serves::ReductionOut),
    ("noise-reduction-in", Serves::ReductionIn),
    ("erasing", Serves::Erasing),
    ("amplifier-120us", Serves::Injected(Feed::Amplifier, Equalisation::Us120)),
    ("amplifier-70us", Serves::Injected(Feed::Amplifier, Equalisation::Us70)),
    ("loop-120us", Serves::Injected(Feed::Loop, Equalisation::Us120)),
    ("loop-70us", Serves::Injected(Feed::Loop, Equalisation::Us70)),
    ("nothing", Serves::Nothing),
];

const CHANNELS: [(&str, Channels); 4] = [
    ("both", Channels::Both),
    ("left", Channels::Left),
    ("right", Channels::Right),
    ("opposed", Channels::Opposed),
];

const COLOURS: [(&str, Colour); 2] = [("white", Colour::White), ("pink", Colour::Pink)];

/// Adds to `drafts` what the table `keys` stands for.
pub(super) fn expand(
    keys: Keys<'_>,
    reference_hz: f64,
    nesting: Nesting,
    drafts: &mut Vec<Draft>,
) -> Result<(), ProgrammeError> {
    let allowed = KINDS.map(|(word, _)| word).join(", ");
    let kind = keys.word("kind", &KINDS)?;
    let kind = keys.required("kind", kind, &allowed)?;
    let (of, known) = kind.keys();
    keys.only(of, known)?;
    if kind == Kind::Rounds {
        return rounds(keys, reference_hz, nesting, drafts);
    }

    let purpose = keys.text("purpose")?.unwrap_or_default();
    let quiet = matches!(kind, Kind::Silence | Kind::Pause);
    let gap = keys.numbers("gap_s", 0.0, MAX_LENGTH_S, "s")?;
    let gap_cs = match gap {
        Some(gap) => one(&keys, "gap_s", hundredths(&keys, "gap_s", &gap)?)?,
        None if quiet => 0,
        None => 10,
    };
    let mut draft = Draft {
        at: keys.at,
        id: None,
        part: Part {
            id: String::new(),
            length_cs: (slate::LENGTH_S * 100.0).round() as u64,
            gap_cs,
            level_db: 0.0,
            channels: Channels::Both,
            signal: Signal::Silence,
            serves: Serves::Nothing,
            purpose,
        },
    };
    if kind == Kind::Slate {
        // Its index is given when the whole recipe is known.
        draft.part.signal = Signal::Slate { index: 0 };
        draft.part.serves = Serves::Place;
        draft.part.level_db = keys.number("level_db", LOWEST_DB, HIGHEST_DB, "dB")?.unwrap_or(0.0);
        drafts.push(draft);
        return Ok(());
    }

    draft.id = id(&keys)?;
    let serves = keys.word("serves", &SERVES)?;
    let shortest_s = if quiet { 0.01 } else { SHORTEST_S };
    let length = keys.numbers("length_s", shortest_s, MAX_LENGTH_S, "s")?;
    let length = keys.required("length_s", length, "a length in seconds")?;
    let lengths_cs = hundredths(&keys, "length_s", &length)?;
    if kind != Kind::Steps {
        draft.part.length_cs = one(&keys, "length_s", lengths_cs.clone())?;
    }
    if quiet {
        draft.part.serves = serves.unwrap_or(Serves::Nothing);
        if kind == Kind::Silence {
            draft.part.serves = serves.unwrap_or(Serves::Noise);
        } else {
            let say = keys.text("say")?;
            let say = keys.required("say", say, "a text that says what to do")?;
            draft.part.signal = Signal::Pause { say };
        }
        drafts.push(draft);
        return Ok(());
    }

    let name = keys.required("id", draft.id.clone(), "a short name of the part")?;
    draft.part.channels = keys.word("channels", &CHANNELS)?.unwrap_or(Channels::Both);
    let levels = keys.numbers("level_db", LOWEST_DB, HIGHEST_DB, "dB")?;
    let levels = keys.required("level_db", levels, "a level in dB re the reference level")?;
    if kind == Kind::Steps {
        let hz = values(&frequencies(&keys)?);
        let shape = keys.word("shape", &Shape::WORDS)?.unwrap_or(Shape::Flat);
        let usual = if hz.len() > 1 { Serves::Response } else { Serves::Saturation };
        draft.part.serves = serves.unwrap_or(usual);
        right_shape(&keys, shape, draft.part.serves)?;
        let steps = steps(&keys, &name, &hz, &values(&levels), &lengths_cs)?;
        for step in &steps {
            let at = length.values.get(step.row).or(length.values.first()).map_or(keys.at, |value| value.1);
            long_enough(&keys, at, step.length_cs, &Signal::Tone { hz: step.hz }, draft.part.serves)?;
        }
        drafts.extend(steps.into_iter().map(|step| {
            let mut draft = draft.clone();
            draft.id = Some(step.id);
            draft.part.length_cs = step.length_cs;
            draft.part.level_db = shaped_db(step.level_db, shape, step.hz, reference_hz);
            draft.part.signal = Signal::Tone { hz: step.hz };
            draft
        }));
        return Ok(());
    }
    if kind == Kind::TwinTone {
        draft.part.serves = serves.unwrap_or(Serves::Distortion);
        draft.part.signal = Signal::Chord { hz: twin(&keys)? };
        let levels = values(&levels);
        drafts.extend(levels.iter().map(|&level_db| {
            let mut draft = draft.clone();
            if levels.len() > 1 {
                draft.id = Some(format!("{name}{level_db:+}dB"));
            }
            draft.part.level_db = level_db;
            draft
        }));
        return Ok(());
    }
    draft.part.level_db = one(&keys, "level_db", values(&levels))?;
    let (signal, usual) = signal(&keys, kind)?;
    if let Signal::Tone { hz } = signal {
        let shape = keys.word("shape", &Shape::WORDS)?.unwrap_or(Shape::Flat);
        draft.part.level_db = shaped_db(draft.part.level_db, shape, hz, reference_hz);
        right_shape(&keys, shape, serves.unwrap_or(usual))?;
    } else if matches!(serves, Some(Serves::Injected(..))) {
        let allowed = "tones and steps";
        return Err(keys.refuse("serves", "another kind of part", allowed, "use a tone or steps for it"));
    }
    draft.part.serves = serves.unwrap_or(usual);
    let at = length.values.first().map_or(keys.at, |value| value.1);
    long_enough(&keys, at, draft.part.length_cs, &signal, draft.part.serves)?;
    draft.part.signal = signal;
    drafts.push(draft);
    Ok(())
}

/// Refuses tones for a playback amplifier that are not shaped for it: a right one would not read as flat.
fn right_shape(keys: &Keys<'_>, shape: Shape, serves: Serves) -> Result<(), ProgrammeError> {
    let Serves::Injected(feed, equalisation) = serves else { return Ok(()) };
    let wanted = Shape::undoing(feed, equalisation);
    if shape == wanted {
        return Ok(());
    }
    let allowed = format!("{:?} for what it serves", wanted.word());
    Err(keys.refuse("shape", format!("{:?}", shape.word()), allowed, "make shape and serves match"))
}

/// Refuses, at the length that stands at `at`, what the reader could never measure for what it serves.
fn long_enough(
    keys: &Keys<'_>,
    at: usize,
    length_cs: u64,
    signal: &Signal,
    serves: Serves,
) -> Result<(), ProgrammeError> {
    let (shortest_s, what) = match *signal {
        Signal::Tone { hz } => (shortest_tone_s(hz, serves), format!("a tone of {hz} Hz")),
        Signal::Sweep { from_hz, to_hz } if serves == Serves::Response => {
            (shortest_sweep_s(from_hz, to_hz), format!("a sweep from {from_hz} to {to_hz} Hz"))
        }
        _ => return Ok(()),
    };
    let shortest_cs = (shortest_s * 100.0 - 1e-6).ceil().max(0.0);
    if length_cs as f64 >= shortest_cs {
        return Ok(());
    }
    let found = format!("{} s, too short to be measured", length_cs as f64 / 100.0);
    let allowed = format!("at least {} s for {what}", shortest_cs / 100.0);
    let remedy = "make it longer, or write serves = \"nothing\" if it is only to be heard";
    Err(keys.source.refuse(at, "length_s", found, allowed, remedy))
}

/// What a single part lets hear, and what that usually serves.
fn signal(keys: &Keys<'_>, kind: Kind) -> Result<(Signal, Serves), ProgrammeError> {
    match kind {
        Kind::Sweep => {
            let from_hz = frequency(keys, "from_hz")?;
            let to_hz = frequency(keys, "to_hz")?;
            if from_hz == to_hz {
                let found = format!("{to_hz} Hz, where it started");
                return Err(keys.refuse("to_hz", found, "another frequency", "use a tone instead"));
            }
            Ok((Signal::Sweep { from_hz, to_hz }, Serves::Response))
        }
        Kind::Noise => {
            let colour = keys.word("colour", &COLOURS)?;
            let colour = keys.required("colour", colour, "white, pink")?;
            let seed = keys.whole("seed", 0, u32::MAX)?.unwrap_or(1).into();
            Ok((Signal::Noise { colour, seed }, Serves::Response))
        }
        Kind::Chord => {
            let hz = values(&frequencies(keys)?);
            let twice = hz.iter().enumerate().any(|(k, a)| hz[..k.min(MAX_CHORD)].contains(a));
            if hz.len() < 2 || hz.len() > MAX_CHORD || twice {
                let found =
                    format!("{} frequencies{}", hz.len(), if twice { ", one of them twice" } else { "" });
                let allowed = format!("2 to {MAX_CHORD} different frequencies");
                return Err(keys.refuse("hz", found, allowed, "change the list, or use a tone"));
            }
            Ok((Signal::Chord { hz }, Serves::Distortion))
        }
        Kind::Tone => {
            let hz = one(keys, "hz", values(&frequencies(keys)?))?;
            Ok((Signal::Tone { hz }, Serves::Level))
        }
        // Dealt with before.
        Kind::Slate | Kind::Silence | Kind::Pause | Kind::TwinTone | Kind::Steps | Kind::Rounds => {
            Ok((Signal::Silence, Serves::Nothing))
        }
    }
}

/// The two frequencies of a twin tone, the lower first.
fn twin(keys: &Keys<'_>) -> Result<Vec<f64>, ProgrammeError> {
    let mut hz = values(&frequencies(keys)?);
    hz.sort_by(f64::total_cmp);
    let apart_hz = if hz.len() == 2 { hz[1] - hz[0] } else { 0.0 };
    if !(apart_hz >= LEAST_APART_HZ && hz[1] <= 1.5 * hz[0]) {
        let found = format!("{hz:?}");
        let allowed = format!("two frequencies, {LEAST_APART_HZ} Hz to half of the lower one apart");
        return Err(keys.refuse("hz", found, allowed, "change the list, or use a chord"));
    }
    Ok(hz)
}

struct Step {
    id: String,
    hz: f64,
    level_db: f64,
    length_cs: u64,
    /// Which of the listed lengths.
    row: usize,
}

/// Every frequency at every level.
fn steps(
    keys: &Keys<'_>,
    name: &str,
    hz: &[f64],
    levels_db: &[f64],
    lengths_cs: &[u64],
) -> Result<Vec<Step>, ProgrammeError> {
    let rows = if hz.len() > 1 { hz.len() } else { levels_db.len() };
    if lengths_cs.len() != 1 && lengths_cs.len() != rows {
        let found = format!("{} lengths for {rows} steps", lengths_cs.len());
        let allowed = format!("one length, or {rows}");
        return Err(keys.refuse("length_s", found, allowed, "make the lists match"));
    }
    if hz.len().saturating_mul(levels_db.len()) > MAX_PARTS {
        return Err(too_many(keys, "hz"));
    }
    let mut steps = Vec::with_capacity(hz.len() * levels_db.len());
    for (h, &hz_here) in hz.iter().enumerate() {
        for (l, &level_db) in levels_db.iter().enumerate() {
            let mut id = name.to_owned();
            if hz.len() > 1 || levels_db.len() == 1 {
                id += &format!("-{hz_here}");
            }
            if levels_db.len() > 1 {
                id += &format!("{level_db:+}dB");
            }
            let row = if hz.len() > 1 { h } else { l };
            // One length serves all steps; the list is never empty.
            let length_cs = lengths_cs.get(row).or(lengths_cs.first()).copied().unwrap_or_default();
            steps.push(Step { id, hz: hz_here, level_db, length_cs, row });
        }
    }
    Ok(steps)
}

/// Writes `count` rounds of a list of parts out.
fn rounds(
    keys: Keys<'_>,
    reference_hz: f64,
    nesting: Nesting,
    drafts: &mut Vec<Draft>,
) -> Result<(), ProgrammeError> {
    if nesting == Nesting::Rounds {
        return Err(keys.refuse("kind", "rounds within rounds", "rounds once", "write the inner ones out"));
    }
    keys.text("purpose")?;
    let count = keys.whole("count", 1, 500)?;
    let count = keys.required("count", count, "a whole number from 1 to 500")?;
    let mut round = Vec::new();
    for part in keys.tables("part")? {
        expand(part, reference_hz, Nesting::Rounds, &mut round)?;
    }
    if round.is_empty() {
        let remedy = "put [[part.part]] tables below it";
        return Err(keys.refuse("part", "nothing", "at least one part", remedy));
    }
    if round.len().saturating_mul(count as usize) > MAX_PARTS {
        return Err(too_many(&keys, "count"));
    }
    for number in 1..=count {
        drafts.extend(round.iter().cloned().map(|mut draft| {
            draft.id = draft.id.map(|id| format!("{id}-round-{number}"));
            draft
        }));
    }
    Ok(())
}

fn too_many(keys: &Keys<'_>, key: &str) -> ProgrammeError {
    let found = format!("more than {MAX_PARTS} parts");
    keys.refuse(key, found, format!("at most {MAX_PARTS} parts"), "shorten the list")
}

/// Level of a shaped tone, dB; to 0.001 dB, so that adding the shape leaves no tail of digits.
fn shaped_db(level_db: f64, shape: Shape, hz: f64, reference_hz: f64) -> f64 {
    match shape {
        Shape::Flat => level_db,
        _ => ((level_db + shape.level_db(hz, reference_hz)) * 1000.0).round() / 1000.0,
    }
}

fn id(keys: &Keys<'_>) -> Result<Option<String>, ProgrammeError> {
    let Some(id) = keys.text("id")? else { return Ok(None) };
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.+".contains(c);
    if id.is_empty() || id.len() > 40 || !id.chars().all(plain) {
        let found = format!("{:?}", echo(&id));
        let allowed = "1 to 40 letters, digits and - _ . +";
        return Err(keys.refuse("id", found, allowed, "rename it"));
    }
    Ok(Some(id))
}

fn frequencies(keys: &Keys<'_>) -> Result<Numbers, ProgrammeError> {
    let hz = keys.numbers("hz", LOWEST_HZ, HIGHEST_HZ, "Hz")?;
    keys.required("hz", hz, "a frequency in Hz")
}

fn frequency(keys: &Keys<'_>, key: &str) -> Result<f64, ProgrammeError> {
    let hz = keys.number(key, LOWEST_HZ, HIGHEST_HZ, "Hz")?;
    keys.required(key, hz, "a frequency in Hz")
}

fn values(numbers: &Numbers) -> Vec<f64> {
    // Adding 0 turns -0 into 0.
    numbers.values.iter().map(|(value, _)| value + 0.0).collect()
}

fn one<T: Copy>(keys: &Keys<'_>, key: &str, values: Vec<T>) -> Result<T, ProgrammeError> {
    match values[..] {
        [value] => Ok(value),
        _ => Err(keys.refuse(
            key,
            format!("{} numbers", values.len()),
            "one number",
            "use kind \"steps\" for a list",
        )),
    }
}

/// Times in hundredths of a second.
fn hundredths(keys: &Keys<'_>, key: &str, times: &Numbers) -> Result<Vec<u64>, ProgrammeError> {
    times
        .values
        .iter()
        .map(|&(seconds, at)| {
            let hundredths = (seconds * 100.0).round();
            // 1e-9 s: far above the rounding of decimals, far below a sample.
            if (hundredths / 100.0 - seconds).abs() > 1e-9 {
                let remedy = format!("write {}", hundredths / 100.0);
                let found = format!("{seconds} s");
                return Err(keys.source.refuse(at, key, found, "multiples of 0.01 s", remedy));
            }
            // At most MAX_LENGTH_S * 100.
            Ok(hundredths as u64)
        })
        .collect()
}
