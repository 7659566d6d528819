//! Causes of a measured response: azimuth, spacing, gap, time constant, low-pass, coupling, head bump.
//!
//! Azimuth is not fitted: its loss follows from the measured delay. The others are weighed against each other and against
//! ripple that no cause explains ([`crate::measure::causes::fit`]); what the evidence leaves open is said so.
//!
//! The low-pass is there to keep dirt and gap from being blamed for an amplifier. Both channels are weighed together: a
//! switch, a tape type and a head are of both, so that a cause is likelier where the other channel has it (`couple`;
//! odds from memory). Stated is what has a probability of 0.9 and changes the response by 0.3 dB.

use crate::measure::causes::fit::{KindVerdict, Model, Point, Question, Verdicts, couple};
use crate::measure::causes::shapes::{FITTED, Place, Setting, low_pass_peak, unwarped_hz};
use crate::reading::{
    Cause, CauseKind, Channel, Circumstances, Facts, Heads, Instead, NoiseReduction, RecordedOn, Response,
    ResponsePoint, TapeType, Unexplained, Unit, WarningId, dead_channels,
};
use crate::trade::playback_losses::azimuth_loss_db;
use crate::trade::{Equalisation, Medium};

/// Frequencies at which shares are stated, Hz.
const SHARES_HZ: [f64; 6] = [40.0, 100.0, 1000.0, 5000.0, 10_000.0, 15_000.0];
/// Points to the decade of a cause's curve.
const CURVE_STEPS: f64 = 20.0;
/// Band that is fitted, Hz. Beyond it filters of decks and sound cards begin.
const BAND_HZ: (f64, f64) = (20.0, 16_500.0);
/// Points less sure than this (k = 2) tell nothing, dB.
const WIDEST_DB: f64 = 1.6;
/// Probability from which a cause is stated.
const TOLD: f64 = 0.9;
/// Probability below which a cause is not mentioned.
const OPEN: f64 = 0.05;
/// Least probability of a cause that may be there as well.
const PERHAPS: f64 = 0.2;
/// Least share at any of [`SHARES_HZ`] that is worth a line, dB.
const WORTH_DB: f64 = 0.3;
/// The same for a low-pass, of which every head and amplifier has a little.
const WORTH_LOW_PASS_DB: f64 = 0.5;
/// A sweep's or a noise's point counts where no nearer kind has one within a sixth of an octave.
const NEAR: f64 = 1.122;
/// Losses by azimuth beyond this are next to the null: such points are left out, dB.
const DEEP_DB: f64 = -20.0;
/// Warnings with which a response is not the deck's own.
const SPOILT: [WarningId; 3] = [WarningId::GainRiding, WarningId::NoiseReductionOn, WarningId::WrongRecipe];

/// Causes of the reading's response, and what they leave unexplained. Both are empty where the circumstances or the
/// recording do not allow it, or fewer than six points were measured. `why` is left empty: room `judge` words it.
///
/// `medium` is what the tape's wavelengths and tracks follow from.
pub fn causes(reading: &Facts, medium: &Medium) -> (Vec<Cause>, Vec<Unexplained>) {
    let (mut causes, mut unexplained) = (Vec::new(), Vec::new());
    let told = &reading.circumstances;
    let spoilt = reading.warnings.iter().any(|warning| SPOILT.contains(&warning.id));
    let (Some(response), true) = (&reading.response, !spoilt && response_shows(told)) else {
        return (causes, unexplained);
    };
    let dead = dead_channels(&reading.capture, &reading.level);
    let channels = [0, 1].map(|side| OneChannel::new(reading, response, medium, side));
    let kinds = kinds(told);
    let mut models =
        [0, 1].map(|side| if dead[side] { vec![] } else { channels[side].question(&kinds).models() });
    couple(&mut models, &kinds);
    for (channel, models) in channels.iter().zip(models) {
        let Some((found, left)) = channel.judged(&kinds, models) else { continue };
        causes.extend(found);
        unexplained.push(left);
    }
    (causes, unexplained)
}

/// Whether the response is a deck's: not that of the sound card alone, nor of noise reduction, which changes it with the
/// level.
fn response_shows(told: &Circumstances) -> bool {
    match told.recorded_on {
        Some(RecordedOn::Loopback) => false,
        Some(RecordedOn::Injected) => true,
        _ => told.noise_reduction == NoiseReduction::Off,
    }
}

