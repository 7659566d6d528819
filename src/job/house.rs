//! House tapes: a card made from readings, a card subtracted from a reading, a pass counted on a card.

use super::read::Playing;
use crate::harmless::{echo, echoes};
use crate::judge::{Reading, days_between, renewal};
use crate::measure::{CardError, card_figures, check_calibrated, check_house, subtract_card};
use crate::programme::{DATA_BYTES, Overwrite, ProgrammeError, read_text, write_text};
use crate::reading::{
    CARD_FORMAT, CalibratedBy, Card, FORMAT, Facts, Made, Pass, RecordedOn, ResponsePoint, Verdict, Warning,
    WarningId,
};
use crate::show;
use crate::trade::Medium;
use crate::trade::StatedFlux;
use crate::trade::reference_levels::fluxivity_nwb_m;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why a card could not be made, read, used or written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum HouseError {
    /// A file cannot be opened.
    #[error("{}: cannot be read: {source}; give {what}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What it should be.
        what: &'static str,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file holds something else.
    #[error("{}: {found}; give {what}", path.display())]
    Malformed {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
        /// What it should be.
        what: &'static str,
    },
    /// A reading cannot serve.
    #[error("{}: {source}", path.display())]
    Reading {
        /// Its file.
        path: PathBuf,
        /// What is wrong with it.
        source: CardError,
    },
    /// The card does not go with the return.
    #[error("{}: {why}", path.display())]
    DoesNotFit {
        /// The card.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// The return was counted already.
    #[error("{}: this return was counted on it already ({at}) and is not counted twice", path.display())]
    Counted {
        /// The card.
        path: PathBuf,
        /// When.
        at: String,
    },
    /// The card cannot be written.
    #[error(transparent)]
    Programme(#[from] ProgrammeError),
}

const READING: &str = "a reading in JSON, as `read --json FILE` or `--out DIR` writes it";
const CARD: &str = "a card, as `house make` writes it";

/// JSON of `format` from a file.
fn json<T: serde::de::DeserializeOwned>(
    path: &Path,
    format: &str,
    what: &'static str,
) -> Result<T, HouseError> {
    let malformed = |found| HouseError::Malformed { path: path.into(), found, what };
    let text = read_text(path, DATA_BYTES).map_err(|source| HouseError::Unreadable {
        path: path.into(),
        what,
        source,
    })?;
    let value: serde_json::Value =
        serde_json::from_str(&text).map_err(|error| malformed(format!("it is no JSON ({error})")))?;
    match value.get("format").and_then(|format| format.as_str()) {
        Some(found) if found == format => {}
        Some(found) => return Err(malformed(format!("its format is {:?}, not {format:?}", echo(found)))),
        None => return Err(malformed("it has no `format`".into())),
    }
    serde_json::from_value(value)
        .map_err(|error| malformed(format!("it is damaged ({})", echoes(&error.to_string()))))
}

/// The reading in a JSON file.
///
/// # Errors
/// [`HouseError`] if it cannot be read or is none.
fn load_reading(path: &Path) -> Result<Reading, HouseError> {
    json(path, FORMAT, READING)
}

/// The card in a JSON file.
///
/// # Errors
/// [`HouseError`] if it cannot be read, is none, or has figures that no tape has.
pub fn load_card(path: &Path) -> Result<Card, HouseError> {
    let card: Card = json(path, CARD_FORMAT, CARD)?;
    let absurd = |what: &str| HouseError::Malformed {
        path: path.into(),
        found: format!("its {what} cannot be a tape's"),
        what: CARD,
    };
    if card.speed.is_some_and(|speed| speed.error_percent.abs() > 20.0) {
        return Err(absurd("speed.error_percent"));
    }
    if card.azimuth.as_ref().is_some_and(|azimuth| azimuth.delay_us.abs() > 2000.0) {
        return Err(absurd("azimuth.delay_us"));
    }
    let rows = card.response.iter().flat_map(|own| [&own.steps, &own.sweep, &own.noise]).flatten();
    if rows.map(|row| row.hz).chain(card.level.iter().map(|tone| tone.hz)).any(|hz| hz <= 0.0) {
        return Err(absurd("hz"));
    }
    Ok(card)
}

/// Mark of the bytes of a file, by which it is known again: FNV-1a, 64 bit, as hexadecimal digits.
///
/// # Errors
/// If it cannot be read.
pub fn mark_of(path: &Path) -> std::io::Result<String> {
    let mut file = File::open(path)?;
    let mut block = vec![0u8; 1 << 16];
    let mut hash = 0xcbf2_9ce4_8422_2325u64;
    loop {
        let count = file.read(&mut block)?;
        if count == 0 {
            return Ok(format!("{hash:016x}"));
        }
        for &byte in &block[..count] {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }
}

/// What the card's history keeps of `reading`, from which no card has been subtracted; `mark` is that of its return.
pub fn pass_of(reading: &Facts, mark: Option<String>) -> Pass {
    let usual = |level: &&crate::reading::Level| (300.0..=420.0).contains(&level.hz);
    let level = reading
        .level
        .iter()
        .filter(usual)
        .min_by(|a, b| a.programme_db.abs().total_cmp(&b.programme_db.abs()));
    let treble = reading.response.as_ref().and_then(|response| {
        let near = |row: &&ResponsePoint| (row.hz / 10_000.0).ln().abs() < 0.01;
        [&response.steps, &response.sweep, &response.noise].into_iter().flatten().find(near)
    });
    let made = reading.made.as_ref();
    let difference_db = level.and_then(|level| level.difference_db);
    Pass {
        at: made.map(|made| made.at.clone()),
        deck: made.and_then(|made| made.deck.clone()),
        file: reading.capture.file.clone(),
        mark,
        difference_db,
        difference_uncertainty_db: difference_db
            .and(level)
            .map(|level| level.uncertainty_db * std::f64::consts::SQRT_2),
        treble_hz: treble.map(|row| row.hz),
        treble_db: treble.map_or([None; 2], |row| row.db),
        treble_uncertainty_db: treble.map_or([None; 2], |row| row.uncertainty_db),
        delay_us: reading.azimuth.as_ref().and_then(|azimuth| azimuth.delay_us),
        delay_uncertainty_us: reading.azimuth.as_ref().and_then(|azimuth| azimuth.uncertainty_us),
        speed_percent: reading.speed.as_ref().map(|speed| speed.error_percent),
        speed_uncertainty_percent: reading.speed.as_ref().map(|speed| speed.uncertainty_percent),
    }
}

/// What a card is made from.
#[derive(Debug, Clone, Default)]
pub struct CardOptions {
    /// Readings of the house tape, each of its own playing.
    pub house: Vec<PathBuf>,
    /// Reading of the calibrated tape on the same deck.
    pub calibrated: PathBuf,
    /// What the workshop calls the tape.
    pub name: String,
    /// Which calibrated tape it was, in words.
    pub calibrated_tape: Option<String>,
    /// Fluxivity of the calibrated tape's 0 dB.
    pub fluxivity: Option<StatedFlux>,
    /// How often the tape had been played before.
    pub passes_before: u32,
}

/// The facts of a reading whose capture can be trusted.
fn captured_well(reading: Reading) -> Result<Facts, CardError> {
    let bad = reading.findings.iter().find(|f| f.id == "capture" && f.verdict == Verdict::Outside);
    match bad {
        Some(finding) => Err(CardError::BadCapture { why: finding.why.clone() }),
        None => Ok(reading.into_facts()),
    }
}

/// Makes the card of a house tape; `made` says when and by what.
///
/// # Errors
/// [`HouseError`] if a reading cannot be read or cannot serve.
pub fn make_card(options: &CardOptions, made: &Made, medium: &Medium) -> Result<Card, HouseError> {
    let wrong = |path: &Path| {
        let path = path.to_owned();
        move |source| HouseError::Reading { path, source }
    };
    let calibrated = captured_well(load_reading(&options.calibrated)?).map_err(wrong(&options.calibrated))?;
    check_calibrated(&calibrated).map_err(wrong(&options.calibrated))?;
    let mut house: Vec<Facts> = Vec::new();
    for path in &options.house {
        let reading = captured_well(load_reading(path)?).map_err(wrong(path))?;
        check_house(&reading, &calibrated).map_err(wrong(path))?;
        if house.contains(&reading) {
            return Err(wrong(path)(CardError::Twice));
        }
        if let Some(first) = house.first().filter(|first| first.recipe != reading.recipe) {
            let name = |reading: &Facts| {
                reading.recipe.as_ref().map_or("unknown".to_owned(), |recipe| recipe.name.clone())
            };
            let source = CardError::Recipes { one: name(&reading), other: name(first) };
            return Err(wrong(path)(source));
        }
        house.push(reading);
    }
    let first = options.house.first().unwrap_or(&options.calibrated);
    let mut figures = card_figures(&house, &calibrated, medium).map_err(wrong(first))?;
    if let Some(zero) = options.fluxivity {
        for tone in &mut figures.level {
            tone.fluxivity_nwb_per_m =
                tone.db.map(|db| db.map(|db| fluxivity_nwb_m(tone.programme_db + db, zero.nwb_m)));
        }
    }
    let history: Vec<Pass> = options
        .house
        .iter()
        .zip(&house)
        .map(|(path, reading)| pass_of(reading, mark_of_return(path, reading)))
        .collect();
    let deck = calibrated.made.as_ref().and_then(|made| made.deck.clone());
    let notes = notes(&house, &calibrated, &figures, options);
    Ok(Card {
        format: CARD_FORMAT.to_owned(),
        name: options.name.clone(),
        made: Made { deck, ..made.clone() },
        calibrated: CalibratedBy {
            tape: options.calibrated_tape.clone(),
            file: calibrated.capture.file.clone(),
            at: calibrated.made.as_ref().map(|made| made.at.clone()),
            fluxivity_nwb_per_m: options.fluxivity.map(|flux| flux.nwb_m),
            fluxivity_stated: options.fluxivity.map(|flux| flux.stated.word().to_owned()),
        },
        recipe: house.first().and_then(|reading| reading.recipe.clone()),
        tape_type: house
            .iter()
            .find_map(|reading| reading.circumstances.tape_type)
            .or(calibrated.circumstances.tape_type),
        level: figures.level,
        response: figures.response,
        azimuth: figures.azimuth,
        speed: figures.speed,
        flutter_at_most_percent: figures.flutter_at_most_percent,
        passes_before: options.passes_before,
        passes_of_making: house.len() as u32,
        history,
        notes,
        other: Default::default(),
    })
}

/// Mark of the return behind a reading: where the reading says, or beside the reading; `None` if it is at neither.
fn mark_of_return(path: &Path, reading: &Facts) -> Option<String> {
    let told = Path::new(&reading.capture.file);
    let beside = path.parent().map(|folder| folder.join(told.file_name().unwrap_or_default()));
    let places = std::iter::once(told.to_owned()).chain(beside).filter(|place| place.is_file());
    places.filter_map(|place| mark_of(&place).ok()).next()
}

/// Days that may lie between the two readings before it is said.
const CLOSE_DAYS: i64 = 1;

fn notes(
    house: &[Facts],
    calibrated: &Facts,
    figures: &crate::measure::CardFigures,
    options: &CardOptions,
) -> Vec<String> {
    let mut notes = Vec::new();
    let mut say = |text: &str| notes.push(text.to_owned());
    if house.iter().chain([calibrated]).any(rehearsed) {
        say(REHEARSED);
    }
    let at = |reading: &Facts| reading.made.as_ref().map(|made| made.at.clone());
    let apart = house.iter().filter_map(|reading| days_between(&at(calibrated)?, &at(reading)?));
    if let Some(days) = apart.max_by_key(|days| days.abs()).filter(|days| days.abs() > CLOSE_DAYS) {
        say(&format!(
            "House tape and calibrated tape were read {} days apart: what changed in the deck meanwhile is on the card, too. \
             Play one right after the other.",
            days.abs()
        ));
    }
    if house.iter().any(|reading| reading.capture.loopback.is_some() != calibrated.capture.loopback.is_some())
    {
        say(
            "The sound card was subtracted in only one of the readings (--loopback): its share is on the card.",
        );
    }
    let deck = |reading: &Facts| reading.made.as_ref().and_then(|made| made.deck.as_ref()).is_some();
    if !deck(calibrated) || !house.iter().all(deck) {
        say("It was not told whether both tapes were read on one deck (--deck of read).");
    }
    if calibrated.circumstances.tape_type.is_none()
        || house.iter().any(|reading| reading.circumstances.tape_type.is_none())
    {
        say("It was not told whether both tapes are of one type (--tape-type of read).");
    }
    if house.len() < 3 {
        say(
            "How much a cassette varies from playing to playing is from memory. Take three readings or more of the house \
             tape, and take the cassette out between them.",
        );
    }
    if figures.level.is_empty() {
        say("No level tone of one frequency was read on both tapes: the level is not on the card.");
    } else {
        say("The level holds if the sound card's input level was not touched between the readings.");
    }
    if figures.response.is_none() {
        say("No response was read on both tapes: it is not on the card.");
    }
    if figures.azimuth.is_none() {
        say(
            "No delay was read on both tapes: the tilt is not on the card, and what it costs in the treble is part of the \
             response.",
        );
    }
    if figures.speed.is_none() {
        say("No speed was read on both tapes: it is not on the card.");
    }
    if options.fluxivity.is_none() {
        say(
            "The fluxivity of the calibrated tape was not told: levels are against its 0 dB, whatever that is.",
        );
    }
    say("The tolerance in the calibrated tape's certificate adds to every uncertainty.");
    notes
}

const REHEARSED: &str = "Made from a rehearsal: nothing here is from a real tape.";

fn rehearsed(reading: &Facts) -> bool {
    reading.warnings.iter().any(|warning| warning.id == WarningId::Rehearsal)
}

/// Subtracts the card at `path` from a playing of its house tape; `pass` is what [`pass_of`] says of it.
///
/// # Errors
/// [`HouseError::DoesNotFit`] if the reading is not of a house tape or of one of another type; it is left as it was.
pub fn subtract_house(
    playing: &mut Playing,
    card: &Card,
    path: &Path,
    pass: &Pass,
    medium: &Medium,
) -> Result<(), HouseError> {
    let Playing { facts: reading, differences, .. } = playing;
    let does_not_fit = |why: String| Err(HouseError::DoesNotFit { path: path.to_owned(), why });
    if reading.circumstances.recorded_on != Some(RecordedOn::House) {
        return does_not_fit("a card goes with a house tape only; read with --recorded-on house".into());
    }
    if let (Some(tape), Some(own)) = (reading.circumstances.tape_type, card.tape_type)
        && tape != own
    {
        return does_not_fit(format!(
            "the card is of a tape of type {own:?}, this return is of type {tape:?}; give the card of this tape, or put \
             --tape-type right"
        ));
    }
    subtract_card(reading, differences, card, &path.display().to_string(), medium);
    if card.notes.iter().any(|note| note == REHEARSED) {
        reading.warnings.push(Warning::new(
            WarningId::CardRehearsal,
            "The card was made from a rehearsal: it holds for virtual decks only. Make one from real readings.",
        ));
    }
    let reasons = renewal(card, pass.at.as_deref().unwrap_or_default(), Some(pass));
    if !reasons.is_empty() {
        reading.warnings.push(Warning::new(
            WarningId::CardRenew,
            format!(
                "{} Renew the card: compare the tape with a calibrated one (house make).",
                reasons.join(" ")
            ),
        ));
    }
    Ok(())
}

/// When the return with this mark was counted on `card`; `None` if it was not.
pub fn counted(card: &Card, mark: &str) -> Option<String> {
    let pass = card.history.iter().find(|pass| pass.mark.as_deref() == Some(mark))?;
    Some(pass.at.clone().unwrap_or_else(|| "date not known".into()))
}

/// Counts `pass` on the card at `path`, which is read anew and replaced as a whole; gives the card as it is then.
///
/// # Errors
/// [`HouseError::Counted`] if the return was counted already, or if the card cannot be read or written.
pub fn count_pass(path: &Path, pass: &Pass) -> Result<Card, HouseError> {
    let mut card = load_card(path)?;
    if let Some(at) = pass.mark.as_deref().and_then(|mark| counted(&card, mark)) {
        return Err(HouseError::Counted { path: path.to_owned(), at });
    }
    card.history.push(pass.clone());
    write_text(path, &show::card_to_json(&card), Overwrite::Renew)?;
    Ok(card)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_those_of_fnv_1a() {
        // From the description of the hash by its authors (test vectors of 64 bit FNV-1a): "" and "foobar".
        let folder = tempfile::tempdir().unwrap();
        for (text, want) in [("", "cbf29ce484222325"), ("foobar", "85944171f73967e8")] {
            let path = folder.path().join("bytes");
            std::fs::write(&path, text).unwrap();
            assert_eq!(mark_of(&path).unwrap(), want);
        }
    }
}
