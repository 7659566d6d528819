//! Following live: how much of one core each view takes, how late its figure is, and whether memory grows.
//!
//! `cargo bench --bench follow` prints them beside their targets. Load is the time of all that is done with a sound (feeding,
//! pictures, drawing) over its length, on one thread. Delay is measured from outside: the phase, or the level, of a tone steps,
//! and the picture that shows half of the step is late by half of what the figure averages, which is taken off.

use deckproof::internals::deck::{DeckFile, EXAMPLES, VirtualDeck};
use deckproof::internals::follow::{FollowOptions, Follower};
use deckproof::internals::programme::{Renderer, Timeline, find};
use deckproof::internals::show::live::screen_text;
use deckproof::reading::{Picture, Shown, View};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::TAU;
use std::hint::black_box;
use std::process::Command;
use std::time::Instant;

const RATE_HZ: u32 = 48_000;
const PICTURES_PER_S: f64 = 15.0;
/// Most of one core, percent.
const LOAD_PERCENT: f64 = 15.0;
/// Most delay of level and phase beside what the figure averages, ms.
const DELAY_MS: f64 = 150.0;
/// Stretches that a figure of 10 kHz is averaged over, s.
const AVERAGED_S: f64 = 0.3;
/// Most that memory grows from five minutes to an hour, MiB.
const GROWTH_MIB: f64 = 2.0;
/// Tells a process of this bench that it is there to be measured.
const MEMORY: &str = "DECKPROOF_BENCH_MEMORY";

type Sound = [Vec<f64>; 2];

fn returned(recipe: &str, deck: &str) -> Sound {
    let timeline = Timeline::from(&find(recipe).unwrap());
    let programme = Renderer::new(&timeline, RATE_HZ, -12.0).unwrap().collect();
    let text = EXAMPLES.iter().find(|(name, _)| *name == deck).unwrap().1;
    let deck = DeckFile::from_toml(text, deck).unwrap();
    VirtualDeck::new(&deck, 1, f64::from(RATE_HZ)).unwrap().play_all(&programme)
}

/// A minute of noise of that rms on both channels and hiss of 1 % of it on each, with hum on top.
fn noise(rms: f64, hum: f64) -> Sound {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let mut normal = move || -> f64 { StandardNormal.sample(&mut random) };
    let frames = (0..60 * RATE_HZ).map(|n| {
        let both = rms * normal() + hum * (TAU * 50.0 * f64::from(n) / f64::from(RATE_HZ)).sin();
        (both + 0.01 * rms * normal(), both + 0.01 * rms * normal())
    });
    let (left, right) = frames.unzip();
    [left, right]
}

/// Follows a sound as `follow` does, and hands on each picture.
fn follow(sound: &Sound, view: View, mut each: impl FnMut(&Picture)) {
    let options = FollowOptions { view: Some(view), ..FollowOptions::default() };
    let mut follower = Follower::new(f64::from(RATE_HZ), options);
    let mut next_s = 0.0;
    for (left, right) in sound[0].chunks(960).zip(sound[1].chunks(960)) {
        follower.feed([left, right]);
        if follower.now_s() >= next_s {
            next_s += 1.0 / PICTURES_PER_S;
            each(&follower.picture());
        }
    }
}

fn load(name: &str, sound: &Sound, view: View) {
    let seconds = sound[0].len() as f64 / f64::from(RATE_HZ);
    let mut slowest_ms = 0.0f64;
    let begun = Instant::now();
    let mut before = Instant::now();
    let mut pictures = 0;
    follow(sound, view, |picture| {
        black_box(screen_text(picture, 80, 24));
        slowest_ms = slowest_ms.max(before.elapsed().as_secs_f64() * 1e3);
        before = Instant::now();
        pictures += 1;
    });
    let percent = 100.0 * begun.elapsed().as_secs_f64() / seconds;
    println!(
        "{:10} {name:28} {percent:5.1} % of one core (target {LOAD_PERCENT} %), slowest picture with its sound {slowest_ms:5.1} ms, \
         {:.1} pictures a second",
        view.as_str(),
        f64::from(pictures) / seconds,
    );
}

