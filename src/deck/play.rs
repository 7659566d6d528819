//! The virtual deck itself: it pulls the programme, pushes the return, and holds little in between.

use super::azimuth::Skew;
use super::bias;
use super::capture_faults::Card;
use super::compander::{Compander, Law};
use super::crosstalk::Crosstalk;
use super::dropouts::GainAgainstTime;
use super::erased::erase;
use super::hiss::Noise;
use super::hum::Hum;
use super::injected::Injected;
use super::kernel::Kernel;
use super::lead_in::{self, LeadInSound};
use super::losses::{self, HALF_TAPS, Losses, Pass, Passes};
use super::lossy::Lossy;
use super::monitor::Source;
use super::noise_reduction::Compander as LeftOn;
use super::playback_filters::{Biquad, Series};
use super::print_through::PrintThrough;
use super::tape::{Curve, Saturator};
use super::technician::{Hands, Setting};
use super::turned::PlaybackTrimmers;
use super::warp::Transport;
use super::{BLOCK_FRAMES, DeckError, DeckFile, ratio_of_db};
use std::collections::VecDeque;

/// Frames of the programme that are pulled at a time.
const PULL_FRAMES: usize = 4096;

/// A deck with its tape and sound card, ready to play. The same file, seed and rate give the same return.
#[derive(Debug, Clone)]
pub struct VirtualDeck {
    pub(super) file: DeckFile,
    pub(super) seed: u64,
    pub(super) programme_rate_hz: f64,
}

impl VirtualDeck {
    /// The deck that `file` describes; `seed` fixes everything random; `programme_rate_hz` is the programme's sample
    /// rate, 32000 to 192000 Hz.
    ///
    /// # Errors
    /// [`DeckError`] if a number of the file or the rate is outside its range.
    pub fn new(file: &DeckFile, seed: u64, programme_rate_hz: f64) -> Result<Self, DeckError> {
        file.check("deck")?;
        if !(32_000.0..=192_000.0).contains(&programme_rate_hz) {
            return Err(DeckError::ProgrammeRate { rate_hz: programme_rate_hz });
        }
        Ok(Self { file: file.clone(), seed, programme_rate_hz })
    }

    /// Sample rate of the return, Hz: the capture's own, or the programme's.
    pub fn return_rate_hz(&self) -> f64 {
        self.file.capture.rate_hz.unwrap_or(self.programme_rate_hz)
    }

    /// Plays a programme and gives the number of frames of the return. Needs a few MiB, however long the programme.
    ///
    /// `source` gets two empty buffers and a number of frames; it pushes at most that many frames to each, left and right,
    /// and says how many; 0 is the end. Samples that are not finite count as 0. `sink` gets the return in blocks of
    /// any length above 0, left and right.
    ///
    /// # Errors
    /// What `sink` returned; nothing is asked of it afterwards.
    pub fn play<E>(
        &self,
        source: impl FnMut(&mut [Vec<f64>; 2], usize) -> usize,
        mut sink: impl FnMut(&[&[f64]; 2]) -> Result<(), E>,
    ) -> Result<u64, E> {
        let rate_hz = self.return_rate_hz();
        let transport = Transport::new(&self.file, self.seed);
        let monitor = Source::new(&self.file, self.programme_rate_hz, rate_hz);
        let mut tape = TapeSide::new(&self.file, self.seed, self.programme_rate_hz, source, monitor);
        let mut reader = Reader::new(&self.file, self.seed, self.programme_rate_hz, rate_hz);
        let mut playback = PlaybackSide::new(&self.file, self.seed, rate_hz, self.programme_rate_hz);
        let mut exit = Exit::new(&self.file, rate_hz);
        let mut block = [vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]];
        let mut first = 0i64;
        loop {
            reader.read(&transport, &mut tape, first, &mut block);
            if let Some(end) = tape.monitor.as_ref().map(|monitor| monitor.reach(first)) {
                tape.reach(end);
            }
            playback.run(&mut block, &reader.times_s, first, &transport, tape.monitor.as_ref());
            let late = playback.late as i64;
            let from = (late - first).clamp(0, BLOCK_FRAMES as i64) as usize;
            let end =
                reader.end.map_or(BLOCK_FRAMES as i64, |end| (end + late - first).min(BLOCK_FRAMES as i64));
            let to = end.max(from as i64) as usize;
            let [left, right] = &mut block;
            exit.push(&mut left[from..to], &mut right[from..to], &mut sink)?;
            first += BLOCK_FRAMES as i64;
            if reader.end.is_some_and(|end| first - late >= end) {
                exit.finish(&mut sink)?;
                return Ok(exit.sent);
            }
        }
    }
}

