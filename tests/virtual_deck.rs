//! Tests of the whole virtual deck: its sound against its `Truth` and against formulas written out here, without the reader.

use crate::effort;
use deckproof::assert_within;
use deckproof::internals::deck::*;
use deckproof::internals::trade::playback_losses::azimuth_loss_db;
use std::f64::consts::{PI, TAU};

pub(crate) fn ratio_of_db(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

fn rms(samples: &[f64]) -> f64 {
    (samples.iter().map(|x| x * x).sum::<f64>() / samples.len() as f64).sqrt()
}

/// `count` values of a function of time, s, at `rate_hz`.
fn sampled(rate_hz: f64, count: usize, mut value: impl FnMut(f64) -> f64) -> Vec<f64> {
    (0..count).map(|n| value(n as f64 / rate_hz)).collect()
}

/// Tones with whole amplitude 0.1 each on both channels.
pub(crate) fn tones(hz: &[f64], rate_hz: f64, seconds: f64) -> [Vec<f64>; 2] {
    let channel = sampled(rate_hz, (seconds * rate_hz) as usize, |t| {
        hz.iter().map(|hz| 0.1 * (TAU * hz * t).sin()).sum()
    });
    [channel.clone(), channel]
}

/// Amplitude and phase (of a sine that starts at frame 0) of `hz`, by a Blackman-Harris weighted sum over the samples
/// from frame `from` on.
pub(crate) fn sine_at(samples: &[f64], hz: f64, rate_hz: f64, from: usize) -> (f64, f64) {
    let count = samples.len() - from;
    let (mut re, mut im, mut sum) = (0.0, 0.0, 0.0);
    for (k, x) in samples[from..].iter().enumerate() {
        let p = TAU * k as f64 / count as f64;
        let w = 0.35875 - 0.48829 * p.cos() + 0.14128 * (2.0 * p).cos() - 0.01168 * (3.0 * p).cos();
        let angle = TAU * (hz * (from + k) as f64 / rate_hz).fract();
        re += w * x * angle.sin();
        im += w * x * angle.cos();
        sum += w;
    }
    (2.0 / sum * re.hypot(im), im.atan2(re))
}

pub(crate) fn deck(text: &str, rate_hz: f64) -> VirtualDeck {
    VirtualDeck::new(&DeckFile::from_toml(text, "test").unwrap(), 11, rate_hz).unwrap()
}

const RESPONSE_HZ: [f64; 9] = [40.0, 80.0, 400.0, 1000.0, 3150.0, 6300.0, 10_000.0, 12_500.0, 16_000.0];

/// Everything linear that changes a response.
const COLOURED: &str = "
    [azimuth]
    angle_arcmin = 5
    [head]
    spacing_um = [0.4, 0.05]
    gap_um = [1.0, 1.6]
    bump = { hz = 60, db = 2, q = 1.4 }
    coupling_hz = [25, 12]
    dull_8k_db = [1.5, 0]
    [record]
    gain_db = [0.5, -0.2]
    sections = [{ kind = 'peaking', hz = 9000, db = 1.5, q = 1 }]
    [playback]
    gain_db = [-0.3, 0.9]
    sections = [
      { kind = 'shelf', zero_us = 70, pole_us = 120, channel = 'right' },
      { kind = 'low-pass2', hz = 15000, q = 0.8 },
      { kind = 'low-pass1', hz = 19000, channel = 'left' },
      { kind = 'high-pass1', hz = 8 },
    ]
    [electronics]
    left_into_right_db = -30
    right_into_left_db = -36
    [capture]
    trim_db = 1.2
";

#[test]
fn a_deck_without_faults_is_a_wire() {
    for (from_hz, to_hz) in
        [(48_000.0, 48_000.0), (44_100.0, 44_100.0), (96_000.0, 96_000.0), (48_000.0, 96_000.0)]
    {
        let programme = tones(&[333.0, 5000.0, 15_000.0], from_hz, 0.3);
        let returned = deck(&format!("[capture]\nrate_hz = {to_hz}"), from_hz).play_all(&programme);
        assert_eq!(returned[0].len() as f64, programme[0].len() as f64 * to_hz / from_hz);
        let want = tones(&[333.0, 5000.0, 15_000.0], to_hz, 0.3);
        for n in 500..returned[0].len() - 500 {
            // The interpolation's own error, -100 dB of 0.3.
            assert_within!(returned[1][n], want[1][n], 3e-6, "", "frame {n}, {from_hz} to {to_hz} Hz");
        }
    }
}

#[test]
fn response_and_phase_are_what_the_truth_says() {
    for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
        for speed in [0.0, -6.0, 6.0] {
            let text = format!("[speed]\nerror_percent = {speed}\n{COLOURED}");
            let deck = deck(&text, rate_hz);
            let truth = deck.truth();
            let returned = deck.play_all(&tones(&RESPONSE_HZ, rate_hz, 1.2));
            for hz in RESPONSE_HZ {
                let seen_hz = hz * (1.0 + speed / 100.0);
                // The first quarter second lets the high-passes settle.
                let from = (0.25 * rate_hz) as usize;
                let found = [0, 1].map(|channel| sine_at(&returned[channel], seen_hz, rate_hz, from));
                for (channel, (peak, _)) in found.iter().enumerate() {
                    let got_db = 20.0 * (peak / 0.1).log10();
                    // Interpolation near 0.45 of the rate, and the window's skirts.
                    let row = format_args!("{hz} Hz, channel {channel}, {rate_hz} Hz, {speed} %").to_string();
                    assert_within!(got_db, truth.gain_db(channel, hz), 0.003, "dB", "{row}");
                }
                let phase_deg = (found[1].1 - found[0].1).to_degrees();
                let error_deg = (phase_deg - truth.phase_deg(hz) + 540.0).rem_euclid(360.0) - 180.0;
                assert_within!(error_deg, 0.0, 0.02, "degree", "{hz} Hz, {rate_hz} Hz, {speed} %");
            }
        }
    }
}

