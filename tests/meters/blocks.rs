//! Any cut of the samples into blocks gives the same figures to the last bit.

use super::bench::{RETURN, TIMELINE};
use crate::{effort, signals};
use deckproof::internals::capture::{
    Alignment, CaptureError, ChirpFinder, HealthMeter, InMemory, Source, assemble, scan,
};
use deckproof::internals::measure::{
    DistortionMeter, ErasingMeter, FlutterMeter, FlutterPlan, LeakagePlan, MeasureOptions, Meter, NoiseMeter,
    SeparationMeter, SweepMeter, SweepPlace, ToneMeter, TwinToneMeter, measure,
};
use deckproof::internals::programme::slate::{Side, Slate};
use deckproof::internals::signal::baseband::Baseband;
use deckproof::internals::signal::fir::low_pass;
use deckproof::internals::signal::overlap_save::{OverlapSave, Plan};
use deckproof::internals::signal::spectrum::Welch;
use deckproof::internals::trade::Medium;
use deckproof::reading::FileClock;
use proptest::prelude::*;
use std::f64::consts::TAU;
use std::sync::LazyLock;

/// Sizes of blocks, repeated until the samples are used up: none, single samples, odd ones, whole seconds.
fn cuts() -> impl Strategy<Value = Vec<usize>> {
    let size = prop_oneof![0usize..4, 4usize..2000, Just(16_384usize), 2000usize..60_000];
    prop::collection::vec(size, 1..8)
        .prop_filter("some block holds a sample", |cuts| cuts.iter().any(|&n| n > 0))
}

/// Start and end of each block in `from..to`.
fn blocks(cuts: &[usize], from: usize, to: usize) -> impl Iterator<Item = (usize, usize)> {
    let mut at = from;
    cuts.iter().cycle().map_while(move |size| {
        let start = at;
        at = (at + size).min(to);
        (start < to).then_some((start, at))
    })
}

/// A recording that hands on its samples in blocks of given sizes.
struct Cut<'a> {
    inner: &'a InMemory,
    cuts: &'a [usize],
}

impl Source for Cut<'_> {
    fn rate_hz(&self) -> f64 {
        self.inner.rate_hz
    }

    fn frames(&self) -> u64 {
        self.inner.frames()
    }

    fn read(&self, from: u64, to: u64, sink: &mut dyn FnMut([&[f64]; 2])) -> Result<(), CaptureError> {
        let to = to.min(self.frames());
        let channels = &self.inner.channels;
        for (start, end) in blocks(self.cuts, from.min(to) as usize, to as usize) {
            sink([&channels[0][start..end], &channels[1][start..end]]);
        }
        Ok(())
    }
}

/// All that is found and measured, printed: numbers are printed so that equal texts mean equal bits.
fn everything(source: &dyn Source) -> String {
    let scan = scan(source).unwrap();
    let slates = assemble(&scan.chirps, &[TIMELINE.code]);
    let duration_s = source.frames() as f64 / source.rate_hz();
    let alignment =
        Alignment::new(&slates, &TIMELINE, duration_s, scan.identical, FileClock::default()).unwrap();
    let options = MeasureOptions {
        reference_dbfs: -12.0,
        medium: Medium::COMPACT_CASSETTE,
        tops: [None; 2],
        step: 0.0,
        response_expected: true,
    };
    let measured = measure(source, &TIMELINE, &alignment, &options).unwrap();
    format!("{scan:#?}\n{alignment:#?}\n{measured:#?}")
}

/// Says where two printed results part: they are thousands of lines long.
fn assert_same(got: &str, want: &str, cuts: &[usize]) {
    if got != want {
        let parted = got.lines().zip(want.lines()).find(|(a, b)| a != b);
        panic!("blocks of {cuts:?}: {parted:?}, {} and {} lines", got.lines().count(), want.lines().count());
    }
}

static WHOLE: LazyLock<String> = LazyLock::new(|| everything(&*RETURN));

const COUNT: usize = 150_000;

/// Three seconds for the meters: a slate's beginning, a tone with flutter, a click and hiss, clipping.
static SAMPLES: LazyLock<[Vec<f64>; 2]> = LazyLock::new(|| {
    let slate = Slate { code: 0x2A51, index: 3 }.samples(48_000.0, Side::Both);
    let hiss = signals::noise(COUNT, 5);
    let left: Vec<f64> = (0..COUNT)
        .map(|n| {
            let t = n as f64 / 48_000.0;
            let tone = 0.3 * (TAU * 3150.0 * t + 2.0 * (TAU * 4.0 * t).sin()).sin();
            let chirp = slate.get(n).copied().unwrap_or(0.0);
            let click = if n == 70_001 { 0.5 } else { 0.0 };
            let plain = 0.3 * chirp + tone.clamp(-0.25, 0.25) + click + 0.001 * hiss[n];
            // The last second is clipped: clipping without hiss, at full scale and below.
            if n < 100_000 { plain } else { (1.2 * (TAU * 315.0 * t).sin()).clamp(-0.98, 1.0) }
        })
        .collect();
    let right = left.iter().rev().copied().collect();
    [left, right]
});

fn all_meters(cuts: &[usize]) -> Vec<(&'static str, String)> {
    all_meters_on(48_000.0, [&SAMPLES[0], &SAMPLES[1]], cuts)
}