/// The recorded tape: made as far as the head needs it, forgotten behind it.
struct TapeSide<S> {
    source: S,
    monitor: Option<Source>,
    lead_in: Option<LeadInSound>,
    companders: [Option<LeftOn>; 2],
    record: [Series; 2],
    trimmers: Option<Trimmers>,
    /// Frames that have gone through the recording.
    recorded: u64,
    saturators: [Option<Saturator>; 2],
    prints: [Option<PrintThrough>; 2],
    /// Place on the tape of `samples[..][0]`, frames.
    start: i64,
    samples: [Vec<f64>; 2],
    buffers: [Vec<f64>; 2],
    pulled: u64,
    tail: u64,
    /// The deck, if stretches of the tape are erased.
    erased: Option<(DeckFile, f64)>,
    /// Length of what is on the tape, frames, once the source has ended.
    total: Option<u64>,
}

impl<S: FnMut(&mut [Vec<f64>; 2], usize) -> usize> TapeSide<S> {
    fn new(file: &DeckFile, seed: u64, rate_hz: f64, source: S, monitor: Option<Source>) -> Self {
        let saturators = [(); 2].map(|()| Saturator::new(file, rate_hz));
        let prints = [(); 2].map(|()| PrintThrough::new(file, rate_hz));
        let late = saturators[0].as_ref().map_or(0, |_| Saturator::LATE)
            + prints[0].as_ref().map_or(0, PrintThrough::late);
        Self {
            source,
            monitor,
            lead_in: LeadInSound::new(file, seed, rate_hz),
            companders: [(); 2].map(|()| LeftOn::record(file, rate_hz)),
            record: [0, 1].map(|channel| Series::record(file, channel, rate_hz)),
            trimmers: Trimmers::new(file, rate_hz),
            recorded: 0,
            saturators,
            prints,
            start: -(late as i64),
            samples: [Vec::new(), Vec::new()],
            buffers: [Vec::new(), Vec::new()],
            pulled: 0,
            tail: (file.capture.tail_s * rate_hz).round() as u64,
            erased: (!file.tape.erased.is_empty()).then(|| (file.clone(), rate_hz)),
            total: None,
        }
    }

    /// Makes the tape up to `end` (exclusive), with silence behind its end.
    fn reach(&mut self, end: i64) {
        while self.start + (self.samples[0].len() as i64) < end {
            self.pull();
            if let Some(monitor) = &mut self.monitor {
                monitor.feed(&self.buffers);
            }
            let first = self.recorded;
            self.recorded += self.buffers[0].len() as u64;
            for (channel, buffer) in self.buffers.iter_mut().enumerate() {
                if let Some(compander) = &mut self.companders[channel] {
                    compander.run(buffer);
                }
                let saturator = &mut self.saturators[channel];
                match &mut self.trimmers {
                    None => {
                        self.record[channel].run(buffer);
                        if let Some(saturator) = saturator {
                            saturator.run(buffer);
                        }
                    }
                    Some(trimmers) => {
                        trimmers.record(
                            channel,
                            buffer,
                            first,
                            &mut self.record[channel],
                            saturator.as_mut(),
                        );
                    }
                }
                if let Some(print) = &mut self.prints[channel] {
                    print.run(buffer);
                }
                if let Some((file, rate_hz)) = &self.erased {
                    let place = self.start + self.samples[channel].len() as i64;
                    erase(file, channel, *rate_hz, place, buffer);
                }
                self.samples[channel].extend_from_slice(buffer);
            }
        }
    }

