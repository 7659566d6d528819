//! The slate: a short marker from which the reader finds place, time ratio and which programme this is.
//!
//! A slate is a row of short chirps with hyperbolic frequency modulation. Such a chirp, played fast or slow, is the
//! same chirp shifted in time (Altes and Titlebaum, J. Acoust. Soc. Am. 48, 1970), so a matched filter finds it
//! without knowing the speed; rising and falling chirps shift in opposite directions, which gives the speed.
//! Each chirp carries one bit: rising is 1, falling is 0.
//!
//! A slate opens with a Barker sequence, which resembles itself nowhere but in its place. The chirps on one side only
//! show crossed, mono and dead channels. The index tells which slate it is, so that a cut recording still has its
//! place. The check (CRC-8, polynomial 0x07, start 0xFF) notices every wrong bit and every pair of them.
//!
//! Why 800 to 3200 Hz: a dull, tilted or worn head leaves that band alone; hum and rumble lie below it. 72 ms at 2400
//! Hz of bandwidth lift a chirp some 20 dB out of noise.

/// Lower end of every chirp, Hz.
pub const LOW_HZ: f64 = 800.0;
/// Upper end of every chirp, Hz. A dull head leaves this band alone.
pub const HIGH_HZ: f64 = 3200.0;
/// Length of one chirp, s.
pub const CHIRP_S: f64 = 0.072;
/// Distance from one chirp's start to the next one's, s; a whole number of samples at 44.1, 48 and 96 kHz.
pub const SLOT_S: f64 = 0.08;
/// Rise and fall of a chirp's envelope, s.
pub const FADE_S: f64 = 0.006;
/// Bits that open every slate (a Barker sequence of length 7).
pub const SYNC: [bool; 7] = [true, true, true, false, false, true, false];
/// Slots in a slate: sync, one chirp on the left only, one on the right only, 5 bits of index, 16 of code, 8 of check.
pub const SLOTS: usize = SYNC.len() + 2 + 29;
/// Length of a slate, s.
pub const LENGTH_S: f64 = SLOTS as f64 * SLOT_S;
/// Largest number of slates in a programme.
pub const MAX_SLATES: usize = 32;

/// What one slate says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Slate {
    /// Code of the programme, never 0.
    pub code: u16,
    /// Which slate of the programme this is, from 0, below [`MAX_SLATES`].
    pub index: u8,
}

/// Where a chirp of a slate is heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Side {
    /// On both channels alike.
    Both,
    /// On the left channel only.
    Left,
    /// On the right channel only.
    Right,
}

/// One slot of a slate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Slot {
    /// Rising (1) or falling (0) chirp.
    pub rising: bool,
    /// Where it is heard.
    pub side: Side,
}

impl Slate {
    /// The slots in the order in which they are played; `SLOTS` of them.
    pub fn slots(&self) -> Vec<Slot> {
        let both = |rising| Slot { rising, side: Side::Both };
        let mut slots: Vec<Slot> = SYNC.into_iter().map(both).collect();
        slots.push(Slot { rising: true, side: Side::Left });
        slots.push(Slot { rising: true, side: Side::Right });
        let word = self.word();
        slots.extend((0..29).rev().map(|bit| both(word >> bit & 1 == 1)));
        slots
    }

    /// The 29 payload bits: index, code, check.
    fn word(&self) -> u32 {
        let payload = (u32::from(self.index) & 31) << 16 | u32::from(self.code);
        payload << 8 | u32::from(check(payload))
    }

    /// Reads the 29 payload bits back; `None` if the check does not hold.
    pub fn from_bits(bits: &[bool]) -> Option<Self> {
        if bits.len() != 29 {
            return None;
        }
        let word = bits.iter().fold(0u32, |word, &bit| word << 1 | u32::from(bit));
        let payload = word >> 8;
        let code = (payload & 0xFFFF) as u16;
        (u32::from(check(payload)) == word & 0xFF && code != 0)
            .then_some(Self { code, index: (payload >> 16) as u8 })
    }

    /// Samples of the slate for one channel at full-scale amplitude 1, at `rate_hz`.
    ///
    /// `side` says for which channel: [`Side::Left`] or [`Side::Right`]; [`Side::Both`] gives every chirp.
    pub fn samples(&self, rate_hz: f64, side: Side) -> Vec<f64> {
        let frames = (LENGTH_S * rate_hz).round() as usize;
        let mut samples = vec![0.0; frames];
        for (k, slot) in self.slots().iter().enumerate() {
            if side != Side::Both && slot.side != Side::Both && slot.side != side {
                continue;
            }
            let start = (k as f64 * SLOT_S * rate_hz).round() as usize;
            for (n, sample) in samples[start..].iter_mut().enumerate() {
                let t_s = n as f64 / rate_hz;
                if t_s > CHIRP_S {
                    break;
                }
                *sample = chirp(t_s, slot.rising);
            }
        }
        samples
    }
}

