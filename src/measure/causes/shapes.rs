//! What each cause does to a response, in dB over frequency, and what is believed of its size before measuring.
//!
//! Spacing and gap follow the wavelength on the tape, which the recording fixed: frequencies of the programme at nominal
//! speed. Electrical shapes follow the frequency that the amplifier sees.
//!
//! A wrong time constant is weighed twice: as any, and as that of the other position of the switch (`switched`). The
//! low-pass has the head circuit's resonance, or is a digital one.

use crate::reading::CauseKind;
use crate::signal::DB_PER_NEPER;
use crate::trade::Equalisation;
use crate::trade::playback_losses::{effective_gap_um, gap_loss_db, spacing_loss_db};
use crate::trade::tape_equalisation::{treble_error_db, turnover_hz};
use std::f64::consts::PI;

/// What the shapes need to know of tape and deck.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Setting {
    /// Nominal tape speed, mm/s.
    pub(crate) speed_mm_s: f64,
    /// Treble time constant that the playback should have, us.
    pub(crate) nominal_us: f64,
    /// Sample rate of a digital low-pass (bilinear), Hz; `None`: low-passes are circuits.
    pub(crate) digital_hz: Option<f64>,
}

/// One frequency: in the programme, and as the amplifier saw it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Place {
    pub(crate) programme_hz: f64,
    pub(crate) seen_hz: f64,
}

/// A number that a shape depends on, fitted as its logarithm: what is usual, and by how much (standard deviation of
/// the logarithm) it may be off.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Prior {
    pub(crate) usual: f64,
    pub(crate) spread: f64,
}

/// Losses below this do not count, dB: next to a null of the gap a formula says minus infinity.
const FLOOR_DB: f64 = -60.0;

/// dB for a change by e of a power.
const POWER_DB: f64 = 0.5 * DB_PER_NEPER;

const fn prior(usual: f64, spread: f64) -> Prior {
    Prior { usual, spread }
}

/// Causes that are fitted, in the order of the reading.
pub(crate) const FITTED: [CauseKind; 7] = [
    CauseKind::Spacing,
    CauseKind::Gap,
    CauseKind::TimeConstant,
    CauseKind::LowPass,
    CauseKind::Equaliser,
    CauseKind::Coupling,
    CauseKind::HeadBump,
];

/// How probable a cause is before anything was measured (from memory: how often one meets it on the bench). Low-pass
/// circuits are rare, and there to keep other causes from being blamed for one.
pub(crate) fn probability(kind: CauseKind) -> f64 {
    match kind {
        CauseKind::Spacing | CauseKind::Coupling | CauseKind::HeadBump => 0.2,
        CauseKind::Gap | CauseKind::TimeConstant | CauseKind::Equaliser => 0.15,
        CauseKind::LowPass => 0.04,
        CauseKind::Azimuth | CauseKind::None => 0.0,
    }
}

/// How probable it is that the other channel has it, too, if one has: a switch, a tape type and a head are of both. From memory.
pub(crate) fn shared(kind: CauseKind) -> f64 {
    match kind {
        CauseKind::HeadBump => 0.95,
        CauseKind::TimeConstant => 0.85,
        CauseKind::Gap => 0.8,
        CauseKind::LowPass | CauseKind::Coupling => 0.7,
        CauseKind::Spacing | CauseKind::Equaliser => 0.5,
        CauseKind::Azimuth | CauseKind::None => 0.0,
    }
}

/// What the shape depends on; sizes from memory.
pub(crate) fn priors(kind: CauseKind, setting: &Setting) -> Vec<Prior> {
    match kind {
        // um of distance.
        CauseKind::Spacing => vec![prior(0.3, 1.0)],
        // um, mechanical.
        CauseKind::Gap => vec![prior(1.3, 0.5)],
        // us as it really is.
        CauseKind::TimeConstant => vec![prior(setting.nominal_us, 0.45)],
        // Corner without resonance, Hz, and frequency of the resonance, Hz: usually far beyond the audible.
        CauseKind::LowPass => vec![prior(12_000.0, 0.6), prior(45_000.0, 0.7)],
        // Gain in its middle as a ratio, either way; middle, Hz; quality.
        CauseKind::Equaliser => vec![prior(1.0, 0.3), prior(13_000.0, 0.3), prior(0.8, 0.3)],
        // Corner, Hz, and that of a second capacitor, Hz: usually below the audible.
        CauseKind::Coupling => vec![prior(30.0, 0.8), prior(5.0, 0.8)],
        // Middle in Hz, height in dB, quality.
        CauseKind::HeadBump => vec![prior(70.0, 0.5), prior(2.0, 0.6), prior(1.3, 0.4)],
        CauseKind::Azimuth | CauseKind::None => vec![],
    }
}

