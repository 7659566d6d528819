//! What kind of file this is, and whether its header can be believed (see `wav_header`, `aiff_header`).
//!
//! A recorder that was interrupted leaves a WAV whose lengths are zero, too large, or all ones. The samples are there
//! all the same; [`Container::repairs`] are the bytes to read instead, so that the decoder sees an open-ended file.

use super::wav_header::WavWalk;
use super::{CaptureError, aiff_header};
use crate::programme::note_input;
use std::io::Read;
use std::path::Path;

/// Kinds of file that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// RIFF WAVE.
    Wav,
    /// AIFF or AIFF-C.
    Aiff,
    /// Native FLAC.
    Flac,
}

/// A file that the decoder can read.
#[derive(Debug, Clone, PartialEq)]
pub struct Container {
    /// What it is.
    pub kind: Kind,
    /// Bytes to be read in place of those in the file: position and four bytes each.
    pub repairs: Vec<(u64, [u8; 4])>,
    /// The header promises more samples than the file has, or does not know how many there are.
    pub cut_short: bool,
}

/// How much of a file is looked at; headers with pictures or long comments stay below it.
pub(super) const LOOK_BYTES: u64 = 1 << 20;

/// Looks at the first bytes of `path`.
///
/// # Errors
/// [`CaptureError::Empty`], [`CaptureError::NotAudio`], [`CaptureError::Malformed`],
/// [`CaptureError::Unsupported`] or [`CaptureError::Io`].
pub fn look(path: &Path) -> Result<Container, CaptureError> {
    let io = |source| CaptureError::Io { path: path.to_owned(), source };
    note_input(path);
    // Asked of the name: to open a pipe takes what it holds, or waits for it.
    let meta = std::fs::metadata(path).map_err(io)?;
    if meta.is_dir() {
        return Err(CaptureError::NotAudio { path: path.to_owned(), found: "a folder".into() });
    }
    if !meta.is_file() {
        return Err(CaptureError::NoFile { path: path.to_owned() });
    }
    let file = std::fs::File::open(path).map_err(io)?;
    let mut head = Vec::new();
    file.take(LOOK_BYTES).read_to_end(&mut head).map_err(io)?;
    look_at(path, &head, meta.len())
}

/// The same on bytes: `head` is the start of a file of `file_bytes`.
pub(crate) fn look_at(path: &Path, head: &[u8], file_bytes: u64) -> Result<Container, CaptureError> {
    if head.is_empty() {
        return Err(CaptureError::Empty { path: path.to_owned() });
    }
    if head.starts_with(b"RIFF") && head.get(8..12) == Some(b"WAVE") {
        return look_at_wav(path, head, file_bytes);
    }
    if head.starts_with(b"FORM") && matches!(head.get(8..12), Some(b"AIFF" | b"AIFC")) {
        return aiff_header::look_at(path, head, file_bytes);
    }
    if head.starts_with(b"fLaC") {
        return Ok(Container { kind: Kind::Flac, repairs: vec![], cut_short: false });
    }
    if let Some(what) = long_wav(head, file_bytes) {
        return Err(CaptureError::Unsupported { path: path.to_owned(), what });
    }
    Err(CaptureError::NotAudio { path: path.to_owned(), found: name_of(head) })
}

/// What of a WAV's relatives `head` begins, which are not read.
pub(super) fn long_wav(head: &[u8], file_bytes: u64) -> Option<String> {
    let what = match head.get(..4)? {
        b"RF64" | b"BW64" if file_bytes > u64::from(u32::MAX) => {
            "is a 64-bit WAV (RF64) of over 4 GiB; cut the recording shorter"
        }
        b"RF64" | b"BW64" => "is a 64-bit WAV (RF64), which is not read",
        b"RIFX" => "is a big-endian WAV",
        b"riff" => "is a 64-bit WAV of an audio editor",
        _ => return None,
    };
    Some(what.to_owned())
}

/// Names other kinds of file by their first bytes (public format descriptions; from memory).
pub(super) fn name_of(head: &[u8]) -> String {
    let starts = |bytes: &[u8]| head.starts_with(bytes);
    let name = if starts(b"RIFF") {
        "a RIFF file without WAVE audio (perhaps video)"
    } else if starts(b"OggS") {
        "an Ogg file (lossy, or FLAC in Ogg)"
    } else if starts(b"ID3") || (head.len() > 1 && head[0] == 0xFF && head[1] & 0xE6 == 0xE2) {
        "an MP3 file (lossy: levels and noise would be wrong)"
    } else if head.len() > 1 && head[0] == 0xFF && head[1] & 0xF6 == 0xF0 {
        "an AAC stream (lossy: levels and noise would be wrong)"
    } else if head.get(4..8) == Some(b"ftyp") {
        "an MP4/M4A file (mostly lossy: levels and noise would be wrong)"
    } else if starts(&[0x30, 0x26, 0xB2, 0x75]) {
        "a WMA/ASF file (lossy: levels and noise would be wrong)"
    } else if starts(b"caff") {
        "a CAF file"
    } else if starts(b"wvpk") {
        "a WavPack file"
    } else if starts(b"MAC ") {
        "a Monkey's Audio file"
    } else if starts(&[0x1A, 0x45, 0xDF, 0xA3]) {
        "a Matroska/WebM file"
    } else if starts(b".snd") {
        "an AU file"
    } else if starts(b"PK") {
        "a ZIP archive (unpack it first)"
    } else if starts(b"%PDF") {
        "a PDF document"
    } else if starts(b"{") && head.windows(17).any(|w| w == b"deckproof-reading") {
        "a reading of Deckproof, not a recording"
    } else if head
        .iter()
        .take(512)
        .all(|&b| b == b'\n' || b == b'\r' || b == b'\t' || (b >= 0x20 && b != 0x7F))
    {
        "a text file"
    } else if head.len() < 12 {
        "too short for any audio file"
    } else {
        "of an unknown kind (raw samples without a header?)"
    };
    name.to_owned()
}

