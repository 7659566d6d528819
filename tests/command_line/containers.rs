//! Files in every form that `read` takes, put together byte by byte from the public descriptions of the formats.

/// What a sample is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sample {
    Int16,
    Int24,
    Int32,
    Float32,
    Float64,
}

impl Sample {
    fn bits(self) -> u16 {
        match self {
            Self::Int16 => 16,
            Self::Int24 => 24,
            Self::Int32 | Self::Float32 => 32,
            Self::Float64 => 64,
        }
    }

    fn put(self, value: f64, bytes: &mut Vec<u8>) {
        let steps = |bits: u32| (value * 2f64.powi(bits as i32 - 1)).round();
        match self {
            Self::Int16 => bytes.extend((steps(16) as i16).to_le_bytes()),
            Self::Int24 => bytes.extend(&(steps(24) as i32).to_le_bytes()[..3]),
            Self::Int32 => bytes.extend((steps(32) as i32).to_le_bytes()),
            Self::Float32 => bytes.extend((value as f32).to_le_bytes()),
            Self::Float64 => bytes.extend(value.to_le_bytes()),
        }
    }
}

/// Which WAV header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Header {
    /// 16 bytes of format (Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0, 1991).
    Plain,
    /// 40 bytes of format, with the coding as a GUID (WAVE_FORMAT_EXTENSIBLE).
    Extensible,
}

/// A WAV with one channel for each of a frame's values.
pub fn wav(header: Header, sample: Sample, rate_hz: u32, frames: impl Iterator<Item = Vec<f64>>) -> Vec<u8> {
    let mut frames = frames.peekable();
    let channels = frames.peek().map_or(2, Vec::len) as u16;
    let mut data = Vec::new();
    for value in frames.flatten() {
        sample.put(value, &mut data);
    }
    let coding: u16 = if matches!(sample, Sample::Float32 | Sample::Float64) { 3 } else { 1 };
    let align = channels * sample.bits() / 8;
    let mut format = Vec::new();
    let named = if header == Header::Extensible { 0xFFFE } else { coding };
    format.extend(u16::to_le_bytes(named));
    format.extend(channels.to_le_bytes());
    format.extend(rate_hz.to_le_bytes());
    format.extend((rate_hz * u32::from(align)).to_le_bytes());
    format.extend(align.to_le_bytes());
    format.extend(sample.bits().to_le_bytes());
    if header == Header::Extensible {
        format.extend(22u16.to_le_bytes());
        format.extend(sample.bits().to_le_bytes());
        // Front left, front right, front centre.
        format.extend(((1u32 << channels) - 1).to_le_bytes());
        format.extend(coding.to_le_bytes());
        format.extend(b"\x00\x00\x00\x00\x10\x00\x80\x00\x00\xAA\x00\x38\x9B\x71");
    }
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((4 + 8 + format.len() as u32 + 8 + data.len() as u32).to_le_bytes());
    bytes.extend(b"WAVEfmt ");
    bytes.extend((format.len() as u32).to_le_bytes());
    bytes.extend(format);
    bytes.extend(b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

/// The usual stereo WAV: 48 kHz, 16 bit.
pub fn stereo(frames: &[[f64; 2]]) -> Vec<u8> {
    wav(Header::Plain, Sample::Int16, 48_000, frames.iter().map(|frame| frame.to_vec()))
}

/// An AIFF, 48 kHz, 16 bit, stereo (Audio Interchange File Format 1.3, 1989).
pub fn aiff(frames: &[[f64; 2]]) -> Vec<u8> {
    let mut body = b"AIFFCOMM".to_vec();
    body.extend(18u32.to_be_bytes());
    body.extend(2u16.to_be_bytes());
    body.extend((frames.len() as u32).to_be_bytes());
    body.extend(16u16.to_be_bytes());
    // 48 000 as an 80-bit float: exponent 15, mantissa with its leading one.
    body.extend((16_383u16 + 15).to_be_bytes());
    body.extend((48_000u64 << 48).to_be_bytes());
    body.extend(b"SSND");
    body.extend((8 + 4 * frames.len() as u32).to_be_bytes());
    body.extend([0; 8]);
    for value in frames.as_flattened() {
        body.extend(((value * 32_768.0).round() as i16).to_be_bytes());
    }
    let mut bytes = b"FORM".to_vec();
    bytes.extend((body.len() as u32).to_be_bytes());
    bytes.extend(body);
    bytes
}

/// A FLAC, 48 kHz, 16 bit, stereo, samples stored as they are (RFC 9639).
pub fn flac(frames: &[[f64; 2]]) -> Vec<u8> {
    const BLOCK: usize = 4096;
    let mut bytes = b"fLaC".to_vec();
    // The last block of metadata, of type 0, 34 bytes.
    bytes.extend([0x80, 0, 0, 34]);
    bytes.extend((BLOCK as u16).to_be_bytes());
    bytes.extend((BLOCK as u16).to_be_bytes());
    bytes.extend([0; 6]);
    // 20 bits of rate, 3 of channels less 1, 5 of bits less 1, 36 of frames.
    let facts = 48_000u64 << 44 | 1 << 41 | 15 << 36 | frames.len() as u64;
    bytes.extend(facts.to_be_bytes());
    bytes.extend([0; 16]);
    for (number, block) in frames.chunks(BLOCK).enumerate() {
        let start = bytes.len();
        // Sync, fixed block size; block size in 16 bits, 48 kHz; two channels, 16 bit.
        bytes.extend([0xFF, 0xF8, 0x7A, 0x18]);
        // The number of the frame is coded as UTF-8 codes a character.
        let number = char::from_u32(number as u32).unwrap();
        bytes.extend(number.encode_utf8(&mut [0; 4]).as_bytes());
        bytes.extend((block.len() as u16 - 1).to_be_bytes());
        bytes.push(crc(&bytes[start..], 8, 0x07) as u8);
        for channel in 0..2 {
            // Verbatim, no wasted bits.
            bytes.push(0x02);
            for frame in block {
                bytes.extend(((frame[channel] * 32_768.0).round() as i16).to_be_bytes());
            }
        }
        let check = crc(&bytes[start..], 16, 0x8005) as u16;
        bytes.extend(check.to_be_bytes());
    }
    bytes
}

/// Cyclic redundancy check of `width` bits, start 0.
fn crc(bytes: &[u8], width: u32, polynomial: u32) -> u32 {
    let top = 1 << (width - 1);
    bytes.iter().fold(0, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte) << (width - 8), |sum, _| {
            let shifted = (sum << 1) & ((top << 1) - 1);
            if sum & top != 0 { shifted ^ polynomial } else { shifted }
        })
    })
}
