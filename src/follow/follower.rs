//! The follower: sound goes in as it comes, a picture comes out as often as somebody looks.

use super::azimuth::AzimuthView;
use super::bias::BiasView;
use super::hearing::{Hearing, SteadyTone};
use super::level::LevelView;
use super::noise::NoiseView;
use super::options::FollowOptions;
use super::place::Place;
use super::response::ResponseView;
use super::ring::Ring;
use super::speed::SpeedView;
use super::tones::{OnCard, Tones, is_same};
use crate::capture::HealthMeter;
use crate::judge::{Meaning, Quantity, meaning};
use crate::programme::{PlacedPart, Serves, Signal};
use crate::reading::{Figure, HeardNow, LIVE_FORMAT, Meters, Picture, ProgrammePlace, Shown, Sound, View};

/// Lengths that the level strip looks back, s: rms, peak, clipping.
const RMS_S: f64 = 0.3;
const PEAK_S: f64 = 1.0;
const CLIPPED_S: f64 = 2.0;
/// A view that follows the signal changes once another suits it for so long, s.
const CHANGES_AFTER_S: f64 = 1.0;
/// Tones are read so often, s: as often as pictures are taken.
const READ_EVERY_S: f64 = 1.0 / 15.0;
/// A slate is known as such so long after it began, s.
const SLATE_KNOWN_S: f64 = 1.3;
/// Lines at the mains frequency that are weaker are hum, dBFS, also where nothing louder was heard.
const HUM_DBFS: f64 = -40.0;
/// Channels of a tape differ by more than this share of their power, 65 dB: each has its own hiss.
const ONE_SIGNAL: f64 = 3e-7;
/// Behind the last chirp of a slate the sound is what it will be after this, s.
const SETTLES_S: f64 = 0.1;
/// What is wrong is said for so long, s.
const SAID_S: f64 = 8.0;
/// Lines of what is wrong at most.
const MOST_SAID: usize = 3;
/// Tones that were heard within this are taken as the source, or held, s: a round of tones in turn.
const TAKEN_S: f64 = 12.0;

/// Follows a stereo signal.
pub struct Follower {
    options: FollowOptions,
    ring: Ring,
    hearing: Hearing,
    place: Place,
    tones: Tones,
    /// Left and right come in crossed; they are put right.
    crossed: bool,
    view: View,
    asked: bool,
    /// What suits the signal, and since when, s.
    suits: (View, f64),
    /// When tones were read last, s.
    read_at_s: f64,
    /// The last slate was over then, s.
    slate_until_s: f64,
    azimuth: AzimuthView,
    level: LevelView,
    bias: BiasView,
    speed: SpeedView,
    response: ResponseView,
    noise: NoiseView,
    /// What is wrong and until when it is said, s; the newest last.
    troubles: Vec<(f64, String)>,
    done: Option<(f64, String)>,
}

impl Follower {
    /// For samples at `rate_hz`.
    pub fn new(rate_hz: f64, options: FollowOptions) -> Self {
        let view = options.view.unwrap_or(View::Level);
        Self {
            ring: Ring::new(rate_hz),
            hearing: Hearing::new(rate_hz),
            place: Place::new(rate_hz, options.recipe.clone()),
            tones: Tones::default(),
            crossed: false,
            view,
            asked: options.view.is_some(),
            suits: (view, 0.0),
            read_at_s: 0.0,
            slate_until_s: 0.0,
            azimuth: AzimuthView::default(),
            level: LevelView::default(),
            bias: BiasView::default(),
            speed: SpeedView::default(),
            response: ResponseView::default(),
            noise: NoiseView::default(),
            troubles: Vec::new(),
            done: None,
            options,
        }
    }

    /// Time of the newest sample, s since the first.
    pub fn now_s(&self) -> f64 {
        self.ring.at_s(self.ring.count())
    }