fn look_at_wav(path: &Path, head: &[u8], file_bytes: u64) -> Result<Container, CaptureError> {
    let mut walk = WavWalk::new(Some(file_bytes));
    let Some(header) = walk.go(path, head)? else { return Err(walk.cut_off(path, head.len(), file_bytes)) };
    // The outer length is often wrong and never needed.
    let mut repairs = vec![(4, [0xFF; 4])];
    repairs.extend(header.masks);
    let there = file_bytes.saturating_sub(header.samples_at as u64);
    if there < header.format.frame_bytes as u64 {
        return Err(CaptureError::Empty { path: path.to_owned() });
    }
    let cut_short = header.promised == 0 || header.promised == u32::MAX || u64::from(header.promised) > there;
    if cut_short {
        repairs.push((header.samples_at as u64 - 4, [0xFF; 4]));
    }
    Ok(Container { kind: Kind::Wav, repairs, cut_short })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A WAV header by hand: 44-byte canonical layout (Microsoft/IBM Multimedia Programming Interface, 1991).
    fn wav(coding: u16, channels: u16, bits: u16, data_len: u32, data: &[u8]) -> Vec<u8> {
        let align = channels * bits / 8;
        let mut b = b"RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00".to_vec();
        b.extend(coding.to_le_bytes());
        b.extend(channels.to_le_bytes());
        b.extend(48_000u32.to_le_bytes());
        b.extend((48_000 * u32::from(align)).to_le_bytes());
        b.extend(align.to_le_bytes());
        b.extend(bits.to_le_bytes());
        b.extend(b"data");
        b.extend(data_len.to_le_bytes());
        b.extend(data);
        b
    }

    fn look(bytes: &[u8]) -> Result<Container, CaptureError> {
        look_at(Path::new("x.wav"), bytes, bytes.len() as u64)
    }

    #[test]
    fn lengths_of_interrupted_recorders_are_repaired() {
        for promised in [0, u32::MAX, 4000] {
            let found = look(&wav(1, 2, 16, promised, &[0; 400])).unwrap();
            assert!(found.cut_short, "{promised}");
            assert_eq!(found.repairs.last(), Some(&(40, [0xFF; 4])));
        }
        assert!(!look(&wav(1, 2, 16, 400, &[0; 400])).unwrap().cut_short);
    }

    #[test]
    fn names_what_it_is_not() {
        for (bytes, word) in [
            (&b"OggS\x00\x02aaaaaaaaaaaa"[..], "Ogg"),
            (b"ID3\x04aaaaaaaaaaaaaa", "MP3"),
            (b"\x00\x00\x00\x20ftypM4A aaaaaaa", "MP4"),
            (b"hello, this is text\n", "text"),
            (b"RIFF\x00\x00\x00\x00AVI LIST", "RIFF"),
            (b"RF64\xff\xff\xff\xffWAVE", "(RF64), which is not read; save the return as WAV"),
        ] {
            let message = look(bytes).unwrap_err().to_string();
            assert!(message.contains(word) && message.starts_with("x.wav: "), "{message}");
        }
    }

    #[test]
    fn only_what_is_that_long_is_called_over_4_gib() {
        let rf64 =
            |bytes| look_at(Path::new("x.wav"), b"RF64\xff\xff\xff\xffWAVE", bytes).unwrap_err().to_string();
        assert!(!rf64(20_000_000).contains("4 GiB"));
        assert!(rf64(5_000_000_000).contains("over 4 GiB; cut the recording shorter"));
    }

    #[test]
    fn refuses_codings_that_are_not_plain_samples() {
        assert!(look(&wav(0x11, 2, 4, 8, &[0; 8])).unwrap_err().to_string().contains("ADPCM"));
        assert!(look(&wav(3, 2, 16, 8, &[0; 8])).unwrap_err().to_string().contains("16 bit"));
        assert!(matches!(look(&wav(1, 2, 16, 0, &[])), Err(CaptureError::Empty { .. })));
        assert!(matches!(look(&[]), Err(CaptureError::Empty { .. })));
    }

    proptest::proptest! {
        #[test]
        fn never_panics_on_any_header(tail in proptest::collection::vec(0u8..=255, 0..200), keep in 0usize..60) {
            let mut bytes = wav(1, 2, 16, 400, &[0; 16]);
            bytes.truncate(keep);
            bytes.extend(tail);
            let _ = look(&bytes);
        }
    }
}
