//! Whether the header of an AIFF or AIFF-C can be believed (Audio Interchange File Format 1.3, 1989; AIFF-C draft, 1991).
//!
//! Its lengths go wrong in the same way as those of a WAV, and its decoder trusts them: they are checked here, and
//! repaired where the recorder was interrupted.

use super::CaptureError;
use super::container::{Container, Kind};
use std::path::Path;

/// More channels than any recorder has.
const MOST_CHANNELS: u16 = 256;

/// What the chunk COMM says, as far as it matters here.
struct Common {
    /// Bytes of one frame.
    align: u64,
    /// Where the number of frames stands in the file.
    frames_at: u64,
}

/// Looks at `head`, the start of an AIFF or AIFF-C of `file_bytes`.
///
/// # Errors
/// [`CaptureError::Empty`], [`CaptureError::Malformed`] or [`CaptureError::Unsupported`].
pub(super) fn look_at(path: &Path, head: &[u8], file_bytes: u64) -> Result<Container, CaptureError> {
    let malformed = |what: String| CaptureError::Malformed {
        path: path.to_owned(),
        what,
        remedy: "the file is cut off or damaged; record or copy it again".to_owned(),
    };
    let u32_at = |at: usize| head.get(at..at + 4).and_then(|b| b.try_into().ok()).map(u32::from_be_bytes);
    let mut common = None;
    let mut at = 12usize;
    loop {
        let (Some(tag), Some(size)) = (head.get(at..at + 4), u32_at(at + 4)) else {
            if file_bytes <= head.len() as u64 && common.is_some() {
                return Err(CaptureError::Empty { path: path.to_owned() });
            }
            return Err(malformed(format!(
                "AIFF header ends at byte {} without samples",
                head.len().min(at)
            )));
        };
        let body = at + 8;
        match tag {
            b"COMM" => common = Some(look_at_common(path, head, body)?),
            b"SSND" => {
                let Some(Common { align, frames_at }) = common else {
                    return Err(malformed("AIFF says nothing of its format before its samples".into()));
                };
                let there = file_bytes.saturating_sub(body as u64);
                // Eight bytes of offset and block size lead the samples.
                if there < 8 + align {
                    return Err(CaptureError::Empty { path: path.to_owned() });
                }
                let length = |bytes: u64| u32::try_from(bytes).unwrap_or(u32::MAX).to_be_bytes();
                // The outer length is often wrong and never needed.
                let mut repairs = vec![(4, length(file_bytes.saturating_sub(8)))];
                let cut_short = size == 0 || u64::from(size) > there;
                if cut_short {
                    repairs.push((at as u64 + 4, length(there)));
                    repairs.push((frames_at, length((there - 8) / align)));
                }
                return Ok(Container { kind: Kind::Aiff, repairs, cut_short });
            }
            _ => {}
        }
        let next = body as u64 + u64::from(size) + u64::from(size & 1);
        if next > file_bytes {
            return Err(malformed(format!("AIFF chunk at byte {at} is longer than the file")));
        }
        let Ok(next) = usize::try_from(next) else {
            return Err(malformed("AIFF header is over 4 GiB long".into()));
        };
        at = next;
    }
}