    /// Feeds a block `[left, right]` of sound numbers (no NaN).
    pub fn feed(&mut self, block: [&[f64]; 2]) {
        let end_s = self.now_s() + block[0].len() as f64 / self.ring.rate_hz();
        let slate = self.place.feed(block, end_s);
        if slate {
            self.wired();
        }
        let block = if self.crossed { [block[1], block[0]] } else { block };
        self.ring.feed(block);
        if let Some(ratio) = self.place.true_rate().filter(|_| slate) {
            return self.begin_at(ratio * self.ring.rate_hz());
        }
        self.hearing.listen(&self.ring);
        if end_s >= self.read_at_s + READ_EVERY_S {
            self.read_at_s = end_s;
            self.read_tones();
            self.bias.listen(&mut self.ring, self.hearing.tones());
        }
    }

    /// Begins anew at another sample rate, with the sound that is still there.
    fn begin_at(&mut self, rate_hz: f64) {
        let asked = self.asked.then_some(self.view);
        let mut anew = Self::new(rate_hz, FollowOptions { view: asked, ..self.options.clone() });
        let (from, to, crossed) = (self.ring.oldest(), self.ring.count(), self.crossed);
        self.ring.read(from, to, &mut |block| {
            anew.feed(if crossed { [block[1], block[0]] } else { block });
        });
        anew.trouble(&format!(
            "The rate is not {:.0} Hz: the slate fits {rate_hz:.0} Hz, which is taken. Set the recorder right.",
            self.ring.rate_hz()
        ));
        *self = anew;
    }

    /// Takes what a slate says of the wiring.
    fn wired(&mut self) {
        let Some(wiring) = self.place.wiring() else { return };
        if wiring.swapped != self.crossed {
            self.crossed = wiring.swapped;
            self.tones = Tones::default();
        }
        if wiring.swapped {
            self.trouble("Left and right are crossed on the way; they are put right here. Check the leads.");
        }
        if wiring.inverted[0] != wiring.inverted[1] {
            self.trouble("The channels are of opposite polarity. Check the leads.");
        }
        for (dead, side) in wiring.dead.into_iter().zip(["left", "right"]) {
            if dead {
                self.trouble(&format!("Nothing on the {side} channel. Check the lead."));
            }
        }
    }

    /// Says what is wrong for some seconds.
    pub fn trouble(&mut self, words: &str) {
        let until_s = self.now_s() + SAID_S;
        self.troubles.retain(|(_, said)| said != words);
        self.troubles.push((until_s, words.to_owned()));
    }

    /// Says what was done by a key.
    pub fn did(&mut self, words: &str) {
        self.done = Some((self.now_s() + SAID_S, words.to_owned()));
    }

    /// Shows a view; `None`: the view follows the signal.
    pub fn show(&mut self, view: Option<View>) {
        self.asked = view.is_some();
        self.view = view.unwrap_or(self.suits.0);
    }

    /// Takes what plays now as the source: from then on tape minus source.
    pub fn take_source(&mut self) {
        let now_s = self.now_s();
        let tones = self.tones.take_source(now_s, TAKEN_S);
        self.level.source_dbfs = self.meters().dbfs;
        let points = match self.view {
            View::Response => self.response.take_source(&self.tones, &self.place, now_s, &self.options),
            _ => 0,
        };
        self.did(&match (points, tones) {
            (0, 0) => {
                "Level taken as the source. Switch to TAPE: levels are now tape minus source.".to_owned()
            }
            (0, 1) => "This tone is the source. Switch to TAPE: levels are now tape minus source.".to_owned(),
            (0, count) => {
                format!("{count} tones are the source. Switch to TAPE: levels are now tape minus source.")
            }
            _ => "This curve is the source. Switch to TAPE: the curve is now tape minus source.".to_owned(),
        });
    }

    /// Holds level or curve, to compare with what follows.
    pub fn hold(&mut self) {
        let now_s = self.now_s();
        self.tones.hold(now_s, TAKEN_S);
        self.level.held_dbfs = self.meters().dbfs;
        self.response.hold(&self.tones, &self.place, now_s, &self.options);
        self.did("Held. What follows is compared with it.");
    }

    /// Forgets best places, highest levels, means and curves; what is held, and the source, stay.
    pub fn reset(&mut self) {
        self.tones.reset();
        self.azimuth.reset();
        self.bias.reset();
        self.speed.reset();
        self.response.reset();
        self.noise.reset();
        self.did("Begun anew: best places, peaks and means are forgotten.");
    }