#[test]
fn response_matches_the_analogue_formulas() {
    // The same faults by their analogue formulas; at 96 kHz the bilinear filters differ by less than the tolerance.
    let text = "[head]\nspacing_um = 0.4\ngap_um = 1\ncoupling_hz = 25\n
        [playback]\nsections = [{ kind = 'shelf', zero_us = 70, pole_us = 120 }]";
    let deck = deck(text, 96_000.0);
    let returned = deck.play_all(&tones(&RESPONSE_HZ, 96_000.0, 1.2));
    for hz in RESPONSE_HZ {
        let got_db = 20.0 * (sine_at(&returned[0], hz, 96_000.0, 24_000).0 / 0.1).log10();
        let x = PI * 0.001 * hz / 47.625;
        let shelf = |us: f64| 10.0 * (1.0 + (TAU * hz * us * 1e-6).powi(2)).log10();
        let want_db = -54.575 * 0.0004 * hz / 47.625 + 20.0 * (x.sin() / x).log10() + shelf(70.0)
            - shelf(120.0)
            - 10.0 * (1.0 + (25.0 / hz).powi(2)).log10();
        assert_within!(got_db, want_db, 0.03, "dB", "{hz} Hz");
    }
}

#[test]
fn the_right_channel_lags_by_the_angle() {
    for (angle, speed) in [(6.0, 0.0), (-3.0, 2.5), (0.05, -6.0)] {
        let text = format!("[azimuth]\nangle_arcmin = {angle}\n[speed]\nerror_percent = {speed}");
        let deck = deck(&text, 48_000.0);
        let ratio = 1.0 + speed / 100.0;
        // s tan(a) / v by hand, with v the speed at which the tape really runs.
        let want_us = 0.9 * (angle / 60.0 * PI / 180.0).tan() / (47.625 * ratio) * 1e6;
        assert_within!(deck.truth().delay_us(), want_us, 1e-9, "us");
        assert_within!(deck.truth().programme_delay_us(), want_us * ratio, 1e-9, "us");
        let returned = deck.play_all(&tones(&RESPONSE_HZ, 48_000.0, 0.7));
        for hz in [1000.0, 3150.0, 6300.0, 10_000.0] {
            let seen_hz = hz * ratio;
            let phase = [0, 1].map(|channel| sine_at(&returned[channel], seen_hz, 48_000.0, 2000).1);
            let lag = (phase[0] - phase[1] + PI).rem_euclid(TAU) - PI;
            assert_within!(lag / (TAU * seen_hz) * 1e6, want_us, 0.01, "us", "{angle} arcmin, {hz} Hz");
        }
    }
}