/// How late half a step is shown beside half of the average, ms.
fn delay(
    name: &str,
    view: View,
    step: impl Fn(f64) -> [f64; 2],
    figure: impl Fn(&Shown) -> Option<f64>,
    half: f64,
) {
    // The step falls anywhere between two pictures.
    let mut late_ms: Vec<f64> = (0..20)
        .filter_map(|k| {
            let at_s = 4.0 + 0.0123 * f64::from(k);
            let (left, right) = (0..6 * RATE_HZ)
                .map(|n| {
                    let t = f64::from(n) / f64::from(RATE_HZ);
                    let [l, r] = step(if t < at_s { t } else { t + 1e6 });
                    (l, r)
                })
                .unzip();
            let mut shown_s = None;
            follow(&[left, right], view, |picture| {
                if let Some(value) =
                    figure(&picture.shown).filter(|value| *value > half && picture.at_s > 3.9)
                {
                    black_box(value);
                    shown_s.get_or_insert(picture.at_s);
                }
            });
            Some(1e3 * (shown_s? - at_s - AVERAGED_S / 2.0))
        })
        .collect();
    late_ms.sort_by(f64::total_cmp);
    let (Some(median), Some(most)) = (late_ms.get(late_ms.len() / 2), late_ms.last()) else {
        println!("{name}: no step was shown");
        return;
    };
    println!("{name:24} late by {median:.0} ms, at most {most:.0} ms (target {DELAY_MS} ms)");
}

/// A tone of 10 kHz; after a step its right channel leads by 20 degrees, and both are 2 dB louder.
fn stepped(t: f64) -> [f64; 2] {
    let (t, stepped) = if t > 1e5 { (t - 1e6, true) } else { (t, false) };
    let amplitude = if stepped { 0.02 * 10f64.powf(0.1) } else { 0.02 };
    let phase = TAU * 10_000.0 * t;
    let lead = if stepped { 20f64.to_radians() } else { 0.0 };
    [amplitude * phase.sin(), amplitude * (phase + lead).sin()]
}

/// Peak of the memory of a process that follows for so many minutes, MiB.
fn peak_mib(minutes: u32, view: &str) -> Option<f64> {
    let bench = std::env::current_exe().ok()?;
    let told = format!("{minutes} {view}");
    let out = Command::new(bench).env(MEMORY, told).output().ok()?;
    String::from_utf8_lossy(&out.stdout).trim().parse().ok()
}

/// Follows a tone of 3150 Hz for so long, and prints the peak of the process's memory.
fn only_memory(told: &str) {
    let (minutes, view) = told.split_once(' ').unwrap();
    let view = View::ALL.into_iter().find(|known| known.as_str() == view).unwrap();
    let options = FollowOptions { view: Some(view), ..FollowOptions::default() };
    let mut follower = Follower::new(f64::from(RATE_HZ), options);
    let blocks = minutes.parse::<u64>().unwrap() * 60 * 50;
    let (mut n, mut next_s) = (0u64, 0.0);
    let mut block = vec![0.0; 960];
    for _ in 0..blocks {
        for x in &mut block {
            let t = n as f64 / f64::from(RATE_HZ);
            // A tone, and every minute two seconds of nothing.
            *x = if t % 60.0 < 58.0 { 0.1 * (TAU * (3150.0 * t).fract()).sin() } else { 0.0 };
            n += 1;
        }
        follower.feed([&block, &block]);
        if follower.now_s() >= next_s {
            // Memory does not depend on how often somebody looks.
            next_s += 0.5;
            black_box(follower.picture());
        }
    }
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let kib = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib = kib.and_then(|kib| kib.trim().trim_end_matches(" kB").parse::<f64>().ok());
    println!("{}", kib.map_or(-1.0, |kib| kib / 1024.0));
}

fn main() {
    if let Ok(told) = std::env::var(MEMORY) {
        return only_memory(&told);
    }
    let sounds = [
        (View::Azimuth, "three tones at once", returned("turn-azimuth", "turned-azimuth")),
        (View::Level, "level tones", returned("turn-level", "healthy-three-head")),
        (View::Bias, "tones in quick turn", returned("turn-bias", "turned-bias")),
        (View::Speed, "3150 Hz with its flutter", returned("turn-speed", "turned-azimuth")),
        (View::Response, "noise, tones, silence", returned("noise", "rehearsal")),
        (View::Response, "noise alone", noise(0.05, 0.0)),
        (View::Noise, "hiss and hum alone", noise(0.001, 0.003)),
        (View::Azimuth, "noise, as music is read", noise(0.05, 0.0)),
    ];
    for (view, name, sound) in &sounds {
        load(name, sound, *view);
    }
    let phase = |shown: &Shown| match shown {
        Shown::Azimuth(now) => now.phase_deg,
        _ => None,
    };
    delay("phase of 10 kHz", View::Azimuth, stepped, phase, 10.0);
    let level = |shown: &Shown| match shown {
        Shown::Level(now) => now.dbfs[0],
        _ => None,
    };
    let half_db = 20.0 * 0.02f64.log10() + 1.0;
    delay("level of 10 kHz", View::Level, stepped, level, half_db);
    for view in ["speed", "level"] {
        match (peak_mib(5, view), peak_mib(60, view)) {
            (Some(short), Some(long)) if short > 0.0 => println!(
                "memory, {view}: {short:.1} MiB after five minutes, {long:.1} MiB after an hour (may grow by {GROWTH_MIB} MiB)"
            ),
            _ => println!("memory, {view}: this system does not say"),
        }
    }
}