    /// What is heard and shown now.
    pub fn picture(&mut self) -> Picture {
        let now_s = self.now_s();
        let meters = self.meters();
        self.choose_view(&meters);
        let sounding: Vec<SteadyTone> = self.hearing.tones().to_vec();
        // Chirps of a slate are even, and look like noise.
        let slate = self.place.slate_plays(now_s);
        let sound = if slate { Sound::Slate } else { self.hearing.sound() };
        // What follows begins behind the last of them.
        let sound = (sound, self.hearing.since().max(self.ring.sample(self.slate_until_s)));
        let options = &self.options;
        let (shown, figure) = match self.view {
            View::Azimuth if meters.one_signal => {
                let why =
                    "Both channels carry one signal, hiss included: record the deck in stereo.".to_owned();
                (Shown::Nothing { why }, None)
            }
            View::Azimuth => {
                let moving = matches!(sound.0, Sound::Music | Sound::Noise);
                self.azimuth.shown(&self.tones, moving, &mut self.ring, options)
            }
            View::Level => self.level.shown(&self.tones, &sounding, &meters, now_s, options),
            View::Bias => self.bias.shown(&self.tones, now_s, options),
            View::Speed => {
                let programme_hz =
                    sounding.first().and_then(|tone| self.tones.of(tone.hz)).and_then(|tone| tone.nominal_hz);
                self.speed.shown(&mut self.ring, &sounding, programme_hz, options)
            }
            View::Response => {
                let line = self.hearing.strongest();
                self.response.listen(&mut self.ring, sound, line, &self.place, options);
                self.response.shown(&self.tones, &self.place, now_s, options)
            }
            View::Noise => {
                // Who asks for it measures hiss and hum where nothing louder was heard as well.
                let silent = match sound.0 {
                    Sound::Silence => true,
                    Sound::Noise => self.asked,
                    Sound::Tone | Sound::AtOnce | Sound::Music => {
                        self.hearing.is_hum() && (self.asked || is_quiet(&meters))
                    }
                    _ => false,
                };
                let silent = silent.then_some(sound.1);
                self.noise.shown(&mut self.ring, silent, &self.tones, options)
            }
        };
        let troubles = self.said(now_s, &meters);
        self.done.take_if(|done| done.0 < now_s);
        Picture {
            format: LIVE_FORMAT.to_owned(),
            at_s: now_s,
            view: self.view,
            asked: self.asked,
            playing: self.playing(now_s),
            meters,
            figure: figure.filter(|_| !matches!(shown, Shown::Nothing { .. })).map(|f| self.judged(f)),
            shown,
            troubles,
            done: self.done.as_ref().map(|done| done.1.clone()),
        }
    }

    /// Reads every tone that sounds, and says what the programme knows of it.
    fn read_tones(&mut self) {
        let now_s = self.now_s();
        if self.place.slate_plays(now_s) {
            self.slate_until_s = self.place.chirped_until_s() + SETTLES_S;
            // Its chirps are no tones, whatever the frames saw in the first of them.
            self.tones.forget_since(now_s - SLATE_KNOWN_S);
            self.hearing.forget_since(self.ring.sample(now_s - SLATE_KNOWN_S));
            return;
        }
        for k in 0..self.hearing.tones().len() {
            let tone = self.hearing.tones()[k];
            let Some(heard) = self.tones.read(&mut self.ring, tone) else { continue };
            let part = self.place.tone_part(heard.newest.at_s - heard.newest.over_s / 2.0, heard.hz);
            (heard.programme_db, heard.nominal_hz) =
                part.map_or((None, None), |part| of_part(part, heard.hz));
            heard.card = (self.options.card.as_ref())
                .zip(heard.nominal_hz.zip(heard.programme_db))
                .map(|(card, (hz, programme_db))| OnCard::of(card, hz, programme_db, &self.options.medium));
            if part.is_some_and(|part| part.serves == Serves::Source) {
                heard.source_dbfs = heard.newest.dbfs;
            }
        }
    }