    fn pull(&mut self) {
        self.buffers.iter_mut().for_each(Vec::clear);
        let mut count = 0;
        if let Some(lead_in) = &mut self.lead_in {
            count = lead_in.pull(&mut self.buffers, PULL_FRAMES);
        }
        if count == 0 && self.total.is_none() {
            self.lead_in = None;
            let said = (self.source)(&mut self.buffers, PULL_FRAMES);
            // A source that says one thing and does another is believed in the lesser.
            count = said.min(self.buffers[0].len()).min(self.buffers[1].len());
            if count == 0 {
                self.total = Some(self.pulled + self.tail);
            }
        }
        self.pulled += count as u64;
        let frames = if self.total.is_some() { PULL_FRAMES } else { count };
        for buffer in &mut self.buffers {
            buffer.truncate(count);
            buffer.resize(frames, 0.0);
            buffer.iter_mut().filter(|x| !x.is_finite()).for_each(|x| *x = 0.0);
        }
    }

    /// Forgets what lies before `place`.
    fn forget(&mut self, place: i64) {
        let gone = (place - self.start).clamp(0, self.samples[0].len() as i64);
        self.start += gone;
        self.samples.iter_mut().for_each(|samples| drop(samples.drain(..gone as usize)));
    }
}

/// Frames for which trimmers count as standing still.
const STILL_FRAMES: usize = 64;

/// The recording side under the technician's hands.
struct Trimmers {
    file: DeckFile,
    hands: Hands,
    rate_hz: f64,
    lead_s: f64,
    encoders: [Compander; 2],
    bias: [Biquad; 2],
    set: [Option<Setting>; 2],
}

impl Trimmers {
    fn new(file: &DeckFile, rate_hz: f64) -> Option<Self> {
        let hands = Hands::new(file);
        (!hands.idle()).then(|| Self {
            hands,
            rate_hz,
            lead_s: lead_s(file, rate_hz),
            encoders: [0, 1].map(|_| Compander::new(Law::encoder(file), rate_hz)),
            bias: [0, 1].map(|_| bias::section(0.0, rate_hz).0),
            set: [None; 2],
            file: file.clone(),
        })
    }

    /// Records a block that begins at frame `first` of all that is recorded.
    fn record(
        &mut self,
        channel: usize,
        block: &mut [f64],
        first: u64,
        record: &mut Series,
        mut saturator: Option<&mut Saturator>,
    ) {
        let mut at = first;
        for piece in block.chunks_mut(STILL_FRAMES) {
            let setting = self.hands.setting(channel, at as f64 / self.rate_hz - self.lead_s);
            at += piece.len() as u64;
            if setting.reducing {
                self.encoders[channel].encode(piece);
            }
            record.run(piece);
            let (section, gain) = bias::section(setting.bias_db, self.rate_hz);
            if self.set[channel] != Some(setting) {
                self.bias[channel].retune(&section);
                if let (Some(saturator), Some(saturation)) = (&mut saturator, &self.file.tape.saturation) {
                    let saturation = bias::saturation(saturation, setting.bias_db);
                    saturator.set_curve(Curve::new(&saturation, self.file.reference_dbfs));
                }
                self.set[channel] = Some(setting);
            }
            self.bias[channel].run(piece);
            let gain = gain * setting.record_ratio();
            piece.iter_mut().for_each(|x| *x *= gain);
            if let Some(saturator) = &mut saturator {
                saturator.run(piece);
            }
        }
    }
}

/// The head on the moving tape: times and places of a block, and what is read there.
struct Reader {
    kernel: Kernel,
    skew: Skew,
    hum: Hum,
    programme_rate_hz: f64,
    rate_hz: f64,
    times_s: Vec<f64>,
    places: [Vec<f64>; 2],
    /// Frame of the return at which the tape ends, once it is known.
    end: Option<i64>,
}