fn look_at_common(path: &Path, head: &[u8], body: usize) -> Result<Common, CaptureError> {
    let malformed = |what: String, remedy: &str| CaptureError::Malformed {
        path: path.to_owned(),
        what,
        remedy: remedy.to_owned(),
    };
    let u16_at = |at: usize| head.get(at..at + 2).and_then(|b| b.try_into().ok()).map(u16::from_be_bytes);
    let compressed = head.get(8..12) == Some(b"AIFC");
    let coding = if compressed { head.get(body + 18..body + 22) } else { Some(&b"NONE"[..]) };
    let (Some(channels), Some(bits), Some(coding)) = (u16_at(body), u16_at(body + 6), coding) else {
        return Err(malformed(
            "AIFF format chunk is cut off".into(),
            "the file is cut off or damaged; record or copy it again",
        ));
    };
    let unsupported = |what: String| CaptureError::Unsupported { path: path.to_owned(), what };
    let most_bits = match coding {
        b"NONE" | b"twos" | b"sowt" | b"in24" | b"in32" | b"23ni" => 32,
        b"fl32" | b"FL32" | b"fl64" | b"FL64" => 64,
        b"alaw" | b"ALAW" => return Err(unsupported("AIFF-C holds A-law, not plain samples".into())),
        b"ulaw" | b"ULAW" => return Err(unsupported("AIFF-C holds mu-law, not plain samples".into())),
        _ => return Err(unsupported("AIFF-C holds an unknown coding, not plain samples".into())),
    };
    if !(1..=MOST_CHANNELS).contains(&channels) || !(1..=most_bits).contains(&bits) {
        return Err(malformed(
            format!("AIFF header says {channels} channels of {bits} bit"),
            "the file is damaged; record it again",
        ));
    }
    let align = u64::from(channels) * u64::from(bits.div_ceil(8));
    Ok(Common { align, frames_at: body as u64 + 2 })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two channels of 16 bit at 48 kHz, `frames` and `length` as the header says, 400 bytes of samples.
    fn aiff(kind: &[u8; 4], coding: &[u8], frames: u32, length: u32) -> Vec<u8> {
        let mut b = b"FORM\x00\x00\x00\x00".to_vec();
        b.extend(kind);
        b.extend(b"COMM");
        b.extend((18 + coding.len() as u32).to_be_bytes());
        b.extend(2u16.to_be_bytes());
        b.extend(frames.to_be_bytes());
        b.extend(16u16.to_be_bytes());
        b.extend((16_383u16 + 15).to_be_bytes());
        b.extend((48_000u64 << 48).to_be_bytes());
        b.extend(coding);
        b.extend(b"SSND");
        b.extend(length.to_be_bytes());
        b.extend([0; 408]);
        b
    }

    fn look(bytes: &[u8]) -> Result<Container, CaptureError> {
        look_at(Path::new("x.aiff"), bytes, bytes.len() as u64)
    }

    #[test]
    fn lengths_of_interrupted_recorders_are_repaired() {
        for promised in [0, u32::MAX, 4000] {
            let found = look(&aiff(b"AIFF", b"", 1000, promised)).unwrap();
            let lengths = [(4, 446), (42, 408), (22, 100)].map(|(at, n): (u64, u32)| (at, n.to_be_bytes()));
            let wanted = Container { kind: Kind::Aiff, repairs: lengths.to_vec(), cut_short: true };
            assert_eq!(found, wanted, "{promised}");
        }
        let sound = look(&aiff(b"AIFF", b"", 100, 408)).unwrap();
        assert_eq!((sound.repairs.len(), sound.cut_short), (1, false));
    }

    #[test]
    fn codings_that_are_not_plain_samples_are_refused() {
        assert!(look(&aiff(b"AIFC", b"sowt\x00\x00", 100, 408)).is_ok());
        for (coding, word) in
            [(b"alaw\x00\x00", "A-law"), (b"ULAW\x00\x00", "mu-law"), (b"QDMC\x00\x00", "unknown")]
        {
            let message = look(&aiff(b"AIFC", coding, 100, 408)).unwrap_err().to_string();
            assert!(message.starts_with("x.aiff: ") && message.contains(word), "{message}");
        }
    }

    #[test]
    fn what_no_recorder_writes_is_called_damaged() {
        let mut many = aiff(b"AIFF", b"", 100, 408);
        many[20] = 0x80;
        let mut fine = aiff(b"AIFF", b"", 100, 408);
        fine[26..28].copy_from_slice(&33u16.to_be_bytes());
        let mut late = aiff(b"AIFF", b"", 100, 408);
        late[12..16].copy_from_slice(b"JUNK");
        for (bytes, word) in [(many, "32770 channels"), (fine, "33 bit"), (late, "nothing of its format")] {
            assert!(look(&bytes).unwrap_err().to_string().contains(word), "{word}");
        }
        assert!(matches!(look(&aiff(b"AIFF", b"", 0, 0)[..50]), Err(CaptureError::Empty { .. })));
    }
}
