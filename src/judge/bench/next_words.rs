//! What is done at the bench, step by step, in words. Common practice, no source.

use crate::reading::TapeType;

pub(crate) const TAPE_PATH: &[&str] = &[
    "Power off: clean heads, guides, capstan and pinch roller; renew a roller that is shiny, hard or swollen. Demagnetise.",
    "Use a mirror cassette or an open shell. The tape must run straight over the heads, touch no edge of a guide and not curl \
     at the pinch roller. The heads must not be grooved. Write down what you see.",
];
pub(crate) const TORQUES: &[&str] =
    &["Use a torque cassette in play, in fast forward and in rewind. Read the middle of the needle's swing."];
pub(crate) const OFFSET: &[&str] =
    &["Put a DC voltmeter across the output: no signal, deck warm, speakers and headphones off."];
pub(crate) const LOOPBACK: &str = "Connect the sound card's output straight to its input, without a deck. Record while the \
programme plays. The sound card is then subtracted from every return with slates: the commands name it.";
pub(crate) const CARD_LEVEL: &str = "Sound card: the level tone comes back near -12 dBFS, nothing near 0 dBFS; automatic gain \
and enhancements off.";
pub(crate) const AS_FOUND: &str = "Before you turn anything: noise reduction off, tone controls flat.";
pub(crate) const CALIBRATED: &str = "Play the calibrated tape, noise reduction off, and take the return. One return of the \
whole tape serves all playback steps.";
pub(crate) const HOUSE: &str =
    "Play the house tape, noise reduction off, and take the return. One return serves all playback steps.";
pub(crate) const OWN_THREE: &str =
    "Three heads: set the monitor switch to TAPE, record the programme and take the return meanwhile.";
pub(crate) const OWN_TWO: &str =
    "Two heads: record the whole programme, rewind, play it and take the return.";
pub(crate) const OWN_UNKNOWN: &str =
    "Write `heads = 2` or `heads = 3` under [deck] in job.toml: it decides what the return can tell.";
pub(crate) const SPEED_CANCELS: &str = "No reference tape at hand: speed cancels where a deck plays back its own recording. \
Measure a length of tape between two marks, or borrow a tape. Play it twice more and read all playings together to know \
whose flutter it is.";
pub(crate) const AZIMUTH: &str = "Turn the azimuth screw of the playback head, in small steps, with an insulated tool; seal \
it when the finding is within.";
pub(crate) const MUSIC: &str = "No reference tape at hand: play three or more bought or foreign recorded tapes, a minute of \
each; the middle of many is upright.";
pub(crate) const MUSIC_AGAIN: &str = "Record them under the names below, in a folder of their own. After turning, play the \
same tapes again, under the same names in the next folder. What their recorders were off is then the same, and the change is \
known far better than the angle.";
pub(crate) const METER: &[&str] = &[
    "Play the level tone of the tape by which you set playback level. Read the deck's own meters in dB against their mark for \
     it.",
    "Do this after playback level is right, and before you set record level by these meters.",
];
pub(crate) const RESPONSE: &str = "Set azimuth first: a tilted head looks like a lack of treble.";
pub(crate) const INJECT: &str = "No reference tape at hand: feed the playback amplifier as the running sheet says. That shows \
the equalisation, but nothing of the head.";
pub(crate) const LEVEL: &str = "Play the level tone of the tape. Set playback level on both channels to the deck's mark, then \
take the return.";
pub(crate) const LEVEL_TONE: &str = "With a millivoltmeter: read the output of each channel while the level tone plays and \
the return is recorded, at the sockets at the back and not inside the deck, the sound card connected. From then on levels \
are known in mV; then leave the sound card's input level alone. Without one, leave these lines out.";
pub(crate) const TAPE_FILE: &str = "Write what the tape carries, its flux among it, into a file. Name that file as \
calibrated_tape_file in [at_hand].";
pub(crate) const NO_LEVEL: &str = "No reference tape at hand: playback level cannot be told. Leave its trimmers as they are, \
or borrow a level tape once and make a house tape with it.";
pub(crate) const RECORD_TRIM: &str = "Turn in the silence and the chirps before each round. Hands off while tones sound. \
Write each place down on the running sheet.";
pub(crate) const MONITOR_TRIM: &str = "Three heads: record the programme and take the return meanwhile. Begin with the \
monitor switch at SOURCE; switch to TAPE in the pause that says so. Touch no output level between them.";
pub(crate) const RECORD_LEVEL: &str = "Deck at record and pause: the level tone stands at the deck's reference mark, both \
channels alike; noise reduction off; sound card near -12 dBFS on the return.";
pub(crate) const NOISE: &str = "Stop the tape where the running sheet says.";
pub(crate) const SATURATION: &str = "Levels go far above 0 dB: keep clear of the sound card's full scale.";
pub(crate) const SEPARATION: &str = "Set the balance control to its middle.";
pub(crate) const ERASING: &str =
    "Record, then erase a stretch of the long tone as the running sheet says, then take the return.";

/// Where the tape selector stands.
pub(crate) fn position(kind: TapeType) -> &'static str {
    match kind {
        TapeType::I => "normal, 120 us",
        TapeType::II => "chrome, 70 us",
        TapeType::III => "double layer, 70 us",
        TapeType::IV => "metal, 70 us",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_has_runs_of_blanks() {
        let all = [
            LOOPBACK,
            AS_FOUND,
            CALIBRATED,
            SPEED_CANCELS,
            MUSIC,
            MUSIC_AGAIN,
            INJECT,
            NO_LEVEL,
            LEVEL_TONE,
            TAPE_FILE,
            RECORD_LEVEL,
        ];
        for line in TAPE_PATH.iter().chain(TORQUES).chain(OFFSET).chain(METER).chain(&all) {
            assert!(!line.contains("  "), "{line}");
        }
    }
}