/// Whether the return shows the playback head's tilt: another head than this one recorded what it plays.
fn tilt_shows(told: &Circumstances) -> bool {
    match told.recorded_on {
        Some(RecordedOn::Injected | RecordedOn::Loopback) => false,
        Some(RecordedOn::ThisDeck) => told.heads == Some(Heads::Three),
        _ => true,
    }
}

/// Shapes that can be in this response.
fn kinds(told: &Circumstances) -> Vec<CauseKind> {
    let no_tape = told.recorded_on == Some(RecordedOn::Injected);
    let of_tape = [CauseKind::Spacing, CauseKind::Gap, CauseKind::HeadBump];
    FITTED.into_iter().filter(|kind| !(no_tape && of_tape.contains(kind))).collect()
}

/// One channel's response, azimuth subtracted.
struct OneChannel<'a> {
    side: usize,
    setting: Setting,
    reference: Place,
    azimuth: Option<Tilt<'a>>,
    points: Vec<Point>,
}

/// The measured tilt.
struct Tilt<'a> {
    delay_us: f64,
    uncertainty_us: f64,
    wander_us: f64,
    medium: &'a Medium,
}

impl<'a> Tilt<'a> {
    /// The tilt, where azimuth means something.
    fn of(reading: &Facts, medium: &'a Medium) -> Option<Self> {
        let shows = tilt_shows(&reading.circumstances);
        if !shows || reading.capture.mono || dead_channels(&reading.capture, &reading.level).contains(&true) {
            return None;
        }
        let azimuth = reading.azimuth.as_ref()?;
        Some(Self {
            delay_us: azimuth.delay_us.filter(|delay| delay.is_finite())?,
            uncertainty_us: azimuth.uncertainty_us.filter(|uncertainty| uncertainty.is_finite())?,
            wander_us: azimuth.wander_us_rms.unwrap_or(0.0),
            medium,
        })
    }

    /// Loss at `hz` of a delay of so much, dB.
    fn loss_db(&self, delay_us: f64, hz: f64) -> f64 {
        // A tilt that wanders loses as much as a steady one of the same mean square.
        let arcmin = self.medium.arcmin_from_delay_us(delay_us.hypot(self.wander_us));
        azimuth_loss_db(arcmin, self.medium.track_width_mm, hz, self.medium.speed_mm_s).max(-60.0)
    }

    /// Loss at `hz` re that at `reference_hz` and its expanded uncertainty, dB.
    fn share_db(&self, hz: f64, reference_hz: f64) -> (f64, f64) {
        let at = |delay_us: f64| self.loss_db(delay_us, hz) - self.loss_db(delay_us, reference_hz);
        let less = (self.delay_us.abs() - self.uncertainty_us).max(0.0);
        let more = self.delay_us.abs() + self.uncertainty_us;
        (at(self.delay_us), 0.5 * (at(more) - at(less)).abs())
    }
}

impl<'a> OneChannel<'a> {
    fn new(reading: &'a Facts, response: &Response, medium: &'a Medium, side: usize) -> Self {
        let nominal = match reading.circumstances.tape_type {
            None | Some(TapeType::I) => Equalisation::Us120,
            Some(_) => Equalisation::Us70,
        };
        // The deck on the bench does not see its own speed error; of another recording it sees frequencies moved.
        let ratio = reading.speed.as_ref().map_or(1.0, |speed| 1.0 + speed.error_percent / 100.0);
        let place = |hz: f64| Place { programme_hz: hz, seen_hz: hz * ratio };
        let reference = place(response.reference_hz);
        let azimuth = Tilt::of(reading, medium);
        let points = gathered(response, side)
            .into_iter()
            .filter_map(|(hz, db, sigma_db)| {
                let (tilt_db, tilt_uncertainty_db) = azimuth
                    .as_ref()
                    .map_or((0.0, 0.0), |azimuth| azimuth.share_db(hz, response.reference_hz));
                (tilt_db > DEEP_DB).then(|| Point {
                    place: place(hz),
                    db: db - tilt_db,
                    sigma_db,
                    shared_db: 0.5 * tilt_uncertainty_db,
                })
            })
            .collect();
        let setting = Setting {
            speed_mm_s: medium.speed_mm_s,
            nominal_us: nominal.high_time_constant_us(),
            digital_hz: Some(reading.capture.rate_hz),
        };
        Self { side, setting, reference, azimuth, points }
    }

