//! The CUE sheet for burning a programme on an audio CD.

use super::ProgrammeError;
use super::own::CUE_MARK;
use crate::harmless::{acts, harmless};

/// CUE sheet of one track that holds the whole file `wav_name` (44.1 kHz, 16 bit); the WAV lies beside it.
///
/// # Errors
///
/// [`ProgrammeError::CueName`]: the open format has no way to write a double quote or a control character.
pub fn cue_sheet(wav_name: &str, title: &str) -> Result<String, ProgrammeError> {
    if wav_name.is_empty() || wav_name.chars().any(|c| c == '"' || acts(c)) {
        return Err(ProgrammeError::CueName { file: wav_name.into() });
    }
    // A title is only shown: there another mark does.
    let title = harmless(title).replace('"', "'");
    Ok(format!(
        "{CUE_MARK}TITLE \"{title}\"\nFILE \"{wav_name}\" WAVE\n  TRACK 01 AUDIO\n    TITLE \"{title}\"\n    INDEX 01 00:00:00\n"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_track_holds_the_whole_programme() {
        let want = "REM COMMENT \"Deckproof\"\nTITLE \"Full 'programme'\"\nFILE \"bench 3.wav\" WAVE\n  TRACK 01 AUDIO\n    \
                    TITLE \"Full 'programme'\"\n    INDEX 01 00:00:00\n";
        assert_eq!(cue_sheet("bench 3.wav", "Full \"programme\"").unwrap(), want);
    }

    #[test]
    fn a_name_that_cannot_be_written_is_refused() {
        for name in ["a\"b.wav", "a\nb.wav", "a\u{202e}b.wav", ""] {
            let message = cue_sheet(name, "").unwrap_err().to_string();
            assert!(message.contains("choose another name") && !message.contains('\n'), "{message}");
        }
    }
}
