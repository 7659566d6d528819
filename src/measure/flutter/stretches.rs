//! Wow and flutter of a steady tone, or of several stretches of it with something else between them.
//!
//! The tone of both channels together is demodulated; the deviation, in percent of the mean frequency, is what the
//! speed does. Slow drift (the best parabola of each stretch) is not flutter. The noise that the demodulator makes of hiss
//! is known from the deviation beyond the band, and is subtracted from the figures. Bands: no standard fixes them, so they
//! are part of the reading; what a low tone or a short one cannot show is not in them.
//!
//! Figures are those of all stretches, laid end to end. Lines and spectrum are those of the longest: several short ones show
//! no line better than one.

use crate::measure::flutter::against_time::{chart, mean_speed};
use crate::measure::flutter::deviation::Course;
use crate::measure::flutter::figures::Views;
use crate::measure::flutter::lines::{lines, spectrum};
use crate::reading::{FileClock, Flutter, SpeedAgainstTime};
use crate::signal::baseband::Band;

/// What filters need at either end of the stretch before their output counts, s: as much as a stretch can spare, between
/// these.
const SETTLE_S: (f64, f64) = (0.25, 1.5);

/// One stretch of the tone.
#[derive(Clone, Copy)]
pub(crate) struct ToneBands<'a> {
    /// The tone's band in both channels.
    pub bands: &'a [Band; 2],
    /// Tells the times of the file, started at the first sample fed.
    pub clock: FileClock,
}

/// What one stretch gave.
struct Stretch {
    course: Course,
    settle: usize,
    /// Started at the first value that counts.
    inside: FileClock,
}

/// The flutter of a tone of `programme_hz`, expected in the return at `carrier_hz`.
///
/// `None` if no stretch holds enough of the tone.
pub(crate) fn flutter_of(tones: &[ToneBands<'_>], programme_hz: f64, carrier_hz: f64) -> Option<Flutter> {
    let mut stretches: Vec<Stretch> = tones
        .iter()
        .filter_map(|tone| {
            let course = Course::of(tone.bands, carrier_hz)?;
            let length_s = course.percent.len() as f64 / course.rate_hz;
            let settle_s = (length_s / 6.0).clamp(SETTLE_S.0, SETTLE_S.1);
            let inside = tone.clock.starting_at(tone.bands[0].first_s).starting_at(settle_s);
            Some(Stretch { settle: (settle_s * course.rate_hz) as usize, course, inside })
        })
        .collect();
    let length = |stretch: &Stretch| stretch.course.percent.len();
    let longest = (0..stretches.len()).max_by_key(|&k| length(&stretches[k]))?;
    let rate_hz = stretches[longest].course.rate_hz;
    let band_hz = stretches[longest].course.band_hz;
    // A shorter stretch is filtered as the longest is, or its figures were others.
    for stretch in &mut stretches {
        stretch.course.band_hz = band_hz;
    }
    let (views, (lines, (spectrum, spectrum_widths_hz))) = rayon::join(
        || {
            let of = |stretch: &Stretch| Views::new(&stretch.course, stretch.settle, stretch.inside);
            stretches.iter().map(of).reduce(|mut all, more| {
                all.add(more);
                all
            })
        },
        || (lines(&stretches[longest].course), spectrum(&stretches[longest].course)),
    );
    let views = views?;
    let total: f64 = stretches.iter().map(|stretch| length(stretch) as f64).sum();
    let mean = |of: &dyn Fn(&Course) -> f64| {
        stretches.iter().map(|stretch| length(stretch) as f64 * of(&stretch.course)).sum::<f64>() / total
    };
    let course = &stretches[longest].course;
    let figures = views.whole();
    let uncertainties = views.uncertainties(&figures);
    let (along, spread) = views.along();
    let end = |stretch: &Stretch| stretch.inside.at((length(stretch) - 2 * stretch.settle) as f64 / rate_hz);
    Some(Flutter {
        carrier_hz: programme_hz,
        measured_from_s: stretches.first()?.inside.at(0.0),
        measured_to_s: end(stretches.last()?),
        measured_over_s: (stretches.len() > 1).then(|| views.length_s()),
        weighted_quasi_peak_percent: figures.weighted_quasi_peak_percent,
        weighted_rms_percent: figures.weighted_rms_percent,
        two_sigma_percent: figures.two_sigma_percent,
        unweighted_peak_percent: figures.unweighted_peak_percent,
        unweighted_rms_percent: figures.unweighted_rms_percent,
        wow_rms_percent: figures.wow_rms_percent,
        flutter_rms_percent: figures.flutter_rms_percent,
        uncertainty_percent: [
            uncertainties.weighted_rms_percent,
            uncertainties.unweighted_rms_percent,
            uncertainties.wow_rms_percent,
            uncertainties.flutter_rms_percent,
        ]
        .into_iter()
        .flatten()
        .reduce(f64::max),
        uncertainties,
        stretches: along,
        spread,
        drift_percent_per_min: Some(course.drift_percent_per_min),
        bridged_percent: Some(100.0 * mean(&|course| course.bridged)),
        channel_shares: Some([0, 1].map(|side| mean(&|course| course.shares[side]))),
        simultaneous_null_hz: None,
        band_hz,
        lines,
        spectrum,
        spectrum_widths_hz,
        speed_against_time: against_time(&stretches),
        mean_speed: mean_speed(
            stretches.iter().map(|stretch| (&stretch.course, stretch.settle, stretch.inside)),
        ),
    })
}

/// The charts of all stretches, one behind the other.
fn against_time(stretches: &[Stretch]) -> Option<SpeedAgainstTime> {
    let inside = |stretch: &Stretch| stretch.course.percent.len().saturating_sub(2 * stretch.settle);
    let count = stretches.iter().map(inside).sum();
    let charts =
        stretches.iter().filter_map(|stretch| chart(&stretch.course, stretch.settle, stretch.inside, count));
    charts.reduce(|all, more| SpeedAgainstTime { pieces: [all.pieces, more.pieces].concat(), ..all })
}