    fn question<'b>(&'b self, kinds: &'b [CauseKind]) -> Question<'b> {
        Question { points: &self.points, reference: self.reference, kinds, setting: &self.setting }
    }

    fn judged(&self, kinds: &[CauseKind], models: Vec<Model>) -> Option<(Vec<Cause>, Unexplained)> {
        let verdicts = self.question(kinds).verdicts(models)?;
        let mut causes: Vec<Cause> = self.azimuth_cause().into_iter().collect();
        let mut perhaps = Vec::new();
        for treble in [true, false] {
            let side: Vec<&KindVerdict> =
                verdicts.kinds.iter().filter(|verdict| verdict.kind.is_treble() == treble).collect();
            let told = side.iter().filter(|verdict| verdict.probability >= TOLD);
            causes.extend(told.filter_map(|verdict| self.told(&verdicts, verdict)));
            let mut open: Vec<&KindVerdict> = side
                .into_iter()
                .filter(|verdict| verdict.probability >= OPEN && verdict.probability < TOLD)
                .collect();
            open.sort_by(|a, b| b.probability.total_cmp(&a.probability));
            match self.joint(&verdicts, &open) {
                Some(cause) => causes.push(cause),
                None => {
                    perhaps.extend(open.into_iter().filter(|open| open.probability >= PERHAPS).map(instead))
                }
            }
        }
        if causes.is_empty() {
            causes.push(self.cause(CauseKind::None, vec![]));
        }
        let left_db: Vec<[f64; 2]> = self
            .points
            .iter()
            .zip(&verdicts.explained_db)
            .map(|(point, explained)| [point.place.programme_hz, point.db - explained])
            .collect();
        let most = left_db.iter().max_by(|a, b| a[1].abs().total_cmp(&b[1].abs())).copied()?;
        for cause in causes.iter_mut().filter(|cause| cause.cause == CauseKind::LowPass) {
            cause.digital = verdicts.digital > 0.5;
        }
        let unexplained = Unexplained {
            channel: Channel::SIDES[self.side],
            ripple_db: verdicts.ripple_db,
            most_hz: most[0],
            points: left_db.len() as u32,
            left_db,
            perhaps,
        };
        Some((causes, unexplained))
    }

    fn cause(&self, kind: CauseKind, shares_db: Vec<[f64; 3]>) -> Cause {
        Cause {
            channel: Channel::SIDES[self.side],
            cause: kind,
            value: None,
            uncertainty: None,
            unit: unit(kind),
            height_db: None,
            digital: false,
            second_hz: None,
            shares_db,
            curve_db: vec![],
            probability: None,
            instead: vec![],
            why: String::new(),
        }
    }

    fn azimuth_cause(&self) -> Option<Cause> {
        let azimuth = self.azimuth.as_ref()?;
        let shares = self.shares(|hz| azimuth.share_db(hz, self.reference.programme_hz));
        let mut cause = worth(self.cause(CauseKind::Azimuth, shares))?;
        cause.value = Some(azimuth.delay_us);
        cause.uncertainty = Some(azimuth.uncertainty_us);
        cause.curve_db = self.curve(|hz| azimuth.share_db(hz, self.reference.programme_hz).0);
        Some(cause)
    }