#[test]
fn wander_of_the_azimuth_moves_the_delay() {
    let text = "[azimuth]\nangle_arcmin = 1\nwander = { hz = 2, arcmin_peak = 1 }";
    let deck = deck(text, 48_000.0);
    let truth = deck.truth();
    let peak_us = 0.9 * (1f64 / 60.0).to_radians().tan() / 47.625 * 1e6;
    assert_within!(truth.wander_us_rms(0.0, 5.0), peak_us / 2f64.sqrt(), 1e-3, "us");
    assert_within!(truth.delay_at_us(0.125), 2.0 * peak_us, 1e-6, "us");
    // A quarter period from the start the delay is at its peak: the tones are compared sample by sample.
    let returned = deck.play_all(&tones(&[3000.0], 48_000.0, 1.0));
    for n in (5500..6500).step_by(37) {
        let t = n as f64 / 48_000.0;
        let d = peak_us * 1e-6 * (1.0 + (TAU * 2.0 * t).sin());
        let loss = ratio_of_db(azimuth_loss_db(1.0, 0.6, 3000.0, 47.625));
        let want = 0.1 * loss * (TAU * 3000.0 * (t - d / 2.0)).sin();
        assert_within!(returned[1][n], want, 2e-6, "", "frame {n}");
    }
}

#[test]
fn wow_is_a_true_time_warp() {
    let text = "[speed]\nerror_percent = 0.8\ndrift_percent_per_min = 3\n
        flutter = [{ hz = 0.6, percent_peak = 1, phase_deg = 30 }, { hz = 40, percent_peak = 0.3 }]\n
        [capture]\nclock_ppm = 200";
    let deck = deck(text, 48_000.0);
    let truth = deck.truth();
    let returned = deck.play_all(&tones(&[3150.0], 48_000.0, 4.0));
    for n in (1000..returned[0].len() - 1000).step_by(61) {
        // By hand: integral of 1.008 + 0.0005 t + 0.01 sin(0.6 t + 30 degrees) + 0.003 sin(40 t) over true time.
        let return_s = n as f64 / 48_000.0;
        let t = return_s / 1.0002;
        let line = |peak: f64, hz: f64, deg: f64| {
            let phase = deg.to_radians();
            peak / (TAU * hz) * (phase.cos() - (TAU * hz * t + phase).cos())
        };
        let place_s = 1.008 * t + 0.0005 * t * t / 2.0 + line(0.01, 0.6, 30.0) + line(0.003, 40.0, 0.0);
        assert_within!(truth.programme_time_s(return_s), place_s, 1e-12, "s");
        assert_within!(returned[0][n], 0.1 * (TAU * 3150.0 * place_s).sin(), 2e-6, "", "frame {n}");
    }
    assert_within!(truth.speed_error_percent(), (1.008 / 1.0002 - 1.0) * 100.0, 1e-9, "%");
    // Phase counted over a stretch gives the mean speed: whole cycles between two places.
    let mean = truth.mean_speed_error_percent(1.0, 3.0);
    let rising = |from: usize, to: usize| {
        let crossings: Vec<f64> = (from..to)
            .filter(|&n| returned[0][n] < 0.0 && returned[0][n + 1] >= 0.0)
            .map(|n| n as f64 + returned[0][n] / (returned[0][n] - returned[0][n + 1]))
            .collect();
        let cycles = (crossings.len() - 1) as f64;
        (cycles / (crossings[crossings.len() - 1] - crossings[0]) * 48_000.0 / 3150.0 - 1.0) * 100.0
    };
    // One cycle of 6300 more or less moves the ends of the stretch by 0.3 ms at 1 % of wow.
    assert_within!(rising(48_000, 144_000), mean, 5e-4, "%");
}