    /// Levels of the newest moment.
    fn meters(&mut self) -> Meters {
        let to = self.ring.count();
        let back = |ring: &Ring, seconds: f64| to.saturating_sub((seconds * ring.rate_hz()) as u64);
        let (rms_from, peak_from) = (back(&self.ring, RMS_S), back(&self.ring, PEAK_S));
        let mut health = [HealthMeter::default(), HealthMeter::default()];
        let (mut squares, mut peaks) = ([0.0f64; 2], [0.0f64; 2]);
        let (mut both, mut apart) = (0.0, 0.0);
        let mut at = back(&self.ring, CLIPPED_S).max(self.ring.oldest());
        self.ring.read(at, to, &mut |block| {
            let since = |from: u64| from.saturating_sub(at).min(block[0].len() as u64) as usize;
            for channel in 0..2 {
                health[channel].feed(block[channel]);
                let newest = &block[channel][since(peak_from)..];
                peaks[channel] = newest.iter().fold(peaks[channel], |peak, x| peak.max(x.abs()));
                squares[channel] += block[channel][since(rms_from)..].iter().map(|x| x * x).sum::<f64>();
            }
            for (left, right) in block[0].iter().zip(block[1]) {
                both += left * left + right * right;
                apart += (left - right) * (left - right);
            }
            at += block[0].len() as u64;
        });
        let count = (to - rms_from).max(1) as f64;
        // 0 dBFS is the rms of a full-scale sine.
        let rms = squares.map(|sum| 2.0 * sum / count);
        let [left, right] = health;
        Meters {
            dbfs: rms.map(|power| (power > 1e-14).then(|| 10.0 * power.log10())),
            peak_dbfs: peaks.map(|peak| (peak > 1e-7).then(|| 20.0 * peak.log10())),
            clipped: [left, right].map(|health| health.finish().clipped_samples > 0),
            one_signal: (both > 0.0 && apart < ONE_SIGNAL * both)
                || self.place.wiring().is_some_and(|wiring| wiring.mono),
        }
    }

    /// The view that suits what plays; `None` while nothing says.
    fn suiting(&self, meters: &Meters) -> Option<View> {
        let now_s = self.now_s();
        if let Some((part, _)) = self.place.part(now_s) {
            let by_part = match (&part.signal, part.serves) {
                (Signal::Slate { .. } | Signal::Pause { .. }, _) => return None,
                (Signal::Silence, _) => (self.hearing.sound() == Sound::Silence).then_some(View::Noise),
                (_, Serves::Flutter) => Some(View::Speed),
                (_, Serves::Azimuth) => Some(View::Azimuth),
                (_, Serves::Response) => Some(View::Response),
                (_, Serves::Bias | Serves::BiasSweep) => Some(View::Bias),
                (_, Serves::Level | Serves::Source) => Some(View::Level),
                _ => None,
            };
            if by_part.is_some() {
                return by_part;
            }
        }
        if self.hearing.is_hum() && is_quiet(meters) && !self.hearing.in_turn() {
            return Some(View::Noise);
        }
        let tones = self.hearing.tones();
        let highest_hz = tones.iter().map(|tone| tone.hz).fold(0.0, f64::max);
        match self.hearing.sound() {
            Sound::Tone if self.hearing.in_turn() => {
                let hz = self.hearing.in_turn_hz();
                let pair = hz.len() <= 4 && hz[0] < 1600.0 && hz[hz.len() - 1] > 6000.0;
                Some(if pair { View::Bias } else { View::Response })
            }
            Sound::Tone if (2900.0..3300.0).contains(&highest_hz) => Some(View::Speed),
            Sound::Tone | Sound::AtOnce if highest_hz > 5000.0 => Some(View::Azimuth),
            Sound::Tone | Sound::AtOnce | Sound::Music => Some(View::Level),
            Sound::Sweep | Sound::Noise => Some(View::Response),
            Sound::Silence => Some(View::Noise),
            _ => None,
        }
    }

    fn choose_view(&mut self, meters: &Meters) {
        let now_s = self.now_s();
        if let Some(view) = self.suiting(meters).filter(|view| *view != self.suits.0) {
            self.suits = (view, now_s);
        }
        if !self.asked && self.view != self.suits.0 && now_s - self.suits.1 >= CHANGES_AFTER_S {
            self.view = self.suits.0;
        }
    }

