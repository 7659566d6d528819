//! Tapes without slates: what is found on them, what it is taken for, and what is not believed.
//!
//! The tapes are made here and played by the virtual deck: that tests our code. Outside checks are those of reference levels
//! and equalisation (beside the code that uses them), the recording in `real.rs`, and a trial with tapes that numpy made.
//!
//! That trial: 44.1, 48 and 96 kHz, 16 bit, -3 to +3 % of speed, 0.1 to 0.3 % of flutter, hiss 40 to 52 dB below, hum of -34 dB, a
//! treble 15 dB down, mono, dead channel, 60 dropouts, tones of 2 s between announcements. All 20 tones of every tape were found and
//! named, none too many, edges within 13 ms, levels within 0.02 dB, response within 0.02 dB (0.16 dB at 40 and 63 Hz beside the hum),
//! speed within 0.015 %. Eight pieces of synthetic music and speech, and hiss, gave none.

mod leaders;
mod real;
mod tape;
mod traps;
mod truth;
mod values;