#[test]
fn random_flutter_warps_as_the_truth_says() {
    let text = "[speed]\nrandom = { percent_rms = 0.2, low_hz = 0.5, high_hz = 200 }";
    for (from_hz, to_hz) in [(48_000.0, 48_000.0), (96_000.0, 44_100.0)] {
        let deck = deck(&format!("{text}\n[capture]\nrate_hz = {to_hz}"), from_hz);
        let truth = deck.truth();
        let returned = deck.play_all(&tones(&[10_000.0], from_hz, 1.0));
        let inner = 1000..returned[0].len() - 1000;
        for (n, got) in returned[0].iter().enumerate().filter(|(n, _)| inner.contains(n)) {
            let place_s = truth.programme_time_s(n as f64 / to_hz);
            assert_within!(*got, 0.1 * (TAU * 10_000.0 * place_s).sin(), 2e-6, "", "frame {n}");
        }
    }
}

#[test]
fn hiss_has_its_level_and_shape_behind_the_filters() {
    for rate_hz in [44_100.0, 96_000.0] {
        let text = format!("{COLOURED}\n[tape]\nhiss = {{ db = [-40, -43] }}")
            .replace("[electronics]", "[electronics]\nnoise_db = [-60, -50]");
        let deck = deck(&text, rate_hz);
        let truth = deck.truth();
        let frames = 1 << 19;
        let returned = deck.play_all(&[vec![0.0; frames], vec![0.0; frames]]);
        let fft = <f64 as inner_loops::Precision>::real_forward(frames);
        for (channel, returned) in returned.iter().enumerate() {
            let mut lines = fft.make_output_vec();
            fft.process(&mut returned.clone(), &mut lines).unwrap();
            let between = |low_hz: f64, high_hz: f64| {
                let line = |hz: f64| ((hz * frames as f64 / rate_hz) as usize).min(frames / 2);
                let power: f64 = lines[line(low_hz)..line(high_hz)].iter().map(|z| z.norm_sqr()).sum();
                // One-sided power re a full-scale sine's mean square.
                10.0 * (power * 2.0 / (frames as f64).powi(2) / 0.5).log10()
            };
            // 2 * 2^19 * 22.4/48 degrees of freedom and more: four standard deviations are 0.035 dB.
            let row = format!("channel {channel}, {rate_hz} Hz");
            assert_within!(between(22.4, 22_400.0), truth.hiss_dbfs(channel), 0.04, "dB", "{row}");
            for (low_hz, high_hz) in [(200.0, 1000.0), (3000.0, 5000.0), (9000.0, 13_000.0)] {
                let step = (high_hz - low_hz) / 2000.0;
                let density = |k: i32| truth.noise_density(channel, low_hz + step * (f64::from(k) + 0.5));
                let want_db = 10.0 * (step * (0..2000).map(density).sum::<f64>()).log10();
                // At least 800 Hz * 5.4 s = 4400 lines: four standard deviations are 0.26 dB.
                assert_within!(between(low_hz, high_hz), want_db, 0.26, "dB", "{row}, {low_hz} Hz");
            }
        }
    }
}

