//! How a sample stands in a stream of bytes, little-endian.

/// The coding of a sample. What comes raw is told by a word, see [`Coding::word`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coding {
    /// Unsigned, 8 bit.
    Int8,
    /// Signed, 16 bit.
    Int16,
    /// Signed, 24 bit in three bytes.
    Int24,
    /// Signed, 32 bit.
    Int32,
    /// Floating point, 32 bit.
    Float32,
    /// Floating point, 64 bit.
    Float64,
}

impl Coding {
    /// Those in which recorders hand out raw samples.
    pub const RAW: [Self; 4] = [Self::Int16, Self::Int24, Self::Int32, Self::Float32];

    /// The word for it: `u8`, `s16`, `s24`, `s32`, `f32`, `f64`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Int8 => "u8",
            Self::Int16 => "s16",
            Self::Int24 => "s24",
            Self::Int32 => "s32",
            Self::Float32 => "f32",
            Self::Float64 => "f64",
        }
    }

    /// Bytes of one sample.
    pub fn bytes(self) -> usize {
        match self {
            Self::Int8 => 1,
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Int32 | Self::Float32 => 4,
            Self::Float64 => 8,
        }
    }

    /// What people call it: `16 bit`, `32 bit float`.
    pub fn depth(self) -> String {
        let float = if matches!(self, Self::Float32 | Self::Float64) { " float" } else { "" };
        format!("{} bit{float}", 8 * self.bytes())
    }

    /// The sample in the first bytes of `sample`, full scale 1; 0 where they are too few.
    fn value(self, sample: &[u8]) -> f64 {
        match (self, sample) {
            (Self::Int8, [a, ..]) => (f64::from(*a) - 128.0) / 128.0,
            (Self::Int16, [a, b, ..]) => f64::from(i16::from_le_bytes([*a, *b])) / 32_768.0,
            // As the upper three bytes of four.
            (Self::Int24, [a, b, c, ..]) => f64::from(i32::from_le_bytes([0, *a, *b, *c])) / 2_147_483_648.0,
            (Self::Int32, [a, b, c, d, ..]) => {
                f64::from(i32::from_le_bytes([*a, *b, *c, *d])) / 2_147_483_648.0
            }
            (Self::Float32, [a, b, c, d, ..]) => f64::from(f32::from_le_bytes([*a, *b, *c, *d])),
            (Self::Float64, [a, b, c, d, e, f, g, h, ..]) => {
                f64::from_le_bytes([*a, *b, *c, *d, *e, *f, *g, *h])
            }
            _ => 0.0,
        }
    }

    /// Appends channel `channel`, counted from 0, of all whole frames in `bytes` to `out`. A frame has `frame_bytes`.
    pub(super) fn decode(self, bytes: &[u8], frame_bytes: usize, channel: usize, out: &mut Vec<f64>) {
        let at = channel * self.bytes();
        out.extend(bytes.chunks_exact(frame_bytes).map(|frame| self.value(&frame[at..])));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn full_scale_is_one_and_channels_stay_apart() {
        let one = |coding: Coding, bytes: &[u8]| {
            let mut out = Vec::new();
            coding.decode(bytes, bytes.len() / 2, 1, &mut out);
            out
        };
        let cases: [(Coding, &[u8], [f64; 2]); 6] = [
            (Coding::Int8, &[9, 0, 9, 192], [-1.0, 0.5]),
            (Coding::Int16, &[9, 9, 0, 0x80, 9, 9, 0, 0x40], [-1.0, 0.5]),
            (Coding::Int24, &[9, 9, 9, 0, 0, 0x80, 9, 9, 9, 0, 0, 0x40], [-1.0, 0.5]),
            (Coding::Int32, &[9, 9, 9, 9, 0, 0, 0, 0x80, 9, 9, 9, 9, 0, 0, 0, 0x40], [-1.0, 0.5]),
            (Coding::Float32, &[9, 9, 9, 9, 0, 0, 0x80, 0xBF, 9, 9, 9, 9, 0, 0, 0, 0x3F], [-1.0, 0.5]),
            (
                Coding::Float64,
                &[
                    9, 9, 9, 9, 9, 9, 9, 9, 0, 0, 0, 0, 0, 0, 0xF0, 0xBF, 9, 9, 9, 9, 9, 9, 9, 9, 0, 0, 0, 0,
                    0, 0, 0xE0, 0x3F,
                ],
                [-1.0, 0.5],
            ),
        ];
        for (coding, bytes, wanted) in cases {
            assert_eq!(one(coding, bytes), wanted, "{}", coding.word());
            assert_eq!(bytes.len(), 4 * coding.bytes());
        }
        let mut none = Vec::new();
        Coding::Int16.decode(&[1, 2, 3], 4, 0, &mut none);
        assert!(none.is_empty());
    }
}
