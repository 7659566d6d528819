//! What kind of file this is, and whether a WAV header can be believed (for AIFF see `aiff_header`).
//!
//! A recorder that was interrupted leaves a WAV whose lengths are zero, too large, or all ones. The samples are there
//! all the same; [`Container::repairs`] are the bytes to read instead, so that the decoder sees an open-ended file.

use super::{CaptureError, aiff_header};
use crate::programme::note_input;
use std::io::Read;
use std::path::Path;

/// A file that the decoder can read.
#[derive(Debug, Clone, PartialEq)]
pub struct Container {
    /// Bytes to be read in place of those in the file: position and four bytes each.
    pub repairs: Vec<(u64, [u8; 4])>,
    /// The header promises more samples than the file has, or does not know how many there are.
    pub cut_short: bool,
}

/// How much of a file is looked at; headers with pictures or long comments stay below it.
const LOOK_BYTES: u64 = 1 << 20;

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
        return Ok(Container { repairs: vec![], cut_short: false });
    }
    if let Some(what) = long_wav(head, file_bytes) {
        return Err(CaptureError::Unsupported { path: path.to_owned(), what });
    }
    Err(CaptureError::NotAudio { path: path.to_owned(), found: name_of(head) })
}

fn long_wav(head: &[u8], file_bytes: u64) -> Option<String> {
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
fn name_of(head: &[u8]) -> String {
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
    let malformed = |what: String, remedy: &str| CaptureError::Malformed {
        path: path.to_owned(),
        what,
        remedy: remedy.to_owned(),
    };
    let u32_at = |at: usize| head.get(at..at + 4).and_then(|b| b.try_into().ok()).map(u32::from_le_bytes);
    let u16_at = |at: usize| head.get(at..at + 2).and_then(|b| b.try_into().ok()).map(u16::from_le_bytes);
    let mut at = 12usize;
    let mut block_align = None;
    // The outer length is often wrong and never needed.
    let mut repairs = vec![(4u64, [0xFF; 4])];
    loop {
        let (Some(tag), Some(size)) = (head.get(at..at + 4), u32_at(at + 4)) else {
            let what = format!("WAV header ends at byte {} without samples", head.len().min(at));
            if file_bytes <= head.len() as u64 && block_align.is_some() {
                return Err(CaptureError::Empty { path: path.to_owned() });
            }
            return Err(malformed(what, "the file is cut off or damaged; record or copy it again"));
        };
        let body = at + 8;
        match tag {
            b"fmt " => {
                let (Some(coding), Some(channels), Some(rate), Some(align), Some(bits)) =
                    (u16_at(body), u16_at(body + 2), u32_at(body + 4), u16_at(body + 12), u16_at(body + 14))
                else {
                    return Err(malformed(
                        "WAV format chunk is cut off".into(),
                        "the file is cut off or damaged; record or copy it again",
                    ));
                };
                let coding = match (coding, u16_at(body + 24)) {
                    (0xFFFE, Some(inner)) if size >= 26 => {
                        let mask = u32_at(body + 20).unwrap_or(0);
                        repairs
                            .extend(mended_mask(path, channels, mask)?.map(|mask| (body as u64 + 20, mask)));
                        inner
                    }
                    (0xFFFE, _) => {
                        return Err(malformed(
                            "WAV format chunk is cut off".into(),
                            "the file is cut off or damaged; record or copy it again",
                        ));
                    }
                    _ => coding,
                };
                check_format(path, coding, channels, rate, align, bits)?;
                block_align = Some(u64::from(align));
            }
            b"data" => {
                let Some(align) = block_align else {
                    return Err(malformed(
                        "WAV has no format chunk before its samples".into(),
                        "the file is damaged; record it again",
                    ));
                };
                let there = file_bytes.saturating_sub(body as u64);
                let promised = u64::from(size);
                let unknown = size == 0 || size == u32::MAX;
                if there < align {
                    return Err(CaptureError::Empty { path: path.to_owned() });
                }
                let cut_short = unknown || promised > there;
                if cut_short {
                    repairs.push((at as u64 + 4, [0xFF; 4]));
                }
                return Ok(Container { repairs, cut_short });
            }
            _ => {}
        }
        let next = (body as u64) + u64::from(size) + u64::from(size & 1);
        if next <= at as u64 || next > file_bytes {
            return Err(malformed(
                format!("WAV chunk at byte {at} is longer than the file"),
                "the file is cut off or damaged; record or copy it again",
            ));
        }
        let Ok(next) = usize::try_from(next) else {
            return Err(malformed("WAV header is over 4 GiB long".into(), "record it again"));
        };
        at = next;
    }
}

/// Places of loudspeakers that a WAV's channel mask can name.
const PLACES: u16 = 18;

/// The channel mask to be read instead of one that does not name `channels` places, which the decoder would stumble
/// over. Which channel stands where is of no concern here.
fn mended_mask(path: &Path, channels: u16, mask: u32) -> Result<Option<[u8; 4]>, CaptureError> {
    if channels > PLACES {
        let what = format!("has {channels} channels, more than can be told apart");
        return Err(CaptureError::Unsupported { path: path.to_owned(), what });
    }
    let sound = mask >> PLACES == 0 && mask.count_ones() == u32::from(channels);
    Ok((!sound).then_some(((1u32 << channels) - 1).to_le_bytes()))
}

fn check_format(
    path: &Path,
    coding: u16,
    channels: u16,
    rate: u32,
    align: u16,
    bits: u16,
) -> Result<(), CaptureError> {
    let unsupported = |what: String| CaptureError::Unsupported { path: path.to_owned(), what };
    let name = match coding {
        1 | 3 => "",
        2 | 0x11 => "ADPCM",
        6 => "A-law",
        7 => "mu-law",
        0x55 => "MP3",
        _ => "an unknown coding",
    };
    if !name.is_empty() {
        return Err(unsupported(format!("WAV holds {name} (format {coding:#06x}), not plain samples")));
    }
    let known = if coding == 3 { matches!(bits, 32 | 64) } else { matches!(bits, 8 | 16 | 24 | 32) };
    if !known {
        return Err(unsupported(format!("WAV has samples of {bits} bit")));
    }
    if channels == 0
        || rate == 0
        || align == 0
        || u32::from(align) != u32::from(channels) * u32::from(bits / 8)
    {
        return Err(CaptureError::Malformed {
            path: path.to_owned(),
            what: format!(
                "WAV header contradicts itself: {channels} channels, {bits} bit, {align} bytes a frame, {rate} Hz"
            ),
            remedy: "the file is damaged; record it again".into(),
        });
    }
    Ok(())
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