impl Reader {
    fn new(file: &DeckFile, seed: u64, programme_rate_hz: f64, rate_hz: f64) -> Self {
        Self {
            kernel: Kernel::new(programme_rate_hz, rate_hz),
            skew: Skew::new(file, seed),
            hum: Hum::recorded(file, seed),
            programme_rate_hz,
            rate_hz,
            times_s: vec![0.0; BLOCK_FRAMES],
            places: [vec![0.0; BLOCK_FRAMES], vec![0.0; BLOCK_FRAMES]],
            end: None,
        }
    }

    fn read<S: FnMut(&mut [Vec<f64>; 2], usize) -> usize>(
        &mut self,
        transport: &Transport,
        tape: &mut TapeSide<S>,
        first: i64,
        block: &mut [Vec<f64>; 2],
    ) {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 0..BLOCK_FRAMES {
            let t_s = (first + k as i64) as f64 / self.rate_hz;
            let place = transport.place_s(t_s) * self.programme_rate_hz;
            let half = self.skew.at_s(t_s) * self.programme_rate_hz / 2.0;
            self.times_s[k] = t_s;
            self.places[0][k] = place + half;
            self.places[1][k] = place - half;
            low = low.min(place - half.abs());
            high = high.max(place + half.abs());
        }
        let reach = self.kernel.half() as i64 + 2;
        tape.reach(high.ceil() as i64 + reach);
        if let (None, Some(total)) = (self.end, tape.total) {
            // A millionth of a frame absorbs the rounding of places that are whole numbers.
            let past = |k: &usize| (self.places[0][*k] + self.places[1][*k]) / 2.0 >= total as f64 - 1e-6;
            self.end = (0..BLOCK_FRAMES).find(past).map(|k| first + k as i64);
        }
        for ((out, samples), places) in block.iter_mut().zip(&tape.samples).zip(&self.places) {
            for (x, place) in out.iter_mut().zip(places) {
                *x = self.kernel.at(samples, place - tape.start as f64);
            }
        }
        let frames_per_s = self.programme_rate_hz;
        for (channel, out) in block.iter_mut().enumerate() {
            self.hum.add_at(channel, out, self.places[channel].iter().map(|place| place / frames_per_s));
        }
        // Wander of the azimuth may look back a little; 256 frames are more than its largest.
        tape.forget(low.floor() as i64 - reach - 256);
    }
}

/// The losses of a head whose screw, or whose tape's motor, is turned.
struct TurnedHead {
    file: DeckFile,
    passes: Passes,
    /// What the filters are made for.
    pass: Pass,
    rate_hz: f64,
}

impl TurnedHead {
    /// Lets the filters follow in a block that begins at frame `first` of the return.
    fn turn(&mut self, losses: &mut [Losses; 2], first: i64) {
        let end = first + (BLOCK_FRAMES - HALF_TAPS) as i64;
        let pass = self.passes.at(end as f64 / self.rate_hz);
        if pass != self.pass {
            for (channel, losses) in losses.iter_mut().enumerate() {
                losses.turn_to(&self.file, channel, self.rate_hz, pass);
            }
            self.pass = pass;
        }
    }
}

/// From the playback head to the deck's output.
struct PlaybackSide {
    gain: GainAgainstTime,
    modulation: [Option<Noise>; 2],
    hiss: [Option<Noise>; 2],
    /// What the technician does, the decoders, and the lead-in's length in s.
    hands: Option<(Hands, [Compander; 2], f64)>,
    losses: Option<[Losses; 2]>,
    turned: Option<TurnedHead>,
    trimmers: Option<PlaybackTrimmers>,
    injected: Option<Injected>,
    /// Length of the lead-in, s.
    lead_s: f64,
    series: [Series; 2],
    companders: [Option<LeftOn>; 2],
    amplifier: [Option<Noise>; 2],
    leak: Option<Crosstalk>,
    hum: Hum,
    sign: [f64; 2],
    swapped: bool,
    offset: [f64; 2],
    late: usize,
    true_step_s: f64,
}