/// How probable it is that a wrong time constant is that of the other position of the switch, give or take so much (standard
/// deviation of the logarithm). From memory: a selector or a tape-type sensing switch is off far more often than a part.
pub(crate) const SWITCHED: (f64, f64) = (0.6, 0.04);

/// The time constant of the other position, as a standardised logarithm of [`priors`] with its spread.
pub(crate) fn switched(setting: &Setting) -> (f64, f64) {
    let [long, short] = [Equalisation::Us120, Equalisation::Us70].map(Equalisation::high_time_constant_us);
    let other_us = if setting.nominal_us > (long * short).sqrt() { short } else { long };
    let Prior { usual, spread } = priors(CauseKind::TimeConstant, setting)[0];
    ((other_us / usual).ln() / spread, SWITCHED.1 / spread)
}

/// Where to start looking, as offsets from what is usual in standard deviations: a fit may have several summits.
pub(crate) fn starts(kind: CauseKind) -> &'static [[f64; 3]] {
    match kind {
        CauseKind::TimeConstant | CauseKind::Equaliser => &[[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]],
        CauseKind::HeadBump => &[[-0.7, 0.0, 0.0], [0.7, 0.0, 0.0]],
        CauseKind::LowPass => &[[0.0, 0.0, 0.0], [0.5, -1.4, 0.0]],
        _ => &[[0.0, 0.0, 0.0]],
    }
}

/// What the cause does at `place`, dB, not referred to any frequency. `size` holds as many numbers as [`priors`].
pub(crate) fn shape_db(kind: CauseKind, size: &[f64], place: Place, setting: &Setting) -> f64 {
    let first = size.first().copied().unwrap_or(0.0);
    let db = match kind {
        CauseKind::Spacing => spacing_loss_db(first, place.programme_hz, setting.speed_mm_s),
        CauseKind::Gap => gap_loss_db(effective_gap_um(first), place.programme_hz, setting.speed_mm_s),
        CauseKind::TimeConstant => treble_error_db(first, setting.nominal_us, place.seen_hz),
        CauseKind::LowPass => {
            let hz = setting.digital_hz.map_or(place.seen_hz, |rate_hz| warped_hz(place.seen_hz, rate_hz));
            low_pass_db(first, size.get(1).copied().unwrap_or(f64::INFINITY), hz)
        }
        CauseKind::Coupling => {
            size.iter().map(|hz| -POWER_DB * (1.0 + (hz / place.seen_hz).powi(2)).ln()).sum()
        }
        CauseKind::Equaliser => match *size {
            [ratio, hz, quality] => resonance_db(hz, ratio, quality, place.seen_hz),
            _ => 0.0,
        },
        CauseKind::HeadBump => match *size {
            [hz, height_db, quality] => resonance_db(hz, ratio_of(height_db), quality, place.seen_hz),
            _ => 0.0,
        },
        CauseKind::Azimuth | CauseKind::None => 0.0,
    };
    db.max(FLOOR_DB)
}