/// Every streaming part's result on samples at `rate_hz`, by its name.
pub fn all_meters_on(rate_hz: f64, samples: [&[f64]; 2], cuts: &[usize]) -> Vec<(&'static str, String)> {
    let feed = |cuts: &[usize], sink: &mut dyn FnMut([&[f64]; 2])| {
        for (start, end) in blocks(cuts, 0, samples[0].len()) {
            sink([&samples[0][start..end], &samples[1][start..end]]);
        }
    };
    let mut found = Vec::new();

    let mut tone = ToneMeter::new(rate_hz, 3150.0).unwrap();
    feed(cuts, &mut |block| tone.feed(block));
    found.push(("tone", format!("{:#?}", tone.finish())));

    let mut flutter = FlutterMeter::new(
        rate_hz,
        FlutterPlan { programme_hz: 3150.0, expected_hz: 3160.0, clock: FileClock::default() },
    )
    .unwrap();
    feed(cuts, &mut |block| flutter.feed(block));
    found.push(("flutter", format!("{:#?}", flutter.finish())));

    let mut noise = NoiseMeter::new(rate_hz, 1.0).unwrap();
    feed(cuts, &mut |block| noise.feed(block));
    found.push(("noise", format!("{:#?}", noise.finish())));

    let place = SweepPlace { from_hz: 300.0, to_hz: 9000.0, ratio: 1.01, start_s: 0.1, length_s: 2.9 };
    let mut sweep = SweepMeter::new(rate_hz, place).unwrap();
    feed(cuts, &mut |block| sweep.feed(block));
    found.push(("sweep", format!("{:#?}", sweep.finish())));

    // Harmonics and products need room below half the rate.
    let hz = if rate_hz > 20_000.0 { 3150.0 } else { 1000.0 };
    let mut distortion = DistortionMeter::new(rate_hz, hz).unwrap();
    feed(cuts, &mut |block| distortion.feed(block));
    found.push(("distortion", format!("{:#?}", distortion.finish())));

    let mut twin = TwinToneMeter::new(rate_hz, [hz, 1.2 * hz]).unwrap();
    feed(cuts, &mut |block| twin.feed(block));
    found.push(("twin tone", format!("{:#?}", twin.finish())));

    let mut separation =
        SeparationMeter::new(rate_hz, LeakagePlan { expected_hz: 3150.0, driven: 1 }).unwrap();
    feed(cuts, &mut |block| separation.feed(block));
    found.push(("separation", format!("{:#?}", separation.finish())));

    let mut erasing = ErasingMeter::new(rate_hz, 3150.0).unwrap();
    feed(cuts, &mut |block| erasing.feed(block));
    found.push(("erasing", format!("{:#?}", erasing.finish())));

    let mut chirps = ChirpFinder::new(rate_hz);
    feed(cuts, &mut |block| chirps.feed(block[0]));
    found.push(("chirps", format!("{:#?}", chirps.finish())));

    let mut health = HealthMeter::default();
    feed(cuts, &mut |block| health.feed(block[0]));
    found.push(("health", format!("{:#?}", health.finish())));

    let mut welch = Welch::new(rate_hz, 4096);
    feed(cuts, &mut |block| welch.feed(block[0]));
    found.push(("welch", format!("{:#?}", welch.finish())));

    let mut band = Baseband::new(rate_hz, 3150.0, 300.0, 200.0);
    feed(cuts, &mut |block| band.feed(block[0]));
    found.push(("baseband", format!("{:#?}", band.finish())));

    let taps = low_pass(rate_hz, 900.0, 400.0, 80.0);
    let plan = Plan::new(rate_hz, 1000.0, 2600.0, taps.len());
    let mut save = OverlapSave::new(&plan, vec![plan.response(&taps), plan.response(&[0.5, 0.5])]);
    feed(cuts, &mut |block| save.feed(block[0]));
    save.flush();
    found.push(("overlap-save", format!("{:#?}\n{:#?}", save.output(0), save.output(1))));
    found
}

static WHOLE_METERS: LazyLock<Vec<(&'static str, String)>> = LazyLock::new(|| all_meters(&[COUNT]));

/// Printed results that say nothing would be equal for nothing.
#[test]
fn every_meter_has_something_to_say() {
    for (name, text) in WHOLE_METERS.iter() {
        assert!(!text.contains("clipped_samples: 0"), "{name}: {text}");
        assert!(!text.contains("None,\n)") && text.lines().count() > 2, "{name}: {text}");
    }
}

proptest! {
    #![proptest_config(effort::cases(12))]

    #[test]
    fn the_cut_changes_no_bit_of_any_meter(cuts in cuts()) {
        for ((name, got), (_, want)) in all_meters(&cuts).iter().zip(WHOLE_METERS.iter()) {
            assert_same(&format!("{name}\n{got}"), &format!("{name}\n{want}"), &cuts);
        }
    }
}

proptest! {
    #![proptest_config(effort::cases(10))]

    #[test]
    fn the_cut_changes_no_bit_of_a_whole_return(cuts in cuts()) {
        assert_same(&everything(&Cut { inner: &RETURN, cuts: &cuts }), &WHOLE, &cuts);
    }
}