    /// A cause that the evidence states.
    fn told(&self, verdicts: &Verdicts, verdict: &KindVerdict) -> Option<Cause> {
        let mut cause = worth(self.cause(verdict.kind, self.fitted_shares(verdicts, &[verdict.kind])))?;
        cause.curve_db = self.fitted_curve(verdicts, &[verdict.kind]);
        let (value, sigma) = *verdict.sizes.first()?;
        cause.value = Some(value);
        cause.uncertainty = Some(2.0 * sigma);
        cause.probability = Some(verdict.probability);
        let second = verdict.sizes.get(1).map(|size| size.0);
        match verdict.kind {
            CauseKind::HeadBump => cause.height_db = second,
            CauseKind::Equaliser => {
                // Its first size is a ratio.
                cause.height_db = Some(20.0 * value.log10());
                (cause.value, cause.uncertainty) = (second, verdict.sizes.get(1).map(|size| 2.0 * size.1));
            }
            CauseKind::LowPass => {
                let peak = second.and_then(|resonance_hz| low_pass_peak(value, resonance_hz));
                cause.height_db = peak.map(|peak| peak.0).filter(|height_db| *height_db >= WORTH_DB);
                if cause.height_db.is_some() {
                    // A corner means little there.
                    (cause.value, cause.uncertainty) =
                        (second, verdict.sizes.get(1).map(|size| 2.0 * size.1));
                }
                if let (Some(hz), Some(rate_hz)) = (cause.value, self.setting.digital_hz)
                    && verdicts.digital > 0.5
                {
                    let real_hz = unwarped_hz(hz, rate_hz);
                    cause.uncertainty = cause.uncertainty.map(|uncertainty| uncertainty * real_hz / hz);
                    cause.value = Some(real_hz);
                }
            }
            CauseKind::Coupling => cause.second_hz = second.filter(|hz| *hz > 0.4 * value),
            _ => {}
        }
        Some(cause)
    }

    /// Causes of which one at least is there, the likeliest first.
    fn joint(&self, verdicts: &Verdicts, open: &[&KindVerdict]) -> Option<Cause> {
        let kinds: Vec<CauseKind> = open.iter().map(|verdict| verdict.kind).collect();
        let (first, others) = open.split_first()?;
        let probability = verdicts.probability_of_any(&kinds);
        if probability < TOLD || others.is_empty() {
            return None;
        }
        let mut cause = worth(self.cause(first.kind, self.fitted_shares(verdicts, &kinds)))?;
        cause.curve_db = self.fitted_curve(verdicts, &kinds);
        cause.probability = Some(probability);
        cause.instead = open.iter().map(|verdict| instead(verdict)).collect();
        Some(cause)
    }

    fn fitted_shares(&self, verdicts: &Verdicts, kinds: &[CauseKind]) -> Vec<[f64; 3]> {
        self.shares(|hz| {
            let (db, sigma_db) = verdicts.share_db(kinds, self.place(hz), self.reference, &self.setting);
            (db, 2.0 * sigma_db)
        })
    }

    fn fitted_curve(&self, verdicts: &Verdicts, kinds: &[CauseKind]) -> Vec<[f64; 2]> {
        self.curve(|hz| verdicts.share_db(kinds, self.place(hz), self.reference, &self.setting).0)
    }

    fn place(&self, hz: f64) -> Place {
        Place { programme_hz: hz, seen_hz: hz * self.reference.seen_hz / self.reference.programme_hz }
    }

    /// Lowest and highest frequency that was measured, Hz.
    fn measured_hz(&self) -> (f64, f64) {
        let measured = self.points.iter().map(|point| point.place.programme_hz);
        measured.fold((f64::INFINITY, 0f64), |(low, high), hz| (low.min(hz), high.max(hz)))
    }

    /// What a cause does from the lowest to the highest point measured.
    fn curve(&self, share_db: impl Fn(f64) -> f64) -> Vec<[f64; 2]> {
        let (low, high) = self.measured_hz();
        if !(low > 0.0 && high > low && low.is_finite()) {
            return vec![];
        }
        let step = |hz: f64| CURVE_STEPS * hz.log10();
        // Whole steps strictly between the ends, which stand for themselves.
        let between = (step(low).floor() as i32 + 1)..(step(high).ceil() as i32);
        let hertz = between.map(|k| 10f64.powf(f64::from(k) / CURVE_STEPS));
        let all = std::iter::once(low).chain(hertz).chain(std::iter::once(high));
        all.map(|hz| [hz, share_db(hz)]).collect()
    }

    /// Shares at those frequencies that were measured, or lie next to what was.
    fn shares(&self, share_db: impl Fn(f64) -> (f64, f64)) -> Vec<[f64; 3]> {
        let (low, high) = self.measured_hz();
        SHARES_HZ
            .into_iter()
            .filter(|&hz| hz > low / 1.2 && hz < high * 1.2)
            .map(|hz| {
                let (db, uncertainty_db) = share_db(hz);
                [hz, db, uncertainty_db]
            })
            .collect()
    }
}