/// Slopes of [`shape_db`] over the logarithm of each number of `size`, dB; 0 behind its last one, and at the floor.
pub(crate) fn slopes_db(kind: CauseKind, size: &[f64], place: Place, setting: &Setting) -> [f64; 3] {
    let db = shape_db(kind, size, place, setting);
    if db <= FLOOR_DB {
        return [0.0; 3];
    }
    match (kind, size) {
        (CauseKind::Spacing, [_]) => [db, 0.0, 0.0],
        (CauseKind::Gap, [gap_um]) => {
            let x = PI * effective_gap_um(*gap_um) * 1e-3 * place.programme_hz / setting.speed_mm_s;
            [2.0 * POWER_DB * (x / x.tan() - 1.0), 0.0, 0.0]
        }
        (CauseKind::TimeConstant, [us]) => {
            let power = (place.seen_hz / turnover_hz(*us)).powi(2);
            [2.0 * POWER_DB * power / (1.0 + power), 0.0, 0.0]
        }
        (CauseKind::LowPass, [corner_hz, resonance_hz]) => {
            let hz = setting.digital_hz.map_or(place.seen_hz, |rate_hz| warped_hz(place.seen_hz, rate_hz));
            let (lost, turned) = ((hz / corner_hz).powi(2), (hz / resonance_hz).powi(2));
            let stiff = 1.0 - turned;
            let all = stiff * stiff + lost;
            [2.0 * POWER_DB * lost / all, -4.0 * POWER_DB * stiff * turned / all, 0.0]
        }
        (CauseKind::Coupling, [first_hz, second_hz]) => {
            let slope = |hz: f64| {
                let lost = (hz / place.seen_hz).powi(2);
                -2.0 * POWER_DB * lost / (1.0 + lost)
            };
            [slope(*first_hz), slope(*second_hz), 0.0]
        }
        (CauseKind::Equaliser, [ratio, hz, quality]) => {
            let [middle, height, width] = resonance_slopes(*hz, *ratio, *quality, place.seen_hz);
            [POWER_DB * height, POWER_DB * middle, POWER_DB * width]
        }
        (CauseKind::HeadBump, [hz, height_db, quality]) => {
            let ratio = ratio_of(*height_db);
            let [middle, height, width] = resonance_slopes(*hz, ratio, *quality, place.seen_hz);
            [POWER_DB * middle, POWER_DB * height * ratio.ln(), POWER_DB * width]
        }
        _ => [0.0; 3],
    }
}

/// Low-pass of a winding or a capacitor: first order with its corner where the resonance is far off; a peak before it falls
/// where the resonance lies below the corner.
fn low_pass_db(corner_hz: f64, resonance_hz: f64, hz: f64) -> f64 {
    let stiff = 1.0 - (hz / resonance_hz).powi(2);
    -POWER_DB * (stiff * stiff + (hz / corner_hz).powi(2)).ln()
}

/// Height of the peak that such a low-pass has, dB, and where, Hz; `None` if it has none.
pub(crate) fn low_pass_peak(corner_hz: f64, resonance_hz: f64) -> Option<(f64, f64)> {
    let quality = corner_hz / resonance_hz;
    let below = 1.0 - 0.5 / (quality * quality);
    (below > 0.0).then(|| {
        let hz = resonance_hz * below.sqrt();
        (low_pass_db(corner_hz, resonance_hz, hz), hz)
    })
}

/// Where a bilinear filter for samples at `rate_hz` has what a circuit has at the frequency returned.
fn warped_hz(hz: f64, rate_hz: f64) -> f64 {
    rate_hz / PI * (PI * (hz / rate_hz).min(0.499)).tan()
}

/// The inverse of [`warped_hz`].
pub(crate) fn unwarped_hz(hz: f64, rate_hz: f64) -> f64 {
    rate_hz / PI * (PI * hz / rate_hz).atan()
}

fn ratio_of(height_db: f64) -> f64 {
    (height_db / DB_PER_NEPER).exp()
}

/// Second-order resonance: as high as `ratio` at `middle_hz`, 0 dB far from it, half of the height (in dB) where
/// |f/f0 - f0/f| = 1/q.
fn resonance_db(middle_hz: f64, ratio: f64, quality: f64, hz: f64) -> f64 {
    let x = (hz / middle_hz - middle_hz / hz).powi(2) * quality * quality;
    POWER_DB * ((x + ratio) / (x + 1.0 / ratio)).ln()
}