impl PlaybackSide {
    fn new(file: &DeckFile, seed: u64, rate_hz: f64, programme_rate_hz: f64) -> Self {
        let passes = Passes::new(file);
        let hands = Hands::new(file);
        let decoders = || [0, 1].map(|channel| Compander::new(Law::decoder(file, channel), rate_hz));
        let hands = (!hands.idle()).then(|| (hands, decoders(), lead_s(file, programme_rate_hz)));
        let electronics = &file.electronics;
        let losses = losses::any(file)
            .then(|| [0, 1].map(|channel| Losses::new(file, channel, rate_hz, passes.at(0.0))));
        let inverted = |channel: usize| electronics.inverted.iter().any(|on| on.holds(channel));
        Self {
            gain: GainAgainstTime::new(file, seed),
            modulation: [0, 1].map(|channel| Noise::modulation(file, seed, channel, rate_hz)),
            hiss: [0, 1].map(|channel| Noise::hiss(file, seed, channel, rate_hz)),
            late: HALF_TAPS * (usize::from(losses.is_some()) + usize::from(file.injection.is_some())),
            turned: (losses.is_some() && !passes.idle()).then(|| TurnedHead {
                file: file.clone(),
                pass: passes.at(0.0),
                passes,
                rate_hz,
            }),
            trimmers: PlaybackTrimmers::new(file, rate_hz),
            losses,
            injected: Injected::new(file, rate_hz),
            lead_s: lead_s(file, programme_rate_hz),
            hands,
            series: [0, 1].map(|channel| Series::playback(file, channel, rate_hz)),
            companders: [(); 2].map(|()| LeftOn::playback(file, rate_hz)),
            amplifier: [0, 1].map(|channel| Noise::amplifier(file, seed, channel, rate_hz)),
            leak: Crosstalk::new(file, rate_hz),
            hum: Hum::new(file, seed),
            sign: [0, 1].map(|channel| if inverted(channel) { -1.0 } else { 1.0 }),
            swapped: electronics.swapped,
            offset: electronics.dc_offset.to_array(),
            true_step_s: 1.0 / (rate_hz * (1.0 + file.capture.clock_ppm * 1e-6)),
        }
    }

    fn run(
        &mut self,
        block: &mut [Vec<f64>; 2],
        times_s: &[f64],
        first: i64,
        transport: &Transport,
        monitor: Option<&Source>,
    ) {
        // Once a block: the technician waits between a switch and what sounds next.
        let programme_s = |lead_s: f64| transport.place_s(times_s[0]) - lead_s;
        if let (Some(turned), Some(losses)) = (&mut self.turned, &mut self.losses) {
            turned.turn(losses, first);
        }
        for (channel, samples) in block.iter_mut().enumerate() {
            if !self.gain.is_idle() {
                self.gain.run(channel, samples, times_s);
            }
            if let Some(noise) = &mut self.modulation[channel] {
                noise.modulate(samples);
            }
            match (&mut self.hiss[channel], &self.hands) {
                (None, _) => {}
                (Some(noise), None) => noise.add(samples),
                (Some(noise), Some((hands, _, lead_s))) => {
                    let bias_db = hands.setting(channel, programme_s(*lead_s)).bias_db;
                    noise.add_times(samples, ratio_of_db(bias::hiss_db(bias_db)));
                }
            }
            if let Some(losses) = &mut self.losses {
                losses[channel].run(samples);
            }
        }
        if let Some(injected) = &mut self.injected {
            injected.run(block, transport.place_s(times_s[0]) - self.lead_s);
        }
        for (channel, samples) in block.iter_mut().enumerate() {
            self.series[channel].run(samples);
            if let Some(trimmers) = &mut self.trimmers {
                trimmers.run(channel, samples, first - self.late as i64);
            }
            if let Some(compander) = &mut self.companders[channel] {
                compander.run(samples);
            }
            if let Some(monitor) = monitor {
                monitor.replace(channel, samples, first - self.late as i64);
            }
            if let Some(noise) = &mut self.amplifier[channel] {
                noise.add(samples);
            }
            if let Some((hands, decoders, lead_s)) = &mut self.hands
                && hands.setting(channel, programme_s(*lead_s)).reducing
            {
                decoders[channel].decode(samples);
            }
        }
        if let Some(leak) = &mut self.leak {
            leak.run(block);
        }
        let start_s = (first - self.late as i64) as f64 * self.true_step_s;
        self.hum.add(block, start_s, self.true_step_s);
        for (channel, samples) in block.iter_mut().enumerate() {
            let (sign, offset) = (self.sign[channel], self.offset[channel]);
            if sign < 0.0 || offset != 0.0 {
                samples.iter_mut().for_each(|x| *x = sign * *x + offset);
            }
        }
        if self.swapped {
            block.swap(0, 1);
        }
    }
}