fn worth(cause: Cause) -> Option<Cause> {
    let least_db = if cause.cause == CauseKind::LowPass { WORTH_LOW_PASS_DB } else { WORTH_DB };
    cause.shares_db.iter().any(|share| share[1].abs() >= least_db).then_some(cause)
}

fn instead(verdict: &KindVerdict) -> Instead {
    Instead {
        cause: verdict.kind,
        value: verdict.sizes.get(usize::from(verdict.kind == CauseKind::Equaliser)).map(|size| size.0),
        unit: unit(verdict.kind),
        probability: verdict.probability,
    }
}

fn unit(kind: CauseKind) -> Unit {
    match kind {
        CauseKind::Azimuth | CauseKind::TimeConstant => Unit::Us,
        CauseKind::Spacing | CauseKind::Gap => Unit::Um,
        CauseKind::LowPass | CauseKind::Equaliser | CauseKind::Coupling | CauseKind::HeadBump => Unit::Hz,
        CauseKind::None => Unit::None,
    }
}

/// (Hz, dB, standard uncertainty in dB) of one channel: steps (with what sweep and noise say there), and sweep and noise where
/// there is no step, by rising frequency.
fn gathered(response: &Response, side: usize) -> Vec<(f64, f64, f64)> {
    let sure = |rows: &[ResponsePoint]| -> Vec<(f64, f64, f64)> {
        rows.iter()
            .filter(|row| row.hz >= BAND_HZ.0 && row.hz <= BAND_HZ.1)
            .filter_map(|row| Some((row.hz, row.db[side]?, row.uncertainty_db[side]?)))
            .filter(|(_, db, uncertainty)| db.is_finite() && *uncertainty <= WIDEST_DB)
            .map(|(hz, db, uncertainty)| (hz, db, 0.5 * uncertainty))
            .collect()
    };
    let tones = if response.combined.is_empty() { &response.steps } else { &response.combined };
    let kinds = [tones, &response.sweep, &response.noise].map(|rows| sure(rows));
    let mut all = kinds[0].clone();
    widen_what_disagrees(&mut all, &kinds[1]);
    for more in &kinds[1..] {
        let known: Vec<f64> = all.iter().map(|row| row.0).collect();
        let far = |hz: f64| known.iter().all(|known| (hz / known).max(known / hz) > NEAR);
        all.extend(more.iter().copied().filter(|row| far(row.0)));
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all
}

/// A step that the sweep contradicts (a dropout, a disturbance) is worth as little as they are apart.
fn widen_what_disagrees(steps: &mut [(f64, f64, f64)], sweep: &[(f64, f64, f64)]) {
    for (hz, db, sigma_db) in steps {
        let Some(pair) = sweep.windows(2).find(|pair| pair[0].0 <= *hz && pair[1].0 >= *hz) else { continue };
        let share = (*hz / pair[0].0).ln() / (pair[1].0 / pair[0].0).ln();
        let swept_db = pair[0].1 + share * (pair[1].1 - pair[0].1);
        let apart_db = (*db - swept_db).abs();
        if apart_db > 0.3 + 3.0 * sigma_db.hypot(pair[0].2.max(pair[1].2)) {
            *sigma_db = sigma_db.max(0.5 * apart_db);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Meaning, Quantity, meaning};

    #[test]
    fn causes_are_sought_where_the_table_of_meanings_says_anything() {
        use RecordedOn as On;
        let origins = [On::Calibrated, On::House, On::OtherDeck, On::ThisDeck, On::Injected, On::Loopback];
        for recorded_on in origins.into_iter().map(Some).chain([None]) {
            for heads in [None, Some(Heads::Two), Some(Heads::Three)] {
                for noise_reduction in [NoiseReduction::Off, NoiseReduction::On] {
                    let told =
                        Circumstances { recorded_on, heads, noise_reduction, ..Circumstances::default() };
                    let means = |quantity| !matches!(meaning(quantity, &told), Meaning::CannotTell { .. });
                    assert_eq!(tilt_shows(&told), means(Quantity::Azimuth), "{told:?}");
                    let response = means(Quantity::PlaybackResponse) && recorded_on != Some(On::Loopback);
                    assert_eq!(response_shows(&told), response, "{told:?}");
                }
            }
        }
    }
}