#[test]
fn harmonics_and_compression_are_what_the_truth_says() {
    let text = "[tape]\nsaturation = { k3_percent_at_0db = 1.5, k2_percent_at_0db = 0.4 }\n
        [head]\nspacing_um = 0.2\ngap_um = 1.2\n[record]\ngain_db = [0, 1]\n[speed]\nerror_percent = 1.5";
    for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
        let deck = deck(text, rate_hz);
        let truth = deck.truth();
        for (hz, level_dbfs) in
            [(315.0, -22.0), (315.0, -12.0), (1000.0, -6.0), (3150.0, -14.0), (333.0, -3.0)]
        {
            let peak = ratio_of_db(level_dbfs);
            let programme = tones(&[hz], rate_hz, 0.8).map(|c| c.iter().map(|x| x * peak / 0.1).collect());
            let returned = deck.play_all(&programme);
            for (channel, returned) in returned.iter().enumerate() {
                let level =
                    |order: f64| sine_at(returned, order * hz * 1.015, rate_hz, (0.3 * rate_hz) as usize).0;
                let row = format!("{hz} Hz at {level_dbfs} dBFS, channel {channel}, {rate_hz} Hz");
                let fundamental = level(1.0);
                let got_db = 20.0 * (fundamental / peak).log10();
                let want_db = truth.gain_db(channel, hz) + truth.compression_db(channel, hz, level_dbfs);
                assert_within!(got_db, want_db, 0.003, "dB", "{row}");
                for order in [2, 3] {
                    let got = 100.0 * level(f64::from(order)) / fundamental;
                    let want = truth.harmonic_percent(channel, order, hz, level_dbfs);
                    // Ripple of the oversampling filters.
                    assert_within!(got, want, 0.003 * want + 1e-5, "%", "K{order}, {row}");
                }
            }
        }
        // The file's own promise: at reference level on the tape, before the head's losses.
        let bare =
            DeckFile::from_toml("tape.saturation = { k3_percent_at_0db = 1.5, treble_lift_db = 0 }", "")
                .unwrap();
        let bare = VirtualDeck::new(&bare, 0, rate_hz).unwrap();
        let programme =
            tones(&[315.0], rate_hz, 0.8).map(|c| c.iter().map(|x| x * 10f64.powf(-0.6) / 0.1).collect());
        let returned = bare.play_all(&programme);
        let [first, third] =
            [315.0, 945.0].map(|hz| sine_at(&returned[0], hz, rate_hz, (0.3 * rate_hz) as usize).0);
        assert_within!(100.0 * third / first, 1.5, 0.003, "%");
    }
}

#[test]
fn overload_does_not_fold_back_into_the_band() {
    let text = "[tape]\nsaturation = { k3_percent_at_0db = 1.5, treble_lift_db = 6 }";
    let programme = tones(&[10_000.0], 48_000.0, 0.5).map(|c| c.iter().map(|x| x * 3.0).collect());
    let returned = deck(text, 48_000.0).play_all(&programme);
    let fundamental = sine_at(&returned[0], 10_000.0, 48_000.0, 2000).0;
    // 3 x 10 kHz would fold back to 18 kHz, 5 x to 2 kHz, 7 x to 22 kHz, 9 x to 6 kHz.
    for hz in [18_000.0, 2000.0, 6000.0] {
        let alias_db = 20.0 * (sine_at(&returned[0], hz, 48_000.0, 2000).0 / fundamental).log10();
        assert!(alias_db < -70.0, "{hz} Hz: {alias_db} dB");
    }
}

#[test]
fn leads_dead_channels_and_offsets() {
    let programme = [tones(&[1000.0], 48_000.0, 0.3)[0].clone(), vec![0.0; 14_400]];
    let peak = |text: &str| {
        let returned = deck(text, 48_000.0).play_all(&programme);
        [0, 1].map(|channel| {
            let (peak, phase) = sine_at(&returned[channel], 1000.0, 48_000.0, 2000);
            peak * phase.cos() * 10.0
        })
    };
    let near = |got: [f64; 2], want: [f64; 2], row: &str| {
        for channel in 0..2 {
            assert_within!(got[channel], want[channel], 1e-5, "", "{row}, channel {channel}");
        }
    };
    near(peak("electronics.swapped = true"), [0.0, 1.0], "swapped");
    near(peak("electronics.inverted = ['left']"), [-1.0, 0.0], "inverted");
    near(peak("electronics.dead = 'left'"), [0.0, 0.0], "dead");
    near(peak("electronics.left_into_right_db = -20"), [1.0, 0.1], "crosstalk");
    near(peak("electronics.right_into_left_db = -20"), [1.0, 0.0], "crosstalk the other way");
    near(peak("capture.mono = 'sum'"), [0.5, 0.5], "mono");
    near(peak("playback.gain_db = [-6, 3]"), [ratio_of_db(-6.0), 0.0], "gain");
    let returned = deck("electronics.dc_offset = [0, 0.01]", 48_000.0).play_all(&programme);
    assert!(returned[1].iter().all(|x| (x - 0.01).abs() < 1e-12));
}