    fn playing(&self, now_s: f64) -> HeardNow {
        let mut hz: Vec<f64> = self.hearing.tones().iter().map(|tone| tone.hz).collect();
        hz.sort_by(f64::total_cmp);
        let sound = match self.hearing.sound() {
            _ if self.place.slate_plays(now_s) => Sound::Slate,
            Sound::Tone if self.hearing.in_turn() => {
                hz = self.hearing.in_turn_hz();
                Sound::InTurn
            }
            // They are over, and what comes next is not clear yet.
            Sound::Tone | Sound::AtOnce if hz.is_empty() => Sound::Unknown,
            sound => sound,
        };
        // In place of what the frames saw, what was measured.
        for hz in &mut hz {
            if let Some(tone) = self.tones.all.iter().find(|tone| is_same(tone.hz, *hz)) {
                *hz = tone.newest.hz;
            }
        }
        let programme = self.place.programme(now_s).zip(self.place.part(now_s));
        HeardNow {
            sound,
            hz: if sound == Sound::Slate { Vec::new() } else { hz },
            programme: programme.map(|((timeline, _), (part, until_s))| ProgrammePlace {
                recipe: timeline.name.clone(),
                part: part.id.clone(),
                purpose: part.purpose.clone(),
                left_s: (until_s - now_s).max(0.0),
            }),
        }
    }

    /// The figure without a verdict where the circumstances allow none.
    fn judged(&self, figure: Figure) -> Figure {
        match self.meaning() {
            Some(Meaning::CannotTell { .. }) => Figure { target: None, limit: None, verdict: None, ..figure },
            _ => figure,
        }
    }

    fn meaning(&self) -> Option<Meaning> {
        let told = &self.options.circumstances;
        let quantity = match self.view {
            View::Azimuth => Quantity::Azimuth,
            View::Speed => Quantity::SpeedError,
            View::Response => Quantity::PlaybackResponse,
            View::Noise => Quantity::Noise,
            View::Level | View::Bias => return None,
        };
        told.recorded_on.map(|_| meaning(quantity, told))
    }

    /// What is wrong now, the newest first.
    fn said(&mut self, now_s: f64, meters: &Meters) -> Vec<String> {
        self.troubles.retain(|(until_s, _)| *until_s >= now_s);
        let mut said: Vec<String> = Vec::new();
        match meters.clipped {
            [true, true] => {
                said.push("Clipped on both channels: turn the sound card's input down.".to_owned())
            }
            [true, false] => said.push("Clipped on the left channel: turn its input down.".to_owned()),
            [false, true] => said.push("Clipped on the right channel: turn its input down.".to_owned()),
            [false, false] => {}
        }
        // Speed is that of either; azimuth says it in place of a figure.
        if meters.one_signal && !matches!(self.view, View::Speed | View::Azimuth) {
            said.push("Both channels carry one signal.".to_owned());
        }
        said.extend(self.troubles.iter().rev().map(|(_, words)| words.clone()));
        if let Some(Meaning::CannotTell { because, .. }) = self.meaning() {
            said.push(format!("Cannot be judged here: {because}."));
        }
        if let Some(code) = self.place.stranger() {
            said.push(format!(
                "A programme that is not known here plays (code {code:04x}): name its recipe."
            ));
        }
        said.truncate(MOST_SAID);
        said
    }
}

/// Whether hum alone may be what is heard: test tones are louder.
fn is_quiet(meters: &Meters) -> bool {
    meters.dbfs.into_iter().flatten().all(|dbfs| dbfs < HUM_DBFS)
}

/// Level in the programme, dB, and frequency there, Hz, of the tone of `hz` in `part`.
fn of_part(part: &PlacedPart, hz: f64) -> (Option<f64>, Option<f64>) {
    match &part.signal {
        Signal::Tone { hz } => (Some(part.level_db), Some(*hz)),
        Signal::Chord { hz: all } => {
            let off = |a: f64| (hz / a - 1.0).abs();
            let nearest = all.iter().copied().min_by(|a, b| off(*a).total_cmp(&off(*b)));
            (Some(part.level_db - 20.0 * (all.len() as f64).log10()), nearest)
        }
        _ => (None, None),
    }
}