/// The sound card, and the cutting of the ends.
struct Exit {
    card: Card,
    lossy: [Option<Lossy>; 2],
    coded: [Vec<f64>; 2],
    cut_start: usize,
    cut_end: usize,
    held: [VecDeque<f64>; 2],
    out: [Vec<f64>; 2],
    sent: u64,
}

impl Exit {
    fn new(file: &DeckFile, rate_hz: f64) -> Self {
        Self {
            card: Card::new(file, rate_hz),
            lossy: [(); 2].map(|()| Lossy::new(file, rate_hz)),
            coded: [Vec::new(), Vec::new()],
            cut_start: (file.capture.cut_start_s * rate_hz).round() as usize,
            cut_end: (file.capture.cut_end_s * rate_hz).round() as usize,
            held: [VecDeque::new(), VecDeque::new()],
            out: [Vec::new(), Vec::new()],
            sent: 0,
        }
    }

    fn push<E>(
        &mut self,
        left: &mut [f64],
        right: &mut [f64],
        sink: &mut impl FnMut(&[&[f64]; 2]) -> Result<(), E>,
    ) -> Result<(), E> {
        self.card.run(left, right);
        let cut = self.cut_start.min(left.len());
        self.cut_start -= cut;
        let (left, right) = (&left[cut..], &right[cut..]);
        if self.cut_end == 0 {
            return self.send(left, right, sink);
        }
        self.held[0].extend(left);
        self.held[1].extend(right);
        let ready = self.held[0].len().saturating_sub(self.cut_end);
        let mut out = std::mem::take(&mut self.out);
        for (out, held) in out.iter_mut().zip(&mut self.held) {
            out.clear();
            out.extend(held.drain(..ready));
        }
        let sent = self.send(&out[0], &out[1], sink);
        self.out = out;
        sent
    }

    fn send<E>(
        &mut self,
        left: &[f64],
        right: &[f64],
        sink: &mut impl FnMut(&[&[f64]; 2]) -> Result<(), E>,
    ) -> Result<(), E> {
        let [Some(one), Some(other)] = &mut self.lossy else {
            return pass(&mut self.sent, left, right, sink);
        };
        self.coded.iter_mut().for_each(Vec::clear);
        one.push(left, &mut self.coded[0]);
        other.push(right, &mut self.coded[1]);
        pass(&mut self.sent, &self.coded[0], &self.coded[1], sink)
    }

    /// What the codec still holds at the end.
    fn finish<E>(&mut self, sink: &mut impl FnMut(&[&[f64]; 2]) -> Result<(), E>) -> Result<(), E> {
        let [Some(one), Some(other)] = &mut self.lossy else { return Ok(()) };
        self.coded.iter_mut().for_each(Vec::clear);
        one.flush(&mut self.coded[0]);
        other.flush(&mut self.coded[1]);
        pass(&mut self.sent, &self.coded[0], &self.coded[1], sink)
    }
}

fn pass<E>(
    sent: &mut u64,
    left: &[f64],
    right: &[f64],
    sink: &mut impl FnMut(&[&[f64]; 2]) -> Result<(), E>,
) -> Result<(), E> {
    if left.is_empty() {
        return Ok(());
    }
    *sent += left.len() as u64;
    sink(&[left, right])
}

/// Seconds of the programme's clock before the programme begins.
pub(crate) fn lead_s(file: &DeckFile, programme_rate_hz: f64) -> f64 {
    lead_in::frames(file, programme_rate_hz) as f64 / programme_rate_hz
}