#[test]
fn hum_stands_where_the_truth_says() {
    let text = "[electronics]\nhum = { hz = 50, level_db = [-40, -34], harmonics_db = [-6, -10] }\n
        [capture]\nclock_ppm = 3000\ntrim_db = -2";
    let deck = deck(text, 48_000.0);
    let returned = deck.play_all(&[vec![0.0; 96_000], vec![0.0; 96_000]]);
    for (channel, returned) in returned.iter().enumerate() {
        let lines = deck.truth().hum_lines(channel);
        assert_eq!(lines.len(), 3);
        for (k, (hz, dbfs)) in lines.into_iter().enumerate() {
            assert_within!(hz, 50.0 * (k + 1) as f64 / 1.003, 1e-9, "Hz");
            assert_within!(20.0 * sine_at(returned, hz, 48_000.0, 0).0.log10(), dbfs, 1e-3, "dB");
        }
        assert_within!(deck.truth().hum_lines(1)[0].1, -34.0 - 12.0 - 2.0, 1e-9, "dBFS");
    }
}

#[test]
fn an_impulse_is_found_where_the_truth_puts_it() {
    let text = "[speed]\nerror_percent = 3\nflutter = [{ hz = 1, percent_peak = 0.5 }]\n
        [azimuth]\nangle_arcmin = 0.001\n[tape]\nsaturation = { k3_percent_at_0db = 1 }\n
        print_through = { pre_db = -120, turn_s = 0.3 }\n
        [capture]\ncut_start_s = 0.7\ncut_end_s = 0.25\ntail_s = 0.5\nlead_in = { kind = 'silence', seconds = 1.5 }";
    let deck = deck(text, 48_000.0);
    let truth = deck.truth();
    let mut left = vec![0.0; 48_000];
    // A smooth pulse around 0.4 s.
    for (n, x) in left.iter_mut().enumerate() {
        *x = 0.01 * (-((n as f64 - 19_200.0) / 20.0).powi(2)).exp();
    }
    let returned = deck.play_all(&[left.clone(), left]);
    let at = truth.return_time_s(0.4);
    // The lead-in is blank: the tape's curve gives loud sound a slow tail that would pull at the centre.
    // Highest sample behind the lead-in, then the centre of what stands around it.
    let from = (truth.return_time_s(0.1) * 48_000.0) as usize;
    let top = (from..returned[0].len()).max_by(|a, b| returned[0][*a].total_cmp(&returned[0][*b])).unwrap();
    let around = || (top - 150..=top + 150).map(|n| (n as f64, returned[0][n]));
    let weight: f64 = around().map(|(_, x)| x).sum();
    let centre = around().map(|(n, x)| n * x).sum::<f64>() / weight;
    // A thousandth of a frame and the 0.01 us of the left channel's azimuth.
    assert_within!(centre / 48_000.0, at, 3e-8, "s");
    // Length: to the end of the tail, less what was cut.
    let want_s = truth.return_time_s(1.5) - 0.25;
    assert_within!(returned[0].len() as f64 / 48_000.0, want_s, 1.0 / 48_000.0, "s");
    assert!(truth.programme_time_s(0.0) < 0.0);
}

#[test]
fn a_dropout_is_found_where_the_truth_puts_it() {
    let text = "[tape]\ndropouts = [{ at_s = 0.5, length_ms = 40, depth_db = 20, channel = 'right' }]\n
        [capture]\ncut_start_s = 0.2\n[head]\nspacing_um = 0.1";
    let deck = deck(text, 48_000.0);
    let found = deck.truth().dropouts(0.0, 1.0);
    assert_eq!(found.len(), 1);
    assert_within!(found[0].at_s, 0.3, 1e-12, "s");
    let returned = deck.play_all(&tones(&[3000.0], 48_000.0, 1.0));
    let rms = |channel: usize, at_s: f64| {
        let middle = (at_s * 48_000.0) as usize;
        rms(&returned[channel][middle - 160..middle + 160])
    };
    assert_within!(20.0 * (rms(1, 0.3) / rms(1, 0.6)).log10(), -20.0, 0.01, "dB");
    assert_within!(20.0 * (rms(0, 0.3) / rms(0, 0.6)).log10(), 0.0, 0.01, "dB");
}