/// Value at `t_s` of a chirp that starts at 0 and has amplitude 1; 0 outside `0..=CHIRP_S`.
///
/// f(t) = f0 / (1 - b f0 t), b = (f1 - f0) / (f0 f1 T); phase = -2 pi / b ln(1 - b f0 t). The falling chirp is the
/// rising one in reverse.
pub fn chirp(t_s: f64, rising: bool) -> f64 {
    if !(0.0..=CHIRP_S).contains(&t_s) {
        return 0.0;
    }
    let u = if rising { t_s } else { CHIRP_S - t_s };
    let b = (HIGH_HZ - LOW_HZ) / (LOW_HZ * HIGH_HZ * CHIRP_S);
    let phase = -std::f64::consts::TAU / b * (1.0 - b * LOW_HZ * u).ln();
    let edge = t_s.min(CHIRP_S - t_s);
    let envelope = if edge < FADE_S { 0.5 - 0.5 * (std::f64::consts::PI * edge / FADE_S).cos() } else { 1.0 };
    envelope * phase.sin()
}

/// By how much a chirp played `ratio` times too fast seems to come late, s of the return: positive for a rising
/// chirp at `ratio` > 1. A falling chirp is shifted as much the other way. The shift is that of the whole chirp
/// against where its start really is.
pub fn shift_s(ratio: f64, rising: bool) -> f64 {
    // f_played(t) = r f0 / (1 - b f0 r t) equals f(t + tau) for tau = (1 - 1/r) / (b f0); the chirp is found tau early.
    let tau = (1.0 - 1.0 / ratio) * CHIRP_S * HIGH_HZ / (HIGH_HZ - LOW_HZ);
    if rising {
        -tau
    } else {
        // The reverse starts at CHIRP_S / r and runs back.
        CHIRP_S / ratio - CHIRP_S + tau
    }
}

/// CRC-8 (polynomial 0x07, start 0xFF) over the 21 payload bits as three bytes.
fn check(payload: u32) -> u8 {
    payload.to_be_bytes()[1..].iter().fold(0xFF, |crc, byte| {
        (0..8).fold(crc ^ byte, |crc: u8, _| if crc & 0x80 != 0 { crc << 1 ^ 0x07 } else { crc << 1 })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn payload_survives_the_round_trip() {
        for code in [1, 0x1234, 0xFFFF] {
            for index in 0..32 {
                let slate = Slate { code, index };
                let bits: Vec<bool> = slate.slots()[9..].iter().map(|slot| slot.rising).collect();
                assert_eq!(Slate::from_bits(&bits), Some(slate));
            }
        }
    }

    #[test]
    fn any_single_or_double_wrong_bit_is_noticed() {
        let bits: Vec<bool> =
            Slate { code: 0xBEEF, index: 3 }.slots()[9..].iter().map(|s| s.rising).collect();
        for i in 0..29 {
            for j in 0..29 {
                let mut wrong = bits.clone();
                wrong[i] ^= true;
                if i != j {
                    wrong[j] ^= true;
                }
                assert_eq!(Slate::from_bits(&wrong), None, "bits {i} and {j} flipped");
            }
        }
    }

    #[test]
    fn starts_and_ends_at_zero() {
        let samples = Slate { code: 77, index: 1 }.samples(48_000.0, Side::Both);
        assert_eq!(samples.len(), 145_920);
        assert!(samples[0].abs() < 1e-9 && samples[samples.len() - 1].abs() < 1e-9);
        assert!(samples.iter().all(|x| x.abs() <= 1.0));
    }

    #[test]
    fn a_fast_chirp_is_the_same_chirp_shifted() {
        for ratio in [0.94, 1.03, 1.09] {
            for rising in [true, false] {
                let shift = shift_s(ratio, rising);
                // Mid-band, away from the fades: the instantaneous phase differs by a constant only.
                let f = |t: f64| {
                    let u = if rising { t } else { CHIRP_S - t };
                    let b = (HIGH_HZ - LOW_HZ) / (LOW_HZ * HIGH_HZ * CHIRP_S);
                    LOW_HZ / (1.0 - b * LOW_HZ * u)
                };
                for t in [0.03, 0.04] {
                    let played = ratio * f(ratio * t);
                    let shifted = f(t - shift);
                    assert!(
                        (played - shifted).abs() < 1e-6,
                        "ratio {ratio} rising {rising}: {played} {shifted}"
                    );
                }
            }
        }
    }
}