/// Slopes of the natural logarithm of its power over those of the middle, the ratio and the quality.
fn resonance_slopes(middle_hz: f64, ratio: f64, quality: f64, hz: f64) -> [f64; 3] {
    let apart = hz / middle_hz - middle_hz / hz;
    let x = (apart * quality).powi(2);
    let (above, below) = (1.0 / (x + ratio), 1.0 / (x + 1.0 / ratio));
    let middle = -2.0 * apart * quality * quality * (hz / middle_hz + middle_hz / hz);
    [middle * (above - below), ratio * above + below / ratio, 2.0 * x * (above - below)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::test_signals::Random;

    const SETTING: Setting = Setting { speed_mm_s: 47.625, nominal_us: 120.0, digital_hz: None };

    fn at(kind: CauseKind, size: &[f64], hz: f64) -> f64 {
        shape_db(kind, size, Place { programme_hz: hz, seen_hz: hz }, &SETTING)
    }

    #[test]
    fn shapes_have_the_published_sizes() {
        // -54.575 dB a wavelength (Wallace 1951): 0.1 um at 10 kHz are 0.1/4.7625 wavelengths.
        assert_within!(at(CauseKind::Spacing, &[0.1], 10_000.0), -1.1459, 1e-4, "dB");
        // Effective gap 1.11 um against 2.9766 um (Eargle 1994): 20 lg(sin x / x), x = 1.17154, by numpy 2.4.6.
        assert_within!(at(CauseKind::Gap, &[1.0], 16_000.0), -2.08665, 1e-5, "dB");
        // First order: half the power at the corner, a fifth at half of it (below) or twice it (above).
        assert_within!(at(CauseKind::Coupling, &[40.0], 40.0), -3.0103, 1e-4, "dB");
        assert_within!(at(CauseKind::Coupling, &[40.0], 20.0), -6.9897, 1e-4, "dB");
        assert_within!(at(CauseKind::LowPass, &[8000.0], 16_000.0), -6.9897, 1e-4, "dB");
        // Second order (any textbook): quality 2 gives 6.02 dB at the resonance itself, and a peak of 20 lg(2 / sqrt(1 - 1/16)).
        assert_within!(at(CauseKind::LowPass, &[20_000.0, 10_000.0], 10_000.0), 6.0206, 1e-4, "dB");
        assert_within!(low_pass_peak(20_000.0, 10_000.0).unwrap().0, 6.3009, 1e-4, "dB");
        assert_eq!(low_pass_peak(7000.0, 10_000.0), None);
        // Two equal capacitors are 6 dB down at their corner.
        assert_within!(at(CauseKind::Coupling, &[40.0, 40.0], 40.0), -6.0206, 1e-4, "dB");
        // Bilinear at 48 kHz: what a circuit does at 48 / pi kHz tan(pi / 4) stands at a quarter of the rate.
        let digital = Setting { digital_hz: Some(48_000.0), ..SETTING };
        let quarter = Place { programme_hz: 12_000.0, seen_hz: 12_000.0 };
        let corner_hz = 48_000.0 / PI;
        assert_within!(shape_db(CauseKind::LowPass, &[corner_hz], quarter, &digital), -3.0103, 1e-4, "dB");
        // A resonance is as high as it says in its middle, and half as high where |f/f0 - f0/f| = 1/q.
        assert_within!(at(CauseKind::HeadBump, &[80.0, 3.0, 1.0], 80.0), 3.0, 1e-9, "dB");
        let golden = 0.5 * (1.0 + 5f64.sqrt());
        assert_within!(at(CauseKind::HeadBump, &[80.0, 3.0, 1.0], 80.0 * golden), 1.5, 1e-9, "dB");
        // Playback at 70 us of a tape for 120 us, table after IEC 60094-1: -4.54 dB at 10 kHz.
        assert_within!(at(CauseKind::TimeConstant, &[70.0], 10_000.0), -4.54, 0.005, "dB");
    }

    #[test]
    fn slopes_are_those_of_the_shapes() {
        const STEP: f64 = 1e-5;
        let digital = Setting { digital_hz: Some(48_000.0), ..SETTING };
        let mut random = Random(7);
        for (kind, setting) in FITTED.iter().flat_map(|&kind| [(kind, &SETTING), (kind, &digital)]) {
            for _ in 0..200 {
                let mut spread = |widest: f64| widest * (2.0 * random.share() - 1.0);
                let hz = 800.0 * spread(3.0).exp();
                let place = Place { programme_hz: hz, seen_hz: hz * (1.0 + spread(0.06)) };
                let size: Vec<f64> = priors(kind, setting)
                    .iter()
                    .map(|prior| prior.usual * (prior.spread * spread(3.0)).exp())
                    .collect();
                let slopes = slopes_db(kind, &size, place, setting);
                for k in 0..size.len() {
                    let moved = |by: f64| {
                        let mut moved = size.clone();
                        moved[k] *= by.exp();
                        shape_db(kind, &moved, place, setting)
                    };
                    let differences = (moved(STEP) - moved(-STEP)) / (2.0 * STEP);
                    let within = 1e-5 * (1.0 + differences.abs());
                    assert_within!(
                        slopes[k],
                        differences,
                        within,
                        "{kind:?} {size:?} at {hz} Hz, number {k}"
                    );
                }
            }
        }
    }

    #[test]
    fn no_shape_is_infinite_at_a_null() {
        let null_um = 47.625e3 / 16_000.0 / 1.11;
        assert!(at(CauseKind::Gap, &[null_um], 16_000.0) >= FLOOR_DB);
    }
}