#[test]
fn modulation_noise_follows_the_signal() {
    let deck = deck("tape.modulation_noise = { db = -40, reach_hz = 400 }", 48_000.0);
    let programme = tones(&[3150.0], 48_000.0, 6.0);
    let returned = deck.play_all(&programme);
    let power = |c: &[f64]| c.iter().map(|x| x * x).sum::<f64>();
    let noise: Vec<f64> = returned[0].iter().zip(&programme[0]).skip(500).map(|(r, p)| r - p).collect();
    let noise = &noise[..noise.len() - 500];
    // About pi 400 Hz 6 s = 7500 independent draws: four standard deviations are 0.3 dB.
    assert_within!(10.0 * (power(noise) / power(&programme[0])).log10(), -40.0, 0.3, "dB");
    let silent = deck.play_all(&[vec![0.0; 9000], vec![0.0; 9000]]);
    assert!(silent.iter().flatten().all(|x| *x == 0.0));
}

#[test]
fn amplitude_modulation_has_its_sidebands() {
    let deck = deck("tape.amplitude_modulation = { hz = 20, percent = 5 }", 48_000.0);
    let returned = deck.play_all(&tones(&[3000.0], 48_000.0, 2.0));
    for hz in [2980.0, 3020.0] {
        // m/2 of the carrier on each side.
        assert_within!(sine_at(&returned[0], hz, 48_000.0, 0).0, 0.0025, 2e-6, "");
    }
}

#[test]
fn clipping_is_flat_and_gain_rides() {
    let returned = deck("capture = { trim_db = 22, clip_dbfs = -1 }", 48_000.0).play_all(&tones(
        &[500.0],
        48_000.0,
        0.1,
    ));
    let top = ratio_of_db(-1.0);
    assert!(returned[0].iter().filter(|x| **x == top).count() > 500);
    assert!(returned[0].iter().all(|x| x.abs() <= top));
}

#[test]
fn the_sizes_of_the_blocks_do_not_matter_and_seeds_do() {
    let file = DeckFile::from_toml(EXAMPLES[0].1, "rehearsal").unwrap();
    let programme = tones(&[400.0, 9000.0], 48_000.0, 1.0);
    let play = |seed: u64, sizes: &[usize]| {
        let deck = VirtualDeck::new(&file, seed, 48_000.0).unwrap();
        let (mut done, mut round) = (0, 0);
        let mut returned = [Vec::new(), Vec::new()];
        let source = |buffers: &mut [Vec<f64>; 2], wanted: usize| {
            let count = sizes[round % sizes.len()].min(wanted).min(48_000 - done);
            round += 1;
            for channel in 0..2 {
                buffers[channel].extend_from_slice(&programme[channel][done..done + count]);
            }
            done += count;
            count
        };
        let frames = deck.play(source, |block: &[&[f64]; 2]| {
            assert!(!block[0].is_empty() && block[0].len() == block[1].len());
            returned.iter_mut().zip(block).for_each(|(all, part)| all.extend_from_slice(part));
            Ok::<(), ()>(())
        });
        assert_eq!(frames, Ok(returned[0].len() as u64));
        returned
    };
    let whole = play(1, &[100_000]);
    let parts = play(1, &[1, 700, 3, 4096]);
    assert_eq!(whole[0].len(), parts[0].len());
    for (a, b) in whole.iter().flatten().zip(parts.iter().flatten()) {
        assert_within!(*a, *b, 1e-12, "");
    }
    assert_ne!(whole, play(2, &[100_000]));
}

