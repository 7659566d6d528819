//! Mean speed from the pitch of tones whose frequency is known.

use crate::reading::Speed;
use crate::signal::statistics::median;
use crate::trade::test_tapes::CARD_CLOCK_PERCENT;

/// Wow that moves the mean of a tone, percent rms, at some half a hertz: what one tone alone cannot show.
const USUAL_WOW_PERCENT: f64 = 0.15;
/// Lower tones are known to some hundredths of a hertz only, Hz.
const SURE_HZ: f64 = 200.0;

/// One tone as it was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredTone {
    /// Identifier of the part.
    pub part: String,
    /// Frequency in the programme, Hz.
    pub programme_hz: f64,
    /// Mean frequency in the return, Hz.
    pub hz: f64,
    /// Standard error of that mean as pieces of half a second tell, Hz; `None` where there are fewer than three.
    pub hz_error: Option<f64>,
    /// Length of the stretch that was measured, s.
    pub length_s: f64,
    /// Level in the return, dBFS; `None` for a flutter tone.
    pub dbfs: [Option<f64>; 2],
}

/// How well the frequencies are known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrequencyKnowledge {
    /// Expanded uncertainty of all tones' frequencies together, percent: the tape ran wrong when it was made, or the
    /// pitch is remembered.
    pub within_percent: f64,
    /// By how much the tape's tones are sharp at the right speed, percent.
    pub sharp_percent: f64,
    /// Rms of the wow, percent, where it was measured.
    pub wow_percent: Option<f64>,
}

/// Speed error over all `tones`, positive is fast; `None` without tones.
///
/// The uncertainty holds how the tones agree, wow over their length, what is known of their frequencies, and the clock of
/// the sound card (0.005 %).
pub fn tone_speed(tones: &[MeasuredTone], knowledge: &FrequencyKnowledge) -> Option<Speed> {
    let sure: Vec<&MeasuredTone> = tones.iter().filter(|tone| tone.programme_hz > SURE_HZ).collect();
    let used: Vec<&MeasuredTone> = if sure.is_empty() { tones.iter().collect() } else { sure };
    let errors: Vec<(f64, f64, f64)> = used
        .iter()
        .filter(|tone| tone.length_s > 0.0)
        .map(|tone| {
            let percent = 100.0 / tone.programme_hz;
            (percent * tone.hz - 100.0, tone.length_s, percent * tone.hz_error.unwrap_or(0.0))
        })
        .collect();
    let middle = median(errors.iter().map(|error| error.0));
    let away = median(errors.iter().map(|error| (error.0 - middle).abs()));
    // A tone that was recorded off its name must not count.
    let kept: Vec<(f64, f64, f64)> =
        errors.into_iter().filter(|error| (error.0 - middle).abs() <= (5.0 * away).max(0.05)).collect();
    let total_s: f64 = kept.iter().map(|error| error.1).sum();
    if !(total_s > 0.0) {
        return None;
    }
    let mean = kept.iter().map(|error| error.0 * error.1).sum::<f64>() / total_s;
    let squares: f64 = kept.iter().map(|error| error.1.powi(2)).sum();
    let count = total_s * total_s / squares;
    let spread = (kept.iter().map(|error| error.1 * (error.0 - mean).powi(2)).sum::<f64>() / total_s).sqrt();
    let agree = if kept.len() > 2 { 2.0 * spread / (count - 1.0).max(1.0).sqrt() } else { 0.0 };
    // The mean over t of a wow at f is off by up to its amplitude over pi f t.
    let wow_percent = knowledge.wow_percent.unwrap_or(0.0).max(USUAL_WOW_PERCENT);
    let wow = 2.0 * wow_percent / (std::f64::consts::PI * 0.5 * total_s).max(1.0);
    // What wanders within the tones, as it was measured: a lone tone shows nothing else.
    let within = 2.0 * kept.iter().map(|error| (error.1 * error.2).powi(2)).sum::<f64>().sqrt() / total_s;
    let statistical = if kept.len() > 2 { agree.max(0.3 * wow) } else { wow.max(2.0 * spread) };
    let uncertainty = statistical.max(within).hypot(knowledge.within_percent).hypot(CARD_CLOCK_PERCENT);
    let error = 100.0 * ((1.0 + mean / 100.0) / (1.0 + knowledge.sharp_percent / 100.0) - 1.0);
    (error.is_finite() && uncertainty.is_finite()).then_some(Speed {
        error_percent: error,
        uncertainty_percent: uncertainty,
        drift_percent_per_min: None,
        from_length: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(programme_hz: f64, error_percent: f64, length_s: f64) -> MeasuredTone {
        MeasuredTone {
            part: "t".into(),
            programme_hz,
            hz: programme_hz * (1.0 + error_percent / 100.0),
            hz_error: None,
            length_s,
            dbfs: [None; 2],
        }
    }

    const SURE: FrequencyKnowledge =
        FrequencyKnowledge { within_percent: 0.0, sharp_percent: 0.0, wow_percent: None };

    #[test]
    fn one_wrongly_recorded_tone_does_not_count_and_a_sharp_tape_is_undone() {
        let tones = [
            tone(315.0, 1.01, 5.0),
            tone(1000.0, 0.99, 5.0),
            tone(3150.0, 1.0, 20.0),
            tone(12_500.0, 3.0, 5.0),
        ];
        let speed = tone_speed(&tones, &SURE).unwrap();
        assert_within!(speed.error_percent, 1.0, 0.005, "%");
        assert!(speed.uncertainty_percent < 0.03, "{speed:?}");
        let sharp = FrequencyKnowledge { within_percent: 0.1, sharp_percent: 1.0, wow_percent: None };
        let speed = tone_speed(&tones, &sharp).unwrap();
        assert_within!(speed.error_percent, 0.0, 0.005, "%");
        assert!(speed.uncertainty_percent > 0.1);
    }

    #[test]
    fn a_short_lone_tone_is_less_sure_than_a_long_one_and_none_says_nothing() {
        let uncertainty =
            |length_s| tone_speed(&[tone(440.0, 0.2, length_s)], &SURE).unwrap().uncertainty_percent;
        assert!(
            uncertainty(2.0) > 0.08 && uncertainty(60.0) < 0.01,
            "{} {}",
            uncertainty(2.0),
            uncertainty(60.0)
        );
        // A tone that wanders within itself by more than usual wow says so.
        let wanders = MeasuredTone { hz_error: Some(1.1), ..tone(440.0, 0.2, 6.0) };
        assert_within!(tone_speed(&[wanders], &SURE).unwrap().uncertainty_percent, 0.5, 0.01, "%");
        assert_eq!(tone_speed(&[], &SURE), None);
        assert_eq!(tone_speed(&[tone(440.0, 0.2, 0.0)], &SURE), None);
    }
}
