//! A WAV header, walked chunk by chunk as its bytes come (Multimedia Programming Interface and Data Specifications 1.0,
//! 1991): of a file, or of a stream that cannot be wound back.

use super::CaptureError;
use super::coding::Coding;
use std::path::Path;

/// How the samples stand in a WAV.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct WavFormat {
    pub coding: Coding,
    pub channels: usize,
    pub rate_hz: u32,
    pub frame_bytes: usize,
}

/// A header that was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct WavHeader {
    pub format: WavFormat,
    /// Where the first sample stands, bytes from the start. The four bytes before it are `promised`.
    pub samples_at: usize,
    /// Length of the samples as the header says, bytes.
    pub promised: u32,
    /// Where masks of loudspeakers stand that make no sense, and what is to be read there instead.
    pub masks: Vec<(u64, [u8; 4])>,
}

/// The way through a header.
#[derive(Debug)]
pub(super) struct WavWalk {
    at: usize,
    file_bytes: Option<u64>,
    format: Option<WavFormat>,
    masks: Vec<(u64, [u8; 4])>,
}

const CUT_OFF: &str = "the file is cut off or damaged; record or copy it again";

fn malformed(path: &Path, what: impl Into<String>, remedy: &str) -> CaptureError {
    CaptureError::Malformed { path: path.to_owned(), what: what.into(), remedy: remedy.to_owned() }
}

impl WavWalk {
    /// Begins behind `RIFF`, length and `WAVE`. `file_bytes`: how long the file is, if it has an end.
    pub fn new(file_bytes: Option<u64>) -> Self {
        Self { at: 12, file_bytes, format: None, masks: Vec::new() }
    }

    /// Goes on through `head`, all bytes from the start that are there; `None` if the samples are not reached.
    ///
    /// # Errors
    /// [`CaptureError::Malformed`] or [`CaptureError::Unsupported`].
    pub fn go(&mut self, path: &Path, head: &[u8]) -> Result<Option<WavHeader>, CaptureError> {
        let u32_at = |at: usize| head.get(at..at + 4).and_then(|b| b.try_into().ok()).map(u32::from_le_bytes);
        loop {
            let at = self.at;
            let (Some(tag), Some(size)) = (head.get(at..at + 4), u32_at(at + 4)) else { return Ok(None) };
            let body = at + 8;
            match tag {
                b"fmt " => {
                    // What lies behind the first 40 bytes is of no concern.
                    let needed = size.min(40) as usize;
                    let Some(chunk) = head.get(body..body + needed) else { return Ok(None) };
                    self.take_format(path, chunk, body as u64)?;
                }
                b"data" => {
                    let Some(format) = self.format else {
                        let what = "WAV has no format chunk before its samples";
                        return Err(malformed(path, what, "the file is damaged; record it again"));
                    };
                    let masks = std::mem::take(&mut self.masks);
                    return Ok(Some(WavHeader { format, samples_at: body, promised: size, masks }));
                }
                _ => {}
            }
            let next = (body as u64) + u64::from(size) + u64::from(size & 1);
            if self.file_bytes.is_some_and(|bytes| next > bytes) {
                let what = format!("WAV chunk at byte {at} is longer than the file");
                return Err(malformed(path, what, CUT_OFF));
            }
            let Ok(next) = usize::try_from(next) else {
                return Err(malformed(path, "WAV header is over 4 GiB long", "record it again"));
            };
            self.at = next;
        }
    }

    /// What is wrong if nothing comes behind the first `head_bytes` of `file_bytes`.
    pub fn cut_off(&self, path: &Path, head_bytes: usize, file_bytes: u64) -> CaptureError {
        if file_bytes <= head_bytes as u64 && self.format.is_some() {
            return CaptureError::Empty { path: path.to_owned() };
        }
        let what = format!("WAV header ends at byte {} without samples", head_bytes.min(self.at));
        malformed(path, what, CUT_OFF)
    }

    fn take_format(&mut self, path: &Path, chunk: &[u8], at: u64) -> Result<(), CaptureError> {
        let u32_at =
            |at: usize| chunk.get(at..at + 4).and_then(|b| b.try_into().ok()).map(u32::from_le_bytes);
        let u16_at =
            |at: usize| chunk.get(at..at + 2).and_then(|b| b.try_into().ok()).map(u16::from_le_bytes);
        let cut_off = || malformed(path, "WAV format chunk is cut off", CUT_OFF);
        let (Some(coding), Some(channels), Some(rate_hz), Some(align), Some(bits)) =
            (u16_at(0), u16_at(2), u32_at(4), u16_at(12), u16_at(14))
        else {
            return Err(cut_off());
        };
        let coding = match coding {
            0xFFFE => {
                let inner = u16_at(24).ok_or_else(cut_off)?;
                let mask = mended_mask(path, channels, u32_at(20).unwrap_or(0))?;
                self.masks.extend(mask.map(|mask| (at + 20, mask)));
                inner
            }
            plain => plain,
        };
        self.format = Some(checked(path, Told { coding, channels, rate_hz, align, bits })?);
        Ok(())
    }
}

/// What a format chunk says.
struct Told {
    coding: u16,
    channels: u16,
    rate_hz: u32,
    align: u16,
    bits: u16,
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

fn checked(path: &Path, told: Told) -> Result<WavFormat, CaptureError> {
    let Told { coding, channels, rate_hz, align, bits } = told;
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
    let coding = match (coding, bits) {
        (1, 8) => Coding::Int8,
        (1, 16) => Coding::Int16,
        (1, 24) => Coding::Int24,
        (1, 32) => Coding::Int32,
        (3, 32) => Coding::Float32,
        (3, 64) => Coding::Float64,
        _ => return Err(unsupported(format!("WAV has samples of {bits} bit"))),
    };
    if channels == 0
        || rate_hz == 0
        || align == 0
        || u32::from(align) != u32::from(channels) * u32::from(bits / 8)
    {
        return Err(CaptureError::Malformed {
            path: path.to_owned(),
            what: format!(
                "WAV header contradicts itself: {channels} channels, {bits} bit, {align} bytes a frame, {rate_hz} Hz"
            ),
            remedy: "the file is damaged; record it again".into(),
        });
    }
    Ok(WavFormat { coding, channels: usize::from(channels), rate_hz, frame_bytes: usize::from(align) })
}