#[test]
fn every_example_plays_and_names_its_faults() {
    for (name, text) in effort::some(EXAMPLES, 3) {
        let mut file = DeckFile::from_toml(text, name).unwrap();
        if let Some(lead_in) = &mut file.capture.lead_in {
            lead_in.seconds = lead_in.seconds.min(1.0);
        }
        file.capture.cut_start_s = file.capture.cut_start_s.min(0.5);
        let deck = VirtualDeck::new(&file, 3, 48_000.0).unwrap();
        assert!(!deck.truth().faults().is_empty(), "{name}");
        let returned = deck.play_all(&tones(&[1000.0], 48_000.0, 0.5));
        let seconds = returned[0].len() as f64 / deck.return_rate_hz();
        let want_s = deck.truth().return_time_s(0.5 + file.capture.tail_s);
        assert_within!(seconds, want_s, 1e-3, "s", "{name}");
        assert!(returned.iter().flatten().all(|x| x.is_finite() && x.abs() < 4.0), "{name}");
    }
}

#[test]
fn the_rehearsal_deck_has_the_faults_it_promises() {
    let file = DeckFile::from_toml(EXAMPLES[0].1, "rehearsal").unwrap();
    let truth = VirtualDeck::new(&file, 1, 48_000.0).unwrap().truth();
    assert_within!(truth.angle_arcmin(), 3.0, 0.2, "arcmin");
    assert_within!(truth.speed_error_percent(), 0.8, 0.01, "%");
    let dull_db = |hz| truth.gain_db(0, hz) - truth.gain_db(1, hz);
    assert_within!(dull_db(400.0), -1.0, 0.1, "dB");
    // -54.575 d/wavelength for 0.175 um more on the left: -2.0 dB at 10 kHz (less 0.08 dB at 400 Hz).
    assert_within!(dull_db(10_000.0) - dull_db(400.0), -1.93, 0.05, "dB");
}

#[test]
fn odd_programmes_do_no_harm() {
    let wire = deck("", 48_000.0);
    assert!(wire.play_all(&[Vec::new(), Vec::new()])[0].is_empty());
    assert_eq!(wire.play_all(&[vec![0.5], vec![0.5]])[0].len(), 1);
    let bad = [vec![f64::NAN, 0.1, f64::INFINITY, 0.2], vec![0.0; 4]];
    assert!(wire.play_all(&bad).iter().flatten().all(|x| x.is_finite()));
    let all_cut = deck("capture = { cut_start_s = 5, cut_end_s = 5 }", 48_000.0);
    assert!(all_cut.play_all(&tones(&[100.0], 48_000.0, 0.1))[0].is_empty());
    let refused = wire.play(
        |buffers: &mut [Vec<f64>; 2], _| {
            buffers.iter_mut().for_each(|buffer| buffer.push(0.0));
            1
        },
        |_: &[&[f64]; 2]| Err("disk full"),
    );
    assert_eq!(refused, Err("disk full"));
    for rate_hz in [0.0, -1.0, f64::NAN, 8000.0, 1e9] {
        let error = VirtualDeck::new(&DeckFile::default(), 0, rate_hz).unwrap_err();
        assert!(matches!(error, DeckError::ProgrammeRate { .. }));
    }
}

#[test]
fn hiss_has_the_level_that_the_file_asks() {
    for (colour, rate_hz) in [("tape", 48_000.0), ("white", 96_000.0)] {
        let deck = deck(&format!("tape.hiss = {{ db = [-40, -43], colour = '{colour}' }}"), rate_hz);
        let frames = 1 << 18;
        let returned = deck.play_all(&[vec![0.0; frames], vec![0.0; frames]]);
        let fft = <f64 as inner_loops::Precision>::real_forward(frames);
        for (channel, want_dbfs) in [-52.0, -55.0].into_iter().enumerate() {
            let mut lines = fft.make_output_vec();
            fft.process(&mut returned[channel].clone(), &mut lines).unwrap();
            let line = |hz: f64| (hz * frames as f64 / rate_hz) as usize;
            let power: f64 = lines[line(22.4)..line(22_400.0)].iter().map(|z| z.norm_sqr()).sum();
            let got_dbfs = 10.0 * (power * 2.0 / (frames as f64).powi(2) / 0.5).log10();
            // At least 61000 lines: four standard deviations are 0.07 dB.
            assert_within!(got_dbfs, want_dbfs, 0.07, "dBFS", "{colour}, channel {channel}");
            // Rounding of the sum over the band.
            assert_within!(deck.truth().hiss_dbfs(channel), want_dbfs, 1e-6, "dBFS");
        }
    }
}
